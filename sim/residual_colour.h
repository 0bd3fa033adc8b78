// How the errors of neighbouring readings hang together, and what a column of numbers is worth under that.
#pragma once

#include <vector>

#include <Eigen/Dense>

namespace sim {

// Residuals as an autoregression (Yule and Walker's equations, order 0..8 by BIC), counted from reading to reading whatever their
// spacing. Estimates of a model with `parameters` parameters leave too small residuals: variances are scaled by n / (n - parameters), n
// the effective count, by 2 at most.
class ResidualColour {
 public:
  ResidualColour() = default;
  ResidualColour(const Eigen::VectorXd& residual, Eigen::Index parameters);

  int order() const { return order_; }
  double variance() const { return covariance_.empty() ? 0.0 : covariance_[0]; }
  // As many independent readings would tell as much about a mean: n / (1 + 2 sum of autocorrelations), from 5 to n.
  double effective_count() const { return effective_count_; }
  // a^T R b, R the covariance of the residuals; a and b have one row per reading.
  Eigen::MatrixXd weighed(const Eigen::MatrixXd& a, const Eigen::MatrixXd& b) const;

 private:
  std::vector<double> covariance_;  // at distances 0, 1, ...; what is left out is below a thousandth
  int order_ = 0;
  double effective_count_ = 0.0;
};

// Sum over k of x[k] x[k + distance] / n.
double autocovariance(const Eigen::VectorXd& x, Eigen::Index distance);

struct WhitenessTest {
  int distances = 0;           // looked at: 1..this, at most 20
  double largest = 0.0;        // autocorrelation of the largest size among them
  double band = 0.0;           // 1.96 / sqrt(n): 95 % of a white residual's lie within
  double outside_share = 0.0;  // of the distances, beyond the band
  double chance = 1.0;         // of a Ljung-Box statistic as large for white residuals
  bool white() const { return chance >= 0.01; }
};

// `parameters`: non-linear ones and gain, which take degrees of freedom from the statistic. Source: G. M. Ljung, G. E. P. Box,
// Biometrika 65 (1978) 297-303. At least 8 readings.
WhitenessTest whiteness(const Eigen::VectorXd& residual, int parameters);

struct ScoreTest {
  double chance = 1.0;     // of a statistic as large, had the residual nothing to do with the columns
  double explained = 0.0;  // rms of what they explain of it
  bool independent() const { return chance >= 0.001; }
};

// Whether columns `others` (what past input, or a bent characteristic, could have added) would explain more of the residual than chance,
// after what the model's own sensitivities (`own`) explain, errors coloured as they are: Rao's score test, chance by chi-square.
ScoreTest score_test(const Eigen::MatrixXd& others, const Eigen::MatrixXd& own, const Eigen::VectorXd& residual,
                     const ResidualColour& colour);

}  // namespace sim
