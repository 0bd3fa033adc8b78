// Judges the expectations of a scenario at every tick, while the run goes on, in bounded memory.
//
// A window is open at a tick when everything the expectation gives holds: from <= time <= to, the programme segment is one
// of those named, the atmosphere phase is one of those named, `while` holds, `after` has held at this tick or before, an event as
// `after_event` says has happened at it or before, neither `until` has held nor an event as `until_event` says happened at a tick
// after the one at which the window first opened. A window may open many times; rise, travel, elapsed... start afresh each time.
//
//   always p                the predicate holds at every tick at which the window is open; margin: the least
//   never p                 always not p
//   eventually p within D   each time the window opens, p holds at some tick at most D later (both ends included); margin: the
//                           greatest of each opening, the least of these. The tick that shuts the window is still looked at:
//                           a segment that ends because p has come true shows it there. Without within: until the window shuts.
//                           So is it, as the last there is, where p looks ahead.
//
//   at_opening p            p holds at the tick at which the window opens, each time; for a formula over windows (always[0 s, 4 min] q)
//
// p may look ahead (always[a, b], eventually[a, b], until[a, b]: expression.h). The margin of a tick is then judged when it is known,
// and the instant reported is that tick's. When the window shuts or the run ends, the ticks pending are judged over the ticks the
// window had: always and eventually alike over what there is, and in three-valued logic (temporal_formula.h). A tick of which then
// nothing is known is not judged.
//
// p may speak of all ticks to the end of the window (always q, eventually q, q until r without an interval: expression.h). Its margin is
// then known when the window shuts; that it can no longer hold is told at the tick at which that is settled.
//
// The margin is the quantitative semantics of signal temporal logic (min for always, max for eventually) in the signal's own
// unit; its sign is the verdict. A window that never opened, or never for as long as a ready word needs (ready_word.h), leaves
// its expectation unjudged, which is a failure.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "sim/event.h"
#include "sim/expression.h"
#include "sim/scenario.h"
#include "sim/signals.h"

namespace sim {

struct ExpectationResult {
  std::string name;
  std::string statement;         // as written, in one line: "always pressure.pv < 6 kPa, in soak"
  bool pass = false;
  bool judged = false;
  std::string unjudged;          // why it was never judged: "its window never opened"
  double margin = 0.0;           // > 0 holds; where only codes decide, +1 or -1. Meaningless when not judged
  std::string unit = "1";
  double scale = 0.0;            // what the margin may be held against: the limit, or the widest margin where that is less; 0 none
  double at_s = 0.0;             // where the margin was tightest
  double failed_s = -1.0;        // first violated, -1 never
  double took_s = -1.0;          // eventually: longest time from an opening until the predicate first held, -1 never
  std::uint64_t ticks = 0;       // at which it was judged
  double judged_s = 0.0;         // the same as time
  double judged_from_s = -1.0;   // of a fork, new or changed: judged from the fork on; -1: from the start
};

class Expectations {
 public:
  // Ready words are expanded here. Throws InputError with the place of the expectation. segments: names of the programme's
  // segments, by index. period_s: of the tick. What looks ahead may take 128 MiB in all.
  Expectations(const std::vector<ExpectationSource>& sources, const SignalTable& table, const std::vector<std::string>& segments,
               double period_s);

  // One tick: frame in table order, the segment running (-1 none), what happened in it.
  void tick(std::span<const double> frame, double time_s, int segment, std::span<const Event> events = {});
  // Shuts every window. After it, results are final.
  void finish();
  void visit(Archive& archive);  // everything of it that changes
  // A fork at from_s: what `past` judged too, word for word, goes on where it stands there. The rest is judged from the next tick on as
  // if the run began with it: a window whose conditions hold there opens there, whenever they came true; `after`, `until` and all that
  // counts since the opening see nothing of the past. Returns for each expectation its number in `past`, or `fresh`.
  static constexpr std::size_t fresh = SIZE_MAX;
  std::vector<std::size_t> take_over(const Expectations& past, double from_s);

  std::vector<ExpectationResult> results() const;
  bool pass() const;             // all pass, and there is at least one
  std::uint64_t ticks() const { return ticks_; }
  std::size_t size() const { return items_.size(); }
  // Indices of the expectations first violated in the tick just done (for events).
  std::span<const std::uint16_t> violated() const { return violated_; }
  const std::string& name(std::size_t index) const { return sources_[index].name; }
  const Expression& predicate(std::size_t index) const { return predicates_[index]; }
  // Where the margin is tightest so far, and where `eventually` is nearest to it in the opening under way; -1 nowhere.
  struct Moments {
    double tightest_s, candidate_s;
  };
  Moments moments(std::size_t index) const {
    const Item& item = items_[index];
    const bool seeks = item.open && rules_[index].form == ExpectationSource::Form::eventually && !item.counted;
    return {item.judged ? item.tightest_s : -1.0, seeks ? item.best_s : -1.0};
  }

