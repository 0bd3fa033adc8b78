// An expectation as a sentence that can be read aloud: what is expected, in which window, by when.
#pragma once

#include <string>

#include "sim/scenario.h"

namespace sim {

// "below 15 Pa: at some moment vacuum.pv < 15 Pa abs, at most 15 min after the window opens, in the segment first evacuation".
// A ready word is followed by what it is short for, in brackets.
std::string sentence(const ExpectationSource& expectation);

// "2 h 30 min", "15 min", "1 min 30 s", "0.5 s"; seconds keep up to three decimals. s from 0 up.
std::string time_sentence(double s);

}  // namespace sim
