// Set points of an action from a CSV file: `set_heat: {file: week.csv, column: heat, unit: degC, between: hold}`. Each row becomes
// an action of its own, so it goes over the supervisory line like any other and resolved.yaml holds the values themselves.
#pragma once

#include <vector>

#include "sim/action_file.h"
#include "sim/profile.h"

namespace sim {

using SetPoint = ProfilePoint;    // time after the action's own moment, value in the unit of the action

inline constexpr std::size_t set_points_max = 2000;

const FieldTable& set_point_fields();

// The map after the action's name. Throws InputError as read_profile_rows does, and for more than set_points_max actions.
std::vector<SetPoint> read_set_points(const YamlNode& map, const ActionKind& kind);

}  // namespace sim
