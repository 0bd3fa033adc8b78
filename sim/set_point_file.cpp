#include "sim/set_point_file.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <string_view>

#include "sim/trace.h"

namespace sim {

namespace {

struct Source {
  std::string file, time, column, unit;
  int between = 0;             // hold, linear
  double step_s = -1.0;
};

#define SAGGAR_AT(member) [](auto& source) -> auto& { return source.member; }

FieldTable make_table() {
  FieldTable table{"set points from a file", "Instead of the value of set_heat, set_back_pressure or set_flow.", {}};
  std::vector<Field>& fields = table.fields;
  fields.push_back(text_field<Source>("file", SAGGAR_AT(file), true, "CSV file beside this one, its first row names the columns"));
  fields.push_back(text_field<Source>("time", SAGGAR_AT(time), true, "column of the time in seconds, from the action's own moment"));
  fields.push_back(text_field<Source>("column", SAGGAR_AT(column), true, "column of the values"));
  fields.push_back(text_field<Source>("unit", SAGGAR_AT(unit), true, "of the values"));
  Field between = choice_field<Source>("between", SAGGAR_AT(between), {"hold", "linear"}, "", "what holds between two rows");
  fields.push_back(std::move(between));
  Field step = quantity_field<Source>("step", "s", SAGGAR_AT(step_s), 0.1, 86400.0, "", "linear: an action each so often");
  fields.push_back(optional<Source>(std::move(step), [](const Source& source) { return source.step_s >= 0.0; }));
  return table;
}

#undef SAGGAR_AT

std::size_t column_of(const CsvTable& table, const std::string& name, const std::string& file) {
  const auto found = std::find(table.header.begin(), table.header.end(), name);
  if (found == table.header.end())
    throw InputError({file, 1, 1}, "no column `" + name + "`", "one of " + listed(table.header), nearest_name(name, table.header));
  return static_cast<std::size_t>(found - table.header.begin());
}

double number_at(const std::string& text, const SourcePlace& place, const std::string& column) {
  const std::optional<double> number = number_of(text);
  if (!number) throw InputError(place, "`" + text + "` in the column `" + column + "`", "a number");
  return *number;
}

std::vector<SetPoint> read_rows(const std::string& file, const Source& source, const ActionKind& kind, const SourcePlace& place) {
  const CsvTable table = read_csv(file);
  const std::size_t time_at = column_of(table, source.time, file), value_at = column_of(table, source.column, file);
  std::vector<SetPoint> rows;
  for (const std::vector<std::string>& row : table.rows) {
    SetPoint point;
    point.place = {file, static_cast<int>(rows.size()) + 2, 1};
    point.time_s = number_at(row[time_at], point.place, source.time);
    number_at(row[value_at], point.place, source.column);
    try {
      point.value = value_in(row[value_at] + " " + source.unit, unit_of(kind.unit));
    } catch (const UnitError& error) {
      throw InputError(place, error.found + " for `unit`", error.expected, error.nearest);
    }
    if (!(point.value >= kind.low && point.value <= kind.high))
      throw InputError(point.place, row[value_at] + " " + source.unit + " for `" + kind.name + "`",
                       text_of(kind.low, kind.unit) + " to " + text_of(kind.high, kind.unit));
    const double before_s = rows.empty() ? -1e-9 : rows.back().time_s;
    if (!(point.time_s > before_s)) throw InputError(point.place, "the time " + row[time_at] + " s", "times from 0 that rise");
    rows.push_back(std::move(point));
  }
  if (rows.empty()) throw InputError({file, 2, 1}, "no rows", "at least one");
  return rows;
}

void refuse_more(std::size_t count, const SourcePlace& place) {
  if (count > set_points_max)
    throw InputError(place, std::to_string(count) + " actions",
                     "at most " + std::to_string(set_points_max) + ": fewer rows, a longer step");
}

// From the first row to the last in steps; the last row itself always comes, so that its value is what stays.
std::vector<SetPoint> steps_between(const std::vector<SetPoint>& rows, double step_s) {
  const double first_s = rows.front().time_s, last_s = rows.back().time_s;
  const double steps = std::ceil((last_s - first_s) / step_s - 1e-9);
  refuse_more(static_cast<std::size_t>(std::min(steps, 1e9)) + 1, rows.back().place);
  std::vector<SetPoint> points;
  std::size_t at = 0;
  for (int step = 0; step < static_cast<int>(steps); ++step) {
    SetPoint point;
    point.time_s = first_s + step * step_s;
    while (rows[at + 1].time_s <= point.time_s) ++at;
    const SetPoint& from = rows[at];
    const SetPoint& to = rows[at + 1];
    point.value = from.value + (to.value - from.value) * (point.time_s - from.time_s) / (to.time_s - from.time_s);
    point.place = from.place;
    points.push_back(std::move(point));
  }
  points.push_back(rows.back());
  return points;
}

}  // namespace

const FieldTable& set_point_fields() {
  static const FieldTable table = make_table();
  return table;
}

std::vector<SetPoint> read_set_points(const YamlNode& map, const ActionKind& kind) {
  Source source;
  read_fields(map, set_point_fields(), &source);
  const bool linear = source.between == 1;
  if (linear != (source.step_s > 0.0))
    throw InputError(map.place, linear ? "`between: linear` without `step`" : "`step` with `between: hold`",
                     "`step` with linear, and only then");
  const YamlNode& name = *map.child("file");
  const std::filesystem::path file = (std::filesystem::path(name.place.file).parent_path() / source.file).lexically_normal();
  std::error_code error;
  if (!std::filesystem::is_regular_file(file, error))
    throw InputError(name.place, "no file " + file.generic_string(), "a CSV file beside this one");
  std::vector<SetPoint> rows = read_rows(file.string(), source, kind, map.child("unit")->place);
  if (linear) return steps_between(rows, source.step_s);
  refuse_more(rows.size(), rows.back().place);
  return rows;
}

}  // namespace sim
