// A run and what it is held against in the same charts: one HTML file that needs nothing else. What stands in the way of each
// other is marked, and gaps of a recorded log stay gaps.
#pragma once

#include <string>
#include <vector>

#include "sim/baseline.h"
#include "sim/comparison.h"
#include "sim/recorded_log.h"

namespace sim {

inline constexpr std::size_t overlay_charts_max = 12;     // of signals that deviate; the table names all

// Run and baseline, a chart for each signal that deviates, with its tube.
std::string comparison_page(const Comparison& comparison, const Baseline& run, const Baseline& baseline);

// A recorded log over a run, in the run's charts; signals in none of them get one of their own.
std::string recorded_title(const Baseline& run);
std::string recorded_page(const Comparison& comparison, const Baseline& run, const RecordedLog& log, const std::string& title);

// Any lines over one another, a chart for each signal, below what `top` says as HTML.
struct DrawnSignal {
  struct Line {
    std::string label;
    Polyline line;
  };
  Signal signal;
  bool logarithmic = false;
  std::vector<Line> lines;
};
std::string drawn_page(const std::string& title, const std::string& top, const std::vector<DrawnSignal>& signals);

}  // namespace sim
