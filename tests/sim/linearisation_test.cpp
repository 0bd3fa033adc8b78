// The bench's heat loop made linear: the plant's equations differentiated against the plant's own step, which shares neither code nor
// method with them; and the reduction that makes a desk's loop of it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <string>

#include "sim/linearisation.h"
#include "sim/model_reduction.h"
#include "sim/operating_point.h"
#include "sim/scenario.h"
#include "tests/checkout.h"

namespace {

using Eigen::MatrixXd;
using sim::Process;
using sim::StateSpace;

sim::Scenario shipped(const std::string& path) { return sim::load_scenario(std::string(source_folder) + "/configs/scenarios/" + path); }

StateSpace random_system(std::mt19937_64& random, int n) {
  const auto between = [&](double low, double high) { return low + (high - low) * static_cast<double>(random() >> 11) * 0x1p-53; };
  StateSpace system{MatrixXd::Zero(n, n), MatrixXd(n, 1), MatrixXd(1, n), MatrixXd::Zero(1, 1)};
  for (int i = 0; i < n; ++i) {
    for (int k = 0; k < n; ++k) system.a(i, k) = between(-1, 1);
    system.b(i, 0) = between(-1, 1);
    system.c(0, i) = between(-1, 1);
  }
  const double rightmost = system.a.eigenvalues().real().maxCoeff();
  system.a -= (rightmost + 0.1) * MatrixXd::Identity(n, n);
  return system;
}

// Glover's bound: twice the sum of the Hankel singular values that went.
TEST(BalancedTruncation, StaysWithinItsBound) {
  std::mt19937_64 random(5);
  for (int round = 0; round < 10; ++round) {
    const StateSpace system = random_system(random, 12);
    for (const double tolerance : {1e-1, 1e-2, 1e-4}) {
      const sim::ReducedSystem few = sim::balanced(system, tolerance);
      double largest = 0.0;
      for (double rad_s = 1e-4; rad_s < 1e3; rad_s *= 1.2)
        largest = std::max(largest, std::abs(few.system.at(rad_s)(0, 0) - system.at(rad_s)(0, 0)));
      EXPECT_LE(largest, few.bound * (1.0 + 1e-6) + 1e-9 * few.hankel(0)) << round << " " << tolerance;
      EXPECT_LE(few.system.states(), system.states());
    }
  }
}

// Hankel singular value of 1 / (T s + 1): 1/2, whatever T (half the gain; any text on model reduction).
TEST(BalancedTruncation, KnowsTheHankelValueOfALag) {
  const sim::ReducedSystem one = sim::balanced(sim::realised(Process{3, {}, {20}, {}, 0, 0}), 1e-6);
  ASSERT_EQ(one.hankel.size(), 1);
  EXPECT_NEAR(one.hankel(0), 1.5, 1e-12);
}

TEST(BalancedTruncation, LeavesOutWhatCannotBeToldFromOutside) {
  // (5 s + 1) / ((5 s + 1) (20 s + 1)): the zero hides one of the two states.
  const sim::ReducedSystem few = sim::balanced(sim::realised(Process{1, {5}, {5, 20}, {}, 0, 0}), 1e-9);
  ASSERT_EQ(few.system.states(), 1);
  EXPECT_NEAR(few.system.a(0, 0), -0.05, 1e-9);
}

TEST(BalancedTruncation, RefusesWhatDoesNotSettle) {
  EXPECT_THROW((void)sim::balanced(sim::realised(Process{1, {}, {}, {}, 1, 0}), 1e-6), std::domain_error);
}

TEST(Factors, AreFoundAgain) {
  const Process process{-4, {-7, 30}, {100, 12, 3}, {{25, 0.4}}, 0, 0};
  const Process found = sim::factors_of(sim::realised(process), 10.0);
  EXPECT_NEAR(found.gain, -4, 1e-9);
  ASSERT_EQ(found.lags_s.size(), 3u);
  EXPECT_NEAR(found.lags_s[0], 100, 1e-6);
  EXPECT_NEAR(found.lags_s[2], 3, 1e-6);
  ASSERT_EQ(found.pairs.size(), 1u);
  EXPECT_NEAR(found.pairs[0].time_s, 25, 1e-6);
  EXPECT_NEAR(found.pairs[0].damping, 0.4, 1e-8);
  EXPECT_THAT(found.zeros_s, testing::ElementsAre(testing::DoubleNear(30, 1e-6), testing::DoubleNear(-7, 1e-6)));
  EXPECT_EQ(found.delay_s, 0.0);
  // What is faster than asked for counts as delay: a lag adds, a zero takes away.
  const Process slow = sim::factors_of(sim::realised(Process{1, {0.02}, {50, 0.05}, {}, 0, 0}), 10.0);
  EXPECT_EQ(slow.lags_s.size(), 1u);
  EXPECT_TRUE(slow.zeros_s.empty());
  EXPECT_NEAR(slow.delay_s, 0.03, 1e-9);
}

class HeldFurnace : public testing::TestWithParam<double> {};

// The two differ by the plant's curvature over the step (radiation: a demand of one part in a hundred moves the panels by some kelvin of
// a thousand) and by what each neglects within a tick: one part in a hundred, and less with a smaller step.
TEST_P(HeldFurnace, AnswersASmallStepAsItsLinearLoopDoes) {
  const sim::OperatingPoint point = sim::find_operating_point(shipped("cycles/titanium_stress_relief.yaml"), 0, GetParam(), 2400.0);
  EXPECT_NEAR(point.set_degc, GetParam(), 0.1);
  EXPECT_NEAR(point.value_degc, GetParam(), 1.0);
  EXPECT_GT(point.demand, 0.0);
  const sim::LinearLoop loop = sim::linearise(point);
  EXPECT_LT(loop.process.states(), 20);
  EXPECT_LT(loop.lost, 1e-5);
  EXPECT_EQ(loop.sampling.period_s, 1.0);
  EXPECT_EQ(loop.sampling.latency_s, 0.1);
  for (const std::complex<double>& pole : loop.poles_per_s) EXPECT_LT(pole.real(), 0.0);
  EXPECT_LT(sim::check_step(point, loop, 0.01, 1800.0).largest_difference, 0.01);
  // A minute is a tenth of the slow cells' steps: what the panels do at once must be there too.
  EXPECT_LT(sim::check_step(point, loop, 0.01, 60.0).largest_difference, 0.02);
}

INSTANTIATE_TEST_SUITE_P(AtTwoTemperatures, HeldFurnace, testing::Values(170.0, 500.0));

TEST(OperatingPoint, SaysWhyThereIsNone) {
  const auto reason = [](int zone, double at_degc) -> std::string {
    try {
      (void)sim::find_operating_point(shipped("power/repeated_dips.yaml"), zone, at_degc, 1800.0);
    } catch (const std::domain_error& error) {
      return error.what();
    }
    return "found";
  };
  EXPECT_THAT(reason(1, 100.0), testing::HasSubstr("the controller has 1 zone"));
  EXPECT_THAT(reason(0, 2000.0), testing::HasSubstr("never came to 2000 degC"));
}

}  // namespace
