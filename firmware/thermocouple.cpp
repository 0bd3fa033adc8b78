#include "firmware/thermocouple.h"

#include <cmath>
#include <array>
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

// The other types. Inverses whose published form would lose more than a hundredth of a kelvin to cancellation in float32 are
// written about a centre: the same polynomial, its coefficients computed exactly from the published ones and rounded once.

// S, -50..1064.18 degC, mV / degC^i
constexpr float s_mv_from_minus_50[] = {
    0.000000000000e+00f, 0.540313308631e-02f, 0.125934289740e-04f, -0.232477968689e-07f, 0.322028823036e-10f,
    -0.331465196389e-13f, 0.255744251786e-16f, -0.125068871393e-19f, 0.271443176145e-23f};
// S, 1064.18..1664.5 degC, mV / degC^i
constexpr float s_mv_from_1064[] = {
    0.132900444085e+01f, 0.334509311344e-02f, 0.654805192818e-05f, -0.164856259209e-08f, 0.129989605174e-13f};
// S, 1664.5..1768.1 degC, mV / degC^i
constexpr float s_mv_from_1664[] = {
    0.146628232636e+03f, -0.258430516752e+00f, 0.163693574641e-03f, -0.330439046987e-07f, -0.943223690612e-14f};
// S, -50..250 degC, degC / (mV - 0.75)^i
constexpr float s_degc_from_minus_50[] = {
    1.139887703e+02f, 1.327404461e+02f, -1.541163980e+01f, 7.385902543e+00f, -6.223309251e+00f, 3.424361923e+00f,
    3.316390087e+00f, -1.549660750e+00f, -4.532621850e+00f, 2.797862600e+00f};
// S, 250..1200 degC, degC / (mV - 7.0)^i
constexpr float s_degc_from_250[] = {
    7.680960064e+02f, 9.294313445e+01f, -1.380054077e+00f, 2.901836754e-02f, 5.296913379e-03f, -1.971818986e-04f,
    -1.837320038e-04f, 2.821410964e-05f, 3.725721928e-07f, 8.211272125e-09f};
// S, 1064..1664.5 degC, degC / (mV - 14.0)^i
constexpr float s_degc_from_1064[] = {
    1.369293449e+03f, 8.238599876e+01f, 4.346056820e-02f, 7.261754708e-02f, 1.543955700e-04f, 2.081618890e-04f};
// S, 1664.5..1768.1 degC, degC / (mV - 18.0)^i
constexpr float s_degc_from_1664[] = {
    1.704612081e+03f, 8.768926386e+01f, 3.639756208e+00f, 2.322942164e+00f, 6.247205420e-01f};
// R, -50..1064.18 degC, mV / degC^i
constexpr float r_mv_from_minus_50[] = {
    0.000000000000e+00f, 0.528961729765e-02f, 0.139166589782e-04f, -0.238855693017e-07f, 0.356916001063e-10f,
    -0.462347666298e-13f, 0.500777441034e-16f, -0.373105886191e-19f, 0.157716482367e-22f, -0.281038625251e-26f};
// R, 1064.18..1664.5 degC, mV / degC^i
constexpr float r_mv_from_1064[] = {
    0.295157925316e+01f, -0.252061251332e-02f, 0.159564501865e-04f, -0.764085947576e-08f, 0.205305291024e-11f,
    -0.293359668173e-15f};
// R, 1664.5..1768.1 degC, mV / degC^i
constexpr float r_mv_from_1664[] = {
    0.152232118209e+03f, -0.268819888545e+00f, 0.171280280471e-03f, -0.345895706453e-07f, -0.934633971046e-14f};
// R, -50..250 degC, degC / (mV - 0.75)^i
constexpr float r_degc_from_minus_50[] = {
    1.135143240e+02f, 1.298996715e+02f, -1.738809193e+01f, 7.280356423e+00f, -4.945953620e+00f, 7.363302750e+00f,
    -2.037108426e+00f, -7.144607813e+00f, 1.557523969e+00f, 6.462784250e+00f, -3.318776900e+00f};
