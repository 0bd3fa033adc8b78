// A shipped scenario cut short, with its own faults, for tests of the bench and its endpoints.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "firmware/parameter_store.h"
#include "sim/bench.h"
#include "sim/scenario.h"
#include "tests/checkout.h"

namespace sim_test {

inline sim::Scenario short_run(double seconds, const char* name = "cycles/titanium_stress_relief") {
  sim::Scenario scenario = sim::load_scenario(std::string(source_folder) + "/configs/scenarios/" + name + ".yaml");
  scenario.run.at_most_s = seconds;
  scenario.run.until_programme_ends = false;
  return scenario;
}

inline sim::FaultSource fault(const char* kind, std::vector<double> values, double at_s, double for_s = -1.0) {
  sim::FaultSource source;
  source.kind = kind;
  source.values = std::move(values);
  source.from.at_s = at_s;
  source.for_s = for_s;
  source.text = kind;
  return source;
}

// at_s < 0: the caller says when.
inline sim::OperatorAction action(fw::Command command, const char* text, double at_s = -1.0) {
  sim::OperatorAction source;
  source.command = command;
  source.text = text;
  source.when.at_s = at_s;
  return source;
}

// Everything a line can do to an endpoint: lost, damaged, late and overtaking bytes, silence.
inline sim::Scenario disturbed_run(double seconds) {
  sim::Scenario scenario = short_run(seconds);
  scenario.faults.push_back(fault("line_drop", {0.002, 0}, 20, 20));
  scenario.faults.push_back(fault("line_corrupt", {0.002}, 60, 20));
  scenario.faults.push_back(fault("line_late", {130}, 100, 3));
  scenario.faults.push_back(fault("line_late", {330}, 110, 3));
  scenario.faults.push_back(fault("line_silent", {}, 130, 0.5));
  return scenario;
}

// Everything that takes the controller's memory, and a store that loses, delays and damages what it is given.
inline sim::Scenario unpowered_run(double seconds) {
  sim::Scenario scenario = short_run(seconds);
  scenario.faults.push_back(fault("store_slow", {2.5}, 10, 60));
  scenario.faults.push_back(fault("controller_power_lost", {0.5}, 20, 15));
  scenario.faults.push_back(fault("controller_brown_out", {0}, 50));
  scenario.faults.push_back(fault("store_bit_flipped", {64 * fw::pool_page_first + 10, 3}, 60));
  scenario.faults.push_back(fault("controller_watchdog_reset", {1.5}, 70));
  scenario.faults.push_back(fault("supervisory_noise", {40}, 80, 5));
  scenario.faults.push_back(fault("supervisory_corrupt", {0.01}, 85, 10));
  scenario.faults.push_back(fault("power_lost", {0}, 100, 4));
  return scenario;
}

struct Hashes {
  std::uint64_t controller = 0, trace = 0, ticks = 0;
  bool operator==(const Hashes&) const = default;
};

inline std::unique_ptr<sim::Endpoint> endpoint(const std::string& kind) {
  sim::EndpointSettings settings;
  settings.kind = kind;
  return sim::open_endpoint(settings);
}

inline Hashes run(const sim::Scenario& scenario, const std::string& kind = "host", sim::TapeWriter* tape = nullptr) {
  sim::Bench bench(scenario, endpoint(kind));
  bench.set_tape(tape);
  while (bench.advance()) {
  }
  return {bench.controller_hash(), bench.trace_hash(), bench.ticks()};
}

}  // namespace sim_test
