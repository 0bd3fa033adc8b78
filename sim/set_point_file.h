// Set points of an action from a CSV file: `set_heat: {file: week.csv, column: heat, unit: degC, between: hold}`. Each row becomes
// an action of its own, so it goes over the supervisory line like any other and resolved.yaml holds the values themselves.
#pragma once

#include <vector>

#include "sim/action_file.h"

namespace sim {

struct SetPoint {
  double time_s = 0.0;         // after the action's own moment
  double value = 0.0;          // in the unit of the action
  SourcePlace place;           // the row
};

inline constexpr std::size_t set_points_max = 2000;

const FieldTable& set_point_fields();

// The map after the action's name. The file is looked for beside the YAML file. Throws InputError at the map, or with the line of the
// CSV file: no such column, not a number, out of the action's bounds, times that do not rise, more than set_points_max actions.
std::vector<SetPoint> read_set_points(const YamlNode& map, const ActionKind& kind);

}  // namespace sim
