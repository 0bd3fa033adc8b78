// What a run is compared by, however it was kept: its folder, its trace alone, or a baseline file.
//
// A baseline file is small text that reviews well in a diff: YAML, one thing a line, fixed decimals: identity, verdicts and margins,
// totals, segments, events, and every signal as a line of few points that lies within a stated distance of every row of the run.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "sim/bench.h"
#include "sim/polyline.h"
#include "sim/signals.h"
#include "sim/summary.h"
#include "sim/tolerance.h"

namespace sim {

inline constexpr double thinning_share = 0.35;   // of the tube: what a baseline file's lines may be off

struct RecordedSignal {
  Signal signal;
  Polyline line;
  double within = 0.0, within_relative = 0.0;    // the run lay within within + within_relative * |value| of the line
};

struct Baseline {
  std::string source;                            // folder or file, for messages
  bool whole = false;                            // summary and events are there, not only signals
  Summary summary;                               // a baseline file fills what it holds
  std::vector<Event> events;
  std::vector<RecordedSignal> signals;
  double end_s = 0.0;                            // of the last row
  const RecordedSignal* find(std::string_view name) const;
};

// A run's folder, a trace.csv (with the summary and events beside it where there are some), or a baseline file. Throws InputError.
Baseline read_baseline(const std::filesystem::path& path);

// The text of a baseline file, thinned by the tolerance; reading it gives the same but for the thinning.
std::string write_baseline(const Baseline& run, const Tolerance& tolerance);

}  // namespace sim
