// The CSV file of a real furnace's logger, read by a mapping into signals of a run: units converted, time from the start of the
// run, gaps kept as gaps.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "sim/baseline.h"
#include "sim/comparison.h"
#include "sim/log_mapping.h"

namespace sim {

struct RecordedLog {
  Baseline recorded;                     // signals only; NaN where there is a gap
  std::vector<std::string> ignored;      // columns that no item of the mapping names
  std::vector<std::string> notes;        // in words: when the clock was set, gaps, how it was aligned
  std::size_t rows = 0;
  double shift_s = 0.0;                  // time of the log's first row in the run
};

// run: gives names and units of the signals, and the passage the log is aligned to. Throws InputError with line and column of
// the log, or the place in the mapping.
RecordedLog read_log(const std::filesystem::path& file, const LogMapping& mapping, const Baseline& run);

// What compare prints below the comparison: notes, and how far each signal lies off on average.
std::string recorded_text(const Comparison& comparison, const RecordedLog& log);

}  // namespace sim