 private:
  // while, after or until, or their event. Those without a memory are evaluated once per tick, however many expectations have them.
  struct Condition {
    Expression expression;
    FlatTruth flat;                        // the same, where it has a usual shape
    EventPattern event;                    // where given: one has happened in this tick
    std::uint64_t looked_at = 0;           // tick count of the last evaluation
    bool held = false;
    void visit(Archive& archive) { archive(expression, looked_at, held); }
  };
  // What an expectation says; constant in a run.
  struct Rule {
    std::int16_t condition = -1, after[2] = {-1, -1}, until[2] = {-1, -1};   // in conditions_, -1 none; a truth, an event
    bool ends() const { return until[0] >= 0 || until[1] >= 0; }
    ExpectationSource::Form form;
    double within_s = -1.0, due_s = 0.0;
    FlatTruth flat;                        // what is kept least: the predicate, of never and eventually its negation; empty: no usual shape
    std::vector<bool> in_segment;          // where the window can be open, by segment + 1; empty: any
    std::uint32_t in_phase = ~0u;          // bit by phase
  };
  // What changes in a run, beside the memory of its predicate.
  struct Item {
    bool came[2] = {true, true};           // `after` has held, `after_event` has happened
    bool started() const { return came[0] && came[1]; }
    bool ended = false;                    // `until` has held or `until_event` happened
    bool reachable = true;                 // time, segment and phase let the window be open
    bool open = false;
    bool opened = false;                   // the window has been open; a temporal formula counts its ticks only later
    bool settled = false;                  // eventually: `within` has passed since this opening
    bool counted = false;                  // eventually: this opening has been counted
    bool noted = false;                    // eventually: this opening has a margin
    bool judged = false;
    double opened_s = 0.0, longest_s = 0.0;   // longest opening so far, looked at where due_s asks for one
    std::uint64_t pending = 0;             // temporal: the first tick not judged yet
    Expression::Margin best{};             // eventually: greatest in this opening
    double best_s = 0.0;
    double took_s = -1.0;                  // eventually: longest time until it first held
    Expression::Margin tightest{};
    double tightest_s = 0.0, failed_s = -1.0;
    double widest = 0.0;                   // greatest finite size of a margin
    std::uint64_t ticks = 0;
    double from_s = -1.0;                  // of a fork's own: judged from there on
  };
  // An expectation in a window that stays open: a margin between these two bounds changes nothing but the count of ticks.
  struct Entry {
    std::uint16_t item = 0;
    bool all = true;
    std::uint32_t terms = 0;
    std::size_t first = 0;                 // in terms_
    double low = 0.0, high = 0.0;
  };
  // Those whose windows share a `while`, or have none.
  struct Lane {
    std::int16_t gate = -1;
    std::vector<Entry> entries;            // of flat comparisons
    std::vector<Entry> others;             // of any other predicate, but for those that look ahead
    std::uint64_t ticks = 0;               // at which they were judged, not yet counted in their items
    double last_s = 0.0;                   // the last of these
    void visit(Archive& archive) { archive(entries, others, ticks, last_s); }
  };

  std::int16_t condition(const std::string& text, const char* key, const ExpectationSource& source, const SignalTable& table);
  std::int16_t event(const EventPattern& pattern);
  bool holds(std::int16_t index, std::span<const double> frame, double time_s);
  bool conclusive(std::size_t index) const;

  // Every tick at which a window may begin or end, and what has no usual shape: item by item.
  void renew(double time_s, int segment, int phase);
  bool window_open(std::size_t index, std::span<const double> frame, double time_s);
  void look(std::uint16_t index, std::span<const double> frame, double time_s);
  void look_ahead(std::uint16_t index, std::span<const double> frame, double time_s);
  void conclude_ahead(std::uint16_t index);
  void gather(std::uint16_t index, std::span<const double> frame, double time_s);
  void conclude_gathered(std::uint16_t index);
  void judge_ahead(std::uint16_t index, Expression::Margin margin);
  void note(Item& item, Expression::Margin margin, double time_s);
  void look_for(std::uint16_t index, std::span<const double> frame, double time_s);
  void conclude(std::uint16_t index, double now_s);
  void take(std::uint16_t index, Expression::Margin margin, double time_s, double now_s);

  // The ticks between.
  bool at_edge(std::span<const double> frame, double time_s, int segment);
  void arrange();
  void place(std::uint16_t index);
  void watch(std::int16_t condition);
  void clear_lanes();
  void set_bounds(Entry& entry) const;
  void judge(Lane& lane, std::span<const double> frame, double time_s);
  Expression::Margin kept_least(std::uint16_t index, std::span<const double> frame, double time_s);
  void judge_outside(Entry& entry, Expression::Margin margin, double time_s);

  std::vector<ExpectationSource> sources_;   // of each, as are the three that follow
  std::vector<Rule> rules_;
  std::vector<Expression> predicates_;
  std::vector<Item> items_;
  std::vector<Condition> conditions_;
  std::vector<std::uint16_t> awake_;       // those that may be open, or wait for `after`
  std::vector<std::uint16_t> violated_;
  std::vector<FlatTerm> terms_;            // of all rules one after the other
  std::vector<std::size_t> first_term_;    // of each rule
  std::vector<Lane> lanes_;                // [0] has no gate
  std::vector<std::uint16_t> ahead_;       // that look ahead, in windows that stay open
  std::vector<std::uint16_t> rest_;        // looked at item by item at every tick
  std::vector<std::int16_t> watched_;      // conditions that begin or end a window once they hold
  std::span<const Event> events_;          // of the tick under way
  std::vector<double> instants_;           // of the latest ticks, as many as any predicate looks ahead: a ring of 2^n; empty: none does
  int phase_slot_ = -1;
  int segment_ = -2;
  double phase_ = -1.0;
  double renew_s_ = 0.0;                   // next instant at which from, to or within of some expectation passes
  double period_s_ = 0.1;
  double last_s_ = 0.0;
  std::uint64_t ticks_ = 0;
};

}  // namespace sim
