// The expectations of a scenario: a list of maps, each with a name, one statement and its window.
//
//   - name: the gauge never above 6 kPa
//     never: plant.gas.gauge > 6 kPa gauge
//     during_phase: [holding]
//   - name: below 15 Pa within 15 min
//     eventually: vacuum.pv < 15 Pa abs
//     within: 15 min
//     during_segment: first evacuation
//   - name: the heat follows
//     tracks: {signal: heat.1.pv, target: heat.1.sp, within: 10 K}        # a ready word (ready_word.h)
#pragma once

#include <string>
#include <vector>

#include "sim/fields.h"
#include "sim/scenario.h"
#include "sim/vocabulary.h"

namespace sim {

const FieldTable& expectation_fields();      // on an ExpectationSource

std::vector<ExpectationSource> read_expectations(const YamlNode& list, const Vocabulary& vocabulary);   // throws InputError
std::string write_expectations(const std::vector<ExpectationSource>& expectations, int indent);

}  // namespace sim
