// plant_rivals [ROUNDS] [--json]: what a tick of the plant costs, and what it errs by, beside what others would take for it: SUNDIALS'
// CVODE and the classical Runge-Kutta scheme on the same equations (plant_equations.h), over the whole demo cycle with its inputs, one
// core, in turns, ROUNDS times (3). Processor time; medians and the ratio of each round to ours. Errors against the trajectory stored for
// the cycle (CVODE at 1e-10). --ours: the plant alone once, for who counts its instructions; --peak: the most double operations that this
// processor does in a nanosecond. By hand and by tools/bench; not shipped.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <ctime>
#include <exception>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "sim/scenario.h"
#include "tests/checkout.h"
#include "tests/plant/cvode.h"
#include "tests/plant/plant_reference.h"

namespace {

using namespace plant_test;

struct Cycle {
  plant::Model model = plant::build(
      sim::load_scenario(std::string(source_folder) + "/configs/scenarios/cycles/titanium_stress_relief.yaml").furnace);
  InputCourse course = read_course(std::string(source_folder) + "/tests/golden/plant_inputs.csv");
  std::unique_ptr<plant::State> start = std::make_unique<plant::State>(plant::initial_state(model, 1));
  std::vector<std::uint64_t> ticks = sample_ticks(course);
  std::vector<Sample> stored = read_trajectory(std::string(source_folder) + "/tests/golden/plant_trajectory.csv");
};

double processor_s() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) * 1e-9;
}

double time_of(std::uint64_t tick) { return static_cast<double>(tick) * course_period_s; }

// Goes through the course tick by tick; `enter` where an input changes, `advance` over each tick.
std::vector<Sample> go_through(const Cycle& cycle, Equations& equations, EquationState& y,
                               const std::function<void(std::uint64_t, const InputChange&)>& enter,
                               const std::function<void(std::uint64_t)>& advance) {
  std::vector<Sample> samples;
  auto next = cycle.ticks.begin();
  auto change = cycle.course.changes.begin();
  for (std::uint64_t tick = 0; tick < cycle.course.ticks; ++tick) {
    if (change != cycle.course.changes.end() && change->tick == tick) enter(tick, *change++);
    advance(tick);
    if (next != cycle.ticks.end() && *next == tick + 1) samples.push_back({*next++, values_of(equations, y)});
  }
  return samples;
}

// As somebody would who knows it well: band matrix, a stop at every tick so that no step spans a change of the inputs, started anew only
// where a valve switches. Band: gas and actuators first, then the nodes, then the linings' cells, side by side as they couple.
struct ByCvode {
  Newton newton;
  std::vector<int> order;  // place in CVODE's vector -> slot

  explicit ByCvode(Newton chosen) : newton(chosen) {
    for (int i = slot::chamber_mol; i < slot::count; ++i) order.push_back(i);
    for (int i = 0; i < slot::chamber_mol; ++i) order.push_back(i);
  }

  std::vector<Sample> run(const Cycle& cycle) const {
    Equations equations(cycle.model, *cycle.start);
    EquationState y = equations.vector_of(*cycle.start), there(y.size()), slots(y.size()), rates(y.size());
    const auto gather = [&](std::span<const double> from, std::span<double> to) {
      for (std::size_t i = 0; i < to.size(); ++i) to[i] = from[static_cast<std::size_t>(order[i])];
    };
    const auto scatter = [&](std::span<const double> from, std::span<double> to) {
      for (std::size_t i = 0; i < from.size(); ++i) to[static_cast<std::size_t>(order[i])] = from[i];
    };
    const auto rate = [&](double, std::span<const double> at, std::span<double> out) {
      scatter(at, slots);
      equations.rate(slots, rates);
      gather(rates, out);
    };
    std::vector<double> absolute(y.size());
    gather(absolute_tolerances(), absolute);
    for (double& a : absolute) a *= 1e4;  // with the relative tolerance
    constexpr double relative = 1e-6;
    Cvode cvode(rate, absolute, relative, newton, (slot::count - slot::chamber_mol) + plant::core_nodes - 1);
    const InputChange* last = nullptr;
    return go_through(
        cycle, equations, y,
        [&](std::uint64_t tick, const InputChange& change) {
          const bool jumps = last == nullptr || valves_differ(last->commands, change.commands);
          equations.enter(inputs_of(cycle.model, change.commands, {}), y);
          last = &change;
          if (!jumps) return;
          gather(y, there);
          cvode.restart(time_of(tick), there);
        },
        [&](std::uint64_t tick) {
          cvode.advance(time_of(tick + 1), there);
          scatter(there, y);
        });
  }
};

