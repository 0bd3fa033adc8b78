// Reading a relay test: the cycle that a relay and a process keep up, and what it tells of the process.
#pragma once

#include "sim/process.h"
#include "sim/test_record.h"

namespace sim {

// Output and input in their own units, as deviations from nothing: the reader knows the point of rest.
struct LimitCycle {
  double high_input = 0.0, low_input = 0.0;    // the relay's levels
  double high_s = 0.0, low_s = 0.0;            // time at each, means of the cycles read
  double highest = 0.0, lowest = 0.0;          // of the output, means of the cycles' extremes
  double mean_input = 0.0, mean_output = 0.0;  // over time; of the output between its readings by trapezoids
  int cycles = 0;                              // read: at most the last four that are whole
  double spread = 0.0;                         // largest deviation of a cycle's period from the mean, as a share of it

  double period_s() const { return high_s + low_s; }
  double amplitude() const { return 0.5 * (highest - lowest); }              // a
  double relay_amplitude() const { return 0.5 * (high_input - low_input); }  // d
};

// The last whole cycles of a record whose input switches between two levels, read from switch to switch upwards. Throws
// std::invalid_argument, saying what is wrong, where the input has other than two levels or fewer than two whole cycles.
LimitCycle read_limit_cycle(const TestRecord& record);

struct UltimatePoint {
  double gain;      // Ku, input unit per output unit
  double period_s;  // Tu
};

// By the describing function of a relay with hysteresis (half width, in the output's unit, at least 0): Ku = 4 d / (pi sqrt(a^2 -
// eps^2)), Tu = period. With hysteresis the point has phase -180 deg + asin(eps / a). Takes the cycle for a sine: on first order with
// delay 10 to 19 % low, on higher orders some 2 %. Throws std::invalid_argument where the amplitude is not above the hysteresis. Source:
// K. J. Astrom, T. Hagglund, Automatica 20 (1984) 645-651.
UltimatePoint ultimate_point(const LimitCycle& cycle, double hysteresis);

// Of a process that rests at `rest_input` and `rest_output`, from a cycle whose relay is biased: the mean of the output over the mean of
// the input. Throws std::invalid_argument where the bias is less than 2 % of the relay's amplitude: then there is nothing to divide by.
double gain_from_bias(const LimitCycle& cycle, double rest_input, double rest_output);

// The first order with delay that keeps up exactly this cycle, gain (not 0) known, levels and extremes counted from rest; hysteresis as
// above.
//   T = t_high ln^-1((K u_high - y_low) / (K u_high - y_high)), L = T ln((K u_high - eps) / (K u_high - y_high))
// (for gain above 0; for a negative one highs and lows of the output change places.) Exact also for a biased relay: both follow from the
// two arcs towards K u_high. Throws std::invalid_argument where no such process has this cycle.
Process first_order_of(const LimitCycle& cycle, double gain, double rest_input, double rest_output, double hysteresis);

}  // namespace sim
