// How the file of a furnace's own logger is to be read: its separators, its time column, which column is which signal in which unit.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "sim/fields.h"

namespace sim {

struct LogColumn {
  std::string column;            // as the header of the log has it
  std::string signal;            // of the run: heat.1.pv
  std::string unit;              // of the column: degF, kPa gauge
  bool sparse = false;           // an empty field is no gap: the value is only written now and then
  SourcePlace place;
};

struct LogMapping {
  enum class Separator : std::uint8_t { comma, semicolon, tab };
  enum class Decimal : std::uint8_t { point, comma };
  enum class TimeFormat : std::uint8_t { local, seconds, elapsed };
  enum class DaylightSaving : std::uint8_t { none, europe, north_america };

  std::string title;
  Separator separator = Separator::comma;
  Decimal decimal = Decimal::point;
  int header_line = 1;           // 1-based; lines before it are the logger's own words
  std::vector<std::string> missing;   // besides an empty field: what stands for no value
  double gap_s = -1.0;           // rows further apart are a gap; negative: 2.5 times the usual distance

  std::string time_column;
  TimeFormat time_format = TimeFormat::seconds;
  std::string time_pattern;      // local: YYYY or YY, MM, DD, hh, mm, ss and what stands between
  double utc_offset_s = 0.0;     // local: of standard time; east of Greenwich is positive
  DaylightSaving daylight_saving = DaylightSaving::none;

  double offset_s = 0.0;         // added to the log's time, which begins at 0 with its first row or as `align` says
  std::string align_signal;      // empty: none. The instants at which it first lies above or below are made one
  std::string align_above, align_below;
  SourcePlace align_place;

  std::vector<LogColumn> columns;
};

const FieldTable& mapping_fields();          // on a LogMapping, without `columns`
const FieldTable& mapping_column_fields();   // on a LogColumn: an item of `columns`

// Throws InputError.
LogMapping read_mapping(const YamlNode& map);
LogMapping read_mapping_file(const std::filesystem::path& file);

}  // namespace sim
