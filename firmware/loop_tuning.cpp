#include "firmware/loop_tuning.h"

#include <cstddef>
#include <cstring>

#include "firmware/controller_state.h"
#include "firmware/history.h"

namespace fw {

namespace {

constexpr std::uint32_t watch_every_ms = 1000;

bool heat_stands(const Controller& c) {
  const Segment* segment = programme_segment(c.run);
  // A ramp that waits for its tolerance goes on by itself; one that the operator holds does not.
  const bool standing = segment != nullptr && (segment->kind == SegmentKind::soak || segment->kind == SegmentKind::wait ||
                                               c.run.state == ProgrammeState::held);
  const bool atmosphere = c.parameters.atmosphere_required == 0 || c.atmosphere.phase == AtmospherePhase::holding;
  return standing && atmosphere && c.run.heat_wanted && programme_active(c.run) && c.run.rate_k_per_s == 0.0f &&
         heat_permissive(c.interlocks, c.parameters, c.inputs, c.atmosphere);
}

bool zones_depend(const Controller& c) { return c.zones.coupled || c.parameters.cascade_on != 0; }

TuneView zone_view(const Controller& c, int zone) {
  TuneView view;
  view.in_phase = heat_stands(c) && !c.zones.held_back[zone] && !zones_depend(c);
  view.tripped = c.interlocks.latched != 0;
  view.sensor_good = ((c.inputs.zone_failed >> zone) & 1u) == 0;
  view.setpoint = c.zones.setpoint_degc[zone];
  view.process_value = c.inputs.zone_degc[zone];
  view.output = c.zones.asked[zone];
  return view;
}

TuneView pressure_view(const Controller& c) {
  TuneView view;
  view.in_phase = c.demand.valve_automatic && c.atmosphere.phase == AtmospherePhase::holding &&
                  (c.demand.coils & coil::process_open) != 0 && c.demand.flow_slm > 0.0f;
  view.tripped = c.interlocks.latched != 0;
  view.sensor_good = !c.inputs.chamber_failed && !c.inputs.chamber_below_range;
  view.setpoint = c.demand.setpoint_pa;
  view.process_value = c.back_pressure.filtered_pa;
  view.output = c.back_pressure.capacity_frac;
  return view;
}

TuneView view_of(const Controller& c, int loop) { return loop == tune_pressure ? pressure_view(c) : zone_view(c, loop); }

bool has_loop(const Controller& c, int loop) {
  return loop == tune_pressure ? c.parameters.retort_ceramic != 0 || c.parameters.atmosphere_required != 0
                               : loop >= 0 && loop < c.parameters.zones;
}

std::uint32_t milliseconds(float seconds) { return static_cast<std::uint32_t>(seconds * 1000.0f); }  // bounded by the table

const ParameterInfo* info_at(std::size_t offset) {
  for (const ParameterInfo& info : parameter_table()) {
    if (info.offset == offset) return &info;
  }
  return nullptr;
}

struct Write {
  std::size_t offset;
  float value;
};

std::uint32_t bits_of(float value) {
  std::uint32_t bits = 0;
  std::memcpy(&bits, &value, sizeof bits);
  return bits;
}

// All or none: gains of which one is out of bounds are not taken by halves.
Refusal write_gains(Controller& c, const Write (&writes)[3]) {
  for (const Write& write : writes) {
    const ParameterInfo* info = info_at(write.offset);
    if (!FW_CHECK(c.latch, info != nullptr)) return Refusal::fault_latched;
    if (!parameter_accepts(*info, bits_of(write.value))) return Refusal::value_out_of_bounds;
  }
  for (const Write& write : writes) {
    const ParameterInfo& info = *info_at(write.offset);
    const auto index = static_cast<std::uint16_t>(&info - parameter_table().data());
    history_log(c, EventKind::parameter, index, parameter_bits(c.parameters, info), bits_of(write.value));
    set_parameter_bits(c.parameters, info, bits_of(write.value));
    keep_parameter(c.writer, info);
  }
  history_parameters_changed(c);
  return Refusal::accepted;
}

}  // namespace

TuneSettings tuning_settings(const Parameters& p, int loop) {
  const bool pressure = loop == tune_pressure;
  const TuneLimits& limits = pressure ? p.tune_pressure : p.tune_heat;
  TuneSettings settings;
  settings.amplitude_share = p.tune_amplitude;
  settings.hysteresis = limits.hysteresis;
  settings.ceiling = limits.ceiling;
  settings.settled_band = limits.settled_within;
  settings.settled_ms = milliseconds(limits.settled_for_s);
  settings.timeout_ms = milliseconds(limits.timeout_s);
  settings.out_max = pressure ? 1.0f : p.heat_out_max;
  settings.direct = pressure;
  settings.rule = static_cast<TuneRule>(limits.rule);
  return settings;
}

void tuning_step(Controller& c) {
  AutoTune& tune = c.tune;
  const auto period_ms = static_cast<std::uint32_t>(c.parameters.period_ms);
  // The trip that took the phase away is latched only after the interlocks of that tick.
  if (tune.in_charge && tune.end == TuneEnd::left_phase && c.interlocks.latched != 0) tune.end = TuneEnd::trip;
  tune.in_charge = tune.handing_back;
  if (tune.handing_back) tune.output = tune.bias;
  tune.handing_back = false;
  if (tune.state == TuneState::running) {
    const int loop = tune.loop - 1;
    tune.in_charge = auto_tune_step(tune, tuning_settings(c.parameters, loop), view_of(c, loop), period_ms, tune.output);
  }
  tune.watch_ms += period_ms;
  if (tune.watch_ms < watch_every_ms) return;
  for (int loop = 0; loop < tune_loops; ++loop) {
    if (!has_loop(c, loop)) continue;
    auto_tune_watch(tune.watch[loop], tuning_settings(c.parameters, loop), view_of(c, loop), tune.watch_ms);
  }
  tune.watch_ms = 0;
}

Refusal tuning_start(Controller& c, std::uint16_t number) {
  const int loop = static_cast<int>(number) - 1;
  if (loop < 0 || loop >= tune_loops || !has_loop(c, loop)) {
    c.tune.refusal = TuneRefusal::no_such_loop;
    return Refusal::value_out_of_bounds;
  }
  c.tune.refusal = loop != tune_pressure && zones_depend(c)
                       ? TuneRefusal::loops_depend
                       : auto_tune_start(c.tune, loop, tuning_settings(c.parameters, loop), view_of(c, loop));
  return c.tune.refusal == TuneRefusal::none ? Refusal::accepted : Refusal::wrong_state;
}

Refusal tuning_abort(Controller& c) {
  if (c.tune.state != TuneState::running) return Refusal::wrong_state;
  auto_tune_abort(c.tune);
  // The relay's last output must not stand: the loop goes on from the bias.
  c.tune.handing_back = true;
  return Refusal::accepted;
}

Refusal tuning_accept(Controller& c, std::uint16_t set) {
  if (c.tune.state != TuneState::proposed) return Refusal::wrong_state;
  const TunedGains& gains = c.tune.gains;
  Refusal result = Refusal::accepted;
  if (c.tune.loop - 1 == tune_pressure) {
    // cppcheck-suppress redundantInitialization ; the other checker asks for it
    result = write_gains(c, {{offsetof(Parameters, pressure_gain_per_pa), gains.gain},
                             {offsetof(Parameters, pressure_integral_s), gains.integral_s},
                             {offsetof(Parameters, pressure_derivative_s), gains.derivative_s}});
  } else {
    if (set < 1 || set > gain_set_count) return Refusal::value_out_of_bounds;
    const std::size_t at = offsetof(Parameters, heat_gains) + (set - 1u) * sizeof(HeatGains);
    result = write_gains(c, {{at + offsetof(HeatGains, gain_per_k), gains.gain},
                             {at + offsetof(HeatGains, integral_s), gains.integral_s},
                             {at + offsetof(HeatGains, derivative_s), gains.derivative_s}});
  }
  if (result == Refusal::accepted) c.tune.state = TuneState::idle;
  return result;
}

Refusal tuning_reject(Controller& c) {
  if (c.tune.state != TuneState::proposed) return Refusal::wrong_state;
  c.tune.state = TuneState::idle;
  return Refusal::accepted;
}

}  // namespace fw
