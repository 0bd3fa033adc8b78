// A run held against a baseline: which signals leave their tubes, first and worst, which expectations, events and totals moved.
//
// The tube of a signal at an instant is the box between the least and the greatest value that the baseline takes within +-shift,
// widened by the tube's half width (tolerance.h), and, for a baseline file, by what its thinning may be off. It holds both
// ways: the run must lie in the baseline's tube and the baseline in the run's, so that a spike that vanished is found too.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "sim/baseline.h"
#include "sim/display_units.h"
#include "sim/tolerance.h"

namespace sim {

struct Deviation {
  double time_s = 0.0;
  double run = 0.0, baseline = 0.0;    // NaN: no value
  double depth = 0.0;                  // multiple of the half width: above 1 is outside; 2: another code; infinite: one has no value
};

struct SignalComparison {
  enum class State { same, differs, only_in_run, only_in_baseline, ignored };
  Signal signal;
  Tube tube;
  State state = State::same;
  Deviation first, worst;              // first: of those outside; worst: also inside. Meaningless unless compared
  std::uint64_t points = 0;            // compared
  double covered_s = 0.0;              // time between compared points: less than the run where the baseline has gaps
  double mean = 0.0, rms = 0.0, greatest = 0.0;   // of run - baseline at the same instant, weighted by time
  std::vector<Stretch> outside;        // at most outside_max, name empty
  static constexpr std::size_t outside_max = 500;
};

struct ExpectationMove {
  std::string name;
  std::string unit;
  std::optional<ExpectationResult> before, now;   // empty: only on the other side
  bool flipped = false;
  bool beyond = false;                 // the margin moved further than the tolerance, or the expectation vanished
};

struct EventMove {
  enum class Way { appeared, vanished, moved };
  Way way = Way::moved;
  Event event;                         // time now; of a vanished one, the baseline's
  double before_s = 0.0;
};

struct TotalMove {
  Total before, now;
  bool beyond = false;
};

struct Comparison {
  std::string run, baseline;           // sources
  std::vector<SignalComparison> signals;          // in the order of the run's table, then those only in the baseline
  std::vector<std::size_t> deviating;  // indices of those that differ: earliest first, see `comes_first`
  std::optional<std::size_t> worst;    // index of the one deepest outside
  std::vector<ExpectationMove> expectations;      // those that changed at all
  std::vector<EventMove> events;
  std::vector<TotalMove> totals;       // those that changed at all
  double run_end_s = 0.0, baseline_end_s = 0.0;
  bool length_differs = false;
  std::string verdict_run, verdict_baseline;
  std::uint64_t controller_hash[2] = {0, 0}, trace_hash[2] = {0, 0};   // run, baseline; they decide nothing
  bool differs = false;
  DisplayUnits display;                // what people see of it; nothing is compared in these units
};

// recorded: the baseline comes from a logger: it is compared at its own rows, what it lacks or has gaps in is not, nor are lengths.
Comparison compare_runs(const Baseline& run, const Baseline& baseline, const Tolerance& tolerance, bool recorded = false);

// Which of two deviating signals is named first: the one that leaves its tube earlier; at the same instant the deeper one; where
// they are as deep (within a tenth), what the controller shows comes before what only the plant knows, then the table's order.
std::vector<std::size_t> order_of_deviations(const std::vector<SignalComparison>& signals);

std::string comparison_text(const Comparison& comparison);
std::string comparison_json(const Comparison& comparison);

}  // namespace sim
