// Heat loop of one zone: heater-side thermocouple to heater demand 0..1.
#pragma once

#include <cstdint>

#include "firmware/parameters.h"
#include "firmware/pid.h"

namespace fw {

// Settings of the PID for a gain set 1..4, for a loop that runs every heat_every-th tick. 0 (or no set): between the sets by the
// zone's temperature where heat_interpolate is on, held beyond the first and the last breakpoint; else set 1.
PidSettings<float> heat_settings(const Parameters& parameters, int gain_set, float zone_degc = 0.0f);

// Feed-forward at a set point that moves at rate_k_per_s: the steady demand there (0 without a table, held beyond its ends) and
// rate times heat capacity over full power, which may grow with temperature.
float heat_feed_forward(const Parameters& parameters, float setpoint_degc, float rate_k_per_s);

// The state of one zone's loop. Trivially copyable; zero-initialised = off at demand 0.
struct HeatLoop {
  Pid pid;
  std::uint32_t ticks = 0;   // until the next run: 0 runs now
  float demand = 0.0f;       // last computed, before the interlocks
  bool in_charge = false;    // ... by the loop or in its place; then these are what it had ahead of its feedback:
  float share = 0.0f;
  float steady = 0.0f, ramp = 0.0f;
};

// What a zone is to do in a tick.
struct HeatOrder {
  int gain_set = 1;                  // as heat_settings
  float setpoint_degc = 0.0f, zone_degc = 0.0f;
  float rate_k_per_s = 0.0f;         // of the set point in a ramp, signed, 0 in a soak
  float power_max = 1.0f;            // of the segment, 0..1
  float reach = 1.0f;                // 1, or the row sum of the zones' interaction: what the loop's output is at full demand of all
  float feed_forward = 1.0f;         // share of it, 0 none
};

// Call every tick; runs the PID every heat_every-th. Returns the demand 0..1 before the interlocks. A set point or process
// value that is not finite gives demand 0 at once and leaves the loop as it was (the caller has the bad quality to alarm on).
// Gain sets, interpolated gains and changed parameters are taken over without a bump. So is another share of the feed-forward: the
// integral takes over the difference in what stands through the change, the steady part and the ramp's as far as the ramp goes on.
// A ramp's part that begins with the change comes with the new share, one that ends with it goes with the old one. The output is limited to
// reach * min(heat_out_max, power_max).
float heat_automatic(HeatLoop& loop, const Parameters& parameters, const HeatOrder& order);
float heat_automatic(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                     float setpoint_rate_k_per_s);

// Call every tick when the loop is not in charge (idle, no permissive): demand follows demand_frac (clamped 0..1, 0 when not
// finite), and the next heat_automatic() goes on from there, with its feed-forward on top: heat that comes on begins with that.
// Runs the PID at once, not every n-th tick.
float heat_manual(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                  float demand_frac);

// The same in place of the loop while it is at work (a relay): feedback and feed-forward of the order together are demand_frac, so
// that the next heat_automatic() goes on from there without a bump; a change of share or ramp at the hand-over is taken as there.
float heat_manual(HeatLoop& loop, const Parameters& parameters, const HeatOrder& order, float demand_frac);

// Call every tick after the interlocks with what went to the heater: the anti-windup tracks it.
void heat_applied(HeatLoop& loop, float demand_frac);

}  // namespace fw
