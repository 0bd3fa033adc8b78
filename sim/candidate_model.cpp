#include "sim/candidate_model.h"

#include <cmath>

namespace sim {

const char* name(Structure structure) {
  switch (structure) {
    case Structure::no_response: return "no response";
    case Structure::integrator: return "integrator with dead time";
    case Structure::first_order: return "one lag with dead time";
    case Structure::integrator_lag: return "integrator and lag with dead time";
    case Structure::equal_lags: return "two equal lags with dead time";
    case Structure::second_order: return "second order with dead time";
    case Structure::second_order_zero: return "second order with zero and dead time";
  }
  return "";
}

Shape shape(Structure structure) {
  switch (structure) {
    case Structure::no_response: return {false, true, false, false, 1, 0};
    case Structure::integrator: return {true, false, false, false, 0, 1};
    case Structure::first_order: return {true, true, false, false, 1, 0};
    case Structure::integrator_lag: return {true, true, false, false, 1, 1};
    case Structure::equal_lags: return {true, true, false, false, 2, 0};
    case Structure::second_order: return {true, true, true, false, 2, 0};
    case Structure::second_order_zero: return {true, true, true, true, 2, 0};
  }
  return {};
}

PreparedRecord PreparedRecord::thinned(Eigen::Index stride) const {
  PreparedRecord few = *this;
  if (stride <= 1) return few;
  const Eigen::Index kept = (times.size() + stride - 1) / stride;
  few.times = times(Eigen::seqN(0, kept, stride));
  few.output = output(Eigen::seqN(0, kept, stride));
  return few;
}

PreparedRecord PreparedRecord::part(Eigen::Index from, Eigen::Index count) const {
  PreparedRecord some = *this;
  some.times = times.segment(from, count);
  some.output = output.segment(from, count);
  some.end = some.times[count - 1];
  return some;
}

Eigen::Index non_linear_count(Structure structure) {
  const Shape s = shape(structure);
  return (s.lag ? 1 : 0) + (s.damping ? 1 : 0) + (s.responds ? 1 : 0);
}

NonLinear unpacked(Structure structure, const Eigen::VectorXd& theta) {
  const Shape s = shape(structure);
  NonLinear values;
  Eigen::Index i = 0;
  if (s.lag) values.lag = std::exp(theta[i++]);
  if (s.damping) values.damping = std::exp(theta[i++]);
  if (s.responds) values.delay = theta[i];
  return values;
}

Eigen::VectorXd packed(Structure structure, const NonLinear& values) {
  const Shape s = shape(structure);
  Eigen::VectorXd theta(non_linear_count(structure));
  Eigen::Index i = 0;
  if (s.lag) theta[i++] = std::log(values.lag);
  if (s.damping) theta[i++] = std::log(values.damping);
  if (s.responds) theta[i] = values.delay;
  return theta;
}

Columns columns(Structure structure, const NuisanceTerms& terms) {
  const Shape s = shape(structure);
  Columns at{-1, -1, -1, -1, 0};
  if (s.responds) at.gain = at.count++;
  if (s.zero) at.zero = at.count++;
  at.offset = at.count++;
  if (terms.drift || s.integrators > 0) at.drift = at.count++;
  if (terms.initial_state) at.count += s.order;
  return at;
}

Eigen::MatrixXd regressors(Structure structure, const NonLinear& values, const NuisanceTerms& terms, const PreparedRecord& record) {
  const Shape s = shape(structure);
  const Columns at = columns(structure, terms);
  const Eigen::VectorXd& t = record.times;
  Eigen::MatrixXd phi(t.size(), at.count);
  if (s.integrators > 0) {
    phi.col(at.gain) = integral_response(record.input, values.delay, t);
    // T w' = v - w from rest: the integral of w is that of v less T w.
    if (s.lag) phi.col(at.gain) -= values.lag * lag_response(record.input, values.lag, values.delay, t);
  } else if (s.order == 2) {
    const Eigen::MatrixX2d response = pair_response(record.input, values.lag, values.damping, values.delay, t);
    phi.col(at.gain) = response.col(0);
    if (s.zero) phi.col(at.zero) = response.col(1);
  } else if (s.responds) {
    phi.col(at.gain) = lag_response(record.input, values.lag, values.delay, t);
  }
  phi.col(at.offset).setOnes();
  if (at.drift >= 0) phi.col(at.drift) = t;
  if (terms.initial_state && s.order == 1) phi.col(at.count - 1) = (-t.array() / values.lag).exp();
  if (terms.initial_state && s.order == 2) phi.rightCols(2) = pair_release(values.lag, values.damping, t);
  return phi;
}

}  // namespace sim
