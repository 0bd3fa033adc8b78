// A scenario as read from YAML and checked: everything a run needs. What the files hold and how they are checked stands in
// the field tables (fields.h); this is the result.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/registers.h"
#include "plant/furnace.h"
#include "sim/display_units.h"
#include "sim/environment.h"
#include "sim/input_error.h"
#include "sim/tolerance.h"

namespace sim {

struct ProgrammeSource {
  std::string title;
  std::vector<fw::Segment> segments;
  std::vector<std::string> names;   // one per segment, unique; "leak test", "soak"
  // Only of all programmes in a row (with_others): where each begins among the names.
  std::vector<std::size_t> first{};
  // Place among the names of segment `segment` of programme `number`; -1 none.
  double place(double number, double segment) const {
    const auto programme = static_cast<std::size_t>(number);
    return segment < 0.0 || programme >= first.size() ? segment : segment + static_cast<double>(first[programme]);
  }
};

// Another programme of the scenario, number 1 and up in the controller, after the one it starts with.
struct OtherProgramme {
  std::string name;
  bool stored = true;               // in the store image; else `load` writes it over the supervisory line
  ProgrammeSource programme;
};

// Which events are meant (event_match.h). Empty kind and text: any.
struct EventPattern {
  std::string source, kind, text;
  bool given() const { return !source.empty() || !kind.empty() || !text.empty(); }
};

// When something happens or a window is open. Empty text and negative times: not used.
struct Moment {
  double at_s = -1.0;          // simulated time
  std::string segment;         // when the named segment begins
  std::string phase;           // when the atmosphere phase begins (rest, evacuating, ...)
  std::string condition;       // first tick the expression holds
  EventPattern event;          // when such an event happens
  double after_s = 0.0;        // delay after any of the above
  double every_s = -1.0;       // again and again at this distance from the first
  std::int64_t times = 0;      // so often in all, 0 without limit. Without every_s: at each beginning anew, once if not given
  SourcePlace place;

  bool timed() const { return segment.empty() && phase.empty() && condition.empty() && !event.given(); }
};

struct OperatorAction {
  enum class Expect { anything, accepted, refused };
  Moment when;
  fw::Command command = fw::Command::none;
  std::uint16_t argument = 0;
  float value = 0.0f;
  int parameter = -1;          // in fw::parameter_table: this parameter is written in place of a command, with these bits
  std::uint32_t bits = 0;
  Expect expect = Expect::anything;   // of the controller: otherwise the run fails
  std::string programme;       // `load`: this one, argument its number
  std::string edited;          // `edit_segment`: this one of programme `edited_programme`, argument its place; value 1: in the store too
  std::uint16_t edited_programme = 0;
  fw::Segment segment{};       // what it is to be
  std::string back_to;         // repeat: as the file names it
  std::string text;            // as written, for events
  SourcePlace place;
};

// Arrivals by chance, of no memory (Poisson), from the fault's moment on for `for_s`; each stays for a time drawn evenly between two
// bounds.
struct FaultChance {
  double rate_per_s = 0.0;     // 0: not by chance
  double shortest_s = 0.0, longest_s = 0.0;
  bool given() const { return rate_per_s > 0.0; }
};

struct FaultSource {
  std::string kind;            // name in the fault table (faults.h)
  std::vector<double> values;  // one per parameter of the kind, SI
  Moment from;
  double for_s = -1.0;         // how long it stays, or how long chance may bring it; < 0: to the end
  FaultChance chance;
  std::string text;
  SourcePlace place;
};

// What the operator gets wrong (mistake_file.h): which members count hangs on the kind.
struct MistakeSource {
  enum class Kind {
    wrong_bottle, wrong_gas_selected, wrong_thermocouple_type, wrong_thermocouple_fitted, wrong_extension_wire, thermocouples_swapped,
    hand_valve_shut, hand_vent_open, door_not_shut, other_load, decimal_slip, units_mistaken
  };
  Kind kind = Kind::wrong_bottle;
  int gas = 2, instead_of = 3;         // plant::Gas
  int loop = 0, type = 0;              // 0 heater, 1 load; 0 K, 1 N
  int one = 0, other = 4;              // thermocouples by channel
  int valve = 0, reading = 0;          // 0 supply, 1 exhaust, 2 pump; 0 degF read as degC, 1 the reverse
  double head_degc = 60.0, bore_m = 3e-3, for_s = -1.0, factor = 10.0;
  std::string parameter, segment, carries;
  bool timed = false;                  // decimal_slip: made at `when`, over the supervisory line; else before the run
  Moment when;
  SourcePlace place;
};

struct ExpectationSource {
  enum class Form { always, never, eventually, at_opening };
  std::string name;
  Form form = Form::always;
  std::string predicate;       // expression over signals with units
  double within_s = -1.0;      // eventually: after the window opens
  std::string word;            // a ready word instead of the form and predicate (ready_word.h), which are made of it when judged
  std::map<std::string, std::string> arguments;   // of the word, by key
  double due_s = 0.0;          // a window must have been open so long, or the expectation is not judged; only words set it
  // window: all given parts must hold
  double from_s = -1.0, to_s = -1.0;
  std::vector<std::string> segments;   // any of these programme segments
  std::vector<std::string> phases;     // any of these atmosphere phases
  std::string while_;          // condition expression
  std::string after;           // window opens at the first tick this holds (and stays open)
  std::string until;           // window closes for good at the first tick this holds after it opened
  EventPattern after_event;    // window opens at the tick at which such an event first happens; beside `after`, once both have come
  EventPattern until_event;    // as until: at the first later tick at which such an event happens
  SourcePlace place;
};

struct RecordSource {
  double every_s = 1.0;
  bool tape = true;
  bool snapshots = false;              // every 10 min and at each segment, for forks (snapshot.h)
};

struct RunSource {
  double at_most_s = 86400.0;          // longest run
  double settle_s = 60.0;              // goes on this long after the programme is complete, stopped or aborted
  bool until_programme_ends = true;
};

struct Scenario {
  std::filesystem::path file;
  std::string name;                    // file stem unless the file gives another
  std::string title;
  std::string why;
  std::uint64_t seed = 1;
  std::string furnace_title;
  std::string controller_title;
  fw::Parameters parameters{};
  plant::Furnace furnace{};
  Environment environment;             // what surrounds the furnace, where it is not as the furnace file says
  ProgrammeSource programme;
  std::vector<OtherProgramme> programmes;
  std::vector<OperatorAction> actions; // as written; with no `start` among them the bench starts the programme itself
  std::vector<FaultSource> faults;
  std::vector<MistakeSource> mistakes; // the rest of the scenario is what was meant
  std::vector<ExpectationSource> expectations;
  RecordSource record;
  Tolerance compare;                   // what `saggar compare` lets a run differ from its baseline
  RunSource run;
  DisplayUnits display;                // what people see; no file for machines depends on it
  double baud = 115200.0;              // both lines, 8E1
  std::string resolved_yaml;           // everything used, defaults included: reading it gives this scenario again
};

// All programmes as one: the names of the others as "NAME: segment". What counts segments over a run counts these.
ProgrammeSource with_others(const Scenario& scenario);

// Throws sim::InputError (fields.h) with file:line:column, found, expected, nearest name. overrides: "path=value" as text.
// patch: a YAML file of changes (patch_yaml), applied before them.
Scenario load_scenario(const std::filesystem::path& file, const std::vector<std::string>& overrides = {},
                       const std::filesystem::path& patch = {});

}  // namespace sim