// Classical, fourth order; sub-steps by what makes the plant stiff, so that they stay within the scheme's 2.8: the open hose, whose
// conductance goes with the pressure (some 9000 1/s of 1 L at one atmosphere), and little gas, which follows the walls (some 500 1/s).
struct ByRungeKutta {
  static int parts(const plant::Commands& c, double chamber_pa) {
    constexpr int thin = 24, hose_at_one_bar = 400;
    if (c.isolation_open) return std::max(thin, static_cast<int>(hose_at_one_bar * chamber_pa / 1e5));
    if (chamber_pa < 20e3) return thin;
    return c.bypass_open || c.air_open || chamber_pa < 90e3 ? 4 : 1;
  }

  static std::vector<Sample> run(const Cycle& cycle) {
    Equations equations(cycle.model, *cycle.start);
    EquationState y = equations.vector_of(*cycle.start), k1(y.size()), k2(y.size()), k3(y.size()), k4(y.size()), at(y.size());
    plant::Commands commands{};
    const auto beside = [&](const EquationState& k, double h) {
      for (std::size_t i = 0; i < y.size(); ++i) at[i] = y[i] + h * k[i];
    };
    const auto step = [&](double h) {
      equations.rate(y, k1);
      beside(k1, 0.5 * h);
      equations.rate(at, k2);
      beside(k2, 0.5 * h);
      equations.rate(at, k3);
      beside(k3, h);
      equations.rate(at, k4);
      for (std::size_t i = 0; i < y.size(); ++i) y[i] += h / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]);
    };
    return go_through(
        cycle, equations, y,
        [&](std::uint64_t, const InputChange& change) {
          commands = change.commands;
          equations.enter(inputs_of(cycle.model, commands, {}), y);
        },
        [&](std::uint64_t) {
          const int n = parts(commands, y[slot::chamber_pa]);
          for (int i = 0; i < n; ++i) step(course_period_s / n);
        });
  }
};

struct Rival {
  const char* name;
  std::function<std::vector<Sample>(const Cycle&)> run;
  std::vector<double> ns{};
  std::vector<Worst> worst{};
};

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  return n % 2 == 1 ? values[n / 2] : 0.5 * (values[n / 2 - 1] + values[n / 2]);
}

double larger(const std::vector<Worst>& worst, std::initializer_list<Kind> of) {
  double size = 0.0;
  for (const Kind kind : of) size = std::max(size, worst[static_cast<std::size_t>(kind)].size);
  return size;
}

// Of each round, so that a slow minute of the machine weighs on both.
std::vector<double> ratios(const Rival& rival, const Rival& ours) {
  std::vector<double> of;
  for (std::size_t i = 0; i < rival.ns.size(); ++i) of.push_back(rival.ns[i] / ours.ns[i]);
  return of;
}

void print(const std::vector<Rival>& rivals) {
  std::printf("%-36s %10s %12s %8s  %-12s %-8s %s\n", "over the demo cycle, one core", "ns a tick", "x real time", "x ours", "solids, K",
              "gas, K", "pressure");
  for (const Rival& r : rivals) {
    const double ns = median(r.ns);
    std::printf("%-36s %10.0f %12.0f %8.1f  %-12.2g %-8.2g %.2g\n", r.name, ns, course_period_s * 1e9 / ns, median(ratios(r, rivals[0])),
                larger(r.worst, {Kind::thermocouple, Kind::solid, Kind::deep_cell}),
                larger(r.worst, {Kind::gas_temperature, Kind::thin_gas_temperature}),
                larger(r.worst, {Kind::pressure, Kind::thin_pressure}));
  }
}

