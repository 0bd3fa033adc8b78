// Times, conditions and moments of a scenario as a person says them: "2 h 33 min", "plant.load.core is above 500 degC",
// "10 min after the segment `soak` begins".
#pragma once

#include <string>
#include <string_view>

#include "sim/display_units.h"
#include "sim/scenario.h"

namespace sim {

std::string time_sentence(double s);          // "2 h 3 min 1.5 s", "0 s": exact to the millisecond
std::string about_time_sentence(double s);    // the same to the minute from 10 min on, else to the second

// An expression with its signs and functions in words; names of signals stay. Quantities in the units chosen.
std::string condition_sentence(std::string_view expression, const DisplayUnits& units);

std::string moment_sentence(const Moment& moment, const DisplayUnits& units);

}  // namespace sim
