#include "sim/sheet_guide.h"

#include <algorithm>

#include "firmware/atmosphere.h"
#include "firmware/interlocks.h"

namespace sim {

namespace {

using enum fw::SegmentKind;
namespace row = fw::row;

constexpr GuideText texts[] = {
    {ramp, 1, false, "The set point moves to {.to} at {.rate}."},
    {ramp, 1, false, "The set point moves to {.to} in {.in}."},
    {ramp, 0, true, "The set point waits while the heater side is farther behind than {controller.programme.ramp_tolerance}.",
     "scenario/controller.programme.ramp_tolerance"},
    {ramp, 0, true,
     "Heater side farther from its set point than {controller.limits.deviation_alarm}: alarm. Look at mains voltage, elements, door."},
    {soak, 0, false, "The set point stays for {.for}. Time counts only while the {.counted_on} thermocouple is within {.within} of it."},
    {soak, 1, true, "Not counted out after {.timeout}: the segment fails, the programme is aborted to the safe values."},
    {soak, 0, true,
     "Heater side farther from its set point than {controller.limits.deviation_alarm}: alarm. Look at mains voltage, elements, door."},
    {wait, 0, false, "Everything stays as it is for {.for}."},
    {evacuate, 0, false,
     "The controller shuts exhaust and inlets, runs the pump up and, {controller.atmosphere.pump_spin_up} after it is up to speed, opens "
     "it to the retort. Wait for less than {.below}."},
    {evacuate, 1, true, "Not there after {.timeout}: the segment fails, the programme is aborted."},
    {evacuate, 1, true, "Not there after {controller.atmosphere.evacuate_timeout}: the segment fails, the programme is aborted."},
    {evacuate, 0, true,
     "Slower than it should be: look for a leak at seal, fittings and hose, for moisture in the load, at the pump's oil."},
    {leak_test, 0, false, "Everything is shut under vacuum for {.for}. Accepted: a rise of at most {.rise_below}. Touch nothing."},
    {leak_test, 0, true,
     "A faster rise, or the vacuum gauge above its {controller.instruments.capacitance_full_scale}: the segment fails, the programme is "
     "aborted. Find the leak before anything is heated; a moist load also makes the pressure rise."},
    {backfill, 0, false, "Gas flows in until the pressure is {.to}."},
    {backfill, 1, true, "Not there after {.timeout}: the segment fails, the programme is aborted."},
    {backfill, 1, true, "Not there after {controller.atmosphere.backfill_timeout}: the segment fails, the programme is aborted."},
    {purge, 1, false, "{.volumes} changes of {controller.unit.chamber_volume} flow through at {.to}."},
    {purge, 1, false, "{.cycles} times down to {.down_to} and filled to {.to}."},
    {purge, 0, false, "It goes on until the dew point has stayed below {.until_dew_point} for {.for}."},
    {purge, 1, true, "Not done after {.timeout}: the segment fails, the programme is aborted."},
    {purge, 1, true, "Not done after {controller.atmosphere.purge_timeout}: the segment fails, the programme is aborted."},
    {purge, 0, true, "With less flow than {controller.atmosphere.purge_flow_min}, or the exhaust shut, nothing counts."},
    {cool, 0, false, "Heat is off, the atmosphere stays as it is. Wait for a load below {.load_below}."},
    {cool, 1, true, "Not there after {.timeout}: the segment fails, the programme is aborted to the safe values."},
    {repeat, 0, false, "Back to step “{.back_to}”, {.times} times in all."},
    {end, 0, false, "The programme is over. Heat is off, the contactor open, and the safe values stay in force."},
    {none, 0, false, "Gas: {.gas}."},
    {none, 0, false, "Heat gains: set {.gain_set}."},
    {none, 0, false, "Heaters: demand at most {.power_limit}."},
    {ramp, 0, true, "The set point waits while the thermocouple is farther behind than {.within}."},
};

template <class... Row>
constexpr fw::RowSet rows(Row... numbers) {
  return ((fw::RowSet{1} << numbers) | ... | 0u);
}

constexpr unsigned phase(fw::AtmospherePhase one) { return 1u << static_cast<unsigned>(one); }
constexpr unsigned evacuating = phase(fw::AtmospherePhase::evacuating), backfilling = phase(fw::AtmospherePhase::backfilling),
                   purging = phase(fw::AtmospherePhase::purging), holding = phase(fw::AtmospherePhase::holding);

constexpr GuideRule rules[] = {
    // at any time
    {{},
     rows(row::emergency_stop, row::door),
     "Stop and door",
     "Emergency stop, or door opened in the programme: trip."},
    {{},
     rows(row::limiter),
     "Limiter",
     "The independent over-temperature limiter opens the contactor by itself at {furnace.limiter.trip}; the controller trips. Reset it by "
     "hand once the cause is found."},
    {{},
     rows(row::zone_temperature),
     "Heater side too hot",
     "Heater side at {controller.limits.zone_alarm}: alarm; at {controller.limits.zone_trip}: trip."},
    {{.load = true},
     rows(row::load_temperature),
     "Load too hot",
     "Load at {controller.limits.load_alarm}: alarm; at {controller.limits.load_trip}: trip."},
    {{}, rows(row::zone_sensor), "Heater-side sensor", "Thermocouple or cold junction fails: trip."},
    {{.load = true}, rows(row::load_sensor), "Load sensor", "Load thermocouple fails: trip."},
    {{},
     rows(row::current_without_demand),
     "Heater switch",
     "More than {controller.limits.current_off} at no demand: trip. A heater switch conducts: open the main switch."},
    {{},
     rows(row::line_lost, row::station_watchdog),
     "Line",
     "No answer from the station: trip. After {furnace.instruments.watchdog} without controller it goes to safe values itself."},
    {{},
     rows(row::sensor_reversed),
     "Wires swapped",
     "A thermocouple colder than its terminals by {controller.limits.sensor_reversed}: trip.",
     "scenario/controller.limits.sensor_reversed"},
    {{},
     rows(row::sensor_jumped),
     "Short or loose terminal",
     "A thermocouple jumps by {controller.limits.sensor_jump}: trip.",
     "scenario/controller.limits.sensor_jump"},
    {{},
     rows(row::contactor_welded),
     "Contactor welded",
     "It stays closed: trip. Open the main switch."},
    {{},
     rows(row::runaway),
     "Runaway",
     "Hotter by {controller.limits.runaway} at no demand: trip. Open the main switch.",
     "scenario/controller.limits.runaway"},
    {{},
     rows(row::inputs_frozen),
     "Station frozen",
     "No input moves for {controller.limits.frozen_window}: trip.",
     "scenario/controller.limits.frozen_window"},
    {{}, rows(row::internal_fault), "Controller", "A fault in itself: safe outputs until it is started anew."},
    {{.gas = true},
     rows(row::over_pressure, row::over_pressure_switch),
     "Over-pressure",
     "Chamber at {controller.limits.pressure_alarm}: alarm; at {controller.limits.pressure_trip}, or over-pressure switch made "
     "({furnace.instruments.over_pressure_switch}): trip, inlets shut, bypass open until below {controller.limits.pressure_release}. The "
     "relief valve opens at {furnace.relief.set}."},
    {{.gas = true}, rows(row::pressure_transmitter), "Pressure transmitter", "Gauge-pressure transmitter fails: trip."},
    {{.titanium = true},
     rows(row::air_on_hot_titanium, row::air_gas_on_hot_titanium),
     "Air",
     "No air while the load is above {controller.limits.air_admittance_max}: leave the door shut."},
    // while heating
    {{.phases = ~0u, .heating = true},
     rows(row::no_response),
     "No response",
     "Highest demand for {controller.limits.response_window}, less than {controller.limits.response_rise} gained: trip. No heat, or a "
     "thermocouple out of place.",
     "scenario/controller.limits.response_window"},
    {{.phases = ~0u, .heating = true},
     rows(row::sensor_stuck),
     "Sensor stuck",
     "A thermocouple stands still for {controller.limits.stuck_window} while heated: trip.",
     "scenario/controller.limits.stuck_window"},
    {{.phases = ~0u, .heating = true},
     rows(row::demand_without_current),
     "Open element",
     "Less than {controller.limits.element_current_min} (full demand): trip. An element is open.",
     "scenario/controller.limits.element_current_min"},
    {{.phases = ~0u, .heating = true, .load = true},
     rows(row::load_above_heater),
     "Load above heater",
     "{controller.limits.load_above_heater} above the heater side: trip. One thermocouple is wrong.",
     "scenario/controller.limits.load_above_heater"},
    {{.phases = holding, .heating = true, .atmosphere = true},
     rows(row::heat_not_permitted, row::low_pressure),
     "Heat permissive",
     "No heat below {controller.limits.pressure_low} or above {controller.limits.oxygen_heat} of oxygen: the set point waits. Pressure "
     "that "
     "stays below: trip. Look at supply, flow and back-pressure valve."},
    {{.phases = holding, .atmosphere = true},
     rows(row::oxygen),
     "Hot gas",
     "With the load above {controller.limits.hot}: oxygen at {controller.limits.oxygen_alarm} alarm, at {controller.limits.oxygen_trip} "
     "trip; dew point at {controller.limits.dew_point_alarm} alarm."},
    // gas and vacuum
    {{.phases = holding, .gas = true},
     rows(row::exhaust_shut),
     "Exhaust",
     "Exhaust not open: trip. Never throttle the exhaust line by hand."},
    {{.phases = backfilling | purging | holding, .gas = true},
     rows(row::supply_lost, row::gas_not_selected),
     "Supply",
     "Supply below {furnace.supply.present}, or no gas selected: trip or no gas. Flow off by {controller.limits.flow_deviation_alarm}: "
     "alarm."},
    {{.phases = evacuating, .gas = true},
     rows(row::pump_lost, row::isolation_before_pump, row::isolation_with_inlet, row::isolation_under_pressure),
     "Pump",
     "Pump not up to speed with its isolation open: trip. The isolation is refused with an inlet or the exhaust open, and above "
     "{controller.atmosphere.evacuate_switch}."},
    {{.combustible = true},
     rows(row::burn_off_lost, row::combustible_not_permitted, row::air_in_combustible, row::combustible_pressure),
     "Combustible gas",
     "It flows only with the burn-off flame proven, and only after {controller.combustible.purge_volumes} cold volume changes of inert "
     "gas with oxygen below {controller.combustible.oxygen_max}, or with every zone above {controller.combustible.zone_min}. Flame lost, "
     "oxygen above that, or pressure below {controller.combustible.pressure_min}: trip, inert purge, pilot on. Local codes decide."},
    {{.combustible = true},
     rows(row::blend_ratio),
     "Blend",
     "Share of hydrogen off {controller.combustible.blend.hydrogen} by more than {controller.combustible.blend.tolerance}: trip. Look at "
     "both supplies and meters."},
    {{.combustible = true},
     rows(row::combustible_valve),
     "Combustible gas valve",
     "More than {controller.combustible.leak} with its valve shut: trip. Shut the cylinder by hand."},
    {{.combustible = true},
     rows(row::door_on_combustible, row::isolation_on_combustible, row::air_on_combustible, row::air_gas_on_combustible),
     "Opening after combustible gas",
     "Neither door, pump nor air before {controller.combustible.purge_volumes} cold volume changes of inert gas. The door is let go "
     "then; opened before: trip."},
    {{.titanium = true},
     rows(row::combustible_on_titanium),
     "Titanium",
     "No combustible gas: titanium takes hydrogen up and turns brittle."},
    {{.phases = evacuating, .gas = true},
     rows(row::bypass_too_low),
     "Bypass",
     "The bypass is refused below {controller.limits.bypass_min}."},
};

constexpr fw::RowSet rows_spoken_of() {
  fw::RowSet all = 0;
  for (const GuideRule& rule : rules) all |= rule.rows;
  return all;
}
// A new row of the interlock table needs its rule here.
static_assert(rows_spoken_of() == (fw::RowSet{1} << row::count_) - 2u);

constexpr bool holds_a_digit(const char* text) {
  bool inside = false, found = false;
  for (; *text != '\0'; ++text) {
    if (*text == '{') inside = true;
    if (*text == '}') inside = false;
    found = found || (!inside && *text >= '0' && *text <= '9');
  }
  return found;
}
static_assert(std::none_of(std::begin(texts), std::end(texts), [](const GuideText& one) { return holds_a_digit(one.text); }));
static_assert(std::none_of(std::begin(rules), std::end(rules), [](const GuideRule& one) { return holds_a_digit(one.text); }));

}  // namespace

std::span<const GuideText> guide_texts() { return texts; }
std::span<const GuideRule> guide_rules() { return rules; }

bool applies(const GuideScope& scope, const Scenario& scenario, unsigned phases, bool heating) {
  const fw::Parameters& p = scenario.parameters;
  const bool load_used = p.atmosphere_required != 0 || p.load_titanium != 0 ||
                         std::any_of(scenario.programme.segments.begin(), scenario.programme.segments.end(), [](const fw::Segment& one) {
                           return one.kind == cool || (one.kind == soak && (one.options & fw::count_on_load));
                         });
  if (scope.gas && p.retort_ceramic == 0 && p.atmosphere_required == 0) return false;
  if ((scope.load && !load_used) || (scope.titanium && p.load_titanium == 0)) return false;
  if (scope.combustible && p.combustible_gas == 0) return false;
  if ((scope.atmosphere && p.atmosphere_required == 0) || (scope.heating && !heating)) return false;
  return phases == 0 ? scope.phases == 0 : (scope.phases & phases) != 0;
}

}  // namespace sim
