#include "sim/pid_law.h"

#include <cmath>
#include <stdexcept>

namespace sim {

using Eigen::MatrixXd;

IsaGains isa(const SeriesGains& series) {
  if (series.integral_s <= 0.0) return {series.gain, 0.0, series.derivative_s};
  const double sum_s = series.integral_s + series.derivative_s;
  return {series.gain * sum_s / series.integral_s, sum_s, series.integral_s * series.derivative_s / sum_s};
}

ParallelGains parallel(const IsaGains& isa) {
  return {isa.gain, isa.integral_s > 0.0 ? isa.gain / isa.integral_s : 0.0, isa.gain * isa.derivative_s};
}

ParallelGains parallel(const SeriesGains& series) { return parallel(isa(series)); }

std::optional<IsaGains> isa(const ParallelGains& parallel) {
  if (parallel.proportional == 0.0) {
    if (parallel.integral != 0.0 || parallel.derivative != 0.0) return std::nullopt;
    return IsaGains{};
  }
  return IsaGains{parallel.proportional, parallel.integral != 0.0 ? parallel.proportional / parallel.integral : 0.0,
                  parallel.derivative / parallel.proportional};
}

std::optional<SeriesGains> series(const IsaGains& isa) {
  if (isa.integral_s <= 0.0 || isa.derivative_s <= 0.0) return SeriesGains{isa.gain, isa.integral_s, isa.derivative_s};
  const double below = 1.0 - 4.0 * isa.derivative_s / isa.integral_s;
  if (below < 0.0) return std::nullopt;
  const double share = 0.5 * (1.0 + std::sqrt(below));  // of Ti that is the series form's Ti
  // Td from the product of the two: share would lose it by difference where Td is small.
  return SeriesGains{isa.gain * share, isa.integral_s * share, isa.derivative_s / share};
}

std::complex<double> response(const PidLaw& law, double rad_s) {
  const std::complex<double> s{0.0, rad_s};
  return law.gains.proportional + law.gains.integral / s + law.gains.derivative * s / (1.0 + s * law.filter_s);
}

// States: the integral; the process value behind the filter.
StateSpace realised(const PidLaw& law) {
  const ParallelGains& gains = law.gains;
  if (gains.derivative != 0.0 && !(law.filter_s > 0.0)) throw std::invalid_argument("an ideal derivative has no states");
  const double filter_s = law.filter_s > 0.0 ? law.filter_s : 1.0;
  const double rate = gains.derivative / filter_s;
  StateSpace machine{MatrixXd::Zero(2, 2), MatrixXd::Zero(2, 2), MatrixXd(1, 2), MatrixXd(1, 2)};
  machine.a(1, 1) = -1.0 / filter_s;
  machine.b << gains.integral, -gains.integral, 0.0, 1.0 / filter_s;
  machine.c << 1.0, rate;
  machine.d << law.setpoint_weight * gains.proportional, -gains.proportional - rate;
  return machine;
}

// States: the integral; the derivative's share of the last sample; the last process value.
SampledSystem sampled(const PidLaw& law, double period_s) {
  const ParallelGains& gains = law.gains;
  const double kept = law.filter_s / (law.filter_s + period_s), rate = gains.derivative / (law.filter_s + period_s);
  SampledSystem machine{MatrixXd::Zero(3, 3), MatrixXd::Zero(3, 2), MatrixXd(1, 3), MatrixXd(1, 2), period_s};
  machine.a << 1.0, 0.0, 0.0,  //
      0.0, kept, rate,         //
      0.0, 0.0, 0.0;
  machine.b << gains.integral * period_s, -gains.integral * period_s,  //
      0.0, -rate,                                                      //
      0.0, 1.0;
  machine.c << 1.0, kept, rate;
  machine.d << law.setpoint_weight * gains.proportional, -gains.proportional - rate;
  return machine;
}

}  // namespace sim
