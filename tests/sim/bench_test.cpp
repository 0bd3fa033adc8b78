#include "sim/bench.h"

#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <optional>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "sim/difference.h"
#include "sim/event_match.h"
#include "sim/tape.h"
#include "tests/sim/short_run.h"

namespace {

using sim::Bench;
using sim::Event;
using sim_test::action;
using sim_test::endpoint;
using sim_test::fault;
using sim_test::short_run;
using testing::HasSubstr;

std::vector<Event> events_of(const sim::Scenario& scenario) {
  Bench bench(scenario, endpoint("host"));
  std::vector<Event> events;
  while (bench.advance()) events.insert(events.end(), bench.events().begin(), bench.events().end());
  for (const Event& event : events) EXPECT_TRUE(sim::known_event(event)) << event.source << " " << event.kind;
  return events;
}

const Event* find(const std::vector<Event>& events, std::string_view source, std::string_view kind, std::string_view text = "") {
  const auto found = std::find_if(events.begin(), events.end(), [&](const Event& event) {
    return event.source == source && event.kind == kind && event.text.find(text) != std::string::npos;
  });
  return found == events.end() ? nullptr : &*found;
}

TEST(Bench, CountsTicksFramesAndPlantStepsAsDurationOverPeriod) {
  Bench bench(short_run(600), endpoint("host"));
  while (bench.advance()) {
    ASSERT_EQ(bench.time_s(), static_cast<double>(bench.ticks() - 1) / 10.0) << "time is counted, not summed";
  }
  EXPECT_EQ(bench.ticks(), 6000u);
  EXPECT_EQ(bench.line().frames, 6000u);
  EXPECT_EQ(bench.line().evaluations, 6000u);
  EXPECT_EQ(bench.line().errors, 0u);
  EXPECT_EQ(bench.line().retries, 0u);
  EXPECT_FALSE(bench.advance());
  EXPECT_EQ(bench.ticks(), 6000u);
  // 49 + 113 bytes of 11 bits each period.
  EXPECT_NEAR(bench.line().utilisation, (49 + 113) * 11 / 115200.0 / 0.1, 1e-4);
}

TEST(Bench, RepeatsToTheBitAndFollowsItsSeed) {
  sim::Scenario scenario = sim_test::disturbed_run(300);
  const sim_test::Hashes first = sim_test::run(scenario);
  EXPECT_EQ(sim_test::run(scenario), first);
  scenario.seed += 1;
  const sim_test::Hashes other = sim_test::run(scenario);
  EXPECT_NE(other.trace, first.trace);
  EXPECT_NE(other.controller, first.controller);
}

TEST(Bench, StartsTheProgrammeItselfWhenTheScenarioDoesNot) {
  sim::Scenario scenario = short_run(10);
  std::erase_if(scenario.actions, [](const sim::OperatorAction& made) { return made.command == fw::Command::start; });
  const auto events = events_of(scenario);
  const Event* sent = find(events, "operator", "sent", "start");
  ASSERT_NE(sent, nullptr);
  EXPECT_DOUBLE_EQ(sent->time_s, 1.0);
  EXPECT_NE(find(events, "operator", "accepted", "start"), nullptr);
  const Event* begins = find(events, "programme", "begins", scenario.programme.names[0]);
  ASSERT_NE(begins, nullptr);
  EXPECT_LE(begins->time_s, 1.3);
  ASSERT_NE(find(events, "bench", "begins"), nullptr);
  EXPECT_EQ(events.front().source, "bench");
  EXPECT_EQ(events.back().kind, "ends");
  EXPECT_NEAR(events.back().time_s, 9.9, 1e-9);
}

TEST(Bench, ReportsACommandThatTheCoreRefuses) {
  sim::Scenario scenario = short_run(10);
  scenario.actions = {action(fw::Command::resume, "resume", 2.0), action(fw::Command::start, "start", 5.0)};
  const auto events = events_of(scenario);
  const Event* refused = find(events, "operator", "refused", "resume");
  ASSERT_NE(refused, nullptr);
  EXPECT_THAT(refused->text, HasSubstr("not in this state"));
  EXPECT_NE(find(events, "operator", "accepted", "start"), nullptr);
}

TEST(Bench, EndsWhenTheProgrammeHasBeenStoppedAndHasSettled) {
  sim::Scenario scenario = short_run(86400);
  scenario.run.until_programme_ends = true;
  scenario.run.settle_s = 30.0;
  scenario.actions = {action(fw::Command::start, "start", 1.0), action(fw::Command::stop, "stop", 20.0)};
  const auto events = events_of(scenario);
  const Event* stopped = find(events, "programme", "state", "stopped");
  ASSERT_NE(stopped, nullptr);
  EXPECT_EQ(events.back().text, "the programme has ended");
  EXPECT_NEAR(events.back().time_s, stopped->time_s + 30.0, 0.11);
}

TEST(Bench, LosesExactlyTheExchangesOfASilentLine) {
  sim::Scenario scenario = short_run(60);
  scenario.faults = {fault("line_silent", {}, 30.0, 0.5)};
  Bench bench(scenario, endpoint("host"));
  std::vector<Event> events;
  const auto errors = static_cast<std::size_t>(bench.table().find("line.errors"));
  while (bench.advance()) {
    events.insert(events.end(), bench.events().begin(), bench.events().end());
    ASSERT_EQ(bench.frame()[errors], static_cast<double>(std::clamp<long>(static_cast<long>(bench.ticks()) - 300, 0, 5)));
  }
  EXPECT_EQ(bench.ticks(), 600u);
  EXPECT_EQ(bench.line().errors, 5u);
  EXPECT_EQ(bench.line().frames, 595u);
  EXPECT_EQ(bench.line().retries, 5u);
  const Event* begins = find(events, "fault", "begins", "line_silent");
  const Event* ends = find(events, "fault", "ends", "line_silent");
  ASSERT_TRUE(begins != nullptr && ends != nullptr);
  EXPECT_DOUBLE_EQ(begins->time_s, 30.0);
  EXPECT_DOUBLE_EQ(ends->time_s, 30.5);
  EXPECT_NE(find(events, "line", "disturbed"), nullptr);
  EXPECT_NE(find(events, "line", "recovered", "5 answers"), nullptr);
}

// The core sees the glitch one period after the plant has it, for one tick: from sample to signal is exactly one period.
TEST(Bench, ShowsAGlitchOfOneTickOnePeriodLater) {
  constexpr double glitch_k = 100.0;
  sim::Scenario scenario = short_run(60);
  Bench quiet(scenario, endpoint("host"));
  scenario.faults = {fault("glitch", {4, glitch_k}, 30.0, 20.0)};
  Bench disturbed(scenario, endpoint("host"));
  const auto load = static_cast<std::size_t>(quiet.table().find("load.pv"));
  std::vector<std::pair<double, double>> differences;
  while (quiet.advance() && disturbed.advance()) {
    const double difference = disturbed.frame()[load] - quiet.frame()[load];
    if (difference != 0.0) differences.emplace_back(quiet.time_s(), difference);
  }
  ASSERT_EQ(differences.size(), 1u);
  EXPECT_DOUBLE_EQ(differences[0].first, 30.1);
  EXPECT_NEAR(differences[0].second, glitch_k, 1.0);
}

TEST(Bench, BringsUpTheAlarmOfABrokenThermocouple) {
  sim::Scenario scenario = short_run(60, "cycles/air_cycle");
  scenario.faults = {fault("thermocouple_open", {0}, 30.0)};
  const auto events = events_of(scenario);
  const Event* raised = find(events, "alarm", "raised");
  ASSERT_NE(raised, nullptr);
  EXPECT_GE(raised->time_s, 30.0);
  const Event* trips = find(events, "interlock", "trips");
  ASSERT_NE(trips, nullptr);
}

class RecordedBench : public testing::Test {
 protected:
  void SetUp() override {
    path_ = std::filesystem::temp_directory_path() / ("saggar_bench_tape_" + std::to_string(getpid()));
    scenario_ = sim_test::disturbed_run(300);
    Bench bench(scenario_, endpoint("host"));
    sim::TapeHeader header;
    header.scenario = scenario_.name;
    header.store_image.assign(bench.store_image().begin(), bench.store_image().end());
    sim::TapeWriter tape(path_, header);
    bench.set_tape(&tape);
    while (bench.advance()) {
    }
    tape.finish(bench.controller_hash());
    ticks_ = bench.ticks();
  }
  void TearDown() override { std::filesystem::remove(path_); }

