#include "sim/loop_judgement.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <numbers>
#include <stdexcept>
#include <vector>

namespace sim {

namespace {

struct TimeSpan {
  double slowest_s = 0.0, fastest_s = std::numeric_limits<double>::infinity();
  void count(double time_s) {
    if (!(time_s > 0.0)) return;
    slowest_s = std::max(slowest_s, time_s);
    fastest_s = std::min(fastest_s, time_s);
  }
};

TimeSpan times_of(const Process& process, const PidLaw& law) {
  TimeSpan span;
  span.count(process.delay_s);
  for (const double zero : process.zeros_s) span.count(std::abs(zero));
  for (const double lag : process.lags_s) span.count(lag);
  for (const SecondOrderLag& pair : process.pairs) {
    span.count(pair.time_s * std::max(1.0, 2.0 * pair.damping));
    span.count(pair.time_s / std::max(1.0, 2.0 * pair.damping));
  }
  span.count(law.filter_s);
  if (law.gains.integral != 0.0) span.count(std::abs(law.gains.proportional / law.gains.integral));
  if (law.gains.proportional != 0.0) span.count(std::abs(law.gains.derivative / law.gains.proportional));
  // A loop of integrators alone has a time by its gain.
  double loop_gain = std::abs(process.gain * (law.gains.proportional != 0.0 ? law.gains.proportional : law.gains.integral));
  const int order = process.integrators + (law.gains.proportional != 0.0 ? 0 : 1);
  if (order > 0 && loop_gain > 0.0) span.count(std::pow(loop_gain, -1.0 / order));
  if (span.slowest_s == 0.0) span.count(1.0);
  return span;
}

int integrators_of(const Process& process, const PidLaw& law) { return process.integrators + (law.gains.integral != 0.0 ? 1 : 0); }

double limit_of(const Process& process, const PidLaw& law) {
  // What L comes to far up, with its sign: real without the delay.
  const bool ideal = law.gains.derivative != 0.0 && law.filter_s <= 0.0;
  const int excess = process.excess() - (ideal ? 1 : 0);
  if (excess > 0) return 0.0;
  double zeros_and_lags = process.gain;
  for (const double zero : process.zeros_s) zeros_and_lags *= zero;
  for (const double lag : process.lags_s) zeros_and_lags /= lag;
  for (const SecondOrderLag& pair : process.pairs) zeros_and_lags /= pair.time_s * pair.time_s;
  const double far =
      ideal ? law.gains.derivative : law.gains.proportional + (law.filter_s > 0.0 ? law.gains.derivative / law.filter_s : 0.0);
  if (excess < 0) return std::numeric_limits<double>::infinity() * (zeros_and_lags * far < 0.0 ? -1.0 : 1.0);
  return zeros_and_lags * far;
}

OpenLoop sampled_loop(const DelayedSystem& plant, const PidLaw& law, int integrators) {
  const auto machine = std::make_shared<SampledSystem>(sampled(law, plant.system.period_s));
  const auto process = std::make_shared<DelayedSystem>(plant);
  OpenLoop loop;
  // The law from the process value: input 1, its sign turned.
  loop.at = [machine, process](double rad_s) { return -machine->at(rad_s)(0, 1) * process->at(rad_s); };
  loop.integrators = integrators;
  loop.high_rad_s = std::numbers::pi / plant.system.period_s;
  loop.sampled = true;
  return loop;
}

// The sum of squares of what one sample's noise makes of the output, for ever after.
double noise_gain(const DelayedSystem& delayed, const PidLaw& law, double longest_s) {
  const SampledSystem& plant = delayed.system;
  const SampledSystem machine = sampled(law, plant.period_s);
  const std::size_t late = delayed.periods;
  std::vector<double> outputs;
  Eigen::VectorXd x = Eigen::VectorXd::Zero(plant.states()), z = Eigen::VectorXd::Zero(machine.states());
  double sum = 0.0, first = 0.0;
  std::size_t quiet = 0;
  for (std::size_t k = 0; k < 1'000'000 && static_cast<double>(k) * plant.period_s < longest_s; ++k) {
    const double coming = k >= late && late > 0 ? outputs[k - late] : 0.0;
    const Eigen::Vector2d in(0.0, plant.c.row(0).dot(x) + plant.d(0, 0) * coming + (k == 0 ? 1.0 : 0.0));
    const double output = machine.c.row(0).dot(z) + machine.d.row(0).dot(in);
    if (k == 0) first = std::abs(output);
    sum += output * output;
    quiet = output * output < 1e-8 * sum ? quiet + 1 : 0;
    if (!std::isfinite(sum) || quiet > 2000 + 2 * late) break;
    outputs.push_back(output);
    x = (plant.a * x + plant.b * (late > 0 ? coming : output)).eval();
    z = (machine.a * z + machine.b * in).eval();
  }
  return std::max(first, std::sqrt(sum));
}

LoopJudgement judge_sampled(const DelayedSystem& plant, const PidLaw& law, const OpenLoop& loop, const JudgementWish& wish) {
  LoopJudgement judgement;
  judgement.margins = margins_of(loop);
  if (!wish.courses || !judgement.margins.stable) return judgement;
  const CourseLength length{wish.longest_s, 1e-6};
  judgement.setpoint_course = course_of(plant, law, LoopStep::setpoint, length);
  judgement.load_course = course_of(plant, law, LoopStep::load, length);
  judgement.noise_gain = noise_gain(plant, law, wish.longest_s);
  return judgement;
}

void read_figures(LoopJudgement& judgement) {
  if (judgement.setpoint_course.value.empty()) return;
  judgement.setpoint = figures_of(judgement.setpoint_course);
  judgement.load = figures_of(judgement.load_course);
}

}  // namespace

OpenLoop open_loop(const Process& process, const PidLaw& law, const Sampling& sampling) {
  const TimeSpan span = times_of(process, law);
  OpenLoop loop;
  if (sampling.period_s > 0.0) {
    loop = sampled_loop(sampled_behind(realised(process), process.delay_s + sampling.latency_s, sampling.period_s), law,
                        integrators_of(process, law));
    loop.low_rad_s = std::min(1e-4 / span.slowest_s, 0.01 * loop.high_rad_s);
    return loop;
  }
  loop.at = [process, law](double rad_s) { return response(law, rad_s) * process.at(rad_s); };
  loop.integrators = integrators_of(process, law);
  loop.low_rad_s = 1e-4 / span.slowest_s;
  loop.high_rad_s = 1e5 / span.fastest_s;
  loop.delay_s = process.delay_s;
  loop.limit = limit_of(process, law);
  return loop;
}

LoopJudgement judge(const Process& process, const PidLaw& law, const Sampling& sampling, const JudgementWish& wish) {
  const OpenLoop loop = open_loop(process, law, sampling);
  LoopJudgement judgement;
  if (sampling.period_s > 0.0) {
    if (sampling.latency_s <= 0.0 && process.delay_s <= 0.0 && process.excess() == 0)
      throw std::domain_error("a process that answers at once and a controller without latency: which is first is not said");
    judgement =
        judge_sampled(sampled_behind(realised(process), process.delay_s + sampling.latency_s, sampling.period_s), law, loop, wish);
  } else {
    if (std::isinf(loop.limit))
      throw std::domain_error("an ideal derivative on a process that answers at once: the derivative needs a filter");
    judgement.margins = margins_of(loop);
    PidLaw filtered = law;
    if (law.gains.derivative != 0.0 && law.filter_s <= 0.0)
      filtered.filter_s =
          0.01 * std::abs(law.gains.derivative / (law.gains.proportional != 0.0 ? law.gains.proportional : law.gains.derivative));
    const bool endless = process.delay_s > 0.0 && std::abs(limit_of(process, filtered)) >= 1.0;
    if (wish.courses && judgement.margins.stable && !endless) {
      judgement.setpoint_course = course_of(process, filtered, LoopStep::setpoint, {wish.longest_s, 1e-6});
      judgement.load_course = course_of(process, filtered, LoopStep::load, {wish.longest_s, 1e-6});
    }
    const bool ideal = law.gains.derivative != 0.0 && law.filter_s <= 0.0;
    judgement.noise_gain = ideal ? std::numeric_limits<double>::infinity()
                                 : std::abs(law.gains.proportional + (law.filter_s > 0.0 ? law.gains.derivative / law.filter_s : 0.0));
  }
  read_figures(judgement);
  return judgement;
}

LoopJudgement judge(const StateSpace& process, double delay_s, const PidLaw& law, const Sampling& sampling, const JudgementWish& wish) {
  if (!(sampling.period_s > 0.0)) throw std::invalid_argument("a process in state space is judged sampled");
  const DelayedSystem plant = sampled_behind(process, delay_s + sampling.latency_s, sampling.period_s);
  OpenLoop loop = sampled_loop(plant, law, law.gains.integral != 0.0 ? 1 : 0);
  double slowest_per_s = loop.high_rad_s;
  if (process.states() > 0) {
    for (const std::complex<double>& pole : process.a.eigenvalues()) {
      const double size = std::abs(pole);
      if (size < 1e-9)
        ++loop.integrators;
      else
        slowest_per_s = std::min(slowest_per_s, size);
    }
  }
  if (law.gains.integral != 0.0 && law.gains.proportional != 0.0)
    slowest_per_s = std::min(slowest_per_s, std::abs(law.gains.integral / law.gains.proportional));
  loop.low_rad_s = std::min(1e-4 * slowest_per_s, 0.01 * loop.high_rad_s);
  LoopJudgement judgement = judge_sampled(plant, law, loop, wish);
  read_figures(judgement);
  return judgement;
}

}  // namespace sim
