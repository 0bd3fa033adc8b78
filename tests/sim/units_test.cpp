// Units: exact definitions and worked examples (tests/reference/pressure_units.csv, pressure_examples.csv; sources there).
#include "sim/units.h"
#include "tests/checkout.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

namespace {

using sim::Quantity;
using sim::Reference;
using sim::Unit;
using sim::UnitError;
using sim::quantity_of;
using sim::unit_of;
using sim::value_in;

std::vector<std::string> cells(const std::string& line) {
  std::vector<std::string> row(1);
  bool quoted = false;
  for (const char c : line) {
    if (c == '"') quoted = !quoted;
    else if (c == ',' && !quoted) row.emplace_back();
    else if (c != '\r') row.back() += c;
  }
  return row;
}

std::vector<std::vector<std::string>> table(const std::string& name) {
  std::ifstream stream(std::string(source_folder) + "/tests/reference/" + name);
  std::vector<std::vector<std::string>> rows;
  for (std::string line; std::getline(stream, line);)
    if (!line.empty() && line[0] != '#') rows.push_back(cells(line));
  return rows;
}

std::string expected_of(const std::string& text, const std::string& wanted) {
  try {
    (void)value_in(text, unit_of(wanted));
  } catch (const UnitError& error) {
    return error.what();
  }
  return "";
}

TEST(Units, HaveThePublishedPressureFactors) {
  // names as the table prints them -> as a file writes them; other inHg and inH2O are not the conventional ones and not offered
  const std::map<std::string, std::string> names = {
      {"Pa", "Pa"}, {"hPa", "hPa"}, {"mbar", "mbar"}, {"kPa", "kPa"}, {"bar", "bar"}, {"atm (standard)", "atm"},
      {"at = kgf/cm2", "kgf/cm2"}, {"Torr", "Torr"}, {"mTorr (micron approx.)", "mTorr"}, {"mmHg (conventional)", "mmHg"},
      {"inHg (conventional)", "inHg"}, {"inH2O (conventional)", "inH2O"}, {"mmH2O (conventional)", "mmH2O"}, {"psi", "psi"}, {"psf",
          "psf"}};
  std::size_t seen = 0;
  for (const auto& row : table("pressure_units.csv")) {
    const auto name = names.find(row[0]);
    if (name == names.end()) continue;
    const double published = std::stod(row[1]);
    EXPECT_NEAR(unit_of(name->second).factor, published, 1e-9 * published) << row[0];
    ++seen;
  }
  EXPECT_EQ(seen, names.size());
  EXPECT_DOUBLE_EQ(unit_of("MPa").factor, 1e6);
  EXPECT_DOUBLE_EQ(unit_of("micron").factor, unit_of("mTorr").factor);
}

TEST(Units, ConvertTheWorkedPressureExamples) {
  const auto rows = table("pressure_examples.csv");
  ASSERT_GT(rows.size(), 10u);
  std::size_t compared = 0;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const std::string written = rows[i][0].substr(0, rows[i][0].find(" ("));      // "2 Torr (over atm.)"
    for (std::size_t k = 1; k < rows[i].size(); ++k) {
      const double published = std::stod(rows[i][k]);
      const double value = value_in(written + " abs", unit_of(rows[0][k] + " abs"));
      EXPECT_NEAR(value, published, 1e-9 * std::fabs(published)) << rows[i][0] << " in " << rows[0][k];
      ++compared;
    }
  }
  EXPECT_EQ(compared, (rows.size() - 1) * (rows[0].size() - 1));
}

TEST(Units, ComeBackFromEveryPressureUnitWithin1e12) {
  for (const char* name : {"Pa", "hPa", "kPa", "MPa", "bar", "mbar", "atm", "Torr", "mTorr", "mmHg", "inHg", "psi", "psf", "kgf/cm2",
      "mmH2O",
                           "inH2O", "micron"}) {
    for (const double pa : {0.013, 15.0, 4000.0, 101325.0, 1.7e6}) {
      const Unit unit = unit_of(std::string(name) + " gauge");
      const std::string text = sim::text_of(unit.from_si(pa), unit.text);
      EXPECT_NEAR(quantity_of(text).si(), pa, 1e-12 * pa) << text;
      EXPECT_NEAR(value_in(text, unit_of("Pa gauge")), pa, 1e-12 * pa) << text;
    }
  }
}

