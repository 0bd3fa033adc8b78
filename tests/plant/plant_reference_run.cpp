// plant_reference --record | --write | --check | --every-tick [seconds]: the reference of tests/plant/integrator_test.cpp, by hand
// and in `tools/test --long`. Not shipped.
//   --record      runs the demo cycle on the bench and writes what the plant was told: a value that has moved less than `still`
//   since
//                 it was last written stays, so that the file is small; step and CVODE get the same
//   --write       integrates those inputs with CVODE, BDF, 1e-10, restarted at every change, and writes the trajectory
//   --check       the same, held against what is stored; and what the step errs by. Exit code 1 beyond 1e-3 of the limits
//   --every-tick  the cycle on the bench, every tick's own inputs, CVODE restarted at each tick where one moved; prints the step's
//   errors
#include <cmath>
#include <cstdio>
#include <cstring>
#include <exception>
#include <memory>
#include <string>

#include "sim/bench.h"
#include "sim/endpoint.h"
#include "sim/scenario.h"
#include "tests/checkout.h"
#include "tests/plant/plant_reference.h"

namespace {

using namespace plant_test;
using plant::Commands;

constexpr double relative_tolerance = 1e-10;
constexpr double still = 2e-3;  // of full demand, flow, stroke

const std::string golden = std::string(source_folder) + "/tests/golden/";

double rounded(double share) { return std::round(share * 1e4) * 1e-4; }

bool moved(const Commands& from, const Commands& to, double by) {
  const auto far = [by](double a, double b) { return std::abs(a - b) > by || ((b == 0.0 || b == 1.0) && a != b); };
  return far(from.demand[0], to.demand[0]) || far(from.meter_set[0], to.meter_set[0]) || far(from.meter_set[1], to.meter_set[1]) ||
         far(from.valve_frac, to.valve_frac);
}

// What the core told the plant in a run of the cycle, up to at_most_s.
InputCourse record(const sim::Scenario& scenario, double by, bool round) {
  sim::Bench bench(scenario, sim::open_endpoint({}));
  InputCourse course;
  while (bench.advance()) {
    Commands now = bench.plant_state().station.commands;
    if (round) {
      for (double& demand : now.demand) demand = rounded(demand);
      for (double& set : now.meter_set) set = rounded(set);
      now.valve_frac = rounded(now.valve_frac);
    }
    if (course.changes.empty() || valves_differ(course.changes.back().commands, now) ||
        moved(course.changes.back().commands, now, by))
      course.changes.push_back({course.ticks, now});
    ++course.ticks;
  }
  return course;
}

sim::Scenario cycle() {
  return sim::load_scenario(std::string(source_folder) + "/configs/scenarios/cycles/titanium_stress_relief.yaml");
}

void print(const std::vector<Worst>& worst, const char* what) {
  constexpr const char* names[kinds] = {"thermocouples, K",      "solids, K",
                                        "deep cells, K",         "gas temperature, K",
                                        "the same, thin, K",     "chamber pressure, share",
                                        "the same, thin, share", "hose pressure, share",
                                        "amounts, share",        "slow sensors, K"};
  std::printf("%s\n", what);
  for (std::size_t i = 0; i < worst.size(); ++i)
    std::printf("  %-24s %.3g at %.1f s, %s\n", names[i], worst[i].size, worst[i].at_s, worst[i].column.c_str());
}

int run_every_tick(double at_most_s) {
  sim::Scenario scenario = cycle();
  if (at_most_s > 0.0) {
    scenario.run.at_most_s = at_most_s;
    scenario.run.until_programme_ends = false;
  }
  const InputCourse course = record(scenario, 0.0, false);
  std::printf("%llu ticks, inputs moved at %zu of them\n", static_cast<unsigned long long>(course.ticks), course.changes.size());
  const plant::Model model = plant::build(scenario.furnace);
  const auto start = std::make_unique<plant::State>(plant::initial_state(model, 1));
  const std::vector<std::uint64_t> ticks = sample_ticks(course);
  print(worst_by_kind(step_through(model, *start, course, ticks), integrate(model, *start, course, ticks, relative_tolerance),
                      chain_ticks(model)),
        "step against CVODE, every tick's inputs");
  return 0;
}

int run_stored(bool write) {
  const InputCourse course = read_course(golden + "plant_inputs.csv");
  const plant::Model model = plant::build(cycle().furnace);
  const auto start = std::make_unique<plant::State>(plant::initial_state(model, 1));
  const std::vector<std::uint64_t> ticks = sample_ticks(course);
  const std::vector<Sample> exact = integrate(model, *start, course, ticks, relative_tolerance);
  print(worst_by_kind(step_through(model, *start, course, ticks), exact, chain_ticks(model)), "step against CVODE");
  if (write) {
    write_trajectory(exact, golden + "plant_trajectory.csv",
                     "CVODE 6.4.1, BDF, relative tolerance 1e-10, of plant_inputs.csv; K, Pa, mol; by plant_reference --write");
    return 0;
  }
  const std::vector<Worst> apart = worst_by_kind(exact, read_trajectory(golden + "plant_trajectory.csv"), 1);
  print(apart, "CVODE against what is stored");
  const double limits[kinds] = {1e-3, 1e-3, 1e-3, 1e-2, 1e-2,
                                2e-6, 2e-6, 2e-6, 1e-5, 1e-3};  // far below the step's own; above seven digits
  for (std::size_t i = 0; i < apart.size(); ++i)
    if (!(apart[i].size <= limits[i])) return 1;
  return 0;
}

int run(int count, char** words) {
  const std::string verb = count > 1 ? words[1] : "";
  if (verb == "--record") {
    const InputCourse course = record(cycle(), still, true);
    write_course(course, golden + "plant_inputs.csv",
                 "what the demo cycle's controller told the plant, by plant_reference --record; shares of full scale; last row: "
                 "the end. Coils: "
                 "contactor, process, purge, exhaust, bypass, air, pump, isolation, inlet vent");
    std::printf("%llu ticks, %zu changes\n", static_cast<unsigned long long>(course.ticks), course.changes.size());
    return 0;
  }
  if (verb == "--write" || verb == "--check") return run_stored(verb == "--write");
  if (verb == "--every-tick") return run_every_tick(count > 2 ? std::stod(words[2]) : 0.0);
  std::fprintf(stderr, "usage: plant_reference --record | --write | --check | --every-tick [seconds]\n");
  return 2;
}

}  // namespace

int main(int count, char** words) {
  try {
    return run(count, words);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 3;
  }
}
