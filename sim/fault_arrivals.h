// When faults come by chance: arrivals without memory (a Poisson process) at a rate, each for a time drawn evenly between two bounds.
//
// The draws are of a counter-based stream (plant/random.h) named after the fault itself: its kind, parameters, moment, rate and bounds as
// resolved.yaml writes them, and how many exactly like it stand before it. So the same seed gives the same instants, and a fault put in,
// taken out or moved elsewhere in the file moves nobody else's. In the n-th arrival (from 0) the gap before it is
// -ln(1 - u(2 n)) / rate, its stay shortest + u(2 n + 1) (longest - shortest).
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "plant/random.h"
#include "sim/archive.h"
#include "sim/clock.h"
#include "sim/scenario.h"

namespace sim {

class FaultArrivals {
 public:
  FaultArrivals(const std::vector<FaultSource>& sources, std::uint64_t seed);

  struct Arrival {
    std::uint64_t tick = 0;         // the first one not before it
    std::uint64_t lasts_ticks = 1;  // at least 1
  };
  // The fault's moment has come: chance begins. Its first arrival, if one comes before the fault's `for` is over.
  std::optional<Arrival> open(std::size_t fault, std::uint64_t tick, Clock clock);
  // The arrival that follows the one given last. What would stay longer than `for` ends with it.
  std::optional<Arrival> next(std::size_t fault, Clock clock);
  const Arrival& last(std::size_t fault) const { return states_[fault].last; }

  void visit(Archive& archive) { archive.each(states_); }   // everything of it that changes
  void take_over(std::size_t fault, const FaultArrivals& past, std::size_t other) { states_[fault] = past.states_[other]; }

 private:
  struct State {
    plant::RandomStream stream;
    std::uint64_t opened_tick = 0;
    std::uint64_t count = 0;        // arrivals drawn
    double at_s = 0.0;              // of the last of them, since it was opened
    Arrival last;
  };
  struct Law {
    FaultChance chance;
    double for_s = -1.0;
  };
  std::vector<Law> laws_;
  std::vector<State> states_;
};

}  // namespace sim
