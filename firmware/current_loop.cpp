#include "firmware/current_loop.h"

namespace fw {

float span_current(float value, float low, float high) {
  const float span = high - low;
  if (!(span > 0.0f || span < 0.0f)) return 4.0f;
  const float ma = 4.0f + 16.0f * ((value - low) / span);
  if (!(ma > 4.0f)) return 4.0f;
  return ma < 20.0f ? ma : 20.0f;
}

}  // namespace fw
