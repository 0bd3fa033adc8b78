// The power switch of a zone (thyristors or solid-state relay): what share of full power it lets through in a period.
//
// averaged: the demand itself, as with bursts far shorter than a period or a phase angle corrected for power.
// burst: whole cycles (or half ones) of the mains, switched where the voltage crosses zero. A period of 100 ms holds 5 cycles of 50 Hz,
//   so that its power goes in steps of a fifth; what could not be given is owed and carried from period to period, and so the sum over
//   any time lies within one cycle (and the shortest burst or gap) of the demand's. A burst lasts least_on_s at least, a gap least_off_s.
// phase_angle: each half wave from the delay angle pi (1 - demand) on. For a resistance the power is then
//   1 - a/pi + sin(2a)/(2 pi) of the full one (textbook of power electronics), and the rms current its root.
//
// In each case the rms current over the period is the full one times the root of the share: a resistance.
#pragma once

#include <cstdint>

#include "plant/furnace.h"

namespace plant {

struct FiringState {
  double owed = 0.0;             // cycles (half cycles) asked for and not given yet
  double begun = 0.0;            // part of one that the last period left over, 0 .. 1
  std::int32_t run = 1 << 30;    // cycles since it last switched
  std::int32_t on = 0;           // 1: the switch is
};

// demand 0..1; period_s > 0. Share of full power in this period; a period that holds no whole number of cycles may have more than 1.
double fire(const PowerSwitch& power_switch, FiringState& state, double demand, double period_s);

// Share of full power at a delay angle, 0 .. pi [rad], into a resistance.
double phase_angle_share(double angle_rad);

}  // namespace plant
