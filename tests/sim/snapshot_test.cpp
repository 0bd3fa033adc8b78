// A bench restored from what it was at some tick, beside the one that went on: the same to the bit up to the end, from a great many
// instants of a run in which every part has something to lose. A member that a `visit` leaves out shows here.
#include <algorithm>
#include <memory>
#include <utility>

#include <gtest/gtest.h>

#include "sim/archive.h"
#include "sim/expectations.h"
#include "sim/faults.h"
#include "tests/sim/short_run.h"

using sim_test::endpoint;
using sim_test::fault;

namespace {

sim::OperatorAction action(fw::Command command, const char* text, double at_s) {
  sim::OperatorAction source;
  source.command = command;
  source.text = text;
  source.when.at_s = at_s;
  return source;
}

sim::ExpectationSource expectation(sim::ExpectationSource::Form form, const char* predicate, double within_s = -1.0) {
  sim::ExpectationSource source;
  source.name = predicate;
  source.form = form;
  source.predicate = predicate;
  source.within_s = within_s;
  return source;
}

std::vector<sim::ExpectationSource> judged() {
  using Form = sim::ExpectationSource::Form;
  std::vector<sim::ExpectationSource> all;
  all.push_back(expectation(Form::always, "travel(pressure.pv) < 90 kPa"));
  all.push_back(expectation(Form::always, "held_for(line.errors > 3) < 100 s and reversals(plant.gas.gauge, 5 Pa) < 4"));
  all.push_back(expectation(Form::never, "interlock.trip > 0"));
  all.push_back(expectation(Form::eventually, "rise(plant.load.core) > 90 K", 100.0));
  all.push_back(expectation(Form::always, "always[0 s, 30 s] (plant.gas.gauge < 5 kPa) or eventually[5 s, 40 s] (plant.power < 1 W)"));
  all.push_back(expectation(Form::always, "(plant.gas.pressure > 90 kPa) until[3 s, 50 s] (plant.gas.gauge < -1 kPa)"));
  all.push_back(expectation(Form::eventually, "always[0 s, 20 s] (programme.state == held)"));
  all.push_back(expectation(Form::at_opening, "eventually[0 s, 40 s] (plant.gas.gauge < -1 kPa)"));
  all.push_back(expectation(Form::always, "plant.gas.gauge < 5 kPa"));
  all[3].after = "elapsed() > 50 s";
  all[8].after = "held_for(programme.state == held) > 5 s";
  all[8].until = "last_when(programme.state == held) > 1 min";
  all[6].while_ = "alarms.active > 0";
  return all;
}

// A drift and a stuck sensor, all a line can do, a trip, commands that are refused, that wait for a segment and for a condition; the
// programme ends, so that the bench counts the ticks since.
sim::Scenario eventful_run() {
  sim::Scenario scenario = sim_test::disturbed_run(220.0);
  scenario.run.until_programme_ends = true;
  scenario.run.settle_s = 20.0;
  scenario.faults.push_back(fault("sensor_drift", {7, 2.0}, 15.0, 30.0));
  scenario.faults.push_back(fault("sensor_stuck", {6, 0.0}, 50.0, 4.0));
  scenario.faults.push_back(fault("emergency_stop", {}, 150.0, 5.0));
  scenario.faults.back().values.resize(sim::find_fault("emergency_stop")->parameters.size());
  scenario.faults[6].values.resize(sim::find_fault("sensor_stuck")->parameters.size());
  sim::OperatorAction hold = action(fw::Command::hold, "hold", -1.0);
  hold.when.segment = scenario.programme.names.front();
  hold.when.after_s = 60.0;
  sim::OperatorAction resume = action(fw::Command::resume, "resume", -1.0);
  resume.when.condition = "held_for(programme.state == held) > 15 s";
  scenario.actions = {action(fw::Command::start, "start", 1.0), hold, resume, action(fw::Command::start, "start again", 30.0),
                      action(fw::Command::stop, "stop", 170.0)};
  return scenario;
}

// What a bench and its judges say from some tick on.
struct Told {
  sim_test::Hashes hashes;
  std::vector<std::string> events;
  std::vector<std::string> results;
  std::string line, error;
  bool operator==(const Told&) const = default;
};

struct Course {
  sim::Bench bench;
  sim::Expectations expectations;
  std::vector<std::string> events;
  std::string error;

  Course(const sim::Scenario& scenario, std::unique_ptr<sim::Endpoint> core)
      : bench(scenario, std::move(core)), expectations(scenario.expectations, bench.table(), scenario.programme.names, 0.1) {}

