// The solver alone, against published regression data (tests/reference/nonlinear_regression.csv).
#include "sim/least_squares.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <fstream>
#include <string>
#include <vector>

#include "tests/checkout.h"

namespace {

using Eigen::VectorXd;

struct Points {
  VectorXd x, y;
};

Points misra() {
  std::ifstream stream(std::string(source_folder) + "/tests/reference/nonlinear_regression.csv");
  std::vector<double> x, y;
  for (std::string line; std::getline(stream, line);) {
    double a = 0.0, b = 0.0;
    if (std::sscanf(line.c_str(), "%lf,%lf", &a, &b) != 2) continue;
    y.push_back(a);
    x.push_back(b);
  }
  const auto n = static_cast<Eigen::Index>(x.size());
  return {Eigen::Map<VectorXd>(x.data(), n), Eigen::Map<VectorXd>(y.data(), n)};
}

sim::LeastSquaresProblem problem(const Points& points, double b1, double b2) {
  sim::LeastSquaresProblem p;
  p.residuals = [points](const VectorXd& b, VectorXd& r) {
    r = (b[0] * (1.0 - (-b[1] * points.x.array()).exp()) - points.y.array()).matrix();
    return r.allFinite();
  };
  p.start = VectorXd{{b1, b2}};
  p.low = VectorXd{{1.0, 1e-6}};
  p.high = VectorXd{{1e4, 1.0}};
  p.difference = VectorXd{{1e-5, 1e-11}};
  p.cost_tolerance = 1e-14;
  return p;
}

struct FromStart : testing::TestWithParam<std::pair<double, double>> {};

// Both starting points of the reference, estimates and standard deviations: s^2 (J'J)^-1.
TEST_P(FromStart, FindsTheCertifiedValues) {
  const Points points = misra();
  ASSERT_EQ(points.x.size(), 14);
  sim::LeastSquaresProblem p = problem(points, GetParam().first, GetParam().second);
  const sim::LeastSquaresResult found = solve_least_squares(p);
  EXPECT_TRUE(found.converged);
  EXPECT_NEAR(found.x[0] / 2.3894212918e2, 1.0, 1e-6);
  EXPECT_NEAR(found.x[1] / 5.5015643181e-4, 1.0, 1e-6);
  EXPECT_NEAR(2.0 * found.cost / 1.2455138894e-1, 1.0, 1e-8);
  const Eigen::MatrixXd covariance = (found.jacobian.transpose() * found.jacobian).inverse() * (2.0 * found.cost / 12.0);
  EXPECT_NEAR(std::sqrt(covariance(0, 0)) / 2.7070075241, 1.0, 1e-3);
  EXPECT_NEAR(std::sqrt(covariance(1, 1)) / 7.2668688436e-6, 1.0, 1e-3);
}

INSTANTIATE_TEST_SUITE_P(Misra1a, FromStart, testing::Values(std::pair{500.0, 1e-4}, std::pair{250.0, 5e-4}));

// Held at 230, b2 is that of a line search along the bound: the one number left solves the same problem alone.
TEST(LeastSquares, StaysWithinItsBounds) {
  const Points points = misra();
  sim::LeastSquaresProblem p = problem(points, 200.0, 5e-4);
  p.high[0] = 230.0;
  const sim::LeastSquaresResult found = solve_least_squares(p);
  EXPECT_EQ(found.x[0], 230.0);
  const auto cost = [&](double b2) {
    VectorXd r;
    p.residuals(VectorXd{{230.0, b2}}, r);
    return 0.5 * r.squaredNorm();
  };
  double low = 4e-4, high = 7e-4;
  for (int i = 0; i < 100; ++i) {
    const double a = low + (high - low) / 3.0, b = high - (high - low) / 3.0;
    (cost(a) < cost(b) ? high : low) = cost(a) < cost(b) ? b : a;
  }
  EXPECT_NEAR(found.x[1] / low, 1.0, 1e-5);
}

TEST(LeastSquares, IsTheSameForAnyNumberOfThreads) {
  sim::LeastSquaresProblem p = problem(misra(), 500.0, 1e-4);
  const sim::LeastSquaresResult one = solve_least_squares(p);
  p.threads = 3;
  const sim::LeastSquaresResult three = solve_least_squares(p);
  EXPECT_EQ(one.x, three.x);
  EXPECT_EQ(one.jacobian, three.jacobian);
}

TEST(LeastSquares, GoesRoundWhatCannotBeComputed) {
  sim::LeastSquaresProblem p = problem(misra(), 250.0, 5e-4);
  const auto whole = p.residuals;
  p.residuals = [whole](const VectorXd& b, VectorXd& r) { return b[0] < 250.000001 && b[0] > 200.0 && whole(b, r); };
  EXPECT_NEAR(solve_least_squares(p).x[0] / 2.3894212918e2, 1.0, 1e-6);
  p.residuals = [](const VectorXd&, VectorXd&) { return false; };
  EXPECT_THROW((void)solve_least_squares(p), std::invalid_argument);
}

}  // namespace
