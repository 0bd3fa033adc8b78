#include "firmware/exponential.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace {

// Against the host's libm in double (error below 1e-15), scanned over the whole range.
TEST(Exponential, PowerOfTwoStaysWithinItsRelativeBound) {
  double worst = 0.0;
  for (int i = 0; i <= 2'000'000; ++i) {
    const float x = static_cast<float>(-126.0 + 253.0 * i / 2e6);
    const double exact = std::exp2(static_cast<double>(x));
    worst = std::max(worst, std::fabs(static_cast<double>(fw::exponential2(x)) / exact - 1.0));
  }
  EXPECT_LE(worst, static_cast<double>(fw::exponential2_relative_error));
  EXPECT_GT(worst, 0.0);
}

TEST(Exponential, PowersOfEAndTenStayWithinTheRoundingOfTheirArgument) {
  for (int i = 0; i <= 400'000; ++i) {
    const float x = static_cast<float>(-87.0 + 175.0 * i / 4e5);
    const double bound = static_cast<double>(fw::exponential2_relative_error) + std::fabs(static_cast<double>(x)) * 1.2e-7;
    ASSERT_LE(std::fabs(static_cast<double>(fw::exponential(x)) / std::exp(static_cast<double>(x)) - 1.0), bound) << x;
    const float y = static_cast<float>(-37.0 + 75.0 * i / 4e5);
    const double bound10 = static_cast<double>(fw::exponential2_relative_error) + std::fabs(static_cast<double>(y)) * 2.8e-7;
    ASSERT_LE(std::fabs(static_cast<double>(fw::exponential10(y)) / std::pow(10.0, static_cast<double>(y)) - 1.0), bound10) << y;
  }
}

TEST(Exponential, WholePowersOfTwoAreExact) {
  for (int n = -126; n <= 127; ++n) EXPECT_EQ(fw::exponential2(static_cast<float>(n)), std::ldexp(1.0f, n)) << n;
}

TEST(Exponential, ClampsWhatFloatCannotHold) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  const float infinity = std::numeric_limits<float>::infinity();
  EXPECT_EQ(fw::exponential2(nan), std::ldexp(1.0f, -126));
  EXPECT_EQ(fw::exponential2(-infinity), std::ldexp(1.0f, -126));
  EXPECT_EQ(fw::exponential2(infinity), std::ldexp(1.0f, 127));
  EXPECT_EQ(fw::exponential(-1000.0f), std::ldexp(1.0f, -126));
}

TEST(Logarithm, StaysWithinItsAbsoluteBound) {
  for (int i = 0; i <= 1'000'000; ++i) {
    const float x = static_cast<float>(0.5 + 1.5 * i / 1e6);
    ASSERT_NEAR(static_cast<double>(fw::logarithm2(x)), std::log2(static_cast<double>(x)),
                static_cast<double>(fw::logarithm2_absolute_error))
        << x;
  }
  // Elsewhere one rounding of the result more: half a unit in the last place of a number below 128.
  for (int i = 0; i <= 1'000'000; ++i) {
    const float x = static_cast<float>(std::exp2(-125.9 + 253.0 * i / 1e6));
    if (!std::isfinite(x)) break;
    const double exact = std::log2(static_cast<double>(x));
    ASSERT_NEAR(static_cast<double>(fw::logarithm2(x)), exact,
                static_cast<double>(fw::logarithm2_absolute_error) + std::fabs(exact) * 0x1p-24)
        << x;
  }
}

TEST(Logarithm, PowersOfTwoAreExactAndTheRestIsClamped) {
  for (int n = -126; n <= 127; ++n) EXPECT_EQ(fw::logarithm2(std::ldexp(1.0f, n)), static_cast<float>(n));
  EXPECT_EQ(fw::logarithm2(0.0f), -126.0f);
  EXPECT_EQ(fw::logarithm2(-3.0f), -126.0f);
  EXPECT_EQ(fw::logarithm2(std::numeric_limits<float>::quiet_NaN()), -126.0f);
  EXPECT_EQ(fw::logarithm2(std::numeric_limits<float>::infinity()), 128.0f);
}

}  // namespace
