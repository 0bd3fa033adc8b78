#include "sim/operating_point.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

#include "sim/bench.h"
#include "sim/endpoint.h"
#include "sim/units.h"

namespace sim {

namespace {

constexpr double mean_s = 600.0;
constexpr double longest_s = 30.0 * 86400.0;

OperatorAction hold_when(const std::string& condition) {
  OperatorAction hold;
  hold.when.condition = condition;
  hold.command = fw::Command::hold;
  hold.expect = OperatorAction::Expect::accepted;
  hold.text = "hold, to look at the loop here";
  return hold;
}

// Signals by their places in a frame.
struct Columns {
  int set_point, value, demand, state;
  Columns(const SignalTable& table, int zone)
      : set_point(table.find(fmt::format("heat.{}.sp", zone + 1))),
        value(table.find(fmt::format("heat.{}.pv", zone + 1))),
        demand(table.find(fmt::format("heat.{}.out", zone + 1))),
        state(table.find("programme.state")) {}
};

double of(const Bench& bench, int column) { return bench.frame()[static_cast<std::size_t>(column)]; }

struct Mean {
  double value = 0.0, demand = 0.0;
};

Mean mean_over(Bench& bench, const Columns& columns, double for_s) {
  Mean mean;
  double count = 0.0;
  for (const double end_s = bench.time_s() + for_s; bench.time_s() < end_s; count += 1.0) {
    if (!bench.advance()) throw std::domain_error("the run ended while its programme was held");
    mean.value += of(bench, columns.value);
    mean.demand += of(bench, columns.demand);
  }
  return {mean.value / count, mean.demand / count};
}

void run_until_held(Bench& bench, const Columns& columns, double at_degc, const std::function<void(double)>& progress) {
  constexpr double held = static_cast<double>(fw::ProgrammeState::held);
  double highest_degc = -1e9;
  while (of(bench, columns.state) != held) {
    if (!bench.advance())
      throw std::domain_error(
          fmt::format("its set point never came to {} degC: {} degC at most", text_of(at_degc), text_of(std::round(highest_degc))));
    highest_degc = std::max(highest_degc, of(bench, columns.set_point));
    if (progress && bench.ticks() % 4096 == 0) progress(bench.time_s());
  }
}

void settle(Bench& bench, double for_s, const std::function<void(double)>& progress) {
  for (const double end_s = bench.time_s() + for_s; bench.time_s() < end_s;) {
    if (!bench.advance()) throw std::domain_error("the run ended while its programme was held");
    if (progress && bench.ticks() % 4096 == 0) progress(bench.time_s());
  }
}

}  // namespace

OperatingPoint find_operating_point(Scenario scenario, int zone, double at_degc, double settle_s,
                                    const std::function<void(double)>& progress) {
  if (zone < 0 || zone >= scenario.parameters.zones)
    throw std::domain_error(fmt::format("heat.{}: the controller has {} zone{}", zone + 1, scenario.parameters.zones,
                                        scenario.parameters.zones > 1 ? "s" : ""));
  scenario.actions.push_back(hold_when(fmt::format("heat.{}.sp >= {} degC", zone + 1, text_of(at_degc))));
  scenario.run.at_most_s = longest_s;
  Bench bench(scenario, open_endpoint({}));
  const Columns columns(bench.table(), zone);
  if (!bench.advance()) throw std::domain_error("the run ended at once");
  run_until_held(bench, columns, at_degc, progress);
  OperatingPoint point;
  point.held_s = bench.time_s();
  settle(bench, std::max(0.0, settle_s - 2.0 * mean_s), progress);
  const Mean before = mean_over(bench, columns, mean_s), now = mean_over(bench, columns, mean_s);
  if (of(bench, columns.state) != static_cast<double>(fw::ProgrammeState::held))
    throw std::domain_error("the programme did not stay held");
  point.model = std::make_shared<const plant::Model>(bench.plant_model());
  point.state = bench.plant_state();
  point.parameters = scenario.parameters;
  point.zone = zone;
  point.set_degc = of(bench, columns.set_point);
  point.value_degc = now.value;
  point.demand = now.demand;
  point.demand_per_h = (now.demand - before.demand) / mean_s * 3600.0;
  return point;
}

}  // namespace sim
