// What a mistake does to a scenario, and whether it can be made in it.
#pragma once

#include "sim/scenario.h"
#include "sim/yaml_tree.h"

namespace sim {

// Throws InputError at the mistake's place: names that do not exist, what would change nothing, what the controller could not hold.
// given: the map of its parameters.
void check_mistake(const MistakeSource& mistake, const Scenario& scenario, const YamlNode& given);
void make_mistake(const MistakeSource& mistake, Scenario& scenario);

}  // namespace sim
