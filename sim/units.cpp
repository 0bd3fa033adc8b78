#include "sim/units.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <utility>
#include <vector>

#include "sim/input_error.h"

namespace sim {

namespace {

struct NamedUnit {
  const char* name;
  Dimension dimension;
  double factor;
  Reference reference = Reference::none;
  double offset = 0.0;
};

constexpr Dimension number{{0, 0, 0, 0, 0, 0}}, mass{{1, 0, 0, 0, 0, 0}}, length{{0, 1, 0, 0, 0, 0}}, duration{{0, 0, 1, 0, 0, 0}},
    kelvin{{0, 0, 0, 1, 0, 0}}, amount{{0, 0, 0, 0, 1, 0}}, current{{0, 0, 0, 0, 0, 1}}, volume{{0, 3, 0, 0, 0, 0}},
    pressure{{1, -1, -2, 0, 0, 0}}, energy{{1, 2, -2, 0, 0, 0}}, power{{1, 2, -3, 0, 0, 0}}, force{{1, 1, -2, 0, 0, 0}},
    voltage{{1, 2, -3, 0, 0, -1}}, resistance{{1, 2, -3, 0, 0, -2}}, gas_flow{{0, 0, -1, 0, 1, 0}}, frequency{{0, 0, -1, 0, 0, 0}};

constexpr double litre_mol = 1e-3 * standard_pa / (gas_constant_j_per_mol_k * 273.15);
constexpr double torr_pa = 101325.0 / 760.0;              // by definition
constexpr double pound_force_n = 0.45359237 * 9.80665;    // international pound, standard gravity
constexpr double inch_m = 0.0254;

// Sources of the pressure units: tests/reference/pressure_units.csv. mmHg, inHg and the water columns are the conventional ones.
constexpr NamedUnit units[] = {
    {"1", number, 1.0}, {"%", number, 1e-2}, {"ppm", number, 1e-6}, {"ppb", number, 1e-9},
    {"degC", kelvin, 1.0, Reference::degc}, {"degF", kelvin, 5.0 / 9.0, Reference::degc, -160.0 / 9.0},
    {"K", kelvin, 1.0}, {"mK", kelvin, 1e-3},
    {"Pa", pressure, 1.0}, {"hPa", pressure, 100.0}, {"kPa", pressure, 1e3}, {"MPa", pressure, 1e6}, {"bar", pressure, 1e5},
    {"mbar", pressure, 100.0}, {"atm", pressure, 101325.0}, {"Torr", pressure, torr_pa}, {"mTorr", pressure, torr_pa * 1e-3},
    {"mmHg", pressure, 133.322387415}, {"inHg", pressure, 3386.388640341},
    {"psi", pressure, pound_force_n / (inch_m * inch_m)}, {"psf", pressure, pound_force_n / (144.0 * inch_m * inch_m)},
    {"mmH2O", pressure, 9.80665}, {"inH2O", pressure, 249.08891}, {"micron", pressure, torr_pa * 1e-3},
    {"s", duration, 1.0}, {"ms", duration, 1e-3}, {"us", duration, 1e-6}, {"min", duration, 60.0}, {"h", duration, 3600.0},
    {"d", duration, 86400.0}, {"Hz", frequency, 1.0}, {"rpm", frequency, 1.0 / 60.0},
    {"m", length, 1.0}, {"cm", length, 1e-2}, {"mm", length, 1e-3}, {"um", length, 1e-6}, {"in", length, inch_m},
    {"L", volume, 1e-3}, {"mL", volume, 1e-6}, {"g", mass, 1e-3}, {"kg", mass, 1.0}, {"mg", mass, 1e-6}, {"lb", mass, 0.45359237},
    {"mol", amount, 1.0}, {"mmol", amount, 1e-3}, {"umol", amount, 1e-6}, {"sL", amount, litre_mol}, {"scc", amount, litre_mol * 1e-3},
    {"slm", gas_flow, litre_mol / 60.0}, {"sccm", gas_flow, litre_mol * 1e-3 / 60.0},
    {"W", power, 1.0}, {"mW", power, 1e-3}, {"kW", power, 1e3}, {"J", energy, 1.0}, {"kJ", energy, 1e3}, {"MJ", energy, 1e6},
    {"Wh", energy, 3600.0}, {"kWh", energy, 3.6e6}, {"N", force, 1.0}, {"kgf", force, 9.80665},
    {"V", voltage, 1.0}, {"mV", voltage, 1e-3}, {"uV", voltage, 1e-6}, {"A", current, 1.0}, {"mA", current, 1e-3},
    {"ohm", resistance, 1.0}, {"mohm", resistance, 1e-3}, {"kohm", resistance, 1e3},
};

const NamedUnit* find_unit(std::string_view name) {
  for (const NamedUnit& unit : units)
    if (name == unit.name) return &unit;
  return nullptr;
}

std::string nearest_unit(std::string_view name) {
  std::vector<std::string> names{"gauge", "abs", "diff"};
  for (const NamedUnit& unit : units) names.emplace_back(unit.name);
  for (const NamedUnit& unit : units)          // the case is what most slips are about: KPA, Degc, SLM
    if (std::string_view(unit.name).size() == name.size()) {
      bool same = true;
      for (std::size_t i = 0; i < name.size(); ++i) same = same && (name[i] | 0x20) == (unit.name[i] | 0x20);
      if (same) return unit.name;
    }
  return nearest_name(name, names);
}

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '%'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

// unit := [ "/" ] factor { ("/" | "*" | blank) factor };  factor := "(" unit ")" | name [ "^" ] [ "-" ] [digit] [ state ] | "1"
// The word gauge, abs or diff may follow a whole unit.
class UnitParser {
 public:
  explicit UnitParser(std::string_view text) : text_(text) {}