// R, 250..1200 degC, degC / (mV - 7.5)^i
constexpr float r_degc_from_250[] = {
    7.631972989e+02f, 8.240737978e+01f, -1.347960876e+00f, 4.486747531e-02f, 9.333600235e-04f, -2.181352676e-05f,
    -5.807964110e-05f, 1.192692589e-05f, -9.380678435e-07f, 6.481976217e-08f};
// R, 1064..1664.5 degC, degC / (mV - 15.5)^i
constexpr float r_degc_from_1064[] = {
    1.361769599e+03f, 7.080430077e+01f, -6.232547018e-02f, 4.768774506e-02f, -3.505308947e-04f, 1.492290091e-04f};
// R, 1664.5..1768.1 degC, degC / (mV - 20.5)^i
constexpr float r_degc_from_1664[] = {
    1.720874022e+03f, 7.579997458e+01f, 3.258330022e+00f, 1.474123544e+00f, 2.560740231e-01f};
// B, 0..630.615 degC, mV / degC^i
constexpr float b_mv_from_0[] = {
    0.000000000000e+00f, -0.246508183460e-03f, 0.590404211710e-05f, -0.132579316360e-08f, 0.156682919010e-11f,
    -0.169445292400e-14f, 0.629903470940e-18f};
// B, 630.615..1820 degC, mV / degC^i
constexpr float b_mv_from_630[] = {
    -0.389381686210e+01f, 0.285717474700e-01f, -0.848851047850e-04f, 0.157852801640e-06f, -0.168353448640e-09f,
    0.111097940130e-12f, -0.445154310330e-16f, 0.989756408210e-20f, -0.937913302890e-24f};
// B, 250..700 degC, degC / (mV - 1.25)^i
constexpr float b_degc_from_250[] = {
    5.016197994e+02f, 1.979215562e+02f, -3.684604146e+01f, 1.593798652e+01f, -7.199502422e+00f, 8.915981250e-01f,
    -1.971320000e+00f, 5.143890000e+00f, -2.474286000e+00f};
// B, 700..1820 degC, degC / (mV - 8.25)^i
constexpr float b_degc_from_700[] = {
    1.336693569e+03f, 9.066475020e+01f, -1.583084254e+00f, 1.815539697e-01f, -6.846968218e-03f, 3.675190398e-04f,
    -2.662679638e-05f, 2.241829900e-05f, -2.487858500e-06f};
// J, -210..760 degC, mV / degC^i
constexpr float j_mv_from_minus_210[] = {
    0.000000000000e+00f, 0.503811878150e-01f, 0.304758369300e-04f, -0.856810657200e-07f, 0.132281952950e-09f,
    -0.170529583370e-12f, 0.209480906970e-15f, -0.125383953360e-18f, 0.156317256970e-22f};
// J, 760..1200 degC, mV / degC^i
constexpr float j_mv_from_760[] = {
    0.296456256810e+03f, -0.149761277860e+01f, 0.317871039240e-02f, -0.318476867010e-05f, 0.157208190040e-08f,
    -0.306913690560e-12f};
// J, -210..0 degC, degC / (mV - -4.0)^i
constexpr float j_degc_from_minus_210[] = {
    -8.496937317e+01f, 2.324251542e+01f, -7.142054908e-01f, 1.118723194e-01f, -2.540888232e-02f, -2.157267536e-03f,
    1.413075192e-03f, 2.860092720e-04f, -8.382332100e-05f};
// J, 0..760 degC, degC / mV^i
constexpr float j_degc_from_0[] = {
    0.000000e+00f, 1.978425e+01f, -2.001204e-01f, 1.036969e-02f, -2.549687e-04f, 3.585153e-06f, -5.344285e-08f,
    5.099890e-10f};
// J, 760..1200 degC, degC / (mV - 56.25)^i
constexpr float j_degc_from_760[] = {
    9.714571441e+02f, 1.665671263e+01f, 6.659325244e-02f, -1.608154234e-03f, -9.753006875e-05f, 4.738860840e-06f};
