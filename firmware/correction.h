// What a calibration found is added to a channel's reading (parameters.h, ChannelCorrection).
#pragma once

#include "firmware/parameters.h"

namespace fw {

// A straight line through both points; an offset where they lie closer than one unit. Nothing to add gives the reading to the bit.
inline float corrected(const ChannelCorrection& correction, float reading) {
  if (correction.add_low == 0.0f && correction.add_high == 0.0f) return reading;
  const float span = correction.high - correction.low;
  const bool one_point = span < 1.0f && span > -1.0f;
  const float slope = one_point ? 0.0f : (correction.add_high - correction.add_low) / span;
  return reading + correction.add_low + slope * (reading - correction.low);
}

}  // namespace fw
