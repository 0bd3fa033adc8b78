#include "firmware/vacuum_gauge.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace {

TEST(VacuumGauge, CapacitanceIsLinearAndKnowsItsEnds) {
  EXPECT_FLOAT_EQ(fw::capacitance_reading(10.0f, 1333.22f).pa, 1333.22f);
  EXPECT_FLOAT_EQ(fw::capacitance_reading(0.1f, 1333.22f).pa, 13.3322f);
  EXPECT_LT(fw::capacitance_reading(-0.01f, 1333.22f).pa, 0.0f);   // a zero error must stay visible
  EXPECT_TRUE(fw::capacitance_reading(10.0f, 1333.22f).in_range);
  EXPECT_FALSE(fw::capacitance_reading(10.1f, 1333.22f).in_range);
  EXPECT_FALSE(fw::capacitance_reading(-0.2f, 1333.22f).in_range);
  EXPECT_FALSE(fw::capacitance_reading(std::numeric_limits<float>::quiet_NaN(), 1333.22f).in_range);
  EXPECT_LE(fw::capacitance_reading(1e9f, 1000.0f).pa, 1020.1f);
}

// p = 0.1 Pa * 10^((V - 1) / 1.25): one decade per 1.25 V.
TEST(VacuumGauge, PiraniReadsOneDecadePerStep) {
  for (int decade = 0; decade <= 6; ++decade) {
    const float v = 1.0f + 1.25f * static_cast<float>(decade);   // exact in float32
    const double expected = 0.1 * std::pow(10.0, decade);
    // 10^x: 3e-7 + 2.8e-7 x, and two roundings.
    EXPECT_NEAR(static_cast<double>(fw::pirani_reading(v).pa), expected, expected * (4.2e-7 + 2.8e-7 * decade));
  }
  EXPECT_TRUE(fw::pirani_reading(1.0f).in_range);
  EXPECT_FALSE(fw::pirani_reading(0.9f).in_range);
  EXPECT_FALSE(fw::pirani_reading(9.1f).in_range);
  EXPECT_FALSE(fw::pirani_reading(std::numeric_limits<float>::quiet_NaN()).in_range);
  EXPECT_TRUE(std::isfinite(fw::pirani_reading(std::numeric_limits<float>::infinity()).pa));
}

}  // namespace
