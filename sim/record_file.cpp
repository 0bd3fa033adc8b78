#include "sim/record_file.h"

#include <cmath>

#include <fmt/format.h>

#include "sim/trace.h"
#include "sim/units.h"

namespace sim {

namespace {

struct Column {
  std::size_t at = 0;
  std::string name, unit;  // "heat.1.pv [degC]"
};

Column column_at(const CsvTable& table, std::size_t at) {
  const std::string& head = table.header[at];
  const std::size_t open = head.find(" [");
  if (open == std::string::npos || head.back() != ']') return {at, head, "1"};
  return {at, head.substr(0, open), head.substr(open + 2, head.size() - open - 3)};
}

Column column_of(const CsvTable& table, const std::filesystem::path& file, const std::string& wanted) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < table.header.size(); ++i) {
    const Column column = column_at(table, i);
    if (wanted == column.name || wanted == table.header[i]) return column;
    names.push_back(column.name);
  }
  throw InputError({file.string(), 1, 1}, "no column `" + wanted + "`", "one of " + listed(names), nearest_name(wanted, names));
}

double number_in(const CsvTable& table, const std::filesystem::path& file, std::size_t row, const Column& column, bool may_be_empty) {
  const SourcePlace place{file.string(), table.lines[row], column.at < table.columns[row].size() ? table.columns[row][column.at] : 1};
  if (column.at >= table.rows[row].size())
    throw InputError(place, "a row without `" + column.name + "`", "as many fields as the header has");
  const std::string& text = table.rows[row][column.at];
  if (text.empty() && may_be_empty) return std::numeric_limits<double>::quiet_NaN();
  const std::optional<double> value = number_of(text);
  if (!value) throw InputError(place, "`" + text + "` for `" + column.name + "`", "a number");
  return *value;
}

double seconds_per(const Column& time, const std::filesystem::path& file) {
  if (time.unit == "1") return 1.0;
  try {
    const Unit unit = unit_of(time.unit);
    if (unit.dimension == unit_of("s").dimension) return unit.factor;
  } catch (const UnitError&) {
  }
  throw InputError({file.string(), 1, 1}, "`" + time.unit + "` as the unit of the time `" + time.name + "`", "a unit of time, such as s");
}

std::string estimate(const Estimate& one, const std::string& unit) {
  return fmt::format("{:.4g} {} ({:.4g} to {:.4g})", one.value, unit, one.low, one.high);
}

}  // namespace

FileRecord read_record(const std::filesystem::path& file, const RecordColumns& columns) {
  const CsvTable table = read_csv(file);
  const Column time = columns.time.empty() ? column_at(table, 0) : column_of(table, file, columns.time);
  const Column input = column_of(table, file, columns.input), output = column_of(table, file, columns.output);
  const double scale = seconds_per(time, file);
  FileRecord record{file.string(), input.name, output.name, input.unit, output.unit, {}};
  for (std::size_t row = 0; row < table.rows.size(); ++row) {
    const double time_s = scale * number_in(table, file, row, time, false);
    if (time_s < columns.from_s || time_s > columns.to_s) continue;
    if (!record.record.times_s.empty() && time_s <= record.record.times_s.back()) {
      throw InputError({file.string(), table.lines[row], table.columns[row][time.at]},
                       "`" + table.rows[row][time.at] + "`, not after the row before", "times that rise");
    }
    record.record.times_s.push_back(time_s);
    record.record.input.push_back(number_in(table, file, row, input, !record.record.input.empty()));
    record.record.output.push_back(number_in(table, file, row, output, true));
  }
  if (record.record.times_s.size() < 2)
    throw InputError({file.string(), 0, 0}, "fewer than two rows within the times asked for", "a record of a test");
  return record;
}

std::string identification_text(const FileRecord& file, const Identification& found) {
  std::string text = fmt::format("{}: {} [{}] moved by {} [{}], {} readings over {:.6g} s\n", file.source, file.output, file.output_unit,
                                 file.input, file.input_unit, found.quality.readings, found.quality.duration_s);
  if (!found.models.empty()) {
    const IdentifiedModel& model = found.model();
    text += fmt::format("{}: G(s) = {}\n95 % intervals in brackets:\n", name(model.structure), formula(model.process));
    const std::string gain_unit = file.output_unit + " per " + file.input_unit + (model.process.integrators > 0 ? " and s" : "");
    text += fmt::format("  gain       {}\n  dead time  {}\n", estimate(model.gain, gain_unit), estimate(model.delay_s, "s"));
    for (const Estimate& lag : model.lags_s) text += fmt::format("  lag        {}\n", estimate(lag, "s"));
    if (model.pair.size() == 2)
      text += fmt::format("  pair       {}, damping {}\n", estimate(model.pair[0], "s"), estimate(model.pair[1], ""));
    for (const Estimate& zero : model.zero_s) text += fmt::format("  zero       {}\n", estimate(zero, "s"));
    text += fmt::format("fit {:.2f} %", model.fit_percent);
    if (std::isfinite(model.held_out_percent))
      text += fmt::format(", {:.2f} % on the last third from a fit to the rest", model.held_out_percent);
    text += fmt::format("; residual {:.3g} rms, {}, {}\n", model.rms, model.whiteness.white() ? "white" : "coloured",
                        model.input_test.independent() ? "independent of the input" : "not independent of the input");
  }
  for (const Verdict& verdict : found.verdicts) text += verdict.finding + " " + verdict.test + "\n";
  return text;
}

ProcessFile process_file_of(const FileRecord& file, const IdentifiedModel& model, const Sampling& sampling) {
  ProcessFile process;
  process.title = file.output + " by " + file.input;
  process.source = "identified from " + file.source;
  process.process = model.process;
  process.sampling = sampling;
  process.input_unit = file.input_unit;
  process.output_unit = file.output_unit == "degC" ? "K" : file.output_unit;
  return process;
}

}  // namespace sim
