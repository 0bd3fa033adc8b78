// The words that conditions, windows and moments of a scenario may use: its segments, the atmosphere phases, the signals.
#pragma once

#include <string>
#include <vector>

#include "sim/scenario.h"
#include "sim/signals.h"
#include "sim/yaml_tree.h"

namespace sim {

struct Vocabulary {
  const ProgrammeSource& programme;
  SignalTable signals;
  double period_s = 0.0;            // of a tick
  std::vector<std::string> programmes{};       // by number; the first is the one under `programme`

  // Each throws InputError at the place of what is wrong.
  void check_segment(const std::string& name, const SourcePlace& place) const;
  void check_phase(const std::string& name, const SourcePlace& place) const;
  // An expression that is a truth; the column of the message is that inside the file where the text stands on one line.
  void check_condition(const YamlNode& node) const;      // of past and present
  void check_judged(const YamlNode& node) const;         // may look ahead too (temporal_formula.h)
};

}  // namespace sim
