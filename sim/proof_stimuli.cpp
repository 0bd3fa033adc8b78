#include "sim/proof_stimuli.h"

#include <cmath>

#include "firmware/commissioning.h"
#include "firmware/interlocks.h"
#include "sim/proof_situations.h"

namespace sim {

namespace {

using namespace proof;

// Of the calibration gas at the meter: what flows of hydrogen reads less by its conversion.
void set_hydrogen_share(Injector& injector, double share) {
  P p = injector.parameters();
  const double nitrogen_slm = 0.5 * d(p.meter_full_scale_slm) * (1.0 - d(p.blend_hydrogen));
  injector.set_meter_slm(0, share / (1.0 - share) * nitrogen_slm / d(p.gas_conversion_hydrogen));
}

// --- The table ---------------------------------------------------------------------------------------------------------

const Stimulus stimuli[] = {
    {fw::row::emergency_stop, "emergency stop contact opened", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::emergency_stop_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::door, "door contact opened while a programme runs", running,
     [](Injector& i, double) { i.force_input(fw::discrete::door_closed, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::limiter, "limiter's contact opened", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::limiter_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::zone_temperature, "zone {} thermocouple raised",
     [](Injector& i) { return zone_below(i, i.parameters().zone_trip_degc); },
     [](Injector& i, double v) { i.set_degc(zone_of(i), v); }, "degC",
     [](P p) { return d(p.zone_trip_degc); }, 0.5, nullptr, nullptr},
    {fw::row::load_temperature, "load thermocouple raised",
     [](Injector& i) { return runs_with_load(i, {waiting(), cool()}, i.parameters().load_trip_degc); },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC",
     [](P p) { return d(p.load_trip_degc); }, 0.5, nullptr, nullptr},
    {fw::row::zone_sensor, "zone {} thermocouple flagged open", idle, [](Injector& i, double) { i.set_flag(zone_of(i), true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::load_sensor, "load thermocouple flagged open", running, [](Injector& i, double) { i.set_flag(channel::load, true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::over_pressure, "gauge pressure raised", idle, [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge",
     [](P p) { return d(p.pressure_trip_pa); }, 10.0, nullptr, no_retort},
    {fw::row::over_pressure_switch, "over-pressure switch made", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::over_pressure, true); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::pressure_transmitter, "gauge-pressure loop lowered", idle, [](Injector& i, double v) { i.set_raw(channel::gauge, v); }, "mA",
     [](P) { return 3.6; }, -0.01, nullptr, no_retort},   // NAMUR NE 43
    {fw::row::low_pressure, "gauge pressure lowered while a hold phase heats", heating, [](Injector& i, double v) { i.set_gauge_pa(v); },
     "Pa gauge", [](P p) { return d(p.pressure_low_pa); }, -10.0, nullptr, no_atmosphere},
    {fw::row::oxygen, "oxygen cell lowered while hot", heating, [](Injector& i, double v) { i.set_oxygen_ppm(v); }, "ppm",
     [](P p) { return d(p.oxygen_trip_ppm); }, 2.0, nullptr, no_atmosphere},
    {fw::row::line_lost, "field line silent", idle, [](Injector& i, double) { i.set_silent(true); }, nullptr, nullptr, 0,
     [](P) { return 1.0; }, nullptr},
    {fw::row::station_watchdog, "station reports its watchdog", running, [](Injector& i, double) { i.set_watchdog(true); }, nullptr,
     nullptr, 0, nullptr, nullptr},
    {fw::row::current_without_demand, "zone {} current raised at no demand", idle,
     [](Injector& i, double v) { i.set_current_a(i.zone(), v); }, "A",
     [](P p) { return d(p.current_off_a); }, 0.02, nullptr, nullptr},
    {fw::row::demand_without_current, "zone {} current lowered at full demand", heating,
     [](Injector& i, double v) { i.set_current_a(i.zone(), v); }, "A",
     [](P p) { return d(p.element_current_min_a) * std::sqrt(d(p.heat_out_max)); }, -0.05, nullptr,
     [](P p) { return unless(p.element_current_min_a > 0.0f, "limits.element_current_min is 0"); }},
    {fw::row::supply_lost, "supply-pressure switch opened in a hold phase", heating,
     [](Injector& i, double) { i.force_input(fw::discrete::supply_present, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::pump_lost, "pump's speed contact opened with its isolation open", pumping,
     [](Injector& i, double) { i.force_input(fw::discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::exhaust_shut, "exhaust feedback opened in a hold phase", heating,
     [](Injector& i, double) { i.force_input(fw::discrete::exhaust_open, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::no_response, "zone {} held still at full demand, any other rising", heating_others_rise, [](Injector&, double) {}, nullptr,
     nullptr, 0,
     [](P p) { return d(p.response_window_s); }, [](P p) { return unless(p.response_window_s > 0.0f, "limits.response_window is 0"); }},
    {fw::row::load_above_heater, "load thermocouple raised above the heater side", heating,
     [](Injector& i, double v) { i.set_degc(channel::load, hot(i.parameters()) + v); }, "K",
     [](P p) { return d(p.load_above_heater_k); }, 1.0, nullptr,
     [](P p) { return unless(p.load_above_heater_k > 0.0f, "limits.load_above_heater is 0"); }},
    {fw::row::heat_not_permitted, "a ramp without the hold phase of its atmosphere",
     [](Injector& i) { return begun(i, {waiting(), ramp()}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, no_atmosphere},
    {fw::row::air_on_hot_titanium, "load thermocouple raised while air is to be admitted", admitting_air,
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.air_admittance_max_degc); }, 0.5, nullptr,
     no_titanium_in_retort},
    {fw::row::bypass_too_low, "gauge pressure lowered with the bypass forced open", bypass_forced,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.bypass_min_pa); }, -10.0, nullptr, no_retort},
    {fw::row::isolation_before_pump, "pump's speed contact opened as its isolation is to open", about_to_pump,
     [](Injector& i, double) { i.force_input(fw::discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::isolation_with_inlet, "purge feedback made with the pump's isolation open", pumping,
     [](Injector& i, double) { i.force_input(fw::discrete::purge_open, true); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::isolation_under_pressure, "gauge pressure raised with the pump's isolation open", pumping,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.evacuate_switch_pa); }, 10.0, nullptr, no_retort},
    {fw::row::gas_not_selected, "a backfill that names no gas",
     [](Injector& i) { return begun(i, {waiting(), backfill(Gas::keep)}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::air_gas_on_hot_titanium, "load thermocouple raised with air as process gas",
     [](Injector& i) { return runs_with_load(i, {waiting(Gas::air, 1.0f)}, i.parameters().air_admittance_max_degc); },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.air_admittance_max_degc); }, 0.5, nullptr,
     no_titanium},
    {fw::row::burn_off_lost, "burn-off flame's contact opened while forming gas flows", burning,
     [](Injector& i, double) { i.force_input(fw::discrete::burn_off_proven, false); }, nullptr, nullptr, 0, nullptr, none_flows},
    {fw::row::blend_ratio, "meter 1 raised while forming gas flows", burning,
     [](Injector& i, double v) { set_hydrogen_share(i, 0.01 * v); }, "% hydrogen",
     [](P p) { return 100.0 * (d(p.blend_hydrogen) + d(p.blend_tolerance)); }, 0.1, nullptr, no_blend},
    {fw::row::air_in_combustible, "oxygen cell lowered while forming gas flows", burning,
     [](Injector& i, double v) { i.set_oxygen_ppm(v); }, "ppm", [](P p) { return d(p.combustible_oxygen_max_ppm); }, 20.0, nullptr,
     none_flows},
    {fw::row::combustible_pressure, "gauge pressure lowered while forming gas flows", burning,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.combustible_pressure_min_pa); }, -10.0, nullptr,
     none_flows},
    {fw::row::door_on_combustible, "door contact opened at rest, chamber not purged", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::door_closed, false); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::combustible_valve, "meter 1 raised with the process valve shut", at_rest,
     [](Injector& i, double v) { i.set_meter_slm(0, v); }, "slm", [](P p) { return d(p.combustible_leak_slm); }, 0.01, nullptr,
     no_combustible},
    {fw::row::combustible_not_permitted, "process valve forced open to hydrogen, chamber not purged", hydrogen_selected,
     [](Injector& i, double) { (void)force(i, fw::coil::process_open); }, nullptr, nullptr, 0, nullptr, titanium_instead},
    {fw::row::combustible_on_titanium, "process valve forced open to hydrogen", hydrogen_selected,
     [](Injector& i, double) { (void)force(i, fw::coil::process_open); }, nullptr, nullptr, 0, nullptr, no_titanium_or_retort},
    {fw::row::isolation_on_combustible, "pump isolation forced open, chamber not purged", pump_forced,
     [](Injector& i, double) { (void)force(i, fw::coil::isolation_open); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::air_on_combustible, "air admittance forced open, chamber not purged", key_turned,
     [](Injector& i, double) { (void)force(i, fw::coil::air_open); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::air_gas_on_combustible, "a segment that feeds air, chamber not purged",
     [](Injector& i) { return begun(i, {waiting(), waiting(Gas::air, 1.0f)}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::sensor_stuck, "zone {} thermocouple held still to the bit while it is heated", heating,
     [](Injector& i, double) { i.hold_still(zone_of(i)); }, nullptr, nullptr, 0, [](P p) { return d(p.stuck_window_s); },
     [](P p) { return unless(p.stuck_window_s > 0.0f, "limits.stuck_window is 0"); }},
    {fw::row::sensor_reversed, "zone {} thermocouple lowered below its terminals", idle,
     [](Injector& i, double v) { i.set_degc(zone_of(i), v); }, "degC", [](P p) { return 25.0 - d(p.sensor_reversed_k); }, -0.5,
     nullptr, [](P p) { return unless(p.sensor_reversed_k > 0.0f, "limits.sensor_reversed is 0"); }},
    {fw::row::sensor_jumped, "zone {} thermocouple shorted at its terminals", heating,
     [](Injector& i, double) { i.set_raw(zone_of(i), 0.0); }, nullptr, nullptr, 0, nullptr,
     [](P p) { return unless(p.sensor_jump_k > 0.0f, "limits.sensor_jump is 0"); }},
    {fw::row::contactor_welded, "contactor's feedback made with its coil off", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::contactor_closed, true); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::runaway, "zone {} thermocouple raised at no demand", settled,
     [](Injector& i, double v) { i.set_degc(zone_of(i), 25.0 + v); }, "K", [](P p) { return d(p.runaway_k); }, 1.0, nullptr,
     [](P p) { return unless(p.runaway_k > 0.0f, "limits.runaway is 0"); }},
    {fw::row::inputs_frozen, "every input of the station held still", idle, [](Injector& i, double) { i.hold_all_still(); }, nullptr,
     nullptr, 0, [](P p) { return d(p.frozen_window_s); },
     [](P p) { return unless(p.frozen_window_s > 0.0f, "limits.frozen_window is 0"); }},
};

// What no signal can bring about, and what shows it instead.
constexpr Elsewhere elsewhere[] = {
    {fw::row::internal_fault, "a check inside the core; unit test interlocks_test"},
};

}  // namespace

ProofTable proof_rows() { return {stimuli, elsewhere}; }

}  // namespace sim
