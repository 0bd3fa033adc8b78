// Turns a scenario's moments (a time, the beginning of a segment or phase, a condition, an event, each with a delay) into the ticks at
// which something is due. What is seen in one tick is due at the next at the earliest: an operator cannot act on what has not
// been shown. Each moment comes once, unless it says how often.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "sim/archive.h"
#include "sim/clock.h"
#include "sim/event.h"
#include "sim/expression.h"
#include "sim/scenario.h"
#include "sim/signals.h"

namespace sim {

class MomentWatch {
 public:
  MomentWatch(const SignalTable& table, const ProgrammeSource& programme, Clock clock);

  // Throws InputError if a name or expression is not known.
  void add(const Moment& moment, std::uint32_t id);
  void add_at(std::uint64_t tick, std::uint32_t id);

  void visit(Archive& archive);     // everything of it that changes

  // Go on where `past` stands. ids: for each id of `past` the one here, or none where it is not to come any more. What was added
  // here under such an id stands as it stood in `past`; what was added under another is new.
  static constexpr std::uint32_t none = UINT32_MAX;
  void take_over(const MomentWatch& past, std::span<const std::uint32_t> ids);

  // What is due at the start of this tick, in the order in which it was added.
  std::span<const std::uint32_t> due(std::uint64_t tick);
  // What the tick just done has shown.
  void observe(std::uint64_t tick, std::span<const double> frame, double time_s, std::span<const Event> events = {});

 private:
  enum class Kind : std::uint8_t { segment, phase, condition, event };
  struct Waiting {
    Kind kind = Kind::segment;
    double code = 0.0;              // of segment or phase
    Expression condition;
    EventPattern event;
    std::uint64_t after_ticks = 0;
    std::uint32_t id = 0;
    std::uint64_t left = 1;         // so often it is still waited for
    bool held = false;              // condition: at the tick before
    std::uint64_t every_ticks = 0;  // once it has come, at this distance again; 0: not
    std::uint64_t times = 1;        // that often, with the first
    void visit(Archive& archive) { archive(condition, held, left); }
  };
  struct Due {
    std::uint64_t tick = 0;
    std::uint32_t id = 0;
    std::uint64_t every_ticks = 0;
    std::uint64_t left = 1;         // so often it is still to come, this time counted
  };

  void schedule(const Due& due);
  bool comes(Waiting& waiting, bool segment_begins, bool phase_begins, std::span<const double> frame, double time_s,
             std::span<const Event> events) const;

  const SignalTable& table_;
  const ProgrammeSource& programme_;
  Clock clock_;
  std::size_t segment_slot_, number_slot_, phase_slot_;
  double segment_ = -2.0, phase_ = -2.0;   // of the tick before
  std::vector<Waiting> waiting_;
  std::vector<Due> scheduled_;             // soonest first
  std::vector<std::uint32_t> due_;
};

}  // namespace sim
