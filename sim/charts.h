// What the report's charts draw: the rows of the trace, thinned to a few thousand points by the least and the greatest of each
// interval, so that no peak is lost. Memory is bounded: when the intervals are used up, they double in width.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "sim/display_units.h"
#include "sim/signals.h"

namespace sim {

inline constexpr int chart_intervals_max = 2000;

// One signal in one chart.
struct ChartLine {
  std::string signal;
  std::string label;             // as the legend says it
  enum class Role : std::uint8_t { process_value, set_point, truth, other } role;
};

struct Chart {
  std::string key;               // for the page's elements: "temperatures"
  std::string title;
  std::string axis;              // with its unit
  bool logarithmic = false;
  double low = 0.0, high = 0.0;  // of a logarithmic axis: what is shown lies between; equal: as the data say
  std::vector<ChartLine> lines;
};

// The chart with its axis in the unit in which its lines, recorded in `quantity`, are seen.
Chart shown_chart(Chart chart, const ShownUnit& seen, std::string_view quantity);
// For the page's script, at the end of a line's object: how to come back to the recorded value. Empty where it is the one drawn.
std::string recorded_json(const ShownUnit& seen, std::string_view quantity, int decimals);

// The charts of a report, those of their lines that the table has.
std::vector<Chart> charts_of(const SignalTable& table);

class ChartData {
 public:
  ChartData() = default;
  // every_s: width of the first intervals.
  ChartData(const SignalTable& table, double every_s);

  // A row of the trace: all signals in table order, rounded as the trace prints them.
  void add(double time_s, std::span<const double> row);

  struct Cell {
    double low, high, last;
    bool low_first;              // the least came before the greatest
  };

  const std::vector<Chart>& charts() const { return charts_; }
  const std::vector<Signal>& signals() const { return signals_; }   // those in a chart, one column each
  int column(const std::string& signal) const;                      // -1: in no chart
  double width_s() const { return width_s_; }
  double end_s() const { return end_s_; }
  std::size_t intervals() const { return index_.size(); }
  std::uint32_t index(std::size_t interval) const { return index_[interval]; }
  const Cell& cell(std::size_t interval, std::size_t column) const { return cells_[interval * signals_.size() + column]; }

 private:
  void widen();

  std::vector<Chart> charts_;
  std::vector<Signal> signals_;
  std::vector<std::uint16_t> slots_;      // of each column in a row
  double width_s_ = 1.0, end_s_ = 0.0;
  std::vector<std::uint32_t> index_;
  std::vector<Cell> cells_;
};

}  // namespace sim
