#include "sim/parameter_spread.h"

#include <algorithm>
#include <cmath>

#include "sim/distribution.h"

namespace sim {

double ParameterSpread::half_width(Eigen::Index i) const { return quantile * std::sqrt(std::max(0.0, covariance(i, i))); }

Eigen::MatrixXd quantum_weighed(const Eigen::MatrixXd& own, const Eigen::VectorXd& output, double quantum) {
  Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(own.cols(), own.cols());
  Eigen::RowVectorXd run = Eigen::RowVectorXd::Zero(own.cols());
  for (Eigen::Index k = 0; k < own.rows(); ++k) {
    run += own.row(k);
    if (k + 1 < own.rows() && output[k + 1] == output[k]) continue;
    sum += run.transpose() * run;
    run.setZero();
  }
  return quantum * quantum / 12.0 * sum;
}

ParameterSpread spread_of(const Eigen::MatrixXd& own, const ResidualColour& colour, const PreparedRecord& record, double quantum) {
  Eigen::VectorXd scale = own.colwise().norm();
  for (double& s : scale) s = s > 0.0 ? 1.0 / s : 0.0;
  const Eigen::MatrixXd j = own * scale.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> modes(j.transpose() * j);
  // A direction the record says nothing of gets a spread beyond all use, not a zero.
  const Eigen::VectorXd inverse = (modes.eigenvalues().array().max(0.0) + 1e-13).inverse();
  const Eigen::MatrixXd bread = modes.eigenvectors() * inverse.asDiagonal() * modes.eigenvectors().transpose();
  Eigen::MatrixXd filling = colour.weighed(j, j);
  if (quantum > 0.0) filling += quantum_weighed(j, record.output, quantum);
  ParameterSpread spread;
  spread.covariance = scale.asDiagonal() * (bread * filling * bread) * scale.asDiagonal();
  spread.quantile = student_975(std::max(3.0, colour.effective_count() - static_cast<double>(own.cols())));
  return spread;
}

}  // namespace sim
