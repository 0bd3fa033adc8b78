#include "sim/furnace_log.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>

#include <fmt/format.h>

#include "sim/input_error.h"
#include "sim/recorded_log.h"
#include "sim/trace.h"

namespace sim {

namespace {

Signal logged(const char* name, const char* unit, int decimals, const char* quantity = "") {
  Signal signal;
  signal.name = name;
  signal.unit = unit;
  signal.decimals = decimals;
  signal.quantity = *quantity != '\0' ? quantity : unit;
  return signal;
}

std::vector<Signal> make_signals() {
  std::vector<Signal> signals;
  for (const char* zone : {"1", "2", "3", "4"}) {
    signals.push_back(logged(fmt::format("heat.{}.pv", zone).c_str(), "degC", 2));
    signals.push_back(logged(fmt::format("heat.{}.out", zone).c_str(), "1", 4));
  }
  signals.push_back(logged("load.pv", "degC", 2));
  signals.push_back(logged("load_2.pv", "degC", 2));
  signals.push_back(logged("casing.pv", "degC", 2));
  signals.push_back(logged("pressure.pv", "Pa gauge", 1));
  signals.push_back(logged("pressure.out", "1", 4));
  signals.push_back(logged("vacuum.pv", "Pa", 2, "Pa abs"));
  signals.push_back(logged("oxygen.pv", "ppm", 2));
  signals.push_back(logged("dew_point.pv", "degC", 2));
  signals.push_back(logged("flow.pv", "slm", 3));
  signals.push_back(logged("flow.out", "1", 4));
  signals.push_back(logged("controller.outputs", "1", 0));
  for (const char* valve : {"process", "purge", "exhaust", "bypass", "air", "pump"})
    signals.push_back(logged(fmt::format("plant.valve.{}", valve).c_str(), "1", 0));
  signals.push_back(logged("plant.pump", "1", 4));
  signals.push_back(logged("plant.contactor", "1", 0));
  signals.push_back(logged("plant.barometer", "Pa", 2, "Pa abs"));
  signals.push_back(logged("plant.ambient", "degC", 3));
  signals.push_back(logged("plant.mains", "V", 2));
  return signals;
}

const Signal* known(std::string_view name) {
  for (const Signal& one : furnace_log_signals())
    if (one.name == name) return &one;
  return nullptr;
}

std::string first_line(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream) throw InputError({file.string(), 0, 0}, "no such file", "the CSV file of a logger, or the trace.csv of a run");
  std::string line;
  std::getline(stream, line);
  if (line.ends_with('\r')) line.pop_back();
  return line;
}

// The header itself says how a file of a run, or one like it, is to be read.
LogMapping mapping_of_header(const std::filesystem::path& file) {
  const std::string line = first_line(file);
  LogMapping mapping;
  mapping.time_column = "time [s]";
  mapping.time_format = LogMapping::TimeFormat::seconds;
  if (line != mapping.time_column && !line.starts_with("time [s],"))
    throw InputError(
        {file.string(), 1, 1}, "`" + line.substr(0, 60) + "`",
        "`time [s],NAME [UNIT],...` as the trace.csv of a run has, or a mapping that says how the file is to be read (--map)");
  for (std::size_t at = line.find(','); at != std::string::npos;) {
    const std::size_t end = std::min(line.find(',', at + 1), line.size());
    const std::string column = line.substr(at + 1, end - at - 1);
    const SourcePlace place{file.string(), 1, static_cast<int>(at) + 2};
    const std::size_t bracket = column.rfind(" [");
    if (bracket == std::string::npos || column.back() != ']')
      throw InputError(place, "`" + column + "`", "a signal and its unit in brackets: heat.1.pv [degC]");
    const std::string name = column.substr(0, bracket), unit = column.substr(bracket + 2, column.size() - bracket - 3);
    if (known(name) != nullptr) mapping.columns.push_back({column, name, quantity_named(name, unit), false, place});
    at = end < line.size() ? end : std::string::npos;
  }
  if (mapping.columns.empty()) {
    std::vector<std::string> names;
    for (const Signal& one : furnace_log_signals()) names.push_back(one.name);
    throw InputError({file.string(), 1, 1}, "no column that drives or judges a furnace", "some of " + listed(names));
  }
  return mapping;
}

// Names and units for the reader of logs; no rows, so that nothing can be aligned to them.
Baseline names_of_signals() {
  Baseline names;
  for (const Signal& one : furnace_log_signals()) names.signals.push_back({one, {}, 0.0, 0.0});
  return names;
}

double value_at(const Polyline& line, std::size_t& next, double time_s) {
  while (next < line.size() && line.times_s[next] < time_s) ++next;
  return next < line.size() && line.times_s[next] == time_s ? line.values[next] : std::numeric_limits<double>::quiet_NaN();
}

}  // namespace

const LoggedSignal* FurnaceLog::find(std::string_view name) const {
  for (const LoggedSignal& one : signals)
    if (one.signal.name == name) return &one;
  return nullptr;
}

const std::vector<Signal>& furnace_log_signals() {
  static const std::vector<Signal> signals = make_signals();
  return signals;
}

FurnaceLog read_furnace_log(const std::filesystem::path& file, const std::optional<LogMapping>& mapping) {
  if (mapping && !mapping->align_signal.empty())
    throw InputError(mapping->align_place, "`align.signal`, which needs a run", "none: the log's first row is 0");
  const RecordedLog read = read_log(file, mapping ? *mapping : mapping_of_header(file), names_of_signals());
  FurnaceLog log;
  log.source = file.string();
  log.notes = read.notes;
  if (!log.notes.empty()) log.notes.pop_back();  // how it lies to a run, which there is none
  if (mapping && !read.ignored.empty()) log.notes.push_back("columns not used: " + listed(read.ignored));
  for (const RecordedSignal& one : read.recorded.signals)
    for (std::size_t i = 0; i < one.line.size(); ++i)
      if (!std::isnan(one.line.values[i])) log.times_s.push_back(one.line.times_s[i]);
  std::sort(log.times_s.begin(), log.times_s.end());
  log.times_s.erase(std::unique(log.times_s.begin(), log.times_s.end()), log.times_s.end());
  if (log.times_s.size() < 3) throw InputError({file.string(), 0, 0}, "fewer than three rows with values", "a log");
  for (const RecordedSignal& one : read.recorded.signals) {
    LoggedSignal signal{one.signal, {}};
    std::size_t next = 0;
    for (const double time_s : log.times_s) signal.values.push_back(value_at(one.line, next, time_s));
    log.signals.push_back(std::move(signal));
  }
  const double first_s = log.times_s.front();
  for (double& time_s : log.times_s) time_s -= first_s;
  return log;
}

}  // namespace sim
