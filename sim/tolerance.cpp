#include "sim/tolerance.h"

#include <algorithm>

#include <fmt/format.h>

namespace sim {

namespace {

struct TubeRow {
  std::string_view pattern, unit;    // unit empty: any
  double range, share, relative;     // range in the signal's unit; the absolute part is share * range
};

// The first row that fits. Ranges: what the shipped instruments span (configs/furnaces) or, for the truth, what such a furnace
// covers. Shares: common practice, no source. An output is held four times closer than what it acts upon: a changed gain shows
// there while the loop still hides it from the temperature. What only the plant knows is held half as close as the output that
// drives it, so that the controller's side is named first when both move.
constexpr TubeRow tube_rows[] = {
    {"*.out", "1", 1.0, 0.005, 0.0},
    {"plant.valve.*", "1", 1.0, 0.01, 0.0},
    {"plant.power", "W", 3000.0, 0.01, 0.0},
    {"dew_point.pv", "degC", 120.0, 0.01, 0.0},
    {"plant.gas.dew_point", "degC", 120.0, 0.02, 0.0},
    {"plant.ambient", "degC", 80.0, 0.01, 0.0},
    {"plant.*", "degC", 1000.0, 0.003, 0.0},
    {"*", "degC", 1000.0, 0.002, 0.0},
    {"pressure.*", "Pa gauge", 20000.0, 0.01, 0.0},
    {"plant.gas.gauge", "Pa", 20000.0, 0.015, 0.0},
    {"vacuum.pv", "Pa", 1333.22, 0.001, 0.02},
    {"plant.barometer", "Pa", 30000.0, 0.001, 0.0},
    {"plant.*", "Pa", 1000.0, 0.001, 0.03},        // from a fine vacuum to the barometer: mostly of the value
    {"plant.*", "slm", 5.0, 0.02, 0.02},
    {"*", "slm", 5.0, 0.01, 0.01},
    {"plant.gas.*", "ppm", 1000.0, 0.001, 0.1},    // six decades in a purge: mostly of the value
    {"oxygen.pv", "ppm", 1000.0, 0.001, 0.05},
    {"*", "ppm", 1000.0, 0.001, 0.1},
    {"*", "kWh", 10.0, 0.002, 0.01},
    {"*", "sL", 500.0, 0.002, 0.01},
    {"*", "mmol", 10.0, 0.005, 0.05},
    {"*", "Pa/min", 100.0, 0.01, 0.05},
    {"*", "V", 300.0, 0.01, 0.0},
    {"*", "s", 3600.0, 0.002, 0.0},
    {"*", "W", 3000.0, 0.01, 0.0},
    {"plant.*", "1", 1.0, 0.02, 0.0},
    {"*", "", 1.0, 0.01, 0.02},
};

bool is_code(const Signal& signal) { return signal.decimals == 0 && signal.unit == "1"; }

double said(const ToleranceRule& rule, const std::string& text, const Signal& signal, const char* key) {
  try {
    return value_in(text, unit_of(difference_unit(signal)));
  } catch (const UnitError& error) {
    throw InputError(rule.place, fmt::format("{} for `{}` of {}", error.found, key, signal.name), error.expected, error.nearest);
  }
}

#define SAGGAR_AT(member) [](auto& object) -> auto& { return object.member; }

FieldTable make_fields() {
  FieldTable table{"compare", "How far a run may lie from its baseline and count as the same.", {}};
  Field shift = quantity_field<Tolerance>("shift", "s", SAGGAR_AT(shift_s), 0.0, 86400.0, "", "what every signal may be early or late");
  table.fields.push_back(optional<Tolerance>(std::move(shift), [](const Tolerance& t) { return t.shift_s >= 0.0; }));
  table.fields.push_back(quantity_field<Tolerance>("events", "s", SAGGAR_AT(events_s), 0.0, 86400.0, "10 s",
                                                   "what an event may be early or late"));
  table.fields.push_back(quantity_field<Tolerance>("margins", "1", SAGGAR_AT(margins), 0.0, 10.0, "0.05",
                                                   "what the margin of an expectation may move, as a share of its scale"));
  table.fields.push_back(quantity_field<Tolerance>("totals", "1", SAGGAR_AT(totals), 0.0, 10.0, "0.01",
                                                   "what a total may differ, as a share of the baseline's"));
  return table;
}

FieldTable make_rule_fields() {
  using Rule = ToleranceRule;
  FieldTable table{"tolerance of signals", "The tube of the signals that fit a pattern; what is not said stays as the table has it.", {}};
  table.fields.push_back(text_field<Rule>("match", SAGGAR_AT(match), true, "name of a signal; * stands for any text: heat.*.pv"));
  table.fields.push_back(text_field<Rule>("range", SAGGAR_AT(range), false, "range of the signal, as a difference with its unit: 1000 K"));
  table.fields.push_back(text_field<Rule>("absolute", SAGGAR_AT(absolute), false,
                                          "half width of the tube, as a difference with its unit: 2 K; else share * range"));
  const auto number = [&](const char* key, auto at, const char* unit, double high, const char* meaning, auto given) {
    table.fields.push_back(optional<Rule>(quantity_field<Rule>(key, unit, at, 0.0, high, "", meaning), given));
  };
  number("share", SAGGAR_AT(share), "1", 10.0, "half width as a share of the range", [](const Rule& r) { return r.share >= 0.0; });
  number("relative", SAGGAR_AT(relative), "1", 10.0, "added half width as a share of the baseline's value",
         [](const Rule& r) { return r.relative >= 0.0; });
  number("shift", SAGGAR_AT(shift_s), "s", 86400.0, "what it may be early or late", [](const Rule& r) { return r.shift_s >= 0.0; });
  table.fields.push_back(yes_no_field<Rule>("ignore", SAGGAR_AT(ignore), "no", "yes: not compared"));
  return table;
}

#undef SAGGAR_AT

}  // namespace

bool fits(std::string_view name, std::string_view pattern) {
  const std::size_t star = pattern.find('*');
  if (star == std::string_view::npos) return name == pattern;
  if (name.substr(0, star) != pattern.substr(0, star)) return false;
  const std::string_view rest = pattern.substr(star + 1);
  for (std::size_t from = star; from <= name.size(); ++from) {
    if (fits(name.substr(from), rest)) return true;
  }
  return false;
}

std::string difference_unit(const Signal& signal) {
  if (signal.unit == "degC") return "K";
  return signal.unit.starts_with("Pa") && signal.unit.find('/') == std::string::npos ? "Pa diff" : signal.unit;
}

const FieldTable& tolerance_fields() {
  static const FieldTable table = make_fields();
  return table;
}

const FieldTable& tolerance_rule_fields() {
  static const FieldTable table = make_rule_fields();
  return table;
}

Tolerance read_tolerance(const YamlNode& map) {
  Tolerance tolerance;
  read_fields(map, tolerance_fields(), &tolerance, {"signals"});
  const YamlNode* list = map.child("signals");
  if (!list) return tolerance;
  if (!list->is_list()) throw InputError(list->place, list->found() + " for `signals`", "a list of tolerances, each with `match`");
  for (const YamlNode& item : list->items) {
    ToleranceRule rule;
    rule.place = item.place;
    read_fields(item, tolerance_rule_fields(), &rule);
    tolerance.rules.push_back(std::move(rule));
  }
  return tolerance;
}

Tolerance read_tolerance_file(const std::filesystem::path& file) { return read_tolerance(read_yaml(file)); }

std::string write_tolerance(const Tolerance& tolerance, int indent) {
  std::string text = write_fields(tolerance_fields(), &tolerance, indent);
  if (tolerance.rules.empty()) return text;
  text += std::string(static_cast<std::size_t>(indent), ' ') + "signals:\n";
  for (const ToleranceRule& rule : tolerance.rules) text += write_fields(tolerance_rule_fields(), &rule, indent + 4, "- ");
  return text;
}

void check_tolerance(const Tolerance& tolerance, const SignalTable& table) {
  for (const ToleranceRule& rule : tolerance.rules) {
    bool any = false;
    for (const Signal& signal : table.signals()) any = any || fits(signal.name, rule.match);
    if (!any)
      throw InputError(rule.place, "`" + rule.match + "`, which fits no signal", "a signal or a pattern", table.nearest(rule.match));
  }
  for (const Signal& signal : table.signals()) (void)tube_of(signal, tolerance);
}

Tube tube_of(const Signal& signal, const Tolerance& tolerance) {
  Tube tube;
  tube.code = is_code(signal);
  const auto* row = std::find_if(std::begin(tube_rows), std::end(tube_rows), [&](const TubeRow& one) {
    return fits(signal.name, one.pattern) && (one.unit.empty() || one.unit == signal.unit);
  });
  tube.range = tube.code ? 1.0 : row->range;
  tube.relative = tube.code ? 0.0 : row->relative;
  double share = tube.code ? 0.0 : row->share, absolute = -1.0;
  // the time itself, and what follows from the time and the segment
  tube.ignored = signal.name == "controller.tick" || signal.name == "programme.elapsed";
  if (tolerance.shift_s >= 0.0) tube.shift_s = tolerance.shift_s;
  for (const ToleranceRule& rule : tolerance.rules) {
    if (!fits(signal.name, rule.match)) continue;
    if (!rule.range.empty()) tube.range = said(rule, rule.range, signal, "range");
    if (!rule.absolute.empty()) absolute = said(rule, rule.absolute, signal, "absolute");
    if (rule.share >= 0.0) share = rule.share;
    if (rule.relative >= 0.0) tube.relative = rule.relative;
    if (rule.shift_s >= 0.0) tube.shift_s = rule.shift_s;
    tube.ignored = rule.ignore;
  }
  // no finer than the last printed digit: two correctly rounded texts of nearly equal values may differ by one
  double digit = 1.0;
  for (int i = 0; i < signal.decimals; ++i) digit /= 10.0;
  tube.absolute = absolute >= 0.0 ? absolute : share * tube.range;
  if (!tube.code) tube.absolute = std::max(tube.absolute, digit);
  return tube;
}

}  // namespace sim
