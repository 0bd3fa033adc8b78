#include "sim/display_units.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "sim/environment.h"
#include "sim/units.h"

namespace sim {

namespace {

constexpr int reading_digits = 3, written_digits = 5, written_si_digits = 6, decimals_max = 9;

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

// --- what may be chosen ---

std::string_view without_reference(std::string_view unit) {
  for (const std::string_view word : {" gauge", " abs", " diff"})
    if (unit.ends_with(word)) return unit.substr(0, unit.size() - word.size());
  return unit;
}

const Dimension& pressure_dimension() {
  static const Dimension dimension = unit_of("Pa").dimension;
  return dimension;
}

const Dimension& flow_dimension() {
  static const Dimension dimension = unit_of("slm").dimension;
  return dimension;
}

const Dimension& temperature_dimension() {
  static const Dimension dimension = unit_of("K").dimension;
  return dimension;
}

std::string expected_of(std::string_view key) {
  if (key == "flow") return "a unit of gas flow: " + accepted_units(unit_of("slm")) + ", sL/min, sL/h, mol/s or another such quotient";
  if (key == "temperature") return "degC, K or degF";
  return "a unit of pressure: " + accepted_units(unit_of("Pa gauge")) + ", followed by `gauge` or `abs`";
}

Unit parsed(std::string_view key, const FieldValue& value) {
  try {
    return unit_of(value.text);
  } catch (const UnitError& error) {
    throw InputError(value.place, fmt::format("{} for `{}`", error.found, key), expected_of(key), error.nearest);
  }
}

// The unit as the display has it, single blanks. Throws InputError.
std::string checked(std::string_view key, const FieldValue& value) {
  const auto refused = [&](const std::string& why, const std::string& nearest) {
    return InputError(value.place, fmt::format("`{}`{} for `{}`", value.text, why, key), expected_of(key), nearest);
  };
  const Unit unit = parsed(key, value);
  if (key == "temperature") {
    if (unit.text != "degC" && unit.text != "K" && unit.text != "degF") throw refused("", "");
    return unit.text;
  }
  if (unit.dimension != (key == "flow" ? flow_dimension() : pressure_dimension()))
    throw refused(fmt::format(", a unit of {},", name_of(unit.dimension)), "");
  if (key == "flow") return unit.text;
  if (unit.reference == Reference::missing) throw refused(", which does not say gauge or abs,", unit.text + " gauge");
  if (unit.reference == Reference::diff) throw refused(", a difference,", std::string(without_reference(unit.text)) + " gauge");
  return unit.text;
}

template <class At>
Field unit_field(const char* key, At at, const char* meaning) {
  Field field = text_field<DisplayUnits>(key, at, false, meaning);
  field.set = [at, key](void* object, const FieldValue& value) { at(*static_cast<DisplayUnits*>(object)) = checked(key, value); };
  return field;
}

// --- how a recorded unit is seen ---

ShownUnit as_recorded(const Unit& recorded) { return {recorded.text == "1" ? "" : recorded.text}; }

// shift: what is added to the value in SI on the way.
ShownUnit converted(const Unit& recorded, const Unit& target, const std::string& text, double shift = 0.0) {
  ShownUnit seen{text, recorded.factor / target.factor, (recorded.offset + shift - target.offset) / target.factor};
  seen.same = text == recorded.text;
  return seen;
}

// chosen: the unit of a pressure. `mmH2O diff` where the recorded unit says diff, else `mmH2O`.
ShownUnit pressure_difference(const Unit& recorded, const std::string& chosen) {
  if (chosen.empty()) return as_recorded(recorded);
  const std::string text(without_reference(chosen));
  return converted(recorded, unit_of(text), recorded.reference == Reference::diff ? text + " diff" : text);
}

ShownUnit pressure(const Unit& recorded, const DisplayUnits& units) {
  const bool absolute = recorded.reference == Reference::abs;
  if (!absolute && recorded.reference != Reference::gauge) return pressure_difference(recorded, units.pressure);
  std::string text = units.pressure;
  if (absolute && !units.vacuum.empty()) text = units.vacuum;
  else if (absolute && !text.empty()) text = std::string(without_reference(text)) + " abs";
  if (text.empty()) return as_recorded(recorded);
  const Unit target = unit_of(text);
  const bool to_absolute = target.reference == Reference::abs;
  return converted(recorded, target, text, absolute == to_absolute ? 0.0 : absolute ? -units.barometer_pa : units.barometer_pa);
}

ShownUnit temperature(const Unit& recorded, const DisplayUnits& units) {
  if (units.temperature.empty()) return as_recorded(recorded);
  Unit target = unit_of(units.temperature);
  if (units.temperature == "K") target.offset = -273.15;      // as a scale
  return converted(recorded, target, units.temperature);
}

ShownUnit temperature_difference(const Unit& recorded, const DisplayUnits& units, const char* word) {
  if (units.temperature != "degF") return as_recorded(recorded);
  Unit target = unit_of("degF");
  target.offset = 0.0;
  return converted(recorded, target, std::string("degF") + word);
}

// "Pa/min": the pressure, then "/min" again.
ShownUnit rate(std::string_view text, const DisplayUnits& units) {
  const std::size_t slash = text.find('/');
  const Unit recorded = unit_of(text.substr(0, slash));
  ShownUnit seen = recorded.dimension == pressure_dimension() ? pressure_difference(recorded, units.pressure)
                                                              : temperature_difference(recorded, units, "");
  seen.text += text.substr(slash);
  return seen;
}

bool is_rate(const Unit& unit, std::string_view text) {
  const Dimension second = unit_of("s").dimension;
  const bool one = unit.dimension == pressure_dimension() / second || unit.dimension == temperature_dimension() / second;
  return one && text.find('/') != std::string_view::npos && text.find_first_of(" (*") == std::string_view::npos && is_letter(text[0]);
}

ShownUnit seen_unit(std::string_view text, const DisplayUnits& units) {
  const Unit recorded = unit_of(text);
  if (recorded.dimension == pressure_dimension()) return pressure(recorded, units);
  if (recorded.dimension == temperature_dimension())
    return recorded.reference == Reference::degc ? temperature(recorded, units) : temperature_difference(recorded, units, " diff");
  if (recorded.dimension == flow_dimension() && !units.flow.empty()) return converted(recorded, unit_of(units.flow), units.flow);
  return is_rate(recorded, text) ? rate(text, units) : as_recorded(recorded);
}

// The recorded unit of a difference.
std::string difference_of(std::string_view recorded) {
  const Unit unit = unit_of(recorded);
  if (unit.dimension == temperature_dimension() && unit.reference == Reference::degc) return "K";
  if (unit.dimension == pressure_dimension() && unit.reference != Reference::missing)
    return std::string(without_reference(unit.text)) + " diff";
  return unit.text;
}

// --- numbers ---

// How many decimals give so many significant digits; less than none for large numbers.
int decimals_of(double value, int significant) {
  const double size = std::fabs(value);
  if (!(size > 0.0) || !std::isfinite(size)) return 0;
  const auto for_size = [significant](double of) { return significant - 1 - static_cast<int>(std::floor(std::log10(of))); };
  const int decimals = for_size(size);
  const double step = std::pow(10.0, -decimals);
  return for_size(std::round(size / step) * step * (1.0 + 1e-12));       // 9.996 becomes 10.0, not 10.00
}

std::string fixed(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, std::clamp(decimals, 0, decimals_max));
  if (text.find_first_not_of("-0.") == std::string::npos && text[0] == '-') text.erase(0, 1);
  return text;
}

std::string without_idle_zeros(std::string text) {
  if (text.find('.') == std::string::npos) return text;
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text;
}

std::string with_unit(const std::string& number, std::string_view unit) {
  return unit.empty() || unit == "1" ? number : fmt::format("{} {}", number, unit);
}

bool is_pascal(std::string_view unit) {
  const std::string_view name = without_reference(unit);
  return name == "Pa" || name == "hPa" || name == "kPa" || name == "MPa";
}

struct SiText {
  std::string text;
  int decimals;                  // of the recorded unit; negative when whole tens or more are meant
};

// In Pa or kPa where the recorded unit is Pa.
SiText si_text(double recorded, std::string_view unit, Digits digits) {
  const bool kilo = without_reference(unit) == "Pa" && std::fabs(recorded) >= 1000.0;
  const double value = kilo ? recorded * 1e-3 : recorded;
  const int decimals = decimals_of(value, digits == Digits::reading ? reading_digits : written_si_digits);
  std::string number = fixed(value, decimals);
  if (digits == Digits::written) number = without_idle_zeros(number);
  return {with_unit(number, kilo ? "k" + std::string(unit) : std::string(unit)), decimals - (kilo ? 3 : 0)};
}

std::string number_text(double value, const ShownUnit& seen, int recorded_decimals, Digits digits) {
  if (digits == Digits::reading) return fixed(value, seen.decimals(recorded_decimals));
  return without_idle_zeros(fixed(value, decimals_of(value, written_digits)));
}

std::string both(double recorded, std::string_view unit, const ShownUnit& seen, Digits digits) {
  if (!std::isfinite(recorded)) return "no value";
  const SiText si = si_text(recorded, unit, digits);
  if (seen.same) return si.text;
  const std::string chosen = with_unit(number_text(seen.number(recorded), seen, si.decimals, digits), seen.text);
  const bool prefix_only = is_pascal(unit) && is_pascal(seen.text) && seen.offset == 0.0;
  return prefix_only ? chosen : fmt::format("{} ({})", chosen, si.text);
}

// --- quantities in a text ---

bool is_name_char(char c) { return is_letter(c) || is_digit(c) || c == '_' || c == '.'; }
bool is_unit_char(char c) { return is_letter(c) || is_digit(c) || c == '%' || c == '/' || c == '^'; }

class QuantityScanner {
 public:
  QuantityScanner(std::string_view text, const DisplayUnits& units) : text_(text), units_(units) {}

