// Inputs that bring a process's dynamics to light: step, up-down step, pseudo-random binary sequence.
#pragma once

#include <vector>

namespace sim {

// Holds levels[i] from times_s[i] on; times rise from 0; after end_s it is over. In the input's unit.
struct TestSignal {
  std::vector<double> times_s;
  std::vector<double> levels;
  double end_s = 0.0;

  // The level at `time_s`, from 0 on.
  double at(double time_s) const;
};

// `rest` for before_s (above 0), then rest + size for after_s (above 0). Throws std::invalid_argument on size 0 or such times.
TestSignal step_test(double rest, double size, double before_s, double after_s);

// rest; rest + size for hold_s; rest - size for hold_s; rest for hold_s: its mean is rest, so that a drift does not pass for gain.
TestSignal double_step_test(double rest, double size, double before_s, double hold_s);

inline constexpr int shortest_register = 2, longest_register = 16;

// The maximal-length sequence of a shift register of `order` bits (2..16): 2^order - 1 values of +1 and -1, one more of +1. Throws
// std::invalid_argument on another order. Source of the taps: P. Alfke, Efficient Shift Registers, LFSR Counters, and Long Pseudo-Random
// Sequence Generators, application note 052 (1996), table 3 (from memory; the tests run every register through its period).
std::vector<int> maximal_sequence(int order);

// `periods` (at least 1) times that sequence, each value bit_s (above 0) long, as rest + size and rest - size, after before_s (at
// least 0) of rest.
TestSignal binary_test(double rest, double size, double before_s, int order, double bit_s, int periods);

// The order whose longest run, `order` bits, lasts at least settle_s: then the sequence shows the static gain too (common practice;
// L. Ljung, System Identification, section 13.3, from memory). Within 2..16.
int order_for(double settle_s, double bit_s);

}  // namespace sim
