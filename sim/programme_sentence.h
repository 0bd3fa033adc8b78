// The segments of a programme as plain sentences: "From 25 degC at 5 K/min to 180 degC (about 31 min)".
#pragma once

#include <string>
#include <vector>

#include "sim/display_units.h"
#include "sim/scenario.h"

namespace sim {

// One segment. from_degc: where the heaters stand as it begins; afterwards, where they are meant to stand at its end.
std::string segment_sentence(const fw::Segment& segment, const std::vector<std::string>& names, const DisplayUnits& units,
                             double& from_degc);
std::string segment_sentence(const fw::Segment& segment, const std::vector<std::string>& names);   // alone, from 0 degC, in SI
// One sentence for each segment, in order. start_degc: of the furnace.
std::vector<std::string> programme_sentences(const ProgrammeSource& programme, double start_degc, const DisplayUnits& units);

}  // namespace sim
