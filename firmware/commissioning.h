// Commissioning, with the key switch turned: outputs forced one by one, and the zero of the gauge-pressure transmitter. The
// interlocks stay live and have the last word on every forced output. Forcing ends by itself: ten minutes after the last command,
// when the key is turned back, when a programme starts, and at a trip.
#pragma once

#include <cstdint>

#include "firmware/registers.h"
#include "firmware/signals.h"

namespace fw {

struct Controller;

// Outputs by number: 0..9 coils by bit, 16..19 heater demand 0..1 of zone 1..4, 20 back-pressure valve 0..1, 21 process gas selected,
// as a segment numbers it. Without a gas selected the process valve stays shut, and its meters stay at no flow in any case.
inline constexpr int forced_coils = 10, forced_zone_first = 16, forced_valve = 20, forced_gas = 21, forced_outputs = 22;
inline constexpr std::uint32_t forced_longest_ms = 10u * 60u * 1000u;
inline constexpr std::uint16_t forced_all = 255;

enum class ForcedEnd : std::uint8_t { operator_released = 1, time = 2, key = 3, programme = 4, trip = 5 };

struct Commissioning {
  std::uint32_t forced;              // bit n: output n
  std::uint32_t left_ms;             // until they are released
  float value[forced_outputs];
  std::uint32_t vented_ms;           // the chamber has stood open to the room without gas, its reading steady
  float vented_pa;                   // reading, uncorrected zero and all, where that began
};

// One control period; before the loops' wishes go to the interlocks.
void commissioning_step(Controller& controller);
bool outputs_forced(const Controller& controller);
// What is forced, put over the safe values that stand at rest.
void force_outputs(const Controller& controller, Outputs& wanted);

Refusal force_output(Controller& controller, std::uint16_t output, float value);
Refusal release_outputs(Controller& controller, ForcedEnd why);
// Takes the reading for zero. date: days since 1970-01-01. Only when the chamber has stood vented for ten seconds: exhaust open, door
// or air admittance open to the room, no gas, no pump, the reading steady; and only by at most 2 % of the transmitter's span.
Refusal zero_pressure(Controller& controller, float date);

}  // namespace fw
