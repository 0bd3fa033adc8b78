#include "sim/simple_model.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>
#include <vector>

#include "sim/state_space.h"

namespace sim {

namespace {

// Lags in falling order and what is on its way to being a delay.
struct Unfolding {
  double gain = 1.0;
  int integrators = 0;
  std::vector<double> lags_s, zeros_s;  // zeros: positive ones
  double delay_s = 0.0;
};

Unfolding unfolded(const Process& process, double period_s) {
  Unfolding all{process.gain, process.integrators, process.lags_s, {}, process.delay_s + 0.5 * period_s};
  for (const SecondOrderLag& pair : process.pairs) all.lags_s.insert(all.lags_s.end(), 2, pair.time_s);
  for (const double zero : process.zeros_s) {
    if (zero < 0.0)
      all.delay_s -= zero;
    else
      all.zeros_s.push_back(zero);
  }
  std::sort(all.lags_s.rbegin(), all.lags_s.rend());
  std::sort(all.zeros_s.rbegin(), all.zeros_s.rend());
  return all;
}

// The lag that a zero is taken off against: the next larger one; the next smaller one where it is nearer and near (within 1.6).
std::size_t partner(const std::vector<double>& lags_s, double zero_s) {
  const std::size_t none = lags_s.size();
  std::size_t larger = none, smaller = none;
  for (std::size_t i = 0; i < lags_s.size(); ++i) {
    if (lags_s[i] >= zero_s)
      larger = i;
    else if (smaller == none)
      smaller = i;
  }
  if (larger == none || smaller == none) return larger == none ? smaller : larger;
  const double down = zero_s / lags_s[smaller], up = lags_s[larger] / zero_s;
  return down < up && down < 1.6 - 1e-9 ? smaller : larger;
}

// Rules T1, T1a, T1b, T2 and T3: (zero s + 1) / (lag s + 1) becomes a number, or a number and another lag.
void take_off(Unfolding& all, double zero_s, double delay_s, double closed_loop_s) {
  const std::size_t at = partner(all.lags_s, zero_s);
  if (at == all.lags_s.size()) return;  // beside integrators alone it speeds them up: left out, on the safe side
  const double lag_s = all.lags_s[at];
  all.lags_s.erase(all.lags_s.begin() + static_cast<std::ptrdiff_t>(at));
  if (zero_s >= lag_s) {
    if (lag_s >= closed_loop_s)
      all.gain *= zero_s / lag_s;
    else if (zero_s >= delay_s && delay_s > 0.0)
      all.gain *= zero_s / std::max(delay_s, lag_s);
    return;
  }
  if (zero_s >= 5.0 * delay_s) {
    all.gain *= zero_s / lag_s;
    return;
  }
  const double slow_s = std::min(lag_s, 5.0 * delay_s);
  all.gain *= slow_s / lag_s;
  all.lags_s.push_back(slow_s - zero_s);
  std::sort(all.lags_s.rbegin(), all.lags_s.rend());
}

SimpleModel halved(const Unfolding& all, int order) {
  SimpleModel model{all.gain, all.integrators, 0.0, 0.0, all.delay_s};
  std::vector<double> lags_s = all.lags_s;
  const std::size_t kept = static_cast<std::size_t>(std::max(0, order - all.integrators));
  for (std::size_t i = kept; i < lags_s.size(); ++i) {
    // Half of the first one left out makes the last lag kept slower; an integrator cannot be.
    const bool half = i == kept && (kept > 0 || all.integrators > 0);
    if (half && kept > 0) lags_s[kept - 1] += 0.5 * lags_s[i];
    model.delay_s += half ? 0.5 * lags_s[i] : lags_s[i];
  }
  if (kept > 0 && !lags_s.empty()) model.lag_s = lags_s[0];
  if (kept > 1 && lags_s.size() > 1) model.second_lag_s = lags_s[1];
  if (model.second_lag_s > model.lag_s) std::swap(model.lag_s, model.second_lag_s);  // the half may have made it the slower one
  return model;
}

}  // namespace

SimpleModel half_rule(const Process& process, int order, double period_s, double closed_loop_s) {
  const Unfolding start = unfolded(process, period_s);
  // How a zero counts depends on the delay that comes out: once round more until it stays, from the dead time that is really there; where
  // there is none, from what the lags make of it, or a zero would count as gain against a delay that comes of counting it so.
  SimpleModel model = halved(start, order);
  if (!start.zeros_s.empty() && start.delay_s > 0.5 * period_s) model.delay_s = start.delay_s;
  for (int i = 0; i < 20; ++i) {
    Unfolding all = start;
    for (const double zero : start.zeros_s) take_off(all, zero, model.delay_s, closed_loop_s > 0.0 ? closed_loop_s : model.delay_s);
    const SimpleModel next = halved(all, order);
    const bool same = std::abs(next.delay_s - model.delay_s) <= 1e-12 * next.delay_s;
    model = next;
    if (same) break;
  }
  return model;
}

namespace {

struct Curve {
  double stride_s = 0.0;
  std::vector<double> value;  // of the undelayed process, after a step at its input
};

// Until ten times the sum of all times: an exponential is then at its end.
Curve curve_of(const Process& process) {
  double sum_s = 0.0;
  for (const double lag : process.lags_s) sum_s += lag;
  for (const SecondOrderLag& pair : process.pairs) sum_s += 2.0 * pair.time_s / std::min(1.0, pair.damping);
  for (const double zero : process.zeros_s) sum_s += std::abs(zero);
  constexpr int points = 200'000;
  Curve curve{(sum_s > 0.0 ? 10.0 * sum_s : 1.0) / points, {}};
  const SampledSystem system = sampled(realised(process), 0.0, curve.stride_s);
  Eigen::VectorXd x = Eigen::VectorXd::Zero(system.states());
  for (int k = 0; k <= points; ++k) {
    curve.value.push_back(system.c.row(0).dot(x));
    x = (system.a * x + system.b).eval();
  }
  return curve;
}

}  // namespace

SimpleModel reaction_curve(const Process& process) {
  if (process.integrators > 1) throw std::domain_error("a step response without a steepest place: two integrators");
  if (process.excess() == 0) throw std::domain_error("a process that answers at once has no reaction curve");
  Process undelayed = process;
  undelayed.delay_s = 0.0;
  const Curve curve = curve_of(undelayed);
  const double sign = process.gain < 0.0 ? -1.0 : 1.0;
  if (process.integrators == 1) {
    const std::size_t last = curve.value.size() - 1;
    const double late_s = static_cast<double>(last) * curve.stride_s - curve.value[last] / process.gain;
    return {process.gain, 1, 0.0, 0.0, process.delay_s + std::max(0.0, late_s)};
  }
  std::size_t steepest = 1;
  for (std::size_t k = 1; k + 1 < curve.value.size(); ++k)
    if (sign * (curve.value[k + 1] - curve.value[k]) > sign * (curve.value[steepest] - curve.value[steepest - 1])) steepest = k + 1;
  const double slope = (curve.value[steepest] - curve.value[steepest - 1]) / curve.stride_s;
  const double start_s = std::max(
      0.0, (static_cast<double>(steepest) - 0.5) * curve.stride_s - 0.5 * (curve.value[steepest] + curve.value[steepest - 1]) / slope);
  const double part = (1.0 - std::exp(-1.0)) * process.gain;
  std::size_t k = 1;
  while (k + 1 < curve.value.size() && sign * curve.value[k] < sign * part) ++k;
  const double reached_s = (static_cast<double>(k) - (curve.value[k] - part) / (curve.value[k] - curve.value[k - 1])) * curve.stride_s;
  return {process.gain, 0, std::max(0.0, reached_s - start_s), 0.0, process.delay_s + start_s};
}

}  // namespace sim