// T, -270..0 degC, mV / degC^i
constexpr float t_mv_from_minus_270[] = {
    0.000000000000e+00f, 0.387481063640e-01f, 0.441944343470e-04f, 0.118443231050e-06f, 0.200329735540e-07f,
    0.901380195590e-09f, 0.226511565930e-10f, 0.360711542050e-12f, 0.384939398830e-14f, 0.282135219250e-16f,
    0.142515947790e-18f, 0.487686622860e-21f, 0.107955392700e-23f, 0.139450270620e-26f, 0.797951539270e-30f};
// T, 0..400 degC, mV / degC^i
constexpr float t_mv_from_0[] = {
    0.000000000000e+00f, 0.387481063640e-01f, 0.332922278800e-04f, 0.206182434040e-06f, -0.218822568460e-08f,
    0.109968809280e-10f, -0.308157587720e-13f, 0.454791352900e-16f, -0.275129016730e-19f};
// T, -200..0 degC, degC / mV^i
constexpr float t_degc_from_minus_200[] = {
    0.0000000e+00f, 2.5949192e+01f, -2.1316967e-01f, 7.9018692e-01f, 4.2527777e-01f, 1.3304473e-01f, 2.0241446e-02f,
    1.2668171e-03f};
// T, 0..400 degC, degC / mV^i
constexpr float t_degc_from_0[] = {
    0.000000e+00f, 2.592800e+01f, -7.602961e-01f, 4.637791e-02f, -2.165394e-03f, 6.048144e-05f, -7.293422e-07f};
// E, -270..0 degC, mV / degC^i
constexpr float e_mv_from_minus_270[] = {
    0.000000000000e+00f, 0.586655087080e-01f, 0.454109771240e-04f, -0.779980486860e-06f, -0.258001608430e-07f,
    -0.594525830570e-09f, -0.932140586670e-11f, -0.102876055340e-12f, -0.803701236210e-15f, -0.439794973910e-17f,
    -0.164147763550e-19f, -0.396736195160e-22f, -0.558273287210e-25f, -0.346578420130e-28f};
// E, 0..1000 degC, mV / degC^i
constexpr float e_mv_from_0[] = {
    0.000000000000e+00f, 0.586655087100e-01f, 0.450322755820e-04f, 0.289084072120e-07f, -0.330568966520e-09f,
    0.650244032700e-12f, -0.191974955040e-15f, -0.125366004970e-17f, 0.214892175690e-20f, -0.143880417820e-23f,
    0.359608994810e-27f};
// E, -200..0 degC, degC / (mV - -4.5)^i
constexpr float e_degc_from_minus_200[] = {
    -8.412820478e+01f, 2.096230494e+01f, -7.046629533e-01f, 7.271617316e-02f, -8.411945706e-03f, -1.258556050e-04f,
    2.740692000e-05f, 7.599574000e-05f, -1.156489000e-05f};
// E, 0..1000 degC, degC / (mV - 38.25)^i
constexpr float e_degc_from_0[] = {
    5.153715182e+02f, 1.235131873e+01f, -6.963867110e-04f, 4.567085117e-04f, -3.962181090e-06f, -1.445445472e-07f,
    -8.112330903e-10f, 1.701417539e-10f, -5.400866997e-13f, -3.244708700e-14f};

struct Piece {
  // cppcheck-suppress unusedStructMember ; read where the piece is looked for
  float high;   // of the argument; the piece below ends where the next begins
  std::span<const float> coefficients;
  float centre = 0.0f;
};

struct Functions {
  ThermocoupleRange range;
  float reference_low_degc;
  std::span<const Piece> mv;
  std::span<const Piece> degc;
};

// Type B: its emf falls to -0.0026 mV at 21 degC and is back at that of 0 degC at 42: below 50 degC it tells nothing.
constexpr float b_fold_top_degc = 50.0f, b_fold_top_mv = 0.0022782f;
constexpr float b_inverse_low_mv = 0.2912795f;   // 250 degC: the published inverse begins

