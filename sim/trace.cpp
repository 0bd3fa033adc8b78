#include "sim/trace.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <iterator>
#include <utility>

#include "sim/fixed_decimal.h"
#include "sim/input_error.h"

namespace sim {

int time_decimals(double period_s) {
  int decimals = 0;
  for (double scaled = period_s; decimals < 6 && std::fabs(scaled - std::round(scaled)) > 1e-9 * scaled; scaled *= 10.0) ++decimals;
  return decimals;
}

TraceWriter::TraceWriter(const std::filesystem::path& folder, const SignalTable& table, double period_s)
    : file_(folder, "trace.csv"), row_(static_cast<std::size_t>(table.size())), time_decimals_(time_decimals(period_s)) {
  file_.write("time [s]");
  for (const Signal& signal : table.signals()) {
    file_.write("," + csv_field(signal.name + " [" + signal.unit + "]"));
    decimals_.push_back(signal.decimals);
  }
  file_.write("\r\n");
}

std::span<const double> TraceWriter::add(double time_s, std::span<const double> frame) {
  char* at = file_.room((row_.size() + 1) * (fixed_decimal_bytes + 1) + 2);
  at = write_fixed(at, time_s, time_decimals_);
  for (std::size_t i = 0; i < row_.size(); ++i) {
    *at++ = ',';
    at = write_fixed(at, frame[i], decimals_[i]);
    row_[i] = rounded_fixed(frame[i], decimals_[i]);
  }
  *at++ = '\r';
  *at++ = '\n';
  file_.took(at);
  return row_;
}

EventWriter::EventWriter(const std::filesystem::path& folder, double period_s)
    : file_(folder, "events.csv"), time_decimals_(time_decimals(period_s)) {
  file_.write("time [s],source,kind,text\r\n");
}

void EventWriter::add(const Event& event) {
  char time[fixed_decimal_bytes];
  const char* end = write_fixed(time, event.time_s, time_decimals_);
  file_.write(std::string(time, static_cast<std::size_t>(end - time)) + "," + csv_field(event.source) + "," + csv_field(event.kind) +
              "," + csv_field(event.text) + "\r\n");
}

std::string csv_field(std::string_view text) {
  if (text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string(text);
  std::string field = "\"";
  for (const char c : text) {
    if (c == '"') field += '"';
    field += c;
  }
  return field + "\"";
}

namespace {

// The file, or its first bytes.
std::string text_of(const std::filesystem::path& file, std::uintmax_t bytes) {
  std::ifstream stream(file, std::ios::binary | std::ios::ate);
  if (!stream) throw InputError({file.string(), 0, 0}, "no such file", "a file of a run");
  std::string text(static_cast<std::size_t>(std::min<std::uintmax_t>(static_cast<std::uintmax_t>(stream.tellg()), bytes)), '\0');
  stream.seekg(0);
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  return text;
}

// One record from `at`; moves `at` behind its line end. columns: where each field begins.
std::vector<std::string> record(const std::string& text, std::size_t& at, std::vector<int>* columns = nullptr) {
  std::vector<std::string> fields(1);
  const std::size_t begin = at;
  if (columns) columns->assign(1, 1);
  bool quoted = false;
  for (; at < text.size(); ++at) {
    const char c = text[at];
    if (quoted) {
      if (c != '"') fields.back() += c;
      else if (at + 1 < text.size() && text[at + 1] == '"') fields.back() += text[++at];
      else quoted = false;
    } else if (c == '"') {
      quoted = true;
    } else if (c == ',') {
      fields.emplace_back();
      if (columns) columns->push_back(static_cast<int>(at - begin) + 2);
    } else if (c == '\n') {
      ++at;
      break;
    } else if (c != '\r') {
      fields.back() += c;
    }
  }
  return fields;
}

}  // namespace

void EventWriter::take(const std::filesystem::path& file, std::uint64_t bytes) {
  const std::string text = text_of(file, bytes);
  file_.write(std::string_view(text).substr(static_cast<std::size_t>(std::min<std::uint64_t>(file_.bytes(), text.size()))));
}

CsvTable read_csv(const std::filesystem::path& file, std::uintmax_t bytes) {
  const std::string text = text_of(file, bytes);
  CsvTable table;
  std::size_t at = text.starts_with("\xef\xbb\xbf") ? 3 : 0;      // a byte order mark
  std::size_t counted = at;
  int line = 1;
  table.header = record(text, at);
  while (at < text.size()) {
    for (; counted < at; ++counted) line += text[counted] == '\n' ? 1 : 0;
    table.lines.push_back(line);
    table.rows.push_back(record(text, at, &table.columns.emplace_back()));
    if (table.rows.back().size() != table.header.size()) {
      throw InputError({file.string(), line, 1}, std::to_string(table.rows.back().size()) + " fields", std::to_string(table.header.size()));
    }
  }
  return table;
}

TraceReader::TraceReader(const std::filesystem::path& file, std::uintmax_t bytes) : path_(file), text_(text_of(file, bytes)) {
  const std::vector<std::string> header = record(text_, at_);
  head_bytes_ = at_;
  if (header.front() != "time [s]") throw InputError({path_.string(), 1, 1}, "`" + header.front() + "`", "`time [s]`");
  std::size_t ahead = at_;
  const std::vector<std::string> first = record(text_, ahead);
  for (std::size_t i = 1; i < header.size(); ++i) {
    const std::size_t bracket = header[i].rfind(" [");
    if (bracket == std::string::npos || header[i].back() != ']') {
      throw InputError({path_.string(), 1, 1}, "`" + header[i] + "`", "a signal and its unit in brackets");
    }
    Signal signal;
    signal.name = header[i].substr(0, bracket);
    signal.unit = header[i].substr(bracket + 2, header[i].size() - bracket - 3);
    const std::size_t point = i < first.size() ? first[i].find('.') : std::string::npos;
    signal.decimals = point == std::string::npos ? 0 : static_cast<int>(first[i].size() - point - 1);
    signal.origin = signal.name.starts_with("plant.") ? Signal::Origin::plant
                    : signal.name.starts_with("line.") ? Signal::Origin::line : Signal::Origin::controller;
    signals_.push_back(std::move(signal));
  }
}

bool TraceReader::next(double& time_s, std::span<double> row, double empty) {
  if (at_ >= text_.size()) return false;
  ++line_;
  const char* at = text_.data() + at_;
  const char* const end = text_.data() + text_.size();
  for (std::size_t i = 0; i <= row.size(); ++i) {
    double& value = i == 0 ? time_s : row[i - 1];
    value = empty;
    if (at < end && *at != ',' && *at != '\r') at = std::from_chars(at, end, value).ptr;
    const char expected = i == row.size() ? '\r' : ',';
    if (at >= end || *at != expected) {
      throw InputError({path_.string(), line_, static_cast<int>(at - text_.data() - static_cast<std::ptrdiff_t>(at_)) + 1},
                       "no number or too few fields", std::to_string(row.size() + 1) + " numbers");
    }
    ++at;
  }
  if (at < end && *at == '\n') ++at;
  at_ = static_cast<std::size_t>(at - text_.data());
  return true;
}

}  // namespace sim
