#include "firmware/auto_tune.h"

#include <cmath>

#include "firmware/fixed_point.h"

namespace fw {

namespace {

constexpr float pi = 3.14159265f;
constexpr float output_units = 16777216.0f;        // 2^24
constexpr float least_amplitude = 0.01f;           // smaller steps drown in noise, dead band and quantum
constexpr float period_agreement = 0.02f, swing_agreement = 0.04f;   // of their mean, largest less smallest (common practice, no source)

float least(float a, float b) { return a < b ? a : b; }

float spread(const float* values) {
  float low = values[0], high = values[0];
  for (int i = 1; i < tune_cycles; ++i) {
    if (values[i] < low) low = values[i];
    if (values[i] > high) high = values[i];
  }
  return high - low;
}

float mean(const float* values) {
  float sum = 0.0f;
  for (int i = 0; i < tune_cycles; ++i) sum += values[i];
  return sum / static_cast<float>(tune_cycles);
}

void finish(AutoTune& tune, TuneEnd end) {
  tune.state = end == TuneEnd::done ? TuneState::proposed : TuneState::ended;
  tune.end = end;
}

TuneEnd reason_to_end(const AutoTune& tune, const TuneSettings& settings, const TuneView& view) {
  if (view.tripped) return TuneEnd::trip;
  if (!view.sensor_good) return TuneEnd::sensor;
  if (!view.in_phase || view.setpoint != tune.setpoint) return TuneEnd::left_phase;
  if (view.process_value > tune.setpoint + settings.ceiling) return TuneEnd::ceiling;
  if (tune.elapsed_ms >= settings.timeout_ms) return TuneEnd::timed_out;
  return TuneEnd::none;
}

// A cycle ends where the relay goes high. The first whole one still carries the start and is not counted.
void take_cycle(AutoTune& tune) {
  ++tune.switches;
  if (tune.switches > 2) {
    for (int i = 0; i + 1 < tune_cycles; ++i) {
      tune.period_s[i] = tune.period_s[i + 1];
      tune.swing[i] = tune.swing[i + 1];
    }
    tune.period_s[tune_cycles - 1] = static_cast<float>(tune.cycle_ms) * 0.001f;
    tune.swing[tune_cycles - 1] = 0.5f * (tune.highest - tune.lowest);
    ++tune.cycles;
  }
  tune.cycle_ms = 0;
}

bool cycles_agree(const AutoTune& tune, std::uint32_t period_ms) {
  if (tune.cycles < tune_cycles) return false;
  const float tick_s = static_cast<float>(period_ms) * 0.001f;
  const float period_s = mean(tune.period_s), swing = mean(tune.swing);
  // A period is measured in whole ticks.
  const float resolved = period_agreement * period_s > tick_s ? period_agreement * period_s : tick_s;
  return spread(tune.period_s) <= resolved && spread(tune.swing) <= swing_agreement * swing && swing > 1.05f * tune.hysteresis;
}

void conclude(AutoTune& tune) {
  const float swing = mean(tune.swing);
  tune.found_swing = swing;
  tune.ultimate_period_s = mean(tune.period_s);
  tune.ultimate_gain = 4.0f * tune.amplitude / (pi * std::sqrt(swing * swing - tune.hysteresis * tune.hysteresis));
  tune.gains = tuned_gains(tune.rule, tune.ultimate_gain, tune.ultimate_period_s);
  finish(tune, TuneEnd::done);
}

}  // namespace

TunedGains tuned_gains(TuneRule rule, float ultimate_gain, float ultimate_period_s) {
  switch (rule) {
    case TuneRule::ziegler_nichols_pi:
      return {0.45f * ultimate_gain, ultimate_period_s / 1.2f, 0.0f};
    case TuneRule::ziegler_nichols_pid:
      return {0.6f * ultimate_gain, 0.5f * ultimate_period_s, 0.125f * ultimate_period_s};
    default:
      return {ultimate_gain / pi, 2.0f * ultimate_period_s, 0.0f};
  }
}

void auto_tune_watch(SettledWatch& watch, const TuneSettings& settings, const TuneView& view, std::uint32_t since_ms) {
  const bool stands = view.in_phase && view.sensor_good && !view.tripped && view.setpoint == watch.setpoint &&
                      std::fabs(view.process_value - view.setpoint) <= settings.settled_band;
  if (!stands) {
    watch = SettledWatch{};
    watch.setpoint = view.setpoint;
    return;
  }
  watch.stood_ms += since_ms;
  watch.sum += to_int64(std::round(least(view.output > 0.0f ? view.output : 0.0f, 100.0f) * output_units));
  ++watch.count;
  if (watch.stood_ms < settings.settled_ms) return;
  const std::int64_t mean_units = watch.sum / watch.count;   // whole units: 2^-24 of the output
  watch.mean_output = static_cast<float>(mean_units) / output_units;
  watch.settled = true;
  watch.sum = 0;
  watch.count = 0;
  watch.stood_ms = 0;
}

TuneRefusal auto_tune_start(AutoTune& tune, int loop, const TuneSettings& settings, const TuneView& view) {
  if (loop < 0 || loop >= tune_loops) return TuneRefusal::no_such_loop;
  if (tune.state == TuneState::running || tune.state == TuneState::proposed) return TuneRefusal::busy;
  if (!view.in_phase || !view.sensor_good || view.tripped) return TuneRefusal::not_in_phase;
  const SettledWatch& watch = tune.watch[loop];
  if (!watch.settled || watch.setpoint != view.setpoint) return TuneRefusal::not_settled;
  const float bias = watch.mean_output;
  const float share = settings.amplitude_share < 0.5f ? settings.amplitude_share : 0.5f;
  const float amplitude = least(share * bias, settings.out_max - bias);
  if (!(amplitude >= least_amplitude)) return TuneRefusal::output_at_limit;
  tune.state = TuneState::running;
  tune.end = TuneEnd::none;
  tune.loop = static_cast<std::uint8_t>(loop + 1);
  tune.rule = settings.rule;
  tune.setpoint = view.setpoint;
  tune.bias = bias;
  tune.amplitude = amplitude;
  tune.hysteresis = settings.hysteresis;
  tune.highest = tune.lowest = view.process_value;
  tune.high = view.process_value < view.setpoint;
  tune.elapsed_ms = tune.cycle_ms = 0;
  tune.switches = tune.cycles = 0;
  tune.ultimate_gain = tune.ultimate_period_s = tune.found_swing = 0.0f;
  tune.gains = TunedGains{};
  return TuneRefusal::none;
}

bool auto_tune_step(AutoTune& tune, const TuneSettings& settings, const TuneView& view, std::uint32_t period_ms, float& output) {
  if (tune.state != TuneState::running) return false;
  tune.elapsed_ms += period_ms;
  tune.cycle_ms += period_ms;
  const TuneEnd end = reason_to_end(tune, settings, view);
  if (end != TuneEnd::none) {
    finish(tune, end);
    output = tune.bias;
    return true;
  }
  const float above = view.process_value - tune.setpoint;
  if (above > tune.highest - tune.setpoint) tune.highest = view.process_value;
  if (above < tune.lowest - tune.setpoint) tune.lowest = view.process_value;
  if (tune.high && above > tune.hysteresis) {
    tune.high = false;
  } else if (!tune.high && above < -tune.hysteresis) {
    tune.high = true;
    take_cycle(tune);
    tune.highest = tune.lowest = view.process_value;
    if (cycles_agree(tune, period_ms)) {
      conclude(tune);
      output = tune.bias;
      return true;
    }
  }
  const float step = tune.high != settings.direct ? tune.amplitude : -tune.amplitude;
  output = tune.bias + step;
  return true;
}

void auto_tune_abort(AutoTune& tune) {
  if (tune.state == TuneState::running) finish(tune, TuneEnd::operator_abort);
}

}  // namespace fw
