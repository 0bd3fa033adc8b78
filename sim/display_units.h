// The units in which people see values: `display:` in a scenario, or --units. What machines read (trace.csv, summary.json, ...)
// never depends on them.
//
//   display: {pressure: mmH2O gauge, vacuum: mTorr abs, flow: sL/h, temperature: degF}
//   --units "pressure=mmH2O gauge,flow=sL/h,temperature=degF"
//
// What is not chosen is seen as it is recorded. `pressure` rules gauge pressures and pressure differences, `vacuum` absolute
// pressures; without `vacuum` they take the unit of `pressure`, as absolute. A gauge pressure that is to be seen as absolute, or
// the reverse, is moved by barometer_pa. Temperatures on a scale and temperature differences are kinds of their own: 10 degC are
// 50 degF, a difference of 10 K is one of 18 degF, written `18 degF diff`.
//
// Digits. A *reading* (from a run) has three significant digits in SI, zeros kept: 4.00 kPa. The last digit shown in another unit is
// worth the power of ten nearest to what SI's last digit is worth, so within a factor of 3.2: no more is claimed than is known, and
// no more thrown away. A *written* value (from a file) is shown with at most five significant digits and no idle zeros; SI with six.
// An SI pressure in a text is in Pa below 1000 Pa, else in kPa.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "sim/fields.h"

namespace sim {

struct DisplayUnits {
  std::string pressure, vacuum;     // "mmH2O gauge", "Torr abs"; empty: as recorded
  std::string flow;                 // "sL/h"
  std::string temperature;          // "degC", "K", "degF"
  double barometer_pa = 101325.0;   // abs less gauge
  bool barometer_moves = false;     // it is that at the start of the run
  bool chosen() const { return !pressure.empty() || !vacuum.empty() || !flow.empty() || !temperature.empty(); }
};

const FieldTable& display_fields();                      // on a DisplayUnits: the map `display`
// Text of --units: what it names replaces what `units` has. Throws InputError with the place `--units`.
void choose_units(DisplayUnits& units, std::string_view text);

// How values of one recorded unit are seen: number = value * factor + offset.
struct ShownUnit {
  std::string text;                 // "mmH2O gauge", "degF", "degF diff/min"; "" for a pure number
  double factor = 1.0, offset = 0.0;
  bool same = true;                 // as recorded
  double number(double recorded) const { return recorded * factor + offset; }
  int decimals(int recorded) const; // that go with so many of the recorded unit: the rule above
};
// recorded: a unit as signals have it ("Pa gauge", "degC", "slm", "Pa/min", ...). A pressure that does not say gauge, abs or diff is
// taken as a difference. Throws UnitError.
ShownUnit shown_unit(std::string_view recorded, const DisplayUnits& units);
ShownUnit shown_difference_unit(std::string_view recorded, const DisplayUnits& units);   // of differences of such values

enum class Digits { reading, written };
// "30.2 mmH2O gauge (296 Pa gauge)"; SI alone where nothing else is chosen, or only another prefix of Pa, which then is used.
std::string shown(double recorded, std::string_view unit, const DisplayUnits& units, Digits digits = Digits::reading);
std::string shown_difference(double recorded, std::string_view unit, const DisplayUnits& units, Digits digits = Digits::reading);

// A recorded value with so many decimals, as a table has it: "30.2 mmH2O gauge (296.0 Pa gauge)", "296.0 Pa gauge".
std::string shown_fixed(double recorded, int decimals, std::string_view unit, const DisplayUnits& units);
// A margin, which is a difference, with four significant digits in each unit: "+52.02 mmH2O diff (510.1 Pa)". quantity: of the
// signal, as quantity_in (signals.h) tells it. signed_: with its sign also where it is positive.
std::string shown_margin(double recorded, std::string_view unit, std::string_view quantity, const DisplayUnits& units,
                         bool signed_ = false);

// Every quantity that stands in a text (an expression, an event) in both units: `plant.gas.gauge < 612 mmH2O (6 kPa)`. A pressure
// that says neither gauge nor abs is only scaled, since the signal beside it says what it counts from.
std::string in_display_units(std::string_view text, const DisplayUnits& units);

// The text of an event of this source. What files name (segments, expectations) stands as it is written.
std::string event_in_display_units(std::string_view source, std::string_view text, const DisplayUnits& units);

// One line for a page or a table: what is chosen, and the barometer where gauge and abs are exchanged. Empty: nothing is chosen.
std::string display_remark(const DisplayUnits& units);

// What a whole scenario says: its `display`, and the barometer of its `environment`, else of its furnace where that stands in it.
DisplayUnits display_of(const YamlNode& scenario);                  // throws InputError
DisplayUnits display_of_run(const std::filesystem::path& folder);   // its resolved.yaml; nothing chosen where there is none

}  // namespace sim
