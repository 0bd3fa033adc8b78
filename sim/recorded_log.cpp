#include "sim/recorded_log.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <limits>
#include <utility>

#include <fmt/format.h>

#include "sim/input_error.h"
#include "sim/local_time.h"

namespace sim {

namespace {

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
constexpr double gap_rows = 2.5;         // rows this many times further apart than usual are a gap
constexpr std::size_t notes_max = 20;

struct Cell {
  std::string text;
  int column = 1;                        // 1-based, in bytes
};

// Splits a line; quotes as RFC 4180 has them, within one line.
std::vector<Cell> cells_of(std::string_view line, char separator) {
  std::vector<Cell> cells(1);
  bool quoted = false;
  for (std::size_t i = 0; i < line.size(); ++i) {
    const char c = line[i];
    if (quoted && c == '"' && i + 1 < line.size() && line[i + 1] == '"') cells.back().text += line[++i];
    else if (c == '"') quoted = !quoted;
    else if (c == separator && !quoted) cells.push_back({"", static_cast<int>(i) + 2});
    else cells.back().text += c;
  }
  for (Cell& cell : cells) {
    const std::size_t from = cell.text.find_first_not_of(' '), to = cell.text.find_last_not_of(' ');
    cell.text = from == std::string::npos ? "" : cell.text.substr(from, to - from + 1);
  }
  return cells;
}

struct Target {
  std::size_t cell;                      // in a row
  const LogColumn* column;
  Unit from, to;
  RecordedSignal signal;
};

class LogReader {
 public:
  LogReader(const std::filesystem::path& file, const LogMapping& mapping, const Baseline& run)
      : file_(file), mapping_(mapping), run_(run), clock_(mapping.utc_offset_s, mapping.daylight_saving) {}

  RecordedLog read() {
    read_lines();
    read_header();
    for (std::size_t i = static_cast<std::size_t>(mapping_.header_line); i < lines_.size(); ++i) {
      if (!lines_[i].empty()) read_row(lines_[i], static_cast<int>(i) + 1);
    }
    if (times_.size() < 2) throw InputError({file_.string(), static_cast<int>(lines_.size()), 1}, "fewer than two rows", "a log");
    shut_gaps();
    align();
    log_.rows = times_.size();
    log_.recorded.source = file_.string();
    for (Target& target : targets_) log_.recorded.signals.push_back(std::move(target.signal));
    return std::move(log_);
  }

 private:
  [[noreturn]] void refuse(int line, const Cell& cell, const std::string& expected, const std::string& nearest = "") const {
    throw InputError({file_.string(), line, cell.column}, "`" + cell.text + "`", expected, nearest);
  }

