// Back-pressure loop: gauge pressure of the chamber to the opening of the back-pressure valve, direct acting (more
// pressure, more opening). The PID works on flow capacity 0..1; the valve's inherent characteristic is inverted after it.
#pragma once

#include "firmware/parameters.h"
#include "firmware/pid.h"
#include "firmware/signals.h"

namespace fw {

// Inherent characteristic (IEC 60534-2-4): relative flow capacity at relative travel.
struct ValveCharacteristic {
  bool equal_percentage;   // capacity = rangeability^(travel - 1); else capacity = travel
  float rangeability;      // capacity at full travel over the least controllable one; above 1, else taken as 50
  // Installed characteristic, measured: capacity at travels of 0, 0.2, .. 1, straight lines between. Goes before the inherent one.
  bool measured = false;
  float point[6] = {};     // rising from 0 to 1
};
// Both clamp their argument to 0..1 (NaN: 0) and return 0..1. An equal-percentage valve is taken as shut at travel 0;
// capacities below 1 / (2 rangeability) give travel 0, those from there to 1 / rangeability the least controllable travel.
float valve_travel(const ValveCharacteristic& valve, float capacity_frac);
float valve_capacity(const ValveCharacteristic& valve, float travel_frac);

PidSettings<float> back_pressure_settings(const Parameters& parameters);
ValveCharacteristic valve_characteristic(const Parameters& parameters);

// Which device is in charge of the chamber's pressure, by the outputs after the interlocks. One at a time: the pump only with
// every other path shut, the bypass only above limits.bypass_min, the valve whenever the exhaust is open, else nothing.
enum class PressureDevice : std::uint8_t { none = 0, valve = 1, bypass = 2, pump = 3 };
PressureDevice pressure_in_charge(const Outputs& outputs);

// Gas that a chamber which gets hotter pushes out at constant pressure: dn/dt = -p V / (R T^2) dT/dt, in slm; the temperature is that
// of the hottest zone, its slope behind a lag of 10 s. Call every tick.
struct GasExpansion {
  float lagged_degc = 0.0f;
  bool has_temperature = false;
};
float expansion_slm(GasExpansion& expansion, const Parameters& parameters, float hottest_degc, float absolute_pa);

// Trivially copyable; zero-initialised stands at a shut valve.
struct BackPressureLoop {
  Pid pid;
  float capacity_frac = 0.0f;   // last asked for, before the interlocks
  float valve_frac = 0.0f;      // the travel that gives it to within the dead band; what went out after the interlocks
  float filtered_pa = 0.0f;     // the pressure it acts on
  bool has_pressure = false;
  GasExpansion expansion;
};

// Call every tick when the loop is in charge. Returns the valve's travel 0..1 before the interlocks. A set point or process
// value that is not finite holds the valve where it is. Put it in charge when a backfill begins, not when it ends: it opens
// the valve about integral_s ahead of the set point, and a pressure that rises at 650 Pa/s leaves no time for less.
// feed_forward: share of the valve's capacity that the flow through the chamber needs, 0 where it is not used.
float back_pressure_automatic(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa,
                              float feed_forward = 0.0f);

// Call every tick when something else positions the valve (safe row, evacuation, manual): the loop follows, so that the
// next back_pressure_automatic() starts from that travel without a bump.
float back_pressure_manual(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa,
                           float valve_frac, float feed_forward = 0.0f);

// Call every tick after the interlocks with the travel that went out: the anti-windup tracks it.
void back_pressure_applied(BackPressureLoop& loop, const Parameters& parameters, float valve_frac);

}  // namespace fw
