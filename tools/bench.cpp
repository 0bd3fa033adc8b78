// saggar_bench SCENARIO: what one tick costs, by part, against the budgets of DEVELOPERS.md. Each part is timed alone over the
// same ticks, best of three: the whole bench, the core (from the tape), the plant (the tape's requests), expectations, recording.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <limits>
#include <memory>
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

// Seconds of the fastest of three.
template <class Work>
double fastest_s(Work work) {
  double best = std::numeric_limits<double>::infinity();
  for (int i = 0; i < repeats; ++i) {
    const Steady::time_point begin = Steady::now();
    work();
    best = std::min(best, std::chrono::duration<double>(Steady::now() - begin).count());
  }
  return best;
}

struct Scratch {
  fs::path folder = fs::temp_directory_path() / fmt::format("saggar-bench-{}", getpid());
  Scratch() { fs::create_directories(folder); }
  ~Scratch() {
    std::error_code ignored;
    fs::remove_all(folder, ignored);
  }
};

std::uint64_t write_tape(const sim::Scenario& scenario, const fs::path& path) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  sim::TapeHeader header;
  header.period_ns = static_cast<std::int64_t>(scenario.parameters.period_ms) * 1'000'000;
  header.store_image.assign(bench.store_image().begin(), bench.store_image().end());
  sim::TapeWriter tape(path, header);
  bench.set_tape(&tape);
  while (bench.advance()) {}
  tape.finish(bench.controller_hash());
  return bench.ticks();
}

double whole_s(const sim::Scenario& scenario) {
  return fastest_s([&] {
    sim::Bench bench(scenario, sim::open_endpoint({}));
    while (bench.advance()) {}
  });
}

double judged_s(const sim::Scenario& scenario, double period_s) {
  return fastest_s([&] {
    sim::Bench bench(scenario, sim::open_endpoint({}));
    sim::Expectations judge(scenario.expectations, bench.table(), scenario.programme.names, period_s);
    while (bench.advance()) judge.tick(bench.frame(), bench.time_s(), bench.segment());
  });
}

double recorded_s(const sim::Scenario& scenario, double period_s, const fs::path& folder) {
  return fastest_s([&] {
    sim::Bench bench(scenario, sim::open_endpoint({}));
    sim::Recorder recorder(scenario, bench.table(), folder, period_s);
    while (bench.advance()) recorder.on_tick(bench);
    recorder.finish({"", bench.line(), 0, 0, Steady::now()});
  });
}

// Reading the tape costs too; it is timed alone and taken off.
double tape_s(const fs::path& path) {
  return fastest_s([&] {
    sim::TapeReader tape(path);
    sim::TapeTick tick;
    while (tape.next(tick)) {}
  });
}

double core_s(const fs::path& path) {
  return fastest_s([&] {
    sim::TapeReader tape(path);
    const std::unique_ptr<sim::Endpoint> core = sim::open_endpoint({});
    core->start(tape.header().store_image, tape.header().reset_cause, tape.header().outage_s);
    sim::TapeTick tick;
    sim::TickOut out;
    while (tape.next(tick)) core->tick(tick.in, out);
  });
}

double plant_s(const sim::Scenario& scenario, const fs::path& path, double period_s) {
  const plant::Model model = plant::build(scenario.furnace);
  return fastest_s([&] {
    sim::TapeReader tape(path);
    plant::State state = plant::initial_state(model, scenario.seed);
    const plant::Disturbances none{};
    std::array<std::uint8_t, 256> answer{};
    sim::TapeTick tick;
    while (tape.next(tick)) {
      plant::exchange(model, state, none, {tick.out.field.data(), tick.out.field_size}, answer);
      plant::step(model, state, none, period_s);
    }
  });
}

void measure(const fs::path& file) {
  const sim::Scenario scenario = sim::load_scenario(file);
  const double period_s = scenario.parameters.period_ms * 1e-3;
  const Scratch scratch;
  const fs::path tape = scratch.folder / "tape";
  const auto ticks = static_cast<double>(write_tape(scenario, tape));
  const double reading = tape_s(tape), whole = whole_s(scenario);
  const double core = core_s(tape) - reading, plant = plant_s(scenario, tape, period_s) - reading;
  const double judged = judged_s(scenario, period_s) - whole;
  const double recorded = recorded_s(scenario, period_s, scratch.folder / "run") - whole - judged;
  const auto row = [ticks](const char* part, double seconds, int budget_ns) {
    fmt::print("{:32} {:8.0f} ns  budget {:5} ns\n", part, seconds / ticks * 1e9, budget_ns);
  };
  fmt::print("{}: {:.0f} ticks\n", scenario.name, ticks);
  row("plant and station", plant, 400);
  row("core", core, 250);
  row("line, bench, signals, hashes", whole - plant - core, 150);
  row("expectations", judged, 80);
  row("recording and report", recorded, 70);
  row("all", whole + judged + recorded, 1000);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "usage: saggar_bench SCENARIO\n");
    return 2;
  }
  try {
    measure(argv[1]);
    return 0;
  } catch (const sim::InputError& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 2;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "saggar_bench: %s\n", error.what());
    return 3;
  }
}
