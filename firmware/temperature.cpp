#include "firmware/temperature.h"

#include <cmath>

namespace fw {

namespace {

float clamped_demand(float demand_frac) {
  if (!(demand_frac > 0.0f)) return 0.0f;  // also a NaN
  return demand_frac < 1.0f ? demand_frac : 1.0f;
}

// Where x lies in a table of rising breakpoints: between low and low + 1, share of the way; held beyond the ends. A breakpoint not
// above the one before ends the table.
struct TablePlace {
  int low;
  float share;
};
TablePlace place_in(const float* at, int count, float x) {
  int last = 0;
  while (last + 1 < count && at[last + 1] > at[last]) ++last;
  if (!(x > at[0])) return {0, 0.0f};  // also a NaN
  for (int i = 0; i < last; ++i) {
    if (x < at[i + 1]) return {i, (x - at[i]) / (at[i + 1] - at[i])};
  }
  return {last, 0.0f};
}

HeatGains gains_of(const Parameters& parameters, int gain_set, float zone_degc) {
  if (gain_set >= 1 && gain_set <= gain_set_count) return parameters.heat_gains[gain_set - 1];
  if (parameters.heat_interpolate == 0) return parameters.heat_gains[0];
  const TablePlace place = place_in(parameters.heat_gains_at_degc, gain_set_count, zone_degc);
  const HeatGains& a = parameters.heat_gains[place.low];
  if (place.share == 0.0f) return a;
  const HeatGains& b = parameters.heat_gains[place.low + 1];
  const auto between = [&](float x, float y) { return x + (y - x) * place.share; };
  // An integral time of 0 is off, which lies between nothing: such a neighbour hands over its own at once.
  const bool integral = a.integral_s > 0.0f && b.integral_s > 0.0f;
  return {between(a.gain_per_k, b.gain_per_k), integral ? between(a.integral_s, b.integral_s) : a.integral_s,
          between(a.derivative_s, b.derivative_s), between(a.setpoint_weight, b.setpoint_weight)};
}

struct FeedForward {
  float steady = 0.0f, ramp = 0.0f;
};

FeedForward feed_forward_of(const Parameters& parameters, float setpoint_degc, float rate_k_per_s) {
  if (!std::isfinite(rate_k_per_s) || !std::isfinite(setpoint_degc)) return {};
  const float slope = parameters.heat_feed_forward_slope_per_k;
  const float growth = slope == 0.0f ? 1.0f : 1.0f + slope * (setpoint_degc - 20.0f);
  const float ramp = parameters.heat_feed_forward_s_per_k * rate_k_per_s * (growth > 0.0f ? growth : 0.0f);
  const TablePlace place = place_in(parameters.heat_steady_degc, heat_steady_count, setpoint_degc);
  const float* steady = parameters.heat_steady_frac + place.low;
  return {place.share == 0.0f ? steady[0] : steady[0] + (steady[1] - steady[0]) * place.share, ramp};
}

// Another share than before: what stands through the change goes to the integral.
void take_share(HeatLoop& loop, const HeatOrder& order, const FeedForward& ahead) {
  if (loop.in_charge && order.feed_forward != loop.share) {
    const bool goes_on = ahead.ramp * loop.ramp > 0.0f;
    const float shorter = std::fabs(ahead.ramp) < std::fabs(loop.ramp) ? ahead.ramp : loop.ramp;
    loop.pid.shift_integral((loop.share - order.feed_forward) * (loop.steady + (goes_on ? shorter : 0.0f)) * order.reach);
  }
  loop.in_charge = true;
  loop.share = order.feed_forward;
  loop.steady = ahead.steady;
  loop.ramp = ahead.ramp;
}

}  // namespace

float heat_feed_forward(const Parameters& parameters, float setpoint_degc, float rate_k_per_s) {
  const FeedForward ahead = feed_forward_of(parameters, setpoint_degc, rate_k_per_s);
  return ahead.ramp + ahead.steady;
}

PidSettings<float> heat_settings(const Parameters& parameters, int gain_set, float zone_degc) {
  const HeatGains gains = gains_of(parameters, gain_set, zone_degc);
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
  HeatOrder order;
  order.gain_set = gain_set;
  order.setpoint_degc = setpoint_degc;
  order.zone_degc = zone_degc;
  order.rate_k_per_s = setpoint_rate_k_per_s;
  return heat_automatic(loop, parameters, order);
}

float heat_automatic(HeatLoop& loop, const Parameters& parameters, const HeatOrder& order) {
  if (!std::isfinite(order.setpoint_degc) || !std::isfinite(order.zone_degc)) {
    loop.ticks = 0;
    loop.demand = 0.0f;
    loop.in_charge = false;
    return 0.0f;
  }
  if (loop.ticks > 0) {
    --loop.ticks;
    return loop.demand;
  }
  loop.ticks = parameters.heat_every > 1 ? static_cast<std::uint32_t>(parameters.heat_every - 1) : 0u;
  PidSettings<float> settings = heat_settings(parameters, order.gain_set, order.zone_degc);
  if (order.power_max < settings.out_max) settings.out_max = clamped_demand(order.power_max);
  settings.out_max *= order.reach;
  const FeedForward ahead = feed_forward_of(parameters, order.setpoint_degc, order.rate_k_per_s);
  take_share(loop, order, ahead);
  const float share = order.feed_forward * (ahead.ramp + ahead.steady);
  const float demand = loop.pid.automatic(settings, order.setpoint_degc, order.zone_degc, share * order.reach);
  loop.demand = demand > 0.0f ? demand : 0.0f;
  return loop.demand;
}

float heat_manual(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                  float demand_frac) {
  loop.ticks = 0;
  loop.in_charge = false;
  loop.demand = clamped_demand(demand_frac);
  if (std::isfinite(setpoint_degc) && std::isfinite(zone_degc)) {
    loop.pid.manual(heat_settings(parameters, gain_set, zone_degc), setpoint_degc, zone_degc, loop.demand);
  } else {
    loop.pid.applied(loop.demand);
  }
  return loop.demand;
}

float heat_manual(HeatLoop& loop, const Parameters& parameters, const HeatOrder& order, float demand_frac) {
  if (!std::isfinite(order.setpoint_degc) || !std::isfinite(order.zone_degc))
    return heat_manual(loop, parameters, order.gain_set, order.setpoint_degc, order.zone_degc, demand_frac);
  loop.ticks = 0;
  loop.demand = clamped_demand(demand_frac);
  const FeedForward ahead = feed_forward_of(parameters, order.setpoint_degc, order.rate_k_per_s);
  loop.in_charge = true;
  loop.share = order.feed_forward;
  loop.steady = ahead.steady;
  loop.ramp = ahead.ramp;
  loop.pid.manual(heat_settings(parameters, order.gain_set, order.zone_degc), order.setpoint_degc, order.zone_degc, loop.demand,
                  order.feed_forward * (ahead.ramp + ahead.steady) * order.reach);
  return loop.demand;
}

void heat_applied(HeatLoop& loop, float demand_frac) { loop.pid.applied(clamped_demand(demand_frac)); }

}  // namespace fw
