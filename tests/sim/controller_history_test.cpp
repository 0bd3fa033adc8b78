// What the controller has written down, read over the line at the end of a run.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "sim/controller_history.h"
#include "tests/sim/short_run.h"

namespace {

using testing::Contains;
using testing::HasSubstr;

sim::ControllerHistory history_of(const sim::Scenario& scenario) {
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  return bench.history();
}

std::vector<std::string> sentences(const sim::ControllerHistory& history) {
  std::vector<std::string> all;
  for (const sim::ControllerEvent& event : history.events) all.push_back(sim::sentence(event));
  return all;
}

TEST(ControllerHistory, TellsTheStartThePowerLossAndWhatBecameOfTheProgramme) {
  sim::Scenario scenario = sim_test::short_run(60.0);
  scenario.faults = {sim_test::fault("controller_power_lost", {0.0}, 20.0, 5.0)};
  const auto told = sentences(history_of(scenario));
  EXPECT_THAT(told, Contains("power on, 0 s without power, start number 1"));
  EXPECT_THAT(told, Contains("power on, 5 s without power, start number 2"));
  EXPECT_THAT(told, Contains("programme 0 from idle to running"));
  EXPECT_THAT(told, Contains(HasSubstr("left as it was")));
}

TEST(ControllerHistory, HoldsTheRecordOfAnAbortedRun) {
  sim::Scenario scenario = sim_test::short_run(60.0);
  scenario.actions = {sim_test::action(fw::Command::start, "start", 1.0), sim_test::action(fw::Command::stop, "stop", 20.0)};
  const sim::ControllerRecord record = history_of(scenario).record;
  EXPECT_EQ(record.number, 1u);
  EXPECT_EQ(record.end_state, 4u) << "stopped";
  EXPECT_EQ(record.operator_actions, 2u);
  EXPECT_EQ(record.segments, scenario.programme.segments.size());
  EXPECT_EQ(record.started_s, 1u);
  EXPECT_THAT(scenario.programme.title, testing::StartsWith(record.title.substr(0, 8)));
  EXPECT_THAT(sim::record_csv(record), HasSubstr("\"ended\",\"stopped\""));
}

TEST(ControllerHistory, IsNoPartOfTheRun) {
  const sim::Scenario scenario = sim_test::short_run(30.0);
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  const std::uint64_t controller = bench.controller_hash(), trace = bench.trace_hash(), ticks = bench.ticks();
  EXPECT_FALSE(bench.history().events.empty());
  EXPECT_EQ(bench.controller_hash(), controller);
  EXPECT_EQ(bench.trace_hash(), trace);
  EXPECT_EQ(bench.ticks(), ticks);
}

}  // namespace