  std::string with_both() {
    std::string out;
    while (at_ < text_.size()) {
      const std::size_t begin = at_;
      if (!begins_number()) {
        out += text_[at_++];
        continue;
      }
      const std::string found = quantity();
      out += found.empty() ? std::string(text_.substr(begin, at_ - begin)) : found;
    }
    return out;
  }

 private:
  bool begins_number() const {
    const char before = at_ > 0 ? text_[at_ - 1] : ' ';
    if (is_name_char(before) || before == '/') return false;
    if (is_digit(text_[at_])) return true;
    if (text_[at_] != '-' || at_ + 1 >= text_.size() || !is_digit(text_[at_ + 1])) return false;
    const std::size_t last = text_.find_last_not_of(' ', at_ == 0 ? std::string_view::npos : at_ - 1);
    return at_ == 0 || last == std::string_view::npos || !(is_name_char(text_[last]) || text_[last] == ')');   // else it subtracts
  }

  std::string_view word(std::size_t at) const {
    std::size_t end = at;
    while (end < text_.size() && is_unit_char(text_[end])) ++end;
    return text_.substr(at, end - at);
  }

  // Moves on behind the number, and behind the unit when it is one that is seen in another. Empty: stays as it is.
  std::string quantity() {
    const std::size_t begin = at_;
    if (text_[at_] == '-') ++at_;
    while (at_ < text_.size() && (is_digit(text_[at_]) || (text_[at_] == '.' && at_ + 1 < text_.size() && is_digit(text_[at_ + 1])))) ++at_;
    const std::optional<double> number = number_of(text_.substr(begin, at_ - begin));
    std::size_t end = at_;
    while (end < text_.size() && text_[end] == ' ') ++end;
    const std::string_view name = word(end);
    if (!number || name.empty()) return "";
    end += name.size();
    std::string unit(name);
    if (end < text_.size() && text_[end] == ' ') {
      const std::string_view next = word(end + 1);
      if (next == "gauge" || next == "abs" || next == "diff") {
        unit += " " + std::string(next);
        end += 1 + next.size();
      } else if (next.find_first_of("/0123456789") != std::string_view::npos) {
        return "";                           // `Pa m3/s`
      }
    }
    const std::string seen = seen_as(*number, unit);
    if (seen.empty()) return "";
    at_ = end;
    return fmt::format("{} ({})", seen, text_.substr(begin, end - begin));
  }

