#include "sim/test_signal.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <stdexcept>

namespace sim {
namespace {

// Bits fed back, numbered from 1 as the shift registers' table has them; 0 none.
constexpr std::array<std::array<int, 4>, longest_register + 1> taps = {{
    {}, {}, {2, 1}, {3, 2}, {4, 3}, {5, 3}, {6, 5}, {7, 6}, {8, 6, 5, 4}, {9, 5}, {10, 7}, {11, 9}, {12, 6, 4, 1}, {13, 4, 3, 1},
    {14, 5, 3, 1}, {15, 14}, {16, 15, 13, 4},
}};

void demand(bool holds, const char* what) {
  if (!holds) throw std::invalid_argument(what);
}

}  // namespace

double TestSignal::at(double time_s) const {
  const auto after = std::upper_bound(times_s.begin(), times_s.end(), time_s);
  return levels[after == times_s.begin() ? 0 : static_cast<std::size_t>(after - times_s.begin()) - 1];
}

TestSignal step_test(double rest, double size, double before_s, double after_s) {
  demand(std::isfinite(rest) && std::isfinite(size) && size != 0.0, "a step test wants a step other than 0");
  demand(before_s > 0.0 && after_s > 0.0, "a step test wants time before the step and after it");
  return {{0.0, before_s}, {rest, rest + size}, before_s + after_s};
}

TestSignal double_step_test(double rest, double size, double before_s, double hold_s) {
  demand(std::isfinite(rest) && std::isfinite(size) && size != 0.0, "an up-down test wants a step other than 0");
  demand(before_s > 0.0 && hold_s > 0.0, "an up-down test wants time before the first step and after each");
  return {{0.0, before_s, before_s + hold_s, before_s + 2.0 * hold_s}, {rest, rest + size, rest - size, rest},
          before_s + 3.0 * hold_s};
}

std::vector<int> maximal_sequence(int order) {
  demand(order >= shortest_register && order <= longest_register, "a binary sequence wants a register of 2 to 16 bits");
  const std::uint32_t length = (1u << order) - 1u;
  std::vector<int> sequence;
  sequence.reserve(length);
  std::uint32_t bits = length;   // any but 0
  for (std::uint32_t k = 0; k < length; ++k) {
    std::uint32_t fed_back = 0;
    for (const int tap : taps[static_cast<std::size_t>(order)]) {
      if (tap > 0) fed_back ^= bits >> (tap - 1);
    }
    sequence.push_back((bits >> (order - 1)) & 1u ? 1 : -1);
    bits = ((bits << 1) | (fed_back & 1u)) & length;
  }
  return sequence;
}

TestSignal binary_test(double rest, double size, double before_s, int order, double bit_s, int periods) {
  demand(std::isfinite(rest) && std::isfinite(size) && size != 0.0, "a binary test wants a size other than 0");
  demand(before_s >= 0.0 && bit_s > 0.0 && periods >= 1, "a binary test wants a bit time above 0 and a whole period");
  const std::vector<int> sequence = maximal_sequence(order);
  TestSignal signal;
  if (before_s > 0.0) {
    signal.times_s.push_back(0.0);
    signal.levels.push_back(rest);
  }
  const std::size_t count = sequence.size() * static_cast<std::size_t>(periods);
  for (std::size_t k = 0; k < count; ++k) {
    signal.times_s.push_back(before_s + static_cast<double>(k) * bit_s);
    signal.levels.push_back(rest + size * sequence[k % sequence.size()]);
  }
  signal.end_s = before_s + static_cast<double>(count) * bit_s;
  return signal;
}

int order_for(double settle_s, double bit_s) {
  demand(settle_s > 0.0 && bit_s > 0.0, "the order of a register wants times above 0");
  const double bits = std::ceil(settle_s / bit_s - 1e-9);
  return static_cast<int>(std::clamp(bits, static_cast<double>(shortest_register), static_cast<double>(longest_register)));
}

}  // namespace sim
