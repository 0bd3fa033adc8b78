// How far two runs may lie apart and still count as the same: a tube around every signal, made of a part of the signal's range,
// a part of its value, and a shift in time; and what events, totals and margins may move.
//
// A signal's range is what its instrument or actuator spans, or for what only the plant knows, what a furnace of this kind
// covers; the table stands in tolerance.cpp (DEVELOPERS.md says why it is as it is). Codes, counts and switches are exact in
// value: only the instant may shift. A file changes any of it by name or pattern.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "sim/fields.h"
#include "sim/signals.h"

namespace sim {

// The tube of one signal: absolute + relative * |baseline| wide to each side, around every value the baseline takes within +-shift.
struct Tube {
  double absolute = 0.0;         // in the signal's unit
  double relative = 0.0;         // of the baseline's value
  double shift_s = 2.0;
  double range = 1.0;            // in the signal's unit
  bool code = false;             // a code, a count or a switch: holds its value from row to row
  bool ignored = false;
  double half_width(double baseline) const { return absolute + relative * (baseline < 0.0 ? -baseline : baseline); }
};

// What a file says about the signals that fit a pattern; negative or empty: nothing said.
struct ToleranceRule {
  std::string match;             // name; * stands for anything
  std::string range, absolute;   // with their unit, a difference: "1000 K", "50 Pa diff"
  double share = -1.0;           // of the range
  double relative = -1.0;
  double shift_s = -1.0;
  bool ignore = false;
  SourcePlace place;
};

struct Tolerance {
  double shift_s = -1.0;         // of every signal, unless a rule says otherwise; negative: the table's
  double events_s = 10.0;
  double margins = 0.05;         // of an expectation's scale
  double totals = 0.01;          // of the baseline's total
  std::vector<ToleranceRule> rules;   // the last that fits a signal wins, key by key
};

const FieldTable& tolerance_fields();        // on a Tolerance, without `signals`
const FieldTable& tolerance_rule_fields();   // on a ToleranceRule: an item of `signals`

// A map with the keys of tolerance_fields() and `signals`. Throws InputError.
Tolerance read_tolerance(const YamlNode& map);
Tolerance read_tolerance_file(const std::filesystem::path& file);
std::string write_tolerance(const Tolerance& tolerance, int indent);

// Throws InputError for a rule that fits no signal of the table, or whose unit is not that of a signal it fits.
void check_tolerance(const Tolerance& tolerance, const SignalTable& table);
// The tube of a signal. Throws InputError when a rule has another unit.
Tube tube_of(const Signal& signal, const Tolerance& tolerance);

// Does the name fit the pattern? * stands for any text, also none.
bool fits(std::string_view name, std::string_view pattern);
// The unit in which differences of a signal are given: K for degC, "Pa diff" for pressures.
std::string difference_unit(const Signal& signal);

}  // namespace sim
