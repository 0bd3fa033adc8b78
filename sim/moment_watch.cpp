#include "sim/moment_watch.h"

#include <algorithm>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include "sim/event_match.h"
#include "sim/input_error.h"

namespace sim {

namespace {

constexpr std::uint64_t without_limit = UINT64_MAX;

std::size_t slot_of(const SignalTable& table, const char* name) {
  const int slot = table.find(name);
  if (slot < 0) throw std::logic_error(fmt::format("there is no signal {}", name));
  return static_cast<std::size_t>(slot);
}

}  // namespace

MomentWatch::MomentWatch(const SignalTable& table, const ProgrammeSource& programme, Clock clock)
    : table_(table), programme_(programme), clock_(clock), segment_slot_(slot_of(table, "programme.segment")),
      number_slot_(slot_of(table, "programme.number")),
      phase_slot_(slot_of(table, "atmosphere.phase")) {}

void MomentWatch::schedule(const Due& due) {
  const auto sooner = [](std::uint64_t at, const Due& other) { return at < other.tick; };
  scheduled_.insert(std::upper_bound(scheduled_.begin(), scheduled_.end(), due.tick, sooner), due);
}

void MomentWatch::add_at(std::uint64_t tick, std::uint32_t id) { schedule({tick, id}); }

void MomentWatch::add(const Moment& moment, std::uint32_t id) {
  Waiting waiting;
  waiting.id = id;
  waiting.after_ticks = clock_.ticks(moment.after_s);
  const std::uint64_t often = moment.times > 0 ? static_cast<std::uint64_t>(moment.times) : without_limit;
  if (moment.every_s > 0.0) {
    waiting.every_ticks = std::max<std::uint64_t>(1, clock_.ticks(moment.every_s));
    waiting.times = often;
  } else if (moment.times > 0) {
    waiting.left = often;
  }
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
      throw input_error(error, moment.place, moment.condition, error.column);
    }
  } else if (moment.event.given()) {
    waiting.kind = Kind::event;
    waiting.event = moment.event;
  } else {
    schedule({clock_.ticks(std::max(moment.at_s, 0.0) + moment.after_s), id, waiting.every_ticks, waiting.times});
    return;
  }
  waiting_.push_back(std::move(waiting));
}

void MomentWatch::visit(Archive& archive) {
  archive(segment_, phase_, scheduled_);
  archive.remaining(waiting_, &Waiting::id);
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
      waiting.held = old.held;
      waiting.left = old.left;
      return false;
    }
    return true;
  });
  std::vector<Due> fresh = std::move(scheduled_);
  scheduled_.clear();
  for (const Due& due : past.scheduled_)
    if (ids[due.id] != none) scheduled_.push_back({due.tick, ids[due.id], due.every_ticks, due.left});
  for (const Due& due : fresh)
    if (!known(due.id)) schedule(due);
}

std::span<const std::uint32_t> MomentWatch::due(std::uint64_t tick) {
  due_.clear();
  while (!scheduled_.empty() && scheduled_.front().tick <= tick) {
    Due due = scheduled_.front();
    scheduled_.erase(scheduled_.begin());
    due_.push_back(due.id);
    if (due.left != without_limit) --due.left;
    if (due.every_ticks == 0 || due.left == 0) continue;
    due.tick += due.every_ticks;
    schedule(due);
  }
  return due_;
}

bool MomentWatch::comes(Waiting& waiting, bool segment_begins, bool phase_begins, std::span<const double> frame, double time_s,
                        std::span<const Event> events) const {
  switch (waiting.kind) {
    case Kind::segment: return segment_begins && segment_ == waiting.code;
    case Kind::phase: return phase_begins && phase_ == waiting.code;
    case Kind::condition: {
      const bool held = std::exchange(waiting.held, waiting.condition.holds(frame, time_s));
      return waiting.held && !held;
    }
    case Kind::event: return std::any_of(events.begin(), events.end(), [&](const Event& event) { return matches(waiting.event, event); });
  }
  return false;
}

void MomentWatch::observe(std::uint64_t tick, std::span<const double> frame, double time_s, std::span<const Event> events) {
  const double segment = programme_.place(frame[number_slot_], frame[segment_slot_]);
  const double phase = frame[phase_slot_];
  const bool segment_begins = segment != segment_;
  const bool phase_begins = phase != phase_;
  segment_ = segment;
  phase_ = phase;
  for (std::size_t at = 0; at < waiting_.size();) {
    Waiting& waiting = waiting_[at];
    if (!comes(waiting, segment_begins, phase_begins, frame, time_s, events)) {
      ++at;
      continue;
    }
    schedule({std::max(tick + 1, tick + waiting.after_ticks), waiting.id, waiting.every_ticks, waiting.times});
    if (--waiting.left == 0) waiting_.erase(waiting_.begin() + static_cast<std::ptrdiff_t>(at));
    else ++at;
  }
}

}  // namespace sim
