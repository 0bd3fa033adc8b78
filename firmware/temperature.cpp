#include "firmware/temperature.h"

#include <cmath>

namespace fw {

namespace {

float clamped_demand(float demand_frac) {
  if (!(demand_frac > 0.0f)) return 0.0f;  // also a NaN
  return demand_frac < 1.0f ? demand_frac : 1.0f;
}

float feed_forward(const Parameters& parameters, float setpoint_rate_k_per_s) {
  if (!std::isfinite(setpoint_rate_k_per_s)) return 0.0f;
  return parameters.heat_feed_forward_s_per_k * setpoint_rate_k_per_s;
}

}  // namespace

PidSettings<float> heat_settings(const Parameters& parameters, int gain_set) {
  const int index = gain_set >= 1 && gain_set <= gain_set_count ? gain_set - 1 : 0;
  const HeatGains& gains = parameters.heat_gains[index];
  const std::int32_t every = parameters.heat_every > 0 ? parameters.heat_every : 1;
  PidSettings<float> settings;
  settings.gain = gains.gain_per_k;
  settings.integral_s = gains.integral_s;
  settings.derivative_s = gains.derivative_s;
  settings.derivative_filter = parameters.heat_derivative_filter;
  settings.setpoint_weight = gains.setpoint_weight;
  settings.tracking_s = parameters.heat_tracking_s;
  settings.period_s = static_cast<float>(parameters.period_ms) * 0.001f * static_cast<float>(every);
  settings.out_min = 0.0f;
  settings.out_max = clamped_demand(parameters.heat_out_max);
  settings.out_rate_per_s = parameters.heat_out_rate_per_s;
  return settings;
}

float heat_automatic(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                     float setpoint_rate_k_per_s) {
  if (!std::isfinite(setpoint_degc) || !std::isfinite(zone_degc)) {
    loop.ticks = 0;
    loop.demand = 0.0f;
    return 0.0f;
  }
  if (loop.ticks > 0) {
    --loop.ticks;
    return loop.demand;
  }
  loop.ticks = parameters.heat_every > 1 ? static_cast<std::uint32_t>(parameters.heat_every - 1) : 0u;
  loop.demand = clamped_demand(loop.pid.automatic(heat_settings(parameters, gain_set), setpoint_degc, zone_degc,
                                                  feed_forward(parameters, setpoint_rate_k_per_s)));
  return loop.demand;
}

float heat_manual(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                  float demand_frac) {
  loop.ticks = 0;
  loop.demand = clamped_demand(demand_frac);
  if (std::isfinite(setpoint_degc) && std::isfinite(zone_degc)) {
    loop.pid.manual(heat_settings(parameters, gain_set), setpoint_degc, zone_degc, loop.demand);
  } else {
    loop.pid.applied(loop.demand);
  }
  return loop.demand;
}

void heat_applied(HeatLoop& loop, float demand_frac) { loop.pid.applied(clamped_demand(demand_frac)); }

}  // namespace fw
