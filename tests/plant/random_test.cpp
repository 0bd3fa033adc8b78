#include "plant/random.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <set>

namespace plant {
namespace {

// SplitMix64 with seed 1234567: first outputs as printed with the public-domain reference implementation (Vigna, splitmix64.c;
// values from memory of its widely repeated test vector).
TEST(RandomStream, ReproducesTheSplitMix64Sequence) {
  RandomStream stream;
  stream.key = 1234567;
  EXPECT_EQ(stream.bits(0), 6457827717110365317u);
  EXPECT_EQ(stream.bits(1), 3203168211198807973u);
  EXPECT_EQ(stream.bits(2), 9817491932198370423u);
}

TEST(RandomStream, DependsOnSeedAndPurposeOnly) {
  EXPECT_EQ(RandomStream(7, "a").bits(3), RandomStream(7, "a").bits(3));
  EXPECT_NE(RandomStream(7, "a").bits(3), RandomStream(7, "b").bits(3));
  EXPECT_NE(RandomStream(7, "a").bits(3), RandomStream(8, "a").bits(3));
}

TEST(RandomStream, StreamsOfOneSeedDoNotOverlapInAMillionDraws) {
  std::set<std::uint64_t> seen;
  for (const char* name : {"station.channel.0", "station.channel.1"}) {
    const RandomStream stream(1, name);
    for (std::uint64_t i = 0; i < 500'000; ++i) seen.insert(stream.bits(i));
  }
  EXPECT_EQ(seen.size(), 1'000'000u);   // 64-bit words: a chance collision has probability 3e-8
}

TEST(RandomStream, UniformHasTheMomentsOfTheUnitInterval) {
  const RandomStream stream(1, "uniform");
  constexpr int count = 100'000;
  double sum = 0.0;
  for (int i = 0; i < count; ++i) {
    const double u = stream.uniform(static_cast<std::uint64_t>(i));
    ASSERT_GE(u, 0.0);
    ASSERT_LT(u, 1.0);
    sum += u;
  }
  EXPECT_NEAR(sum / count, 0.5, 5.0 * std::sqrt(1.0 / 12.0 / count));   // 5 standard errors
}

// Bounds: 5 standard errors. Of the mean 1/sqrt(n); of the variance sqrt((kurtosis - 1)/n), kurtosis 3 - 1.2/4 = 2.7 for the sum of
// four uniforms; of the skewness (0) sqrt(15/n) at most.
TEST(RandomStream, NormalHasMeanZeroVarianceOneAndNoSkew) {
  const RandomStream stream(1, "normal");
  constexpr int count = 200'000;
  double sum = 0.0, squares = 0.0, cubes = 0.0, fourths = 0.0;
  for (int i = 0; i < count; ++i) {
    const double x = stream.normal(static_cast<std::uint64_t>(i));
    ASSERT_LT(std::fabs(x), std::sqrt(12.0) + 1e-4);   // four quarters at their end
    sum += x;
    squares += x * x;
    cubes += x * x * x;
    fourths += x * x * x * x;
  }
  EXPECT_NEAR(sum / count, 0.0, 5.0 / std::sqrt(count));
  EXPECT_NEAR(squares / count, 1.0, 5.0 * std::sqrt(1.7 / count));
  EXPECT_NEAR(cubes / count, 0.0, 5.0 * std::sqrt(15.0 / count));
  EXPECT_NEAR(fourths / count, 2.7, 5.0 * std::sqrt(105.0 / count));
}

TEST(RandomStream, NeighbouringDrawsAreUncorrelated) {
  const RandomStream stream(3, "lag");
  constexpr int count = 200'000;
  double products = 0.0;
  for (int i = 0; i < count; ++i) {
    products += stream.normal(static_cast<std::uint64_t>(i)) * stream.normal(static_cast<std::uint64_t>(i + 1));
  }
  EXPECT_NEAR(products / count, 0.0, 5.0 / std::sqrt(count));
}

}  // namespace
}  // namespace plant
