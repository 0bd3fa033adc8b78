// What watches the gas system for faults that no single reading shows: a back-pressure valve that sticks, a pressure that swings,
// a flow that does not agree with the pressure it makes.
#pragma once

#include <cstdint>

#include "firmware/flow.h"
#include "firmware/parameters.h"
#include "firmware/signals.h"

namespace fw {

// The valve's own position against its command. Call every tick with the command of the tick before. True: it has stood farther
// off than pressure.stick_tolerance for 10 s, some strokes' time.
struct StickWatch {
  std::uint32_t off_ms = 0;
};
bool valve_sticks(StickWatch& watch, const Parameters& parameters, const Inputs& inputs, float commanded_frac);

// Oscillation after T. Hagglund, "A control-loop performance monitor", Control Engineering Practice 3 (1995) 1543: the integral of
// the absolute error between two of its zero crossings is large where the loop swings, whatever the swing's shape; a valve with
// stick-slip swings for ever. A half swing counts if its integral is above that of a sine of the amplitude pressure.swing_limit
// and the period of the integral time; ten in succession, none of them longer than 25 integral times, are an oscillation.
struct SwingWatch {
  float integral_pa_s = 0.0f;   // of the absolute error in this half swing
  std::uint32_t half_ms = 0;
  std::uint16_t halves = 0;     // large ones in succession
  bool above = false;
};
// in_charge: the loop is; else the watch begins anew.
bool pressure_swings(SwingWatch& watch, const Parameters& parameters, bool in_charge, float setpoint_pa, float chamber_pa);

// While the chamber is shut but for the process gas, the gas that comes in is what its pressure says: dn = V dp / (R T), with T
// between the room and the hottest zone. True from a rise of 3 kPa in which the metered gas was neither, by more than
// limits.flow_implausible, until one in which it was.
struct FillWatch {
  FlowTotaliser metered;
  float start_pa = 0.0f;
  bool counting = false;
  bool implausible = false;
};
bool flow_implausible(FillWatch& watch, const Parameters& parameters, const Inputs& inputs, bool filling);

struct GasWatch {
  StickWatch stick;
  SwingWatch swing;
  FillWatch fill;
  bool sticks = false, swings = false, implausible = false;
};

}  // namespace fw
