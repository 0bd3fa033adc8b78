#include "sim/least_squares.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <stdexcept>
#include <thread>
#include <vector>

namespace sim {

namespace {

using Eigen::VectorXd;

constexpr double damping_least = 1e-12, damping_most = 1e12;

// Forward where there is room, else backward: the error goes with the step, which is small beside what an estimate is uncertain
// by. A column per parameter, each by whoever is free.
bool find_jacobian(const LeastSquaresProblem& problem, const VectorXd& x, const VectorXd& at_x, Eigen::MatrixXd& jacobian) {
  std::atomic<Eigen::Index> next{0};
  std::atomic<bool> possible{true};
  const auto column = [&](Eigen::Index i) {
    VectorXd there = x, residuals(at_x.size());
    for (const double step : {problem.difference[i], -problem.difference[i]}) {
      there[i] = x[i] + step;
      if (there[i] < problem.low[i] || there[i] > problem.high[i] || !problem.residuals(there, residuals)) continue;
      jacobian.col(i) = (residuals - at_x) / (there[i] - x[i]);
      return;
    }
    possible = false;
  };
  const auto work = [&] {
    for (Eigen::Index i = next++; i < x.size(); i = next++) column(i);
  };
  std::vector<std::thread> others;
  for (int i = 1; i < problem.threads; ++i) others.emplace_back(work);
  work();
  for (std::thread& other : others) other.join();
  return possible;
}

// Held at a bound: it stands there and would go further.
std::vector<Eigen::Index> free_ones(const LeastSquaresProblem& problem, const VectorXd& x, const VectorXd& gradient) {
  std::vector<Eigen::Index> free;
  for (Eigen::Index i = 0; i < x.size(); ++i) {
    const bool held = (x[i] <= problem.low[i] && gradient[i] > 0.0) || (x[i] >= problem.high[i] && gradient[i] < 0.0);
    if (!held) free.push_back(i);
  }
  return free;
}

VectorXd step_to(const LeastSquaresProblem& problem, const LeastSquaresResult& at, double damping) {
  const VectorXd gradient = at.jacobian.transpose() * at.residuals;
  const std::vector<Eigen::Index> free = free_ones(problem, at.x, gradient);
  Eigen::MatrixXd normal = (at.jacobian.transpose() * at.jacobian).eval()(free, free);
  const VectorXd scale = normal.diagonal().cwiseMax(1e-30);
  normal.diagonal() += damping * scale;
  const VectorXd step = normal.ldlt().solve(-gradient(free));
  VectorXd x = at.x;
  for (std::size_t k = 0; k < free.size(); ++k) {
    const Eigen::Index i = free[k];
    x[i] = std::clamp(x[i] + step[static_cast<Eigen::Index>(k)], problem.low[i], problem.high[i]);
  }
  return x;
}

}  // namespace

LeastSquaresResult solve_least_squares(const LeastSquaresProblem& problem) {
  LeastSquaresResult at;
  at.x = problem.start.cwiseMax(problem.low).cwiseMin(problem.high);
  if (!problem.residuals(at.x, at.residuals)) throw std::invalid_argument("nothing can be computed where the search begins");
  at.cost = 0.5 * at.residuals.squaredNorm();
  at.jacobian.resize(at.residuals.size(), at.x.size());
  if (!find_jacobian(problem, at.x, at.residuals, at.jacobian))
    throw std::invalid_argument("no derivative where the search begins");
  double damping = 1e-3;
  while (at.iterations < problem.iterations_max && !at.converged) {
    ++at.iterations;
    if (problem.progress) problem.progress(at.iterations, at.cost);
    bool better = false;
    for (; !better && damping < damping_most; damping *= better ? 1.0 : 10.0) {
      const VectorXd x = step_to(problem, at, damping);
      VectorXd residuals(at.residuals.size());
      const bool possible = problem.residuals(x, residuals);
      const double cost = 0.5 * residuals.squaredNorm();
      const double gained = at.cost - cost;
      if (possible && gained >= 0.0 && std::isfinite(cost)) {
        better = true;
        at.converged = gained <= std::max(problem.cost_tolerance * at.cost, problem.cost_enough);
        at.x = x;
        at.cost = cost;
        at.residuals = residuals;
      } else if ((x - at.x).cwiseQuotient(problem.difference).norm() < 1e-4) {
        break;  // no step worth the name improves it
      }
    }
    if (!better) {
      at.converged = true;
      break;
    }
    damping = std::max(0.1 * damping, damping_least);
    if (!at.converged && !find_jacobian(problem, at.x, at.residuals, at.jacobian)) break;
  }
  return at;
}

}  // namespace sim
