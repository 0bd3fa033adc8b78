// Non-linear least squares within bounds: Gauss-Newton steps damped after Levenberg and Marquardt, parameters that would leave
// their bounds held there (projected), derivatives by finite differences in several threads. The result is the same for any
// number of threads. Method: Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431; covariance of the linear approximation:
// Seber and Wild, Nonlinear Regression (1989), sections 2.1 and 5.1 (both from memory).
#pragma once

#include <functional>

#include <Eigen/Dense>

namespace sim {

struct LeastSquaresProblem {
  // Residuals at x, weighted, always as many; false: nothing can be computed there. Called from several threads.
  std::function<bool(const Eigen::VectorXd& x, Eigen::VectorXd& residuals)> residuals;
  Eigen::VectorXd start, low, high;  // low < high; start within
  Eigen::VectorXd difference;        // step of the finite differences, each > 0
  int threads = 1;
  int iterations_max = 50;
  double cost_tolerance = 1e-10;                               // relative decrease below which it has converged,
  double cost_enough = 0.0;                                    // and absolute one
  std::function<void(int iteration, double cost)> progress{};  // may be empty
};

struct LeastSquaresResult {
  Eigen::VectorXd x;
  double cost = 0.0;         // half the sum of squares
  Eigen::MatrixXd jacobian;  // of the residuals, where the last step began
  Eigen::VectorXd residuals;
  int iterations = 0;
  bool converged = false;
};

// Throws std::invalid_argument where nothing can be computed at the start.
LeastSquaresResult solve_least_squares(const LeastSquaresProblem& problem);

}  // namespace sim
