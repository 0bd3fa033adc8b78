#include "plant/thermocouple.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>

namespace plant {

namespace {

struct Gaussian { double height_mv, per_k2, centre_degc; };   // adds height * exp(per_k2 * (t - centre)^2)

struct Piece {
  double low_degc, high_degc;
  std::array<double, 15> coefficient;   // of t^0, t^1, ... in mV
  Gaussian bump;
};

constexpr Gaussian no_bump{0.0, 0.0, 0.0};

// NIST ITS-90 thermocouple database (NIST Monograph 175), digit for digit. A joint belongs to the piece below it.
constexpr std::array<Piece, 2> type_k{{
    {-270.0, 0.0,
     {0.000000000000E+00, 0.394501280250E-01, 0.236223735980E-04, -0.328589067840E-06, -0.499048287770E-08, -0.675090591730E-10,
      -0.574103274280E-12, -0.310888728940E-14, -0.104516093650E-16, -0.198892668780E-19, -0.163226974860E-22},
     no_bump},
    {0.0, 1372.0,
     {-0.176004136860E-01, 0.389212049750E-01, 0.185587700320E-04, -0.994575928740E-07, 0.318409457190E-09, -0.560728448890E-12,
      0.560750590590E-15, -0.320207200030E-18, 0.971511471520E-22, -0.121047212750E-25, 0.0},
     {0.118597600000E+00, -0.118343200000E-03, 0.126968600000E+03}},
}};

constexpr std::array<Piece, 2> type_n{{
    {-270.0, 0.0,
     {0.000000000000E+00, 0.261591059620E-01, 0.109574842280E-04, -0.938411115540E-07, -0.464120397590E-10, -0.263033577160E-11,
      -0.226534380030E-13, -0.760893007910E-16, -0.934196678350E-19, 0.0, 0.0},
     no_bump},
    {0.0, 1300.0,
     {0.000000000000E+00, 0.259293946010E-01, 0.157101418800E-04, 0.438256272370E-07, -0.252611697940E-09, 0.643118193390E-12,
      -0.100634715190E-14, 0.997453389920E-18, -0.608632456070E-21, 0.208492293390E-24, -0.306821961510E-28},
     no_bump},
}};

constexpr std::array<Piece, 3> type_s{{
    {-50.0, 1064.18,
     {0.000000000000E+00, 0.540313308631E-02, 0.125934289740E-04, -0.232477968689E-07, 0.322028823036E-10, -0.331465196389E-13,
      0.255744251786E-16, -0.125068871393E-19, 0.271443176145E-23},
     no_bump},
    {1064.18, 1664.5,
     {0.132900444085E+01, 0.334509311344E-02, 0.654805192818E-05, -0.164856259209E-08, 0.129989605174E-13},
     no_bump},
    {1664.5, 1768.1,
     {0.146628232636E+03, -0.258430516752E+00, 0.163693574641E-03, -0.330439046987E-07, -0.943223690612E-14},
     no_bump},
}};

constexpr std::array<Piece, 3> type_r{{
    {-50.0, 1064.18,
     {0.000000000000E+00, 0.528961729765E-02, 0.139166589782E-04, -0.238855693017E-07, 0.356916001063E-10, -0.462347666298E-13,
      0.500777441034E-16, -0.373105886191E-19, 0.157716482367E-22, -0.281038625251E-26},
     no_bump},
    {1064.18, 1664.5,
     {0.295157925316E+01, -0.252061251332E-02, 0.159564501865E-04, -0.764085947576E-08, 0.205305291024E-11, -0.293359668173E-15},
     no_bump},
    {1664.5, 1768.1,
     {0.152232118209E+03, -0.268819888545E+00, 0.171280280471E-03, -0.345895706453E-07, -0.934633971046E-14},
     no_bump},
}};

constexpr std::array<Piece, 2> type_b{{
    {0.0, 630.615,
     {0.000000000000E+00, -0.246508183460E-03, 0.590404211710E-05, -0.132579316360E-08, 0.156682919010E-11, -0.169445292400E-14,
      0.629903470940E-18},
     no_bump},
    {630.615, 1820.0,
     {-0.389381686210E+01, 0.285717474700E-01, -0.848851047850E-04, 0.157852801640E-06, -0.168353448640E-09, 0.111097940130E-12,
      -0.445154310330E-16, 0.989756408210E-20, -0.937913302890E-24},
     no_bump},
}};

constexpr std::array<Piece, 2> type_j{{
    {-210.0, 760.0,
     {0.000000000000E+00, 0.503811878150E-01, 0.304758369300E-04, -0.856810657200E-07, 0.132281952950E-09, -0.170529583370E-12,
      0.209480906970E-15, -0.125383953360E-18, 0.156317256970E-22},
     no_bump},
    {760.0, 1200.0,
     {0.296456256810E+03, -0.149761277860E+01, 0.317871039240E-02, -0.318476867010E-05, 0.157208190040E-08, -0.306913690560E-12},
     no_bump},
}};

constexpr std::array<Piece, 2> type_t{{
    {-270.0, 0.0,
     {0.000000000000E+00, 0.387481063640E-01, 0.441944343470E-04, 0.118443231050E-06, 0.200329735540E-07, 0.901380195590E-09,
      0.226511565930E-10, 0.360711542050E-12, 0.384939398830E-14, 0.282135219250E-16, 0.142515947790E-18, 0.487686622860E-21,
      0.107955392700E-23, 0.139450270620E-26, 0.797951539270E-30},
     no_bump},
    {0.0, 400.0,
     {0.000000000000E+00, 0.387481063640E-01, 0.332922278800E-04, 0.206182434040E-06, -0.218822568460E-08, 0.109968809280E-10,
      -0.308157587720E-13, 0.454791352900E-16, -0.275129016730E-19},
     no_bump},
}};

constexpr std::array<Piece, 2> type_e{{
    {-270.0, 0.0,
     {0.000000000000E+00, 0.586655087080E-01, 0.454109771240E-04, -0.779980486860E-06, -0.258001608430E-07, -0.594525830570E-09,
      -0.932140586670E-11, -0.102876055340E-12, -0.803701236210E-15, -0.439794973910E-17, -0.164147763550E-19, -0.396736195160E-22,
      -0.558273287210E-25, -0.346578420130E-28},
     no_bump},
    {0.0, 1000.0,
     {0.000000000000E+00, 0.586655087100E-01, 0.450322755820E-04, 0.289084072120E-07, -0.330568966520E-09, 0.650244032700E-12,
      -0.191974955040E-15, -0.125366004970E-17, 0.214892175690E-20, -0.143880417820E-23, 0.359608994810E-27},
     no_bump},
}};

constexpr std::array<std::span<const Piece>, thermocouple_types> types{type_k, type_n, type_s, type_r,
                                                                       type_b, type_j, type_t, type_e};

std::span<const Piece> pieces_of(ThermocoupleType type) { return types[static_cast<std::size_t>(type)]; }

const Piece& piece_at(ThermocoupleType type, double degc) {
  for (const Piece& piece : pieces_of(type)) {
    if (degc <= piece.high_degc) return piece;
  }
  return pieces_of(type).back();
}

double piece_emf(const Piece& piece, double degc) {
  double sum = 0.0;
  for (std::size_t i = piece.coefficient.size(); i-- > 0;) sum = sum * degc + piece.coefficient[i];
  if (piece.bump.height_mv == 0.0) return sum;
  const double off_k = degc - piece.bump.centre_degc;
  return sum + piece.bump.height_mv * std::exp(piece.bump.per_k2 * off_k * off_k);
}

double piece_slope(const Piece& piece, double degc) {
  double sum = 0.0;
  for (std::size_t i = piece.coefficient.size(); i-- > 1;) sum = sum * degc + static_cast<double>(i) * piece.coefficient[i];
  if (piece.bump.height_mv == 0.0) return sum;
  const double off_k = degc - piece.bump.centre_degc;
  return sum + 2.0 * piece.bump.per_k2 * off_k * piece.bump.height_mv * std::exp(piece.bump.per_k2 * off_k * off_k);
}

double clamped(ThermocoupleType type, double degc) {
  const ThermocoupleRange range = thermocouple_range(type);
  return degc < range.low_degc ? range.low_degc : (degc > range.high_degc ? range.high_degc : degc);
}

}  // namespace

ThermocoupleRange thermocouple_range(ThermocoupleType type) {
  return {pieces_of(type).front().low_degc, pieces_of(type).back().high_degc};
}

double thermocouple_emf_mv(ThermocoupleType type, double junction_degc) {
  const double degc = clamped(type, junction_degc);
  return piece_emf(piece_at(type, degc), degc);
}

double thermocouple_slope_mv_per_k(ThermocoupleType type, double junction_degc) {
  const double degc = clamped(type, junction_degc);
  return piece_slope(piece_at(type, degc), degc);
}

double thermocouple_terminal_mv(ThermocoupleType type, double hot_degc, double cold_degc) {
  return thermocouple_emf_mv(type, hot_degc) - thermocouple_emf_mv(type, cold_degc);
}

// A joint's slope differs between its two pieces (type N at 0 degC by 0.23 uV/K), so that each interval carries the slopes of
// its own piece at both ends.
ThermocoupleTable::ThermocoupleTable(ThermocoupleType type) {
  const ThermocoupleRange range = thermocouple_range(type);
  low_degc_ = range.low_degc;
  high_degc_ = range.high_degc;
  const int intervals = static_cast<int>(high_degc_ - low_degc_);
  for (int i = 0; i < intervals; ++i) {
    const double left = low_degc_ + i;
    const Piece& piece = piece_at(type, left + 0.5);
    const double e0 = piece_emf(piece, left), e1 = piece_emf(piece, left + 1.0);
    const double s0 = piece_slope(piece, left), s1 = piece_slope(piece, left + 1.0);
    interval_.push_back({e0, s0, 3.0 * (e1 - e0) - 2.0 * s0 - s1, s0 + s1 - 2.0 * (e1 - e0)});
  }
  last_ = intervals - 1;
}

const ThermocoupleTable& thermocouple_table(ThermocoupleType type) {
  using T = ThermocoupleType;
  static const std::array<ThermocoupleTable, thermocouple_types> tables{
      ThermocoupleTable(T::k), ThermocoupleTable(T::n), ThermocoupleTable(T::s), ThermocoupleTable(T::r),
      ThermocoupleTable(T::b), ThermocoupleTable(T::j), ThermocoupleTable(T::t), ThermocoupleTable(T::e)};
  return tables[static_cast<std::size_t>(type)];
}

}  // namespace plant
