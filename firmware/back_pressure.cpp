#include "firmware/back_pressure.h"

#include <cmath>

#include "firmware/exponential.h"

namespace fw {

namespace {

float clamped_frac(float x) {
  if (!(x > 0.0f)) return 0.0f;  // also a NaN
  return x < 1.0f ? x : 1.0f;
}

float rangeability_of(const ValveCharacteristic& valve) {
  return valve.rangeability > 1.0f && std::isfinite(valve.rangeability) ? valve.rangeability : 50.0f;
}

// The pressure the loop acts on: first-order lag over the transmitter's noise, or the noise would wear the valve.
float filtered_pa(BackPressureLoop& loop, const Parameters& parameters, float chamber_pa) {
  const float period_s = static_cast<float>(parameters.period_ms) * 0.001f;
  if (!loop.has_pressure) loop.filtered_pa = chamber_pa;
  loop.has_pressure = true;
  loop.filtered_pa += (chamber_pa - loop.filtered_pa) * (period_s / (period_s + parameters.pressure_filter_s));
  return loop.filtered_pa;
}

bool rises(const ValveCharacteristic& valve) {
  bool rising = true;
  for (int i = 0; i < 5; ++i) rising = rising && valve.point[i + 1] > valve.point[i];
  return rising;
}

// Where straight lines through the points pass a capacity; the other way round at_travel.
float travel_by_points(const ValveCharacteristic& valve, float capacity) {
  int i = 0;
  while (i < 4 && capacity > valve.point[i + 1]) ++i;
  const float within = (capacity - valve.point[i]) / (valve.point[i + 1] - valve.point[i]);
  return clamped_frac((static_cast<float>(i) + clamped_frac(within)) * 0.2f);
}

float capacity_by_points(const ValveCharacteristic& valve, float travel) {
  const float place = travel * 5.0f;
  const int i = place < 4.0f ? static_cast<int>(place) : 4;   // travel is within 0..1
  return clamped_frac(valve.point[i] + (place - static_cast<float>(i)) * (valve.point[i + 1] - valve.point[i]));
}

}  // namespace

float valve_travel(const ValveCharacteristic& valve, float capacity_frac) {
  const float capacity = clamped_frac(capacity_frac);
  if (valve.measured) return travel_by_points(valve, capacity);
  if (!valve.equal_percentage) return capacity;
  const float rangeability = rangeability_of(valve);
  if (capacity * rangeability < 0.5f) return 0.0f;
  return clamped_frac(1.0f + logarithm2(capacity) / logarithm2(rangeability));
}

float valve_capacity(const ValveCharacteristic& valve, float travel_frac) {
  const float travel = clamped_frac(travel_frac);
  if (valve.measured) return capacity_by_points(valve, travel);
  if (!valve.equal_percentage) return travel;
  if (!(travel > 0.0f)) return 0.0f;
  return clamped_frac(exponential2((travel - 1.0f) * logarithm2(rangeability_of(valve))));
}

PidSettings<float> back_pressure_settings(const Parameters& parameters) {
  PidSettings<float> settings;
  settings.gain = -parameters.pressure_gain_per_pa;  // direct acting
  settings.integral_s = parameters.pressure_integral_s;
  settings.derivative_s = parameters.pressure_derivative_s;
  settings.derivative_filter = 10.0f;
  settings.setpoint_weight = parameters.pressure_setpoint_weight;
  // Tracking as fast as the integral: the valve then starts to open integral_s ahead of a rising pressure's arrival.
  settings.tracking_s = parameters.pressure_integral_s;
  settings.period_s = static_cast<float>(parameters.period_ms) * 0.001f;
  settings.out_min = 0.0f;
  settings.out_max = 1.0f;
  settings.out_rate_per_s = parameters.pressure_out_rate_per_s;
  return settings;
}

ValveCharacteristic valve_characteristic(const Parameters& parameters) {
  ValveCharacteristic valve{parameters.valve_equal_percentage != 0, parameters.valve_rangeability};
  if (parameters.valve_points_used == 0) return valve;
  for (int i = 0; i < 4; ++i) valve.point[i + 1] = parameters.valve_point[i];
  valve.point[5] = 1.0f;
  valve.measured = rises(valve);   // points that do not rise have no inverse
  return valve;
}

PressureDevice pressure_in_charge(const Outputs& outputs) {
  if (outputs.coils & coil::isolation_open) return PressureDevice::pump;
  if (outputs.coils & coil::exhaust_shut) return PressureDevice::none;
  return (outputs.coils & coil::bypass_open) ? PressureDevice::bypass : PressureDevice::valve;
}

float expansion_slm(GasExpansion& expansion, const Parameters& parameters, float hottest_degc, float absolute_pa) {
  constexpr float lag_s = 10.0f, standard_pa = 101325.0f, standard_k = 273.15f;
  if (!expansion.has_temperature) expansion.lagged_degc = hottest_degc;
  expansion.has_temperature = true;
  const float slope_k_s = (hottest_degc - expansion.lagged_degc) / lag_s;
  const float period_s = static_cast<float>(parameters.period_ms) * 0.001f;
  expansion.lagged_degc += slope_k_s * lag_s * (period_s / (period_s + lag_s));
  const float gas_k = hottest_degc + standard_k > 200.0f ? hottest_degc + standard_k : 200.0f;
  return 60.0f * parameters.chamber_volume_l * (absolute_pa / standard_pa) * (standard_k / (gas_k * gas_k)) * slope_k_s;
}

float back_pressure_automatic(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa,
                              float feed_forward) {
  if (!std::isfinite(setpoint_pa) || !std::isfinite(chamber_pa) || !std::isfinite(feed_forward)) return loop.valve_frac;
  const float pressure_pa = filtered_pa(loop, parameters, chamber_pa);
  loop.capacity_frac = loop.pid.automatic(back_pressure_settings(parameters), setpoint_pa, pressure_pa, feed_forward);
  const float travel = valve_travel(valve_characteristic(parameters), loop.capacity_frac);
  // Small corrections are saved up (the integral goes on): a valve that follows every one wears out. The ends are always reached.
  const bool at_end = travel <= 0.0f || travel >= 1.0f;
  if (at_end || std::fabs(travel - loop.valve_frac) > parameters.valve_dead_band) loop.valve_frac = travel;
  return loop.valve_frac;
}

float back_pressure_manual(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa,
                           float valve_frac, float feed_forward) {
  loop.valve_frac = clamped_frac(valve_frac);
  loop.capacity_frac = valve_capacity(valve_characteristic(parameters), loop.valve_frac);
  if (std::isfinite(setpoint_pa) && std::isfinite(chamber_pa)) {
    loop.pid.manual(back_pressure_settings(parameters), setpoint_pa, filtered_pa(loop, parameters, chamber_pa),
                    loop.capacity_frac, std::isfinite(feed_forward) ? feed_forward : 0.0f);
  } else {
    loop.pid.applied(loop.capacity_frac);
  }
  return loop.valve_frac;
}

void back_pressure_applied(BackPressureLoop& loop, const Parameters& parameters, float valve_frac) {
  const float travel = clamped_frac(valve_frac);
  if (travel == loop.valve_frac) {
    loop.pid.applied(loop.capacity_frac);  // as asked: the dead band and the steps of the inversion are no limit
    return;
  }
  loop.valve_frac = travel;
  loop.pid.applied(valve_capacity(valve_characteristic(parameters), travel));
}

}  // namespace fw
