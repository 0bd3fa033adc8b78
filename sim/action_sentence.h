// An action of the operator as a plain sentence: "10 min after the segment `soak` begins: hold the programme".
#pragma once

#include <string>

#include "sim/display_units.h"
#include "sim/scenario.h"

namespace sim {

std::string action_sentence(const OperatorAction& action, const DisplayUnits& units);

}  // namespace sim
