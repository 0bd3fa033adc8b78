// A scenario in plain words: what it is and what it would do.
#pragma once

#include <string>
#include <vector>

#include "sim/scenario.h"

namespace sim {

std::string describe(const Scenario& scenario);

// Shortest time the programme can take, from its rates, waits and leak tests; what waits for the plant counts as nothing. Repeats are
// followed. start_degc: where the first ramp starts.
double programme_s(const ProgrammeSource& programme, double start_degc);

// Where the controller is set up for other instruments than the furnace has. That may be meant (it is a fault worth trying), so
// it is a remark, not an error.
std::vector<std::string> mismatches(const Scenario& scenario);

}  // namespace sim