  std::string seen_as(double number, const std::string& unit) const {
    try {
      const ShownUnit seen = shown_unit(unit, units_);
      const bool equal = seen.same || (seen.factor == 1.0 && seen.offset == 0.0);
      if (equal || (is_pascal(unit) && is_pascal(seen.text) && seen.offset == 0.0)) return "";
      return with_unit(number_text(seen.number(number), seen, 0, Digits::written), seen.text);
    } catch (const UnitError&) {
      return "";                             // a number before a plain word
    }
  }

  std::string_view text_;
  const DisplayUnits& units_;
  std::size_t at_ = 0;
};

// --- text of --units ---

std::string trimmed(std::string_view part) {
  const std::size_t begin = part.find_first_not_of(' '), end = part.find_last_not_of(' ');
  return begin == std::string_view::npos ? std::string() : std::string(part.substr(begin, end - begin + 1));
}

// `flow=sL/h`
void choose_one(DisplayUnits& units, std::string_view part, std::vector<std::string>& given) {
  const SourcePlace place{"--units", 0, 0};
  const std::vector<Field>& fields = display_fields().fields;
  const std::size_t equals = part.find('=');
  const std::string key = trimmed(part.substr(0, equals));
  const auto field = std::find_if(fields.begin(), fields.end(), [&](const Field& one) { return one.key == key; });
  if (field == fields.end()) {
    std::vector<std::string> known;
    for (const Field& one : fields) known.push_back(one.key);
    throw InputError(place, key.empty() ? "nothing where a key should stand" : "the unknown key `" + key + "`",
                     "one of " + listed(known) + ", as in pressure=mmH2O gauge", nearest_name(key, known));
  }
  if (std::find(given.begin(), given.end(), key) != given.end()) throw InputError(place, "`" + key + "` twice", "each key once");
  FieldValue value;
  value.place = place;
  if (equals != std::string_view::npos) value.text = trimmed(part.substr(equals + 1));
  if (value.text.empty()) throw InputError(place, "nothing for `" + key + "`", expected_of(key));
  field->set(&units, value);
  given.push_back(key);
}

}  // namespace

