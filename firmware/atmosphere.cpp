#include "firmware/atmosphere.h"

namespace fw {

namespace {

constexpr std::uint32_t feedback_longest_ms = 5000;   // a valve that has not moved by then does not move
constexpr std::uint32_t settle_ms = 5000;             // leak test: valves shut, gas at rest
constexpr std::uint32_t reached_for_ms = 1000;        // an evacuation's target must stand this long
constexpr float fill_flow_least_frac = 0.1f;          // of the segment's flow, at the end of the taper

bool input(const Inputs& inputs, std::uint16_t bit) { return (inputs.discrete & bit) != 0; }

void go(Atmosphere& atmosphere, AtmosphereStep step) {
  if (atmosphere.step == step) return;
  atmosphere.step = step;
  atmosphere.step_ms = 0;
  atmosphere.reached_ms = 0;
}

bool shut_in(const Inputs& inputs) {
  constexpr std::uint16_t open_ones = discrete::exhaust_open | discrete::purge_open | discrete::process_open |
                                      discrete::bypass_open | discrete::air_open;
  return (inputs.discrete & open_ones) == 0;
}

bool in_vacuum(AtmosphereStep step) {
  return step == AtmosphereStep::pump || step == AtmosphereStep::isolate || step == AtmosphereStep::settle ||
         step == AtmosphereStep::measure;
}

// --- Steps: what each wants of the plant, and the step that follows it -------------------------------------------------

bool low_enough_to_pump(const Parameters& parameters, const Inputs& inputs) {
  return inputs.chamber_below_range || inputs.vacuum_in_range || inputs.chamber_pa < parameters.evacuate_switch_pa;
}

void vent(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs, AtmosphereDemand& demand) {
  if (static_cast<float>(atmosphere.step_ms) >= parameters.vent_timeout_s * 1000.0f) atmosphere.task_failed = true;
  demand.coils = coil::purge_shut | coil::pump_motor | coil::inlet_vent_shut;
  if (inputs.chamber_pa > parameters.bypass_min_pa) demand.coils |= coil::bypass_open;
}

void close_off(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs, AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut | coil::exhaust_shut | coil::pump_motor | coil::inlet_vent_shut;
  demand.valve_frac = 0.0f;
  const bool at_speed = static_cast<float>(atmosphere.at_speed_ms) >= parameters.vacuum_pump_spin_up_s * 1000.0f;
  const bool late = static_cast<float>(atmosphere.step_ms) >= parameters.pump_timeout_s * 1000.0f;
  if (late && !input(inputs, discrete::pump_at_speed)) atmosphere.task_failed = true;
  if (shut_in(inputs) && at_speed) go(atmosphere, AtmosphereStep::pump);
}

// True when the target has stood long enough.
bool pump(Atmosphere& atmosphere, const Inputs& inputs, float target_pa, std::uint32_t period_ms, AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut | coil::exhaust_shut | coil::pump_motor | coil::inlet_vent_shut | coil::isolation_open;
  demand.valve_frac = 0.0f;
  const bool below = inputs.vacuum_in_range && inputs.vacuum_pa <= target_pa;
  atmosphere.reached_ms = below ? atmosphere.reached_ms + period_ms : 0;
  return atmosphere.reached_ms >= reached_for_ms;
}

// The pump stops only once the isolation is shut: its inlet vent opens then.
void isolate(Atmosphere& atmosphere, const Inputs& inputs, AtmosphereStep next, AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut | coil::exhaust_shut;
  demand.valve_frac = 0.0f;
  if (!input(inputs, discrete::isolation_open)) {
    go(atmosphere, next);
    return;
  }
  demand.coils |= coil::pump_motor | coil::inlet_vent_shut;
  if (atmosphere.step_ms >= feedback_longest_ms) {
    atmosphere.task_failed = true;
  }
}

void shut_everything(AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut | coil::exhaust_shut;
  demand.valve_frac = 0.0f;
}

void measure(Atmosphere& atmosphere, const Segment& segment, const Inputs& inputs, AtmosphereDemand& demand) {
  shut_everything(demand);
  if (atmosphere.step == AtmosphereStep::settle) {
    if (atmosphere.step_ms >= settle_ms) {
      atmosphere.leak_start_pa = inputs.vacuum_pa;
      go(atmosphere, AtmosphereStep::measure);
    }
    return;
  }
  const float minutes = static_cast<float>(atmosphere.step_ms) * (1.0f / 60000.0f);
  const bool over = atmosphere.step_ms >= segment.duration_ms;
  if (over && !atmosphere.task_done) {
    atmosphere.pressure_rise_pa_min = (inputs.vacuum_pa - atmosphere.leak_start_pa) / (minutes > 0.0f ? minutes : 1.0f);
    const bool tight = inputs.vacuum_in_range && atmosphere.pressure_rise_pa_min <= segment.rate * 60.0f;
    (tight ? atmosphere.task_done : atmosphere.task_failed) = true;
  }
  if (!inputs.vacuum_in_range) atmosphere.task_failed = true;
}

// Over which the flow tapers: the parameter, or what the pressure still rises by while the set point ramps down and the gauge, the
// meter and the valve lag by a second together. Hot gas takes more room, so that the same flow raises the pressure faster.
float taper_distance_pa(const Parameters& parameters, const Inputs& inputs, float flow_slm) {
  constexpr float standard_k = 273.15f, standard_pa = 101325.0f, lag_s = 1.0f;
  const float gas_k = inputs.hottest_degc > 0.0f ? inputs.hottest_degc + standard_k : standard_k;
  const float litres = parameters.chamber_volume_l > 0.1f ? parameters.chamber_volume_l : 0.1f;
  const float rise_pa_s = flow_slm * (1.0f / 60.0f) * standard_pa * (gas_k / standard_k) / litres;
  const float ramp_s = parameters.flow_ramp_slm_per_s > 0.0f ? flow_slm / parameters.flow_ramp_slm_per_s : 0.0f;
  const float risen_pa = rise_pa_s * (0.5f * ramp_s + lag_s);
  return risen_pa > parameters.backfill_taper_pa ? risen_pa : parameters.backfill_taper_pa;
}

// Gas in at the segment's flow, tapered so that the loop, not the inertia of valve and meter, ends the rise. The exhaust
// opens once the chamber stands clear above the exhaust line. True when the pressure stands.
bool fill(const Parameters& parameters, const Inputs& inputs, const ProgrammeRun& run, float target_pa, AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut | coil::process_open;
  const bool above = !inputs.chamber_below_range && !inputs.chamber_failed && inputs.chamber_pa > parameters.pressure_release_pa;
  if (!above) demand.coils |= coil::exhaust_shut;
  const float taper_pa = taper_distance_pa(parameters, inputs, run.flow_slm);
  const float left_pa = inputs.chamber_below_range ? taper_pa : target_pa - inputs.chamber_pa;
  const float share = left_pa / taper_pa;
  const float taper = share > 1.0f ? 1.0f : (share < fill_flow_least_frac ? fill_flow_least_frac : share);
  demand.gas = run.gas;
  demand.flow_slm = run.flow_slm * taper;
  demand.valve_automatic = true;
  demand.setpoint_pa = target_pa;
  const float band_pa = target_pa * 0.02f > 50.0f ? target_pa * 0.02f : 50.0f;
  const bool open = target_pa <= parameters.pressure_release_pa || input(inputs, discrete::exhaust_open);
  return !inputs.chamber_below_range && !inputs.chamber_failed && inputs.chamber_pa >= target_pa - band_pa && open;
}

bool admit_air(const Inputs& inputs, AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut | coil::exhaust_shut | coil::air_open;
  demand.valve_frac = 0.0f;
  return !inputs.chamber_below_range && !inputs.vacuum_in_range && inputs.chamber_pa >= -500.0f;
}

void flow_through(const ProgrammeRun& run, AtmosphereDemand& demand) {
  demand.coils = coil::purge_shut;
  if (run.flow_slm > 0.0f) demand.coils |= coil::process_open;
  demand.gas = run.gas;
  demand.flow_slm = run.flow_slm;
  demand.valve_automatic = true;
  demand.setpoint_pa = run.back_pressure_pa;
}

// --- Tasks: one per kind of segment ------------------------------------------------------------------------------------

bool evacuate_to(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs, const ProgrammeRun& run,
                 float target_pa, AtmosphereDemand& demand) {
  if (atmosphere.combustible.possible) {   // the pump is not opened to it: an inert purge comes first
    atmosphere.task_failed = true;
    flow_through(run, demand);
    return false;
  }
  // Vented gas is cold; shut in it warms up, and may come to stand above the switch again: then the exhaust has it once more.
  const bool waits = atmosphere.step == AtmosphereStep::close_off || atmosphere.step == AtmosphereStep::pump;
  if (waits && !input(inputs, discrete::isolation_open) && !low_enough_to_pump(parameters, inputs)) go(atmosphere, AtmosphereStep::vent);
  switch (atmosphere.step) {
    case AtmosphereStep::pump:
      return pump(atmosphere, inputs, target_pa, static_cast<std::uint32_t>(parameters.period_ms), demand);
    case AtmosphereStep::close_off:
      close_off(atmosphere, parameters, inputs, demand);
      return false;
    default:
      if (low_enough_to_pump(parameters, inputs)) {
        go(atmosphere, AtmosphereStep::close_off);
        close_off(atmosphere, parameters, inputs, demand);
      } else {
        go(atmosphere, AtmosphereStep::vent);
        vent(atmosphere, parameters, inputs, demand);
      }
      return false;
  }
}

bool backfill_to(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs, const ProgrammeRun& run,
                 float target_pa, AtmosphereDemand& demand) {
  if (run.gas == Gas::air && atmosphere.combustible.possible) {
    atmosphere.task_failed = true;
    shut_everything(demand);
    return false;
  }
  const bool by_air = run.gas == Gas::air && parameters.retort_ceramic != 0;
  const AtmosphereStep filling = by_air ? AtmosphereStep::admit_air : AtmosphereStep::fill;
  if (atmosphere.step == filling) {
    return by_air ? admit_air(inputs, demand) : fill(parameters, inputs, run, target_pa, demand);
  }
  if (atmosphere.step == AtmosphereStep::pump || atmosphere.step == AtmosphereStep::isolate) {
    go(atmosphere, AtmosphereStep::isolate);
    isolate(atmosphere, inputs, filling, demand);
    return false;
  }
  go(atmosphere, filling);
  return by_air ? admit_air(inputs, demand) : fill(parameters, inputs, run, target_pa, demand);
}

void test_leak(Atmosphere& atmosphere, const Segment& segment, const Inputs& inputs, AtmosphereDemand& demand) {
  if (atmosphere.step == AtmosphereStep::settle || atmosphere.step == AtmosphereStep::measure) {
    measure(atmosphere, segment, inputs, demand);
    return;
  }
  go(atmosphere, AtmosphereStep::isolate);
  isolate(atmosphere, inputs, AtmosphereStep::settle, demand);
}

bool counts_hot(const Parameters& parameters) { return parameters.count_hot != 0 && parameters.combustible_gas == 0; }

// Litres that a standard litre makes in the chamber: by its pressure, and by its coldest reading, so that hot corners count as cold.
float swelling(const Parameters& parameters, const Inputs& inputs) {
  constexpr float standard_k = 273.15f, standard_pa = 101325.0f;
  float coldest_degc = inputs.load_failed ? 0.0f : inputs.load_degc;
  for (int z = 0; z < parameters.zones; ++z) {
    if (inputs.zone_degc[z] < coldest_degc) coldest_degc = inputs.zone_degc[z];
  }
  if (inputs.zone_failed != 0 || coldest_degc < 0.0f) coldest_degc = 0.0f;
  const float absolute_pa = inputs.chamber_pa + inputs.barometer_pa;
  return (coldest_degc + standard_k) / standard_k * (standard_pa / (absolute_pa > 1000.0f ? absolute_pa : 1000.0f));
}

// A purge that dries goes on until the dew point has stayed at or below its limit.
bool dry_enough(Atmosphere& atmosphere, const Parameters& parameters, const Segment& segment, const Inputs& inputs, bool passing) {
  constexpr std::uint32_t dew_point_channel = 14;
  if ((segment.options & until_dry) == 0) return true;
  const bool dry = passing && inputs.dew_point_degc <= segment.rate && ((inputs.transmitter_failed >> dew_point_channel) & 1u) == 0;
  atmosphere.dry_ms = dry ? atmosphere.dry_ms + static_cast<std::uint32_t>(parameters.period_ms) : 0;
  return atmosphere.dry_ms >= segment.duration_ms;
}

void purge_by_volume(Atmosphere& atmosphere, const Parameters& parameters, const Segment& segment, const Inputs& inputs,
                     const ProgrammeRun& run, AtmosphereDemand& demand) {
  go(atmosphere, AtmosphereStep::flow);
  flow_through(run, demand);
  const bool passing = !inputs.flow_failed && inputs.flow_slm >= parameters.purge_flow_min_slm &&
                       input(inputs, discrete::exhaust_open);
  if (passing) {
    const float passed_sl = inputs.flow_slm * static_cast<float>(parameters.period_ms) * (1.0f / 60000.0f);
    atmosphere.purged_sl += counts_hot(parameters) ? passed_sl * swelling(parameters, inputs) : passed_sl;
  }
  const bool changed = atmosphere_volume_changes(atmosphere, parameters) >= segment.amount;
  if (changed && dry_enough(atmosphere, parameters, segment, inputs, passing)) atmosphere.task_done = true;
}

void purge_by_cycles(Atmosphere& atmosphere, const Parameters& parameters, const Segment& segment, const Inputs& inputs,
                     const ProgrammeRun& run, AtmosphereDemand& demand) {
  if (atmosphere.cycles >= segment.count) {
    atmosphere.task_done = true;
    fill(parameters, inputs, run, segment.target, demand);
    return;
  }
  const bool filling = atmosphere.step == AtmosphereStep::isolate || atmosphere.step == AtmosphereStep::fill;
  if (!filling) {
    if (evacuate_to(atmosphere, parameters, inputs, run, segment.amount, demand)) go(atmosphere, AtmosphereStep::isolate);
    return;
  }
  if (!backfill_to(atmosphere, parameters, inputs, run, segment.target, demand)) return;
  ++atmosphere.cycles;
  if (atmosphere.cycles < segment.count) go(atmosphere, AtmosphereStep::vent);
}

// Segments that ask nothing of the atmosphere keep what stands.
void stand(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs, const ProgrammeRun& run,
           AtmosphereDemand& demand) {
  if (in_vacuum(atmosphere.step)) {
    if (atmosphere.step == AtmosphereStep::pump) {
      pump(atmosphere, inputs, 0.0f, static_cast<std::uint32_t>(parameters.period_ms), demand);
    } else {
      shut_everything(demand);
    }
    return;
  }
  if (atmosphere.step == AtmosphereStep::admit_air) {
    shut_everything(demand);
    return;
  }
  if (atmosphere.step == AtmosphereStep::fill || atmosphere.step == AtmosphereStep::flow) {
    go(atmosphere, AtmosphereStep::flow);
    atmosphere.phase = AtmospherePhase::holding;
    flow_through(run, demand);
    return;
  }
  // Nothing was made: a cycle in air, or in a gas that flows through at the exhaust line's pressure.
  atmosphere.phase = AtmospherePhase::rest;
  demand.coils = coil::purge_shut;
  if (run.flow_slm > 0.0f && run.gas != Gas::keep) demand.coils |= coil::process_open;
  demand.gas = run.gas;
  demand.flow_slm = run.flow_slm;
}

AtmospherePhase phase_of(SegmentKind kind) {
  switch (kind) {
    case SegmentKind::evacuate:
      return AtmospherePhase::evacuating;
    case SegmentKind::leak_test:
      return AtmospherePhase::leak_test;
    case SegmentKind::backfill:
      return AtmospherePhase::backfilling;
    default:
      return AtmospherePhase::purging;
  }
}

void run_task(Atmosphere& atmosphere, const Parameters& parameters, const Segment& segment, const Inputs& inputs,
              const ProgrammeRun& run, AtmosphereDemand& demand) {
  switch (segment.kind) {
    case SegmentKind::evacuate:
      if (evacuate_to(atmosphere, parameters, inputs, run, segment.target, demand)) atmosphere.task_done = true;
      break;
    case SegmentKind::leak_test:
      test_leak(atmosphere, segment, inputs, demand);
      break;
    case SegmentKind::backfill:
      if (backfill_to(atmosphere, parameters, inputs, run, segment.target, demand)) atmosphere.task_done = true;
      break;
    case SegmentKind::purge:
      if (segment.options & by_vacuum_cycles) {
        purge_by_cycles(atmosphere, parameters, segment, inputs, run, demand);
      } else {
        purge_by_volume(atmosphere, parameters, segment, inputs, run, demand);
      }
      break;
    default:
      stand(atmosphere, parameters, inputs, run, demand);
      return;
  }
  atmosphere.phase = phase_of(segment.kind);
}

// Combustible gas waits for its permissive; the inert purge keeps the pressure meanwhile.
void await_permissive(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs, AtmosphereDemand& demand) {
  const bool asked = (demand.coils & coil::process_open) != 0 && is_combustible(demand.gas);
  if (!asked || combustible_permitted(atmosphere.combustible, parameters, inputs)) {
    atmosphere.gas_wait_ms = 0;
    return;
  }
  demand.coils &= static_cast<std::uint16_t>(~(coil::process_open | coil::purge_shut));
  demand.flow_slm = 0.0f;
  atmosphere.gas_wait_ms += static_cast<std::uint32_t>(parameters.period_ms);
  if (static_cast<float>(atmosphere.gas_wait_ms) >= parameters.combustible_ignition_s * 1000.0f) atmosphere.task_failed = true;
}

void begin_task(Atmosphere& atmosphere, const ProgrammeRun& run) {
  atmosphere.serial = run.serial;
  atmosphere.task_done = false;
  atmosphere.task_failed = false;
  atmosphere.cycles = 0;
  atmosphere.purged_sl = 0.0f;
  atmosphere.reached_ms = 0;
  atmosphere.gas_wait_ms = 0;
  atmosphere.dry_ms = 0;
  const Segment& segment = run.copy[run.segment];
  const bool cycles = segment.kind == SegmentKind::purge && (segment.options & by_vacuum_cycles) != 0;
  if (cycles && !in_vacuum(atmosphere.step)) go(atmosphere, AtmosphereStep::none);  // a fill before it is no cycle of its own
}

}  // namespace

AtmosphereDemand atmosphere_step(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs,
                                 const ProgrammeRun& run) {
  AtmosphereDemand demand;
  const auto period_ms = static_cast<std::uint32_t>(parameters.period_ms);
  atmosphere.at_speed_ms = input(inputs, discrete::pump_at_speed) ? atmosphere.at_speed_ms + period_ms : 0;
  atmosphere.step_ms += period_ms;
  const Segment* segment = programme_segment(run);
  if (segment == nullptr) {
    if (!programme_active(run)) {
      atmosphere.phase = run.state == ProgrammeState::idle ? AtmospherePhase::rest : AtmospherePhase::safe;
      go(atmosphere, AtmosphereStep::none);
    }
    atmosphere.gas_wait_ms = 0;
    return demand;
  }
  if (atmosphere.serial != run.serial) begin_task(atmosphere, run);
  demand.stands = true;
  run_task(atmosphere, parameters, *segment, inputs, run, demand);
  await_permissive(atmosphere, parameters, inputs, demand);
  return demand;
}

SafeRow atmosphere_safe_row(const Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs,
                            const ProgrammeRun& run) {
  if (atmosphere.combustible.possible) return SafeRow::combustible;
  if (parameters.atmosphere_required == 0 && parameters.retort_ceramic == 0) return SafeRow::air;
  if (inputs.vacuum_in_range || input(inputs, discrete::isolation_open)) return SafeRow::vacuum;
  return run.gas == Gas::air ? SafeRow::air : SafeRow::inert;
}

bool atmosphere_permits_heat(const Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs) {
  if (parameters.atmosphere_required == 0) return true;
  return atmosphere.phase == AtmospherePhase::holding && !inputs.chamber_failed && !inputs.chamber_below_range &&
         inputs.chamber_pa >= parameters.pressure_low_pa && inputs.oxygen_valid &&
         inputs.oxygen_ppm <= parameters.oxygen_heat_ppm && input(inputs, discrete::exhaust_open);
}

float atmosphere_volume_changes(const Atmosphere& atmosphere, const Parameters& parameters) {
  return atmosphere.purged_sl / (parameters.chamber_volume_l > 0.1f ? parameters.chamber_volume_l : 0.1f);
}

}  // namespace fw