TEST(Units, ReadWhatFilesWrite) {
  EXPECT_DOUBLE_EQ(value_in("4 kPa gauge", unit_of("Pa gauge")), 4000.0);
  EXPECT_DOUBLE_EQ(value_in("12 L", unit_of("m3")), 0.012);
  EXPECT_DOUBLE_EQ(value_in("8 K/min", unit_of("K/s")), 8.0 / 60.0);
  EXPECT_DOUBLE_EQ(value_in("120 min", unit_of("s")), 7200.0);
  EXPECT_DOUBLE_EQ(value_in("2 h 30 min", unit_of("s")), 9000.0);
  EXPECT_DOUBLE_EQ(value_in("2h30min", unit_of("s")), 9000.0);
  EXPECT_DOUBLE_EQ(value_in("790 degC", unit_of("degC")), 790.0);
  EXPECT_NEAR(value_in("212 degF", unit_of("degC")), 100.0, 1e-12);
  EXPECT_DOUBLE_EQ(value_in("8 K", unit_of("K")), 8.0);
  EXPECT_DOUBLE_EQ(value_in("3 mmol", unit_of("mol")), 0.003);
  EXPECT_DOUBLE_EQ(value_in("0.35 L/s", unit_of("m3/s")), 0.35e-3);
  EXPECT_DOUBLE_EQ(value_in("0.02 1/K", unit_of("1/K")), 0.02);
  EXPECT_DOUBLE_EQ(value_in("0.02 /K", unit_of("1/K")), 0.02);
  EXPECT_DOUBLE_EQ(value_in("2 %/s", unit_of("1/s")), 0.02);
  EXPECT_DOUBLE_EQ(value_in("50 %", unit_of("1")), 0.5);
  EXPECT_DOUBLE_EQ(value_in("20 ppm", unit_of("ppm")), 20.0);
  EXPECT_DOUBLE_EQ(value_in("1.5e-4 Pa m3/s", unit_of("Pa m3/s")), 1.5e-4);
  EXPECT_DOUBLE_EQ(value_in("-5 kPa gauge", unit_of("Pa gauge")), -5000.0);
}

TEST(Units, CountStandardVolumesAtTheStateTheyState) {
  // 1 mol of an ideal gas at 0 degC and 101.325 kPa takes 22.41396954 L (CODATA 2018)
  EXPECT_NEAR(value_in("22.41396954 sL", unit_of("mol")), 1.0, 1e-9);
  EXPECT_NEAR(value_in("1 slm", unit_of("sccm")), 1000.0, 1e-9);
  // at 20 degC the same litre holds 273.15 / 293.15 of it
  EXPECT_NEAR(value_in("1 slm(20 degC)", unit_of("slm")), 273.15 / 293.15, 1e-12);
  EXPECT_NEAR(value_in("1 slm(0 degC, 100 kPa)", unit_of("slm")), 100.0 / 101.325, 1e-12);
  EXPECT_THROW((void)unit_of("slm(20 K)"), UnitError);
}

TEST(Units, RefuseABareNumberAndListWhatIsAccepted) {
  const std::string message = expected_of("4", "Pa gauge");
  for (const char* unit : {"Pa", "hPa", "kPa", "MPa", "bar", "mbar", "atm", "Torr", "mTorr", "mmHg", "inHg", "psi", "psf", "kgf/cm2",
      "mmH2O",
                           "inH2O", "micron", "gauge"})
    EXPECT_NE(message.find(unit), std::string::npos) << unit << " in: " << message;
  EXPECT_NE(expected_of("20", "ppm"), "");
  EXPECT_EQ(expected_of("20", "1"), "");
}

TEST(Units, AskForTheReferenceOfAPressure) {
  EXPECT_NE(expected_of("4 kPa", "Pa gauge").find("4 kPa gauge"), std::string::npos);
  EXPECT_NE(expected_of("4 kPa abs", "Pa gauge").find("gauge"), std::string::npos);
  EXPECT_NE(expected_of("4 kPa gauge", "Pa diff").find("diff"), std::string::npos);
  EXPECT_EQ(unit_of("kPa").reference, Reference::missing);
  EXPECT_EQ(unit_of("kPa gauge").reference, Reference::gauge);
  EXPECT_EQ(unit_of("Pa/min").reference, Reference::none);
}

TEST(Units, TellATemperatureFromADifference) {
  EXPECT_NE(expected_of("8 degC", "K").find("difference in K"), std::string::npos);
  EXPECT_NE(expected_of("800 K", "degC").find("in degC"), std::string::npos);
  EXPECT_NE(expected_of("5 degC/min", "K/s"), "");
}

TEST(Units, RefuseWhatIsNoFiniteNumber) {
  for (const char* text : {"nan K", "inf K", "-inf K", "1e400 K", "K", "", "0,6 K", "0x10 K", "--1 K", "+-1 K", "1 2 K"})
    EXPECT_NE(expected_of(text, "K"), "") << text;
}

TEST(Units, NameTheNearestUnit) {
  try {
    (void)quantity_of("4 KPA gauge");
    FAIL();
  } catch (const UnitError& error) {
    EXPECT_EQ(error.nearest, "kPa");
  }
}

TEST(Units, WriteTextThatReadsBackToTheBit) {
  for (const double value : {0.1, 1.0 / 3.0, 12345.678901234567, 1e-7, 5e12, -0.02}) {
    EXPECT_EQ(value_in(sim::text_of(value, "K"), unit_of("K")), value);
    const float single = static_cast<float>(value);
    EXPECT_EQ(static_cast<float>(value_in(sim::text_of(single, "K"), unit_of("K"))), single);
  }
}

}  // namespace
