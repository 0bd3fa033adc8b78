// Numbers with a fixed count of decimals, as traces need them by the million: no locale, no allocation, half away from zero.
#pragma once

#include <cstddef>

namespace sim {

inline constexpr std::size_t fixed_decimal_bytes = 48;   // the longest text

// Writes value with 0..9 decimals at `at` and returns the end. Never "-0". What is not finite leaves nothing: an empty field.
char* write_fixed(char* at, double value, int decimals);

// value as that text reads back.
double rounded_fixed(double value, int decimals);

}  // namespace sim
