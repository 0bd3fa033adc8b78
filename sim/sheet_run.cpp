#include "sim/sheet_run.h"

#include <algorithm>
#include <cmath>

#include "sim/input_error.h"
#include "sim/trace.h"

namespace sim {

namespace {

constexpr double same_time_s = 1e-6;    // both are decimals of one grid
constexpr double complete_state = 7.0;  // programme.state

double no_value() { return std::numeric_limits<double>::quiet_NaN(); }

struct Slots {
  int phase, counted;
  explicit Slots(const SignalTable& table) : phase(table.find("atmosphere.phase")), counted(table.find("programme.soak_counted")) {}
};

void add_row(Passage& passage, const Slots& slots, const std::vector<double>& row) {
  const bool counts = slots.counted >= 0 && row[static_cast<std::size_t>(slots.counted)] > 0.0;
  for (std::size_t i = 0; i < row.size(); ++i) {
    passage.signals[i].add(row[i]);
    if (counts) passage.counted[i].add(row[i]);
  }
  const double phase = slots.phase < 0 ? no_value() : row[static_cast<std::size_t>(slots.phase)];
  if (phase >= 0.0 && phase < 32.0) passage.phases |= 1u << static_cast<unsigned>(phase);
}

Passage passage_of(int segment, double from_s, double to_s, int signals) {
  Passage passage;
  passage.segment = segment;
  passage.from_s = from_s;
  passage.to_s = to_s;
  passage.signals.resize(static_cast<std::size_t>(signals));
  passage.counted.resize(static_cast<std::size_t>(signals));
  return passage;
}

void lay_out(SheetRun& run) {
  const std::vector<std::string>& names = run.scenario.programme.names;
  const int signals = run.table.size();
  for (const Stretch& stretch : run.summary.segments) {
    const auto name = std::find(names.begin(), names.end(), stretch.name);
    if (name == names.end())
      throw InputError({(run.folder / "summary.json").string(), 0, 0}, "a segment `" + stretch.name + "`", "segments of the programme");
    run.passages.push_back(passage_of(static_cast<int>(name - names.begin()), stretch.from_s, stretch.to_s, signals));
    if (run.passages.size() > 1) run.passages[run.passages.size() - 2].left = true;
  }
  const double end_s = run.passages.empty() ? run.summary.simulated_s : run.passages.back().to_s;
  run.after = passage_of(-1, end_s, std::max(end_s, run.summary.simulated_s), signals);
  run.whole = passage_of(-1, 0.0, run.summary.simulated_s, signals);
}

void read_rows(SheetRun& run, TraceReader& trace) {
  const Slots slots(run.table);
  std::vector<double> row(static_cast<std::size_t>(run.table.size()));
  double time_s = 0.0;
  std::size_t at = 0;
  while (trace.next(time_s, row, no_value())) {
    add_row(run.whole, slots, row);
    while (at < run.passages.size() && time_s >= run.passages[at].to_s - same_time_s) {
      run.passages[at].next = row;
      ++at;
    }
    if (at < run.passages.size() && time_s >= run.passages[at].from_s - same_time_s) add_row(run.passages[at], slots, row);
    if (at == run.passages.size()) add_row(run.after, slots, row);
  }
}

void read_ending(SheetRun& run) {
  const int state = run.table.find("programme.state");
  run.complete = state >= 0 && run.whole.signals[static_cast<std::size_t>(state)].last == complete_state;
  if (run.complete) {
    if (!run.passages.empty()) run.passages.back().left = true;
    return;
  }
  for (const std::vector<std::string>& event : read_csv(run.folder / "events.csv").rows) {
    if (event.size() < 4) continue;
    const bool trip = event[1] == "interlock" && event[2] == "trips";
    const bool stop = event[1] == "operator" && event[2] == "accepted" && event[3] == "stop";
    const bool failed = event[1] == "alarm" && event[2] == "raised" && event[3].rfind("segment failed", 0) == 0;
    if (trip || stop || failed) run.ended_by = event[3];
  }
}

}  // namespace

void Extent::add(double value) {
  if (!std::isfinite(value)) return;
  if (!std::isfinite(first)) first = low = high = value;
  last = value;
  low = std::min(low, value);
  high = std::max(high, value);
}

SheetRun read_sheet_run(const std::filesystem::path& folder) {
  SheetRun run;
  run.folder = folder;
  run.summary = read_summary(folder / "summary.json");
  run.scenario = load_scenario(folder / "resolved.yaml");
  run.resolved = read_yaml(folder / "resolved.yaml");
  TraceReader trace(folder / "trace.csv");
  run.table = SignalTable(trace.signals());
  lay_out(run);
  read_rows(run, trace);
  read_ending(run);
  return run;
}

}  // namespace sim
