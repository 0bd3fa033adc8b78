#include "firmware/thermocouple.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "firmware/parameters.h"
#include "tests/csv_table.h"

namespace {

constexpr double unit_roundoff = 0x1p-24;   // of float32, round to nearest

// A published polynomial in double, and the a-priori bound of its Horner evaluation in float32: coefficients rounded once, n
// multiplications and additions: |error| <= 2 (n + 1) u sum |c_i x^i| (N. J. Higham, Accuracy and Stability of Numerical
// Algorithms, section 5.1; one more u for the rounded coefficients, second order covered by the factor).
struct Polynomial {
  double low = 0.0, high = 0.0;
  std::vector<double> coefficients;
  double a0 = 0.0, a1 = 0.0, a2 = 0.0;   // type K above 0 degC

  double value(double x) const {
    double sum = 0.0;
    for (std::size_t i = coefficients.size(); i-- > 0;) sum = sum * x + coefficients[i];
    return sum + a0 * std::exp(a1 * (x - a2) * (x - a2));
  }
  double slope(double x) const { return (value(x + 1e-4) - value(x - 1e-4)) / 2e-4; }
  double float_bound(double x) const {
    double sum = 0.0;
    double power = 1.0;
    for (const double c : coefficients) {
      sum += std::fabs(c * power);
      power *= x;
    }
    const double n = static_cast<double>(coefficients.size());
    const double exponent = std::fabs(a1 * (x - a2) * (x - a2));
    // The exponential: 3e-7 of its own, its argument 1.2e-7 for the product and 6 u for the square and constants.
    const double exponential = a0 * std::exp(-exponent) * (3e-7 + exponent * (1.2e-7 + 6.0 * unit_roundoff));
    return 2.0 * (n + 1.0) * unit_roundoff * sum + exponential + unit_roundoff * std::fabs(value(x));
  }
};

std::vector<Polynomial> functions(const std::string& file, const std::string& type, bool inverse) {
  const CsvTable table(file);
  std::vector<Polynomial> pieces;
  std::string low;
  for (const auto& row : table.rows()) {
    if (row["type"] != type) continue;
    const std::string& from = row[inverse ? "T_lo_C" : "range_lo_C"];
    if (pieces.empty() || from != low) pieces.emplace_back();
    low = from;
    Polynomial& piece = pieces.back();
    piece.low = row.number(inverse ? "E_lo_mV" : "range_lo_C");
    piece.high = row.number(inverse ? "E_hi_mV" : "range_hi_C");
    const double c = row.number(inverse ? "coefficient" : "coefficient_mV");
    if (row["term"] == "a0") piece.a0 = c;
    else if (row["term"] == "a1") piece.a1 = c;
    else if (row["term"] == "a2") piece.a2 = c;
    else piece.coefficients.push_back(c);
  }
  return pieces;
}

const Polynomial& piece_of(const std::vector<Polynomial>& pieces, double x) {
  for (std::size_t i = 0; i + 1 < pieces.size(); ++i) {
    // Inverses of S and R overlap from 1064 to 1200 degC: the one with the smaller published error counts.
    if (x <= std::min(pieces[i].high, pieces[i + 1].low) || x < pieces[i + 1].low) return pieces[i];
  }
  return pieces.back();
}

const std::vector<std::string> letters = {"K", "N", "S", "R", "B", "J", "T", "E"};

// The letter is the parameter's value.
fw::ThermocoupleType type_of(const std::string& letter) { return static_cast<fw::ThermocoupleType>(letter[0]); }

// NIST ITS-90 Thermocouple Database (SRD 60), printed to 0.001 mV: half of that plus the float32 bound of this evaluation.
TEST(Thermocouple, ReproducesEveryPublishedPointOfEachType) {
  const CsvTable table("thermocouple_check_points.csv");
  int points = 0;
  for (const std::string& letter : letters) {
    const auto reference = functions("thermocouple_reference_functions.csv", letter, false);
    for (const auto& row : table.rows()) {
      if (row["type"] != letter) continue;
      const double t = row.number("T_C");
      const double bound = piece_of(reference, t).float_bound(t);
      const double mv = static_cast<double>(fw::thermocouple_mv(type_of(letter), static_cast<float>(t)));
      EXPECT_NEAR(mv, row.number("E_published_mV"), 0.0005 + bound) << letter << ' ' << t;
      EXPECT_NEAR(mv, row.number("E_computed_mV_9dec"), 2e-9 + bound) << letter << ' ' << t;
      ++points;
    }
  }
  EXPECT_EQ(points, 1229);   // all rows of the file
}

// Where cold junctions live the bound is far below any input's quantum: under a thousandth of a kelvin.
TEST(Thermocouple, ColdJunctionEmfIsGoodToAThousandthOfAKelvin) {
  for (const std::string& letter : letters) {
    if (letter == "B") continue;   // its emf tells nothing there, and adds at most 3 uV to a compensation
    const auto reference = functions("thermocouple_reference_functions.csv", letter, false);
    for (double t = -10.0; t <= 70.0; t += 0.125) {
      const Polynomial& piece = piece_of(reference, t);
      EXPECT_LT(piece.float_bound(t), 0.001 * piece.slope(t));
      EXPECT_NEAR(static_cast<double>(fw::thermocouple_mv(type_of(letter), static_cast<float>(t))), piece.value(t),
                  piece.float_bound(t));
    }
  }
}

// Inverse of the exact emf: inside the computed extremes of the published polynomial on the 0.1 degC grid (5 decimals: 2e-5),
// plus float32: the emf rounds (half an ulp times the slope) and the Horner bound.
TEST(Thermocouple, InvertsTheReferenceFunctionWithinThePublishedError) {
  const CsvTable table("thermocouple_inverse_error_check.csv");
  int pieces = 0;
  for (const auto& row : table.rows()) {
    const std::string letter = row["type"];
    ++pieces;
    const auto reference = functions("thermocouple_reference_functions.csv", letter, false);
    const auto inverse = functions("thermocouple_inverse_functions.csv", letter, true);
    const bool first = row.number("T_lo_C") <= static_cast<double>(fw::thermocouple_range(type_of(letter)).low_degc) ||
                       (letter == "B" && row["T_lo_C"] == "250");
    const int from = static_cast<int>(row.number("T_lo_C")) * 10 + (first ? 0 : 1);   // a joint belongs to the piece below
    const bool overlap = (letter == "S" || letter == "R") && row["T_hi_C"] == "1200";   // the next piece begins at 1064
    const int to = overlap ? 10640 : static_cast<int>(row.number("T_hi_C") * 10.0);
    for (int i = from; i <= to; ++i) {
      const double t = i / 10.0;
      const double emf = piece_of(reference, t).value(t);
      const Polynomial& piece = piece_of(inverse, emf);
      const double rounding = piece.float_bound(emf) + std::fabs(emf) * unit_roundoff * piece.slope(emf);
      const double error = static_cast<double>(fw::thermocouple_degc(type_of(letter), static_cast<float>(emf))) - t;
      EXPECT_GE(error, row.number("computed_min_error_C") - 2e-5 - rounding) << letter << ' ' << t;
      EXPECT_LE(error, row.number("computed_max_error_C") + 2e-5 + rounding) << letter << ' ' << t;
    }
  }
  EXPECT_EQ(pieces, 23);
}

// The rounding itself, apart from the published polynomial's error. Its a-priori bound is pessimistic by an order; a soak at
// 0.05 K of resolution must not see it.
TEST(Thermocouple, RoundingOfTheInverseStaysBelowAHundredthOfAKelvin) {
  for (const std::string& letter : letters) {
    const auto inverse = functions("thermocouple_inverse_functions.csv", letter, true);
    const auto range = fw::thermocouple_range(type_of(letter));
    const float low_mv = letter == "B" ? 0.29128f : range.low_mv;   // the published inverse begins at 250 degC
    for (int i = 0; i <= 50'000; ++i) {
      const float mv = low_mv + (range.high_mv - low_mv) * static_cast<float>(i) / 50'000.0f;
      const double emf = static_cast<double>(mv);
      const Polynomial& piece = piece_of(inverse, emf);
      const double exact = std::clamp(piece.value(emf), static_cast<double>(range.low_degc), static_cast<double>(range.high_degc));
      ASSERT_NEAR(static_cast<double>(fw::thermocouple_degc(type_of(letter), mv)), exact, 0.01) << letter << mv;
    }
  }
}

// Worked examples of compensation: emf is added, never temperature.
TEST(Thermocouple, CompensatesTheColdJunctionInMillivolts) {
  const CsvTable table("thermocouple_cold_junction_examples.csv");
  int examples = 0;
  for (const auto& row : table.rows()) {
    const std::string letter = row["type"];
    ++examples;
    const auto type = type_of(letter);
    const double cold = row.number("T_cold_junction_C");
    const double terminals = row.number("E_terminals_mV");
    // The example is printed to 1e-6 mV; its inverse is off by at most 0.06 K (published) and 0.03 K (a-priori rounding).
    const auto reading = fw::thermocouple_reading(type, static_cast<float>(terminals), static_cast<float>(cold));
    EXPECT_TRUE(reading.in_range);
    EXPECT_NEAR(static_cast<double>(reading.degc), row.number("T_hot_C"), 0.06 + 0.03);
    EXPECT_NEAR(static_cast<double>(fw::thermocouple_mv(type, static_cast<float>(cold))), row.number("E_cold_mV"), 2e-6);
    const auto bare = fw::thermocouple_degc(type, static_cast<float>(terminals));
    EXPECT_NEAR(static_cast<double>(bare), row.number("T_if_no_compensation_C"), 0.06 + 0.03);
  }
  EXPECT_EQ(examples, 12);
}

TEST(Thermocouple, StaysFiniteAndSaysSoOutsideItsRange) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  const float infinity = std::numeric_limits<float>::infinity();
  for (const std::string& letter : letters) {
    const auto type = type_of(letter);
    const auto range = fw::thermocouple_range(type);
    for (const float bad : {nan, infinity, -infinity, 1e30f, -1e30f, 80.0f, -20.0f}) {
      const auto reading = fw::thermocouple_reading(type, bad, 25.0f);
      EXPECT_FALSE(reading.in_range);
      EXPECT_GE(reading.degc, range.low_degc);
      EXPECT_LE(reading.degc, range.high_degc);
    }
    EXPECT_FALSE(fw::thermocouple_reading(type, 10.0f, nan).in_range);
    EXPECT_TRUE(std::isfinite(fw::thermocouple_reading(type, 10.0f, nan).degc));
    EXPECT_TRUE(fw::thermocouple_reading(type, 10.0f, 25.0f).in_range);
  }
}

