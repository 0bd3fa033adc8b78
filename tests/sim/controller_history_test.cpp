// What the controller has written down, read over the line at the end of a run.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "firmware/alarms.h"
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

// Some dozens of periods pass while a log of many entries is read. A core that heard nothing from the station meanwhile would find its
// line disturbed, then lost, and log both; one that always heard the same would find its inputs frozen.
TEST(ControllerHistory, IsReadWhileTheStationGoesOnAnswering) {
  sim::Scenario scenario = sim_test::short_run(60.0);
  scenario.parameters.frozen_window_s = 0.5f;
  for (int i = 0; i < 12; ++i) {
    scenario.actions.push_back(sim_test::action(fw::Command::start, "start", 1.0 + 4.0 * i));
    scenario.actions.push_back(sim_test::action(fw::Command::stop, "stop", 3.0 + 4.0 * i));
  }
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  const double alarms = bench.frame()[static_cast<std::size_t>(bench.table().find("alarms.bits"))];
  const sim::ControllerHistory first = bench.history();
  ASSERT_GT(first.events.size(), 20u) << "too short to take its time";
  const auto told = sentences(first);
  for (const char* word : {"line disturbed", "line lost", "inputs frozen"})
    EXPECT_THAT(told, testing::Not(Contains(HasSubstr(word)))) << word;
  EXPECT_EQ(first.record.alarms & (std::uint64_t{1} << fw::alarm::line_disturbed), 0u) << alarms;
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
