#include "firmware/pt100.h"

#include <cmath>

namespace fw {

namespace {

// IEC 60751: R / R0 = 1 + A t + B t^2 + C (t - 100) t^3, the last term below 0 degC only.
constexpr float r0_ohm = 100.0f;
constexpr float a_per_k = 3.9083e-3f;
constexpr float b_per_k2 = -5.775e-7f;
constexpr float c_per_k4 = -4.183e-12f;

float cold_ratio_less_1(float t) { return ((((t - 100.0f) * c_per_k4) * t + b_per_k2) * t + a_per_k) * t; }

float cold_slope(float t) { return ((4.0f * t - 300.0f) * c_per_k4 * t + 2.0f * b_per_k2) * t + a_per_k; }

}  // namespace

Pt100Reading pt100_reading(float resistance_ohm) {
  const bool in_range = resistance_ohm >= 18.52f && resistance_ohm <= 390.49f;
  float r = resistance_ohm;
  if (!(r > 18.52f)) r = 18.52f;
  if (r > 390.49f) r = 390.49f;
  const float ratio_less_1 = (r - r0_ohm) / r0_ohm;

  // The root of the quadratic in the form that does not cancel: 2 (r - 1) / (A + sqrt(A^2 + 4 B (r - 1))).
  const float root = std::sqrt(a_per_k * a_per_k + 4.0f * b_per_k2 * ratio_less_1);
  float t = 2.0f * ratio_less_1 / (a_per_k + root);
  if (ratio_less_1 < 0.0f) {
    // At most 2.4 K away at -200 degC; the slope changes by 3 % per 30 K, so three steps reach the rounding.
    for (int i = 0; i < 3; ++i) t -= (cold_ratio_less_1(t) - ratio_less_1) / cold_slope(t);
  }
  if (t < -200.0f) t = -200.0f;
  if (t > 850.0f) t = 850.0f;
  return {t, in_range};
}

float pt100_ohm(float temperature_degc) {
  float t = temperature_degc;
  if (!(t > -200.0f)) t = -200.0f;
  if (t > 850.0f) t = 850.0f;
  const float ratio_less_1 = t < 0.0f ? cold_ratio_less_1(t) : (b_per_k2 * t + a_per_k) * t;
  return r0_ohm + r0_ohm * ratio_less_1;
}

}  // namespace fw
