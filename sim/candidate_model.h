// The structures a record is tried against, each as a function that is linear in most of its parameters:
//
//   y(t) = gain * (response + T0 * its rate) + offset + drift * t + what is left of the state the record began in
#pragma once

#include <Eigen/Dense>

#include "sim/held_response.h"

namespace sim {

enum class Structure {
  no_response,         // offset, drift and a decay: what the output does without the input
  integrator,          // gain / s
  first_order,         // gain / (T s + 1)
  integrator_lag,      // gain / (s (T s + 1))
  equal_lags,          // gain / (T s + 1)^2
  second_order,        // gain / (T^2 s^2 + 2 zeta T s + 1): two lags or a pair that swings
  second_order_zero,   // gain (T0 s + 1) / (T^2 s^2 + 2 zeta T s + 1)
};

// "two lags with a zero" and the like, all but no_response with a dead time.
const char* name(Structure structure);

// Which parameters a structure has besides dead time, offset and drift.
struct Shape {
  bool responds, lag, damping, zero;
  int order;         // lags, counted
  int integrators;
};
Shape shape(Structure structure);

// A record made ready: readings without gaps, time from the first row on, input as its moves from where it stood at first.
struct PreparedRecord {
  Eigen::VectorXd times;    // rising, from 0 or later
  Eigen::VectorXd output;
  HeldInput input;
  double period = 0.0;      // median spacing of the readings
  double end = 0.0;         // time of the last reading

  // From the first move of the input to the last reading.
  double answering() const { return input.empty() ? 0.0 : end - input.front().time_s; }
  PreparedRecord thinned(Eigen::Index stride) const;
  PreparedRecord part(Eigen::Index from, Eigen::Index count) const;   // the whole input stays
};

struct NuisanceTerms {
  bool drift = true;              // always with an integrator: there it is the input that keeps the output where it is
  bool initial_state = true;      // else the record begins at rest
};

// The non-linear parameters, in this order as far as the structure has them: ln T, ln zeta, dead time.
struct NonLinear {
  double lag = 1.0, damping = 1.0, delay = 0.0;
};
Eigen::Index non_linear_count(Structure structure);
NonLinear unpacked(Structure structure, const Eigen::VectorXd& theta);
Eigen::VectorXd packed(Structure structure, const NonLinear& values);

// One row per reading; columns: response, its rate (with a zero), 1, t (with a drift), remainders of the initial state.
Eigen::MatrixXd regressors(Structure structure, const NonLinear& values, const NuisanceTerms& terms, const PreparedRecord& record);

// Where the columns stand; -1 not there.
struct Columns {
  Eigen::Index gain, zero, offset, drift, count;
};
Columns columns(Structure structure, const NuisanceTerms& terms);

}  // namespace sim
