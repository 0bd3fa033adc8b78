// Where a run is forked: `RUN@2h30m`, `RUN@9000s`, `RUN@segment soak`, and the past that leads there. The past is computed again
// from the nearest snapshot of the run, or without one from its start, under the run's own resolved.yaml, with what the core sends held
// against the run's tape.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "sim/bench.h"
#include "sim/endpoint.h"
#include "sim/recording.h"
#include "sim/scenario.h"
#include "sim/snapshot.h"
#include "sim/summary.h"
#include "sim/tape.h"

namespace tools {

// "2h30m", "9000 s", "1 d 2 h": seconds; negative when it is none.
double duration_of(const std::string& text);

struct Fork {
  sim::Scenario parent;
  sim::ForkRecord record;
  std::filesystem::path folder;   // of the parent
  std::shared_ptr<sim::TapeReader> tape;      // of the parent; null: it kept none
  std::optional<sim::Snapshot> snapshot;      // the nearest before the fork
  bool forked = false;            // the parent is a fork itself
  std::string from_start_because; // why there is no snapshot, or it can't be used; empty: it was never asked for, or is used
};

// Throws UsageError: no such run, no such time or segment, a run of another version, a run that is a fork itself and has no snapshot so
// early, spoilt snapshots or tape.
Fork find_fork(const std::string& from);

// What a run consists of, between two ticks.
struct Course {
  sim::Bench& bench;
  sim::Recorder& recorder;
  sim::TapeWriter* tape;          // null: none is kept
};

// Everything of it that changes. false: the controller's state is out of reach.
bool save(sim::Archive& archive, const Course& course);

// Takes a fresh course made of the parent to the fork's snapshot, if there is one that it can take: else it says why in from_start_because,
// and nothing was done. Throws UsageError where the snapshot doesn't fit; where the past can't be computed from its start.
void go_to_snapshot(Fork& fork, const sim::Scenario& scenario, const Course& course);

// The endpoint, held against the tape of the run until the fork (if the run has one). It throws sim::EndpointDifference.
std::unique_ptr<sim::Endpoint> watched_endpoint(std::unique_ptr<sim::Endpoint> core, const Fork& fork);

}  // namespace tools
