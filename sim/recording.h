// Writes what a run leaves in its folder: summary.json, trace.csv, events.csv, junit.xml, moments.csv, resolved.yaml, report.html.
// Every file is written under a temporary name and takes its own name only when all are whole: a full disk leaves nothing half-written.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>

#include "sim/bench.h"
#include "sim/scenario.h"
#include "sim/summary.h"

namespace sim {

// A file could not be written, and why (exit 3).
struct RecordingError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// How a run ended.
struct Ending {
  std::string broken_by;                          // empty: the run came to its end; else "interrupted", what broke it
  LineStatistics line;
  std::uint64_t controller_hash = 0, trace_hash = 0;
  ControllerHistory history;                      // what the controller has written down
  std::chrono::steady_clock::time_point begin;    // of the process, for wall_s
};

// Judging and writing are done on a thread of its own, some hundred ticks behind; save, restore, fork and finish wait for it.
class Recorder {
 public:
  // Makes the folder if there is none. Throws RecordingError; InputError when an expectation cannot be read. period_s: of the tick.
  Recorder(const Scenario& scenario, const SignalTable& table, const std::filesystem::path& folder, double period_s,
           std::string controller = "host");
  ~Recorder();                                    // without finish: the temporary files are removed
  Recorder(const Recorder&) = delete;
  Recorder& operator=(const Recorder&) = delete;

  // Between two ticks: everything that changes, to a snapshot; or from one into a recorder that has recorded nothing yet, made of the
  // same scenario. What trace.csv and events.csv held is then taken from the folder of the run that the snapshot is of. Throws
  // ArchiveError, InputError when a file there isn't what the snapshot was taken beside.
  void save(Archive& archive);
  void restore(Archive& archive, const std::filesystem::path& folder);
  // From the next tick on under this scenario. What it expects in other words than before is judged from there on.
  void fork(const Scenario& scenario, const ForkRecord& record);

  // One tick, to be judged and recorded. Throws RecordingError, of this tick or of one before.
  void on_tick(double time_s, int segment, std::span<const double> frame, std::span<const Event> events,
               std::span<const ActionOutcome> outcomes = {});
  void on_tick(const Bench& bench) { on_tick(bench.time_s(), bench.segment(), bench.frame(), bench.events(), bench.outcomes()); }

  const std::string& resolved_yaml() const;       // the text of that file

  // Judges what is left open, writes everything. What stands in the folder afterwards is valid even when the run was broken.
  Summary finish(const Ending& ending);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace sim
