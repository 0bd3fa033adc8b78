#include "sim/fault_arrivals.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "sim/fault_file.h"

namespace sim {

FaultArrivals::FaultArrivals(const std::vector<FaultSource>& sources, std::uint64_t seed)
    : laws_(sources.size()), states_(sources.size()) {
  std::map<std::string, int> seen;
  for (std::size_t fault = 0; fault < sources.size(); ++fault) {
    if (!sources[fault].chance.given()) continue;
    const std::string text = write_faults({sources[fault]}, 0);
    laws_[fault] = {sources[fault].chance, sources[fault].for_s};
    states_[fault].stream = plant::RandomStream(seed, fmt::format("fault.arrivals.{}.{}", text, seen[text]++));
  }
}

std::optional<FaultArrivals::Arrival> FaultArrivals::open(std::size_t fault, std::uint64_t tick, Clock clock) {
  State& state = states_[fault];
  state.opened_tick = tick;
  state.at_s = 0.0;
  return next(fault, clock);
}

std::optional<FaultArrivals::Arrival> FaultArrivals::next(std::size_t fault, Clock clock) {
  const Law& law = laws_[fault];
  State& state = states_[fault];
  const std::uint64_t n = state.count++;
  state.at_s -= std::log1p(-state.stream.uniform(2 * n)) / law.chance.rate_per_s;
  if (law.for_s >= 0.0 && state.at_s >= law.for_s) return std::nullopt;
  double lasts_s = law.chance.shortest_s + state.stream.uniform(2 * n + 1) * (law.chance.longest_s - law.chance.shortest_s);
  if (law.for_s >= 0.0) lasts_s = std::min(lasts_s, law.for_s - state.at_s);
  state.last = {state.opened_tick + clock.ticks(state.at_s), std::max<std::uint64_t>(1, clock.ticks(lasts_s))};
  return state.last;
}

}  // namespace sim
