#include "sim/residual_colour.h"

#include <algorithm>
#include <cmath>

#include "sim/distribution.h"

namespace sim {
namespace {

constexpr int highest_order = 8;

struct Autoregression {
  std::vector<double> factors;   // of the values 1, 2, ... readings before
  int order() const { return static_cast<int>(factors.size()); }
};

// Levinson's recursion through all orders; the one with the least BIC.
Autoregression fitted(const std::vector<double>& covariance, double count) {
  Autoregression best;
  if (!(covariance[0] > 0.0)) return best;
  std::vector<double> factors;
  double left = covariance[0], least = count * std::log(left);
  for (std::size_t p = 1; p < covariance.size(); ++p) {
    double reflection = covariance[p];
    for (std::size_t i = 0; i < factors.size(); ++i) reflection -= factors[i] * covariance[p - 1 - i];
    reflection /= left;
    std::vector<double> longer = factors;
    for (std::size_t i = 0; i < factors.size(); ++i) longer[i] -= reflection * factors[factors.size() - 1 - i];
    longer.push_back(reflection);
    factors = longer;
    left *= 1.0 - reflection * reflection;
    if (!(left > 1e-14 * covariance[0])) break;
    const double criterion = count * std::log(left) + static_cast<double>(p) * std::log(count);
    if (criterion >= least) continue;
    least = criterion;
    best.factors = factors;
  }
  return best;
}

}  // namespace

double autocovariance(const Eigen::VectorXd& x, Eigen::Index distance) {
  const Eigen::Index n = x.size() - distance;
  return n > 0 ? x.head(n).dot(x.tail(n)) / static_cast<double>(x.size()) : 0.0;
}

ResidualColour::ResidualColour(const Eigen::VectorXd& residual, Eigen::Index parameters) {
  const Eigen::Index n = residual.size();
  const auto count = static_cast<double>(n);
  const Eigen::Index most = std::clamp<Eigen::Index>(n / 20, 0, highest_order);
  for (Eigen::Index k = 0; k <= most; ++k) covariance_.push_back(autocovariance(residual, k));
  const Autoregression model = fitted(covariance_, count);
  order_ = model.order();
  covariance_.resize(static_cast<std::size_t>(order_) + 1);
  const auto longest = static_cast<std::size_t>(std::min<Eigen::Index>(n / 2, 1000));
  const auto p = static_cast<std::size_t>(order_);
  while (p > 0 && covariance_.size() < longest) {
    double next = 0.0, recent = 0.0;
    const std::size_t k = covariance_.size();
    for (std::size_t i = 0; i < p; ++i) next += model.factors[i] * covariance_[k - 1 - i];
    covariance_.push_back(next);
    for (std::size_t i = 0; i < p; ++i) recent = std::max(recent, std::fabs(covariance_[k - i]));
    if (recent < 1e-3 * covariance_[0]) break;
  }
  double sum = 1.0;
  for (std::size_t k = 1; k < covariance_.size(); ++k) sum += 2.0 * covariance_[k] / covariance_[0];
  effective_count_ = std::clamp(count / std::max(sum, 1e-3), std::min(5.0, count), count);
  // Parameters take their degrees of freedom from the slow part of the residual, where so many are all there are.
  const double scale = effective_count_ / std::max(0.5 * effective_count_, effective_count_ - static_cast<double>(parameters));
  for (double& c : covariance_) c *= scale;
}

Eigen::MatrixXd ResidualColour::weighed(const Eigen::MatrixXd& a, const Eigen::MatrixXd& b) const {
  Eigen::MatrixXd sum = variance() * (a.transpose() * b);
  for (std::size_t k = 1; k < covariance_.size(); ++k) {
    const Eigen::Index distance = static_cast<Eigen::Index>(k), n = a.rows() - distance;
    if (n <= 0) break;
    sum += covariance_[k] * (a.topRows(n).transpose() * b.bottomRows(n) + a.bottomRows(n).transpose() * b.topRows(n));
  }
  return sum;
}

WhitenessTest whiteness(const Eigen::VectorXd& residual, int parameters) {
  const auto n = static_cast<double>(residual.size());
  WhitenessTest test;
  test.distances = std::min(20, static_cast<int>(residual.size()) / 4);
  test.band = 1.959963985 / std::sqrt(n);
  const double power = autocovariance(residual, 0);
  double statistic = 0.0;
  int outside = 0;
  for (int k = 1; k <= test.distances && power > 0.0; ++k) {
    const double r = autocovariance(residual, k) / power;
    if (std::fabs(r) > std::fabs(test.largest)) test.largest = r;
    if (std::fabs(r) > test.band) ++outside;
    statistic += r * r / (n - k);
  }
  test.outside_share = static_cast<double>(outside) / std::max(1, test.distances);
  test.chance = chi_square_tail(n * (n + 2.0) * statistic, std::max(1, test.distances - parameters));
  return test;
}

ScoreTest score_test(const Eigen::MatrixXd& others, const Eigen::MatrixXd& own, const Eigen::VectorXd& residual,
                     const ResidualColour& colour) {
  if (!(colour.variance() > 0.0) || others.cols() == 0) return {};
  Eigen::VectorXd scale = own.colwise().norm();
  for (double& s : scale) s = s > 0.0 ? 1.0 / s : 0.0;
  const Eigen::MatrixXd own_scaled = own * scale.asDiagonal();
  Eigen::MatrixXd left = others - own_scaled * own_scaled.completeOrthogonalDecomposition().solve(others);
  for (Eigen::Index i = 0; i < left.cols(); ++i) {
    const double whole = others.col(i).norm(), rest = left.col(i).norm();
    if (rest > 1e-6 * whole) left.col(i) /= rest;
    else left.col(i).setZero();
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> modes(left.transpose() * left);
  const Eigen::VectorXd& size = modes.eigenvalues();
  Eigen::Index first = 0;   // eigenvalues rise
  while (first < size.size() && !(size[first] > 1e-4 * size[size.size() - 1])) ++first;
  const Eigen::Index kept = size.size() - first;
  if (kept == 0) return {};
  const Eigen::MatrixXd basis =
      left * modes.eigenvectors().rightCols(kept) * size.tail(kept).cwiseSqrt().cwiseInverse().asDiagonal();   // orthonormal
  const Eigen::VectorXd score = basis.transpose() * residual;
  const double statistic = score.dot(colour.weighed(basis, basis).ldlt().solve(score));
  return {chi_square_tail(statistic, static_cast<double>(kept)), score.norm() / std::sqrt(static_cast<double>(residual.size()))};
}

}  // namespace sim
