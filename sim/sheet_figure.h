// The only way for a number, or a word of a scenario, onto an operating sheet. Each is named by where it comes from, is looked up
// there, and stands on the page as <data value="..." data-from="PATH" data-over="..." data-unit="...">, so that a program can look it
// up again. value is in SI as recorded (rates of pressure and temperature per minute); the text is in the units people chose.
//
//   scenario/controller.limits.pressure_trip    resolved.yaml; list items by number from 0: scenario/programme.3.leak_test.for
//   trace/heat.1.pv/segment/3/last              also first, low, high; counted_low, counted_high: of rows in which the soak counted;
//                                               next: the first row behind the segment
//   trace/heat.1.pv/after/last                  after the programme's end; trace/plant.power/run/high: the whole run
//   summary/totals.energy_kwh                   summary.json
//   time/3, time/run, time/after, time/ended    what segment 3 took each time it was gone through to its end; the whole programme; what
//                                               came after it; the last segment of a programme that was broken off
//   provide/gas_longest, ...                    calculated from these, see sheet_figure.cpp
//   run/0/seed, action/0/text, constant/...     words of a run's identity, of an operator's action, the standard litre's state
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "sim/display_units.h"
#include "sim/sheet_run.h"

namespace sim {

struct Samples {
  std::vector<double> values;  // one per run, or per passage of each run
  std::string unit;            // as signals have it: "Pa gauge", "s", "1"
};

class SheetFigures {
 public:
  // The runs must outlive this.
  SheetFigures(const std::vector<SheetRun>& runs, const DisplayUnits& units) : runs_(runs), units_(units) {}

  const std::vector<SheetRun>& runs() const { return runs_; }

  Samples samples(std::string_view path) const;  // empty values: nothing has one
  bool has(std::string_view path) const;         // a number or a word
  bool is_zero(std::string_view path) const;     // one that says "off"

  // HTML. Empty where there is no value.
  std::string value(std::string_view path) const;  // the median; of set values that differ between runs: from ... to
  std::string highest(std::string_view path) const;
  std::string lowest(std::string_view path) const;
  std::string spread(std::string_view path) const;             // the median, and from ... to in parentheses where that shows otherwise
  bool alike(std::string_view path) const;                     // every sample shows the same
  // Least of the one to greatest of the other; without the unit where the median of `beside`, which stands beside it, has the same.
  std::string range(std::string_view low_path, std::string_view high_path, std::string_view beside = {}) const;
  std::string word(std::string_view path) const;  // a text of the scenario
  // `Trip at {controller.limits.zone_trip}.` Braces hold a path in resolved.yaml, or one below `item` when it begins with a dot.
  // Empty where one of them is not there.
  std::string sentence(std::string_view text, const std::string& item = "") const;

 private:
  enum class Over { median, lowest, highest };
  std::string element(const Samples& samples, std::string_view path, Over over, bool unit_too = true, bool both = true) const;
  std::string shown_text(double value, const std::string& unit, std::string_view path) const;

  const std::vector<SheetRun>& runs_;
  DisplayUnits units_;
};

}  // namespace sim
