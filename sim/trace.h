// trace.csv and events.csv: a row of every signal at fixed intervals and at every event.
#pragma once

#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "sim/bench.h"
#include "sim/result_file.h"
#include "sim/signals.h"

namespace sim {

// Decimals that instants need where a tick lasts period_s: 1 for 0.1 s; at most 6.
int time_decimals(double period_s);

class TraceWriter {
 public:
  TraceWriter(const std::filesystem::path& folder, const SignalTable& table, double period_s);

  // Writes a row and returns its values as they read back, in table order.
  std::span<const double> add(double time_s, std::span<const double> frame);
  ResultFile& file() { return file_; }

 private:
  ResultFile file_;
  std::vector<int> decimals_;
  std::vector<double> row_;
  int time_decimals_;
};

class EventWriter {
 public:
  EventWriter(const std::filesystem::path& folder, double period_s);
  void add(const Event& event);
  void take(const std::filesystem::path& file, std::uint64_t bytes);   // what stands there below the first line
  ResultFile& file() { return file_; }

 private:
  ResultFile file_;
  int time_decimals_;
};

// RFC 4180: in quotes where it holds a comma, a quote or a line end.
std::string csv_field(std::string_view text);

// A table as read. Throws InputError with the line.
struct CsvTable {
  std::vector<std::string> header;
  std::vector<std::vector<std::string>> rows;
  std::vector<int> lines;                    // of each row, 1-based
  std::vector<std::vector<int>> columns;     // where each field begins in its row, 1-based, in bytes
};
CsvTable read_csv(const std::filesystem::path& file, std::uintmax_t bytes = UINTMAX_MAX);   // of its first bytes

// A trace as read back, row by row without keeping it: `heat.1.pv [degC]` gives name and unit, the first row the decimals.
class TraceReader {
 public:
  explicit TraceReader(const std::filesystem::path& file, std::uintmax_t bytes = UINTMAX_MAX);   // of its first bytes
  const std::vector<Signal>& signals() const { return signals_; }
  // false at the end. row: in the order of signals(); an empty field (nothing finite was there) reads as `empty`.
  bool next(double& time_s, std::span<double> row, double empty = 0.0);
  std::string_view head() const { return std::string_view(text_).substr(0, head_bytes_); }   // its first line
  std::string_view rows() const { return std::string_view(text_).substr(head_bytes_); }

 private:
  std::filesystem::path path_;
  std::string text_;
  std::size_t at_ = 0, head_bytes_ = 0;
  int line_ = 1;
  std::vector<Signal> signals_;
};

}  // namespace sim