constexpr Piece k_mv[] = {{0.0f, k_mv_cold}, {1372.0f, k_mv_hot}};
constexpr Piece k_degc[] = {
    {0.0f, k_degc_from_minus_200}, {20.644286f, k_degc_from_0}, {54.886364f, k_degc_from_500}};
constexpr Piece n_mv[] = {{0.0f, n_mv_cold}, {1300.0f, n_mv_hot}};
constexpr Piece n_degc[] = {
    {0.0f, n_degc_from_minus_200}, {20.613107f, n_degc_from_0}, {47.512772f, n_degc_from_600}};
// Of two inverses that both hold from 1064 to 1200 degC (S, R) the one with the smaller published error is used.
constexpr Piece s_mv[] = {{1064.18f, s_mv_from_minus_50}, {1664.5f, s_mv_from_1064}, {1768.1f, s_mv_from_1664}};
constexpr Piece s_degc[] = {{1.8735704f, s_degc_from_minus_50, 0.75f},
                            {10.332091f, s_degc_from_250, 7.0f},
                            {17.535957f, s_degc_from_1064, 14.0f},
                            {18.693541f, s_degc_from_1664, 18.0f}};
constexpr Piece r_mv[] = {{1064.18f, r_mv_from_minus_50}, {1664.5f, r_mv_from_1064}, {1768.1f, r_mv_from_1664}};
constexpr Piece r_degc[] = {{1.9234314f, r_degc_from_minus_50, 0.75f},
                            {11.361315f, r_degc_from_250, 7.5f},
                            {19.738829f, r_degc_from_1064, 15.5f},
                            {21.102702f, r_degc_from_1664, 20.5f}};
constexpr Piece b_mv[] = {{630.615f, b_mv_from_0}, {1820.0f, b_mv_from_630}};
constexpr Piece b_degc[] = {{2.4306259f, b_degc_from_250, 1.25f}, {13.820279f, b_degc_from_700, 8.25f}};
constexpr Piece j_mv[] = {{760.0f, j_mv_from_minus_210}, {1200.0f, j_mv_from_760}};
constexpr Piece j_degc[] = {
    {0.0f, j_degc_from_minus_210, -4.0f}, {42.918641f, j_degc_from_0}, {69.553180f, j_degc_from_760, 56.25f}};
constexpr Piece t_mv[] = {{0.0f, t_mv_from_minus_270}, {400.0f, t_mv_from_0}};
constexpr Piece t_degc[] = {{0.0f, t_degc_from_minus_200}, {20.871970f, t_degc_from_0}};
constexpr Piece e_mv[] = {{0.0f, e_mv_from_minus_270}, {1000.0f, e_mv_from_0}};
constexpr Piece e_degc[] = {{0.0f, e_degc_from_minus_200, -4.5f}, {76.372826f, e_degc_from_0, 38.25f}};

constexpr Functions type_k = {{-200.0f, 1372.0f, -5.891404f, 54.886364f}, -270.0f, k_mv, k_degc};
constexpr Functions type_n = {{-200.0f, 1300.0f, -3.990376f, 47.512772f}, -270.0f, n_mv, n_degc};
constexpr Functions type_s = {{-50.0f, 1768.1f, -0.2355551f, 18.693541f}, -50.0f, s_mv, s_degc};
constexpr Functions type_r = {{-50.0f, 1768.1f, -0.2264652f, 21.102702f}, -50.0f, r_mv, r_degc};
constexpr Functions type_b = {{b_fold_top_degc, 1820.0f, -0.03f, 13.820279f}, 0.0f, b_mv, b_degc};
constexpr Functions type_j = {{-210.0f, 1200.0f, -8.0953797f, 69.553180f}, -210.0f, j_mv, j_degc};
constexpr Functions type_t = {{-200.0f, 400.0f, -5.6029607f, 20.871970f}, -270.0f, t_mv, t_degc};
constexpr Functions type_e = {{-200.0f, 1000.0f, -8.8245811f, 76.372826f}, -270.0f, e_mv, e_degc};

