#include "sim/tuning_rules.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "sim/loop_margins.h"

namespace sim {

namespace {

constexpr std::array<RuleName, 8> rules{{
    {TuningRule::simc, "simc", "SIMC", "S. Skogestad, J. Process Control 13 (2003) 291-309", {false, true, true}},
    {TuningRule::lambda, "lambda", "lambda tuning", "from memory; SIMC with a closed-loop time of one's own", {false, true, false}},
    {TuningRule::imc, "imc", "internal model control", "D. E. Rivera, M. Morari, S. Skogestad 1986 (from memory)", {false, false, true}},
    {TuningRule::amigo, "amigo", "AMIGO", "K. J. Astrom, T. Hagglund, J. Process Control 14 (2004) 635-650", {false, true, true}},
    {TuningRule::zn_step, "zn-step", "Ziegler-Nichols, step response", "J. G. Ziegler, N. B. Nichols 1942", {true, true, true}},
    {TuningRule::zn_ultimate, "zn-ultimate", "Ziegler-Nichols, ultimate point", "J. G. Ziegler, N. B. Nichols 1942", {true, true, true}},
    {TuningRule::cohen_coon, "cohen-coon", "Cohen-Coon", "G. H. Cohen, G. A. Coon 1953", {true, true, true}},
    {TuningRule::relay,
     "relay",
     "relay test with the Ziegler-Nichols table",
     "K. J. Astrom, T. Hagglund, Automatica 20 (1984) 645-651",
     {true, true, true}},
}};

[[noreturn]] void refuse(const std::string& reason) { throw std::domain_error(reason); }

double tuned_to(double wished_s, double usual_s) {
  if (!(wished_s > 0.0) && !(usual_s > 0.0)) refuse("the process has no dead time: a closed-loop time must be given");
  return wished_s > 0.0 ? wished_s : usual_s;
}

// Table 1 of the paper, with the integral time by eq. (25).
RuleResult simc(const Process& process, const RuleOptions& options) {
  const int order = options.kind == PidKind::pid ? 2 : 1;
  const SimpleModel model = half_rule(process, order, options.period_s, options.closed_loop_s);
  RuleResult result;
  result.model = model;
  result.closed_loop_s = tuned_to(options.closed_loop_s, model.delay_s);
  const double whole_s = result.closed_loop_s + model.delay_s;
  if (model.integrators > 1) {
    if (options.kind == PidKind::pi) refuse("two integrators need a derivative: a PID controller");
    result.series = SeriesGains{1.0 / (model.gain * 4.0 * whole_s * whole_s), 4.0 * whole_s, 4.0 * whole_s};
  } else if (model.integrators == 1) {
    // With a second order the lag beside the integrator is the one that the derivative takes away.
    result.series = SeriesGains{1.0 / (model.gain * whole_s), 4.0 * whole_s, options.kind == PidKind::pid ? model.lag_s : 0.0};
  } else if (model.lag_s > 0.0) {
    result.series = SeriesGains{model.lag_s / (model.gain * whole_s), std::min(model.lag_s, 4.0 * whole_s), model.second_lag_s};
  } else {
    result.integral = 1.0 / (model.gain * whole_s);
    return result;
  }
  if (options.kind == PidKind::pid && result.series->derivative_s <= 0.0)
    refuse("there is no second lag that a derivative could take away: a PI controller");
  result.gains = isa(*result.series);
  // The derivative acts on the process value alone: the set point meets the series form's proportional part.
  result.setpoint_weight = result.series->gain / result.gains.gain;
  return result;
}

const SimpleModel& first_order(const SimpleModel& model) {
  if (model.integrators > 0) refuse("the rule is for a process that settles by itself");
  if (!(model.lag_s > 0.0)) refuse("the rule needs a lag; the process is a delay alone");
  return model;
}

const SimpleModel& with_delay(const SimpleModel& model) {
  if (!(model.delay_s > 0.0)) refuse("the process has no dead time: the rule's gain would be infinite");
  return model;
}

RuleResult lambda(const Process& process, const RuleOptions& options) {
  RuleResult result;
  result.model = half_rule(process, 1, options.period_s, options.closed_loop_s);
  const SimpleModel& model = first_order(*result.model);
  result.closed_loop_s = tuned_to(options.closed_loop_s, model.lag_s);
  result.gains = {model.lag_s / (model.gain * (model.delay_s + result.closed_loop_s)), model.lag_s, 0.0};
  return result;
}

RuleResult imc(const Process& process, const RuleOptions& options) {
  RuleResult result;
  result.model = half_rule(process, 1, options.period_s, options.closed_loop_s);
  const SimpleModel& model = first_order(*result.model);
  const double lag_s = model.lag_s, delay_s = model.delay_s;
  result.closed_loop_s = tuned_to(options.closed_loop_s, std::max(0.8 * delay_s, 0.1 * lag_s));
  result.gains = {(2.0 * lag_s + delay_s) / (2.0 * model.gain * (result.closed_loop_s + 0.5 * delay_s)), lag_s + 0.5 * delay_s,
                  lag_s * delay_s / (2.0 * lag_s + delay_s)};
  return result;
}

SimpleModel curve_or_model(const Process& process, const RuleOptions& options) {
  SimpleModel model = reaction_curve(process);
  model.delay_s += 0.5 * options.period_s;
  return with_delay(model);
}

RuleResult amigo(const Process& process, const RuleOptions& options) {
  RuleResult result;
  result.model = curve_or_model(process, options);
  const double gain = result.model->gain, lag_s = result.model->lag_s, delay_s = result.model->delay_s;
  const bool pid = options.kind == PidKind::pid;
  if (result.model->integrators == 1) {
    result.gains =
        pid ? IsaGains{0.45 / (gain * delay_s), 8.0 * delay_s, 0.5 * delay_s} : IsaGains{0.35 / (gain * delay_s), 13.4 * delay_s, 0.0};
    if (pid) result.setpoint_weight = 0.0;
    return result;
  }
  if (pid) {
    result.gains = {(0.2 + 0.45 * lag_s / delay_s) / gain, delay_s * (0.4 * delay_s + 0.8 * lag_s) / (delay_s + 0.1 * lag_s),
                    0.5 * delay_s * lag_s / (0.3 * delay_s + lag_s)};
    result.setpoint_weight = delay_s <= lag_s ? 0.0 : 1.0;
  } else {
    const double sum_s = delay_s + lag_s;
    result.gains = {0.15 / gain + (0.35 - delay_s * lag_s / (sum_s * sum_s)) * lag_s / (gain * delay_s),
                    0.35 * delay_s + 13.0 * delay_s * lag_s * lag_s / (lag_s * lag_s + 12.0 * delay_s * lag_s + 7.0 * delay_s * delay_s),
                    0.0};
  }
  return result;
}

RuleResult zn_step(const Process& process, const RuleOptions& options) {
  RuleResult result;
  result.model = curve_or_model(process, options);
  const SimpleModel& model = *result.model;
  // The table is written in a, the height at which the tangent meets the axis: gain times delay of an integrating process.
  const double a = model.integrators == 1 ? model.gain * model.delay_s : first_order(model).gain * model.delay_s / model.lag_s;
  switch (options.kind) {
    case PidKind::p:
      result.gains = {1.0 / a, 0.0, 0.0};
      break;
    case PidKind::pi:
      result.gains = {0.9 / a, model.delay_s / 0.3, 0.0};
      break;
    case PidKind::pid:
      result.gains = {1.2 / a, 2.0 * model.delay_s, 0.5 * model.delay_s};
      break;
  }
  return result;
}

RuleResult cohen_coon(const Process& process, const RuleOptions& options) {
  RuleResult result;
  result.model = curve_or_model(process, options);
  const SimpleModel& model = first_order(*result.model);
  const double delay_s = model.delay_s, ratio = delay_s / model.lag_s, unit = model.lag_s / (model.gain * delay_s);
  switch (options.kind) {
    case PidKind::p:
      result.gains = {unit * (1.0 + ratio / 3.0), 0.0, 0.0};
      break;
    case PidKind::pi:
      result.gains = {unit * (0.9 + ratio / 12.0), delay_s * (30.0 + 3.0 * ratio) / (9.0 + 20.0 * ratio), 0.0};
      break;
    case PidKind::pid:
      result.gains = {unit * (4.0 / 3.0 + ratio / 4.0), delay_s * (32.0 + 6.0 * ratio) / (13.0 + 8.0 * ratio),
                      4.0 * delay_s / (11.0 + 2.0 * ratio)};
      break;
  }
  return result;
}

IsaGains by_ultimate(double gain, double period_s, PidKind kind) {
  switch (kind) {
    case PidKind::p:
      return {0.5 * gain, 0.0, 0.0};
    case PidKind::pi:
      return {0.45 * gain, period_s / 1.2, 0.0};
    case PidKind::pid:
      return {0.6 * gain, 0.5 * period_s, 0.125 * period_s};
  }
  return {};
}

Process with_sampling(const Process& process, const RuleOptions& options) {
  Process later = process;
  later.delay_s += 0.5 * options.period_s;
  return later;
}

RuleResult zn_ultimate(const Process& process, const RuleOptions& options) {
  const std::optional<UltimatePoint> point = ultimate_point(with_sampling(process, options));
  if (!point) refuse("a proportional controller never makes this process swing: it has no ultimate point");
  RuleResult result;
  result.ultimate_gain = point->gain;
  result.ultimate_period_s = point->period_s;
  result.gains = by_ultimate(point->gain, point->period_s, options.kind);
  return result;
}

RuleResult relay(const Process& process, const RuleOptions& options) {
  RuleResult result;
  result.cycle = relay_cycle(with_sampling(process, options), 1.0, options.hysteresis);
  if (!result.cycle) refuse("a relay and this process make no limit cycle of two equal halves");
  if (!(result.cycle->gain > 0.0)) refuse("the relay's hysteresis is all there is of the swing");
  result.ultimate_gain = std::copysign(result.cycle->gain, process.gain);
  result.ultimate_period_s = result.cycle->period_s;
  result.gains = by_ultimate(result.ultimate_gain, result.ultimate_period_s, options.kind);
  return result;
}

}  // namespace

std::span<const RuleName> tuning_rules() { return rules; }

std::string_view name_of(TuningRule rule) { return rules[static_cast<std::size_t>(rule)].name; }

std::string_view name_of(PidKind kind) { return kind == PidKind::p ? "p" : kind == PidKind::pi ? "pi" : "pid"; }

ParallelGains RuleResult::parallel() const { return integral != 0.0 ? ParallelGains{0.0, integral, 0.0} : sim::parallel(gains); }

std::optional<UltimatePoint> ultimate_point(const Process& process) {
  double sum_s = process.delay_s;
  for (const double lag : process.lags_s) sum_s += lag;
  for (const SecondOrderLag& pair : process.pairs) sum_s += 2.0 * pair.time_s;
  for (const double zero : process.zeros_s) sum_s += std::abs(zero);
  if (!(sum_s > 0.0)) return std::nullopt;
  const double sign = process.gain < 0.0 ? -1.0 : 1.0;
  const auto at = [&](double rad_s) { return sign * process.at(rad_s); };
  // Any crossing of the negative axis counts, wherever the gain stands: ask a loop of so little gain that all lie below 1.
  const double small = 1e-9 / std::max(std::abs(process.at(1e-4 / sum_s)), 1e-300);
  const LoopMargins margins = margins_of(
      {[&](double rad_s) { return small * at(rad_s); }, process.integrators, 1e-4 / sum_s, 1e6 / sum_s, process.delay_s, 0.0, false});
  if (!std::isfinite(margins.gain_margin) || margins.phase_crossover_rad_s <= 0.0) return std::nullopt;
  // The crossing of a loop that swings at any gain, as with two integrators, is not the edge of anything.
  const double edge = small * margins.gain_margin;
  if (!margins_of({[&](double rad_s) { return 0.9 * edge * at(rad_s); }, process.integrators, 1e-4 / sum_s, 1e6 / sum_s, process.delay_s,
                   0.0, false})
           .stable)
    return std::nullopt;
  return UltimatePoint{sign * edge, 2.0 * std::numbers::pi / margins.phase_crossover_rad_s};
}

RuleResult tuned(const Process& process, TuningRule rule, const RuleOptions& options) {
  if (!rules[static_cast<std::size_t>(rule)].kinds[static_cast<std::size_t>(options.kind)])
    refuse("the rule gives no " + std::string(name_of(options.kind)) + " controller");
  switch (rule) {
    case TuningRule::simc:
      return simc(process, options);
    case TuningRule::lambda:
      return lambda(process, options);
    case TuningRule::imc:
      return imc(process, options);
    case TuningRule::amigo:
      return amigo(process, options);
    case TuningRule::zn_step:
      return zn_step(process, options);
    case TuningRule::zn_ultimate:
      return zn_ultimate(process, options);
    case TuningRule::cohen_coon:
      return cohen_coon(process, options);
    case TuningRule::relay:
      return relay(process, options);
  }
  return {};
}

}  // namespace sim
