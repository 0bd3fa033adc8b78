// The top level of a scenario file: what stands beside furnace, controller, programme, actions, faults and expectations.
// The result is sim::Scenario (scenario.h), which also declares load_scenario.
#pragma once

#include <string>

#include "sim/fields.h"
#include "sim/scenario.h"

namespace sim {

const FieldTable& scenario_fields();         // on a Scenario
const std::vector<std::string>& scenario_sections();   // the keys with tables of their own: furnace, controller, programme, ...

// One complete file: reading it gives the same scenario again.
std::string write_scenario(const Scenario& scenario);

// Refuses what the line cannot carry: an exchange over 80 % of the control period. Throws InputError at `place`.
void check_exchange(double baud, double period_s, const SourcePlace& place);

}  // namespace sim
