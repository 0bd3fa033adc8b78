// Platinum resistance thermometer, IEC 60751, R0 = 100 ohm.
#pragma once

namespace fw {

struct Pt100Reading {
  float degc;      // finite always, clamped to -200..850 degC
  bool in_range;   // false: resistance outside 18.52..390.49 ohm (or not finite)
};

// From 100 ohm up the closed form, below it three Newton steps on the quartic of the standard. Error from rounding: below
// 2e-4 K.
Pt100Reading pt100_reading(float resistance_ohm);

// Resistance in ohm at -200..850 degC (clamped).
float pt100_ohm(float temperature_degc);

}  // namespace fw
