// Vacuum gauges with voltage outputs.
#pragma once

namespace fw {

struct VacuumReading {
  float pa;         // absolute; finite always
  bool in_range;    // false: saturated, or not a number
};

// Capacitance gauge: 0..10 V = 0..full scale, any gas. Above 10 V (saturates at 10.2) it is out of range. Volts are
// clamped to -0.1..10.2, so a zero error shows as a small negative pressure.
VacuumReading capacitance_reading(float gauge_v, float full_scale_pa);

// Pirani gauge, calibrated in nitrogen (reads wrong in other gases): p = 0.1 Pa * 10^((V - 1) / 1.25), 1..9 V, clamped.
VacuumReading pirani_reading(float gauge_v);

}  // namespace fw
