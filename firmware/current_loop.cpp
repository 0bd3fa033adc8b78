#include "firmware/current_loop.h"

namespace fw {

CurrentClass current_class(float current_ma) {
  if (!(current_ma > 3.6f)) return CurrentClass::failed_low;  // also a NaN
  if (current_ma < 3.8f) return CurrentClass::below_range;
  if (current_ma <= 20.5f) return CurrentClass::good;
  if (current_ma < 21.0f) return CurrentClass::above_range;
  return CurrentClass::failed_high;
}

float span_value(float current_ma, float low, float high) {
  float ma = current_ma;
  if (!(ma > 3.8f)) ma = 3.8f;
  if (ma > 20.5f) ma = 20.5f;
  return low + (high - low) * ((ma - 4.0f) / 16.0f);
}

float span_current(float value, float low, float high) {
  const float span = high - low;
  if (!(span > 0.0f || span < 0.0f)) return 4.0f;
  const float ma = 4.0f + 16.0f * ((value - low) / span);
  if (!(ma > 4.0f)) return 4.0f;
  return ma < 20.0f ? ma : 20.0f;
}

}  // namespace fw
