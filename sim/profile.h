// A value that changes in a run as a table says, and the reading of such a table from a column of a CSV file.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "sim/fields.h"

namespace sim {

enum class Between : std::uint8_t { hold, linear };      // two points: the earlier one's value stays, or a straight line

inline constexpr double profile_s_max = 30.0 * 86400.0;  // as long as the longest run

struct ProfilePoint {
  double time_s = 0.0;
  double value = 0.0;
  SourcePlace place;
};

struct Profile {
  Between between = Between::hold;
  std::vector<ProfilePoint> points;                      // times rise; empty: no profile

  bool moves() const { return points.size() > 1; }
  // Before the first point its value, after the last one that one's; at a point its own. Keeps nothing from call to call.
  double at(double time_s) const;
};

// `{file: weather.csv, time: hour, time_unit: h, column: pressure, unit: hPa abs, between: linear}`
struct ProfileSource {
  std::string file, time, column, unit;
  int time_unit = 0;                                     // s, min, h
  Between between = Between::hold;
  double step_s = -1.0;                                  // only of set points (set_point_file.h)
};
std::vector<Field> profile_source_fields();              // on a ProfileSource, without `step`

// What a value may be.
struct ProfileRange {
  const char* name;                                      // for messages: the key
  const char* unit;                                      // of the points
  double low, high;                                      // both inclusive
};

// Reads `map` by `table` into `source`, then the file, looked for beside the YAML file. Throws InputError in the map, or with line and
// column of the CSV file: no such column, not a number (an empty field neither: a row without a reading is left out by hand),
// out of range, times that do not rise from 0 on, no rows.
std::vector<ProfilePoint> read_profile_rows(const YamlNode& map, const FieldTable& table, const ProfileRange& range, ProfileSource& source);

}  // namespace sim