void print_json(const std::vector<Rival>& rivals) {
  std::printf("{\"ticks_of_s\": %g, \"rows\": [", course_period_s);
  for (const Rival& r : rivals) {
    const double ns = median(r.ns);
    std::printf("%s\n  {\"name\": \"%s\", \"ns_per_tick\": %.1f, \"times_real_time\": %.0f, \"times_ours\": %.2f, \"rounds\": %zu, "
                "\"solids_k\": %.3g, \"gas_k\": %.3g, \"pressure\": %.3g}",
                &r == &rivals[0] ? "" : ",", r.name, ns, course_period_s * 1e9 / ns, median(ratios(r, rivals[0])), r.ns.size(),
                larger(r.worst, {Kind::thermocouple, Kind::solid, Kind::deep_cell}),
                larger(r.worst, {Kind::gas_temperature, Kind::thin_gas_temperature}),
                larger(r.worst, {Kind::pressure, Kind::thin_pressure}));
  }
  std::printf("\n]}\n");
}

int compare(int rounds, bool json) {
  const Cycle cycle;
  std::vector<Rival> rivals{
      {"ours", [](const Cycle& c) { return step_through(c.model, *c.start, c.course, c.ticks); }},
      {"Runge-Kutta 4, sub-steps by phase", [](const Cycle& c) { return ByRungeKutta::run(c); }},
      {"CVODE, band, stop at each tick, 1e-6", [](const Cycle& c) { return ByCvode(Newton::banded).run(c); }},
      {"CVODE, GMRES, the same", [](const Cycle& c) { return ByCvode(Newton::krylov).run(c); }}};
  for (int round = 0; round < rounds; ++round) {
    for (Rival& r : rivals) {
      std::fprintf(stderr, "round %d of %d: %s\n", round + 1, rounds, r.name);
      const double begin = processor_s();
      const std::vector<Sample> samples = r.run(cycle);
      r.ns.push_back((processor_s() - begin) * 1e9 / static_cast<double>(cycle.course.ticks));
      r.worst = worst_by_kind(samples, cycle.stored, chain_ticks(cycle.model));
    }
  }
  json ? print_json(rivals) : print(rivals);
  return 0;
}

int ours_once() {
  const Cycle cycle;
  step_through(cycle.model, *cycle.start, cycle.course, cycle.ticks);
  std::printf("%llu\n", static_cast<unsigned long long>(cycle.course.ticks));
  return 0;
}

// Products and sums in equal parts, apart from each other as in the plant (no contraction), four to a vector, twelve chains so that none
// waits for itself. The best of many short stretches.
using Four = double __attribute__((vector_size(32)));
__attribute__((target("avx2"))) double operations_per_ns() {
  constexpr int chains = 12, turns = 20'000;
  double best = 0.0;
  for (int stretch = 0; stretch < 200; ++stretch) {
    const Four one{1.0, 1.1, 1.2, 1.3}, factor = one * 0.0 + 0.9999999, term = one * 0.0 + 1e-9;
    Four p0 = one, p1 = one, p2 = one, p3 = one, p4 = one, p5 = one, s0 = one, s1 = one, s2 = one, s3 = one, s4 = one, s5 = one;
    const double begin = processor_s();
    for (int turn = 0; turn < turns; ++turn) {
      p0 *= factor, p1 *= factor, p2 *= factor, p3 *= factor, p4 *= factor, p5 *= factor;
      s0 += term, s1 += term, s2 += term, s3 += term, s4 += term, s5 += term;
      asm volatile("" : "+x"(p0), "+x"(p1), "+x"(p2), "+x"(p3), "+x"(p4), "+x"(p5));     // each turn is done, in registers
      asm volatile("" : "+x"(s0), "+x"(s1), "+x"(s2), "+x"(s3), "+x"(s4), "+x"(s5));
    }
    best = std::max(best, 4.0 * chains * turns / ((processor_s() - begin) * 1e9));
  }
  return best;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    int rounds = 3;
    bool json = false;
    for (int i = 1; i < argc; ++i) {
      if (std::strcmp(argv[i], "--ours") == 0) return ours_once();
      if (std::strcmp(argv[i], "--peak") == 0) return std::printf("%.2f\n", operations_per_ns()) > 0 ? 0 : 2;
      if (std::strcmp(argv[i], "--json") == 0) json = true;
      else rounds = std::stoi(argv[i]);
    }
    if (rounds < 1) throw std::invalid_argument("rounds: at least 1");
    return compare(rounds, json);
  } catch (const std::exception& wrong) {
    std::fprintf(stderr, "plant_rivals [ROUNDS] [--json]: %s\n", wrong.what());
    return 2;
  }
}
