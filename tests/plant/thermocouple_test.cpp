#include "plant/thermocouple.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <string>

#include "tests/plant/published_table.h"

namespace plant {
namespace {

bool type_of(const std::string& letter, ThermocoupleType& type) {
  for (std::size_t i = 0; i < thermocouple_letter.size(); ++i) {
    if (letter != std::string(1, thermocouple_letter[i])) continue;
    type = static_cast<ThermocoupleType>(i);
    return true;
  }
  return false;
}

// tests/reference/thermocouple_check_points.csv: NIST ITS-90 tables; print to 0.0005 mV plus rounding, 50-digit evaluation to 2e-9 mV.
TEST(Thermocouple, ReproducesEveryPublishedPointOfEachType) {
  int rows = 0;
  for (const auto& row : PublishedTable("thermocouple_check_points.csv").rows()) {
    ThermocoupleType type;
    if (!type_of(row.at("type"), type)) continue;
    ++rows;
    const double degc = PublishedTable::number(row, "T_C");
    const double emf = thermocouple_emf_mv(type, degc);
    EXPECT_NEAR(emf, PublishedTable::number(row, "E_computed_mV_9dec"), 2e-9) << row.at("type") << " " << degc;
    EXPECT_NEAR(emf, PublishedTable::number(row, "E_published_mV"), 0.0005 + 1e-9) << row.at("type") << " " << degc;
    EXPECT_NEAR(1e3 * thermocouple_slope_mv_per_k(type, degc), PublishedTable::number(row, "seebeck_computed_uV_per_C"), 0.00051)
        << row.at("type") << " " << degc;
  }
  EXPECT_EQ(rows, 1229);   // every row
}

// Cubic Hermite over h = 1 K: error at most the largest fourth derivative / 384, here from the published coefficients, in mV above
// 0, from -200 and below -200 degC; 1e-12 more for rounding. Where a joint lies within a degree (S and R 1064.18 and 1664.5, B
// 630.615) the interval follows the upper piece, which there leaves the lower one by at most 9.5e-8 mV.
TEST(ThermocoupleTable, StaysOnTheReferenceFunction) {
  struct Bound { double warm, cold, coldest; };
  const std::array<Bound, thermocouple_types> bounds{{{7.2e-11, 3.12e-10, 1.26e-9}, {7.2e-11, 3.12e-10, 1.26e-9},
                                                      {2.1e-12, 2.6e-12, 0.0}, {2.3e-12, 3.1e-12, 0.0}, {4.5e-13, 0.0, 0.0},
                                                      {2.6e-11, 3.0e-11, 3.1e-11}, {1.4e-10, 1.3e-9, 1.7e-8}, {5.2e-11, 1.7e-9, 7.0e-9}}};
  for (std::size_t i = 0; i < bounds.size(); ++i) {
    const auto type = static_cast<ThermocoupleType>(i);
    const ThermocoupleRange range = thermocouple_range(type);
    for (double degc = range.low_degc; degc <= range.high_degc; degc += 0.0737) {
      const double whole = std::floor(degc);
      const bool joint = whole == 1064.0 || whole == 1664.0 || whole == 630.0;
      const double smooth = degc > 0.0 ? bounds[i].warm : (degc > -200.0 ? bounds[i].cold : bounds[i].coldest);
      ASSERT_NEAR(thermocouple_table(type).emf_mv(degc), thermocouple_emf_mv(type, degc), 1e-12 + smooth + (joint && i >= 2 ? 9.5e-8 : 0.0))
          << thermocouple_letter[i] << degc;
    }
  }
}

// tests/reference/thermocouple_cold_junction_examples.csv: emf adds, temperatures do not.
TEST(Thermocouple, SubtractsTheColdJunctionAsAnEmf) {
  int rows = 0;
  for (const auto& row : PublishedTable("thermocouple_cold_junction_examples.csv").rows()) {
    ThermocoupleType type;
    if (!type_of(row.at("type"), type)) continue;
    ++rows;
    const double hot = PublishedTable::number(row, "T_hot_C"), cold = PublishedTable::number(row, "T_cold_junction_C");
    EXPECT_NEAR(thermocouple_terminal_mv(type, hot, cold), PublishedTable::number(row, "E_terminals_mV"), 0.51e-6);
  }
  EXPECT_EQ(rows, 12);
}

TEST(Thermocouple, ClampsOutsideItsRange) {
  for (int i = 0; i < thermocouple_types; ++i) {
    const auto type = static_cast<ThermocoupleType>(i);
    const ThermocoupleRange range = thermocouple_range(type);
    EXPECT_EQ(thermocouple_emf_mv(type, 5000.0), thermocouple_emf_mv(type, range.high_degc));
    EXPECT_EQ(thermocouple_emf_mv(type, -300.0), thermocouple_emf_mv(type, range.low_degc));
    EXPECT_NEAR(thermocouple_table(type).emf_mv(5000.0), thermocouple_emf_mv(type, range.high_degc), 1e-9);
    EXPECT_TRUE(std::isfinite(thermocouple_table(type).emf_mv(std::numeric_limits<double>::quiet_NaN())));
  }
}

// The joint's own slopes must not leak into the neighbouring interval: type N jumps by 0.23 uV/K at 0 degC.
TEST(ThermocoupleTable, KeepsTheKinkOfTypeNAtZero) {
  const auto& table = thermocouple_table(ThermocoupleType::n);
  EXPECT_NEAR((table.emf_mv(0.0) - table.emf_mv(-1e-3)) * 1e6, 26.159, 1e-3);
  EXPECT_NEAR((table.emf_mv(1e-3) - table.emf_mv(0.0)) * 1e6, 25.929, 1e-3);
}

}  // namespace
}  // namespace plant
