// Heat loop of one zone: heater-side thermocouple to heater demand 0..1.
#pragma once

#include <cstdint>

#include "firmware/parameters.h"
#include "firmware/pid.h"

namespace fw {

// Settings of the PID for a gain set 1..4 (anything else: 1), for a loop that runs every heat_every-th tick.
PidSettings<float> heat_settings(const Parameters& parameters, int gain_set);

// The state of one zone's loop. Trivially copyable; zero-initialised = off at demand 0.
struct HeatLoop {
  Pid pid;
  std::uint32_t ticks = 0;   // until the next run: 0 runs now
  float demand = 0.0f;       // last computed, before the interlocks
};

// Call every tick; runs the PID every heat_every-th. Returns the demand 0..1 before the interlocks. A set point or process
// value that is not finite gives demand 0 at once and leaves the loop as it was (the caller has the bad quality to alarm on).
// Gain sets and changed parameters are taken over without a bump. setpoint_rate_k_per_s: of the programme's ramp, 0 in a
// soak; it feeds forward by heat_feed_forward_s_per_k.
float heat_automatic(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                     float setpoint_rate_k_per_s);

// Call every tick when the loop is not in charge (idle, no permissive, manual): demand follows demand_frac (clamped 0..1, 0
// when not finite), and the next heat_automatic() goes on from there without a bump. Runs the PID at once, not every n-th
// tick.
float heat_manual(HeatLoop& loop, const Parameters& parameters, int gain_set, float setpoint_degc, float zone_degc,
                  float demand_frac);

// Call every tick after the interlocks with what went to the heater: the anti-windup tracks it.
void heat_applied(HeatLoop& loop, float demand_frac);

}  // namespace fw