  Unit parse() {
    Unit unit;
    skip();
    if (at_ < text_.size()) unit = product(0);
    const std::size_t start = std::min(text_.find_first_not_of(' '), at_);
    unit.text = std::string(text_.substr(start, at_ - start));
    while (!unit.text.empty() && unit.text.back() == ' ') unit.text.pop_back();
    const bool is_pressure = unit.dimension == pressure && unit.reference == Reference::none;
    if (is_pressure) unit.reference = Reference::missing;
    skip();
    const std::size_t begin = at_;
    const std::string_view tail = word();
    for (const Reference reference : {Reference::gauge, Reference::abs, Reference::diff})
      if (!tail.empty() && tail == name_of(reference)) {
        if (!is_pressure) throw UnitError("`" + std::string(tail) + "` after a unit that is no pressure", "no such word", begin);
        unit.reference = reference;
        unit.text += " " + std::string(tail);
        skip();
        if (at_ == text_.size()) return unit;
      }
    if (begin != text_.size())
      throw UnitError("`" + std::string(text_.substr(begin)) + "` after the unit", "the end of the unit", begin,
                      is_pressure ? nearest_name(tail, {"gauge", "abs", "diff"}) : "");
    return unit;
  }

 private:
  void skip() { while (at_ < text_.size() && text_[at_] == ' ') ++at_; }
  char peek() const { return at_ < text_.size() ? text_[at_] : '\0'; }

  std::string_view word() {
    const std::size_t begin = at_;
    while (is_letter(peek())) ++at_;
    return text_.substr(begin, at_ - begin);
  }

  static bool is_reference(std::string_view name) { return name == "gauge" || name == "abs" || name == "diff"; }

  void join(Unit& unit, const Unit& next, bool divide, std::size_t place) const {
    if (unit.reference == Reference::degc || next.reference == Reference::degc)
      throw UnitError("a temperature on a scale inside a compound unit", "K", place, "K");
    unit.dimension = divide ? unit.dimension / next.dimension : unit.dimension * next.dimension;
    unit.factor = divide ? unit.factor / next.factor : unit.factor * next.factor;
  }

  Unit product(int depth) {
    Unit unit;
    bool first = true;
    for (;;) {
      skip();
      const std::size_t place = at_;
      bool divide = false, joined = first;
      if (peek() == '/' || (peek() == '*' && !first)) {
        divide = peek() == '/';
        joined = true;
        ++at_;
        skip();
      }
      const std::size_t before = at_;
      if (!joined && (!is_letter(peek()) || is_reference(word()))) {   // a blank multiplies, but a reference word ends the unit
        at_ = before;
        return unit;
      }
      at_ = before;
      const Unit next = factor(depth);
      if (first && !divide) unit = next;
      else join(unit, next, divide, place);
      first = false;
    }
  }

