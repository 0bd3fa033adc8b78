// Judges one expectation straight from the words of sim/expectations.h: at every tick it asks everything anew and takes the plain
// evaluator of Expression. What sim::Expectations does by lists, bounds and flat comparisons is held against it.
#pragma once

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "sim/event_match.h"
#include "sim/expectations.h"

class PlainJudge {
 public:
  using Form = sim::ExpectationSource::Form;

  PlainJudge(const sim::ExpectationSource& source, const sim::SignalTable& table, const std::vector<std::string>& segments, double period_s)
      : source_(source), segments_(segments), predicate_(source.predicate, table, period_s), phase_slot_(table.find("atmosphere.phase")) {
    if (!source.while_.empty()) while_ = sim::Expression(source.while_, table);
    if (!source.after.empty()) after_ = sim::Expression(source.after, table);
    if (!source.until.empty()) until_ = sim::Expression(source.until, table);
  }

  // True: violated at this tick for the first time.
  bool tick(std::span<const double> frame, double time_s, int segment, std::span<const sim::Event> events = {}) {
    events_ = events;
    const bool failed = result.failed_s >= 0.0;
    last_s_ = time_s;
    const bool open = window_open(frame, time_s, segment);
    if (open && !open_) begin(time_s);
    const bool was_open = open_;
    open_ = open;
    if (open || was_open) judge(open, frame, time_s);
    return !failed && result.failed_s >= 0.0;
  }

  bool finish() {
    const bool failed = result.failed_s >= 0.0;
    if (open_ && predicate_.is_temporal()) end_ahead();
    else if (open_ && source_.form == Form::eventually && !over_) count(last_s_);
    if (judged_ && (result.failed_s >= 0.0 || longest_s_ >= source_.due_s)) result.judged = true;
    result.pass = result.judged && result.failed_s < 0.0;
    if (result.judged) {
      result.margin = sim::printed_margin(tightest_.value);
      const bool code = std::isinf(tightest_.value);
      result.unit = code ? "1" : predicate_.unit_name(tightest_.decided);
      const double limit = predicate_.limit(tightest_.decided);
      const bool bounded = limit > 0.0 && source_.form != Form::eventually;
      result.scale = code ? 0.0 : bounded ? std::min(limit, widest_) : std::max(limit, widest_);
    }
    return !failed && result.failed_s >= 0.0;
  }

  sim::ExpectationResult result;     // name and statement are left out
  double candidate_s() const { return open_ && source_.form == Form::eventually && !counted_ ? best_s_ : -1.0; }

 private:
  static constexpr double infinite = std::numeric_limits<double>::infinity();
  static constexpr double instant_s = 1e-6;

  bool reachable(std::span<const double> frame, double time_s, int segment) const {
    if (time_s < source_.from_s - instant_s || (source_.to_s >= 0.0 && time_s >= source_.to_s + instant_s)) return false;
    const auto named = [](const std::vector<std::string>& names, const std::string& name) {
      return names.empty() || std::find(names.begin(), names.end(), name) != names.end();
    };
    const auto number = static_cast<std::size_t>(segment);
    const std::string running = segment >= 0 && number < segments_.size() ? segments_[number] : "";
    if (!named(source_.segments, running)) return false;
    if (source_.phases.empty()) return true;
    const auto phase = static_cast<std::size_t>(frame[static_cast<std::size_t>(phase_slot_)]);
    return phase < sim::phase_names().size() && named(source_.phases, std::string(sim::phase_names()[phase]));
  }

  bool happened(const sim::EventPattern& pattern) const {
    return std::any_of(events_.begin(), events_.end(), [&](const sim::Event& event) { return sim::matches(pattern, event); });
  }

  bool window_open(std::span<const double> frame, double time_s, int segment) {
    if (!held_) held_ = !after_ || after_->holds(frame, time_s);
    if (!came_) came_ = !source_.after_event.given() || happened(source_.after_event);
    if (until_ && opened_ && !ended_) ended_ = until_->holds(frame, time_s);
    if (source_.until_event.given() && opened_ && happened(source_.until_event)) ended_ = true;
    if (!held_ || !came_ || ended_ || !reachable(frame, time_s, segment)) return false;
    return !while_ || while_->holds(frame, time_s);
  }

