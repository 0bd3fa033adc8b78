// saggar_bench SCENARIO [judging|core]: what one tick costs, by part, against the budgets of DEVELOPERS.md, in processor time: the whole
// bench, the core (from the tape), the plant (the tape's requests), expectations, recording, each alone over the same ticks, in turns, best
// of three. Then how long a tick lasts by the clock, where judging and recording go on beside the bench. Then what judging costs by the
// kind of expectation, twenty at a time, over the ticks of the run. core: the core alone, tick by tick, median and worst.
#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <ctime>
#include <exception>
#include <filesystem>
#include <limits>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <unistd.h>

#include "plant/step.h"
#include "sim/bench.h"
#include "sim/expectations.h"
#include "sim/input_error.h"
#include "sim/recording.h"
#include "sim/scenario.h"
#include "sim/tape.h"

namespace {

namespace fs = std::filesystem;
using Steady = std::chrono::steady_clock;

constexpr int repeats = 3;

// Processor time of all threads.
double processor_s() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) * 1e-9;
}

double clock_s() { return std::chrono::duration<double>(Steady::now().time_since_epoch()).count(); }

// One part of a tick: the fastest of its rounds.
struct Timed {
  double spent_s = std::numeric_limits<double>::infinity(), lasted_s = std::numeric_limits<double>::infinity();

  template <class Work>
  void take(Work work) {
    const double spent = processor_s(), lasted = clock_s();
    work();
    spent_s = std::min(spent_s, processor_s() - spent);
    lasted_s = std::min(lasted_s, clock_s() - lasted);
  }
};

struct Scratch {
  fs::path folder = fs::temp_directory_path() / fmt::format("saggar-bench-{}", getpid());
  Scratch() { fs::create_directories(folder); }
  ~Scratch() {
    std::error_code ignored;
    fs::remove_all(folder, ignored);
  }
};

sim::TapeHeader tape_header(const sim::Scenario& scenario, const sim::Bench& bench) {
  sim::TapeHeader header;
  header.period_ns = static_cast<std::int64_t>(scenario.parameters.period_ms) * 1'000'000;
  header.store_image.assign(bench.store_image().begin(), bench.store_image().end());
  return header;
}

std::uint64_t write_tape(const sim::Scenario& scenario, const fs::path& path) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  sim::TapeWriter tape(path, tape_header(scenario, bench));
  bench.set_tape(&tape);
  while (bench.advance()) {}
  tape.finish(bench.controller_hash());
  return bench.ticks();
}

void run_whole(const sim::Scenario& scenario) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  while (bench.advance()) {}
}

void run_judged(const sim::Scenario& scenario, double period_s) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  sim::Expectations judge(scenario.expectations, bench.table(), sim::with_others(scenario).names, period_s);
  while (bench.advance()) judge.tick(bench.frame(), bench.time_s(), bench.segment(), bench.events());
}

// As `saggar run` does it, report included.
void run_recorded(const sim::Scenario& scenario, double period_s, const fs::path& folder) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  sim::Recorder recorder(scenario, bench.table(), folder, period_s);
  sim::TapeWriter tape(folder / "tape", tape_header(scenario, bench));
  bench.set_tape(&tape);
  while (bench.advance()) recorder.on_tick(bench);
  tape.finish(bench.controller_hash());
  recorder.finish({"", bench.line(), 0, 0, {}, Steady::now()});
}

// Reading the tape costs too; it is timed alone and taken off.
void read_tape(const fs::path& path) {
  sim::TapeReader tape(path);
  sim::TapeTick tick;
  while (tape.next(tick)) {}
}

void run_core(const fs::path& path) {
  sim::TapeReader tape(path);
  const std::unique_ptr<sim::Endpoint> core = sim::open_endpoint({});
  core->start(tape.header().store_image, tape.header().reset_cause, tape.header().outage_s);
  sim::TapeTick tick;
  sim::TickOut out;
  while (tape.next(tick)) core->tick(tick.in, out);
}

// Each tick of the core alone, by the clock around it; what the clock itself costs is taken off. The worst of one pass is mostly the
// machine's own doing: of each tick the fastest of the passes counts.
void measure_core(const fs::path& file) {
  const sim::Scenario scenario = sim::load_scenario(file);
  const Scratch scratch;
  const fs::path path = scratch.folder / "tape";
  const std::uint64_t ticks = write_tape(scenario, path);
  std::vector<double> ns(ticks, std::numeric_limits<double>::infinity());
  double clock_ns = std::numeric_limits<double>::infinity();
  for (int pass = 0; pass < 2 * repeats; ++pass) {
    sim::TapeReader tape(path);
    const std::unique_ptr<sim::Endpoint> core = sim::open_endpoint({});
    core->start(tape.header().store_image, tape.header().reset_cause, tape.header().outage_s);
    sim::TapeTick tick;
    sim::TickOut out;
    for (std::size_t i = 0; i < ns.size() && tape.next(tick); ++i) {
      const Steady::time_point before = Steady::now(), begin = Steady::now();
      core->tick(tick.in, out);
      const Steady::time_point end = Steady::now();
      clock_ns = std::min(clock_ns, std::chrono::duration<double, std::nano>(begin - before).count());
      ns[i] = std::min(ns[i], std::chrono::duration<double, std::nano>(end - begin).count());
    }
  }
  std::sort(ns.begin(), ns.end());
  fmt::print("core, {} ticks of {}: median {:.0f} ns, worst {:.0f} ns, budget 250 ns (clock {:.0f} ns taken off)\n", ticks, scenario.name,
             ns[ns.size() / 2] - clock_ns, ns.back() - clock_ns, clock_ns);
}

