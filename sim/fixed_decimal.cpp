#include "sim/fixed_decimal.h"

#include <charconv>
#include <cmath>
#include <cstdint>
#include <cstring>

namespace sim {

namespace {

constexpr double powers[10] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
constexpr std::uint64_t whole_powers[10] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};
constexpr double exact_max = 9007199254740992.0;   // 2^53: whole numbers up to here are exact

constexpr struct Pairs {
  char text[200];
  constexpr Pairs() : text() {
    for (int i = 0; i < 100; ++i) {
      text[2 * i] = static_cast<char>('0' + i / 10);
      text[2 * i + 1] = static_cast<char>('0' + i % 10);
    }
  }
} pairs;

char* write_whole(char* at, std::uint64_t value) {
  char digits[20];
  int begin = 20;
  while (value >= 100) {
    begin -= 2;
    std::memcpy(digits + begin, pairs.text + 2 * (value % 100), 2);
    value /= 100;
  }
  if (value >= 10) {
    begin -= 2;
    std::memcpy(digits + begin, pairs.text + 2 * value, 2);
  } else {
    digits[--begin] = static_cast<char>('0' + value);
  }
  std::memcpy(at, digits + begin, static_cast<std::size_t>(20 - begin));
  return at + (20 - begin);
}

// value * 10^decimals to the nearest whole number; false when that is not exact.
bool scaled(double value, int decimals, std::uint64_t& whole) {
  const double wide = std::fabs(value) * powers[decimals] + 0.5;
  if (!(wide < exact_max)) return false;
  whole = static_cast<std::uint64_t>(wide);
  return true;
}

}  // namespace

char* write_fixed(char* at, double value, int decimals) {
  std::uint64_t whole = 0;
  if (!scaled(value, decimals, whole)) {
    if (!std::isfinite(value)) return at;
    if (std::fabs(value) < 1e30) return std::to_chars(at, at + fixed_decimal_bytes, value, std::chars_format::fixed, decimals).ptr;
    return std::to_chars(at, at + fixed_decimal_bytes, value, std::chars_format::scientific, 9).ptr;
  }
  if (value < 0.0 && whole != 0) *at++ = '-';
  if (decimals == 0) return write_whole(at, whole);
  at = write_whole(at, whole / whole_powers[decimals]);
  *at++ = '.';
  std::uint64_t rest = whole % whole_powers[decimals];
  for (int i = decimals - 1; i >= 0; --i) {
    at[i] = static_cast<char>('0' + rest % 10);
    rest /= 10;
  }
  return at + decimals;
}

double rounded_fixed(double value, int decimals) {
  std::uint64_t whole = 0;
  if (!scaled(value, decimals, whole)) return value;
  const double size = static_cast<double>(whole) / powers[decimals];
  return value < 0.0 && whole != 0 ? -size : size;
}

}  // namespace sim