  // Repeats the tape with one bit of a recorded output turned over; the first difference, if there is one.
  template <typename Plant>
  std::optional<sim::Difference> repeat(std::uint64_t plant_tick, Plant plant) {
    sim::TapeReader tape(path_);
    const auto core = endpoint("host");
    core->start(tape.header().store_image, tape.header().reset_cause, tape.header().outage_s);
    sim::TapeTick recorded;
    sim::TickOut found;
    for (std::uint64_t tick = 0; tape.next(recorded); ++tick) {
      if (tick == plant_tick) plant(recorded.out);
      core->tick(recorded.in, found);
      if (!sim::same_output(recorded.out, found)) return sim::name_difference(tick, recorded.out, found, recorded.in.supervisory);
    }
    return std::nullopt;
  }

  std::filesystem::path path_;
  sim::Scenario scenario_;
  std::uint64_t ticks_ = 0;
};

TEST_F(RecordedBench, LeavesATapeThatRepeats) {
  EXPECT_EQ(sim::TapeReader(path_).ticks(), ticks_);
  EXPECT_FALSE(repeat(ticks_, [](sim::TickOut&) {}).has_value());
}

// Byte 3 + 2 * address of the answer holds a register's high half.
TEST_F(RecordedBench, NamesTickAndRegisterOfAPlantedBit) {
  const auto monitor = fw::monitor_table();
  for (const std::string_view name : {"heat.1.pv", "pressure.out", "programme.state", "controller.tick"}) {
    const auto info = std::find_if(monitor.begin(), monitor.end(), [name](const fw::RegisterInfo& row) { return name == row.name; });
    const auto found = repeat(1234, [&](sim::TickOut& out) { out.supervisory[4u + 2u * info->address] ^= 1; });
    ASSERT_TRUE(found.has_value());
    EXPECT_EQ(found->tick, 1234u);
    EXPECT_EQ(found->port, "supervisory");
    EXPECT_THAT(found->place, HasSubstr(std::string(name)));
  }
}

TEST_F(RecordedBench, NamesFieldRegistersSequenceAndCrc) {
  const auto planted = [&](std::size_t byte) { return repeat(500, [byte](sim::TickOut& out) { out.field[byte] ^= 1; }); };
  EXPECT_THAT(planted(11)->place, HasSubstr("0x0100, sequence"));
  EXPECT_THAT(planted(14)->place, HasSubstr("0x0101, coils"));
  EXPECT_THAT(planted(11 + 8 + 3)->place, HasSubstr("0x0104, heater demand of zone 1"));
  EXPECT_THAT(planted(11 + 32 + 3)->place, HasSubstr("0x0110, back-pressure valve"));
  EXPECT_EQ(planted(48)->place, "CRC");
  EXPECT_EQ(planted(1)->port, "field");
  const auto shorter = repeat(500, [](sim::TickOut& out) { out.field_size = 0; });
  ASSERT_TRUE(shorter.has_value());
  EXPECT_THAT(shorter->text(), HasSubstr("tick 500, field port"));
}

}  // namespace
