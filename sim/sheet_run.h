// What an operating sheet needs of a run's folder: its summary and scenario, and what every signal did each time the programme went
// through a segment.
#pragma once

#include <filesystem>
#include <limits>
#include <string>
#include <vector>

#include "sim/scenario.h"
#include "sim/signals.h"
#include "sim/summary.h"
#include "sim/yaml_tree.h"

namespace sim {

// Of one signal over rows of the trace; NaN where there was no row with a value.
struct Extent {
  double first = std::numeric_limits<double>::quiet_NaN(), last = first, low = first, high = first;
  void add(double value);
};

// Once through a segment, or what came after the programme had ended.
struct Passage {
  int segment = -1;  // index in the programme; -1: after its end
  double from_s = 0.0, to_s = 0.0;
  bool left = false;            // the programme went on from it, or was complete with it
  std::vector<Extent> signals;  // by signal, over the rows from_s <= t < to_s
  std::vector<Extent> counted;  // the same over rows in which a soak had begun to count
  std::vector<double> next;     // the first row behind it; empty where the run ended
  unsigned phases = 0;          // bit n: atmosphere phase n was seen
};

struct SheetRun {
  std::filesystem::path folder;
  Summary summary;
  Scenario scenario;
  YamlNode resolved;  // resolved.yaml, from which every set value on the sheet is read by its path
  SignalTable table{std::vector<Signal>{}};
  std::vector<Passage> passages;  // in the order of time
  Passage after;                  // from_s == to_s: the programme had not ended
  Passage whole;                  // the whole run
  bool complete = false;          // the programme came to its end
  std::string ended_by;           // else: the event that ended it, as recorded; empty where the time was up
};

// Throws InputError when a file is missing or not what it should be.
SheetRun read_sheet_run(const std::filesystem::path& folder);

}  // namespace sim
