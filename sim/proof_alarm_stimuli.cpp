// How each alarm is provoked. One that stands beside a trip is asked for as the trip is, or short of it.
#include <algorithm>
#include <cmath>
#include <string>

#include "firmware/alarms.h"
#include "firmware/signals.h"
#include "sim/proof_situations.h"
#include "sim/proof_stimuli.h"

namespace sim {

namespace {

using namespace proof;
namespace alarm = fw::alarm;
namespace discrete = fw::discrete;
using I = Injector&;

constexpr double soak_tolerance_k = 10.0, pumped_pa = 100.0;
constexpr float limit_ahead_k = 5.0f;       // of a limit on a difference: there a thermocouple waits for its stimulus

double reading(const Injector& injector, const char* what) {
  return injector.value("heat." + std::to_string(injector.zone() + 1) + what);
}

void set_above_setpoint(Injector& injector, double k) { injector.set_degc(zone_of(injector), reading(injector, ".sp") + k); }

// By as much as a zone is wanted hotter than the programme's set point it may stand above the load.
double level_with_load_degc(const Injector& injector) {
  return hot(injector.parameters()) + reading(injector, ".sp") - injector.value("load.sp");
}

void set_above_load(Injector& injector, double k) { injector.set_degc(zone_of(injector), level_with_load_degc(injector) + k); }

// A zone in a soak is led up until short of a limit on its distance from where it stands, out of demand: what had none before
// would be taken for a runaway.
bool led_up(Injector& injector, float limit_k) {
  constexpr double below_k = 10.0;
  const double degc = reading(injector, ".sp"), wait_k = std::max(0.0, d(limit_k - limit_ahead_k));
  approach(injector, zone_of(injector), degc, degc - below_k);
  if (!until(injector, [&] { return reading(injector, ".out") > 0.0; }, 60.0)) return false;
  approach(injector, zone_of(injector), degc - below_k, degc + wait_k);
  return true;
}

bool soaking_near_deviation(Injector& i) { return soaking(i) && led_up(i, i.parameters().deviation_alarm_k); }
bool soaked_near_difference(Injector& i) { return soaked(i) && led_up(i, i.parameters().heater_difference_k); }

double fed_slm(P p) { return 0.25 * d(p.meter_full_scale_slm); }

// What a shut retort would have taken for 3 kPa at 5 degC, the coldest a room is taken for, and the share allowed on top.
double flow_judged_s(P p) {
  const double litres = d(p.chamber_volume_l) * (3000.0 / 101325.0) * (273.15 / 278.15) * (1.0 + d(p.flow_implausible));
  return 60.0 * litres / (fed_slm(p) * d(fw::gas_conversion(p, Gas::argon)));
}

const char* no_difference(P p) { return unless(p.heater_difference_k > 0.0f, "limits.heater_difference is 0"); }

// --- The table ---------------------------------------------------------------------------------------------------------

const Stimulus stimuli[] = {
    {alarm::trip, "emergency stop contact opened", idle,
     [](I i, double) { i.force_input(discrete::emergency_stop_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {alarm::zone_sensor, "zone {} thermocouple flagged open", idle, [](I i, double) { i.set_flag(zone_of(i), true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {alarm::load_sensor, "load thermocouple flagged open", running, [](I i, double) { i.set_flag(channel::load, true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {alarm::zone_temperature, "zone {} thermocouple raised", [](I i) { return zone_below(i, i.parameters().zone_alarm_degc); },
     [](I i, double v) { i.set_degc(zone_of(i), v); }, "degC", [](P p) { return d(p.zone_alarm_degc); }, 0.5, nullptr, nullptr},
    {alarm::load_temperature, "load thermocouple raised",
     [](I i) { return runs_with_load(i, {waiting(), cool()}, i.parameters().load_alarm_degc); },
     [](I i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.load_alarm_degc); }, 0.5, nullptr, nullptr},
    {alarm::deviation, "zone {} thermocouple raised above its set point in a soak", soaking_near_deviation, set_above_setpoint,
     "K", [](P p) { return d(p.deviation_alarm_k); }, 0.5, nullptr, nullptr},
    {alarm::pressure_high, "gauge pressure raised", idle, [](I i, double v) { i.set_gauge_pa(v); }, "Pa gauge",
     [](P p) { return d(p.pressure_alarm_pa); }, 10.0, nullptr, no_retort},
    {alarm::pressure_low, "gauge pressure lowered in a hold phase", [](I i) { return soaking(i); },
     [](I i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.pressure_low_pa); }, -10.0, nullptr, no_atmosphere},
    {alarm::oxygen_high, "oxygen cell lowered while hot", [](I i) { return soaking(i); },
     [](I i, double v) { i.set_oxygen_ppm(v); }, "ppm", [](P p) { return d(p.oxygen_alarm_ppm); }, 0.5, nullptr, no_atmosphere},
    {alarm::dew_point_high, "dew point raised while hot in a hold phase", [](I i) { return soaking(i); },
     [](I i, double v) { i.set_dew_point_degc(v); }, "degC", [](P p) { return d(p.dew_point_alarm_degc); }, 0.5, nullptr,
     no_atmosphere},
    {alarm::flow_deviation, "meter 1 raised while nitrogen flows", [](I i) { return flowing(i, fed_slm(i.parameters())); },
     [](I i, double v) { i.set_meter_slm(0, v / d(fw::gas_conversion(i.parameters(), Gas::nitrogen))); }, "slm",
     [](P p) { return fed_slm(p) + d(p.flow_deviation_alarm_slm); }, 0.01, nullptr, no_retort},
    {alarm::supply_lost, "supply-pressure switch opened while a programme runs", running,
     [](I i, double) { i.force_input(discrete::supply_present, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {alarm::line_disturbed, "field line silent", idle, [](I i, double) { i.set_silent(true); }, nullptr, nullptr, 0, nullptr,
     nullptr},
    {alarm::line_lost, "field line silent", idle, [](I i, double) { i.set_silent(true); }, nullptr, nullptr, 0,
     [](P) { return 1.0; }, nullptr},
    {alarm::transmitter_failed, "loop of the mains voltage lowered", idle, [](I i, double v) { i.set_raw(channel::mains, v); },
     "mA", [](P) { return 3.6; }, -0.01, [](P) { return 4.0; }, nullptr},   // NAMUR NE 43
    {alarm::pressure_transmitter, "gauge-pressure loop lowered", idle, [](I i, double v) { i.set_raw(channel::gauge, v); },
     "mA", [](P) { return 3.6; }, -0.01, nullptr, no_retort},
    {alarm::demand_without_current, "zone {} current lowered at full demand", heating,
     [](I i, double v) { i.set_current_a(i.zone(), v); }, "A",
     [](P p) { return d(p.element_current_min_a) * std::sqrt(d(p.heat_out_max)); }, -0.05, nullptr,
     [](P p) { return unless(p.element_current_min_a > 0.0f, "limits.element_current_min is 0"); }},
    {alarm::current_without_demand, "zone {} current raised at no demand", idle,
     [](I i, double v) { i.set_current_a(i.zone(), v); }, "A", [](P p) { return d(p.current_off_a); }, 0.02, nullptr, nullptr},
    {alarm::segment_failed, "isolation's feedback opened while it pumps down", pumping,
     [](I i, double) { i.force_input(discrete::isolation_open, false); }, nullptr, nullptr, 0,
     [](P p) { return d(p.feedback_timeout_s); }, no_retort},
    {alarm::segment_waits, "zone {} thermocouple raised above the tolerance of a soak",
     [](I i) { return soaking(i, static_cast<float>(soak_tolerance_k)); }, set_above_setpoint, "K",
     [](P) { return soak_tolerance_k; }, 0.5, nullptr, nullptr},
    {alarm::oxygen_cell, "oxygen cell cooled in a hold phase", [](I i) { return soaking(i); },
     [](I i, double v) { i.set_cell_degc(v); }, "degC", [](P) { return 600.0; }, -1.0, nullptr, no_atmosphere},
    {alarm::contactor, "contactor's feedback opened with its coil on", heating,
     [](I i, double) { i.force_input(discrete::contactor_closed, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {alarm::mains_low, "mains voltage lowered", idle, [](I i, double v) { i.set_mains_v(v); }, "V",
     [](P p) { return 0.85 * d(p.mains_nominal_v); }, -0.5, nullptr, nullptr},
    {alarm::door, "door contact opened while a programme runs", running,
     [](I i, double) { i.force_input(discrete::door_closed, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {alarm::valve_position, "exhaust feedback opened with its coil off", idle,
     [](I i, double) { i.force_input(discrete::exhaust_open, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {alarm::burn_off, "burn-off flame's contact opened with its pilot on", idle,
     [](I i, double) { i.force_input(discrete::burn_off_proven, false); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {alarm::supply_low, "supply pressure lowered while a programme runs", running, [](I i, double v) { i.set_supply_pa(v); },
     "Pa gauge", [](P p) { return d(p.supply_low_pa); }, -100.0, nullptr,
     [](P p) { return has_retort(p) ? unless(p.supply_low_pa > 0.0f, "limits.supply_low is 0") : no_retort(p); }},
    {alarm::flow_implausible, "gas metered into the shut chamber, gauge pressure held", filling,
     [](I i, double) { i.set_meter_slm(0, fed_slm(i.parameters())); }, nullptr, nullptr, 0, flow_judged_s,
     [](P p) { return has_retort(p) ? unless(p.flow_implausible > 0.0f, "limits.flow_implausible is 0") : no_retort(p); }},
    {alarm::valve_sticks, "position of the back-pressure valve lowered, valve told open", idle,
     [](I i, double v) { i.set_valve_frac(1.0 - 0.01 * v); }, "% travel", [](P p) { return 100.0 * d(p.stick_tolerance); }, 0.5,
     [](P) { return 10.0; },
     [](P p) { return has_retort(p) ? unless(p.stick_tolerance > 0.0f, "pressure.stick_tolerance is 0") : no_retort(p); }},
    // Ten large half swings, each of half the integral time.
    {alarm::pressure_swings, "gauge pressure swung by 1.5 times the limit, once in the integral time",
     [](I i) { return soaking(i); },
     [](I i, double) {
       P p = i.parameters();
       i.set_swing_pa(i.value("pressure.sp"), 1.5 * d(p.swing_limit_pa), d(p.pressure_integral_s));
     },
     nullptr, nullptr, 0, [](P p) { return 5.0 * d(p.pressure_integral_s); },
     [](P p) { return has_retort(p) ? unless(p.swing_limit_pa > 0.0f, "pressure.swing_limit is 0") : no_retort(p); }},
    {alarm::contactor_welded, "contactor's feedback made with its coil off", idle,
     [](I i, double) { i.force_input(discrete::contactor_closed, true); }, nullptr, nullptr, 0, nullptr, nullptr},
    {alarm::load_differs, "second load thermocouple raised above the first", idle,
     [](I i, double v) { i.set_degc(channel::load + 1, 25.0 + v); }, "K", [](P p) { return d(p.load_difference_k); }, 0.5, nullptr,
     [](P p) { return unless(p.load_difference_k > 0.0f, "limits.load_difference is 0"); }},
    {alarm::heater_differs, "zone {} thermocouple raised above the load in a soak, its offset counted", soaked_near_difference,
     set_above_load, "K", [](P p) { return d(p.heater_difference_k); }, 0.5, nullptr, no_difference},
    {alarm::vacuum_lost, "capacitance gauge raised while it pumps down", [](I i) { return pumping_at(i, pumped_pa); },
     [](I i, double v) { i.set_vacuum_pa(v); }, "Pa abs", [](P p) { return pumped_pa + d(p.vacuum_rise_pa); }, 1.0, nullptr,
     [](P p) { return has_retort(p) ? unless(p.vacuum_rise_pa > 0.0f, "limits.vacuum_rise is 0") : no_retort(p); }},
    {alarm::pump_slow, "pump's speed contact opened with its motor on", motor_forced,
     [](I i, double) { i.force_input(discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, no_retort},
};

constexpr Elsewhere elsewhere[] = {
    {alarm::store_damaged, "pages of the store at start, no terminal; unit test parameter_store_test"},
    {alarm::internal_fault, "a check inside the core; unit test interlocks_test"},
    {alarm::tick_late, "the clock that calls the core, no terminal; unit test alarms_test"},
    {alarm::clock_jumped, "the clock that calls the core, no terminal; unit test alarms_test"},
};

}  // namespace

ProofTable proof_alarms() { return {stimuli, elsewhere}; }

}  // namespace sim
