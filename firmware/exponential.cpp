#include "firmware/exponential.h"

#include <bit>
#include <cmath>
#include <cstdint>

namespace fw {

float exponential2(float x) {
  if (!(x > -126.0f)) return 0x1p-126f;  // also a NaN
  if (x > 127.0f) x = 127.0f;
  const float whole = std::floor(x + 0.5f);
  const float f = x - whole;  // exact, -0.5..0.5
  // 2^f interpolated at the Chebyshev nodes of degree 6: 2.6e-9 relative.
  const float power =
      (((((1.546144470e-04f * f + 1.340042818e-03f) * f + 9.618056679e-03f) * f + 5.550327227e-02f) * f + 2.402265092e-01f) *
           f +
       6.931472067e-01f) *
          f +
      1.0f;
  // 2^f lies in 0.70..1.42, so for whole = 127 the product stays finite, for -126 it may be a little subnormal: keep it normal.
  const float scale = std::bit_cast<float>((static_cast<std::int32_t>(whole) + 127) << 23);
  const float result = power * scale;
  return result > 0x1p-126f ? result : 0x1p-126f;
}

float exponential(float x) { return exponential2(x * 1.442695040889f); }

float exponential10(float x) { return exponential2(x * 3.321928094887f); }

float logarithm2(float x) {
  if (!(x > 0x1p-126f)) return -126.0f;
  auto bits = std::bit_cast<std::int32_t>(x);
  if (bits >= 0x7f800000) return 128.0f;
  // x = m 2^n with m in sqrt(1/2)..sqrt(2): 0x3f3504f3 is sqrt(1/2).
  const std::int32_t n = (bits - 0x3f3504f3) >> 23;
  const float m = std::bit_cast<float>(bits - n * 0x00800000);
  // log2 m = 2 / ln 2 * atanh(t), as t times a polynomial in t^2 interpolated at the Chebyshev nodes: 7e-10 relative.
  const float t = (m - 1.0f) / (m + 1.0f);
  const float z = t * t;
  const float part = t * (((4.317176975e-01f * z + 5.767151860e-01f) * z + 9.617988388e-01f) * z + 2.885390080e+00f);
  return static_cast<float>(n) + part;
}

}  // namespace fw
