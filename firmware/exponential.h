// Exponential and logarithm in float32 from own polynomials: no libm, so that every target gives the same bits.
#pragma once

namespace fw {

// Relative error bounds against the exact value, rounding included (tests/firmware/exponential_test.cpp scans for them).
inline constexpr float exponential2_relative_error = 3.0e-7f;   // over its whole range
inline constexpr float logarithm2_absolute_error = 3.0e-7f;     // for 0.5 <= x <= 2; elsewhere one rounding of the result more

// 2^x. x is clamped to -126..127, so the result is a normal number, never 0, infinite or NaN (NaN in gives 2^-126).
float exponential2(float x);
// e^x = 2^(x log2 e), the same clamp (x about -87.3..88.0). The product rounds: relative error exponential2's + |x| * 1.2e-7.
float exponential(float x);
// 10^x, the same clamp (x about -37.9..38.2). Relative error exponential2's + |x| * 2.8e-7.
float exponential10(float x);

// log2 of x. x below the smallest normal number (also 0, negative, NaN) is taken as that number: result -126.
// Infinity gives 128.
float logarithm2(float x);

}  // namespace fw
