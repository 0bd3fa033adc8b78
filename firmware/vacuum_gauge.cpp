#include "firmware/vacuum_gauge.h"

#include "firmware/exponential.h"

namespace fw {

namespace {

float clamped(float x, float low, float high) {
  if (!(x > low)) return low;  // also a NaN
  return x < high ? x : high;
}

}  // namespace

VacuumReading capacitance_reading(float gauge_v, float full_scale_pa) {
  const bool in_range = gauge_v >= -0.1f && gauge_v <= 10.0f;
  return {clamped(gauge_v, -0.1f, 10.2f) / 10.0f * full_scale_pa, in_range};
}

VacuumReading pirani_reading(float gauge_v) {
  const bool in_range = gauge_v >= 1.0f && gauge_v <= 9.0f;
  return {0.1f * exponential10((clamped(gauge_v, 1.0f, 9.0f) - 1.0f) / 1.25f), in_range};
}

}  // namespace fw
