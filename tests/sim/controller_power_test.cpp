// A controller that loses its power or is reset: what it tells of itself, what it does, and that tape, fork and replay repeat it.
#include "sim/controller_power.h"

#include <algorithm>
#include <filesystem>

#include <unistd.h>

#include <gtest/gtest.h>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"
#include "firmware/parameter_store.h"
#include "sim/difference.h"
#include "sim/tape.h"
#include "tests/sim/short_run.h"

namespace {

using sim::ControllerFault;
using sim::ControllerPower;
using sim_test::fault;

const sim::Clock clock_100ms{100'000'000};

ControllerFault without_power(double boot_s) {
  ControllerFault fault;
  fault.any_power = fault.off = true;
  fault.boot_s = boot_s;
  return fault;
}

TEST(ControllerPower, comes_back_after_outage_and_boot_with_its_clock_at_zero) {
  ControllerPower power(clock_100ms);
  EXPECT_TRUE(power.idle({}));
  const auto stopped = power.follow(100, without_power(0.5));
  EXPECT_TRUE(stopped.stops && stopped.lost_power && !stopped.starts);
  for (std::uint64_t tick = 101; tick < 350; ++tick) {
    const auto change = power.follow(tick, without_power(0.5));
    EXPECT_FALSE(change.stops || change.starts);
  }
  for (std::uint64_t tick = 350; tick < 355; ++tick) EXPECT_FALSE(power.follow(tick, {}).starts);
  const auto started = power.follow(355, {});
  EXPECT_TRUE(started.starts);
  EXPECT_EQ(started.cause, fw::ResetCause::power_on);
  EXPECT_EQ(started.outage_s, 25u);
  EXPECT_EQ(power.start_us(), 35'500'000u);
  EXPECT_TRUE(power.idle({}));
}

TEST(ControllerPower, resets_without_an_outage) {
  ControllerPower power(clock_100ms);
  ControllerFault reset;
  reset.any_power = reset.reset = true;
  reset.cause = fw::ResetCause::watchdog;
  const auto change = power.follow(7, reset);
  EXPECT_TRUE(change.stops && change.starts);
  EXPECT_EQ(change.cause, fw::ResetCause::watchdog);
  EXPECT_EQ(change.outage_s, 0u);
  reset.boot_s = 0.2;
  EXPECT_FALSE(power.follow(8, reset).starts);
  EXPECT_TRUE(power.follow(8, without_power(0.0)).lost_power);   // the power goes while it boots
  EXPECT_FALSE(power.follow(10, without_power(0.0)).starts);
  EXPECT_TRUE(power.follow(11, {}).starts);
}

// --- on the bench --------------------------------------------------------------------------------------------------------

struct Told {
  sim_test::Hashes hashes;
  std::vector<std::string> events;
};

void advance(sim::Bench& bench, Told& told, double until_s) {
  while (static_cast<double>(bench.ticks()) * 0.1 < until_s - 1e-6 && bench.advance())
    for (const sim::Event& event : bench.events()) told.events.push_back(event.source + " " + event.kind + " " + event.text);
  told.hashes = {bench.controller_hash(), bench.trace_hash(), bench.ticks()};
}

double value(const sim::Bench& bench, const char* name) { return bench.frame()[static_cast<std::size_t>(bench.table().find(name))]; }

// The cycle in air, heating at 390 s. Station: a second without an exchange, then the row last commanded; DEVELOPERS.md.
TEST(ControllerPower, leaves_the_furnace_to_the_stations_watchdog_and_comes_up_idle) {
  sim::Scenario scenario = sim_test::short_run(430.0, "cycles/air_cycle");
  scenario.faults = {fault("controller_power_lost", {1.0}, 390.0, 20.0)};
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  Told told;
  advance(bench, told, 390.0);
  EXPECT_GT(value(bench, "plant.power"), 100.0);
  EXPECT_EQ(value(bench, "line.reading_age"), 0.0);
  const double demand = value(bench, "heat.1.out");
  advance(bench, told, 390.8);
  EXPECT_GT(value(bench, "plant.power"), 100.0);        // nobody has told the station otherwise
  EXPECT_EQ(value(bench, "heat.1.out"), demand);        // the last reading stands
  EXPECT_NEAR(value(bench, "line.reading_age"), 0.8, 1e-9);
  advance(bench, told, 391.3);                          // 1 s and two periods
  EXPECT_EQ(value(bench, "plant.power"), 0.0);
  EXPECT_EQ(value(bench, "plant.contactor"), 0.0);
  advance(bench, told, 411.2);                          // 20 s of outage, 1 s of boot: the period that begins at 411.0 s is its first
  EXPECT_EQ(value(bench, "programme.state"), 0.0);
  EXPECT_EQ(value(bench, "line.reading_age"), 0.0);
  advance(bench, told, 1e9);
  EXPECT_EQ(value(bench, "programme.state"), 0.0);      // never taken up again by itself
  EXPECT_EQ(value(bench, "interlock.trip"), 0.0);
  EXPECT_EQ(value(bench, "plant.power"), 0.0);
  const auto has = [&](const char* text) { return std::count(told.events.begin(), told.events.end(), text); };
  EXPECT_EQ(has("controller stops without power"), 1);
  EXPECT_EQ(has("controller starts from its store, 20 s without power"), 1);
  EXPECT_EQ(has("supervisory disturbed no reading of the controller came through: the last one stands"), 1);
  EXPECT_EQ(has("supervisory recovered 210 readings of the controller missing, in whose place the last one stood"), 1);
}

TEST(ControllerPower, loses_the_programme_in_a_reset_too_without_an_outage) {
  for (const char* kind : {"controller_brown_out", "controller_watchdog_reset"}) {
    sim::Scenario scenario = sim_test::short_run(391.0, "cycles/air_cycle");
    scenario.faults = {fault(kind, {0.0}, 390.0)};
    sim::Bench bench(scenario, sim_test::endpoint("host"));
    while (bench.advance()) {
    }
    EXPECT_EQ(value(bench, "programme.state"), 0.0) << kind;
    EXPECT_EQ(value(bench, "plant.power"), 0.0) << kind;
    EXPECT_EQ(value(bench, "line.reading_age"), 0.0) << kind;
  }
}

// The command is sent in the very tick of the reset: the core has counted none before it, the last reading showed one.
TEST(ControllerPower, is_commanded_as_soon_as_it_is_up_again) {
  sim::Scenario scenario = sim_test::short_run(40.0);
  sim::OperatorAction start, hold;
  start.command = fw::Command::start;
  start.text = "start";
  start.when.at_s = 1.0;
  hold.command = fw::Command::hold;      // refused by a core that is idle
  hold.text = "hold";
  hold.when.at_s = 30.0;
  scenario.actions = {start, hold};
  scenario.faults = {fault("controller_watchdog_reset", {0.0}, 30.0)};
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  Told told;
  advance(bench, told, 1e9);
  EXPECT_EQ(std::count(told.events.begin(), told.events.end(), "operator refused hold: not in this state"), 1);
  EXPECT_EQ(value(bench, "command.count"), 1.0);
}

// Normal positions (design): purge and exhaust open, everything else shut, back-pressure valve open; contactor open.
TEST(ControllerPower, lets_everything_fall_into_its_normal_position_when_the_whole_plant_is_dead) {
  sim::Scenario scenario = sim_test::short_run(70.0);   // evacuating: pump isolation open, purge and exhaust shut
  scenario.faults = {fault("power_lost", {0.0}, 60.0)};
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  Told told;
  advance(bench, told, 60.0);
  ASSERT_EQ(value(bench, "plant.valve.pump"), 1.0);
  ASSERT_EQ(value(bench, "plant.valve.purge"), 0.0);
  advance(bench, told, 60.2);                           // at once: springs, not a watchdog
  EXPECT_EQ(value(bench, "plant.valve.pump"), 0.0);
  EXPECT_EQ(value(bench, "plant.valve.purge"), 1.0);
  EXPECT_EQ(value(bench, "plant.valve.exhaust"), 1.0);
  EXPECT_EQ(value(bench, "plant.valve.bypass"), 0.0);
  EXPECT_EQ(value(bench, "plant.valve.air"), 0.0);
  EXPECT_EQ(value(bench, "plant.valve.process"), 0.0);
  EXPECT_EQ(value(bench, "plant.contactor"), 0.0);
  advance(bench, told, 1e9);
  EXPECT_GT(value(bench, "plant.valve.pressure"), 0.99);
}

TEST(ControllerPower, starts_on_a_damaged_store_with_an_alarm_and_refuses_the_programme) {
  sim::Scenario scenario = sim_test::short_run(60.0);
  scenario.actions = {sim_test::action(fw::Command::start, "start", 40.0)};
  for (const bool damaged : {false, true}) {
    scenario.faults = {fault("controller_power_lost", {0.0}, 20.0, 5.0)};
    constexpr double page = 64.0 * fw::parameter_page_first;
    for (const double slot : {0.0, 1.0})      // the first page of the parameters, in both of its slots
      if (damaged) scenario.faults.push_back(fault("store_bit_flipped", {page + 64.0 * slot + 10.0, 3}, 22.0 + slot));
    sim::Bench bench(scenario, sim_test::endpoint("host"));
    Told told;
    advance(bench, told, 1e9);
    const auto alarms = static_cast<std::uint32_t>(value(bench, "alarms.bits"));
    EXPECT_EQ((alarms >> fw::alarm::store_damaged & 1u) != 0, damaged);
    EXPECT_EQ(value(bench, "programme.state"), damaged ? 0.0 : 1.0);
    EXPECT_EQ(std::count(told.events.begin(), told.events.end(), "operator refused start: store damaged"), damaged ? 1 : 0);
  }
}

TEST(ControllerPower, is_forked_before_during_and_after_its_outages) {
  const sim::Scenario scenario = sim_test::unpowered_run(120.0);
  Told measure;
  sim::Bench whole(scenario, sim_test::endpoint("host"));
  advance(whole, measure, 1e9);
  EXPECT_GT(std::count(measure.events.begin(), measure.events.end(), "controller stops without power"), 1);
  for (const double at_s : {10.5, 19.9, 20.0, 20.1, 30.0, 35.0, 35.3, 35.5, 35.6, 50.0, 50.1, 60.1, 70.0, 70.1, 71.4, 82.0, 90.0, 100.0,
                            102.0, 104.0, 104.1}) {
    Told told;
    sim::Bench bench(scenario, sim_test::endpoint("host"));
    advance(bench, told, at_s);
    bench = sim::Bench(scenario, std::move(bench));
    advance(bench, told, 1e9);
    EXPECT_EQ(told.hashes, measure.hashes) << at_s;
    EXPECT_EQ(told.events, measure.events) << at_s;
  }
}

TEST(ControllerPower, finds_what_a_fork_has_changed_during_its_outage_in_its_store) {
  const sim::Scenario scenario = sim_test::unpowered_run(40.0);
  sim::Scenario changed = scenario;
  changed.parameters.pressure_gain_per_pa *= 3.0f;
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  Told told;
  advance(bench, told, 30.0);
  bench = sim::Bench(changed, std::move(bench));
  advance(bench, told, 1e9);
  EXPECT_EQ(value(bench, "programme.state"), 0.0);
  fw::Parameters parameters;
  const auto programmes = std::make_unique<fw::ProgrammeStore>();
  fw::Journal journal{};
  fw::StoreWriter writer{};
  int bad = 0;
  EXPECT_EQ(fw::load_store(bench.store_image(), parameters, *programmes, journal, writer, bad), 0);
  EXPECT_EQ(parameters.pressure_gain_per_pa, changed.parameters.pressure_gain_per_pa);
}

// The tape holds the image it started from: without that, or without the gaps, a repetition would go another way.
TEST(ControllerPower, stands_on_the_tape_with_its_image_cause_and_outage) {
  const sim::Scenario scenario = sim_test::unpowered_run(120.0);
  const std::filesystem::path path = std::filesystem::path(testing::TempDir()) / ("unpowered_" + std::to_string(getpid()) + ".tape");
  sim::TapeHeader header;
  {
    const sim::Bench bench(scenario, sim_test::endpoint("host"));
    header.store_image.assign(bench.store_image().begin(), bench.store_image().end());
  }
  sim::TapeWriter writer(path, header);
  const sim_test::Hashes hashes = sim_test::run(scenario, "host", &writer);
  writer.finish(hashes.controller);
  for (const bool restarting : {true, false}) {
    sim::TapeReader tape(path);
    EXPECT_EQ(tape.ticks(), hashes.ticks);
    const auto core = sim_test::endpoint("host");
    core->start(tape.header().store_image, fw::ResetCause::power_on, 0);
    sim::TapeTick recorded;
    sim::TickOut found;
    int idle = 0;
    bool same = true;
    std::vector<std::pair<fw::ResetCause, std::uint32_t>> starts;
    while (tape.next(recorded)) {
      idle += recorded.idle ? 1 : 0;
      if (recorded.idle) continue;
      if (!recorded.restarted.empty()) starts.emplace_back(recorded.cause, recorded.outage_s);
      if (restarting && !recorded.restarted.empty()) core->start(recorded.restarted, recorded.cause, recorded.outage_s);
      core->tick(recorded.in, found);
      same = same && sim::same_output(recorded.out, found);
    }
    EXPECT_EQ(idle, 155 + 15 + 40);   // 15 s and 0.5 s of boot, 1.5 s of boot, 4 s
    using enum fw::ResetCause;
    const std::vector<std::pair<fw::ResetCause, std::uint32_t>> expected{{power_on, 15}, {brown_out, 0}, {watchdog, 0}, {power_on, 4}};
    EXPECT_EQ(starts, expected);
    EXPECT_EQ(same, restarting);
  }
  std::filesystem::remove(path);
}

}  // namespace