const FieldTable& display_fields() {
  static const FieldTable table{
      "display",
      "The units in which people see values; what machines read stays as it is. `pressure` is for gauge pressures and differences, "
      "`vacuum` absolute ones.",
      {unit_field("pressure", [](auto& units) -> auto& { return units.pressure; }, "a unit of pressure and `gauge` or `abs`: mmH2O gauge"),
       unit_field("vacuum", [](auto& units) -> auto& { return units.vacuum; },
                  "the same for absolute pressures: mTorr abs; else they take the unit of `pressure`"),
       unit_field("flow", [](auto& units) -> auto& { return units.flow; }, "a unit of gas flow: sL/h"),
       unit_field("temperature", [](auto& units) -> auto& { return units.temperature; }, "degC, K or degF")}};
  return table;
}

void choose_units(DisplayUnits& units, std::string_view text) {
  std::vector<std::string> given;
  int depth = 0;
  std::size_t begin = 0;
  for (std::size_t i = 0; i <= text.size(); ++i) {
    if (i < text.size() && text[i] == '(') ++depth;
    if (i < text.size() && text[i] == ')') --depth;
    if (i < text.size() && (text[i] != ',' || depth > 0)) continue;       // slm(20 degC, 100 kPa) is one unit
    choose_one(units, text.substr(begin, i - begin), given);
    begin = i + 1;
  }
}

int ShownUnit::decimals(int recorded) const {
  const double shift = std::log10(std::fabs(factor));
  return std::clamp(static_cast<int>(std::lround(recorded - shift)), 0, decimals_max);
}

ShownUnit shown_unit(std::string_view recorded, const DisplayUnits& units) { return seen_unit(recorded, units); }