void run_plant(const sim::Scenario& scenario, const plant::Model& model, const fs::path& path, double period_s) {
  sim::TapeReader tape(path);
  plant::State state = plant::initial_state(model, scenario.seed);
  const plant::Disturbances none{};
  std::array<std::uint8_t, 256> answer{};
  sim::TapeTick tick;
  while (tape.next(tick)) {
    plant::exchange(model, state, none, {tick.out.field.data(), tick.out.field_size}, answer);
    plant::step(model, state, none, period_s);
  }
}

// Expectations that are judged side by side.
struct JudgedSet {
  const char* name;
  std::vector<sim::ExpectationSource> sources;
};

constexpr std::size_t set_size = 20;     // what the budget of 80 ns speaks of
constexpr std::size_t block_ticks = 32;  // timed together: their frames fit into the first cache, where the bench leaves a frame
constexpr std::size_t judges = 5;        // of each set side by side; the median of a block's times is taken

sim::ExpectationSource expectation(std::size_t number, const char* predicate) {
  sim::ExpectationSource source;
  source.name = fmt::format("{} {}", number, predicate);
  source.predicate = predicate;
  return source;
}

JudgedSet copies(const char* name, const char* predicate) {
  JudgedSet set{name, {}};
  for (std::size_t i = 0; i < set_size; ++i) set.sources.push_back(expectation(i, predicate));
  return set;
}

// Twenty as scenarios have them: limits, bands, distances of two signals, gates, memories, formulas over windows.
JudgedSet mixed_set() {
  using Form = sim::ExpectationSource::Form;
  JudgedSet set{"20 of every kind", {}};
  const auto add = [&](const char* predicate, Form form = Form::always) -> sim::ExpectationSource& {
    set.sources.push_back(expectation(set.sources.size(), predicate));
    set.sources.back().form = form;
    return set.sources.back();
  };
  add("abs(heat.1.sp - heat.1.pv) < 400 K");
  add("abs(plant.load.core - load.pv) < 12 K");
  add("abs(plant.gas.gauge - 4 kPa) < 0.2 kPa").segments = {"soak"};
  add("plant.gas.gauge > 3.5 kPa and plant.gas.gauge < 4.5 kPa").segments = {"ramp to dry", "dry out", "ramp to stress relief", "soak"};
  add("plant.flow.in > 0.57 slm and plant.flow.in < 0.63 slm").segments = {"soak", "cool"};
  add("plant.load.core < 798 degC");
  add("heat.1.pv < 806 degC");
  add("plant.load.surface - plant.load.core < 30 K");
  add("plant.gas.gauge > 6 kPa", Form::never);
  add("alarms.high == 0");
  add("interlock.trip == 0");
  add("atmosphere.phase == holding").while_ = "plant.power > 1 W";
  add("plant.gas.o2 < 20 ppm").while_ = "plant.power > 1 W";
  add("plant.gas.dew_point < -35 degC").while_ = "plant.load.surface > 400 degC";
  add("travel(pressure.out) < 4").segments = {"soak"};
  add("held_for(abs(load.pv - heat.1.sp) <= 10 K) >= 2 h", Form::eventually).segments = {"soak"};
  add("programme.state == complete", Form::eventually);
  add("plant.load.core > 780 degC").after = "plant.load.core > 780 degC";
  add("plant.load.core > 400 degC implies plant.gas.o2 < 10 ppm");
  add("plant.power > 1 W implies eventually[0 s, 10 min] plant.gas.gauge > 3.9 kPa");
  return set;
}

std::vector<JudgedSet> judged_sets(const sim::Scenario& scenario) {
  std::vector<JudgedSet> sets;
  JudgedSet first{"the scenario's first 20", scenario.expectations};
  if (first.sources.size() > set_size) first.sources.erase(first.sources.begin() + set_size, first.sources.end());
  sets.push_back(std::move(first));
  sets.push_back(mixed_set());
  sets.push_back({"all of the scenario", scenario.expectations});
  sets.push_back(copies("20 x signal < constant", "plant.load.core < 900 degC"));
  sets.push_back(copies("20 x signal between two", "plant.gas.gauge > -200 kPa and plant.gas.gauge < 9 kPa"));
  sets.push_back(copies("20 x abs(a - b) < constant", "abs(heat.1.sp - heat.1.pv) < 900 K"));
  sets.push_back(copies("20 x code == value", "interlock.trip == 0"));
  sets.push_back(copies("20 x travel(a) < constant", "travel(pressure.out) < 400"));
  sets.push_back(copies("20 x always[0, 10 min] p", "always[0 s, 10 min] plant.load.core < 900 degC"));
  return sets;
}

