// Least squares of the simulation error, the linear parameters solved for at every try of the others (variable projection).
#pragma once

#include "sim/candidate_model.h"

namespace sim {

struct OutputErrorFit {
  Structure structure = Structure::no_response;
  Eigen::VectorXd theta;      // as packed()
  Eigen::VectorXd linear;     // as columns()
  Eigen::VectorXd residual;   // output less simulation
  double squares = 0.0;       // of the residual, summed
};

// Searches lag, damping and dead time over a grid (the error is not smooth over the dead time, and has several minima), then goes down from
// its best points. Dead time from 0 to 0.7 of the answering part of the record. At least as many readings as parameters.
OutputErrorFit fit_structure(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record);

// Only down from `start`.
OutputErrorFit fit_from(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record, const Eigen::VectorXd& start);

// The linear parameters for fixed others.
OutputErrorFit project(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record, const Eigen::VectorXd& theta);

// d(simulation) / d(theta, linear): one row per reading. Over the dead time as a central difference of a quarter of the readings'
// spacing, so that a kink at a reading (an input that arrives just there) counts from both sides.
Eigen::MatrixXd sensitivity(const OutputErrorFit& fit, const NuisanceTerms& terms, const PreparedRecord& record);

}  // namespace sim
