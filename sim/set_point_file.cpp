#include "sim/set_point_file.h"

#include <algorithm>
#include <cmath>

namespace sim {

namespace {

FieldTable make_table() {
  FieldTable table{"set points from a file", "Instead of the value of set_heat, set_back_pressure or set_flow.", profile_source_fields()};
  Field step = quantity_field<ProfileSource>("step", "s", [](auto& source) -> auto& { return source.step_s; }, 0.1, 86400.0, "",
                                             "linear: an action each so often");
  table.fields.push_back(optional<ProfileSource>(std::move(step), [](const ProfileSource& source) { return source.step_s >= 0.0; }));
  return table;
}

void refuse_more(std::size_t count, const SourcePlace& place) {
  if (count > set_points_max)
    throw InputError(place, std::to_string(count) + " actions",
                     "at most " + std::to_string(set_points_max) + ": fewer rows, a longer step");
}

// From the first row to the last in steps; the last row itself always comes, so that its value is what stays.
std::vector<SetPoint> steps_between(const Profile& rows, double step_s) {
  const double first_s = rows.points.front().time_s, last_s = rows.points.back().time_s;
  const double steps = std::ceil((last_s - first_s) / step_s - 1e-9);
  refuse_more(static_cast<std::size_t>(std::min(steps, 1e9)) + 1, rows.points.back().place);
  std::vector<SetPoint> points;
  for (int step = 0; step < static_cast<int>(steps); ++step) {
    const double time_s = first_s + step * step_s;
    points.push_back({time_s, rows.at(time_s), rows.points.front().place});
  }
  points.push_back(rows.points.back());
  return points;
}

}  // namespace

const FieldTable& set_point_fields() {
  static const FieldTable table = make_table();
  return table;
}

std::vector<SetPoint> read_set_points(const YamlNode& map, const ActionKind& kind) {
  ProfileSource source;
  const ProfileRange range{kind.name, kind.unit, kind.low, kind.high};
  Profile rows;
  rows.points = read_profile_rows(map, set_point_fields(), range, source);
  rows.between = source.between;
  const bool linear = source.between == Between::linear;
  if (linear != (source.step_s > 0.0))
    throw InputError(map.place, linear ? "`between: linear` without `step`" : "`step` with `between: hold`",
                     "`step` with linear, and only then");
  if (linear) return steps_between(rows, source.step_s);
  refuse_more(rows.points.size(), rows.points.back().place);
  return std::move(rows.points);
}

}  // namespace sim