// Nanoseconds per tick of each set, in the order of judged_sets.
std::vector<double> judging_ns(const sim::Scenario& scenario, const std::vector<JudgedSet>& sets, double period_s) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  std::vector<sim::Expectations> running;
  for (const JudgedSet& set : sets)
    for (std::size_t i = 0; i < judges; ++i) running.emplace_back(set.sources, bench.table(), scenario.programme.names, period_s);
  struct Tick {
    std::vector<double> frame;
    double time_s;
    int segment;
  };
  std::vector<Tick> block;
  std::vector<double> sum_s(sets.size(), 0.0);
  const auto judge_block = [&] {
    for (std::size_t set = 0; set < sets.size(); ++set) {
      std::array<double, judges> seconds{};
      for (std::size_t i = 0; i < judges; ++i) {
        const Steady::time_point begin = Steady::now();
        for (const Tick& tick : block) running[set * judges + i].tick(tick.frame, tick.time_s, tick.segment);
        seconds[i] = std::chrono::duration<double>(Steady::now() - begin).count();
      }
      std::nth_element(seconds.begin(), seconds.begin() + judges / 2, seconds.end());
      sum_s[set] += seconds[judges / 2];
    }
    block.clear();
  };
  while (bench.advance()) {
    block.push_back({{bench.frame().begin(), bench.frame().end()}, bench.time_s(), bench.segment()});
    if (block.size() == block_ticks) judge_block();
  }
  judge_block();
  for (double& seconds : sum_s) seconds *= 1e9 / static_cast<double>(bench.ticks());
  return sum_s;
}

void measure(const fs::path& file) {
  const sim::Scenario scenario = sim::load_scenario(file);
  const double period_s = scenario.parameters.period_ms * 1e-3;
  const Scratch scratch;
  const fs::path tape = scratch.folder / "tape";
  const auto ticks = static_cast<double>(write_tape(scenario, tape));
  const plant::Model model = plant::build(scenario.furnace);
  Timed reading, core, plant, whole, judged, recorded;
  for (int round = 0; round < repeats; ++round) {
    reading.take([&] { read_tape(tape); });
    core.take([&] { run_core(tape); });
    plant.take([&] { run_plant(scenario, model, tape, period_s); });
    whole.take([&] { run_whole(scenario); });
    judged.take([&] { run_judged(scenario, period_s); });
    recorded.take([&] { run_recorded(scenario, period_s, scratch.folder / "run"); });
  }
  const auto row = [ticks](const char* part, double seconds, int budget_ns) {
    fmt::print("{:32} {:8.0f} ns  budget {:5} ns\n", part, seconds / ticks * 1e9, budget_ns);
  };
  const double core_s = core.spent_s - reading.spent_s, plant_s = plant.spent_s - reading.spent_s;
  fmt::print("{}: {:.0f} ticks\n", scenario.name, ticks);
  row("plant and station", plant_s, 400);
  row("core", core_s, 250);
  row("line, bench, signals, hashes", whole.spent_s - plant_s - core_s, 150);
  row("expectations", judged.spent_s - whole.spent_s, 80);
  row("recording, tape and report", recorded.spent_s - judged.spent_s, 70);
  row("all", recorded.spent_s, 1000);
  fmt::print("{:32} {:8.0f} ns  {:.0f} times real time\n", "by the clock", recorded.lasted_s / ticks * 1e9,
             ticks * period_s / recorded.lasted_s);
}

void measure_judging(const fs::path& file) {
  const sim::Scenario scenario = sim::load_scenario(file);
  const std::vector<JudgedSet> sets = judged_sets(scenario);
  const std::vector<double> costs = judging_ns(scenario, sets, scenario.parameters.period_ms * 1e-3);
  for (std::size_t i = 0; i < sets.size(); ++i) fmt::print("judging {:24} {:8.1f} ns\n", sets[i].name, costs[i]);
}

}  // namespace

int main(int argc, char** argv) {
  const bool only_judging = argc == 3 && std::string(argv[2]) == "judging", only_core = argc == 3 && std::string(argv[2]) == "core";
  if (argc != 2 && !only_judging && !only_core) {
    std::fprintf(stderr, "usage: saggar_bench SCENARIO [judging|core]\n");
    return 2;
  }
  try {
    if (only_core) {
      measure_core(argv[1]);
      return 0;
    }
    if (!only_judging) measure(argv[1]);
    measure_judging(argv[1]);
    return 0;
  } catch (const sim::InputError& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 2;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "saggar_bench: %s\n", error.what());
    return 3;
  }
}
