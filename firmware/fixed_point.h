// float to int64 without double arithmetic: compilers for processors that have float registers only do this conversion by way of
// double, in software. Truncates toward zero, as the language does; bit for bit the same on every processor.
#pragma once

#include <bit>
#include <cstdint>

namespace fw {

// value: finite, magnitude below 2^63; the caller clamps before. Anything else gives 0.
constexpr std::int64_t to_int64(float value) {
  const auto bits = std::bit_cast<std::uint32_t>(value);
  const int exponent = static_cast<int>(bits >> 23 & 0xFFu) - 127;
  if (exponent < 0 || exponent > 62) return 0;
  const std::uint64_t mantissa = (bits & 0x7FFFFFu) | 0x800000u;
  const std::uint64_t magnitude = exponent >= 23 ? mantissa << (exponent - 23) : mantissa >> (23 - exponent);
  return (bits >> 31) != 0 ? -static_cast<std::int64_t>(magnitude) : static_cast<std::int64_t>(magnitude);
}

}  // namespace fw
