// Current loops of 4..20 mA: classification after NAMUR NE 43 and linear spans.
#pragma once

#include <cstdint>

namespace fw {

// NE 43: 3.8..20.5 mA carries the measurement (4..20 is the span, the rest over-range), up to 3.6 and from 21.0 mA says
// that the instrument has failed. Between 3.6 and 3.8, and 20.5 and 21.0, the value is saturated but no failure.
enum class CurrentClass : std::uint8_t {
  good = 0,         // 3.8..20.5 mA
  below_range = 1,  // above 3.6, below 3.8 mA
  above_range = 2,  // above 20.5, below 21.0 mA
  failed_low = 3,   // 3.6 mA and less, or not a number
  failed_high = 4   // 21.0 mA and more
};

inline CurrentClass current_class(float current_ma) {
  if (!(current_ma > 3.6f)) return CurrentClass::failed_low;  // also a NaN
  if (current_ma < 3.8f) return CurrentClass::below_range;
  if (current_ma <= 20.5f) return CurrentClass::good;
  if (current_ma < 21.0f) return CurrentClass::above_range;
  return CurrentClass::failed_high;
}
inline bool current_failed(CurrentClass c) { return c == CurrentClass::failed_low || c == CurrentClass::failed_high; }

// Linear: 4 mA -> low, 20 mA -> high. The current is clamped to 3.8..20.5 mA first (NaN: 3.8), so the value is finite.
inline float span_value(float current_ma, float low, float high) {
  float ma = current_ma;
  if (!(ma > 3.8f)) ma = 3.8f;
  if (ma > 20.5f) ma = 20.5f;
  return low + (high - low) * ((ma - 4.0f) / 16.0f);
}

// The way back: value -> current, clamped to 4..20 mA. high == low or a value that is not a number gives 4 mA.
float span_current(float value, float low, float high);

}  // namespace fw
