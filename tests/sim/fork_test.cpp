// A fork goes on as the whole run would: the whole run is the measure. Instants are chosen within faults with memory, within a
// waiting delay, while a condition counts, and with answers in flight.
#include <algorithm>
#include <bit>
#include <filesystem>

#include <unistd.h>

#include <gtest/gtest.h>

#include "sim/difference.h"
#include "sim/programme_file.h"
#include "sim/tape.h"
#include "sim/yaml_tree.h"
#include "tests/sim/short_run.h"

using sim_test::action;
using sim_test::endpoint;
using sim_test::fault;

namespace {

constexpr double run_s = 200.0;

// Drift from 15 s, a line that loses, damages and delays bytes, dips by chance that overlap; a hold delayed behind a segment,
// a resume behind a condition.
sim::Scenario eventful_run() {
  sim::Scenario scenario = sim_test::disturbed_run(run_s);
  scenario.faults.push_back(fault("sensor_drift", {7, 2.0}, 15));
  scenario.faults.push_back(fault("mains_dip", {0.8}, 12, 120));
  scenario.faults.back().chance = {0.2, 0.1, 15.0};
  sim::OperatorAction start = action(fw::Command::start, "start");
  start.when.at_s = 1.0;
  sim::OperatorAction hold = action(fw::Command::hold, "hold");
  hold.when.segment = scenario.programme.names.front();
  hold.when.after_s = 60.0;
  sim::OperatorAction resume = action(fw::Command::resume, "resume");
  resume.when.condition = "held_for(programme.state == held) > 15 s";
  sim::OperatorAction often = action(fw::Command::acknowledge, "acknowledge by the clock");
  often.when.at_s = 12.0;
  often.when.every_s = 31.0;
  often.when.times = 5;
  sim::OperatorAction anew = action(fw::Command::acknowledge, "acknowledge the alarm");
  anew.when.event = {"alarm", "raised", "line"};
  anew.when.after_s = 2.0;
  anew.when.times = 3;
  sim::OperatorAction write = action(fw::Command::none, "write a parameter");
  write.when.at_s = 40.0;
  write.parameter = 0;
  while (std::string_view(fw::parameter_table()[static_cast<std::size_t>(write.parameter)].name) != "heat.gains.1.gain") ++write.parameter;
  write.bits = std::bit_cast<std::uint32_t>(0.02f);
  scenario.actions = {start, hold, resume, often, anew, write};
  return scenario;
}

struct Told {
  sim_test::Hashes hashes;
  std::vector<std::string> events;
};

void advance(sim::Bench& bench, Told& told, double until_s) {
  while (static_cast<double>(bench.ticks()) * 0.1 < until_s - 1e-6 && bench.advance())
    for (const sim::Event& event : bench.events()) told.events.push_back(std::to_string(event.time_s) + event.kind + event.text);
  told.hashes = {bench.controller_hash(), bench.trace_hash(), bench.ticks()};
}

Told whole(const sim::Scenario& scenario) {
  sim::Bench bench(scenario, endpoint("host"));
  Told told;
  advance(bench, told, 1e9);
  return told;
}

Told forked(const sim::Scenario& before, const sim::Scenario& after, double at_s, sim::TapeWriter* tape = nullptr) {
  sim::Bench bench(before, endpoint("host"));
  bench.set_tape(tape);
  Told told;
  advance(bench, told, at_s);
  bench = sim::Bench(after, std::move(bench));
  advance(bench, told, 1e9);
  return told;
}

void expect_equal(const Told& one, const Told& other, double at_s) {
  EXPECT_EQ(one.hashes, other.hashes) << "forked at " << at_s << " s";
  EXPECT_EQ(one.events, other.events) << "forked at " << at_s << " s";
}

}  // namespace

TEST(Fork, of_the_same_scenario_is_the_whole_run) {
  const sim::Scenario scenario = eventful_run();
  const Told measure = whole(scenario);
  const auto count = [&](const char* text) {
    return std::count_if(measure.events.begin(), measure.events.end(), [&](const auto& event) { return event.ends_with(text); });
  };
  ASSERT_EQ(count("acceptedhold"), 1);     // the run has in it what is to be forked through
  ASSERT_EQ(count("acceptedresume"), 1);
  ASSERT_EQ(count("sentacknowledge by the clock"), 5);
  ASSERT_EQ(count("sentacknowledge the alarm"), 3);
  ASSERT_EQ(count("acceptedwrite a parameter"), 1);
  for (const double at_s : {0.0, 0.1, 1.0, 1.1, 15.0, 15.1, 33.3, 40.0, 40.1, 40.2, 61.1, 61.2, 61.7, 70.0,
                            76.5, 91.0, 91.1, 91.3, 100.2, 102.0, 104.9,
                            110.4, 112.3, 130.2, 150.0})
    expect_equal(forked(scenario, scenario, at_s), measure, at_s);
}

