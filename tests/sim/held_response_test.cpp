// The closed forms of lags, pairs and integrators against the matrix exponential, at uneven times and any dead time.
#include "sim/held_response.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/sim/simulated_record.h"

namespace {

using test_record::process;

const sim::TestSignal signal{{0.0, 3.0, 7.25, 9.0, 20.0}, {0.0, 2.0, -1.0, 0.5, 0.0}, 40.0};

sim::HeldInput moves() {
  sim::HeldInput input;
  for (std::size_t i = 1; i < signal.times_s.size(); ++i) input.push_back({signal.times_s[i], signal.levels[i]});
  return input;
}

std::vector<double> uneven() {
  const plant::RandomStream chance(3, "times");
  std::vector<double> times;
  for (int k = 0; k < 120; ++k) times.push_back(0.33 * (k + 0.9 * chance.uniform(static_cast<std::uint64_t>(k))));
  return times;
}

// The largest deviation; the matrix exponential (Pade) is good to some 1e-13.
double off(const sim::Process& truth, const Eigen::VectorXd& response) {
  const std::vector<double> exact = test_record::output_of(truth, signal, 0.0, uneven());
  double most = 0.0;
  for (std::size_t k = 0; k < exact.size(); ++k) most = std::max(most, std::fabs(exact[k] - response[static_cast<Eigen::Index>(k)]));
  return most;
}

Eigen::VectorXd times() {
  const std::vector<double> all = uneven();
  return Eigen::Map<const Eigen::VectorXd>(all.data(), static_cast<Eigen::Index>(all.size()));
}

TEST(HeldResponse, OfALagAndAnIntegratorIsExact) {
  for (const double delay : {0.0, 0.17, 1.0, 4.75}) {
    EXPECT_LT(off(process(1.0, {2.5}, delay), sim::lag_response(moves(), 2.5, delay, times())), 1e-9) << delay;
    EXPECT_LT(off(process(1.0, {}, delay, {}, 1), sim::integral_response(moves(), delay, times())), 1e-9) << delay;
  }
}

// Two lags, nearly equal ones (where the closed forms change over), equal ones, pairs; a far faster one beside a slow one.
TEST(HeldResponse, OfAPairIsExactAtAnyDamping) {
  for (const double zeta : {0.1, 0.7, 0.9999, 1.0 - 1e-7, 1.0, 1.0 + 1e-7, 1.0001, 1.5, 12.0}) {
    for (const double delay : {0.0, 0.17, 4.75}) {
      const Eigen::MatrixX2d response = sim::pair_response(moves(), 2.0, zeta, delay, times());
      const std::vector<sim::SecondOrderLag> pair{{2.0, zeta}};
      EXPECT_LT(off(process(1.0, {}, delay, {}, 0, pair), response.col(0)), 1e-9) << zeta << " " << delay;
      EXPECT_LT(off(process(1.0, {}, delay, {3.0}, 0, pair), response.col(0) + 3.0 * response.col(1)), 1e-9) << zeta << " " << delay;
    }
  }
}

// Let go: the characteristic equation holds, by differences of a thousandth; both parts begin as said.
TEST(HeldResponse, OfAPairLetGoObeysItsEquation) {
  for (const double zeta : {0.3, 1.0, 2.0}) {
    const double h = 1e-3;
    const Eigen::VectorXd t = Eigen::VectorXd::LinSpaced(3, 1.0 - h, 1.0 + h);
    const Eigen::MatrixX2d free = sim::pair_release(2.0, zeta, t), begin = sim::pair_release(2.0, zeta, Eigen::Vector2d(0.0, h));
    for (int c : {0, 1}) {
      const double rate = (free(2, c) - free(0, c)) / (2.0 * h), bend = (free(2, c) - 2.0 * free(1, c) + free(0, c)) / (h * h);
      EXPECT_NEAR(4.0 * bend + 4.0 * zeta * rate + free(1, c), 0.0, 1e-5);
    }
    EXPECT_DOUBLE_EQ(begin(0, 0), 1.0);
    EXPECT_DOUBLE_EQ(begin(0, 1), 0.0);
    EXPECT_NEAR((begin(1, 1) - begin(0, 1)) / h, 1.0, 2e-3);
  }
}

}  // namespace
