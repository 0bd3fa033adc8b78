// Back-pressure loop: gauge pressure of the chamber to the opening of the back-pressure valve, direct acting (more
// pressure, more opening). The PID works on flow capacity 0..1; the valve's inherent characteristic is inverted after it.
#pragma once

#include "firmware/parameters.h"
#include "firmware/pid.h"

namespace fw {

// Inherent characteristic (IEC 60534-2-4): relative flow capacity at relative travel.
struct ValveCharacteristic {
  bool equal_percentage;   // capacity = rangeability^(travel - 1); else capacity = travel
  float rangeability;      // capacity at full travel over the least controllable one; above 1, else taken as 50
};
// Both clamp their argument to 0..1 (NaN: 0) and return 0..1. An equal-percentage valve is taken as shut at travel 0;
// capacities below 1 / (2 rangeability) give travel 0, those from there to 1 / rangeability the least controllable travel.
float valve_travel(const ValveCharacteristic& valve, float capacity_frac);
float valve_capacity(const ValveCharacteristic& valve, float travel_frac);

PidSettings<float> back_pressure_settings(const Parameters& parameters);
ValveCharacteristic valve_characteristic(const Parameters& parameters);

// Trivially copyable; zero-initialised stands at a shut valve.
struct BackPressureLoop {
  Pid pid;
  float capacity_frac = 0.0f;   // last asked for, before the interlocks
  float valve_frac = 0.0f;      // the travel that gives it to within the dead band; what went out after the interlocks
  float filtered_pa = 0.0f;     // the pressure it acts on
  bool has_pressure = false;
};

// Call every tick when the loop is in charge. Returns the valve's travel 0..1 before the interlocks. A set point or process
// value that is not finite holds the valve where it is. Put it in charge when a backfill begins, not when it ends: it opens
// the valve about integral_s ahead of the set point, and a pressure that rises at 650 Pa/s leaves no time for less.
float back_pressure_automatic(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa);

// Call every tick when something else positions the valve (safe row, evacuation, manual): the loop follows, so that the
// next back_pressure_automatic() starts from that travel without a bump.
float back_pressure_manual(BackPressureLoop& loop, const Parameters& parameters, float setpoint_pa, float chamber_pa,
                           float valve_frac);

// Call every tick after the interlocks with the travel that went out: the anti-windup tracks it.
void back_pressure_applied(BackPressureLoop& loop, const Parameters& parameters, float valve_frac);

}  // namespace fw