// Three segments take six exchanges and the choice one more: forked between any two of them, and while an answer is in flight.
TEST(Fork, goes_on_in_the_middle_of_a_load) {
  sim::Scenario scenario = sim_test::short_run(12.0);
  scenario.programmes = sim::read_other_programmes(sim::parse_yaml(R"(
- name: short dry
  stored: no
  segments:
    - ramp: {to: 60 degC, rate: 5 K/min, gas: argon, flow: 0.6 slm, back_pressure: 4 kPa gauge}
    - wait: {for: 1 min}
    - end:
)", "programmes.yaml"));
  sim::OperatorAction load = action(fw::Command::select_programme, "load short dry", 2.0);
  load.argument = 1;
  load.programme = "short dry";
  sim::OperatorAction start = action(fw::Command::start, "start", 6.0);
  scenario.actions = {load, start};
  const Told measure = whole(scenario);
  const auto told = [&](const char* text) {
    return std::any_of(measure.events.begin(), measure.events.end(), [&](const auto& event) { return event.ends_with(text); });
  };
  ASSERT_TRUE(told("acceptedload short dry"));
  ASSERT_TRUE(told("acceptedstart"));
  for (int tick = 18; tick <= 40; ++tick) expect_equal(forked(scenario, scenario, 0.1 * tick), measure, 0.1 * tick);
}

TEST(Fork, keeps_what_is_at_work_when_items_are_added_before_it) {
  const sim::Scenario scenario = eventful_run();
  const Told measure = whole(scenario);
  sim::Scenario more = scenario;   // other numbers for every action and fault; what is added never comes
  more.faults.insert(more.faults.begin(), fault("line_silent", {}, run_s + 1.0));
  more.actions.insert(more.actions.begin(), action(fw::Command::stop, "stop"));
  more.actions.front().when.condition = "plant.gas.gauge > 50 kPa";
  for (const double at_s : {1.1, 20.0, 61.7, 91.1, 100.2, 103.5, 130.2}) expect_equal(forked(scenario, more, at_s), measure, at_s);
}

TEST(Fork, shows_a_change_from_the_fork_on_and_not_before) {
  const sim::Scenario scenario = sim_test::short_run(60.0);
  sim::Scenario changed = scenario;
  changed.faults.push_back(fault("sensor_drift", {0, 5.0}, 30.0));
  const Told measure = whole(scenario), fork = forked(scenario, changed, 20.0), straight = whole(changed);
  EXPECT_NE(fork.hashes.trace, measure.hashes.trace);
  expect_equal(fork, straight, 20.0);   // a fault that begins after the fork: the same as a run that had it from the start
}

TEST(Fork, ends_a_fault_that_is_no_longer_there) {
  const sim::Scenario scenario = sim_test::short_run(60.0);
  sim::Scenario faulty = scenario, cured = scenario;
  faulty.faults.push_back(fault("line_silent", {}, 30.0));
  cured.faults.push_back(fault("line_silent", {}, 30.0, 0.3));
  EXPECT_EQ(forked(faulty, scenario, 30.3).hashes, whole(cured).hashes);
}

TEST(Fork, gives_the_core_its_new_parameters_as_a_store_image_on_the_tape) {
  const sim::Scenario scenario = sim_test::short_run(4800.0);
  sim::Scenario changed = scenario;
  changed.parameters.pressure_gain_per_pa *= 3.0f;
  const std::filesystem::path path = std::filesystem::path(testing::TempDir()) / ("forked_" + std::to_string(getpid()) + ".tape");
  sim::TapeHeader header;
  {
    const sim::Bench bench(scenario, endpoint("host"));
    header.store_image.assign(bench.store_image().begin(), bench.store_image().end());
  }
  sim::TapeWriter writer(path, header);
  const Told fork = forked(scenario, changed, 100.0, &writer);
  writer.finish(fork.hashes.controller);
  EXPECT_NE(fork.hashes.controller, whole(scenario).hashes.controller);

  for (const bool adopting : {true, false}) {
    sim::TapeReader tape(path);
    const auto core = endpoint("host");
    core->start(tape.header().store_image, fw::ResetCause::power_on, 0);
    sim::TapeTick recorded;
    sim::TickOut found;
    int images = 0;
    bool same = true;
    while (tape.next(recorded)) {
      images += recorded.adopted.empty() ? 0 : 1;
      if (adopting && !recorded.adopted.empty()) {
        ASSERT_TRUE(core->adopt(recorded.adopted));
      }
      core->tick(recorded.in, found);
      same = same && sim::same_output(recorded.out, found);
    }
    EXPECT_EQ(images, 1);
    EXPECT_EQ(same, adopting);   // without the image the core would go on as before: the tape shows it
  }
  std::filesystem::remove(path);
}

TEST(Fork, refuses_what_would_alter_the_past) {
  const sim::Scenario scenario = sim_test::short_run(60.0);
  const auto refused = [&](auto change) {
    sim::Scenario other = scenario;
    change(other);
    EXPECT_THROW(forked(scenario, other, 20.0), sim::InputError);
  };
  refused([](sim::Scenario& other) { other.seed += 1; });
  refused([](sim::Scenario& other) { other.parameters.period_ms = 200; });
  refused([](sim::Scenario& other) { other.baud = 230400.0; });
  refused([](sim::Scenario& other) { other.faults.push_back(fault("line_silent", {}, 10.0)); });
  refused([](sim::Scenario& other) { other.programme.names.front() = "something else"; });
  refused([](sim::Scenario& other) { other.furnace.boundary = plant::Boundary::vessel; });
  EXPECT_THROW(forked(scenario, scenario, 61.0), sim::InputError);   // after its end
}