  void read_lines() {
    std::ifstream stream(file_, std::ios::binary);
    if (!stream) throw InputError({file_.string(), 0, 0}, "no such file", "the CSV file of a logger");
    const std::string text{std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
    for (std::size_t at = text.starts_with("\xef\xbb\xbf") ? 3 : 0; at < text.size();) {
      const std::size_t end = std::min(text.find('\n', at), text.size());
      lines_.push_back(text.substr(at, end - at));
      if (lines_.back().ends_with('\r')) lines_.back().pop_back();
      at = end + 1;
    }
    if (lines_.size() < static_cast<std::size_t>(mapping_.header_line)) {
      throw InputError({file_.string(), 0, 0}, fmt::format("{} lines", lines_.size()),
                       fmt::format("the names of the columns in line {}", mapping_.header_line));
    }
  }

  char separator() const {
    constexpr char signs[] = {',', ';', '\t'};
    return signs[static_cast<int>(mapping_.separator)];
  }

  void read_header() {
    header_ = cells_of(lines_[static_cast<std::size_t>(mapping_.header_line) - 1], separator());
    std::vector<std::string> names;
    for (const Cell& cell : header_) names.push_back(cell.text);
    const auto find = [&](const std::string& name, const SourcePlace& place) {
      const auto found = std::find(names.begin(), names.end(), name);
      if (found == names.end()) {
        throw InputError(place, fmt::format("the column `{}`, which {} does not have", name, file_.string()), "one of " + listed(names),
                         nearest_name(name, names));
      }
      return static_cast<std::size_t>(found - names.begin());
    };
    time_cell_ = find(mapping_.time_column, {file_.string(), mapping_.header_line, 1});
    std::vector<bool> used(names.size(), false);
    used[time_cell_] = true;
    for (const LogColumn& column : mapping_.columns) {
      targets_.push_back(target_of(column, find(column.column, column.place)));
      used[targets_.back().cell] = true;
    }
    for (std::size_t i = 0; i < names.size(); ++i) {
      if (!used[i] && !names[i].empty()) log_.ignored.push_back(names[i]);
    }
  }

  Target target_of(const LogColumn& column, std::size_t cell) const {
    const RecordedSignal* known = run_.find(column.signal);
    if (!known) {
      std::vector<std::string> names;
      for (const RecordedSignal& one : run_.signals) names.push_back(one.signal.name);
      throw InputError(column.place, "the signal `" + column.signal + "`, which the run does not have", "a signal of its trace",
                       nearest_name(column.signal, names));
    }
    try {
      const Unit to = unit_of(known->signal.quantity);
      (void)value_in("1 " + column.unit, to);
      Target target{cell, &column, unit_of(column.unit), to, {known->signal, {}, 0.0, 0.0}};
      target.signal.line.hold = known->line.hold;
      return target;
    } catch (const UnitError& error) {
      throw InputError(column.place, error.found + " as the unit of " + column.signal, error.expected, error.nearest);
    }
  }

  bool is_missing(const std::string& text) const {
    return text.empty() || std::find(mapping_.missing.begin(), mapping_.missing.end(), text) != mapping_.missing.end();
  }

  double number(const Cell& cell, int line) const {
    std::string text = cell.text;
    if (mapping_.decimal == LogMapping::Decimal::comma) {
      if (text.find('.') != std::string::npos) refuse(line, cell, "a number with a decimal comma and no other sign between digits");
      std::replace(text.begin(), text.end(), ',', '.');
    }
    if (text.starts_with('+')) text.erase(0, 1);
    const std::optional<double> value = number_of(text);
    if (!value) {
      refuse(line, cell, std::string("a number with a decimal ") + (mapping_.decimal == LogMapping::Decimal::comma ? "comma" : "point"));
    }
    return *value;
  }

  double time_of(const Cell& cell, int line) {
    if (mapping_.time_format == LogMapping::TimeFormat::seconds) return number(cell, line);
    if (mapping_.time_format == LogMapping::TimeFormat::elapsed) {
      const std::optional<double> elapsed = elapsed_of(cell.text);
      if (!elapsed) refuse(line, cell, "an elapsed time, h:mm:ss");
      return *elapsed;
    }
    const std::optional<double> stamp = stamp_of(cell.text, mapping_.time_pattern);
    if (!stamp) refuse(line, cell, "a date and time as " + mapping_.time_pattern);
    const bool saving = clock_.saving();
    const std::optional<double> utc = clock_.utc(*stamp);
    if (!utc) refuse(line, cell, "a time that the clock showed: this hour is left out when daylight saving begins");
    if (!times_.empty() && clock_.saving() != saving) {
      note(fmt::format("line {}: daylight saving {}, the clock was set {} by one hour before {}", line, clock_.saving() ? "begins" : "ends",
                       clock_.saving() ? "on" : "back", cell.text));
    }
    return *utc;
  }

  void note(std::string text) {
    if (log_.notes.size() < notes_max) log_.notes.push_back(std::move(text));
    else if (log_.notes.size() == notes_max) log_.notes.push_back("... and more");
  }

  void read_row(const std::string& text, int line) {
    const std::vector<Cell> cells = cells_of(text, separator());
    if (cells.size() != header_.size()) {
      throw InputError({file_.string(), line, 1}, fmt::format("{} fields", cells.size()),
                       fmt::format("{}, as the header has", header_.size()));
    }
    const double time_s = time_of(cells[time_cell_], line);
    if (!times_.empty() && time_s <= times_.back()) {
      refuse(line, cells[time_cell_], fmt::format("a time after that of the row before ({:+.3f} s); where the clock is set for daylight "
                                                  "saving, `time.daylight_saving` says by which rule", time_s - times_.back()));
    }
    times_.push_back(time_s);
    for (Target& target : targets_) {
      const Cell& cell = cells[target.cell];
      if (!is_missing(cell.text)) target.signal.line.add(time_s, target.to.from_si(target.from.to_si(number(cell, line))));
      else if (!target.column->sparse) target.signal.line.add(time_s, nothing);
    }
  }

  // Between rows too far apart no line is drawn: a point without value is put there.
  void shut_gaps() {
    std::vector<double> distances;
    for (std::size_t i = 1; i < times_.size(); ++i) distances.push_back(times_[i] - times_[i - 1]);
    std::nth_element(distances.begin(), distances.begin() + static_cast<std::ptrdiff_t>(distances.size() / 2), distances.end());
    const double gap_s = mapping_.gap_s > 0.0 ? mapping_.gap_s : gap_rows * distances[distances.size() / 2];
    for (std::size_t i = 1; i < times_.size(); ++i) {
      if (times_[i] - times_[i - 1] > gap_s) {
        note(fmt::format("no rows for {:.1f} s, from {:.1f} s after the first", times_[i] - times_[i - 1], times_[i - 1] - times_[0]));
      }
    }
    for (Target& target : targets_) {
      Polyline &line = target.signal.line, with;
      with.hold = line.hold;
      for (std::size_t i = 0; i < line.size(); ++i) {
        const bool apart = i > 0 && !target.column->sparse && line.times_s[i] - line.times_s[i - 1] > gap_s;
        if (apart && !std::isnan(line.values[i]) && !std::isnan(line.values[i - 1])) {
          with.add(line.times_s[i - 1] + 1e-3 * (line.times_s[i] - line.times_s[i - 1]), nothing);
        }
        with.add(line.times_s[i], line.values[i]);
      }
      line = std::move(with);
      if (line.empty()) line.add(times_.front(), nothing);
    }
  }

  // First instant at which the line lies beyond the limit, straight between its points. Throws when it never does.
  double passage(const Polyline& line, double limit, bool above, const char* whose) const {
    for (std::size_t i = 0; i < line.size(); ++i) {
      const double value = line.values[i], before = i > 0 ? line.values[i - 1] : nothing;
      if (above ? !(value > limit) : !(value < limit)) continue;
      if (std::isnan(before) || line.hold) return line.times_s[i];
      return line.times_s[i] - (line.times_s[i] - line.times_s[i - 1]) * (value - limit) / (value - before);
    }
    throw InputError(mapping_.align_place, fmt::format("{} of the {}, which never lies {} {}", mapping_.align_signal, whose,
                                                       above ? "above" : "below", above ? mapping_.align_above : mapping_.align_below),
                     "a passage that log and run both have");
  }

  void align() {
    double shift_s = -times_.front();
    if (!mapping_.align_signal.empty()) {
      const auto target = std::find_if(targets_.begin(), targets_.end(),
                                       [&](const Target& one) { return one.column->signal == mapping_.align_signal; });
      const bool above = !mapping_.align_above.empty();
      const double limit = value_in(above ? mapping_.align_above : mapping_.align_below, target->to);   // checked with the mapping
      shift_s = passage(run_.find(mapping_.align_signal)->line, limit, above, "run") - passage(target->signal.line, limit, above, "log");
    }
    shift_s += mapping_.offset_s;
    for (Target& target : targets_) {
      for (double& time_s : target.signal.line.times_s) time_s += shift_s;
    }
    log_.shift_s = times_.front() + shift_s;
    log_.recorded.end_s = times_.back() + shift_s;
    note(fmt::format("the log's first row stands at {:.1f} s of the run, its last at {:.1f} s", log_.shift_s, log_.recorded.end_s));
  }

  std::filesystem::path file_;
  const LogMapping& mapping_;
  const Baseline& run_;
  LocalClock clock_;
  std::vector<std::string> lines_;
  std::vector<Cell> header_;
  std::size_t time_cell_ = 0;
  std::vector<Target> targets_;
  std::vector<double> times_;
  RecordedLog log_;
};

}  // namespace

RecordedLog read_log(const std::filesystem::path& file, const LogMapping& mapping, const Baseline& run) {
  return LogReader(file, mapping, run).read();
}

std::string recorded_text(const Comparison& comparison, const RecordedLog& log) {
  std::string text = fmt::format("log of {} rows\n", log.rows);
  for (const std::string& one : log.notes) text += "  " + one + "\n";
  std::string ignored;
  for (const std::string& column : log.ignored) ignored += (ignored.empty() ? "" : ", ") + column;
  if (!ignored.empty()) text += "  columns not used: " + ignored + "\n";
  text += fmt::format("  {:<28} {:>12} {:>12} {:>12} {:>14}\n", "run less recorded", "mean", "rms", "greatest", "compared for");
  for (const SignalComparison& one : comparison.signals) {
    if (one.points == 0) continue;
    const ShownUnit seen = shown_difference_unit(one.signal.quantity, comparison.display);
    const int more = (seen.same ? one.signal.decimals : seen.decimals(one.signal.decimals)) + 1;
    const std::string unit = seen.same ? one.signal.unit : seen.text;
    text += fmt::format("  {:<28} {:>12.{}f} {:>12.{}f} {:>12.{}f} {:>12.1f} s\n", one.signal.name + " [" + unit + "]",
                        seen.number(one.mean), more, seen.number(one.rms), more, seen.number(one.greatest), more, one.covered_s);
  }
  return text;
}

}  // namespace sim
