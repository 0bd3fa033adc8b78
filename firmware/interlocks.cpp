#include "firmware/interlocks.h"

#include <bit>
#include <cmath>

#include "firmware/heat_zones.h"

namespace fw {

namespace {

using enum InterlockAction;

constexpr InterlockRow table[] = {
    {row::emergency_stop, "emergency stop", "emergency stop pressed", trip, 0},
    {row::door, "door", "door open while a programme runs", trip, 0},
    {row::limiter, "over-temperature limiter", "independent limiter has acted", trip, 0},
    {row::zone_temperature, "heater-side temperature", "a zone at or above limits.zone_trip", trip, 0},
    {row::load_temperature, "load temperature", "load at or above limits.load_trip", trip, 0},
    {row::zone_sensor, "heater-side sensor", "a zone's thermocouple or the cold junction has failed", trip, 0},
    {row::load_sensor, "load sensor", "load thermocouple has failed and something depends on it", trip, 0},
    {row::over_pressure, "over-pressure", "chamber at or above limits.pressure_trip", trip_over_pressure, 0},
    {row::over_pressure_switch, "over-pressure switch", "switch made", trip_over_pressure, 0},
    {row::pressure_transmitter, "pressure transmitter", "gauge-pressure transmitter has failed", trip, 0},
    {row::low_pressure, "low pressure", "chamber below limits.pressure_low while a hold phase heats", trip, 5000},
    {row::oxygen, "oxygen", "oxygen at or above limits.oxygen_trip while hot", trip, 5000},
    {row::line_lost, "line lost", "no valid answer of the station for 1 s", trip, 0},
    {row::station_watchdog, "station watchdog", "the station has gone to its safe row while a programme runs", trip, 0},
    {row::current_without_demand, "current without demand", "a zone draws current at no demand", trip, 1000},
    {row::demand_without_current, "demand without current", "a zone draws less than its least current", trip, 10000},
    {row::supply_lost, "supply lost", "no gas supply while a phase needs it", trip, 5000},
    {row::pump_lost, "pump lost", "pump not up to speed with its isolation open", trip, 0},
    {row::exhaust_shut, "exhaust shut", "exhaust not open while a hold phase stands", trip, 5000},
    {row::no_response, "no response", "highest demand for limits.response_window without a rise", trip, 0},
    {row::load_above_heater, "load above heater", "load hotter than the heater side while heating", trip, 60000},
    {row::internal_fault, "internal fault", "a check of the core has failed", trip, 0},
    {row::heat_not_permitted, "heat not permitted", "heat asked for without permissive", refuse_heat, 0},
    {row::air_on_hot_titanium, "air on hot titanium", "air admittance with the load above limits.air_admittance_max",
     refuse_air, 0},
    {row::bypass_too_low, "bypass too low", "bypass below limits.bypass_min", refuse_bypass, 0},
    {row::isolation_before_pump, "isolation before pump", "isolation before the pump has spun up", refuse_isolation, 0},
    {row::isolation_with_inlet, "isolation with inlet", "isolation with an inlet or the exhaust open", refuse_isolation, 0},
    {row::isolation_under_pressure, "isolation under pressure", "isolation above atmosphere.evacuate_switch",
     refuse_isolation, 0},
    {row::gas_not_selected, "gas not selected", "process gas without a gas selected", refuse_process_gas, 0},
    {row::air_gas_on_hot_titanium, "air as gas on hot titanium",
     "air as process gas with the load above limits.air_admittance_max", refuse_process_gas, 0},
    // Combustible gas: combustible.h says where these rules come from. Flame-failure response: at most some seconds, from memory.
    {row::burn_off_lost, "burn-off lost", "burn-off flame not proven while combustible gas flows", trip, 1000},
    {row::blend_ratio, "blend ratio", "measured share of hydrogen off by more than combustible.blend.tolerance", trip, 5000},
    {row::air_in_combustible, "air in combustible gas",
     "oxygen at or above combustible.oxygen_max while combustible gas flows and a zone is below combustible.zone_min", trip, 2000},
    {row::combustible_pressure, "combustible gas pressure", "chamber below combustible.pressure_min while combustible gas flows",
     trip, 2000},
    {row::door_on_combustible, "door on combustible gas", "door open with combustible gas not purged out", trip, 0},
    {row::combustible_valve, "combustible gas valve", "process valve or its meter passes though told to shut", trip, 2000},
    {row::combustible_not_permitted, "combustible gas not permitted",
     "combustible gas with neither every zone hot nor the chamber purged, or without proven burn-off", refuse_process_gas, 0},
    {row::combustible_on_titanium, "combustible gas on titanium", "combustible gas with unit.load_titanium", refuse_process_gas, 0},
    {row::isolation_on_combustible, "isolation on combustible gas", "isolation with combustible gas not purged out",
     refuse_isolation, 0},
    {row::air_on_combustible, "air on combustible gas", "air admittance with combustible gas not purged out", refuse_air, 0},
    {row::air_gas_on_combustible, "air as gas on combustible gas", "air as process gas with combustible gas not purged out",
     refuse_process_gas, 0},
    {row::sensor_stuck, "sensor stuck", "a thermocouple in use stands still for limits.stuck_window while it is heated", trip, 0},
    {row::sensor_reversed, "sensor reversed", "a thermocouple in use colder than its terminals by limits.sensor_reversed", trip, 2000},
    {row::sensor_jumped, "sensor jumped", "a thermocouple in use farther than limits.sensor_jump from what limits.sensor_rate allows",
     trip, 2000},
    {row::contactor_welded, "contactor welded", "contactor reports closed while its coil is off", trip, 500},
    {row::runaway, "runaway", "a zone hotter by limits.runaway at no demand", trip, 0},
    {row::inputs_frozen, "inputs frozen", "every input of the station stands still for limits.frozen_window", trip, 0},
};
static_assert(std::size(table) == row::count_ - 1);
static_assert([] {
  for (std::size_t i = 0; i < std::size(table); ++i) {
    if (table[i].number != i + 1) return false;
  }
  return true;
}());
static_assert(row::count_ <= 64);

constexpr RowSet bit_of(std::uint8_t number) { return RowSet{1} << number; }

// A build may leave one row out, to show that something notices. Product builds never define this.
#ifdef FW_WITHOUT_INTERLOCK_ROW
constexpr RowSet rows_in_force = ~bit_of(FW_WITHOUT_INTERLOCK_ROW);
#else
constexpr RowSet rows_in_force = ~RowSet{0};
#endif

constexpr RowSet rows_of(InterlockAction action) {
  RowSet bits = 0;
  for (const InterlockRow& r : table) {
    if (r.action == action) bits |= bit_of(r.number);
  }
  return bits;
}
constexpr RowSet trips = rows_of(trip) | rows_of(trip_over_pressure);

// Design: heat off and contactor open always. Normal positions (coil dropped): purge, exhaust and inlet vent open, all else
// shut, back-pressure valve open.
constexpr SafeValues safe_values[] = {
    {SafeRow::air, "air", coil::purge_shut, 1.0f},
    {SafeRow::inert, "inert gas", 0, 1.0f},
    {SafeRow::combustible, "combustible gas", coil::pilot, 1.0f},
    {SafeRow::vacuum, "vacuum", 0, 1.0f},
    {SafeRow::over_pressure, "over-pressure", coil::purge_shut | coil::bypass_open, 1.0f},
};
static_assert([] {
  for (std::size_t i = 0; i < std::size(safe_values); ++i) {
    if (static_cast<std::size_t>(safe_values[i].row) != i + 1) return false;
  }
  return true;
}());

constexpr std::uint32_t pump_stop_longest_ms = 5000;     // an isolation that does not report shut must not run the pump for ever
constexpr std::uint32_t heat_return_ms = 10000;          // common practice, no source: some seconds off before a contactor closes again
constexpr std::uint32_t release_longest_ms = 120000;     // over-pressure row without a gauge that could end it

bool input(const Inputs& inputs, std::uint16_t bit) { return (inputs.discrete & bit) != 0; }

// Sets the row's bit where the cause stands.
void set(RowSet& causes, row::Number number, bool cause) {
  causes |= static_cast<RowSet>(cause) << number;
}

bool heating(const Outputs& outputs, int zones) {
  bool any = false;
  for (int z = 0; z < zones; ++z) any = any || outputs.demand_frac[z] > 0.0f;
  return any;
}

bool heat_conditions(const Interlocks& interlocks, const Parameters& parameters, const Inputs& inputs,
                     const Atmosphere& atmosphere) {
  constexpr std::uint16_t healthy = discrete::door_closed | discrete::emergency_stop_healthy | discrete::limiter_healthy;
  return inputs.known && (inputs.discrete & healthy) == healthy && interlocks.latched == 0 &&
         atmosphere_permits_heat(atmosphere, parameters, inputs);
}

// --- Causes ------------------------------------------------------------------------------------------------------------

RowSet temperature_causes(const InterlockView& view) {
  const Inputs& in = view.inputs;
  const Parameters& p = view.parameters;
  const bool load_used = load_in_use(p, view.run);
  RowSet causes = 0;
  set(causes, row::zone_temperature, in.hottest_degc >= p.zone_trip_degc);
  set(causes, row::load_temperature, load_used && !in.load_failed && in.load_degc >= p.load_trip_degc);
  set(causes, row::zone_sensor, in.zone_failed != 0);
  set(causes, row::load_sensor, in.load_failed && load_used);
  const bool plausible = p.load_above_heater_k <= 0.0f || !load_used || in.load_failed ||
                         in.load_degc <= in.hottest_degc + p.load_above_heater_k;
  set(causes, row::load_above_heater, !plausible && heating(view.before, p.zones));
  return causes;
}

RowSet gas_causes(const InterlockView& view) {
  const Inputs& in = view.inputs;
  const Parameters& p = view.parameters;
  if (p.retort_ceramic == 0 && p.atmosphere_required == 0) return 0;
  const bool measured = !in.chamber_failed && !in.chamber_below_range;
  const bool holding = view.atmosphere.phase == AtmospherePhase::holding;
  const bool gas_phase = holding || view.atmosphere.phase == AtmospherePhase::purging ||
                         view.atmosphere.phase == AtmospherePhase::backfilling;
  const bool low = !measured || in.chamber_pa < p.pressure_low_pa;
  RowSet causes = 0;
  set(causes, row::over_pressure, measured && in.chamber_pa >= p.pressure_trip_pa);
  set(causes, row::over_pressure_switch, input(in, discrete::over_pressure));
  set(causes, row::pressure_transmitter, in.chamber_failed);
  set(causes, row::low_pressure, holding && view.run.heat_wanted && p.atmosphere_required != 0 && low);
  set(causes, row::oxygen, in.oxygen_valid && in.oxygen_ppm >= p.oxygen_trip_ppm && in.load_degc >= p.hot_degc &&
                               holding && p.atmosphere_required != 0);
  set(causes, row::supply_lost, gas_phase && !input(in, discrete::supply_present));
  set(causes, row::pump_lost, (view.before.coils & coil::isolation_open) && !input(in, discrete::pump_at_speed));
  set(causes, row::exhaust_shut, holding && !input(in, discrete::exhaust_open));
  return causes;
}

RowSet combustible_causes(const InterlockView& view) {
  const Inputs& in = view.inputs;
  const Parameters& p = view.parameters;
  const Combustible& gas = view.atmosphere.combustible;
  RowSet causes = 0;
  set(causes, row::burn_off_lost, gas.flowing && !input(in, discrete::burn_off_proven));
  set(causes, row::blend_ratio, blend_off(gas, p, in, view.before));
  set(causes, row::air_in_combustible, air_in_combustible(gas, p, in));
  set(causes, row::combustible_pressure, combustible_pressure_low(gas, p, in));
  set(causes, row::door_on_combustible, gas.possible && !input(in, discrete::door_closed));
  set(causes, row::combustible_valve, combustible_valve_passes(gas, p, in));
  return causes;
}

// Burst firing: the rms current goes with the root of the demand.
RowSet current_causes(const InterlockView& view) {
  const Inputs& in = view.inputs;
  const Parameters& p = view.parameters;
  const float mains = in.mains_v / (p.mains_nominal_v > 1.0f ? p.mains_nominal_v : 1.0f);
  const float least_a = p.element_current_min_a * (mains < 1.0f ? mains : 1.0f);
  bool surplus = false, missing = false;
  for (int z = 0; z < p.zones; ++z) {
    const float demand = view.before.demand_frac[z];
    surplus = surplus || (demand <= 0.0f && in.current_a[z] > p.current_off_a);
    missing = missing || (demand >= first_guarded_frac && in.current_a[z] < least_a * std::sqrt(demand));
  }
  RowSet causes = 0;
  set(causes, row::current_without_demand, surplus);
  set(causes, row::demand_without_current, missing && input(in, discrete::contactor_closed));
  return causes;
}

// A zone at its highest demand, well below its set point, that does not get hotter: the sensor is stuck or the heat goes
// elsewhere.
RowSet response_causes(Interlocks& interlocks, const InterlockView& view) {
  const Parameters& p = view.parameters;
  bool broken = false;
  for (int z = 0; z < p.zones; ++z) {
    const float zone_degc = view.inputs.zone_degc[z];
    const bool full = view.before.demand_frac[z] > 0.0f && view.before.demand_frac[z] >= 0.98f * p.heat_out_max;
    const bool behind = view.run.setpoint_degc - zone_degc > 10.0f;
    const bool rose = zone_degc >= interlocks.response_degc[z] + p.response_rise_k;
    if (!full || !behind || rose || interlocks.response_ms[z] == 0) {
      interlocks.response_degc[z] = zone_degc;
      interlocks.response_ms[z] = full && behind ? static_cast<std::uint32_t>(p.period_ms) : 0;
      continue;
    }
    interlocks.response_ms[z] += static_cast<std::uint32_t>(p.period_ms);
    broken = broken || static_cast<float>(interlocks.response_ms[z]) >= p.response_window_s * 1000.0f;
  }
  RowSet causes = 0;
  set(causes, row::no_response, broken && p.response_window_s > 0.0f);
  return causes;
}

RowSet detected_causes(const InterlockView& view) {
  const std::uint32_t found = view.detections;
  RowSet causes = 0;
  set(causes, row::sensor_stuck, (found & (detection::zone_stuck | detection::load_stuck)) != 0);
  set(causes, row::sensor_reversed, (found & (detection::zone_reversed | detection::load_reversed)) != 0);
  set(causes, row::sensor_jumped, (found & (detection::zone_jumped | detection::load_jumped)) != 0);
  set(causes, row::contactor_welded, (found & detection::contactor_welded) != 0);
  set(causes, row::runaway, (found & detection::runaway) != 0);
  set(causes, row::inputs_frozen, (found & detection::inputs_frozen) != 0);
  return causes;
}

RowSet trip_causes(Interlocks& interlocks, const InterlockView& view) {
  RowSet causes = 0;
  set(causes, row::line_lost, view.line_lost);
  set(causes, row::internal_fault, view.latched);
  if (!view.inputs.known) return causes;  // before the first answer nothing else can be judged, and the safe values stand
  set(causes, row::emergency_stop, !input(view.inputs, discrete::emergency_stop_healthy));
  set(causes, row::door, !input(view.inputs, discrete::door_closed) && programme_active(view.run));
  set(causes, row::limiter, !input(view.inputs, discrete::limiter_healthy));
  set(causes, row::station_watchdog, (view.inputs.station & 1u) != 0 && programme_active(view.run) && view.inputs.fresh);
  return causes | temperature_causes(view) | gas_causes(view) | combustible_causes(view) | current_causes(view) |
         response_causes(interlocks, view) | detected_causes(view);
}

bool heat_asked(const Outputs& outputs) {
  bool any = (outputs.coils & coil::contactor) != 0;
  for (const float demand : outputs.demand_frac) any = any || demand > 0.0f;
  return any;
}

bool path_open(const Inputs& inputs, const Outputs& outputs) {
  constexpr std::uint16_t feedback = discrete::process_open | discrete::purge_open | discrete::air_open |
                                     discrete::bypass_open | discrete::exhaust_open;
  constexpr std::uint16_t opens = coil::process_open | coil::air_open | coil::bypass_open;
  constexpr std::uint16_t shuts = coil::purge_shut | coil::exhaust_shut;
  return (inputs.discrete & feedback) != 0 || (outputs.coils & opens) != 0 || (outputs.coils & shuts) != shuts;
}

// Actions asked for in this tick that may not be done.
RowSet refusal_causes(const Interlocks& interlocks, const InterlockView& view, const Outputs& out) {
  const Parameters& p = view.parameters;
  const Inputs& in = view.inputs;
  const bool hot_titanium = p.load_titanium != 0 && (in.load_failed || in.load_degc > p.air_admittance_max_degc);
  const bool measured = !in.chamber_failed && !in.chamber_below_range;
  const bool isolation = (out.coils & coil::isolation_open) != 0;
  const bool process = (out.coils & coil::process_open) != 0;
  const bool spun_up = input(in, discrete::pump_at_speed) && (out.coils & coil::pump_motor) != 0 &&
                       static_cast<float>(view.atmosphere.at_speed_ms) >= p.vacuum_pump_spin_up_s * 1000.0f;
  RowSet causes = 0;
  set(causes, row::heat_not_permitted, heat_asked(out) && !view.heat_permissive);
  set(causes, row::air_on_hot_titanium, (out.coils & coil::air_open) != 0 && hot_titanium);
  // The over-pressure row opens it on the switch's word alone, with a gauge that may have failed.
  set(causes, row::bypass_too_low, (out.coils & coil::bypass_open) != 0 && !interlocks.over_pressure &&
                                       (!measured || in.chamber_pa < p.bypass_min_pa));
  set(causes, row::isolation_before_pump, isolation && !spun_up);
  set(causes, row::isolation_with_inlet, isolation && path_open(in, out));
  set(causes, row::isolation_under_pressure, isolation && measured && in.chamber_pa > p.evacuate_switch_pa);
  set(causes, row::gas_not_selected, process && out.gas == static_cast<std::uint8_t>(Gas::keep));
  set(causes, row::air_gas_on_hot_titanium, process && out.gas == static_cast<std::uint8_t>(Gas::air) && hot_titanium);
  const bool possible = view.atmosphere.combustible.possible;
  const bool combustible = process && is_combustible(out.gas_wanted);
  const bool permitted = combustible_permitted(view.atmosphere.combustible, p, in);
  set(causes, row::combustible_not_permitted, combustible && p.load_titanium == 0 && !permitted);
  set(causes, row::combustible_on_titanium, combustible && p.load_titanium != 0);
  set(causes, row::isolation_on_combustible, isolation && possible);
  set(causes, row::air_on_combustible, (out.coils & coil::air_open) != 0 && possible);
  set(causes, row::air_gas_on_combustible, process && out.gas_wanted == Gas::air && possible);
  return causes & rows_in_force;
}

// --- Effects -----------------------------------------------------------------------------------------------------------

// Causes that have stood for their row's delay.
RowSet delayed(Interlocks& interlocks, RowSet causes, std::uint32_t period_ms) {
  RowSet over = 0;
  for (RowSet left = causes; left != 0; left &= left - 1) {
    const int n = std::countr_zero(left);
    const std::uint32_t stood = interlocks.delay_ms[n] + period_ms;
    interlocks.delay_ms[n] = static_cast<std::uint16_t>(stood > 65000u ? 65000u : stood);
    if (interlocks.delay_ms[n] > table[n - 1].delay_ms) over |= RowSet{1} << n;
  }
  for (RowSet gone = interlocks.raw & ~causes; gone != 0; gone &= gone - 1) {
    interlocks.delay_ms[std::countr_zero(gone)] = 0;
  }
  return over;
}

void heat_off(Outputs& outputs) {
  outputs.coils &= static_cast<std::uint16_t>(~coil::contactor);
  for (float& demand : outputs.demand_frac) demand = 0.0f;
}

void gas_off(Outputs& outputs) {
  outputs.coils &= static_cast<std::uint16_t>(~coil::process_open);
  outputs.flow_ma[0] = outputs.flow_ma[1] = 4.0f;
}

void refuse(Interlocks& interlocks, RowSet causes, Outputs& outputs) {
  interlocks.inhibit = causes == 0 ? std::uint8_t{0} : static_cast<std::uint8_t>(std::countr_zero(causes));
  if (causes & rows_of(refuse_heat)) heat_off(outputs);
  if (causes & rows_of(refuse_air)) outputs.coils &= static_cast<std::uint16_t>(~coil::air_open);
  if (causes & rows_of(refuse_bypass)) outputs.coils &= static_cast<std::uint16_t>(~coil::bypass_open);
  if (causes & rows_of(refuse_isolation)) outputs.coils &= static_cast<std::uint16_t>(~coil::isolation_open);
  if (causes & rows_of(refuse_process_gas)) gas_off(outputs);
}

void follow_over_pressure(Interlocks& interlocks, const InterlockView& view) {
  const Inputs& in = view.inputs;
  if (interlocks.standing & rows_of(trip_over_pressure)) {
    interlocks.over_pressure = true;
    interlocks.over_pressure_ms = 0;
  }
  if (!interlocks.over_pressure) return;
  interlocks.over_pressure_ms += static_cast<std::uint32_t>(view.parameters.period_ms);
  const bool measured = !in.chamber_failed && !in.chamber_below_range;
  const bool released = measured ? in.chamber_pa < view.parameters.pressure_release_pa
                                 : interlocks.over_pressure_ms >= release_longest_ms;
  if (released && !input(in, discrete::over_pressure)) interlocks.over_pressure = false;
}

void follow_permissive(Interlocks& interlocks, const InterlockView& view) {
  if (!heat_conditions(interlocks, view.parameters, view.inputs, view.atmosphere)) {
    const bool lost = (view.before.coils & coil::contactor) != 0 || interlocks.heat_wait_ms != 0;
    interlocks.heat_wait_ms = lost ? heat_return_ms : 0;
    return;
  }
  const auto period_ms = static_cast<std::uint32_t>(view.parameters.period_ms);
  interlocks.heat_wait_ms -= period_ms < interlocks.heat_wait_ms ? period_ms : interlocks.heat_wait_ms;
}

// The pump keeps running, inlet vent shut, until its isolation reports shut: then it stops.
std::uint16_t pump_coils(Interlocks& interlocks, const InterlockView& view) {
  const bool runs = (view.before.coils & coil::pump_motor) != 0 && input(view.inputs, discrete::isolation_open) &&
                    input(view.inputs, discrete::pump_at_speed) && interlocks.pump_stop_ms < pump_stop_longest_ms;
  interlocks.pump_stop_ms = runs ? interlocks.pump_stop_ms + static_cast<std::uint32_t>(view.parameters.period_ms) : 0;
  return runs ? static_cast<std::uint16_t>(coil::pump_motor | coil::inlet_vent_shut) : std::uint16_t{0};
}

void impose_safe_values(Interlocks& interlocks, const InterlockView& view, Outputs& outputs) {
  const SafeRow in_force = interlocks.over_pressure ? SafeRow::over_pressure : interlocks.safe_row;
  const SafeValues& values = safe_values[static_cast<std::size_t>(in_force) - 1];
  const int kept = outputs.coils & (coil::horn | coil::pilot | coil::door_release);   // over-pressure too leaves through the burn-off
  outputs.coils = static_cast<std::uint16_t>(values.coils | pump_coils(interlocks, view) | kept);
  outputs.valve_frac = values.valve_frac;
  outputs.gas = static_cast<std::uint8_t>(Gas::keep);
  outputs.gas_wanted = Gas::keep;
  gas_off(outputs);
  heat_off(outputs);
}

}  // namespace

std::span<const InterlockRow> interlock_table() { return table; }

std::span<const SafeValues> safe_table() { return safe_values; }

bool heat_permissive(const Interlocks& interlocks, const Parameters& parameters, const Inputs& inputs,
                     const Atmosphere& atmosphere) {
  return interlocks.heat_wait_ms == 0 && heat_conditions(interlocks, parameters, inputs, atmosphere);
}

void interlocks_step(Interlocks& interlocks, const InterlockView& view, Outputs& outputs) {
  const RowSet causes = trip_causes(interlocks, view) & rows_in_force;
  const RowSet over = delayed(interlocks, causes, static_cast<std::uint32_t>(view.parameters.period_ms));
  interlocks.raw = causes;
  interlocks.standing = over;
  if (interlocks.latched == 0 && (over & trips) != 0) interlocks.first_out = static_cast<std::uint8_t>(std::countr_zero(over & trips));
  interlocks.latched |= over & trips;
  interlocks.safe_row = atmosphere_safe_row(view.atmosphere, view.parameters, view.inputs, view.run);
  follow_over_pressure(interlocks, view);
  follow_permissive(interlocks, view);
  if (interlocks.latched != 0 || !view.stands || interlocks.over_pressure) {
    impose_safe_values(interlocks, view, outputs);
  } else {
    interlocks.pump_stop_ms = 0;
  }
  refuse(interlocks, refusal_causes(interlocks, view, outputs), outputs);
  // The request that opens the valve already carries the row for what it lets in.
  if ((outputs.coils & coil::process_open) != 0 && is_combustible(outputs.gas_wanted)) interlocks.safe_row = SafeRow::combustible;
  outputs.safe_row = interlocks.over_pressure ? SafeRow::over_pressure : interlocks.safe_row;
}

bool interlocks_acknowledge(Interlocks& interlocks) {
  interlocks.latched &= interlocks.standing;
  if (interlocks.latched == 0) interlocks.first_out = 0;
  return interlocks.latched == 0;
}

}  // namespace fw
