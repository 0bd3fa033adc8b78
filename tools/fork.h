// Where a run is forked: `RUN@2h30m`, `RUN@9000s`, `RUN@segment soak`, and the past that leads there. The past is computed again
// from the start of the run, under the run's own resolved.yaml, with what the core sends held against the run's tape.
#pragma once

#include <memory>
#include <string>

#include "sim/endpoint.h"
#include "sim/scenario.h"
#include "sim/summary.h"

namespace tools {

// "2h30m", "9000 s", "1 d 2 h": seconds; negative when it is none.
double duration_of(const std::string& text);

struct Fork {
  sim::Scenario parent;
  sim::ForkRecord record;
  std::filesystem::path folder;   // of the parent
};

// Throws UsageError: no such run, no such time or segment, a run of another version, a run that is a fork with changes itself.
Fork find_fork(const std::string& from);

// The endpoint, held against the tape of the run until the fork (if the run has one). It throws sim::EndpointDifference.
std::unique_ptr<sim::Endpoint> watched_endpoint(std::unique_ptr<sim::Endpoint> core, const Fork& fork);

}  // namespace tools
