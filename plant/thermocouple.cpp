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
  std::array<double, 11> coefficient;   // of t^0, t^1, ... in mV
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

constexpr std::array<std::span<const Piece>, thermocouple_types> types{type_k, type_n};

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
  static const std::array<ThermocoupleTable, thermocouple_types> tables{ThermocoupleTable(ThermocoupleType::k),
                                                                        ThermocoupleTable(ThermocoupleType::n)};
  return tables[static_cast<std::size_t>(type)];
}

}  // namespace plant
