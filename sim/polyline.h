// A signal over time as a line: straight between its points, or, for a code, each value held until the next point. And what
// comparing needs of it: thinning with a bounded error, and the least and greatest value around an instant.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <vector>

namespace sim {

struct Polyline {
  std::vector<double> times_s;   // rising; two points may share an instant: a step
  std::vector<double> values;    // NaN: a gap, nothing is drawn to or from there
  bool hold = false;

  std::size_t size() const { return times_s.size(); }
  bool empty() const { return times_s.empty(); }
  void add(double time_s, double value) {
    times_s.push_back(time_s);
    values.push_back(value);
  }
  double at(double time_s) const;     // before the first and after the last point, and in a gap: NaN
};

// Fewer points of the same line: at every point of `line` the result lies within allowed(value) of it (held lines: exact).
// Every kept point is one of `line`, and the first and last are kept. Gaps stay gaps.
Polyline thinned(const Polyline& line, const std::function<double(double value)>& allowed);

// With what its turns may have been between rows. Where a line turns, at a row or between two, and goes by more than
// allowed(value) from row to row before and after, its rows did not follow it: it may have gone on before it turned, by as much as the
// smaller of those two steps. There it goes so far and back, at the instant of the row.
Polyline with_unseen_turns(const Polyline& line, const std::function<double(double value)>& allowed);

// The least and the greatest value of a line within +-reach_s of instants that never go back. A window without any value: NaN.
class BoxWindow {
 public:
  BoxWindow(const Polyline& line, double reach_s) : line_(line), reach_s_(reach_s) {}
  struct Box {
    double low, high;
  };
  Box at(double time_s);

 private:
  double value_at(double time_s, std::size_t& cursor) const;

  const Polyline& line_;
  double reach_s_;
  std::size_t next_ = 0, left_ = 0, right_ = 0;       // next point to enter; cursors of the window's ends
  std::vector<std::size_t> low_, high_;               // points in the window, values rising / falling
  std::size_t low_at_ = 0, high_at_ = 0;              // first of them still in it
};

// The same of a held line whose values are bits: those that are set at some time, and those that are set all the time. `any`: there is a
// value at all.
class BitWindow {
 public:
  BitWindow(const Polyline& line, double reach_s) : line_(line), reach_s_(reach_s) {}
  struct Bits {
    std::uint64_t some = 0, all = ~std::uint64_t{0};
    bool any = false;
  };
  Bits at(double time_s);

 private:
  const Polyline& line_;
  double reach_s_;
  std::size_t first_ = 0;                             // the point that holds where the window begins
};

}  // namespace sim
