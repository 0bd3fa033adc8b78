#include "firmware/current_loop.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace {

using fw::CurrentClass;

// NAMUR NE 43: 3.8..20.5 mA measurement, 3.6 and less or 21.0 and more failure (limits common practice, no source at hand).
TEST(CurrentLoop, ClassifiesByTheFourThresholds) {
  EXPECT_EQ(fw::current_class(0.0f), CurrentClass::failed_low);
  EXPECT_EQ(fw::current_class(3.6f), CurrentClass::failed_low);
  EXPECT_EQ(fw::current_class(3.61f), CurrentClass::below_range);
  EXPECT_EQ(fw::current_class(3.79f), CurrentClass::below_range);
  EXPECT_EQ(fw::current_class(3.8f), CurrentClass::good);
  EXPECT_EQ(fw::current_class(12.0f), CurrentClass::good);
  EXPECT_EQ(fw::current_class(20.5f), CurrentClass::good);
  EXPECT_EQ(fw::current_class(20.6f), CurrentClass::above_range);
  EXPECT_EQ(fw::current_class(21.0f), CurrentClass::failed_high);
  EXPECT_EQ(fw::current_class(22.0f), CurrentClass::failed_high);
  EXPECT_EQ(fw::current_class(std::numeric_limits<float>::quiet_NaN()), CurrentClass::failed_low);
  EXPECT_TRUE(fw::current_failed(CurrentClass::failed_high));
  EXPECT_FALSE(fw::current_failed(CurrentClass::below_range));
}

TEST(CurrentLoop, ConvertsSpansBothWays) {
  EXPECT_EQ(fw::span_value(4.0f, -5000.0f, 20000.0f), -5000.0f);
  EXPECT_EQ(fw::span_value(20.0f, -5000.0f, 20000.0f), 20000.0f);
  EXPECT_EQ(fw::span_value(12.0f, -100.0f, 20.0f), -40.0f);   // dew point, mid-scale
  for (int i = 0; i <= 1000; ++i) {
    const float value = -5000.0f + 25.0f * static_cast<float>(i);
    // Two roundings of a 20 mA current (1 ulp = 1.9e-6 mA, 1562.5 Pa per mA) and three of the result (2e-3 Pa at 20 kPa).
    EXPECT_NEAR(fw::span_value(fw::span_current(value, -5000.0f, 20000.0f), -5000.0f, 20000.0f), value, 0.01f);
  }
}

TEST(CurrentLoop, ClampsInsteadOfLettingNonsenseThrough) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  EXPECT_FLOAT_EQ(fw::span_value(nan, 0.0f, 16.0f), -0.2f);
  EXPECT_FLOAT_EQ(fw::span_value(1e9f, 0.0f, 16.0f), 16.5f);
  EXPECT_EQ(fw::span_current(nan, 0.0f, 1.0f), 4.0f);
  EXPECT_EQ(fw::span_current(2.0f, 0.0f, 1.0f), 20.0f);
  EXPECT_EQ(fw::span_current(-1.0f, 0.0f, 1.0f), 4.0f);
  EXPECT_EQ(fw::span_current(1.0f, 3.0f, 3.0f), 4.0f);
  EXPECT_EQ(fw::span_current(1.0f, nan, 3.0f), 4.0f);
}

}  // namespace
