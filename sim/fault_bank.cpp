#include "sim/fault_bank.h"

#include <algorithm>
#include <span>
#include <stdexcept>
#include <type_traits>

#include <fmt/format.h>

#include "plant/properties.h"

namespace sim {

namespace {

void check_value(const FaultKind& kind, const FaultParameter& parameter, double value) {
  if (value >= parameter.low && value <= parameter.high) return;
  throw std::invalid_argument(fmt::format("fault {}: {} {:g}, expected {:g} to {:g}", kind.name, parameter.name, value, parameter.low,
                                          parameter.high));
}

// Of a zone (first 1) or a word (first 0), already checked.
std::size_t index_of(double value, double first) { return static_cast<std::size_t>(value - first); }
std::size_t zone_of(double value) { return index_of(value, 1.0); }
std::size_t word_of(double value) { return index_of(value, 0.0); }

void stick(plant::Disturbances& disturbances, std::size_t valve, plant::ValveFault how) {
  disturbances.any_valve = true;
  if (disturbances.valve[valve] != plant::ValveFault::stuck_shut) disturbances.valve[valve] = how;
}

void lose_mains(plant::Disturbances& disturbances) {
  disturbances.mains_lost = true;
  disturbances.any_station = disturbances.station.down = true;
}

void apply_to_plant(FaultAction action, std::span<const double> values, plant::Disturbances& disturbances) {
  switch (action) {
    case FaultAction::supply_exhausted: disturbances.supply_exhausted = true; break;
    case FaultAction::exhaust_blocked: disturbances.exhaust_blocked = true; break;
    case FaultAction::door_opened: disturbances.door_open = true; break;
    case FaultAction::mains_dip: disturbances.mains_scale *= values[0]; break;
    case FaultAction::emergency_stop: disturbances.emergency_stop_pressed = true; break;
    case FaultAction::key_turned: disturbances.key_commissioning = true; break;
    case FaultAction::mains_lost: lose_mains(disturbances); break;
    case FaultAction::retort_leak: disturbances.leak_pa_m3_s += values[0]; break;
    case FaultAction::supply_contaminated: disturbances.supply_oxygen += values[0] * 1e-6; break;
    case FaultAction::supply_wet: disturbances.supply_water += plant::saturation_pa(values[0]) / 101325.0; break;
    case FaultAction::regulator_off: disturbances.regulator_pa += values[0]; break;
    case FaultAction::regulator_droops: disturbances.droop_pa_slm += values[0]; break;
    case FaultAction::dryer_exhausted: disturbances.dryer_exhausted = true; break;
    default: break;
  }
}

void mislead(FaultAction action, std::span<const double> values, plant::Disturbances& disturbances) {
  plant::MeterFault& meter = disturbances.meter[index_of(values[0], 1.0)];
  disturbances.any_meter = true;
  if (action == FaultAction::meter_zero) meter.shift_slm += values[1];
  if (action == FaultAction::meter_span) meter.span *= values[1];
  if (action == FaultAction::meter_stuck) meter.stuck = true;
}

double grown(double lost, double over_s, double elapsed_s) { return elapsed_s >= over_s ? lost : lost * elapsed_s / over_s; }

void apply_to_actuator(FaultAction action, std::span<const double> values, double elapsed_s, plant::Disturbances& disturbances) {
  switch (action) {
    case FaultAction::element_broken: disturbances.element_broken[zone_of(values[0])] = true; break;
    case FaultAction::switch_shorted: disturbances.switch_shorted[zone_of(values[0])] = true; break;
    case FaultAction::pump_stopped: disturbances.pump_stopped = true; break;
    case FaultAction::contactor_welded: disturbances.contactor_welded = true; break;
    case FaultAction::contactor_stuck_open: disturbances.contactor_stuck_open = true; break;
    case FaultAction::limiter_tripped: disturbances.limiter_tripped = true; break;
    case FaultAction::back_pressure_valve_stuck: disturbances.back_pressure_valve_stuck = true; break;
    case FaultAction::element_aged: disturbances.element_conductance[zone_of(values[0])] /= values[1]; break;
    case FaultAction::element_shorted: disturbances.element_conductance[zone_of(values[0])] /= 1.0 - values[1]; break;
    case FaultAction::relief_stuck_shut: disturbances.relief_stuck_shut = true; break;
    case FaultAction::relief_opens_early: disturbances.relief_scale *= values[0]; break;
    case FaultAction::check_valve_leaks: disturbances.check_leak_m2 += values[0] * 1e-6; break;
    case FaultAction::back_pressure_valve_worn:
      disturbances.back_pressure_leak = std::min(1.0, disturbances.back_pressure_leak + values[0]);
      break;
    case FaultAction::back_pressure_valve_plugs: disturbances.back_pressure_free *= 1.0 - grown(values[0], values[1], elapsed_s); break;
    case FaultAction::pump_sucks_back: disturbances.pump_back_m2 += values[0] * 1e-6; break;
    case FaultAction::pump_weak: disturbances.pump_strength *= values[0]; break;
    case FaultAction::meter_zero:
    case FaultAction::meter_span:
    case FaultAction::meter_stuck: mislead(action, values, disturbances); break;
    case FaultAction::back_pressure_valve_sticks:
      disturbances.back_pressure_stick = std::max(disturbances.back_pressure_stick, values[0]);
      break;
    case FaultAction::burn_off_out: disturbances.burn_off_out = true; break;
    case FaultAction::combustible_valve_leaks: disturbances.combustible_leak_mol_s += values[0] * plant::slm_mol_s; break;
    case FaultAction::valve_stuck_shut: stick(disturbances, word_of(values[0]), plant::ValveFault::stuck_shut); break;
    case FaultAction::valve_stuck_open: stick(disturbances, word_of(values[0]), plant::ValveFault::stuck_open); break;
    default: break;
  }
}

void apply_to_instrument(FaultAction action, std::span<const double> values, double elapsed_s, plant::Disturbances& disturbances) {
  if (action == FaultAction::oxygen_cell_cold) {
    disturbances.cell_heater_off = true;
    return;
  }
  if (action == FaultAction::thermocouple_loose) {
    disturbances.load_contact[word_of(values[0])] *= values[1];
    return;
  }
  if (action == FaultAction::insulation_lost) {
    double& half_degc = disturbances.insulation_degc[word_of(values[0])];
    half_degc = half_degc > 0.0 ? std::min(half_degc, values[1]) : values[1];
    disturbances.any_insulation = true;
    return;
  }
  disturbances.any_channel = true;
  if (action == FaultAction::cold_junction_off) {
    disturbances.block_rise_k += values[0];
    return;
  }
  plant::ChannelFault& channel = disturbances.channel[word_of(values[0])];
  switch (action) {
    case FaultAction::thermocouple_open: channel.open = true; break;
    case FaultAction::sensor_stuck: channel.stuck = true; break;
    case FaultAction::sensor_drift: channel.shift += values[1] * elapsed_s; break;
    case FaultAction::sensor_offset:
    case FaultAction::glitch: channel.shift += values[1]; break;
    case FaultAction::sensor_reversed: channel.swapped = true; break;
    case FaultAction::sensor_gain: channel.gain *= values[1]; break;
    case FaultAction::sensor_noise: channel.variance += values[1] * values[1]; break;
    case FaultAction::sensor_slow: channel.lag_s += values[1]; break;
    default: break;
  }
}

void apply_to_station(FaultAction action, std::span<const double> values, plant::Disturbances& disturbances) {
  plant::StationFault& station = disturbances.station;
  disturbances.any_station = true;
  const auto lesser = [](auto& held, double value, bool taken) {
    const auto other = static_cast<std::remove_reference_t<decltype(held)>>(value);
    held = taken ? std::min(held, other) : other;
  };
  switch (action) {
    case FaultAction::station_reset: station.down = true; break;
    case FaultAction::station_watchdog_dead: station.watchdog_dead = true; break;
    case FaultAction::station_answers_frozen: station.answers_frozen = true; break;
    case FaultAction::station_inputs_frozen: station.inputs_frozen = true; break;
    case FaultAction::station_output_dead: station.outputs_dead |= 1u << word_of(values[0]); break;
    case FaultAction::input_stuck:
      (values[1] == 0.0 ? station.inputs_off : station.inputs_on) |= static_cast<std::uint16_t>(1u << word_of(values[0]));
      break;
    case FaultAction::station_map_wrong: lesser(station.map_version, values[0], station.map_version >= 0); break;
    case FaultAction::station_exception: lesser(station.exception, values[0], station.exception != 0); break;
    default: break;
  }
}

}  // namespace

FaultBank::FaultBank(const std::vector<FaultSource>& sources) {
  if (sources.size() > faults_max) throw std::invalid_argument(fmt::format("faults: {} given, at most {}", sources.size(), faults_max));
  for (const FaultSource& source : sources) {
    const FaultKind* kind = find_fault(source.kind);
    if (kind == nullptr) throw std::invalid_argument("fault: unknown kind " + source.kind);
    if (source.values.size() != kind->parameters.size())
      throw std::invalid_argument(
          fmt::format("fault {}: {} values, expected {}", kind->name, source.values.size(), kind->parameters.size()));
    for (std::size_t value = 0; value < source.values.size(); ++value) check_value(*kind, kind->parameters[value], source.values[value]);
    Entry& entry = entries_[count_++];
    entry.action = kind->action;
    entry.seam = kind->seam;
    std::copy(source.values.begin(), source.values.end(), entry.values.begin());
  }
}

bool FaultBank::one_tick(std::size_t fault) const { return for_one_tick(entries_[fault].action); }

void FaultBank::begin(std::size_t fault) {
  if (state_.active[fault]++ == 0) state_.ticks[fault] = 0;
  state_.changed = true;
}

void FaultBank::take_over(std::size_t fault, const FaultBank& past, std::size_t other) {
  state_.active[fault] = past.state_.active[other];
  state_.ticks[fault] = past.state_.ticks[other];
}

void FaultBank::end(std::size_t fault) {
  if (state_.active[fault] > 0) --state_.active[fault];
  state_.changed = true;
}

bool FaultBank::apply(double period_s, plant::Disturbances& disturbances, LineFault& line) {
  if (!state_.changed && !state_.moving) return false;
  state_.changed = false;
  state_.moving = false;
  disturbances = plant::Disturbances{};
  line = LineFault{};
  controller_ = ControllerFault{};
  for (std::size_t fault = 0; fault < count_; ++fault) {
    if (state_.active[fault] == 0) continue;
    const Entry& entry = entries_[fault];
    const double elapsed_s = static_cast<double>(state_.ticks[fault]++) * period_s;
    switch (entry.seam) {
      case Seam::plant: apply_to_plant(entry.action, entry.values, disturbances); break;
      case Seam::actuator:
        apply_to_actuator(entry.action, entry.values, elapsed_s, disturbances);
        state_.moving |= entry.action == FaultAction::back_pressure_valve_plugs && elapsed_s < entry.values[1];
        break;
      case Seam::instrument:
        apply_to_instrument(entry.action, entry.values, elapsed_s, disturbances);
        state_.moving |= entry.action == FaultAction::sensor_drift;
        break;
      case Seam::line: apply_to_line(entry.action, entry.values, line); break;
      case Seam::station: apply_to_station(entry.action, entry.values, disturbances); break;
      case Seam::supervisory: apply_to_supervisory(entry.action, entry.values, controller_); break;
      case Seam::store: apply_to_store(entry.action, entry.values, controller_); break;
      case Seam::controller: apply_to_power(entry.action, entry.values, controller_); break;
      case Seam::everything:
        lose_mains(disturbances);
        apply_to_power(entry.action, entry.values, controller_);
        break;
    }
  }
  return true;
}

}  // namespace sim