  Unit factor(int depth) {
    const std::size_t begin = at_;
    if (peek() == '(') {
      if (depth >= 2) throw UnitError("parentheses in parentheses", "a plain unit", at_);
      ++at_;
      Unit unit = product(depth + 1);
      skip();
      if (peek() != ')') throw UnitError(begin + 1 < text_.size() ? "`" + std::string(text_.substr(at_)) + "`" : "the end", "`)`", at_);
      ++at_;
      return unit;
    }
    if (peek() == '1') {
      ++at_;
      return {};
    }
    std::size_t end = at_;                       // the longest name: mmH2O has digits inside, m2 an exponent at its end
    while (end < text_.size() && (is_letter(text_[end]) || is_digit(text_[end]))) ++end;
    std::string_view name = text_.substr(at_, end - at_);
    const NamedUnit* found = find_unit(name);
    if (!found) {
      name = word();
      found = find_unit(name);
    }
    at_ = begin + name.size();
    if (!found) {
      const std::string_view whole = text_.substr(begin, end > begin ? end - begin : std::string_view::npos);
      throw UnitError(whole.empty() ? "nothing" : "the unknown unit `" + std::string(whole) + "`", "a unit", begin, nearest_unit(whole));
    }
    Unit unit{"", found->dimension, found->reference, found->factor, found->offset};
    if (peek() == '(' && (found->dimension == gas_flow || found->dimension == amount) && name[0] == 's') unit.factor *= standard_state();
    power(unit);
    return unit;
  }

  void power(Unit& unit) {
    const std::size_t begin = at_;
    if (peek() == '^') ++at_;
    const bool negative = peek() == '-';
    if (negative) ++at_;
    if (!is_digit(peek())) {
      if (at_ != begin) throw UnitError("no exponent after `^` or `-`", "a digit", at_);
      return;
    }
    int exponent = peek() - '0';
    ++at_;
    if (is_digit(peek()) || exponent == 0) throw UnitError("an exponent out of range", "1 to 9", begin);
    if (unit.reference == Reference::degc) throw UnitError("a temperature on a scale with an exponent", "K", begin, "K");
    const Unit one = unit;
    for (int i = 1; i < exponent; ++i) join(unit, one, false, begin);
    if (negative) {
      unit.factor = 1.0 / unit.factor;
      unit.dimension = Dimension{} / unit.dimension;
    }
  }

  // "(20 degC)" or "(20 degC, 100 kPa)": how many mol a litre holds there, over what it holds at 0 degC and 101.325 kPa.
  double standard_state() {
    const std::size_t begin = ++at_, end = text_.find(')', begin);
    if (end == std::string_view::npos) throw UnitError("no `)`", "a reference state such as (20 degC)", begin);
    const std::string_view inside = text_.substr(begin, end - begin);
    const std::size_t comma = inside.find(',');
    const double degc = value_in(inside.substr(0, comma), unit_of("degC"));
    const double pa = comma == std::string_view::npos ? standard_pa
                                                      : quantity_si(inside.substr(comma + 1), begin + comma + 1);
    if (degc < -50.0 || degc > 100.0 || pa < 5e4 || pa > 2e5)
      throw UnitError("the reference state (" + std::string(inside) + ")", "-50 to 100 degC and 50 to 200 kPa", begin);
    at_ = end + 1;
    return standard_litre_mol(degc, pa) / standard_litre_mol();
  }

  static double quantity_si(std::string_view text, std::size_t at) {
    const Quantity quantity = quantity_of(text);
    if (quantity.unit.dimension != pressure || quantity.unit.reference == Reference::gauge || quantity.unit.reference == Reference::diff)
      throw UnitError("`" + std::string(text) + "`", "an absolute pressure", at);
    return quantity.si();
  }

