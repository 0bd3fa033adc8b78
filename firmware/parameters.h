// Parameters of the core and the one table that describes them: the registers, the YAML of configs/controllers and the
// documentation all come from it. Every parameter is one 32-bit word: float32, or int32 where the table says so.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/programme.h"

namespace fw {

inline constexpr int zone_count_max = 4;
inline constexpr int gain_set_count = 4;
inline constexpr int heat_steady_count = 5;

struct HeatGains {           // 2-DOF ISA form, output 0..1
  float gain_per_k;          // K, 1/K
  float integral_s;          // Ti
  float derivative_s;        // Td, 0 off
  float setpoint_weight;     // b, 0..1
};

struct TuneLimits {          // of an auto-tune, in units of the loop's process value
  float hysteresis;          // half width of the relay's band
  float ceiling;             // above the set point
  float settled_within;      // the process value stood so near the set point
  float settled_for_s;       // so long
  float timeout_s;
  std::int32_t rule;         // 1 SIMC for an integrating process, 2 Ziegler-Nichols PI, 3 Ziegler-Nichols PID
};
// What a calibration found: how much a channel reads too low at two values, in its own unit; a straight line between and beyond.
// The same at both is an offset.
struct ChannelCorrection {
  float low, add_low, high, add_high;
  std::int32_t date;           // days since 1970-01-01, as the operator gave it; 0: never calibrated
};
inline constexpr int correction_count = 6;      // by channel: zones 1..4, load, gauge pressure
inline constexpr int correction_load = 4, correction_pressure = 5;

struct Parameters {
  // unit
  std::int32_t period_ms;                 // control period
  std::int32_t zones;                     // 1..4
  std::int32_t heat_every;                // heat loops run every n-th tick
  std::int32_t retort_ceramic;            // 0 no, 1 yes: the chamber is a pressure-limited retort (back-pressure rules apply)
  std::int32_t load_titanium;             // 1: the load must not see air when hot
  std::int32_t atmosphere_required;       // 1: heat needs the hold phase of an inert atmosphere; 0: cycles in air
  float chamber_volume_l;                 // for counting volume changes, cold
  // instruments
  std::int32_t zone_thermocouple;         // letter as ASCII, one of thermocouple_letters
  std::int32_t load_thermocouple;
  float gauge_low_pa, gauge_high_pa;      // 4 mA and 20 mA of the gauge-pressure transmitter
  float capacitance_full_scale_pa;        // 10 V
  float barometer_low_pa, barometer_high_pa;
  float meter_full_scale_slm;             // of the mass-flow controller in its calibration gas
  float current_full_scale_a;             // 20 mA
  float mains_full_scale_v;               // 20 mA
  float supply_full_scale_pa;             // 20 mA, gauge
  float dew_point_low_degc, dew_point_high_degc;
  float oxygen_cell_full_scale_degc;      // 20 mA of the cell's temperature transmitter, 4 mA = 0 degC
  float casing_full_scale_degc;           // 20 mA, 4 mA = 0 degC
  float gas_conversion[5];                // by Gas, air to helium, index 0 unused; relative to the calibration gas
  // heat
  HeatGains heat_gains[gain_set_count];
  float heat_derivative_filter;           // N of the ISA form
  float heat_tracking_s;                  // Tt of the anti-windup
  float heat_out_max;                     // 0..1
  float heat_out_rate_per_s;              // largest change of the demand
  float heat_feed_forward_s_per_k;        // demand per K/s of the programme's ramp: heat capacity / full power
  // back-pressure
  float pressure_gain_per_pa;             // K on the linearised valve, 1/Pa
  float pressure_integral_s;
  float pressure_derivative_s;
  float pressure_setpoint_weight;
  float pressure_out_rate_per_s;
  std::int32_t valve_equal_percentage;    // 1: inherent characteristic equal percentage, 0: linear
  float valve_rangeability;
  float pressure_filter_s;                // lag over the gauge's noise, 0 off
  float valve_dead_band;                  // travel: smaller corrections wait
  // flow
  float flow_ramp_slm_per_s;
  // limits and permissives
  float zone_alarm_degc, zone_trip_degc;  // over-temperature on the heater-side thermocouple
  float load_alarm_degc, load_trip_degc;
  float deviation_alarm_k;                // |sp - pv| on a heat loop
  float pressure_alarm_pa, pressure_trip_pa;        // gauge, high
  float pressure_low_pa;                  // gauge: heat permissive and alarm in a hold
  float pressure_release_pa;              // gauge: end of the over-pressure row (0.5 kPa)
  float bypass_min_pa;                    // gauge below which the bypass stays shut (0.3 kPa)
  float air_admittance_max_degc;          // load temperature above which air is refused with titanium
  float oxygen_heat_ppm;                  // heat permissive
  float oxygen_alarm_ppm;                 // while hot
  float dew_point_alarm_degc;             // while hot
  float hot_degc;                         // "hot" for the oxygen, dew point and cooling rules
  float element_current_min_a;            // per zone at full demand: less is an open element
  float vacuum_pump_spin_up_s;            // isolation stays shut this long after the pump runs
  float evacuate_timeout_s, backfill_timeout_s, purge_timeout_s;
  float flow_deviation_alarm_slm;
  float current_off_a;                    // per zone at no demand: more is a switch that conducts
  float ramp_tolerance_k;                 // a ramp waits while the process value is farther than this from it; 0 off
  float response_window_s;                // full demand this long without response_rise_k: the loop is broken; 0 off
  float response_rise_k;
  float load_above_heater_k;              // load hotter than the heater side by more than this while heating: a sensor lies; 0 off
  float evacuate_switch_pa;               // gauge: the pump is opened to the retort only below this
  float backfill_taper_pa;                // flow tapers over this distance below a backfill's target
  float purge_flow_min_slm;               // a purge by volume changes with less flow than this does not count
  float back_pressure_preset_pa;          // gauge set point of the hold phase when no segment gave one
  float oxygen_trip_ppm;                  // while hot
  float mains_nominal_v;                  // currents are judged against the mains there is
  // heat: gains over temperature, feed-forward, zones
  float heat_gains_at_degc[gain_set_count];   // breakpoints; one not above the one before ends the table
  std::int32_t heat_interpolate;              // 1: gains between the breakpoints, 0: a set as it stands
  float heat_steady_degc[heat_steady_count];  // steady demand against temperature; the table ends as that of the gains
  float heat_steady_frac[heat_steady_count];
  float heat_feed_forward_slope_per_k;        // the ramp's feed-forward times 1 + this * (t - 20 degC)
  std::int32_t heat_lead_zone;                // 1..4: a ramp starts from it, the others' offsets count from its set point
  float heat_offset_k[zone_count_max];        // of a zone's set point, the lead's unused
  float heat_interaction[12];                 // row by row without the diagonal: effect of zone b's demand on zone a over a's own
  // heat: cascade of the load over the heater side
  std::int32_t cascade_on;
  float cascade_gain, cascade_integral_s;     // K of the heater side per K of the load
  float cascade_above_k, cascade_below_k;     // heater side over and under the load, at most
  float cascade_rate_k_per_s;                 // of the heater-side set point
  std::int32_t cascade_hold;                  // load sensor gone: 1 the distance to the programme's set point stays, 0 it goes to 0
  // heat: elements and time proportioning
  float soft_start_below_degc;                // 0 off
  float soft_start_rate_per_s;
  float current_limit_a;                      // per zone, rms, 0 off
  float proportion_cycle_s;                   // of the station, 0: it follows any demand
  float proportion_on_min_s, proportion_step_s;
  // auto-tune
  float tune_amplitude;                       // of the relay, share of the bias
  TuneLimits tune_heat, tune_pressure;
  // combustible gas
  std::int32_t combustible_gas;           // 1: the unit has hydrogen, burn-off and inert purge
  float gas_conversion_hydrogen;          // as gas_conversion
  float combustible_zone_min_degc;        // every zone above: it may be let in unpurged
  float combustible_purge_volumes;        // cold volume changes of inert gas before, and before pump or door is opened
  float combustible_oxygen_max_ppm;
  float combustible_pressure_min_pa;      // gauge: no air comes in above it
  float combustible_ignition_s;           // longest wait for the permissive
  float combustible_leak_slm;             // through meter 1 with its valve shut
  float purge_restrictor_slm;             // of the inert purge, as measured; 0: it is not counted
  float blend_hydrogen;                   // share of hydrogen in forming gas
  float blend_tolerance;                  // share by which the measured one may differ
  std::int32_t blend_premixed;            // 1: the bottle holds it mixed, and meter 1 alone carries it
  // gas system
  std::int32_t valve_points_used;         // 1: the back-pressure valve is linearised by valve_point
  float valve_point[4];                   // installed capacity at a travel of 0.2, 0.4, 0.6, 0.8
  float valve_capacity_slm;               // through the valve wide open at the set point: feed-forward; 0 off
  float stick_tolerance;                  // travel, 0 off
  float swing_limit_pa;                   // amplitude, 0 off
  float supply_low_pa;                    // gauge, 0 off
  float flow_implausible;                 // share, 0 off
  std::int32_t flow_direct;               // 1: the core drives the meter's valve, 0: it gives a set point
  float flow_gain;                        // valve over flow, both shares of their full scale
  float flow_integral_s;
  std::int32_t count_hot;                 // 1: volume changes at the chamber's temperature and pressure
  float feedback_timeout_s;               // a valve's feedback in a segment that makes the atmosphere
  float vent_timeout_s, pump_timeout_s;   // over-pressure off; pump up to speed
  float shut_down_flow_slm;               // of the shut-down sequence, 0: as before
  std::int32_t power_loss_policy;         // PowerLossPolicy
  float power_loss_longest_s;             // outage beyond which a programme is aborted
  float power_loss_temperature_k;         // fall of the lead zone beyond which it is aborted
  ChannelCorrection corrections[correction_count];   // zones 1..4, load, gauge pressure
  // detections, 0 off
  float stuck_window_s;                   // a thermocouple that stands still to the bit while it is heated
  float sensor_rate_k_per_s;              // fastest a thermocouple can be moved by the furnace
  float sensor_jump_k;                    // farther than this from what that allows
  float sensor_reversed_k;                // colder than the terminals by more than this
  float runaway_k;                        // rise at no demand
  float frozen_window_s;                  // every input of the station stands still to the bit
  float vacuum_rise_pa;                   // above the lowest while the pump is open to the chamber
  float load_difference_k;                // between the two load thermocouples
  float heater_difference_k;              // between heater side of any zone, less its offset, and load in a soak
  float tick_late_share;                  // of the control period
  // alarms
  float alarm_band_k, alarm_band_pa;      // dead bands of temperature and pressure
  float alarm_band_share;                 // of the limit, all others
  float shelve_longest_s;                 // no alarm is shelved longer
};

// Bounds of a parameter are checked on every way in (store, registers, YAML); a value outside is refused, never clamped.
struct ParameterInfo {
  const char* name;       // e.g. "heat.gains.1.gain"; the YAML path of configs/controllers and the register's name
  const char* unit;       // "" for a pure number, "Pa gauge", "K", "1/K", "letter", "ms", ...
  std::uint16_t offset;   // bytes into Parameters, multiple of 4
  bool integer;
  float low, high, preset;
  const char* meaning;
};

inline constexpr int parameter_words = static_cast<int>(sizeof(Parameters) / 4);

std::span<const ParameterInfo> parameter_table();
// By place in the table: the CRC-32 of the name, by which the store and a backup know the parameter whatever its place. Never 0.
std::span<const std::uint32_t> parameter_ids();
// Value of one entry as its 32 bits, and whether those bits are within the entry's bounds (a NaN never is).
std::uint32_t parameter_bits(const Parameters& parameters, const ParameterInfo& info);
bool parameter_accepts(const ParameterInfo& info, std::uint32_t bits);
void set_parameter_bits(Parameters& parameters, const ParameterInfo& info, std::uint32_t bits);  // checked by the caller
Parameters default_parameters();
// Conversion factor of a gas in the meter that carries it, relative to the calibration gas; of forming gas
// from two meters that of hydrogen, of one that comes mixed that of the mixture.
float gas_conversion(const Parameters& parameters, Gas gas);
// Forming gas out of two meters.
inline bool is_blended(const Parameters& parameters, Gas gas) {
  return gas == Gas::forming_gas && parameters.blend_premixed == 0;
}
// Whether those that only make sense together do: the interaction of the zones is diagonally dominant with a margin (every row of
// the matrix sums to below 0.95 beside its diagonal), so that its inverse exists and is bounded by 20.
bool parameters_agree(const Parameters& parameters);
// Index of the first parameter outside its bounds (or not finite), or the first of a group that does not agree; -1 if all are good.
int first_bad_parameter(const Parameters& parameters);

}  // namespace fw
