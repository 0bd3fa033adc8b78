#include "plant/thermocouple.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>

#include "tests/plant/published_table.h"

namespace plant {
namespace {

bool type_of(const std::string& letter, ThermocoupleType& type) {
  if (letter != "K" && letter != "N") return false;
  type = letter == "K" ? ThermocoupleType::k : ThermocoupleType::n;
  return true;
}

// tests/reference/thermocouple_check_points.csv: NIST ITS-90 tables; print to 0.0005 mV plus rounding, 50-digit evaluation to 2e-9 mV.
TEST(Thermocouple, ReproducesEveryPublishedPointOfTypesKAndN) {
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
  EXPECT_EQ(rows, 167 + 159);   // every row of the two types
}

// Cubic Hermite over h = 1 K: error at most the largest fourth derivative / 384. From the published coefficients (of types K and N the
// larger): 7.2e-11 mV above 0 degC, 3.12e-10 mV from -200 degC, 1.26e-9 mV below; 1e-12 more for rounding.
TEST(ThermocoupleTable, StaysOnTheReferenceFunction) {
  for (const auto type : {ThermocoupleType::k, ThermocoupleType::n}) {
    const ThermocoupleRange range = thermocouple_range(type);
    for (double degc = range.low_degc; degc <= range.high_degc; degc += 0.0737) {
      const double bound = 1e-12 + (degc > 0.0 ? 7.2e-11 : (degc > -200.0 ? 3.12e-10 : 1.26e-9));
      ASSERT_NEAR(thermocouple_table(type).emf_mv(degc), thermocouple_emf_mv(type, degc), bound) << degc;
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
  EXPECT_EQ(rows, 6);
}

TEST(Thermocouple, ClampsOutsideItsRange) {
  for (const auto type : {ThermocoupleType::k, ThermocoupleType::n}) {
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