  std::string_view text_;
  std::size_t at_ = 0;
};

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

// The number a text begins with; how many bytes it takes, 0 if none.
std::size_t leading_number(std::string_view text, double& value) {
  std::size_t begin = !text.empty() && text[0] == '+' ? 1 : 0;
  const std::size_t sign = begin < text.size() && text[begin] == '-' && begin == 0 ? 1 : begin;
  if (sign >= text.size() || (!is_digit(text[sign]) && text[sign] != '.')) return 0;   // keeps inf and nan out
  const auto [end, error] = std::from_chars(text.data() + begin, text.data() + text.size(), value);
  if (error != std::errc() || !std::isfinite(value)) return 0;
  return static_cast<std::size_t>(end - text.data());
}

// "2 h 30 min": the rest after the first number, as further numbers with units of time, each smaller than the one before.
bool sum_of_times(std::string_view text, Quantity& sum) {
  double total_s = 0.0, last_factor = 1e300;
  std::size_t at = 0;
  int parts = 0;
  while (at < text.size()) {
    double value = 0.0;
    const std::size_t used = leading_number(text.substr(at), value);
    if (used == 0 || value < 0.0) return false;
    at += used;
    while (at < text.size() && text[at] == ' ') ++at;
    const std::size_t begin = at;
    while (at < text.size() && is_letter(text[at])) ++at;
    const NamedUnit* unit = find_unit(text.substr(begin, at - begin));
    if (!unit || unit->dimension != duration || unit->factor >= last_factor) return false;
    last_factor = unit->factor;
    total_s += value * unit->factor;
    while (at < text.size() && text[at] == ' ') ++at;
    ++parts;
  }
  if (parts < 2) return false;
  sum.value = total_s;
  sum.unit = unit_of("s");
  return true;
}

template <class Number>
std::string shortest(Number value) {
  if (value == Number(0)) return "0";
  char buffer[64];
  const double size = std::fabs(static_cast<double>(value));
  const auto format = size >= 1e-4 && size < 1e9 ? std::chars_format::fixed : std::chars_format::scientific;
  const auto [end, error] = std::to_chars(buffer, buffer + sizeof buffer, value, format);
  return error == std::errc() ? std::string(buffer, end) : std::string("0");
}

std::string with_unit(std::string value, std::string_view unit) {
  if (unit.empty() || unit == "1") return value;
  return value + " " + std::string(unit);
}

const char* article(const Unit& wanted) {
  if (wanted.reference == Reference::degc) return "a temperature on a scale";
  if (wanted.dimension == kelvin) return "a temperature difference";
  return nullptr;
}

std::string wanted_text(const Unit& wanted) {
  const char* fixed = article(wanted);
  const bool throughput = wanted.dimension == power && wanted.text.find("Pa") != std::string::npos;
  std::string text = fixed ? fixed : "a value of " + (throughput ? "gas throughput" : name_of(wanted.dimension));
  text += " in " + accepted_units(wanted);
  if (wanted.dimension == pressure) text += ", followed by `" + std::string(name_of(wanted.reference)) + "`";
  return text;
}

}  // namespace

Dimension operator*(const Dimension& a, const Dimension& b) {
  Dimension product;
  for (std::size_t i = 0; i < product.exponents.size(); ++i) product.exponents[i] = a.exponents[i] + b.exponents[i];
  return product;
}

Dimension operator/(const Dimension& a, const Dimension& b) {
  Dimension quotient;
  for (std::size_t i = 0; i < quotient.exponents.size(); ++i) quotient.exponents[i] = a.exponents[i] - b.exponents[i];
  return quotient;
}

std::string name_of(const Dimension& dimension) {
  const std::pair<Dimension, const char*> names[] = {
      {number, "pure number"}, {mass, "mass"}, {length, "length"}, {duration, "time"}, {kelvin, "temperature difference"},
      {amount, "amount of gas"}, {current, "current"}, {volume, "volume"}, {length * length, "area"}, {pressure, "pressure"},
      {energy, "energy"}, {power, "power"}, {force, "force"}, {voltage, "voltage"}, {resistance, "resistance"},
      {gas_flow, "gas flow"}, {frequency, "rate"}, {kelvin / duration, "temperature rate"}, {pressure / duration, "pressure rate"},
      {volume / duration, "volume flow"}, {mass / volume, "density"},
      {Dimension{} / kelvin, "gain per kelvin"}, {Dimension{} / pressure, "gain per pascal"}, {gas_flow / duration, "change of gas flow"},
      {energy / kelvin / mass, "specific heat"}, {power / length / kelvin, "thermal conductivity"}, {energy / kelvin, "heat capacity"},
      {power / length / length / kelvin, "heat transfer coefficient"}};
  for (const auto& [known, name] : names)
    if (known == dimension) return name;
  constexpr const char* bases[] = {"kg", "m", "s", "K", "mol", "A"};
  std::string text;
  for (std::size_t i = 0; i < dimension.exponents.size(); ++i)
    if (dimension.exponents[i] != 0) text += (text.empty() ? "" : " ") + std::string(bases[i]) + std::to_string(dimension.exponents[i]);
  return text;
}

std::string_view name_of(Reference reference) {
  switch (reference) {
    case Reference::degc: return "degC";
    case Reference::gauge: return "gauge";
    case Reference::abs: return "abs";
    case Reference::diff: return "diff";
    case Reference::none:
    case Reference::missing: break;
  }
  return "";
}

Unit unit_of(std::string_view text) { return UnitParser(text).parse(); }

bool is_unit_name(std::string_view word) { return find_unit(word) != nullptr; }

std::string accepted_units(const Unit& wanted) {
  std::string text;
  if (!find_unit(wanted.text) && wanted.dimension != pressure) {          // a compound: itself, and its like per minute and hour
    text = wanted.text;
    if (text.ends_with("/s"))
      for (const char* other : {"min", "h"}) text += ", " + wanted.text.substr(0, wanted.text.size() - 1) + other;
    return text;
  }
  for (const NamedUnit& unit : units) {
    const bool scale = unit.reference == Reference::degc;
    if (unit.dimension != wanted.dimension || scale != (wanted.reference == Reference::degc) || unit.name[0] == '1') continue;
    text += (text.empty() ? "" : ", ") + std::string(unit.name);
  }
  if (wanted.dimension == pressure) text += ", kgf/cm2";
  return text;
}

Quantity quantity_of(std::string_view text) {
  const std::string_view whole = trimmed(text);
  Quantity quantity;
  const std::size_t used = leading_number(whole, quantity.value);
  if (used == 0) throw UnitError(whole.empty() ? "nothing" : "`" + std::string(whole) + "`", "a finite decimal number and a unit", 0);
  if (used < whole.size() && whole[used] == ',')
    throw UnitError("`" + std::string(whole) + "`", "a decimal point, not a comma", used);
  if (sum_of_times(whole, quantity)) return quantity;
  quantity.unit = unit_of(whole.substr(used));
  if (quantity.unit.text.empty()) quantity.unit.text = "1";
  return quantity;
}

double value_in(std::string_view text, const Unit& wanted) {
  const Quantity quantity = quantity_of(text);
  const Unit& unit = quantity.unit;
  const std::string found = "`" + std::string(trimmed(text)) + "`";
  const bool same = unit.dimension == wanted.dimension;
  if (unit.text == "1" && wanted.text != "1" && !wanted.text.empty())
    throw UnitError("the bare number " + found, wanted_text(wanted), 0);
  if (!same) throw UnitError(found + ", " + (article(unit) ? article(unit) : name_of(unit.dimension)), wanted_text(wanted), 0);
  if (wanted.dimension == kelvin && (unit.reference == Reference::degc) != (wanted.reference == Reference::degc)) {
    const bool scale = wanted.reference == Reference::degc;
    throw UnitError(found, scale ? "a temperature in degC; K is for temperature differences"
                                 : "a temperature difference in K; degC is for temperatures on the scale", 0, scale ? "degC" : "K");
  }
  if (wanted.dimension == pressure && unit.reference != wanted.reference) {
    const std::string word(name_of(wanted.reference));
    std::string plain = unit.text;
    if (unit.reference != Reference::missing) plain.resize(plain.size() - name_of(unit.reference).size() - 1);
    throw UnitError(found + (unit.reference == Reference::missing ? ", which does not say gauge, abs or diff" : ""),
                    "a pressure that says `" + word + "`: `" + text_of(quantity.value, plain + " " + word) + "`", 0);
  }
  if (unit.factor == wanted.factor && unit.offset == wanted.offset) return quantity.value;   // to the bit
  const double value = wanted.from_si(quantity.si());
  if (!std::isfinite(value)) throw UnitError(found, "a finite value", 0);
  return value;
}

std::string text_of(double value, std::string_view unit) { return with_unit(shortest(value), unit); }
std::string text_of(float value, std::string_view unit) { return with_unit(shortest(value), unit); }
std::string text_of(double value) { return shortest(value); }
std::string text_of(float value) { return shortest(value); }

std::optional<double> number_of(std::string_view text) {
  double value = 0.0;
  const std::string_view whole = trimmed(text);
  const std::size_t used = leading_number(whole, value);
  if (used == 0 || used != whole.size()) return std::nullopt;
  return value;
}

double standard_litre_mol(double reference_degc, double reference_pa) {
  return 1e-3 * reference_pa / (gas_constant_j_per_mol_k * (reference_degc + 273.15));
}

}  // namespace sim
