// The gains that rules and search propose for a loop, each judged on it, and the one recommended with its reason.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "sim/gain_search.h"
#include "sim/loop_judgement.h"
#include "sim/process_file.h"
#include "sim/tuning_rules.h"

namespace sim {

struct TuningWish {
  std::vector<std::string> rules;  // names of tuning_rules(), "search"; empty: all
  std::vector<PidKind> kinds{PidKind::pi, PidKind::pid};
  double closed_loop_s = 0.0;    // of the rules that have one; 0: their own
  double hysteresis = 0.0;       // relay: by its height
  double filter_ratio = 0.0;     // N of the derivative; 0: 10 where sampled, as the core's preset is; ideal where continuous
  double sensitivity_max = 1.6;  // Ms of the search, and of what is recommended
  double travel_max = 0.0, noise_gain_max = 0.0;  // search; 0: no limit
};

struct TuningCandidate {
  std::string rule;  // "simc", "search", "given"
  PidKind kind = PidKind::pi;
  PidLaw law;
  LoopJudgement judgement;
  std::optional<RuleResult> basis;  // of a rule
  std::string bound_by;             // of the search
  std::string refusal;              // why there are no gains; all else is then empty

  bool usable() const { return refusal.empty() && judgement.margins.stable; }
};

struct TuningDesk {
  std::vector<TuningCandidate> candidates;
  int recommended = -1;  // -1: none
  std::string reason;
};

bool is_rule(const std::string& name);
std::vector<std::string> rule_names();  // with "search"

TuningDesk tune(const ProcessFile& file, const TuningWish& wish);
// One law given by its user, beside nothing else.
TuningCandidate judged(const ProcessFile& file, const PidLaw& law);

// A cost of 1 is that of the best candidate: 0.7 of the load step's IAE and 0.3 of the set-point step's, each by the least of all.
void recommend(TuningDesk& desk, double sensitivity_max);

std::string tuning_text(const ProcessFile& file, const TuningDesk& desk);
// {"schema": 1, ...}; what is infinite or does not exist is null.
std::string tuning_json(const ProcessFile& file, const TuningDesk& desk);

}  // namespace sim