// Type B: the published inverse begins at 250 degC; below, the reference function is inverted, and below 50 degC nothing is.
TEST(Thermocouple, OfTypeBReadsFiftyDegreesWhereItsEmfTellsNothing) {
  const auto type = fw::ThermocoupleType::b;
  const auto reference = functions("thermocouple_reference_functions.csv", "B", false);
  for (double t = 0.0; t < 50.0; t += 0.25) {
    const auto reading = fw::thermocouple_reading(type, static_cast<float>(reference[0].value(t)), 0.0f);
    EXPECT_TRUE(reading.in_range) << t << ": a cold furnace is no fault";
    EXPECT_EQ(reading.degc, 50.0f) << t;
    EXPECT_TRUE(reading.folded) << t;
  }
  for (double t = 51.0; t < 250.0; t += 0.25) {
    const auto reading = fw::thermocouple_reading(type, static_cast<float>(reference[0].value(t)), 0.0f);
    EXPECT_TRUE(reading.in_range);
    EXPECT_FALSE(reading.folded) << t;
    // The evaluation's bound over the slope: 1e-8 mV over 0.3 uV/K and more.
    EXPECT_NEAR(static_cast<double>(reading.degc), t, reference[0].float_bound(t) / reference[0].slope(t) + 1e-4) << t;
  }
  EXPECT_FALSE(fw::thermocouple_reading(type, static_cast<float>(-reference[0].value(150.0)), 0.0f).in_range) << "wires crossed";
}

