#include "sim/polyline.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace sim {

namespace {

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();

// The value at time_s, where point `after` is the first later than it.
double between(const Polyline& line, std::size_t after, double time_s) {
  if (after == 0) return nothing;
  const double from_s = line.times_s[after - 1], from = line.values[after - 1];
  if (after == line.size()) return time_s > from_s ? nothing : from;
  if (line.hold || time_s <= from_s) return from;
  const double to_s = line.times_s[after], to = line.values[after];
  return from + (to - from) * ((time_s - from_s) / (to_s - from_s));
}

}  // namespace

double Polyline::at(double time_s) const {
  const auto after = std::upper_bound(times_s.begin(), times_s.end(), time_s);
  return between(*this, static_cast<std::size_t>(after - times_s.begin()), time_s);
}

Polyline thinned(const Polyline& line, const std::function<double(double value)>& allowed) {
  Polyline kept;
  kept.hold = line.hold;
  const std::size_t count = line.size();
  if (count == 0) return kept;
  const auto keep = [&](std::size_t i) { kept.add(line.times_s[i], line.values[i]); };
  keep(0);
  if (line.hold) {
    for (std::size_t i = 1; i < count; ++i) {
      const bool same = line.values[i] == line.values[i - 1] || (std::isnan(line.values[i]) && std::isnan(line.values[i - 1]));
      if (!same || i + 1 == count) keep(i);
    }
    return kept;
  }
  // From the last point kept, the slopes that pass every later point within what is allowed; when none is left, the point
  // before is kept, whose own slope was still among them.
  std::size_t from = 0;
  double low = -std::numeric_limits<double>::infinity(), high = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < count; ++i) {
    const auto restart = [&](std::size_t at) {
      from = at;
      low = -std::numeric_limits<double>::infinity();
      high = -low;
    };
    if (std::isnan(line.values[i]) || std::isnan(line.values[from])) {   // a gap begins or ends: both its sides are kept
      if (from != i - 1) keep(i - 1);
      keep(i);
      restart(i);
      continue;
    }
    const auto slope = [&](double value) { return (value - line.values[from]) / (line.times_s[i] - line.times_s[from]); };
    const double own = slope(line.values[i]);
    if (!(own >= low && own <= high) || line.times_s[i] <= line.times_s[from]) {
      if (from != i - 1) {
        keep(i - 1);
        restart(i - 1);
        --i;                                                            // look at this point again, from the one just kept
        continue;
      }
      keep(i);                                                          // a step: two points at one instant
      restart(i);
      continue;
    }
    const double slack = allowed(line.values[i]);
    low = std::max(low, slope(line.values[i] - slack));
    high = std::min(high, slope(line.values[i] + slack));
  }
  if (from != count - 1) keep(count - 1);
  return kept;
}

namespace {

// How far a line may have gone on beyond row i before it turned, at the row or before the next one: the smaller of the steps on either
// side of the turn, with its sign; 0 where it does not turn. NaN beside a gap.
double unseen_reach(const Polyline& line, std::size_t i) {
  const std::vector<double>& v = line.values;
  if (i == 0 || i + 1 >= v.size()) return 0.0;
  const double before = v[i] - v[i - 1], after = v[i + 1] - v[i];
  const double beyond = i + 2 < v.size() ? v[i + 2] - v[i + 1] : 0.0;
  double step = before * after < 0.0 ? std::min(std::fabs(before), std::fabs(after)) : 0.0;
  if (before * beyond < 0.0) step = std::max(step, std::min(std::fabs(before), std::fabs(beyond)));
  return std::copysign(step, before);
}

}  // namespace

Polyline with_unseen_turns(const Polyline& line, const std::function<double(double value)>& allowed) {
  if (line.hold) return line;
  Polyline with;
  with.hold = line.hold;
  for (std::size_t i = 0; i < line.size(); ++i) {
    with.add(line.times_s[i], line.values[i]);
    if (const double reach = unseen_reach(line, i); std::fabs(reach) > allowed(line.values[i])) {
      with.add(line.times_s[i], line.values[i] + reach);
      with.add(line.times_s[i], line.values[i]);
    }
  }
  return with;
}

BitWindow::Bits BitWindow::at(double time_s) {
  const double from_s = time_s - reach_s_, to_s = time_s + reach_s_;
  while (first_ + 1 < line_.size() && line_.times_s[first_ + 1] <= from_s) ++first_;
  Bits bits;
  for (std::size_t i = first_; i < line_.size() && line_.times_s[i] <= to_s; ++i) {
    if (std::isnan(line_.values[i])) continue;
    const auto value = static_cast<std::uint64_t>(line_.values[i]);
    bits.some |= value;
    bits.all &= value;
    bits.any = true;
  }
  return bits;
}

double BoxWindow::value_at(double time_s, std::size_t& cursor) const {
  while (cursor < line_.size() && line_.times_s[cursor] <= time_s) ++cursor;
  return between(line_, cursor, time_s);
}

BoxWindow::Box BoxWindow::at(double time_s) {
  const double from_s = time_s - reach_s_, to_s = time_s + reach_s_;
  for (; next_ < line_.size() && line_.times_s[next_] <= to_s; ++next_) {
    const double value = line_.values[next_];
    if (std::isnan(value)) continue;
    while (low_.size() > low_at_ && line_.values[low_.back()] >= value) low_.pop_back();
    while (high_.size() > high_at_ && line_.values[high_.back()] <= value) high_.pop_back();
    low_.push_back(next_);
    high_.push_back(next_);
  }
  while (low_at_ < low_.size() && line_.times_s[low_[low_at_]] < from_s) ++low_at_;
  while (high_at_ < high_.size() && line_.times_s[high_[high_at_]] < from_s) ++high_at_;
  Box box{nothing, nothing};
  const auto take = [&](double value) {
    box.low = std::fmin(box.low, value);       // of a number and NaN, the number
    box.high = std::fmax(box.high, value);
  };
  if (low_at_ < low_.size()) take(line_.values[low_[low_at_]]);
  if (high_at_ < high_.size()) take(line_.values[high_[high_at_]]);
  take(value_at(from_s, left_));
  take(value_at(to_s, right_));
  return box;
}

}  // namespace sim
