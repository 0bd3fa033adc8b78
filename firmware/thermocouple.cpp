#include "firmware/thermocouple.h"

#include <cmath>
#include <span>

#include "firmware/exponential.h"

namespace fw {

namespace {

// Coefficients as printed by NIST (ITS-90 Thermocouple Database, SRD 60, after Monograph 175, 1993), reference junction
// 0 degC, in rising powers.

// K, -270..0 degC, mV / degC^i
constexpr float k_mv_cold[] = {
    0.000000000000e+00f, 0.394501280250e-01f, 0.236223735980e-04f, -0.328589067840e-06f, -0.499048287770e-08f,
    -0.675090591730e-10f, -0.574103274280e-12f, -0.310888728940e-14f, -0.104516093650e-16f, -0.198892668780e-19f,
    -0.163226974860e-22f};
// K, 0..1372 degC, mV / degC^i
constexpr float k_mv_hot[] = {
    -0.176004136860e-01f, 0.389212049750e-01f, 0.185587700320e-04f, -0.994575928740e-07f, 0.318409457190e-09f,
    -0.560728448890e-12f, 0.560750590590e-15f, -0.320207200030e-18f, 0.971511471520e-22f, -0.121047212750e-25f};
// K, -200..0 degC, degC / mV^i
constexpr float k_degc_from_minus_200[] = {
    0.0000000e+00f, 2.5173462e+01f, -1.1662878e+00f, -1.0833638e+00f, -8.9773540e-01f, -3.7342377e-01f,
    -8.6632643e-02f, -1.0450598e-02f, -5.1920577e-04f};
// K, 0..500 degC, degC / mV^i
constexpr float k_degc_from_0[] = {
    0.000000e+00f, 2.508355e+01f, 7.860106e-02f, -2.503131e-01f, 8.315270e-02f, -1.228034e-02f, 9.804036e-04f,
    -4.413030e-05f, 1.057734e-06f, -1.052755e-08f};
// K, 500..1372 degC, degC / mV^i
constexpr float k_degc_from_500[] = {
    -1.318058e+02f, 4.830222e+01f, -1.646031e+00f, 5.464731e-02f, -9.650715e-04f, 8.802193e-06f, -3.110810e-08f};
// N, -270..0 degC, mV / degC^i
constexpr float n_mv_cold[] = {
    0.000000000000e+00f, 0.261591059620e-01f, 0.109574842280e-04f, -0.938411115540e-07f, -0.464120397590e-10f,
    -0.263033577160e-11f, -0.226534380030e-13f, -0.760893007910e-16f, -0.934196678350e-19f};
// N, 0..1300 degC, mV / degC^i
constexpr float n_mv_hot[] = {
    0.000000000000e+00f, 0.259293946010e-01f, 0.157101418800e-04f, 0.438256272370e-07f, -0.252611697940e-09f,
    0.643118193390e-12f, -0.100634715190e-14f, 0.997453389920e-18f, -0.608632456070e-21f, 0.208492293390e-24f,
    -0.306821961510e-28f};
// N, -200..0 degC, degC / mV^i
constexpr float n_degc_from_minus_200[] = {
    0.0000000e+00f, 3.8436847e+01f, 1.1010485e+00f, 5.2229312e+00f, 7.2060525e+00f, 5.8488586e+00f,
    2.7754916e+00f, 7.7075166e-01f, 1.1582665e-01f, 7.3138868e-03f};
// N, 0..600 degC, degC / mV^i
constexpr float n_degc_from_0[] = {
    0.00000e+00f, 3.86896e+01f, -1.08267e+00f, 4.70205e-02f, -2.12169e-06f, -1.17272e-04f, 5.39280e-06f,
    -7.98156e-08f};
// N, 600..1300 degC, degC / mV^i
constexpr float n_degc_from_600[] = {
    1.972485e+01f, 3.300943e+01f, -3.915159e-01f, 9.855391e-03f, -1.274371e-04f, 7.767022e-07f};

struct Piece {
  float high;   // of the argument; the piece below ends where the next begins
  std::span<const float> coefficients;
};

struct Functions {
  ThermocoupleRange range;
  float reference_low_degc;
  Piece mv[2];
  Piece degc[3];
};

constexpr Functions type_k = {
    {-200.0f, 1372.0f, -5.891404f, 54.886364f},
    -270.0f,
    {{0.0f, k_mv_cold}, {1372.0f, k_mv_hot}},
    {{0.0f, k_degc_from_minus_200}, {20.644286f, k_degc_from_0}, {54.886364f, k_degc_from_500}}};
constexpr Functions type_n = {
    {-200.0f, 1300.0f, -3.990376f, 47.512772f},
    -270.0f,
    {{0.0f, n_mv_cold}, {1300.0f, n_mv_hot}},
    {{0.0f, n_degc_from_minus_200}, {20.613107f, n_degc_from_0}, {47.512772f, n_degc_from_600}}};

const Functions& functions_of(ThermocoupleType type) { return type == ThermocoupleType::n ? type_n : type_k; }

float horner(std::span<const float> coefficients, float x) {
  float sum = 0.0f;
  for (std::size_t i = coefficients.size(); i-- > 0;) sum = sum * x + coefficients[i];
  return sum;
}

float clamped(float x, float low, float high) {
  if (!(x > low)) return low;  // also a NaN
  return x < high ? x : high;
}

}  // namespace

ThermocoupleRange thermocouple_range(ThermocoupleType type) { return functions_of(type).range; }

float thermocouple_mv(ThermocoupleType type, float junction_degc) {
  const Functions& f = functions_of(type);
  const float t = clamped(junction_degc, f.reference_low_degc, f.range.high_degc);
  if (t <= f.mv[0].high) return horner(f.mv[0].coefficients, t);
  const float mv = horner(f.mv[1].coefficients, t);
  if (type == ThermocoupleType::n) return mv;
  // Type K above 0 degC: a0 exp(a1 (t - a2)^2) on top (the ordering anomaly of chromel).
  const float distance = t - 0.126968600000e+03f;
  return mv + 0.118597600000e+00f * exponential(-0.118343200000e-03f * (distance * distance));
}

float thermocouple_degc(ThermocoupleType type, float emf_mv) {
  const Functions& f = functions_of(type);
  const float mv = clamped(emf_mv, f.range.low_mv, f.range.high_mv);
  int piece = 0;
  while (piece < 2 && mv > f.degc[piece].high) ++piece;
  return clamped(horner(f.degc[piece].coefficients, mv), f.range.low_degc, f.range.high_degc);
}

ThermocoupleReading thermocouple_reading(ThermocoupleType type, float terminal_mv, float cold_junction_degc) {
  const Functions& f = functions_of(type);
  const float mv = terminal_mv + thermocouple_mv(type, cold_junction_degc);
  const bool in_range = std::isfinite(cold_junction_degc) && mv >= f.range.low_mv && mv <= f.range.high_mv;
  return {thermocouple_degc(type, mv), in_range};
}

}  // namespace fw
