// Why a record cannot bear a model, in plain words, and the test to run instead, with its numbers.
#pragma once

#include <optional>
#include <vector>

#include "sim/identified_model.h"

namespace sim {

// Before any fit: what makes it pointless. At most one.
std::optional<Verdict> verdict_before(const RecordQuality& quality);

// The output does nothing the input explains.
Verdict verdict_no_response(const RecordQuality& quality);

// Of the model chosen, in the record's units; `answering_s` from the input's first move to the last reading.
struct ChosenModel {
  const IdentifiedModel& model;
  double answering_s;
  double gain_share_without_drift;   // infinite where it says nothing
  double shortest_lag_s;             // of an integrator; infinite with others
};
std::vector<Verdict> verdicts_of(const ChosenModel& chosen, const RecordQuality& quality);

}  // namespace sim
