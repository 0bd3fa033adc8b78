#include "sim/relay_cycle.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "sim/state_space.h"

namespace sim {

namespace {

// Process value, by the height, at the instant the relay goes up, if it switches every half_s.
double at_switching(const StateSpace& system, double delay_s, double half_s) {
  return sampled(system, delay_s, half_s).at(std::numbers::pi / half_s)(0, 0).real();
}

// Half of the swing. The process's own input stands still for half a period, whenever the delay lets it begin: x(half) = -x(0).
double swing(const StateSpace& system, double half_s) {
  constexpr int points = 20'000;
  const SampledSystem whole = sampled(system, 0.0, half_s), fine = sampled(system, 0.0, half_s / points);
  const Eigen::Index n = system.states();
  Eigen::VectorXd x = (Eigen::MatrixXd::Identity(n, n) + whole.a).partialPivLu().solve(-whole.b);
  double largest = 0.0;
  for (int k = 0; k <= points; ++k) {
    largest = std::max(largest, std::abs(system.c.row(0).dot(x)));
    x = (fine.a * x + fine.b).eval();
  }
  return largest;
}

double longest_time(const Process& process) {
  double sum_s = process.delay_s;
  for (const double lag : process.lags_s) sum_s += lag;
  for (const SecondOrderLag& pair : process.pairs) sum_s += 2.0 * pair.time_s;
  for (const double zero : process.zeros_s) sum_s += std::abs(zero);
  return sum_s > 0.0 ? sum_s : 1.0;
}

}  // namespace

std::optional<RelayCycle> relay_cycle(const Process& process, double height, double hysteresis) {
  if (process.excess() < 1) return std::nullopt;
  Process forward = process;
  forward.gain = std::abs(process.gain);  // the relay of a process with a negative gain works the other way round
  forward.delay_s = 0.0;
  const StateSpace system = realised(forward);
  const double level = -hysteresis / height;
  const auto above = [&](double half_s) { return at_switching(system, process.delay_s, half_s) - level; };
  // Slow switching ends each half far beyond the level, on the lower side; from there towards faster ones.
  constexpr double stride = 0.93;
  double slow_s = 30.0 * longest_time(process), fast_s = slow_s;
  if (!(above(slow_s) < 0.0)) return std::nullopt;
  for (int i = 0; i < 250 && above(fast_s) < 0.0; ++i) {
    slow_s = fast_s;
    fast_s *= stride;
  }
  if (above(fast_s) < 0.0) return std::nullopt;
  for (int i = 0; i < 100 && slow_s - fast_s > 1e-15 * slow_s; ++i) {
    const double middle = 0.5 * (slow_s + fast_s);
    (above(middle) < 0.0 ? slow_s : fast_s) = middle;
  }
  RelayCycle cycle;
  cycle.period_s = slow_s + fast_s;
  cycle.amplitude = height * swing(system, 0.5 * cycle.period_s);
  cycle.gain_plain = 4.0 * height / (std::numbers::pi * cycle.amplitude);
  const double square = cycle.amplitude * cycle.amplitude - hysteresis * hysteresis;
  cycle.gain = square > 0.0 ? 4.0 * height / (std::numbers::pi * std::sqrt(square)) : 0.0;
  return cycle;
}

}  // namespace sim
