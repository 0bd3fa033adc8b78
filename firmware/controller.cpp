#include "firmware/controller.h"

#include <cmath>
#include <cstring>
#include <new>

#include "firmware/controller_state.h"
#include "firmware/current_loop.h"
#include "firmware/loop_tuning.h"

namespace fw {

namespace {

constexpr std::uint32_t journal_every_ms = 60000;
constexpr std::uint32_t stop_least_ms = 1000;

std::uint32_t period_of(const Controller& c) { return static_cast<std::uint32_t>(c.parameters.period_ms); }

bool input(const Controller& c, std::uint16_t bit) { return (c.inputs.discrete & bit) != 0; }

bool has_retort(const Parameters& parameters) {
  return parameters.retort_ceramic != 0 || parameters.atmosphere_required != 0;
}

float farthest_degc(const Controller& c) {
  return heat_zones_farthest_degc(c.zones, c.parameters, c.inputs, c.run.setpoint_degc);
}

// --- Alarms ------------------------------------------------------------------------------------------------------------

AlarmSet when(bool condition, alarm::Number number) { return static_cast<AlarmSet>(condition) << number; }

// Once an alarm stands, its value must come back by the dead band.
float band(const Controller& c, alarm::Number number, float width) {
  return (c.alarms.standing >> number) & 1u ? width : 0.0f;
}
bool above(const Controller& c, alarm::Number number, float value, float limit, float width) {
  return value >= limit - band(c, number, width);
}

// Discrete inputs that the coils sent a tick ago should have brought about.
bool valves_differ(const Controller& c) {
  constexpr std::uint16_t watched = discrete::exhaust_open | discrete::isolation_open | discrete::bypass_open |
                                    discrete::air_open | discrete::process_open | discrete::purge_open;
  const std::uint16_t coils = c.outputs.coils;
  const auto opens = [&](std::uint16_t mask, std::uint16_t bit) { return (coils & mask) != 0 ? bit : std::uint16_t{0}; };
  const auto shuts = [&](std::uint16_t mask, std::uint16_t bit) { return (coils & mask) == 0 ? bit : std::uint16_t{0}; };
  const int expected = shuts(coil::exhaust_shut, discrete::exhaust_open) | shuts(coil::purge_shut, discrete::purge_open) |
                       opens(coil::isolation_open, discrete::isolation_open) |
                       opens(coil::bypass_open, discrete::bypass_open) | opens(coil::air_open, discrete::air_open) |
                       opens(coil::process_open, discrete::process_open);
  return ((c.inputs.discrete ^ expected) & watched) != 0;
}

// Asked for longer than a flame takes (the alarm's delay), and not there.
bool flame_missing(const Controller& c) {
  return c.parameters.combustible_gas != 0 && (c.outputs.coils & coil::pilot) != 0 && !input(c, discrete::burn_off_proven);
}

AlarmSet gas_conditions(const Controller& c) {
  const Parameters& p = c.parameters;
  const Inputs& in = c.inputs;
  const bool measured = !in.chamber_failed && !in.chamber_below_range;
  const bool holding = c.atmosphere.phase == AtmospherePhase::holding;
  const bool required = p.atmosphere_required != 0;
  const bool hot = required && (in.load_degc >= p.hot_degc || in.hottest_degc >= p.hot_degc);
  const bool flowing = (c.outputs.coils & coil::process_open) != 0;
  const bool high = measured && above(c, alarm::pressure_high, in.chamber_pa, p.pressure_alarm_pa, p.alarm_band_pa);
  const bool low = !measured || in.chamber_pa < p.pressure_low_pa + band(c, alarm::pressure_low, p.alarm_band_pa);
  const bool oxygen =
      in.oxygen_valid && above(c, alarm::oxygen_high, in.oxygen_ppm, p.oxygen_alarm_ppm, p.alarm_band_share * p.oxygen_alarm_ppm);
  const float off_slm = std::fabs(c.flow.setpoint_slm - in.flow_slm) +
                        band(c, alarm::flow_deviation, p.alarm_band_share * p.flow_deviation_alarm_slm);
  const std::uint32_t found = c.detections.found;
  const bool slow = (c.outputs.coils & coil::pump_motor) != 0 && !input(c, discrete::pump_at_speed);
  return when(high, alarm::pressure_high) | when(holding && required && low, alarm::pressure_low) |
         when(hot && oxygen, alarm::oxygen_high) | when((found & detection::vacuum_lost) != 0, alarm::vacuum_lost) |
         when(hot && holding && above(c, alarm::dew_point_high, in.dew_point_degc, p.dew_point_alarm_degc, p.alarm_band_k),
              alarm::dew_point_high) |
         when(flowing && off_slm > p.flow_deviation_alarm_slm, alarm::flow_deviation) | when(slow, alarm::pump_slow) |
         when(!input(c, discrete::supply_present) && programme_active(c.run), alarm::supply_lost) |
         when(in.chamber_failed, alarm::pressure_transmitter) |
         when(in.supply_known && in.supply_pa < p.supply_low_pa && programme_active(c.run), alarm::supply_low) |
         when(c.gas_watch.sticks, alarm::valve_sticks) | when(c.gas_watch.swings, alarm::pressure_swings) |
         when(c.gas_watch.implausible, alarm::flow_implausible) | when(flame_missing(c), alarm::burn_off) |
         when(holding && required && !in.oxygen_valid, alarm::oxygen_cell) | when(valves_differ(c), alarm::valve_position);
}

AlarmSet heat_conditions(const Controller& c) {
  const Parameters& p = c.parameters;
  const Inputs& in = c.inputs;
  const RowSet causes = c.interlocks.raw;
  const bool contactor = input(c, discrete::contactor_closed) != ((c.outputs.coils & coil::contactor) != 0);
  const float off_k = std::fabs(farthest_degc(c) - c.run.setpoint_degc) + band(c, alarm::deviation, p.alarm_band_k);
  const bool far = c.run.heat_wanted && off_k > p.deviation_alarm_k;
  const bool load_used = load_in_use(p, c.run);
  const std::uint32_t found = c.detections.found;
  return when(in.zone_failed != 0, alarm::zone_sensor) | when(load_used && in.load_failed, alarm::load_sensor) |
         when(above(c, alarm::zone_temperature, in.hottest_degc, p.zone_alarm_degc, p.alarm_band_k), alarm::zone_temperature) |
         when(load_used && !in.load_failed && above(c, alarm::load_temperature, in.load_degc, p.load_alarm_degc, p.alarm_band_k),
              alarm::load_temperature) |
         when((found & detection::contactor_welded) != 0, alarm::contactor_welded) |
         when((found & detection::load_differs) != 0, alarm::load_differs) |
         when((found & detection::heater_differs) != 0, alarm::heater_differs) |
         when(far, alarm::deviation) | when((causes >> row::demand_without_current) & 1u, alarm::demand_without_current) |
         when((causes >> row::current_without_demand) & 1u, alarm::current_without_demand) |
         when(contactor, alarm::contactor) | when(in.mains_v < 0.85f * p.mains_nominal_v, alarm::mains_low) |
         when(!input(c, discrete::door_closed) && programme_active(c.run), alarm::door);
}

AlarmSet alarm_conditions(const Controller& c) {
  AlarmSet conditions = when(c.interlocks.latched != 0, alarm::trip) | when(c.run.failed, alarm::segment_failed) |
                             when(c.run.waiting && programme_active(c.run), alarm::segment_waits) |
                             when(c.store_bad > 0, alarm::store_damaged) | when(c.station.lost, alarm::line_lost) |
                             when(c.station.asked && !c.inputs.fresh, alarm::line_disturbed) |
                             when(c.latch.line != 0, alarm::internal_fault) |
                             when((c.detections.found & detection::tick_late) != 0, alarm::tick_late) |
                             when((c.detections.found & detection::clock_jumped) != 0, alarm::clock_jumped);
  if (!c.inputs.known) return conditions;
  conditions |= when(c.inputs.transmitter_failed != 0, alarm::transmitter_failed) | heat_conditions(c);
  return has_retort(c.parameters) ? conditions | gas_conditions(c) : conditions;
}

// --- Programme ---------------------------------------------------------------------------------------------------------

bool makes_atmosphere(SegmentKind kind) {
  return kind == SegmentKind::evacuate || kind == SegmentKind::leak_test || kind == SegmentKind::backfill ||
         kind == SegmentKind::purge;
}

// Every step waits for its valves: none of them for longer than this.
bool feedback_missing(Controller& c) {
  const Segment* segment = programme_segment(c.run);
  const bool watched = segment != nullptr && makes_atmosphere(segment->kind) && has_retort(c.parameters) && c.inputs.known;
  if (!watched || !valves_differ(c)) {
    c.feedback_ms = 0;
    return false;
  }
  c.feedback_ms += period_of(c);
  return static_cast<float>(c.feedback_ms) >= c.parameters.feedback_timeout_s * 1000.0f;
}

std::uint32_t task_timeout_ms(const Controller& c) {
  const Segment* segment = programme_segment(c.run);
  if (segment == nullptr) return 0;
  const Parameters& p = c.parameters;
  const float longest_s = segment->kind == SegmentKind::evacuate   ? p.evacuate_timeout_s
                          : segment->kind == SegmentKind::backfill ? p.backfill_timeout_s
                                                                   : p.purge_timeout_s;
  return static_cast<std::uint32_t>(longest_s) * 1000u;  // bounds of the parameters keep it within range
}

ProgrammeView programme_view(Controller& c) {
  ProgrammeView view{};
  view.period_ms = period_of(c);
  view.lead_degc = heat_zones_lead_degc(c.parameters, c.inputs);
  view.farthest_degc = farthest_degc(c);
  view.load_degc = c.inputs.load_degc;
  view.heat_permissive = heat_permissive(c.interlocks, c.parameters, c.inputs, c.atmosphere);
  view.heater_good = c.inputs.zone_failed == 0;
  view.load_good = !c.inputs.load_failed;
  const bool mine = c.atmosphere.serial == c.run.serial;
  view.task_done = mine && c.atmosphere.task_done;
  view.task_failed = (mine && c.atmosphere.task_failed) || feedback_missing(c);
  view.plant_settled = c.run.settle_ms >= stop_least_ms && !input(c, discrete::contactor_closed) &&
                       !input(c, discrete::isolation_open) && (c.outputs.coils & coil::pump_motor) == 0;
  view.ramp_tolerance_k = c.parameters.ramp_tolerance_k;
  view.task_timeout_ms = task_timeout_ms(c);
  return view;
}

// --- Loops -------------------------------------------------------------------------------------------------------------

// The loops ask; what may not be is the interlocks' business, and the loops follow what went out.
void heat_loops(Controller& c, Outputs& wanted) {
  const Parameters& p = c.parameters;
  const Segment* segment = programme_segment(c.run);
  const bool on = c.run.heat_wanted && programme_active(c.run);
  // The contactor stays closed through a cool segment and opens at its end: one operation a cycle.
  if (on || (segment != nullptr && segment->kind == SegmentKind::cool)) wanted.coils |= coil::contactor;
  HeatView view;
  view.on = on;
  view.setpoint_degc = c.run.setpoint_degc;
  view.rate_k_per_s = c.run.rate_k_per_s;
  // Interpolated gains hold in every segment that names no set; without them a set stays until another is named.
  view.gain_set = p.heat_interpolate != 0 ? (segment != nullptr ? segment->gain_set : 0) : c.run.gain_set;
  if (segment != nullptr && segment->power_limit > 0.0f) view.power_max = segment->power_limit;
  if (segment != nullptr) view.feed_forward = segment_feed_forward(*segment);
  if (c.tune.in_charge && c.tune.loop - 1 != tune_pressure) {
    view.relay_zone = c.tune.loop - 1;
    view.relay_frac = c.tune.output;
  }
  heat_zones_step(c.zones, c.heat, p, c.inputs, view, wanted.demand_frac);
}

// The core in place of the meters' own loops: shares of full scale in, positions of their valves out.
void drive_meters(Controller& c, Outputs& wanted) {
  const Parameters& p = c.parameters;
  const FlowDrive drive{p.flow_gain, p.flow_integral_s, static_cast<float>(p.period_ms) * 0.001f};
  const int meters = is_blended(p, wanted.gas_wanted) ? 2 : 1;
  for (int m = 0; m < meters; ++m) {
    const float conversion = gas_conversion(p, m == 0 ? wanted.gas_wanted : Gas::nitrogen);
    const float measured = c.inputs.meter_slm[m] / (p.meter_full_scale_slm * conversion);
    wanted.flow_ma[m] = flow_driven_ma(c.flow.drive[m], drive, span_value(wanted.flow_ma[m], 0.0f, 1.0f), measured);
  }
}

void flow_loops(Controller& c, Outputs& wanted) {
  const Parameters& p = c.parameters;
  const AtmosphereDemand& demand = c.demand;
  wanted.gas = static_cast<std::uint8_t>(selector_place(demand.gas));
  wanted.gas_wanted = demand.gas;
  if ((demand.coils & coil::process_open) == 0) {
    flow_shut(c.flow);
    return;
  }
  const FlowMeter meter{p.meter_full_scale_slm, gas_conversion(p, demand.gas)};
  const FlowMeter second{p.meter_full_scale_slm, gas_conversion(p, Gas::nitrogen)};
  const float share = is_blended(p, demand.gas) ? p.blend_hydrogen : 1.0f, period_s = static_cast<float>(p.period_ms) * 0.001f;
  flow_blended(c.flow, meter, second, share, demand.flow_slm, p.flow_ramp_slm_per_s, period_s, wanted.flow_ma);
  if (p.flow_direct != 0) drive_meters(c, wanted);
}

// Share of the valve's capacity that must pass for the pressure to stand: what flows in, and what heating pushes out.
float pressure_feed_forward(Controller& c) {
  const Parameters& p = c.parameters;
  if (p.valve_capacity_slm <= 0.0f) return 0.0f;
  const float absolute_pa = c.inputs.chamber_pa + c.inputs.barometer_pa;
  const float pushed_slm = expansion_slm(c.back_pressure.expansion, p, c.inputs.hottest_degc, absolute_pa);
  const float share = (c.flow.setpoint_slm + pushed_slm) / p.valve_capacity_slm;
  return share > 0.0f ? (share < 1.0f ? share : 1.0f) : 0.0f;
}

void gas_loops(Controller& c, Outputs& wanted) {
  const Parameters& p = c.parameters;
  const AtmosphereDemand& demand = c.demand;
  const float chamber_pa = c.inputs.chamber_pa;
  flow_loops(c, wanted);
  const float feed_forward = pressure_feed_forward(c);
  if (c.tune.in_charge && c.tune.loop - 1 == tune_pressure) {
    const float travel = valve_travel(valve_characteristic(p), c.tune.output);
    wanted.valve_frac = back_pressure_manual(c.back_pressure, p, demand.setpoint_pa, chamber_pa, travel, feed_forward);
    return;
  }
  wanted.valve_frac = demand.valve_automatic
                          ? back_pressure_automatic(c.back_pressure, p, demand.setpoint_pa, chamber_pa, feed_forward)
                          : back_pressure_manual(c.back_pressure, p, demand.setpoint_pa, chamber_pa,
                                                 demand.stands ? demand.valve_frac : 1.0f, feed_forward);
}

// What single readings do not show.
void watch_gas(Controller& c) {
  const Parameters& p = c.parameters;
  if (!has_retort(p) || !c.inputs.known) return;
  const bool filling = (c.outputs.coils & coil::process_open) != 0;
  const bool in_charge = c.demand.valve_automatic && c.atmosphere.phase == AtmospherePhase::holding;
  c.gas_watch.sticks = valve_sticks(c.gas_watch.stick, p, c.inputs, c.outputs.valve_frac);
  c.gas_watch.swings = pressure_swings(c.gas_watch.swing, p, in_charge, c.demand.setpoint_pa, c.inputs.chamber_pa);
  c.gas_watch.implausible = flow_implausible(c.gas_watch.fill, p, c.inputs, filling);
}

// The burn-off pilot burns from when combustible gas is asked for until it has been purged out; only then the door is let go.
void burn_off_coils(const Controller& c, Outputs& wanted) {
  const bool possible = c.atmosphere.combustible.possible;
  const bool asked = programme_active(c.run) && is_combustible(c.run.gas);
  if (possible || asked) wanted.coils |= coil::pilot;
  if (!possible && !programme_active(c.run)) wanted.coils |= coil::door_release;
}

Outputs run_loops(Controller& c) {
  Outputs wanted;
  wanted.coils = c.demand.coils;
  if (!c.inputs.known) return wanted;
  heat_loops(c, wanted);
  if (has_retort(c.parameters) || c.demand.flow_slm > 0.0f) gas_loops(c, wanted);
  if (alarms_sound_horn(c.alarms)) wanted.coils |= coil::horn;
  if (c.parameters.combustible_gas != 0) burn_off_coils(c, wanted);
  return wanted;
}

// What went out, back into the loops: their anti-windup tracks it.
void follow_outputs(Controller& c) {
  heat_zones_applied(c.zones, c.heat, c.parameters, c.outputs.demand_frac);
  back_pressure_applied(c.back_pressure, c.parameters, c.outputs.valve_frac);
  if ((c.outputs.coils & coil::process_open) == 0) flow_shut(c.flow);
}

bool within_unit(float value) { return value >= 0.0f && value <= 1.0f; }  // false for a NaN

// Nothing but finite values within their range may leave. If a loop ever gives anything else, the core stops for good.
void check_outputs(Controller& c, Outputs& wanted) {
  bool good = within_unit(wanted.valve_frac);
  for (const float flow_ma : wanted.flow_ma) good = good && flow_ma >= 4.0f && flow_ma <= 20.0f;
  for (const float demand : wanted.demand_frac) good = good && within_unit(demand);
  if (FW_CHECK(c.latch, good)) return;
  wanted = Outputs{};
}

// --- Store -------------------------------------------------------------------------------------------------------------

void keep_totaliser(Controller& c) {
  c.journal_ms += period_of(c);
  if (c.journal_ms < journal_every_ms) return;
  c.journal_ms = 0;
  if (c.journal.gas_total == c.totaliser.sum) return;
  c.journal.gas_total = c.totaliser.sum;
  keep_journal(c.writer);
}

Transmission& transmission(Controller& c, Port port) { return port == Port::field ? c.out_field : c.out_supervisory; }

}  // namespace

void start(Controller& c, std::span<const std::uint8_t> store_image, ResetCause cause, std::uint32_t outage_s) {
  // The core comes up idle with the safe values of the atmosphere in force. A cycle is taken up again only once the station has
  // answered, and only where the policy says so (power_loss.h).
  ::new (static_cast<void*>(&c)) Controller();
  int parameters_bad = 0;
  c.store_bad = load_store(store_image, c.parameters, c.programmes, c.journal, c.writer, parameters_bad);
  c.parameters_bad = parameters_bad;
  c.totaliser.sum = c.journal.gas_total;
  history_start(c, store_image, cause, outage_s);
  combustible_start(c.atmosphere.combustible, c.parameters);
  c.interlocks.safe_row = atmosphere_safe_row(c.atmosphere, c.parameters, c.inputs, c.run);
}

bool adopt(Controller& c, std::span<const std::uint8_t> store_image, Controller& fresh) {
  int parameters_bad = 0;
  if (load_store(store_image, fresh.parameters, fresh.programmes, fresh.journal, fresh.writer, parameters_bad) != 0) return false;
  const ProgrammeEntry& entry = fresh.programmes.entries[c.journal.programme];
  // Bytes as the store holds them; a difference in padding only costs time. NOLINTNEXTLINE(*-memory-comparison,cert-exp42-c,cert-flp37-c)
  const bool same = std::memcmp(&fresh.programmes, &c.programmes, sizeof c.programmes) == 0;
  if (!same && c.run.segments > 0 && !programme_adopt(c.run, entry, fresh.programmes.segments + entry.first_segment)) return false;
  c.parameters = fresh.parameters;
  c.programmes = fresh.programmes;
  c.writer.parameters = fresh.writer.parameters;
  c.writer.programmes = fresh.writer.programmes;
  if (c.history.hash.part == RunHash::Part::programme) run_hash_segment_changed(c.history.hash, c.run.segments);
  run_hash_parameters_changed(c.history.hash);
  return true;
}

void receive(Controller& c, Port port, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us) {
  modbus_push(port == Port::field ? c.station.receiver : c.supervisory.receiver, bytes, arrival_us);
}

void step(Controller& c, std::uint64_t now_us) {
  ++c.tick;
  station_receive(c.station, c.parameters, c.outputs.gas_wanted, now_us, c.inputs);                  // decode, validate
  if (c.outputs.coils & coil::process_open) totaliser_add(c.totaliser, c.inputs.flow_slm, period_of(c));
  watch_gas(c);
  combustible_step(c.atmosphere.combustible, c.parameters, c.inputs, c.outputs);
  detections_step(c.detections, {c.parameters, c.inputs, c.run, c.outputs, now_us});
  alarms_step(c.alarms, alarm_conditions(c), c.station.lost, period_of(c));                    // alarms
  supervisory_command(c);
  commissioning_step(c);
  history_power_loss(c);
  programme_step(c.run, programme_view(c));                                                    // programme and atmosphere
  c.demand = atmosphere_step(c.atmosphere, c.parameters, c.inputs, c.run);
  tuning_step(c);
  Outputs wanted = run_loops(c);                                                               // set points, loops
  if (outputs_forced(c)) force_outputs(c, wanted);
  check_outputs(c, wanted);
  const InterlockView view{c.parameters, c.inputs, c.atmosphere, c.run, c.outputs, c.demand.stands || outputs_forced(c),
                           heat_permissive(c.interlocks, c.parameters, c.inputs, c.atmosphere), c.station.lost,
                           c.latch.line != 0, c.detections.found};
  interlocks_step(c.interlocks, view, wanted);                                                 // interlocks, last word
  c.outputs = wanted;
  follow_outputs(c);
  if (c.interlocks.latched != 0 && programme_abortable(c.run)) programme_abort(c.run);
  history_step(c);
  c.out_field.size = static_cast<std::uint16_t>(station_request(c.station, c.outputs, c.out_field.bytes));   // encode
  c.out_supervisory.size = static_cast<std::uint16_t>(supervisory_serve(c, now_us, c.out_supervisory.bytes));
  keep_totaliser(c);
}

std::size_t transmit(Controller& c, Port port, std::span<std::uint8_t> buffer) {
  Transmission& out = transmission(c, port);
  const std::size_t size = out.size;
  if (size == 0 || buffer.size() < size) return 0;
  std::memcpy(buffer.data(), out.bytes, size);
  out.size = 0;
  return size;
}

StoreWrite store(Controller& c, std::span<std::uint8_t> buffer) {
  if (buffer.size() < store_write_bytes) return {};
  // What is written down comes first: it is short, and what the next power loss is judged by.
  const auto bytes = buffer.first<store_write_bytes>();
  int page = next_history_page(c.writer, c.history.events, c.history.records, c.power, bytes);
  if (page < 0) page = next_store_page(c.writer, c.parameters, c.programmes, c.journal, period_of(c), bytes);
  if (page < 0) return {};
  return {static_cast<std::uint32_t>(page) * static_cast<std::uint32_t>(store_write_bytes),
          static_cast<std::uint32_t>(store_write_bytes)};
}

}  // namespace fw
