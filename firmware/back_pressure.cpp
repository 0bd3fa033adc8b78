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

}  // namespace

float valve_travel(const ValveCharacteristic& valve, float capacity_frac) {
  const float capacity = clamped_frac(capacity_frac);
  if (!valve.equal_percentage) return capacity;
  const float rangeability = rangeability_of(valve);
  if (capacity * rangeability < 0.5f) return 0.0f;
  return clamped_frac(1.0f + logarithm2(capacity) / logarithm2(rangeability));
}

float valve_capacity(const ValveCharacteristic& valve, float travel_frac) {
  const float travel = clamped_frac(travel_frac);
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
  return {parameters.valve_equal_percentage != 0, parameters.valve_rangeability};
}

float back_pressure_automatic(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa) {
  if (!std::isfinite(setpoint_pa) || !std::isfinite(chamber_pa)) return loop.valve_frac;
  const float pressure_pa = filtered_pa(loop, parameters, chamber_pa);
  loop.capacity_frac = loop.pid.automatic(back_pressure_settings(parameters), setpoint_pa, pressure_pa);
  const float travel = valve_travel(valve_characteristic(parameters), loop.capacity_frac);
  // Small corrections are saved up (the integral goes on): a valve that follows every one wears out. The ends are always reached.
  const bool at_end = travel <= 0.0f || travel >= 1.0f;
  if (at_end || std::fabs(travel - loop.valve_frac) > parameters.valve_dead_band) loop.valve_frac = travel;
  return loop.valve_frac;
}

float back_pressure_manual(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa,
                           float valve_frac) {
  loop.valve_frac = clamped_frac(valve_frac);
  loop.capacity_frac = valve_capacity(valve_characteristic(parameters), loop.valve_frac);
  if (std::isfinite(setpoint_pa) && std::isfinite(chamber_pa)) {
    loop.pid.manual(back_pressure_settings(parameters), setpoint_pa, filtered_pa(loop, parameters, chamber_pa),
                    loop.capacity_frac);
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
