// The supervisory line under faults: what the core is asked and what it does, what the operator sees meanwhile.
#include "sim/supervisory_line.h"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

#include "plant/modbus.h"
#include "sim/operator_station.h"
#include "tests/sim/short_run.h"

namespace {

using sim::ControllerFault;
using sim::SupervisoryLine;
using sim_test::action;
using sim_test::fault;
using Bytes = std::vector<std::uint8_t>;

ControllerFault line_fault(auto change) {
  ControllerFault fault;
  fault.any_line = true;
  change(fault);
  return fault;
}

Bytes copied(std::span<const std::uint8_t> bytes) { return {bytes.begin(), bytes.end()}; }

const Bytes reading{1, 4, 0, 0, 0, 10, 0x70, 0x0D};
const Bytes writing{1, 23, 0, 0, 0, 10, 1, 0, 0, 1, 2, 0, 1, 0, 0};

TEST(SupervisoryLine, doubles_only_what_writes) {
  SupervisoryLine line(1);
  const ControllerFault doubled = line_fault([](auto& f) { f.write_doubled = true; });
  EXPECT_EQ(copied(line.to_core(0, reading, doubled)), reading);
  Bytes twice = writing;
  twice.insert(twice.end(), writing.begin(), writing.end());
  EXPECT_EQ(copied(line.to_core(0, writing, doubled)), twice);
  EXPECT_EQ(copied(line.to_operator(0, writing, doubled)), writing);
}

TEST(SupervisoryLine, is_silent_both_ways_and_puts_strangers_before_the_request) {
  SupervisoryLine line(1);
  const ControllerFault silent = line_fault([](auto& f) { f.line_silent = true; });
  EXPECT_TRUE(line.to_core(0, reading, silent).empty());
  EXPECT_TRUE(line.to_operator(0, reading, silent).empty());
  const ControllerFault noisy = line_fault([](auto& f) { f.noise_bytes = 20; });
  const Bytes heard = copied(line.to_core(5, reading, noisy));
  ASSERT_EQ(heard.size(), 28u);
  EXPECT_TRUE(std::equal(reading.begin(), reading.end(), heard.begin() + 20));
  EXPECT_EQ(copied(line.to_core(5, reading, noisy)), heard);                    // the same tick, the same noise
  EXPECT_NE(copied(line.to_core(6, reading, noisy)), heard);
  const ControllerFault foreign = line_fault([](auto& f) { f.foreign_unit = 9; });
  const Bytes other = copied(line.to_core(5, reading, foreign));
  ASSERT_EQ(other.size(), 16u);
  EXPECT_EQ(other[0], 9);
  EXPECT_EQ(plant::modbus::crc16(std::span(other).first(8)), 0);                     // over a frame with its CRC: V1.02, 6.2.2
}

TEST(SupervisoryLine, flips_bits_at_the_rate_asked) {
  SupervisoryLine line(3);
  const ControllerFault corrupt = line_fault([](auto& f) { f.corrupt_rate = 0.02; });
  const Bytes sent(130, 0);
  double flips = 0.0;
  for (std::uint64_t tick = 0; tick < 2000; ++tick)
    for (const std::uint8_t byte : line.to_operator(tick, sent, corrupt)) flips += byte != 0 ? 1.0 : 0.0;
  EXPECT_NEAR(flips, 5200.0, 5.0 * std::sqrt(5200.0 * 0.98));
}

// --- on the bench --------------------------------------------------------------------------------------------------------

struct Seen {
  double state = 0.0, segment = 0.0, commands = 0.0, age_s = 0.0, oldest_s = 0.0, missed = 0.0, trip = 0.0, power_w = 0.0;
  std::vector<std::string> events;
};

Seen seen(const sim::Scenario& scenario) {
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  const auto value = [&](const char* name) { return bench.frame()[static_cast<std::size_t>(bench.table().find(name))]; };
  Seen seen;
  while (bench.advance()) {
    seen.oldest_s = std::max(seen.oldest_s, value("line.reading_age"));
    seen.missed += value("line.reading_age") > 0.0 ? 1.0 : 0.0;
    for (const sim::Event& event : bench.events()) seen.events.push_back(event.source + " " + event.kind + " " + event.text);
  }
  seen.state = value("programme.state");
  seen.segment = value("programme.segment");
  seen.commands = value("command.count");
  seen.age_s = value("line.reading_age");
  seen.trip = value("interlock.trip");
  seen.power_w = value("plant.power");
  return seen;
}

std::ptrdiff_t count(const Seen& seen, const char* text) { return std::count(seen.events.begin(), seen.events.end(), text); }

TEST(SupervisoryLine, lets_the_core_go_on_while_it_is_silent_and_tells_the_operator_so) {
  sim::Scenario scenario = sim_test::short_run(420.0, "cycles/air_cycle");
  scenario.actions = {action(fw::Command::start, "start", 1.0), action(fw::Command::hold, "hold", 400.0)};
  scenario.faults = {fault("supervisory_silent", {}, 390.0, 20.0)};
  const Seen after = seen(scenario);
  EXPECT_EQ(after.state, 1.0);                               // the hold never came through: it runs on, and heats
  EXPECT_GT(after.power_w, 100.0);
  EXPECT_EQ(after.trip, 0.0);
  EXPECT_EQ(after.age_s, 0.0);
  EXPECT_NEAR(after.oldest_s, 20.0, 1e-9);                   // ten times the silence that breaks a run without a fault
  EXPECT_EQ(count(after, "operator unanswered hold"), 1);
  EXPECT_EQ(count(after, "supervisory recovered 200 readings of the controller missing, in whose place the last one stood"), 1);
}

TEST(SupervisoryLine, makes_one_command_of_a_doubled_one) {
  sim::Scenario scenario = sim_test::short_run(420.0, "cycles/air_cycle");
  scenario.actions = {action(fw::Command::start, "start", 1.0), action(fw::Command::skip, "skip", 395.0)};
  const Seen once = seen(scenario);
  scenario.faults = {fault("supervisory_write_doubled", {}, 0.5)};
  const Seen doubled = seen(scenario);
  ASSERT_EQ(once.commands, 2.0);
  EXPECT_EQ(doubled.commands, 2.0);
  EXPECT_EQ(doubled.segment, once.segment);
  EXPECT_EQ(doubled.missed, 0.0);
  EXPECT_EQ(count(doubled, "operator accepted skip"), 1);
}

TEST(SupervisoryLine, keeps_another_masters_commands_from_the_core) {
  sim::Scenario scenario = sim_test::short_run(30.0);
  scenario.actions = {action(fw::Command::start, "start", 20.0)};
  scenario.faults = {fault("supervisory_foreign", {2}, 5.0, 10.0)};
  const Seen after = seen(scenario);
  EXPECT_EQ(after.commands, 1.0);
  EXPECT_EQ(after.state, 1.0);
  EXPECT_EQ(after.missed, 0.0);
}

// Noise may look like the head of a frame and hold the request behind it up; it must never be taken for a command, nor must the
// answers lag once it has ended.
TEST(SupervisoryLine, hears_through_noise_and_does_not_lag_behind_after_it) {
  sim::Scenario scenario = sim_test::short_run(430.0, "cycles/air_cycle");
  scenario.actions = {action(fw::Command::start, "start", 1.0), action(fw::Command::hold, "hold", 425.0)};
  scenario.faults = {fault("supervisory_noise", {100}, 390.0, 30.0)};
  const Seen after = seen(scenario);
  EXPECT_EQ(after.commands, 2.0);
  EXPECT_EQ(after.trip, 0.0);
  EXPECT_EQ(after.state, 2.0);
  EXPECT_EQ(after.age_s, 0.0);
  EXPECT_EQ(count(after, "operator accepted hold"), 1);
  EXPECT_GT(after.missed, 0.0);
}

}  // namespace