TEST(Thermocouple, HasNoStepWhereItsPiecesMeet) {
  // A step would be a kick to the derivative. The published pieces meet within the sum of their published errors, 0.1 K at most.
  int joints = 0;
  for (const std::string& letter : letters) {
    const auto inverse = functions("thermocouple_inverse_functions.csv", letter, true);
    for (std::size_t i = 1; i < inverse.size(); ++i) {
      const auto mv = static_cast<float>(inverse[i].low);
      const float step = 2e-6f + 1e-6f * std::fabs(mv);
      const float below = fw::thermocouple_degc(type_of(letter), mv - step), above = fw::thermocouple_degc(type_of(letter), mv + step);
      EXPECT_NEAR(below, above, 0.1f) << letter << mv;
      ++joints;
    }
  }
  EXPECT_EQ(joints, 15);
  EXPECT_NEAR(fw::thermocouple_degc(fw::ThermocoupleType::b, 0.29127f), fw::thermocouple_degc(fw::ThermocoupleType::b, 0.29129f), 0.1f);
}

TEST(Thermocouple, LettersAreTheOnesThatParametersTake) {
  EXPECT_EQ(std::string(fw::thermocouple_letters), "KNSRBJTE");
  for (const auto& info : fw::parameter_table()) {
    if (std::string(info.unit) != "letter") continue;
    int taken = 0;
    for (std::uint32_t bits = 0; bits < 256; ++bits) taken += fw::parameter_accepts(info, bits) ? 1 : 0;
    EXPECT_EQ(taken, 8);
    for (const std::string& letter : letters) EXPECT_TRUE(fw::parameter_accepts(info, static_cast<std::uint32_t>(letter[0])));
  }
}

}  // namespace