ShownUnit shown_difference_unit(std::string_view recorded, const DisplayUnits& units) {
  const std::string difference = difference_of(recorded);
  const bool absolute = !units.vacuum.empty() && unit_of(recorded).reference == Reference::abs;
  return absolute ? pressure_difference(unit_of(difference), units.vacuum) : seen_unit(difference, units);
}

std::string shown(double recorded, std::string_view unit, const DisplayUnits& units, Digits digits) {
  return both(recorded, unit, shown_unit(unit, units), digits);
}

std::string shown_difference(double recorded, std::string_view unit, const DisplayUnits& units, Digits digits) {
  return both(recorded, difference_of(unit), shown_difference_unit(unit, units), digits);
}

std::string shown_fixed(double recorded, int decimals, std::string_view unit, const DisplayUnits& units) {
  if (!std::isfinite(recorded)) return "no value";
  const ShownUnit seen = shown_unit(unit, units);
  const std::string own = with_unit(fixed(recorded, decimals), unit);
  return seen.same ? own : fmt::format("{} ({})", with_unit(fixed(seen.number(recorded), seen.decimals(decimals)), seen.text), own);
}

std::string shown_margin(double recorded, std::string_view unit, std::string_view quantity, const DisplayUnits& units, bool signed_) {
  const auto number = [signed_](double value) { return signed_ ? fmt::format("{:+.4g}", value) : fmt::format("{:.4g}", value); };
  const std::string own = with_unit(number(recorded), unit);
  try {
    const ShownUnit seen = shown_difference_unit(quantity, units);
    return seen.same ? own : fmt::format("{} ({})", with_unit(number(seen.number(recorded)), seen.text), own);
  } catch (const UnitError&) {
    return own;                                       // what an expression is made of may have a unit that no file could write
  }
}

std::string in_display_units(std::string_view text, const DisplayUnits& units) {
  return units.chosen() ? QuantityScanner(text, units).with_both() : std::string(text);
}

std::string event_in_display_units(std::string_view source, std::string_view text, const DisplayUnits& units) {
  return source == "programme" || source == "expectation" ? std::string(text) : in_display_units(text, units);
}

std::string display_remark(const DisplayUnits& units) {
  if (!units.chosen()) return "";
  std::string text;
  const auto add = [&text](const char* what, const std::string& unit) {
    if (!unit.empty()) text += (text.empty() ? "" : ", ") + std::string(what) + " in " + unit;
  };
  add("pressure", units.pressure);
  add("absolute pressure", units.vacuum);
  add("flow", units.flow);
  add("temperature", units.temperature);
  const bool exchanged = units.pressure.ends_with(" abs") || units.vacuum.ends_with(" gauge");
  if (exchanged)
    text += "; gauge and absolute pressure lie a barometer of " + si_text(units.barometer_pa, "Pa abs", Digits::written).text +
            (units.barometer_moves ? " apart, as at the start" : " apart");
  return text;
}

DisplayUnits display_of(const YamlNode& scenario) {
  DisplayUnits units;
  if (const YamlNode* display = scenario.child("display")) read_fields(*display, display_fields(), &units);
  const auto below = [](const YamlNode* map, const char* key) { return map && map->is_map() ? map->child(key) : nullptr; };
  const YamlNode* barometer = below(below(scenario.child("furnace"), "surroundings"), "barometer");
  if (barometer && barometer->is_text()) {
    try {
      units.barometer_pa = value_in(barometer->text, unit_of("Pa abs"));
    } catch (const UnitError& error) {
      throw InputError(barometer->place, error.found + " for `barometer`", error.expected, error.nearest);
    }
  }
  if (const YamlNode* environment = scenario.child("environment")) {
    plant::Environment furnace;
    furnace.barometer_pa = units.barometer_pa;
    const Environment around = read_environment(*environment);
    units.barometer_pa = around.at(0.0, furnace).barometer_pa;
    units.barometer_moves = around.profile[0].moves();   // the table's first: the barometer
  }
  return units;
}

DisplayUnits display_of_run(const std::filesystem::path& folder) {
  const std::filesystem::path file = folder / "resolved.yaml";
  return std::filesystem::exists(file) ? display_of(read_yaml(file)) : DisplayUnits{};
}

}  // namespace sim
