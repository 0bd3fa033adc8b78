#include "firmware/parameters.h"

#include <array>
#include <cmath>
#include <cstring>

#include "firmware/crc32.h"
#include "firmware/flow.h"
#include "firmware/thermocouple.h"

namespace fw {

namespace {

#define FW_AT(member) static_cast<std::uint16_t>(offsetof(Parameters, member))

// name, unit, offset, integer, low, high, preset, meaning. Presets suit a small furnace in air: a core with a blank store
// must not open a gas valve.
constexpr ParameterInfo table[] = {
    {"unit.period", "ms", FW_AT(period_ms), true, 20.0f, 1000.0f, 100.0f, "control period"},
    {"unit.zones", "", FW_AT(zones), true, 1.0f, 4.0f, 1.0f, "heat zones in use"},
    {"unit.heat_every", "", FW_AT(heat_every), true, 1.0f, 100.0f, 10.0f, "heat loops run every n-th tick"},
    {"unit.retort_ceramic", "yes/no", FW_AT(retort_ceramic), true, 0.0f, 1.0f, 0.0f,
     "the chamber is a pressure-limited retort with back-pressure control"},
    {"unit.load_titanium", "yes/no", FW_AT(load_titanium), true, 0.0f, 1.0f, 0.0f, "the load must not see air when hot"},
    {"unit.atmosphere_required", "yes/no", FW_AT(atmosphere_required), true, 0.0f, 1.0f, 0.0f,
     "heat needs the hold phase of an inert atmosphere"},
    {"unit.chamber_volume", "L", FW_AT(chamber_volume_l), false, 0.1f, 10000.0f, 12.0f,
     "gas volume at ambient temperature, for counting volume changes"},

    {"instruments.zone_thermocouple", "letter", FW_AT(zone_thermocouple), true, 66.0f, 84.0f, 75.0f,
     "K, N, S, R, B, J, T or E; B reads 50 degC for anything below"},
    {"instruments.load_thermocouple", "letter", FW_AT(load_thermocouple), true, 66.0f, 84.0f, 75.0f,
     "as for the zones"},
    {"instruments.gauge_low", "Pa gauge", FW_AT(gauge_low_pa), false, -101325.0f, 0.0f, -5000.0f,
     "gauge-pressure transmitter at 4 mA"},
    {"instruments.gauge_high", "Pa gauge", FW_AT(gauge_high_pa), false, 1000.0f, 1.0e6f, 20000.0f,
     "gauge-pressure transmitter at 20 mA"},
    {"instruments.capacitance_full_scale", "Pa abs", FW_AT(capacitance_full_scale_pa), false, 1.0f, 133322.0f, 1333.22f,
     "capacitance vacuum gauge at 10 V"},
    {"instruments.barometer_low", "Pa abs", FW_AT(barometer_low_pa), false, 0.0f, 100000.0f, 80000.0f, "barometer at 4 mA"},
    {"instruments.barometer_high", "Pa abs", FW_AT(barometer_high_pa), false, 100001.0f, 200000.0f, 110000.0f,
     "barometer at 20 mA"},
    {"instruments.meter_full_scale", "slm", FW_AT(meter_full_scale_slm), false, 0.01f, 1000.0f, 5.0f,
     "mass-flow controller at 20 mA, in its calibration gas"},
    {"instruments.current_full_scale", "A", FW_AT(current_full_scale_a), false, 1.0f, 1000.0f, 30.0f,
     "heater current at 20 mA"},
    {"instruments.mains_full_scale", "V", FW_AT(mains_full_scale_v), false, 10.0f, 1000.0f, 300.0f, "mains voltage at 20 mA"},
    {"instruments.supply_full_scale", "Pa gauge", FW_AT(supply_full_scale_pa), false, 1000.0f, 1.0e6f, 100000.0f,
     "supply pressure at 20 mA"},
    {"instruments.dew_point_low", "degC", FW_AT(dew_point_low_degc), false, -150.0f, 0.0f, -100.0f, "dew point at 4 mA"},
    {"instruments.dew_point_high", "degC", FW_AT(dew_point_high_degc), false, 1.0f, 100.0f, 20.0f, "dew point at 20 mA"},
    {"instruments.oxygen_cell_full_scale", "degC", FW_AT(oxygen_cell_full_scale_degc), false, 100.0f, 2000.0f, 1000.0f,
     "temperature of the zirconia cell at 20 mA; 4 mA is 0 degC"},
    {"instruments.casing_full_scale", "degC", FW_AT(casing_full_scale_degc), false, 50.0f, 1000.0f, 200.0f,
     "casing temperature at 20 mA; 4 mA is 0 degC"},
    {"instruments.gas_conversion.air", "", FW_AT(gas_conversion[1]), false, 0.1f, 3.0f, 1.0f,
     "flow of the gas over flow of the calibration gas at the same signal"},
    {"instruments.gas_conversion.nitrogen", "", FW_AT(gas_conversion[2]), false, 0.1f, 3.0f, 1.0f, "as for air"},
    {"instruments.gas_conversion.argon", "", FW_AT(gas_conversion[3]), false, 0.1f, 3.0f, 1.4f, "as for air"},
    {"instruments.gas_conversion.helium", "", FW_AT(gas_conversion[4]), false, 0.1f, 3.0f, 1.4f, "as for air"},

#define FW_GAINS(index, number)                                                                                              \
  {"heat.gains." number ".gain", "1/K", FW_AT(heat_gains[index].gain_per_k), false, 0.0f, 10.0f, 0.02f,                      \
   "proportional gain, demand 0..1 per kelvin"},                                                                             \
      {"heat.gains." number ".integral", "s", FW_AT(heat_gains[index].integral_s), false, 0.0f, 1.0e5f, 600.0f,              \
       "integral time, 0 off"},                                                                                              \
      {"heat.gains." number ".derivative", "s", FW_AT(heat_gains[index].derivative_s), false, 0.0f, 1.0e4f, 0.0f,            \
       "derivative time, 0 off"},                                                                                            \
      {"heat.gains." number ".setpoint_weight", "", FW_AT(heat_gains[index].setpoint_weight), false, 0.0f, 1.0f, 1.0f,       \
       "share of the set point in the proportional part"}
    FW_GAINS(0, "1"), FW_GAINS(1, "2"), FW_GAINS(2, "3"), FW_GAINS(3, "4"),
#undef FW_GAINS
    {"heat.derivative_filter", "", FW_AT(heat_derivative_filter), false, 1.0f, 100.0f, 8.0f,
     "N: the derivative's lag is derivative time / N"},
    {"heat.tracking", "s", FW_AT(heat_tracking_s), false, 0.1f, 1.0e5f, 60.0f, "tracking time of the anti-windup"},
    {"heat.out_max", "", FW_AT(heat_out_max), false, 0.0f, 1.0f, 1.0f, "highest demand"},
    {"heat.out_rate", "1/s", FW_AT(heat_out_rate_per_s), false, 0.001f, 100.0f, 0.2f, "fastest change of the demand"},
    {"heat.feed_forward", "s/K", FW_AT(heat_feed_forward_s_per_k), false, 0.0f, 1000.0f, 0.0f,
     "demand per K/s of a ramp: heat capacity over full power, 0 off"},

    {"pressure.gain", "1/Pa", FW_AT(pressure_gain_per_pa), false, 0.0f, 1.0f, 2.0e-4f,
     "proportional gain on the linearised valve opening"},
    {"pressure.integral", "s", FW_AT(pressure_integral_s), false, 0.0f, 1.0e4f, 25.0f, "integral time, 0 off"},
    {"pressure.derivative", "s", FW_AT(pressure_derivative_s), false, 0.0f, 1000.0f, 0.0f, "derivative time, 0 off"},
    {"pressure.setpoint_weight", "", FW_AT(pressure_setpoint_weight), false, 0.0f, 1.0f, 0.5f,
     "share of the set point in the proportional part"},
    {"pressure.out_rate", "1/s", FW_AT(pressure_out_rate_per_s), false, 0.001f, 100.0f, 2.0f, "fastest change of the valve"},
    {"pressure.valve_equal_percentage", "yes/no", FW_AT(valve_equal_percentage), true, 0.0f, 1.0f, 1.0f,
     "inherent characteristic: equal percentage, else linear"},
    {"pressure.valve_rangeability", "", FW_AT(valve_rangeability), false, 2.0f, 200.0f, 50.0f,
     "rangeability of the equal-percentage characteristic"},
    {"pressure.filter", "s", FW_AT(pressure_filter_s), false, 0.0f, 60.0f, 0.5f, "lag over the transmitter's noise, 0 off"},
    {"pressure.valve_dead_band", "", FW_AT(valve_dead_band), false, 0.0f, 0.1f, 0.001f,
     "travel: smaller corrections of the valve are saved up"},

    {"flow.ramp", "slm/s", FW_AT(flow_ramp_slm_per_s), false, 0.001f, 1000.0f, 1.0f, "fastest change of the flow set point"},

    {"limits.zone_alarm", "degC", FW_AT(zone_alarm_degc), false, 0.0f, 2000.0f, 1020.0f, "heater side, alarm"},
    {"limits.zone_trip", "degC", FW_AT(zone_trip_degc), false, 0.0f, 2000.0f, 1050.0f, "heater side, trip"},
    {"limits.load_alarm", "degC", FW_AT(load_alarm_degc), false, 0.0f, 2000.0f, 1000.0f, "load, alarm"},
    {"limits.load_trip", "degC", FW_AT(load_trip_degc), false, 0.0f, 2000.0f, 1030.0f, "load, trip"},
    {"limits.deviation_alarm", "K", FW_AT(deviation_alarm_k), false, 1.0f, 2000.0f, 50.0f,
     "set point minus process value of a heat loop"},
    {"limits.pressure_alarm", "Pa gauge", FW_AT(pressure_alarm_pa), false, 500.0f, 1.0e6f, 6000.0f, "chamber, high, alarm"},
    {"limits.pressure_trip", "Pa gauge", FW_AT(pressure_trip_pa), false, 500.0f, 1.0e6f, 8000.0f, "chamber, high, trip"},
    {"limits.pressure_low", "Pa gauge", FW_AT(pressure_low_pa), false, -1000.0f, 1.0e5f, 2000.0f,
     "chamber, low: no heat below it in a hold phase"},
    {"limits.pressure_release", "Pa gauge", FW_AT(pressure_release_pa), false, 0.0f, 1.0e5f, 500.0f,
     "end of the over-pressure row"},
    {"limits.bypass_min", "Pa gauge", FW_AT(bypass_min_pa), false, 0.0f, 1.0e5f, 300.0f, "the bypass stays shut below it"},
    {"limits.air_admittance_max", "degC", FW_AT(air_admittance_max_degc), false, 0.0f, 1000.0f, 150.0f,
     "load temperature above which air is refused with titanium"},
    {"limits.oxygen_heat", "ppm", FW_AT(oxygen_heat_ppm), false, 0.1f, 250000.0f, 20.0f, "no heat above it in a hold phase"},
    {"limits.oxygen_alarm", "ppm", FW_AT(oxygen_alarm_ppm), false, 0.1f, 250000.0f, 50.0f, "alarm while hot"},
    {"limits.dew_point_alarm", "degC", FW_AT(dew_point_alarm_degc), false, -120.0f, 100.0f, -30.0f, "alarm while hot"},
    {"limits.hot", "degC", FW_AT(hot_degc), false, 20.0f, 2000.0f, 400.0f, "hot for the oxygen and dew-point rules"},
    {"limits.element_current_min", "A", FW_AT(element_current_min_a), false, 0.0f, 1000.0f, 0.0f,
     "least current of a zone at full demand, 0 off"},
    {"atmosphere.pump_spin_up", "s", FW_AT(vacuum_pump_spin_up_s), false, 0.0f, 600.0f, 5.0f,
     "the isolation stays shut this long after the pump is up to speed"},
    {"atmosphere.evacuate_timeout", "s", FW_AT(evacuate_timeout_s), false, 1.0f, 86400.0f, 1800.0f,
     "longest evacuation where the segment gives none"},
    {"atmosphere.backfill_timeout", "s", FW_AT(backfill_timeout_s), false, 1.0f, 86400.0f, 900.0f,
     "longest backfill where the segment gives none"},
    {"atmosphere.purge_timeout", "s", FW_AT(purge_timeout_s), false, 1.0f, 86400.0f, 7200.0f,
     "longest purge where the segment gives none"},
    {"limits.flow_deviation_alarm", "slm", FW_AT(flow_deviation_alarm_slm), false, 0.001f, 1000.0f, 0.2f,
     "set point minus process value of the flow"},
    {"limits.current_off", "A", FW_AT(current_off_a), false, 0.01f, 1000.0f, 1.0f,
     "highest current of a zone at no demand: more is a switch that conducts"},
    {"programme.ramp_tolerance", "K", FW_AT(ramp_tolerance_k), false, 0.0f, 2000.0f, 0.0f,
     "a ramp waits while the process value is farther behind than this, 0 off"},
    {"limits.response_window", "s", FW_AT(response_window_s), false, 0.0f, 36000.0f, 900.0f,
     "highest demand this long without a response is a broken loop, 0 off"},
    {"limits.response_rise", "K", FW_AT(response_rise_k), false, 0.1f, 100.0f, 3.0f, "least rise that counts as a response"},
    {"limits.load_above_heater", "K", FW_AT(load_above_heater_k), false, 0.0f, 1000.0f, 60.0f,
     "load hotter than the heater side by more than this while heating: a sensor is wrong, 0 off"},
    {"atmosphere.evacuate_switch", "Pa gauge", FW_AT(evacuate_switch_pa), false, 0.0f, 1.0e5f, 1000.0f,
     "the pump is opened to the retort only below this"},
    {"atmosphere.backfill_taper", "Pa", FW_AT(backfill_taper_pa), false, 1.0f, 1.0e5f, 3000.0f,
     "the flow tapers over this distance below a backfill's target"},
    {"atmosphere.purge_flow_min", "slm", FW_AT(purge_flow_min_slm), false, 0.0f, 1000.0f, 0.1f,
     "a purge with less flow does not count"},
    {"atmosphere.back_pressure", "Pa gauge", FW_AT(back_pressure_preset_pa), false, 0.0f, 1.0e5f, 4000.0f,
     "set point of the hold phase where no segment gave one"},
    {"limits.oxygen_trip", "ppm", FW_AT(oxygen_trip_ppm), false, 0.1f, 250000.0f, 200.0f, "trip while hot"},
    {"instruments.mains_nominal", "V", FW_AT(mains_nominal_v), false, 10.0f, 1000.0f, 230.0f,
     "mains voltage at which the element's least current holds"},

#define FW_AT_TEMPERATURE(index, number)                                                                                    \
  {"heat.gains." number ".at", "degC", FW_AT(heat_gains_at_degc[index]), false, 0.0f, 2000.0f, 0.0f,                        \
   "where this set holds when gains are interpolated; one not above the set before ends the table"}
    FW_AT_TEMPERATURE(0, "1"), FW_AT_TEMPERATURE(1, "2"), FW_AT_TEMPERATURE(2, "3"), FW_AT_TEMPERATURE(3, "4"),
#undef FW_AT_TEMPERATURE
    {"heat.interpolate", "yes/no", FW_AT(heat_interpolate), true, 0.0f, 1.0f, 0.0f,
     "gains between the sets by the zone's temperature; a segment that names a set has that one"},
#define FW_STEADY(index, number)                                                                                            \
  {"heat.steady." number ".at", "degC", FW_AT(heat_steady_degc[index]), false, 0.0f, 2000.0f, 0.0f,                         \
   "temperature of this point; one not above the point before ends the table"},                                             \
      {"heat.steady." number ".demand", "", FW_AT(heat_steady_frac[index]), false, 0.0f, 1.0f, 0.0f,                        \
       "demand that holds the furnace there: feed-forward"}
    FW_STEADY(0, "1"), FW_STEADY(1, "2"), FW_STEADY(2, "3"), FW_STEADY(3, "4"), FW_STEADY(4, "5"),
#undef FW_STEADY
    {"heat.feed_forward_slope", "1/K", FW_AT(heat_feed_forward_slope_per_k), false, -0.001f, 0.01f, 0.0f,
     "feed_forward grows with the set point: times 1 + this * (set point - 20 degC)"},
    {"heat.lead_zone", "", FW_AT(heat_lead_zone), true, 1.0f, 4.0f, 1.0f, "a ramp starts from its temperature"},
#define FW_OFFSET(index, number)                                                                                            \
  {"heat.offset." number, "K", FW_AT(heat_offset_k[index]), false, -200.0f, 200.0f, 0.0f,                                   \
   "set point of the zone over that of the lead zone; the lead's own is not used"}
    FW_OFFSET(0, "1"), FW_OFFSET(1, "2"), FW_OFFSET(2, "3"), FW_OFFSET(3, "4"),
#undef FW_OFFSET
#define FW_ACTS_ON(index, from, to)                                                                                         \
  {"heat.interaction." to "_by_" from, "", FW_AT(heat_interaction[index]), false, 0.0f, 0.9f, 0.0f,                         \
   "rise of the first zone by demand of the second over the rise by its own demand, alone and settled; a row sums to below 0.95"}
    FW_ACTS_ON(0, "2", "1"), FW_ACTS_ON(1, "3", "1"), FW_ACTS_ON(2, "4", "1"),
    FW_ACTS_ON(3, "1", "2"), FW_ACTS_ON(4, "3", "2"), FW_ACTS_ON(5, "4", "2"),
    FW_ACTS_ON(6, "1", "3"), FW_ACTS_ON(7, "2", "3"), FW_ACTS_ON(8, "4", "3"),
    FW_ACTS_ON(9, "1", "4"), FW_ACTS_ON(10, "2", "4"), FW_ACTS_ON(11, "3", "4"),
#undef FW_ACTS_ON
    {"cascade.on", "yes/no", FW_AT(cascade_on), true, 0.0f, 1.0f, 0.0f,
     "the programme's set point is the load's; the heater side follows the load's loop"},
    {"cascade.gain", "", FW_AT(cascade_gain), false, 0.0f, 20.0f, 1.0f, "heater-side K per K of the load"},
    {"cascade.integral", "s", FW_AT(cascade_integral_s), false, 0.0f, 1.0e5f, 1800.0f, "integral time of the load's loop, 0 off"},
    {"cascade.above", "K", FW_AT(cascade_above_k), false, 0.0f, 500.0f, 50.0f, "heater-side set point over the load, at most"},
    {"cascade.below", "K", FW_AT(cascade_below_k), false, 0.0f, 500.0f, 50.0f, "heater-side set point under the load, at most"},
    {"cascade.rate", "K/s", FW_AT(cascade_rate_k_per_s), false, 1.0e-4f, 100.0f, 0.5f,
     "fastest change of the heater-side set point; above the programme's rates, or the load cannot follow"},
    {"cascade.hold", "yes/no", FW_AT(cascade_hold), true, 0.0f, 1.0f, 0.0f,
     "without a load sensor the heater side keeps its distance from the programme's set point; no: it goes back to it"},
    {"heat.soft_start_below", "degC", FW_AT(soft_start_below_degc), false, 0.0f, 2000.0f, 0.0f,
     "a colder zone's demand starts from 0 at soft_start_rate, 0 off"},
    {"heat.soft_start_rate", "1/s", FW_AT(soft_start_rate_per_s), false, 1.0e-4f, 10.0f, 0.005f, "growth of the limit meanwhile"},
    {"heat.current_limit", "A", FW_AT(current_limit_a), false, 0.0f, 1000.0f, 0.0f,
     "rms of a zone, burst averaged: its demand is limited by the current measured, 0 off"},
    {"heat.cycle_time", "s", FW_AT(proportion_cycle_s), false, 0.0f, 600.0f, 0.0f,
     "of the station's time proportioning; 0: it follows any demand"},
    {"heat.on_time_min", "s", FW_AT(proportion_on_min_s), false, 0.0f, 60.0f, 0.0f,
     "shortest on and off time of the station: what is less is saved up"},
    {"heat.on_time_step", "s", FW_AT(proportion_step_s), false, 0.0f, 60.0f, 0.0f, "the station's on times are multiples of this, 0 any"},
    {"tune.amplitude", "", FW_AT(tune_amplitude), false, 0.01f, 0.5f, 0.5f, "step of the auto-tune's relay, share of the steady output"},
// NOLINTBEGIN(bugprone-macro-parentheses): the arguments are names and members, which take none
#define FW_TUNE(loop, member, unit, band, high, top, within, stood, longest)                                                 \
  {"tune." loop ".hysteresis", unit, FW_AT(member.hysteresis), false, 0.0f, high, band, "half width of the relay's band"},   \
      {"tune." loop ".ceiling", unit, FW_AT(member.ceiling), false, 0.0f, high, top, "above the set point: the end"},        \
      {"tune." loop ".settled_within", unit, FW_AT(member.settled_within), false, 0.0f, high, within,                        \
       "refused unless the process value has stood so near the set point"},                                                  \
      {"tune." loop ".settled_for", "s", FW_AT(member.settled_for_s), false, 1.0f, 36000.0f, stood, "for so long"},           \
      {"tune." loop ".timeout", "s", FW_AT(member.timeout_s), false, 1.0f, 86400.0f, longest, "longer is given up"},          \
      {"tune." loop ".rule", "", FW_AT(member.rule), true, 1.0f, 3.0f, 1.0f,                                                 \
       "gains proposed: 1 SIMC PI of an integrating process, 2 Ziegler-Nichols PI, 3 Ziegler-Nichols PID"}
    FW_TUNE("heat", tune_heat, "K", 0.5f, 200.0f, 20.0f, 2.0f, 300.0f, 7200.0f),
    FW_TUNE("pressure", tune_pressure, "Pa", 50.0f, 10000.0f, 1500.0f, 150.0f, 60.0f, 600.0f),
#undef FW_TUNE
    {"unit.combustible_gas", "yes/no", FW_AT(combustible_gas), true, 0.0f, 1.0f, 0.0f,
     "hydrogen or forming gas may be asked for: burn-off, inert purge and oxygen cell are fitted"},
    {"instruments.gas_conversion.hydrogen", "", FW_AT(gas_conversion_hydrogen), false, 0.1f, 3.0f, 1.01f, "as for air"},
    {"combustible.zone_min", "degC", FW_AT(combustible_zone_min_degc), false, 760.0f, 2000.0f, 760.0f,
     "combustible gas may come in unpurged while every zone is above it"},
    {"combustible.purge_volumes", "", FW_AT(combustible_purge_volumes), false, 5.0f, 100.0f, 5.0f,
     "cold volume changes of inert gas before combustible gas, and after it before pump or door"},
    {"combustible.oxygen_max", "ppm", FW_AT(combustible_oxygen_max_ppm), false, 1.0f, 10000.0f, 10000.0f,
     "highest oxygen for combustible gas in a chamber that is not hot"},
    {"combustible.pressure_min", "Pa gauge", FW_AT(combustible_pressure_min_pa), false, 20.0f, 1.0e5f, 150.0f,
     "least pressure for combustible gas: trip below it"},
    {"combustible.ignition_timeout", "s", FW_AT(combustible_ignition_s), false, 1.0f, 3600.0f, 60.0f,
     "longest wait of a segment for flame and permissive"},
    {"combustible.leak", "slm", FW_AT(combustible_leak_slm), false, 0.001f, 1000.0f, 0.1f,
     "flow of meter 1 with the process valve shut: more is a valve that passes"},
    {"combustible.purge_restrictor", "slm", FW_AT(purge_restrictor_slm), false, 0.0f, 1000.0f, 0.0f,
     "flow of the inert purge as measured at commissioning, 0: not counted as purge"},
    {"combustible.blend.hydrogen", "", FW_AT(blend_hydrogen), false, 0.01f, 0.99f, 0.05f, "share of hydrogen in forming gas"},
    {"combustible.blend.tolerance", "", FW_AT(blend_tolerance), false, 0.001f, 0.5f, 0.01f,
     "trip where the measured share differs by more"},
    {"combustible.blend.premixed", "yes/no", FW_AT(blend_premixed), true, 0.0f, 1.0f, 0.0f,
     "forming gas comes mixed from one bottle through mass-flow controller 1"},
    {"pressure.valve_points.used", "yes/no", FW_AT(valve_points_used), true, 0.0f, 1.0f, 0.0f,
     "the valve is linearised by the points below instead of its inherent characteristic; they must rise"},
    {"pressure.valve_points.1", "", FW_AT(valve_point[0]), false, 0.0f, 1.0f, 0.2f, "share of the capacity wide open at a travel of 0.2"},
    {"pressure.valve_points.2", "", FW_AT(valve_point[1]), false, 0.0f, 1.0f, 0.4f, "at 0.4"},
    {"pressure.valve_points.3", "", FW_AT(valve_point[2]), false, 0.0f, 1.0f, 0.6f, "at 0.6"},
    {"pressure.valve_points.4", "", FW_AT(valve_point[3]), false, 0.0f, 1.0f, 0.8f, "at 0.8"},
    {"pressure.valve_capacity", "slm", FW_AT(valve_capacity_slm), false, 0.0f, 10000.0f, 0.0f,
     "flow through the valve wide open at the set point: feed-forward from flow and heating, 0 off"},
    {"pressure.stick_tolerance", "", FW_AT(stick_tolerance), false, 0.0f, 1.0f, 0.0f,
     "the valve's position off its command by more for 10 s: it sticks, 0 off"},
    {"pressure.swing_limit", "Pa", FW_AT(swing_limit_pa), false, 0.0f, 1.0e5f, 0.0f,
     "amplitude above which a lasting oscillation is told, 0 off"},
    {"limits.supply_low", "Pa gauge", FW_AT(supply_low_pa), false, 0.0f, 1.0e6f, 0.0f, "supply pressure, low, alarm; 0 off"},
    {"limits.flow_implausible", "", FW_AT(flow_implausible), false, 0.0f, 10.0f, 0.0f,
     "metered gas off what the pressure of the shut chamber says by this share: alarm, 0 off"},
    {"flow.direct_drive", "yes/no", FW_AT(flow_direct), true, 0.0f, 1.0f, 0.0f,
     "the core drives the valve of the mass-flow controllers, else it gives them a set point"},
    {"flow.gain", "", FW_AT(flow_gain), false, 0.0f, 100.0f, 0.4f, "proportional gain of that loop, shares of full scale"},
    {"flow.integral", "s", FW_AT(flow_integral_s), false, 0.0f, 1000.0f, 0.4f, "its integral time, 0 off"},
    {"atmosphere.count_hot", "yes/no", FW_AT(count_hot), true, 0.0f, 1.0f, 0.0f,
     "volume changes are counted at the chamber's temperature and pressure; with combustible gas always cold"},
    {"atmosphere.feedback_timeout", "s", FW_AT(feedback_timeout_s), false, 1.0f, 3600.0f, 30.0f,
     "longest a valve's feedback may differ in a segment that makes the atmosphere"},
    {"atmosphere.vent_timeout", "s", FW_AT(vent_timeout_s), false, 1.0f, 36000.0f, 600.0f, "longest venting before an evacuation"},
    {"atmosphere.pump_timeout", "s", FW_AT(pump_timeout_s), false, 1.0f, 3600.0f, 120.0f, "longest run-up of the pump"},
    {"atmosphere.shut_down_flow", "slm", FW_AT(shut_down_flow_slm), false, 0.0f, 1000.0f, 0.0f,
     "flow of the shut-down sequence, 0 as before"},
    {"power_loss.policy", "", FW_AT(power_loss_policy), true, 0.0f, 2.0f, 0.0f,
     "of a programme that a power loss broke off: 0 leave it, 1 hold it for the operator, 2 resume it"},
    {"power_loss.longest", "s", FW_AT(power_loss_longest_s), false, 0.0f, 864000.0f, 600.0f, "a longer outage aborts the programme"},
    {"power_loss.temperature_lost", "K", FW_AT(power_loss_temperature_k), false, 0.0f, 2000.0f, 50.0f,
     "a larger fall of the lead zone meanwhile aborts the programme"},

#define FW_CORRECTION(index, name, unit, diff, low_, high_, most, preset_high)                                               \
  {"calibration." name ".low", unit, FW_AT(corrections[index].low), false, low_, high_, 0.0f, "lower point"},                \
      {"calibration." name ".add_low", diff, FW_AT(corrections[index].add_low), false, -most, most, 0.0f,                    \
       "to be added to the reading at the lower point"},                                                                     \
      {"calibration." name ".high", unit, FW_AT(corrections[index].high), false, low_, high_, preset_high, "upper point"},   \
      {"calibration." name ".add_high", diff, FW_AT(corrections[index].add_high), false, -most, most, 0.0f,                  \
       "to be added at the upper point; beyond both, the line goes on"},                                                     \
  {                                                                                                                          \
    "calibration." name ".date", "", FW_AT(corrections[index].date), true, 0.0f, 100000.0f, 0.0f,                            \
        "days since 1970-01-01 at which this was found, 0 never"                                                             \
  }
    FW_CORRECTION(0, "zone_1", "degC", "K", -50.0f, 2000.0f, 25.0f, 1000.0f),
    FW_CORRECTION(1, "zone_2", "degC", "K", -50.0f, 2000.0f, 25.0f, 1000.0f),
    FW_CORRECTION(2, "zone_3", "degC", "K", -50.0f, 2000.0f, 25.0f, 1000.0f),
    FW_CORRECTION(3, "zone_4", "degC", "K", -50.0f, 2000.0f, 25.0f, 1000.0f),
    FW_CORRECTION(4, "load", "degC", "K", -50.0f, 2000.0f, 25.0f, 1000.0f),
    FW_CORRECTION(5, "pressure", "Pa gauge", "Pa", -101325.0f, 1.0e6f, 2000.0f, 10000.0f),
#undef FW_CORRECTION
// NOLINTEND(bugprone-macro-parentheses)
    {"limits.stuck_window", "s", FW_AT(stuck_window_s), false, 0.0f, 3600.0f, 0.0f,
     "a thermocouple whose input stands still to the bit this long while it is heated is stuck, 0 off (an input without noise)"},
    {"limits.sensor_rate", "K/s", FW_AT(sensor_rate_k_per_s), false, 0.01f, 1000.0f, 10.0f,
     "nothing in the furnace moves a thermocouple faster"},
    {"limits.sensor_jump", "K", FW_AT(sensor_jump_k), false, 0.0f, 2000.0f, 100.0f,
     "a thermocouple farther than this from where that rate allows it has jumped, 0 off"},
    {"limits.sensor_reversed", "K", FW_AT(sensor_reversed_k), false, 0.0f, 1000.0f, 15.0f,
     "a thermocouple colder than its terminals by more than this has its wires swapped, 0 off"},
    {"limits.runaway", "K", FW_AT(runaway_k), false, 0.0f, 1000.0f, 20.0f,
     "a zone that gets hotter by this at no demand is heated unasked, 0 off"},
    {"limits.frozen_window", "s", FW_AT(frozen_window_s), false, 0.0f, 600.0f, 0.0f,
     "a station all of whose inputs stand still to the bit this long is frozen, 0 off (inputs without noise)"},
    {"limits.vacuum_rise", "Pa", FW_AT(vacuum_rise_pa), false, 0.0f, 1.0e5f, 100.0f,
     "pressure above its lowest while the pump is open to the chamber: vacuum lost, 0 off"},
    {"limits.load_difference", "K", FW_AT(load_difference_k), false, 0.0f, 1000.0f, 0.0f,
     "between the two load thermocouples, alarm, 0 off (only one is fitted)"},
    {"limits.heater_difference", "K", FW_AT(heater_difference_k), false, 0.0f, 1000.0f, 0.0f,
     "between heater side of any zone, its offset taken off, and load after 10 min of counted soak, alarm, 0 off"},
    {"limits.tick_late", "", FW_AT(tick_late_share), false, 0.0f, 10.0f, 0.5f,
     "a step later than its period by this share of it is an alarm, 0 off"},
    {"alarms.band_temperature", "K", FW_AT(alarm_band_k), false, 0.0f, 100.0f, 2.0f, "dead band of alarms on temperatures"},
    {"alarms.band_pressure", "Pa", FW_AT(alarm_band_pa), false, 0.0f, 1.0e4f, 200.0f, "dead band of alarms on pressures"},
    {"alarms.band_share", "", FW_AT(alarm_band_share), false, 0.0f, 0.5f, 0.05f,
     "dead band of all other alarms on measured values, as a share of their limit"},
    {"alarms.shelve_longest", "s", FW_AT(shelve_longest_s), false, 1.0f, 86400.0f, 28800.0f, "no alarm is shelved longer"},
};

#undef FW_AT

// Every word but the unused gas_conversion[0] has its entry: a parameter that no table knows could not be checked.
static_assert(std::size(table) == parameter_words - 1);

constexpr auto ids = [] {
  std::array<std::uint32_t, std::size(table)> all{};
  for (std::size_t i = 0; i < std::size(table); ++i) all[i] = crc32_text(table[i].name);
  return all;
}();

static_assert([] {
  for (std::size_t i = 0; i < ids.size(); ++i) {
    if (ids[i] == 0) return false;
    for (std::size_t j = 0; j < i; ++j) {
      if (ids[i] == ids[j]) return false;
    }
  }
  return true;
}(), "two names with the same CRC-32: choose another name");

Parameters make_defaults() {
  Parameters parameters{};
  for (const ParameterInfo& info : table) {
    std::uint32_t bits = 0;
    if (info.integer) {
      const auto value = static_cast<std::int32_t>(info.preset);
      std::memcpy(&bits, &value, sizeof bits);
    } else {
      std::memcpy(&bits, &info.preset, sizeof bits);
    }
    set_parameter_bits(parameters, info, bits);
  }
  return parameters;
}

bool thermocouple_letter(std::int32_t value) {
  for (const char* letter = thermocouple_letters; *letter != '\0'; ++letter) {
    if (value == *letter) return true;
  }
  return false;
}

}  // namespace

std::span<const ParameterInfo> parameter_table() { return table; }

std::span<const std::uint32_t> parameter_ids() { return ids; }

Parameters default_parameters() { return make_defaults(); }

float gas_conversion(const Parameters& parameters, Gas gas) {
  switch (gas) {
    case Gas::keep:
      return 1.0f;
    case Gas::forming_gas:
      if (!is_blended(parameters, gas)) {
        return mixture_conversion(parameters.blend_hydrogen, parameters.gas_conversion_hydrogen,
                                  parameters.gas_conversion[static_cast<std::size_t>(Gas::nitrogen)]);
      }
      [[fallthrough]];
    case Gas::hydrogen:
      return parameters.gas_conversion_hydrogen;
    default: {
      const auto index = static_cast<std::size_t>(gas);
      return index < std::size(parameters.gas_conversion) ? parameters.gas_conversion[index] : 1.0f;
    }
  }
}

std::uint32_t parameter_bits(const Parameters& parameters, const ParameterInfo& info) {
  std::uint32_t bits = 0;
  std::memcpy(&bits, reinterpret_cast<const unsigned char*>(&parameters) + info.offset, sizeof bits);
  return bits;
}

void set_parameter_bits(Parameters& parameters, const ParameterInfo& info, std::uint32_t bits) {
  std::memcpy(reinterpret_cast<unsigned char*>(&parameters) + info.offset, &bits, sizeof bits);
}

bool parameter_accepts(const ParameterInfo& info, std::uint32_t bits) {
  if (info.integer) {
    std::int32_t value = 0;
    std::memcpy(&value, &bits, sizeof value);
    if (info.unit[0] == 'l') return thermocouple_letter(value);  // "letter"
    return value >= static_cast<std::int32_t>(info.low) && value <= static_cast<std::int32_t>(info.high);
  }
  float value = 0.0f;
  std::memcpy(&value, &bits, sizeof value);
  return value >= info.low && value <= info.high;  // false for a NaN
}

int first_bad_parameter(const Parameters& parameters) {
  for (std::size_t i = 0; i < std::size(table); ++i) {
    if (!parameter_accepts(table[i], parameter_bits(parameters, table[i]))) return static_cast<int>(i);
  }
  if (parameters_agree(parameters)) return -1;
  for (std::size_t i = 0; i < std::size(table); ++i) {
    if (table[i].offset == offsetof(Parameters, heat_interaction)) return static_cast<int>(i);
  }
  return 0;
}

bool parameters_agree(const Parameters& parameters) {
  constexpr float row_max = 0.95f;
  for (int zone = 0; zone < zone_count_max; ++zone) {
    const float* row = parameters.heat_interaction + 3 * zone;
    if (!(row[0] + row[1] + row[2] < row_max)) return false;
  }
  return true;
}

}  // namespace fw
