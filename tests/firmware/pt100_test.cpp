#include "firmware/pt100.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "tests/csv_table.h"

namespace {

// IEC 60751 tables, printed to 0.01 ohm. float32: R0 + R0 (R/R0 - 1) rounds to half an ulp of 390 ohm (1.6e-5) and carries
// about six roundings of the ratio (6 * 6e-8 * 290 ohm = 1e-4).
constexpr double float_ohm = 1.2e-4;

TEST(Pt100, ReproducesEveryPublishedResistance) {
  const CsvTable table("pt100_check_points.csv");
  int points = 0;
  for (const auto& row : table.rows()) {
    const float t = static_cast<float>(row.number("t_C"));
    const double ohm = static_cast<double>(fw::pt100_ohm(t));
    EXPECT_NEAR(ohm, row.number("R_computed_ohm"), 5e-7 + float_ohm) << t;
    if (row["R_published_ohm"].empty()) continue;   // no table prints that temperature
    EXPECT_NEAR(ohm, row.number("R_published_ohm"), 0.005 + float_ohm) << t;
    ++points;
  }
  EXPECT_EQ(points, 82);
}

TEST(Pt100, InvertsEveryPublishedPoint) {
  const CsvTable table("pt100_check_points.csv");
  for (const auto& row : table.rows()) {
    const double t = row.number("t_C");
    const auto reading = fw::pt100_reading(static_cast<float>(row.number("R_computed_ohm")));
    EXPECT_TRUE(reading.in_range);
    // The resistance rounds (half an ulp over the slope of at least 0.29 ohm/K), the print has 6 decimals, and the root
    // carries about eight roundings of t: 8 * 6e-8 * 850 K.
    const double ohm_ulp = row.number("R_computed_ohm") * 0x1p-24;
    EXPECT_NEAR(static_cast<double>(reading.degc), t, (ohm_ulp + 5e-7) / 0.29 + 8.0 * 0x1p-24 * (std::fabs(t) + 1.0)) << t;
  }
}

TEST(Pt100, StaysFiniteAndSaysSoOutsideItsRange) {
  for (const float bad : {std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity(), -1.0f, 0.0f, 18.0f,
                          391.0f, 1e9f}) {
    const auto reading = fw::pt100_reading(bad);
    EXPECT_FALSE(reading.in_range) << bad;
    EXPECT_GE(reading.degc, -200.0f);
    EXPECT_LE(reading.degc, 850.0f);
  }
}

}  // namespace
