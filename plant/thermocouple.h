// Thermocouples as the plant makes their emf: the ITS-90 reference functions E(t), reference junction at 0 degC, in mV and
// degC. Source: NIST Monograph 175 / NIST ITS-90 database, as in IEC 60584-1. The core has its own, independent functions.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace plant {

enum class ThermocoupleType : std::uint8_t { k, n, s, r, b, j, t, e };
inline constexpr int thermocouple_types = 8;
inline constexpr std::array<char, thermocouple_types> thermocouple_letter{'K', 'N', 'S', 'R', 'B', 'J', 'T', 'E'};

struct ThermocoupleRange { double low_degc, high_degc; };
ThermocoupleRange thermocouple_range(ThermocoupleType type);   // of the reference function

// What hangs on a thermocouple input of the station.
inline constexpr int thermocouples_max = 6;      // zones 1 .. 4, load, load 2: their channels
struct ThermocoupleWiring {
  int couple = 0;                                // the thermocouple plugged in, by its own channel
  bool wrong_wire = false;                       // extension wire of another type between head and terminal block
  ThermocoupleType wire = ThermocoupleType::k;
  double head_degc = 60.0;                       // where couple and wire meet
};
constexpr std::array<ThermocoupleWiring, thermocouples_max> straight_wiring() {
  std::array<ThermocoupleWiring, thermocouples_max> wiring{};
  for (int channel = 0; channel < thermocouples_max; ++channel) wiring[static_cast<std::size_t>(channel)].couple = channel;
  return wiring;
}

// E(t) of the hot junction against 0 degC. Outside the range the value at its nearer end (a finite clamp); NaN gives NaN.
double thermocouple_emf_mv(ThermocoupleType type, double junction_degc);
double thermocouple_slope_mv_per_k(ThermocoupleType type, double junction_degc);   // dE/dt, clamped alike

// What a measuring input sees: E(hot) - E(cold).
double thermocouple_terminal_mv(ThermocoupleType type, double hot_degc, double cold_degc);

// The same E(t) for the tick path: cubic Hermite pieces of 1 K, value and slope exact at whole degrees. Error (largest fourth
// derivative / 384) below 1.4e-10 mV above 0 degC, 1.7e-8 mV everywhere (type T near -270 degC) and 1e-7 mV in a degree that holds a
// joint of S, R or B, far below any quantum.
class ThermocoupleTable {
 public:
  explicit ThermocoupleTable(ThermocoupleType type);

  bool covers(double junction_degc) const { return junction_degc >= low_degc_ && junction_degc <= high_degc_; }

  // Clamped to the range; NaN gives the low end.
  double emf_mv(double junction_degc) const {
    const double degc = junction_degc > low_degc_ ? (junction_degc < high_degc_ ? junction_degc : high_degc_) : low_degc_;
    const double above_k = degc - low_degc_;
    const auto whole = static_cast<std::int64_t>(above_k);
    const std::int64_t i = whole < last_ ? whole : last_;
    const double x = above_k - static_cast<double>(i);
    const Interval& at = interval_[static_cast<std::size_t>(i)];
    return at.c0 + x * (at.c1 + x * (at.c2 + x * at.c3));
  }

 private:
  struct Interval { double c0, c1, c2, c3; };   // of x = degrees above the interval's start
  double low_degc_ = 0.0, high_degc_ = 0.0;
  std::int64_t last_ = 0;   // interval
  std::vector<Interval> interval_;
};
const ThermocoupleTable& thermocouple_table(ThermocoupleType type);   // built once

}  // namespace plant
