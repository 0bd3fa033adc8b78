#include "sim/log_mapping.h"

#include <algorithm>
#include <utility>

namespace sim {

namespace {

#define SAGGAR_AT(member) [](auto& object) -> auto& { return object.member; }

FieldTable make_fields() {
  using M = LogMapping;
  FieldTable table{"mapping", "How the CSV file of a furnace's logger is to be read, to lay it over a run.", {}};
  std::vector<Field>& fields = table.fields;
  fields.push_back(text_field<M>("title", SAGGAR_AT(title), false, "which logger, in a few words"));
  fields.push_back(choice_field<M>("separator", SAGGAR_AT(separator), {"comma", "semicolon", "tab"}, "comma", "between fields"));
  fields.push_back(choice_field<M>("decimal", SAGGAR_AT(decimal), {"point", "comma"}, "point", "decimal sign"));
  fields.push_back(integer_field<M>("header_line", SAGGAR_AT(header_line), 1, 1000, "1", "line that names the columns"));
  fields.push_back(list_field<M>("missing", SAGGAR_AT(missing), "texts that stand for no value, besides an empty field"));
  fields.push_back(optional<M>(quantity_field<M>("gap", "s", SAGGAR_AT(gap_s), 1e-3, 1e6, "",
                                                 "rows further apart are a gap: nothing is drawn or compared there; "
                                                 "2.5 times the usual distance if not given"),
                               [](const M& m) { return m.gap_s > 0.0; }));
  fields.push_back(text_field<M>("time.column", SAGGAR_AT(time_column), true, "column of the time"));
  fields.push_back(choice_field<M>("time.format", SAGGAR_AT(time_format), {"local", "seconds", "elapsed"}, "local",
                                   "local: date and time of the place; seconds: a number; elapsed: h:mm:ss"));
  fields.push_back(text_field<M>("time.pattern", SAGGAR_AT(time_pattern), false,
                                 "of a local time: YYYY or YY, MM, DD, hh, mm, ss and what stands between; "
                                 "YYYY-MM-DD hh:mm:ss if not given"));
  fields.push_back(quantity_field<M>("time.utc_offset", "s", SAGGAR_AT(utc_offset_s), -50400, 50400, "0 h",
                                     "of standard time at the place, east of Greenwich positive"));
  fields.push_back(choice_field<M>("time.daylight_saving", SAGGAR_AT(daylight_saving), {"none", "europe", "north_america"}, "none",
                                   "when the clock there is set: last Sundays of March and October at 01:00 UTC; second Sunday of March "
                                   "and first of November at 02:00 local"));
  fields.push_back(quantity_field<M>("align.offset", "s", SAGGAR_AT(offset_s), -1e7, 1e7, "0 s", "added to the time of the log"));
  fields.push_back(text_field<M>("align.signal", SAGGAR_AT(align_signal), false,
                                 "signal whose first passage is the same instant in log and run; else the log's first row is 0"));
  fields.push_back(text_field<M>("align.above", SAGGAR_AT(align_above), false, "first time above this, with its unit"));
  fields.push_back(text_field<M>("align.below", SAGGAR_AT(align_below), false, "first time below this, with its unit"));
  return table;
}

FieldTable make_column_fields() {
  FieldTable table{"mapped column", "A column of the log and the signal of the run that it shows.", {}};
  table.fields.push_back(text_field<LogColumn>("column", SAGGAR_AT(column), true, "as the header names it"));
  table.fields.push_back(text_field<LogColumn>("signal", SAGGAR_AT(signal), true, "name of the signal: heat.1.pv"));
  table.fields.push_back(text_field<LogColumn>("unit", SAGGAR_AT(unit), true, "of the column: degF, kPa gauge, %"));
  table.fields.push_back(yes_no_field<LogColumn>("sparse", SAGGAR_AT(sparse), "no", "yes: an empty field is no gap"));
  return table;
}

#undef SAGGAR_AT

void check_align(const YamlNode& map, LogMapping& mapping) {
  const YamlNode* align = map.child("align");
  mapping.align_place = align ? align->place : map.place;
  const bool above = !mapping.align_above.empty(), below = !mapping.align_below.empty();
  if (mapping.align_signal.empty() ? above || below : above == below) {
    throw InputError(mapping.align_place, "`align` without a signal, or with both or none of `above` and `below`",
                     "`signal` and one of `above`, `below`");
  }
}

// The signal of `align` is one of the columns, and what it passes has that column's dimension.
void check_passage(const LogMapping& mapping) {
  if (mapping.align_signal.empty()) return;
  const auto column = std::find_if(mapping.columns.begin(), mapping.columns.end(),
                                   [&](const LogColumn& one) { return one.signal == mapping.align_signal; });
  if (column == mapping.columns.end()) {
    throw InputError(mapping.align_place, "`" + mapping.align_signal + "`, which no column shows", "a signal of `columns`");
  }
  try {
    (void)value_in(mapping.align_above.empty() ? mapping.align_below : mapping.align_above, unit_of(column->unit));
  } catch (const UnitError& error) {
    throw InputError(mapping.align_place, error.found + " for `align`", error.expected, error.nearest);
  }
}

void check_unit(const LogColumn& column) {
  try {
    (void)unit_of(column.unit);
  } catch (const UnitError& error) {
    throw InputError(column.place, error.found + " as the unit of the column `" + column.column + "`", error.expected, error.nearest);
  }
}

}  // namespace

const FieldTable& mapping_fields() {
  static const FieldTable table = make_fields();
  return table;
}

const FieldTable& mapping_column_fields() {
  static const FieldTable table = make_column_fields();
  return table;
}

LogMapping read_mapping(const YamlNode& map) {
  LogMapping mapping;
  read_fields(map, mapping_fields(), &mapping, {"columns"});
  if (mapping.time_pattern.empty()) mapping.time_pattern = "YYYY-MM-DD hh:mm:ss";
  if (mapping.separator == LogMapping::Separator::comma && mapping.decimal == LogMapping::Decimal::comma) {
    throw InputError(map.place, "a comma between fields and within numbers", "`separator: semicolon` or `decimal: point`");
  }
  check_align(map, mapping);
  const YamlNode* list = map.child("columns");
  if (!list || !list->is_list() || list->items.empty()) {
    throw InputError(list ? list->place : map.place, list ? list->found() + " for `columns`" : "no `columns` in the mapping",
                     "`columns`: a list of columns, each with column, signal and unit");
  }
  for (const YamlNode& item : list->items) {
    LogColumn column;
    column.place = item.place;
    read_fields(item, mapping_column_fields(), &column);
    for (const LogColumn& other : mapping.columns) {
      if (other.signal == column.signal) throw InputError(item.place, "`" + column.signal + "` twice", "each signal once");
    }
    check_unit(column);
    mapping.columns.push_back(std::move(column));
  }
  check_passage(mapping);
  return mapping;
}

LogMapping read_mapping_file(const std::filesystem::path& file) { return read_mapping(read_yaml(file)); }

}  // namespace sim
