// Expectations as sentences: one for the files and the report, in the language as it is written, and one for people who do not know it.
// One table has the parts of a window for both.
#pragma once

#include <string>
#include <vector>

#include "sim/display_units.h"
#include "sim/scenario.h"

namespace sim {

// One line, as written: "always pressure.pv < 6 kPa, in segment soak"; of a ready word first what it says. judged: expanded (ready_word.h).
std::string statement_of(const ExpectationSource& judged);

// One line for people: name, what is said in plain words, and over what part of the run.
// "no heat: at no moment plant.power is above 1 W, in the segment cool, until interlock.trip is above 0"; of a ready word also what
// it is short for.
std::string sentence(const ExpectationSource& expectation, const DisplayUnits& units = {});

}  // namespace sim
