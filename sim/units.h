// Units as files write them: `4 kPa gauge`, `15 Pa abs`, `0.6 slm`, `8 K/min`, `790 degC`, `2 h 30 min`, `0.006 1/K`.
// A unit is a dimension (exponents of the SI base units), a scale reference and value_si = value * factor + offset.
// SI here means DESIGN's: temperatures on a scale in degC, pressures in Pa, gas amounts in mol, gas flow in mol/s.
#pragma once

#include <array>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

namespace sim {

// Exponents of kg, m, s, K, mol, A. A pure number (1, %, ppm) has none.
struct Dimension {
  std::array<int, 6> exponents{};
  bool operator==(const Dimension&) const = default;
  bool is_number() const { return *this == Dimension{}; }
};
Dimension operator*(const Dimension& a, const Dimension& b);
Dimension operator/(const Dimension& a, const Dimension& b);
std::string name_of(const Dimension& dimension);   // "pressure", "temperature rate", else "kg m-1 s-3"

// What a temperature or pressure is counted from. A temperature in degC is on a scale; in K it is a difference (none).
// A pressure says gauge, abs or diff; `missing` when the text is a plain pressure unit without that word.
enum class Reference { none, degc, gauge, abs, diff, missing };
std::string_view name_of(Reference reference);     // "", "degC", "gauge", "abs", "diff", ""

struct Unit {
  std::string text;            // as written, spaces single
  Dimension dimension;
  Reference reference = Reference::none;
  double factor = 1.0;
  double offset = 0.0;         // 0 for every unit but those of temperatures on a scale other than degC
  double to_si(double value) const { return value * factor + offset; }
  double from_si(double si) const { return (si - offset) / factor; }
};

// What is wrong with a text, in words for a message; `at` counts bytes from the text's start.
struct UnitError : std::runtime_error {
  UnitError(const std::string& found_, const std::string& expected_, std::size_t at_, const std::string& nearest_ = "")
      : std::runtime_error("found " + found_ + "; expected " + expected_), found(found_), expected(expected_), at(at_),
        nearest(nearest_) {}
  std::string found, expected;
  std::size_t at;
  std::string nearest;
};

// "kPa gauge", "W/(m K)", "1/K", "/K", "slm", "slm(20 degC)", "1", "", "Pa L/s". A standard volume is at 0 degC and 101.325 kPa
// unless the unit says otherwise in parentheses: slm(20 degC) or slm(20 degC, 100 kPa). Throws UnitError.
Unit unit_of(std::string_view text);
// Is this word the name of a unit by itself (kPa, min, slm)? For lexers. gauge, abs and diff are not units.
bool is_unit_name(std::string_view word);
// Every unit name of this dimension, for messages: "Pa, hPa, kPa, ...". Empty if only compounds have it.
std::string accepted_units(const Unit& wanted);

// A number with its unit, as text.
struct Quantity {
  double value = 0.0;          // in `unit`
  Unit unit;
  double si() const { return unit.to_si(value); }
};
// Finite decimal number (from_chars: no locale, no inf or nan), then a unit; times may be sums (`2 h 30 min`). A bare number
// has the unit "1". Throws UnitError.
Quantity quantity_of(std::string_view text);

// The value of `text` in the unit `wanted`. Refuses a bare number unless wanted is "1", another dimension, a pressure without
// gauge/abs/diff or with another one, a temperature in K, a difference in degC. Throws UnitError.
double value_in(std::string_view text, const Unit& wanted);

// Shortest text that reads back to the same value: "4000 Pa gauge", "0.5". Never scientific without need, never locale.
std::string text_of(double value, std::string_view unit);
std::string text_of(float value, std::string_view unit);
// Shortest decimal of a number alone.
std::string text_of(double value);
std::string text_of(float value);
// A whole text as one finite number, nothing else around it.
std::optional<double> number_of(std::string_view text);

inline constexpr double gas_constant_j_per_mol_k = 8.31446261815324;   // CODATA 2018, exact
inline constexpr double standard_degc = 0.0, standard_pa = 101325.0;
// mol in one standard litre at the given state
double standard_litre_mol(double reference_degc = standard_degc, double reference_pa = standard_pa);

}  // namespace sim
