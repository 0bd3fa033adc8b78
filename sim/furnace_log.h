// What a logger recorded at a furnace, as far as the plant alone can be driven and judged by it: the commands that were given,
// the readings that came of them, and what surrounded the furnace. Rows as the file has them; a gap is not a number.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "sim/log_mapping.h"
#include "sim/signals.h"

namespace sim {

struct LoggedSignal {
  Signal signal;
  std::vector<double> values;  // one per row, in signal.quantity; NaN: no value
};

struct FurnaceLog {
  std::string source;
  std::vector<double> times_s;        // of the rows, from 0 (the first), rising
  std::vector<LoggedSignal> signals;  // only those of furnace_log_signals()
  std::vector<std::string> notes;     // in words: gaps, columns not used
  const LoggedSignal* find(std::string_view name) const;
  double end_s() const { return times_s.back(); }
};

// What such a log may hold, and what a mapping may name: the signals of a trace, and of a furnace's own logger besides them
// casing.pv and load_2.pv. Of plant.* only what instruments can tell (position of valves, barometer, ...), never what only a
// model knows.
const std::vector<Signal>& furnace_log_signals();

// A file whose header is `time [s],NAME [UNIT],...` (trace.csv of a run, or any part of its rows and columns) needs no mapping.
// Throws InputError with line and column of the log, or the place in the mapping.
FurnaceLog read_furnace_log(const std::filesystem::path& file, const std::optional<LogMapping>& mapping);

}  // namespace sim
