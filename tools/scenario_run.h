// One scenario from file to results: load, couple, advance tick by tick, judge, record.
#pragma once

#include <atomic>
#include <chrono>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "sim/endpoint.h"
#include "sim/summary.h"
#include "tools/progress.h"
#include "tools/verbs.h"

namespace tools {

// Set by SIGINT; every run looks at it at every tick.
extern std::atomic<bool> interrupt_asked;
void listen_for_interrupt();   // the first SIGINT asks, the second ends the program at once

struct ScenarioRun {
  std::filesystem::path file;
  std::filesystem::path folder;               // where the results go; empty: runs/<scenario's name>
  std::vector<std::string> overrides;         // "path=value"
  std::filesystem::path patch;                // a YAML file of changes; empty: none
  std::string units;                          // text of --units, over what the scenario's `display` says
  std::string from;                           // a fork: RUN@TIME, see fork.h; empty: from the start
  sim::EndpointSettings controller;
  bool quiet = false;                         // no progress
  std::chrono::steady_clock::time_point begin;
  std::function<void(double done, double simulated_s)> watch;   // now and then; may be empty
};

struct ScenarioResult {
  std::filesystem::path folder;
  sim::Summary summary;                       // verdict "broken" when the run broke
  ExitCode code = all_hold;
};

// Throws InputError before anything is written. What breaks later (far side gone, state not finite, disk full) is in the
// result: summary.broken_by says what, code is 3, 4 or 130.
ScenarioResult perform(const ScenarioRun& run);

// The expectations in plain words, a line each, with a heading that says the verdict.
std::string expectation_table(const sim::Summary& summary, bool colour);

}  // namespace tools
