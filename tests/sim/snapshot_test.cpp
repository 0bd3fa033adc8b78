// A bench restored from what it was at some tick, beside the one that went on: the same to the bit up to the end, from a great many
// instants of a run in which every part has something to lose. A member that a `visit` leaves out shows here.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <utility>

#include <gtest/gtest.h>
#include <unistd.h>

#include "sim/archive.h"
#include "sim/expectations.h"
#include "sim/faults.h"
#include "sim/moment_clip.h"
#include "sim/recording.h"
#include "sim/snapshot.h"
#include "tests/sim/short_run.h"

using sim_test::action;
using sim_test::endpoint;
using sim_test::fault;

namespace {

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
  all.push_back(
      expectation(Form::always, "alarms.active > 0 implies eventually (plant.power < 1 W and always[0 s, 20 s] plant.power < 5 W)"));
  all.push_back(expectation(Form::at_opening, "(plant.gas.pressure > 90 kPa) until (alarms.active > 0)"));
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
  sim::OperatorAction hold = action(fw::Command::hold, "hold");
  hold.when.segment = scenario.programme.names.front();
  hold.when.after_s = 60.0;
  sim::OperatorAction resume = action(fw::Command::resume, "resume");
  resume.when.condition = "held_for(programme.state == held) > 15 s";
  scenario.actions = {action(fw::Command::start, "start", 1.0), hold, resume, action(fw::Command::start, "start again", 30.0),
                      action(fw::Command::stop, "stop", 170.0)};
  scenario.actions[3].when.every_s = 9.0;
  scenario.actions[3].when.times = 4;
  return scenario;
}

// A controller that loses power and boots, a store that is slow while it learns a step of its journal, readings that go missing.
sim::Scenario powerless_run() {
  sim::Scenario scenario = sim_test::short_run(60.0);
  const auto plant = [&](const char* kind, double at_s, double for_s, std::vector<double> first = {}) {
    sim::FaultSource source = fault(kind, std::move(first), at_s, for_s);
    const auto parameters = sim::find_fault(kind)->parameters;
    for (std::size_t i = source.values.size(); i < parameters.size(); ++i) source.values.push_back(parameters[i].preset);
    scenario.faults.push_back(source);
  };
  plant("store_slow", 2.0, 30.0, {3.0});
  plant("supervisory_silent", 8.0, 3.0);
  plant("controller_power_lost", 15.0, 4.0);
  plant("supervisory_corrupt", 25.0, 5.0);
  plant("controller_watchdog_reset", 33.0, -1.0);
  plant("power_lost", 42.0, 2.0);
  plant("store_write_lost", 50.0, 5.0);
  plant("sensor_offset", 5.0, 50.0, {7.0, 100.0});
  scenario.faults.back().chance = {0.2, 0.5, 8.0};          // comes by chance, over itself too
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
    expectations.tick(bench.frame(), bench.time_s(), bench.segment(), bench.events());
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
  EXPECT_EQ(count("refusedstart again: not in this state"), 4);
  EXPECT_EQ(count("the programme has ended"), 1);
  EXPECT_TRUE(std::any_of(whole.events.begin(), whole.events.end(), [](const auto& e) { return e.find("trips") != std::string::npos; }));
  go_on_from_everywhere(scenario, 7, [] { return endpoint("host"); });
}

