#include "sim/moment_watch.h"

#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>

#include "sim/input_error.h"

namespace sim {

namespace {

std::size_t slot_of(const SignalTable& table, const char* name) {
  const int slot = table.find(name);
  if (slot < 0) throw std::logic_error(fmt::format("there is no signal {}", name));
  return static_cast<std::size_t>(slot);
}

}  // namespace

MomentWatch::MomentWatch(const SignalTable& table, const ProgrammeSource& programme, Clock clock)
    : table_(table), programme_(programme), clock_(clock), segment_slot_(slot_of(table, "programme.segment")),
      phase_slot_(slot_of(table, "atmosphere.phase")) {}

void MomentWatch::schedule(std::uint64_t tick, std::uint32_t id) {
  const auto sooner = [](std::uint64_t at, const Due& due) { return at < due.tick; };
  scheduled_.insert(std::upper_bound(scheduled_.begin(), scheduled_.end(), tick, sooner), {tick, id});
}

void MomentWatch::add_at(std::uint64_t tick, std::uint32_t id) { schedule(tick, id); }

void MomentWatch::add(const Moment& moment, std::uint32_t id) {
  Waiting waiting;
  waiting.id = id;
  waiting.after_ticks = clock_.ticks(moment.after_s);
  if (!moment.segment.empty()) {
    const auto found = std::find(programme_.names.begin(), programme_.names.end(), moment.segment);
    if (found == programme_.names.end()) throw InputError(moment.place, "segment `" + moment.segment + "`", "a segment of the programme");
    waiting.kind = Kind::segment;
    waiting.code = static_cast<double>(found - programme_.names.begin());
  } else if (!moment.phase.empty()) {
    const auto names = phase_names();
    const auto found = std::find(names.begin(), names.end(), moment.phase);
    if (found == names.end()) throw InputError(moment.place, "phase `" + moment.phase + "`", "a phase of the atmosphere");
    waiting.kind = Kind::phase;
    waiting.code = static_cast<double>(found - names.begin());
  } else if (!moment.condition.empty()) {
    waiting.kind = Kind::condition;
    try {
      waiting.condition = Expression(moment.condition, table_);
    } catch (const ExpressionError& error) {
      throw InputError(moment.place, error.what(), "an expression that is a truth");
    }
  } else {
    schedule(clock_.ticks(std::max(moment.at_s, 0.0) + moment.after_s), id);
    return;
  }
  waiting_.push_back(std::move(waiting));
}

void MomentWatch::take_over(const MomentWatch& past, std::span<const std::uint32_t> ids) {
  segment_ = past.segment_;
  phase_ = past.phase_;
  const auto known = [ids](std::uint32_t id) { return std::find(ids.begin(), ids.end(), id) != ids.end(); };
  std::erase_if(waiting_, [&](Waiting& waiting) {
    if (!known(waiting.id)) return false;
    for (const Waiting& old : past.waiting_) {
      if (ids[old.id] != waiting.id) continue;
      waiting.condition = old.condition;      // with its memory
      return false;
    }
    return true;
  });
  std::vector<Due> fresh = std::move(scheduled_);
  scheduled_.clear();
  for (const Due& due : past.scheduled_)
    if (ids[due.id] != none) scheduled_.push_back({due.tick, ids[due.id]});
  for (const Due& due : fresh)
    if (!known(due.id)) schedule(due.tick, due.id);
}

std::span<const std::uint32_t> MomentWatch::due(std::uint64_t tick) {
  due_.clear();
  while (!scheduled_.empty() && scheduled_.front().tick <= tick) {
    due_.push_back(scheduled_.front().id);
    scheduled_.erase(scheduled_.begin());
  }
  return due_;
}

void MomentWatch::observe(std::uint64_t tick, std::span<const double> frame, double time_s) {
  const double segment = frame[segment_slot_];
  const double phase = frame[phase_slot_];
  const bool segment_begins = segment != segment_;
  const bool phase_begins = phase != phase_;
  segment_ = segment;
  phase_ = phase;
  for (std::size_t at = 0; at < waiting_.size();) {
    Waiting& waiting = waiting_[at];
    bool comes = false;
    switch (waiting.kind) {
      case Kind::segment: comes = segment_begins && segment == waiting.code; break;
      case Kind::phase: comes = phase_begins && phase == waiting.code; break;
      case Kind::condition: comes = waiting.condition.holds(frame, time_s); break;
    }
    if (comes) {
      schedule(std::max(tick + 1, tick + waiting.after_ticks), waiting.id);
      waiting_.erase(waiting_.begin() + static_cast<std::ptrdiff_t>(at));
    } else {
      ++at;
    }
  }
}

}  // namespace sim
