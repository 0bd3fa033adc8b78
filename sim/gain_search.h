// Gains by direct search: the least cost of a set-point and a load step on the very loop that will run, under limits on how near it may
// come to instability, how far it may move its actuator and what it may make of noise. Uses NLopt (COBYLA: no derivatives,
// deterministic).
#pragma once

#include <functional>
#include <string>

#include "sim/loop_judgement.h"
#include "sim/tuning_rules.h"

namespace sim {

struct SearchWish {
  PidKind kind = PidKind::pi;
  double sensitivity_max = 1.6;  // Ms, 1.05..4
  double load_weight = 0.7;      // of the load step's IAE; the rest of 1 is the set-point step's. Each by that of the start
  double travel_max = 0.0;       // of the output at a unit set-point step; 0: no limit
  double noise_gain_max = 0.0;   // 0: no limit
  double filter_ratio = 10.0;    // N = Td / Tf
  int evaluations_max = 400;
};

struct SearchResult {
  PidLaw law;
  double cost = 0.0;  // 1 at the start
  int evaluations = 0;
  std::string bound_by;  // in words: what keeps it from being faster
};

// start: gains of a loop that is stable. Throws std::domain_error where it is not, or where nothing within the limits was found.
SearchResult search_gains(const std::function<LoopJudgement(const PidLaw&)>& judged, const PidLaw& start, const SearchWish& wish);

}  // namespace sim
