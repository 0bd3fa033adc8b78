// A fault as a plain sentence: what it means, where, when and how long.
#pragma once

#include <string>

#include "sim/display_units.h"
#include "sim/scenario.h"

namespace sim {

std::string fault_sentence(const FaultSource& fault, const DisplayUnits& units);

}  // namespace sim
