// What a run came to: the content of summary.json, and of the report's head.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "sim/bench.h"
#include "sim/display_units.h"
#include "sim/expectations.h"
#include "sim/signals.h"

namespace sim {

// A figure of the whole run, from every tick. The name ends in its unit, as in summary.json.
struct Total {
  std::string name;              // "energy_kwh"
  double value = 0.0;
  std::string unit;              // "kWh"
  int decimals = 0;
  std::string meaning;
};

// A stretch of the run: a segment of the programme, or a phase of the atmosphere.
struct Stretch {
  std::string name;
  double from_s = 0.0, to_s = 0.0;
};

// The run that a fork goes on from.
struct ForkRecord {
  std::string run;               // its folder's name
  std::uint64_t trace_hash = 0;  // its hash.trace
  double at_s = -1.0;            // the first tick under the fork's scenario; < 0: not a fork
  double replayed_from_s = 0.0;  // the past was computed again from there: from a snapshot, or 0
};

struct Summary {
  std::string saggar;            // version of the program
  std::string scenario, title, why, controller;
  std::uint64_t seed = 0;
  std::string verdict = "broken";  // pass | fail | broken
  std::string broken_by;         // broken: what broke it, in words
  double simulated_s = 0.0;
  std::uint64_t ticks = 0;
  std::uint64_t evaluations = 0; // ticks at which the expectations were judged
  double record_every_s = 1.0;   // of the rows of the trace
  double wall_s = 0.0;           // whole process; in summary.json only, so that the other files repeat
  std::vector<ExpectationResult> expectations;
  std::vector<Total> totals;
  LineStatistics line;
  std::uint64_t controller_hash = 0, trace_hash = 0;
  std::vector<Stretch> segments, phases;
  ForkRecord fork;
  DisplayUnits display;          // for people only: not in summary.json
};

// JSON, two blanks of indent, a newline at the end. Never NaN: what has no value is null.
std::string summary_json(const Summary& summary);
// Reads what summary_json wrote. Throws InputError.
Summary read_summary(const std::filesystem::path& file);

// Sums and extremes over every tick: energy, gas, peaks, times. Signals that a table does not have give no total.
class Totals {
 public:
  Totals(const SignalTable& table, double period_s);
  void tick(std::span<const double> frame);
  void visit(Archive& archive);  // everything of it that changes
  std::vector<Total> results() const;

 private:
  enum class Way : std::uint8_t { last, highest, lowest, time_not_zero, time_is };
  struct Figure {
    Way way;
    std::size_t slot;
    double argument;             // time_is: the value that counts
    Total total;
    void visit(Archive& archive) { archive(total.value); }
  };
  void add(const SignalTable& table, const std::string& signal, Way way, double argument, Total total);

  std::vector<Figure> figures_;
  double period_s_;
  bool started_ = false;
};

}  // namespace sim
