// What instruments send, for stations that stand opposite the core. + - * / only: the same on any machine.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

namespace transmitters {

// Type K, published table values (NIST Monograph 175, reference junction 0 degC) every 100 degC from -100; straight between, which is
// good to 1.5 K: enough to drive logic.
inline double type_k_mv(double degc) {
  constexpr std::array<double, 15> table{-3.554, 0.0,    4.096,  8.138,  12.209, 16.397, 20.644, 24.905,
                                         29.129, 33.275, 37.326, 41.276, 45.119, 48.838, 52.410};
  const double at = std::clamp(degc / 100.0 + 1.0, 0.0, 13.999);
  const auto i = static_cast<std::size_t>(at);
  return table[i] + (at - static_cast<double>(i)) * (table[i + 1] - table[i]);
}

// 4..20 mA, saturated as NAMUR NE 43 has it.
inline double loop_ma(double value, double low, double high) {
  return std::clamp(4.0 + 16.0 * (value - low) / (high - low), 3.8, 20.5);
}

}  // namespace transmitters
