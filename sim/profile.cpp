#include "sim/profile.h"

#include <algorithm>
#include <filesystem>

#include "sim/trace.h"

namespace sim {

namespace {

const std::vector<std::string>& time_units() {
  static const std::vector<std::string> units = {"s", "min", "h"};
  return units;
}

std::size_t column_of(const CsvTable& table, const std::string& name, const std::string& file) {
  const auto found = std::find(table.header.begin(), table.header.end(), name);
  if (found == table.header.end())
    throw InputError({file, 1, 1}, "no column `" + name + "`", "one of " + listed(table.header), nearest_name(name, table.header));
  return static_cast<std::size_t>(found - table.header.begin());
}

// One column of one row, in the unit `wanted`.
double value_at(const std::string& text, const std::string& unit, const Unit& wanted, const SourcePlace& place, const std::string& column) {
  if (!number_of(text)) throw InputError(place, "`" + text + "` in the column `" + column + "`", "a number");
  return value_in(text + " " + unit, wanted);
}

// The unit of the column, so that what is wrong with it is said once, where it stands, and not at the first row.
void check_unit(const std::string& unit, const Unit& wanted, const SourcePlace& place) {
  try {
    (void)value_in("1 " + unit, wanted);
  } catch (const UnitError& error) {
    throw InputError(place, error.found + " for `unit`", error.expected, error.nearest);
  }
}

std::vector<ProfilePoint> read_rows(const std::string& file, const ProfileSource& source, const ProfileRange& range) {
  const CsvTable table = read_csv(file);
  const std::size_t time_at = column_of(table, source.time, file), value_column = column_of(table, source.column, file);
  const std::string& time_unit = time_units()[static_cast<std::size_t>(source.time_unit)];
  const Unit seconds = unit_of("s"), wanted = unit_of(range.unit);
  std::vector<ProfilePoint> points;
  points.reserve(table.rows.size());
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const std::string &time = table.rows[i][time_at], &value = table.rows[i][value_column];
    const SourcePlace time_place{file, table.lines[i], table.columns[i][time_at]};
    ProfilePoint point;
    point.place = {file, table.lines[i], table.columns[i][value_column]};
    point.time_s = value_at(time, time_unit, seconds, time_place, source.time);
    point.value = value_at(value, source.unit, wanted, point.place, source.column);
    if (!(point.value >= range.low && point.value <= range.high))
      throw InputError(point.place, value + " " + source.unit + " for `" + range.name + "`",
                       text_of(range.low, range.unit) + " to " + text_of(range.high, range.unit));
    const double before_s = points.empty() ? -1e-9 : points.back().time_s;
    if (!(point.time_s > before_s && point.time_s <= profile_s_max))
      throw InputError(time_place, "the time " + time + " " + time_unit, "times from 0 to " + text_of(profile_s_max, "s") + " that rise");
    points.push_back(std::move(point));
  }
  if (points.empty()) throw InputError({file, 2, 1}, "no rows", "at least one");
  return points;
}

}  // namespace

double Profile::at(double time_s) const {
  const auto next = std::upper_bound(points.begin(), points.end(), time_s,
                                     [](double time, const ProfilePoint& point) { return time < point.time_s; });
  if (next == points.begin()) return points.front().value;
  const ProfilePoint& from = *(next - 1);
  if (between == Between::hold || next == points.end()) return from.value;
  return from.value + (next->value - from.value) * ((time_s - from.time_s) / (next->time_s - from.time_s));
}

#define SAGGAR_AT(member) [](auto& source) -> auto& { return source.member; }

std::vector<Field> profile_source_fields() {
  using Source = ProfileSource;
  std::vector<Field> fields;
  fields.push_back(text_field<Source>("file", SAGGAR_AT(file), true, "CSV file beside this one, its first row names the columns"));
  fields.push_back(text_field<Source>("time", SAGGAR_AT(time), true, "column of the time, which rises from 0 on"));
  fields.push_back(choice_field<Source>("time_unit", SAGGAR_AT(time_unit), time_units(), "s", "of the column of the time"));
  fields.push_back(text_field<Source>("column", SAGGAR_AT(column), true, "column of the values"));
  fields.push_back(text_field<Source>("unit", SAGGAR_AT(unit), true, "of the values"));
  fields.push_back(choice_field<Source>("between", SAGGAR_AT(between), {"hold", "linear"}, "", "what holds between two rows"));
  return fields;
}

#undef SAGGAR_AT

std::vector<ProfilePoint> read_profile_rows(const YamlNode& map, const FieldTable& table, const ProfileRange& range,
                                            ProfileSource& source) {
  read_fields(map, table, &source);
  check_unit(source.unit, unit_of(range.unit), map.child("unit")->place);
  const YamlNode& name = *map.child("file");
  const std::filesystem::path file = (std::filesystem::path(name.place.file).parent_path() / source.file).lexically_normal();
  std::error_code error;
  if (!std::filesystem::is_regular_file(file, error))
    throw InputError(name.place, "no file " + file.generic_string(), "a CSV file beside this one");
  return read_rows(file.string(), source, range);
}

}  // namespace sim