  void begin(double time_s) {
    opened_ = true;
    over_ = counted_ = noted_ = false;
    opened_s_ = best_s_ = time_s;
    best_.value = -infinite;
    predicate_.reset();
    pending_s_.clear();
  }

  void judge(bool open, std::span<const double> frame, double time_s) {
    if (predicate_.is_temporal()) {
      if (open || source_.form == Form::eventually) look_ahead(frame, time_s);
      if (!open) end_ahead();
    } else if (source_.form == Form::eventually) {
      if (!over_ && late(time_s)) over_ = true;
      if (!over_) seek(predicate_.evaluate(frame, time_s), time_s);
      if (!open || over_) count(time_s);
    } else if (open && !over_) {
      judge_tick(predicate_.evaluate(frame, time_s), time_s);
    }
  }

  bool late(double time_s) const { return source_.within_s >= 0.0 && time_s > opened_s_ + source_.within_s + instant_s; }

  void look_ahead(std::span<const double> frame, double time_s) {
    if (over_) return;
    pending_s_.push_back(time_s);
    sim::Expression::Margin known;
    if (predicate_.look(frame, time_s, known)) judge_pending(known);
  }

  void end_ahead() {
    sim::Expression::Margin known;
    while (!over_ && !pending_s_.empty() && predicate_.conclude(known)) judge_pending(known);
    if (source_.form == Form::eventually && noted_) count(last_s_);
  }

  void judge_pending(sim::Expression::Margin margin) {
    const double at_s = pending_s_.front();
    pending_s_.erase(pending_s_.begin());
    if (std::isnan(margin.value)) {
      over_ = source_.form == Form::at_opening;
      return;
    }
    if (source_.form != Form::eventually) return judge_tick(margin, at_s);
    if (!late(at_s)) return seek(margin, at_s);
    over_ = true;
    count(last_s_);
  }

  void judge_tick(sim::Expression::Margin margin, double at_s) {
    if (source_.form == Form::never) margin.value = -margin.value;
    over_ = source_.form == Form::at_opening;
    longest_s_ = std::max(longest_s_, at_s - opened_s_ + instant_s);
    ++result.ticks;
    take(margin, at_s, at_s);
  }

  void seek(sim::Expression::Margin margin, double at_s) {
    ++result.ticks;
    noted_ = true;
    if (margin.holds() && !best_.holds()) result.took_s = std::max(result.took_s, at_s - opened_s_);
    if (!(margin.value > best_.value)) return;
    best_ = margin;
    best_s_ = at_s;
  }

  void count(double now_s) {
    if (!counted_) take(best_, best_s_, now_s);
    counted_ = true;
  }

  void take(sim::Expression::Margin margin, double at_s, double now_s) {
    if (std::isfinite(margin.value)) widest_ = std::max(widest_, std::fabs(margin.value));
    if (!judged_ || margin.value < tightest_.value) {
      tightest_ = margin;
      result.at_s = at_s;
    }
    judged_ = true;
    if (!margin.holds() && result.failed_s < 0.0) result.failed_s = now_s;
  }

  sim::ExpectationSource source_;
  std::vector<std::string> segments_;
  std::span<const sim::Event> events_;
  sim::Expression predicate_;
  std::optional<sim::Expression> while_, after_, until_;
  int phase_slot_;
  bool held_ = false, came_ = false;
  bool ended_ = false, open_ = false, opened_ = false, over_ = false, counted_ = false, noted_ = false, judged_ = false;
  double opened_s_ = 0.0, best_s_ = 0.0, last_s_ = 0.0, longest_s_ = 0.0, widest_ = 0.0;
  sim::Expression::Margin best_, tightest_;
  std::vector<double> pending_s_;
};