  bool advance() {
    if (!error.empty()) return false;
    try {
      if (!bench.advance()) return false;
    } catch (const sim::EndpointError& broken) {
      error = broken.what();
      return false;
    }
    expectations.tick(bench.frame(), bench.time_s(), bench.segment());
    for (const sim::Event& event : bench.events()) events.push_back(std::to_string(event.time_s) + event.kind + event.text);
    for (const std::uint16_t index : expectations.violated())
      events.push_back(std::to_string(bench.time_s()) + expectations.name(index));
    return true;
  }
  void visit(sim::Archive& archive) {
    ASSERT_TRUE(bench.visit(archive));
    archive.part("expectations");
    archive(expectations);
  }
  Told finish() {
    while (advance()) {
    }
    expectations.finish();
    Told told{{bench.controller_hash(), bench.trace_hash(), bench.ticks()}, events, {}, {}, error};
    for (const sim::ExpectationResult& result : expectations.results())
      told.results.push_back(result.name + testing::PrintToString(std::vector<double>{
          result.pass ? 1.0 : 0.0, result.judged ? 1.0 : 0.0, result.margin, result.scale, result.at_s, result.failed_s, result.took_s,
          static_cast<double>(result.ticks)}) + result.unit);
    const sim::LineStatistics& line = bench.line();
    told.line = testing::PrintToString(std::vector<std::uint64_t>{line.frames, line.errors, line.retries, line.evaluations}) +
                testing::PrintToString(std::vector<double>{line.latency_mean_us, line.latency_max_us, line.utilisation});
    return told;
  }
};

using Core = std::unique_ptr<sim::Endpoint> (*)();

// The states at every `every` ticks, each written, and what the whole run told; then every one of them goes on by itself.
void go_on_from_everywhere(const sim::Scenario& scenario, std::uint64_t every, Core core) {
  struct State {
    std::uint64_t tick;
    std::vector<std::uint8_t> bytes;
    std::size_t events;
  };
  std::vector<State> states;
  Course whole(scenario, core());
  do {
    if (whole.bench.ticks() % every != 0) continue;
    sim::Archive archive;
    whole.visit(archive);
    states.push_back({whole.bench.ticks(), {archive.bytes().begin(), archive.bytes().end()}, whole.events.size()});
  } while (whole.advance());
  const Told measure = whole.finish();
  ASSERT_GT(states.size(), 100u);

  for (const State& state : states) {
    Course run(scenario, core());
    sim::Archive archive(state.bytes);
    run.visit(archive);
    ASSERT_TRUE(archive.at_end());
    sim::Archive again;
    run.visit(again);
    ASSERT_TRUE(std::ranges::equal(again.bytes(), state.bytes)) << "restored at tick " << state.tick << " and written again";
    Told told = run.finish();
    told.events.insert(told.events.begin(), measure.events.begin(), measure.events.begin() + static_cast<std::ptrdiff_t>(state.events));
    ASSERT_EQ(told.hashes, measure.hashes) << "from tick " << state.tick;
    ASSERT_EQ(told.events, measure.events) << "from tick " << state.tick;
    ASSERT_EQ(told.results, measure.results) << "from tick " << state.tick;
    ASSERT_EQ(told.line, measure.line) << "from tick " << state.tick;
    ASSERT_EQ(told.error, measure.error) << "from tick " << state.tick;
  }
}

// A controller that no longer answers on the supervisory line after 3 s.
class Mute final : public sim::Endpoint {
 public:
  void start(std::span<const std::uint8_t> image, fw::ResetCause cause, std::uint32_t outage_s) override {
    core_->start(image, cause, outage_s);
  }
  void tick(const sim::TickIn& in, sim::TickOut& out) override {
    core_->tick(in, out);
    if (in.now_us > 3'000'000 && in.now_us < 4'500'000) out.supervisory_size = 0;
    if (in.now_us > 14'500'000) out.supervisory_size = 0;
  }
  bool visit(sim::Archive& archive) override { return core_->visit(archive); }

 private:
  std::unique_ptr<sim::Endpoint> core_ = endpoint("host");
};

}  // namespace

TEST(Snapshot, restored_anywhere_goes_on_as_if_nothing_had_been) {
  sim::Scenario scenario = eventful_run();
  scenario.expectations = judged();
  Course run(scenario, endpoint("host"));
  const Told whole = run.finish();
  const auto count = [&](const char* text) {
    return std::count_if(whole.events.begin(), whole.events.end(), [&](const auto& event) { return event.ends_with(text); });
  };
  EXPECT_EQ(count("acceptedhold"), 1);     // the run has in it what is to be lost
  EXPECT_EQ(count("acceptedresume"), 1);
  EXPECT_EQ(count("refusedstart again: not in this state"), 1);
  EXPECT_EQ(count("the programme has ended"), 1);
  EXPECT_TRUE(std::any_of(whole.events.begin(), whole.events.end(), [](const auto& e) { return e.find("trips") != std::string::npos; }));
  go_on_from_everywhere(scenario, 7, [] { return endpoint("host"); });
}

TEST(Snapshot, counts_on_while_the_controller_is_silent) {
  sim::Scenario scenario = sim_test::short_run(20.0);
  Course run(scenario, std::make_unique<Mute>());
  EXPECT_NE(run.finish().error.find("has not answered"), std::string::npos);
  go_on_from_everywhere(scenario, 1, []() -> std::unique_ptr<sim::Endpoint> { return std::make_unique<Mute>(); });
}

TEST(Snapshot, of_an_unreachable_core_is_refused) {
  class Far final : public sim::Endpoint {
    void start(std::span<const std::uint8_t>, fw::ResetCause, std::uint32_t) override {}
    void tick(const sim::TickIn&, sim::TickOut&) override {}
  };
  sim::Bench bench(sim_test::short_run(20.0), std::make_unique<Far>());
  sim::Archive archive;
  EXPECT_FALSE(bench.visit(archive));
}

TEST(Snapshot, of_another_scenario_is_refused) {
  sim::Scenario scenario = eventful_run();
  Course run(scenario, endpoint("host"));
  for (int tick = 0; tick < 300; ++tick) run.advance();
  sim::Archive written;
  run.visit(written);
  const std::vector<std::uint8_t> bytes(written.bytes().begin(), written.bytes().end());
  const auto refused = [&](const sim::Scenario& other, std::span<const std::uint8_t> from) {
    Course fresh(other, endpoint("host"));
    sim::Archive archive(from);
    EXPECT_THROW(fresh.visit(archive), sim::ArchiveError);
  };
  sim::Scenario fewer = scenario, more = scenario;
  fewer.actions.pop_back();
  fewer.actions.pop_back();
  fewer.actions.pop_back();
  more.expectations = judged();
  refused(fewer, bytes);
  refused(more, bytes);
  refused(scenario, std::span(bytes).first(bytes.size() - 9));
  refused(scenario, std::span(bytes).subspan(1));
}