TEST(Snapshot, restored_without_power_goes_on_as_if_nothing_had_been) {
  const sim::Scenario scenario = powerless_run();
  Course course(scenario, endpoint("host"));
  const Told whole = course.finish();
  const auto starts = [](const std::string& event) { return event.find("starts") != std::string::npos; };
  EXPECT_GE(std::count_if(whole.events.begin(), whole.events.end(), starts), 3);
  go_on_from_everywhere(scenario, 3, [] { return endpoint("host"); });
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

namespace {

using Bytes = std::vector<std::uint8_t>;
namespace fs = std::filesystem;

Bytes bytes_of(const sim::Archive& archive) { return {archive.bytes().begin(), archive.bytes().end()}; }

std::string content(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

fs::path fresh_folder(const char* name) {
  const fs::path folder = fs::path(testing::TempDir()) / (std::string(name) + "_" + std::to_string(getpid()));   // tests run side by side
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

// A bench and what records it, to their files.
struct RecordedCourse {
  sim::Bench bench;
  sim::Recorder recorder;
  RecordedCourse(const sim::Scenario& scenario, const fs::path& folder)
      : bench(scenario, endpoint("host")), recorder(scenario, bench.table(), folder, 0.1) {}
  bool advance() {
    if (!bench.advance()) return false;
    recorder.on_tick(bench);
    return true;
  }
  sim::Summary finish() {
    sim::Ending ending;
    ending.begin = std::chrono::steady_clock::now();
    ending.line = bench.line();
    ending.controller_hash = bench.controller_hash();
    ending.trace_hash = bench.trace_hash();
    return recorder.finish(ending);
  }
};

std::string without_wall(const fs::path& summary) {
  std::string kept, line;
  std::ifstream stream(summary);
  while (std::getline(stream, line))
    if (line.find("\"wall_s\"") == std::string::npos && line.find("\"speed\"") == std::string::npos) kept += line + "\n";
  return kept;
}

// A file of three states, as it is written and as it can be spoilt.
struct SnapshotFile {
  fs::path folder = fresh_folder("snapshots_alone"), path = folder / "snapshots";
  std::vector<Bytes> states{Bytes(64, 0), Bytes(45, 7), Bytes{}};
  SnapshotFile() {
    for (std::uint8_t i = 0; i < 200; ++i) states[2].push_back(i / 40 % 2 == 0 ? i : 0);
    sim::SnapshotWriter writer(folder, "the run", 0.1);
    for (std::uint64_t i = 0; i < 3; ++i) writer.add(100 * (i + 1), 10.0 * static_cast<double>(i + 1), states[i]);
    writer.finish();
  }
  void rewrite(const std::string& bytes) const { std::ofstream(path, std::ios::binary) << bytes; }
  std::string refusal(const std::string& run = "the run") const {
    try {
      sim::nearest_snapshot(path, run, 1000);
    } catch (const sim::SnapshotError& error) {
      return error.what();
    }
    return "";
  }
};

}  // namespace

TEST(Snapshot, of_a_recorder_leads_to_the_same_files) {
  sim::Scenario scenario = eventful_run();
  scenario.expectations = judged();
  scenario.expectations.push_back(expectation(sim::ExpectationSource::Form::eventually, "plant.gas.gauge > 20 kPa"));   // never
  const fs::path whole = fresh_folder("snapshot_whole"), part = fresh_folder("snapshot_part");
  std::vector<std::pair<std::uint64_t, Bytes>> states;
  {
    RecordedCourse course(scenario, whole);
    do {
      if (course.bench.ticks() % 53 != 0) continue;
      sim::Archive archive;
      ASSERT_TRUE(course.bench.visit(archive));
      course.recorder.save(archive);
      states.emplace_back(course.bench.ticks(), bytes_of(archive));
    } while (course.advance());
    course.finish();
  }
  ASSERT_GT(states.size(), 20u);
  for (const auto& [tick, bytes] : states) {
    RecordedCourse course(scenario, part);
    sim::Archive archive(bytes);
    ASSERT_TRUE(course.bench.visit(archive));
    course.recorder.restore(archive, whole);
    ASSERT_TRUE(archive.at_end());
    while (course.advance()) {
    }
    course.finish();
    for (const char* file : {"trace.csv", "events.csv", "moments.csv", "junit.xml", "resolved.yaml", "report.html"})
      ASSERT_EQ(content(whole / file), content(part / file)) << file << " from tick " << tick;
    ASSERT_EQ(without_wall(whole / "summary.json"), without_wall(part / "summary.json")) << "from tick " << tick;
  }
}

TEST(Snapshot, beside_another_trace_is_refused) {
  const sim::Scenario scenario = sim_test::short_run(30.0);
  const fs::path whole = fresh_folder("snapshot_whole"), part = fresh_folder("snapshot_part");
  sim::Archive archive;
  {
    RecordedCourse course(scenario, whole);
    for (int tick = 0; tick < 200; ++tick) course.advance();
    course.bench.visit(archive);
    course.recorder.save(archive);
    while (course.advance()) {
    }
    course.finish();
  }
  const auto refused = [&](const char* file, const std::string& text) {
    const std::string before = content(whole / file);
    std::ofstream(whole / file, std::ios::binary) << text;
    RecordedCourse course(scenario, part);
    sim::Archive from(archive.bytes());
    course.bench.visit(from);
    EXPECT_THROW(course.recorder.restore(from, whole), sim::InputError) << file;
    std::ofstream(whole / file, std::ios::binary) << before;
  };
  const std::string trace = content(whole / "trace.csv"), events = content(whole / "events.csv");
  refused("trace.csv", trace.substr(0, trace.size() / 4));
  refused("trace.csv", "time [s],something [K]\r\n0.0,1\r\n");
  refused("events.csv", events.substr(0, events.find('\n') + 1));
}

TEST(Snapshot, nearest_is_the_last_one_not_after_the_tick) {
  const SnapshotFile file;
  EXPECT_FALSE(sim::nearest_snapshot(file.path, "the run", 99).has_value());
  for (const auto& [tick, index] : std::vector<std::pair<std::uint64_t, std::size_t>>{{100, 0}, {199, 0}, {200, 1}, {300, 2}, {9999, 2}}) {
    const auto found = sim::nearest_snapshot(file.path, "the run", tick);
    ASSERT_TRUE(found.has_value());
    EXPECT_EQ(found->ticks, 100 * (index + 1));
    EXPECT_EQ(found->time_s, 10.0 * static_cast<double>(index + 1));
    EXPECT_EQ(found->state, file.states[index]);
  }
}

TEST(Snapshot, spoilt_anywhere_is_refused) {
  const SnapshotFile file;
  const std::string whole = content(file.path);
  ASSERT_EQ(file.refusal(), "");
  for (std::size_t at = 0; at < whole.size(); ++at) {
    std::string spoilt = whole;
    spoilt[at] = static_cast<char>(spoilt[at] ^ (at % 2 == 0 ? 1 : 64));
    file.rewrite(spoilt);
    ASSERT_NE(file.refusal(), "") << "byte " << at;
    file.rewrite(whole.substr(0, at));
    ASSERT_NE(file.refusal(), "") << "cut to " << at << " bytes";
  }
  file.rewrite(whole + "x");
  EXPECT_NE(file.refusal(), "");
  file.rewrite(whole);
  EXPECT_NE(file.refusal("another run").find("is of another run"), std::string::npos);
  file.rewrite("time [s],heat.1.pv [degC]\n");
  EXPECT_NE(file.refusal().find("is no file of snapshots"), std::string::npos);
  fs::remove(file.path);
  EXPECT_NE(file.refusal().find("can't be read"), std::string::npos);
}

TEST(Snapshot, is_due_every_ten_minutes_and_at_segments_a_minute_apart) {
  sim::SnapshotWriter writer(fresh_folder("snapshots_due"), "the run", 0.1);
  std::vector<std::uint64_t> taken;
  for (std::uint64_t tick = 1; tick <= 25000; ++tick) {
    const int segment = tick < 1000 ? -1 : tick < 1200 ? 0 : tick < 1300 ? 1 : tick < 9000 ? 2 : 3;
    if (!writer.due(tick, segment)) continue;
    writer.add(tick, 0.1 * static_cast<double>(tick), Bytes(8, 1));
    taken.push_back(tick);
  }
  EXPECT_EQ(taken, (std::vector<std::uint64_t>{1000, 1600, 6000, 9000, 12000, 18000, 24000}));
}

TEST(Fork, of_other_expectations_judges_them_from_the_fork_on) {
  using Form = sim::ExpectationSource::Form;
  sim::Scenario before = sim_test::short_run(40.0);
  before.expectations = {expectation(Form::always, "plant.gas.gauge < 5 kPa"), expectation(Form::always, "elapsed() < 30 s")};
  sim::Scenario after = before;
  after.expectations[1].predicate = "elapsed() < 25 s";                       // changed: 20 s are left of the run
  after.expectations.push_back(expectation(Form::never, "plant.gas.pressure > 90 kPa"));   // true in the past only
  after.expectations.push_back(expectation(Form::always, "elapsed() < 10 s"));
  after.expectations.back().from_s = 5.0;                                     // its window opened before the fork
  after.expectations.push_back(expectation(Form::at_opening, "plant.gas.pressure < 90 kPa"));
  const fs::path folder = fresh_folder("fork_expectations");
  RecordedCourse course(before, folder);
  while (course.bench.ticks() < 200) course.advance();
  course.bench = sim::Bench(after, std::move(course.bench));
  course.recorder.fork(after, {"whole", 0, 20.0, 0.0});
  while (course.advance()) {
  }
  const sim::Summary summary = course.finish();
  ASSERT_EQ(summary.expectations.size(), 5u);
  EXPECT_EQ(summary.expectations[0].judged_from_s, -1.0);
  EXPECT_EQ(summary.expectations[0].ticks, 400u);
  for (std::size_t i = 1; i < 5; ++i) EXPECT_EQ(summary.expectations[i].judged_from_s, 20.0) << i;
  EXPECT_EQ(summary.expectations[1].ticks, 200u);
  EXPECT_TRUE(summary.expectations[1].pass);
  EXPECT_TRUE(summary.expectations[2].pass);
  EXPECT_NEAR(summary.expectations[3].failed_s, 30.0, 1e-6);                  // 10 s from the fork, not from 5 s
  EXPECT_TRUE(summary.expectations[4].pass);
  EXPECT_NEAR(summary.expectations[4].at_s, 20.0, 1e-6);
  EXPECT_NE(content(folder / "report.html").find("New in this fork: judged from"), std::string::npos);
  for (const sim::MomentClip& clip : sim::read_moments(folder / "moments.csv"))
    EXPECT_TRUE(clip.expectation == before.expectations[0].name || clip.time_s.front() >= 20.0) << clip.expectation;
  const sim::Summary read = sim::read_summary(folder / "summary.json");
  EXPECT_EQ(read.expectations[3].judged_from_s, 20.0);
  EXPECT_EQ(read.fork.at_s, 20.0);
}