const Functions& functions_of(ThermocoupleType type) {
  switch (type) {
    case ThermocoupleType::n:
      return type_n;
    case ThermocoupleType::s:
      return type_s;
    case ThermocoupleType::r:
      return type_r;
    case ThermocoupleType::b:
      return type_b;
    case ThermocoupleType::j:
      return type_j;
    case ThermocoupleType::t:
      return type_t;
    case ThermocoupleType::e:
      return type_e;
    default:
      return type_k;
  }
}

const Piece& piece_of(std::span<const Piece> pieces, float x) {
  std::size_t piece = 0;
  while (piece + 1 < pieces.size() && x > pieces[piece].high) ++piece;
  return pieces[piece];
}

float horner(std::span<const float> coefficients, float x) {
  float sum = 0.0f;
  for (std::size_t i = coefficients.size(); i-- > 0;) sum = sum * x + coefficients[i];
  return sum;
}

float clamped(float x, float low, float high) {
  if (!(x > low)) return low;  // also a NaN
  return x < high ? x : high;
}

// Type B between the fold and the published inverse: the root of the reference function by Newton from the root of its first
// two terms, which lies below by at most 7 K at 250 degC; the function is convex there, so three steps converge to float32.
float type_b_low_degc(float emf_mv) {
  constexpr float c1 = b_mv_from_0[1], c2 = b_mv_from_0[2];
  float t = (-c1 + std::sqrt(c1 * c1 + 4.0f * c2 * emf_mv)) / (2.0f * c2);
  for (int step = 0; step < 3; ++step) {
    float value = 0.0f, slope = 0.0f;
    for (std::size_t i = std::size(b_mv_from_0); i-- > 0;) {
      slope = slope * t + value;
      value = value * t + b_mv_from_0[i];
    }
    t -= (value - emf_mv) / (slope > 1.0e-4f ? slope : 1.0e-4f);
  }
  return t;
}

}  // namespace

ThermocoupleRange thermocouple_range(ThermocoupleType type) { return functions_of(type).range; }

float thermocouple_mv(ThermocoupleType type, float junction_degc) {
  const Functions& f = functions_of(type);
  const float t = clamped(junction_degc, f.reference_low_degc, f.range.high_degc);
  const float mv = horner(piece_of(f.mv, t).coefficients, t);
  if (type != ThermocoupleType::k || t <= 0.0f) return mv;
  // Type K above 0 degC: a0 exp(a1 (t - a2)^2) on top (the ordering anomaly of chromel).
  const float distance = t - 0.126968600000e+03f;
  return mv + 0.118597600000e+00f * exponential(-0.118343200000e-03f * (distance * distance));
}

float thermocouple_degc(ThermocoupleType type, float emf_mv) {
  const Functions& f = functions_of(type);
  const float mv = clamped(emf_mv, f.range.low_mv, f.range.high_mv);
  if (type == ThermocoupleType::b && mv < b_inverse_low_mv) return mv <= b_fold_top_mv ? b_fold_top_degc : type_b_low_degc(mv);
  const Piece& piece = piece_of(f.degc, mv);
  return clamped(horner(piece.coefficients, mv - piece.centre), f.range.low_degc, f.range.high_degc);
}

ThermocoupleReading thermocouple_reading(ThermocoupleType type, float terminal_mv, float cold_junction_degc) {
  const Functions& f = functions_of(type);
  const float mv = terminal_mv + thermocouple_mv(type, cold_junction_degc);
  const bool in_range = std::isfinite(cold_junction_degc) && mv >= f.range.low_mv && mv <= f.range.high_mv;
  return {thermocouple_degc(type, mv), in_range, in_range && type == ThermocoupleType::b && mv <= b_fold_top_mv};
}

}  // namespace fw
