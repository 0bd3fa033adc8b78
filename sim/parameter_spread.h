// The covariance of what a fit estimates.
#pragma once

#include "sim/output_error.h"
#include "sim/residual_colour.h"

namespace sim {

struct ParameterSpread {
  Eigen::MatrixXd covariance;   // of theta, then of the linear parameters
  double quantile = 2.0;        // of Student's distribution, 97.5 %, at the residual's effective degrees of freedom

  double half_width(Eigen::Index i) const;
};

// `own`: the sensitivities, see sensitivity(); `quantum` of the output's readings in the record's unit, 0 for none.
ParameterSpread spread_of(const Eigen::MatrixXd& own, const ResidualColour& colour, const PreparedRecord& record, double quantum);

// J^T Q J, Q the covariance of errors of variance quantum^2 / 12 that are one and the same while a reading repeats.
Eigen::MatrixXd quantum_weighed(const Eigen::MatrixXd& own, const Eigen::VectorXd& output, double quantum);

}  // namespace sim
