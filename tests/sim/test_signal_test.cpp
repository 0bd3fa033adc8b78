// Test inputs: the steps' levels and times, the binary sequence's period, balance, runs and correlation.
#include "sim/test_signal.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <limits>
#include <numeric>
#include <set>
#include <stdexcept>

namespace {

TEST(TestSignal, StepsWhenItIsDue) {
  const sim::TestSignal step = sim::step_test(2.0, -0.5, 10.0, 40.0);
  EXPECT_DOUBLE_EQ(step.at(0.0), 2.0);
  EXPECT_DOUBLE_EQ(step.at(9.999), 2.0);
  EXPECT_DOUBLE_EQ(step.at(10.0), 1.5);
  EXPECT_DOUBLE_EQ(step.end_s, 50.0);
}

// Sum of level times duration is that of rest: what makes a drift distinguishable.
TEST(TestSignal, StepsUpAndDownAboutItsRest) {
  const sim::TestSignal steps = sim::double_step_test(2.0, 0.5, 10.0, 40.0);
  EXPECT_DOUBLE_EQ(steps.at(20.0), 2.5);
  EXPECT_DOUBLE_EQ(steps.at(60.0), 1.5);
  EXPECT_DOUBLE_EQ(steps.at(100.0), 2.0);
  EXPECT_DOUBLE_EQ(steps.end_s, 130.0);
  double area = 0.0;
  for (std::size_t i = 0; i < steps.times_s.size(); ++i) {
    const double until = i + 1 < steps.times_s.size() ? steps.times_s[i + 1] : steps.end_s;
    area += (steps.levels[i] - 2.0) * (until - steps.times_s[i]);
  }
  EXPECT_NEAR(area, 0.0, 1e-12);
}

// Properties of maximal-length sequences: S. W. Golomb, Shift Register Sequences (1967): 2^(n-1) ones and one fewer of the other; every
// window of n values once in a period (so that the period is 2^n - 1 and no less); autocorrelation -1 / N at every shift.
TEST(TestSignal, BinarySequenceHasItsWholePeriodAndBalance) {
  for (int order = sim::shortest_register; order <= sim::longest_register; ++order) {
    const std::vector<int> sequence = sim::maximal_sequence(order);
    const std::size_t n = sequence.size();
    ASSERT_EQ(n, (std::size_t{1} << order) - 1) << order;
    EXPECT_EQ(std::accumulate(sequence.begin(), sequence.end(), 0), 1) << order;
    std::set<std::uint32_t> windows;
    for (std::size_t k = 0; k < n; ++k) {
      std::uint32_t window = 0;
      for (int i = 0; i < order; ++i) window = 2 * window + (sequence[(k + static_cast<std::size_t>(i)) % n] > 0 ? 1u : 0u);
      windows.insert(window);
    }
    EXPECT_EQ(windows.size(), n) << order;
    EXPECT_EQ(windows.count(0u), 0u) << order;
  }
}

TEST(TestSignal, BinarySequenceIsUncorrelated) {
  for (int order = sim::shortest_register; order <= sim::longest_register; ++order) {
    const std::vector<int> sequence = sim::maximal_sequence(order);
    const std::size_t n = sequence.size();
    for (std::size_t shift = 1; shift < n; shift += order < 11 ? 1 : n / 97) {
      int sum = 0;
      for (std::size_t k = 0; k < n; ++k) sum += sequence[k] * sequence[(k + shift) % n];
      ASSERT_EQ(sum, -1) << order << ", shift " << shift;
    }
  }
}

TEST(TestSignal, BinaryTestHoldsEachBit) {
  const sim::TestSignal test = sim::binary_test(5.0, 2.0, 30.0, 4, 3.0, 2);
  EXPECT_DOUBLE_EQ(test.end_s, 30.0 + 2 * 15 * 3.0);
  EXPECT_DOUBLE_EQ(test.at(29.0), 5.0);
  const std::vector<int> sequence = sim::maximal_sequence(4);
  for (int k = 0; k < 30; ++k) EXPECT_DOUBLE_EQ(test.at(30.0 + 3.0 * k + 1.5), 5.0 + 2.0 * sequence[static_cast<std::size_t>(k % 15)]);
}

TEST(TestSignal, ChoosesTheRegisterWhoseLongestRunSettles) {
  EXPECT_EQ(sim::order_for(60.0, 10.0), 6);
  EXPECT_EQ(sim::order_for(61.0, 10.0), 7);
  EXPECT_EQ(sim::order_for(1.0, 10.0), 2);
  EXPECT_EQ(sim::order_for(1e6, 10.0), 16);
}

TEST(TestSignal, RefusesWhatMovesNothing) {
  EXPECT_THROW(sim::step_test(1.0, 0.0, 1.0, 1.0), std::invalid_argument);
  EXPECT_THROW(sim::step_test(1.0, 1.0, 0.0, 1.0), std::invalid_argument);
  EXPECT_THROW(sim::double_step_test(1.0, std::numeric_limits<double>::quiet_NaN(), 1.0, 1.0), std::invalid_argument);
  EXPECT_THROW(sim::maximal_sequence(1), std::invalid_argument);
  EXPECT_THROW(sim::maximal_sequence(17), std::invalid_argument);
  EXPECT_THROW(sim::binary_test(0.0, 1.0, 0.0, 4, 0.0, 1), std::invalid_argument);
  EXPECT_THROW(sim::binary_test(0.0, 1.0, 0.0, 4, 1.0, 0), std::invalid_argument);
}

}  // namespace
