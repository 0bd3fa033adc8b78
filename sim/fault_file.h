// The faults of a scenario: a list of maps, each with one key that names the kind (faults.h), when it begins and how long it stays:
// once, again and again (`every`, `times`), or by chance (`random`).
//
//   - thermocouple_open: {channel: load}
//     segment: ramp to stress relief
//     after: 20 min
//     for: 10 min
//   - mains_dip: {scale: 0.7}
//     at: 1 h
//     random: {rate: 3 /h, shortest: 0.2 s, longest: 5 s}
#pragma once

#include <string>
#include <vector>

#include "sim/faults.h"
#include "sim/fields.h"
#include "sim/scenario.h"
#include "sim/vocabulary.h"

namespace sim {

// Parameters of a kind, on a std::vector<double>. channel: of which the units are; -1 for documentation.
FieldTable fault_fields(const FaultKind& kind, int channel);
const FieldTable& fault_time_fields();       // on a FaultSource: when, and `for`

std::vector<FaultSource> read_faults(const YamlNode& list, const Vocabulary& vocabulary);   // throws InputError
std::string write_faults(const std::vector<FaultSource>& faults, int indent);

}  // namespace sim
