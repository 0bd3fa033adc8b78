// A small language over signals: what expectations, conditions of operator actions and faults are written in.
//
//   pressure.pv < 6 kPa
//   plant.load.core > 400 degC implies plant.gas.o2 < 10 ppm
//   abs(heat.1.sp - heat.1.pv) <= 10 K and programme.state == running
//   travel(pressure.out) < 4
//
// Operators, loosest first: implies (groups to the right), or, and, not, comparisons < <= > >= == !=, + -, * /, unary -.
// Functions: abs(x), min(x, y...), max(x, y...). Literals are a number and its unit; a unit may be divided by one more, written
// without spaces: `20 Pa/min`. Names are signals (sim/signals.h) and, beside a signal that is a code, the names of its values
// (`programme.state == held`, `atmosphere.phase != holding`).
//
// Operators over a window of ticks relative to the tick judged, closed at both ends (temporal_formula.h; until: its left operand on the
// half-open interval up to the tick at which the right one holds). They bind like `not`, until looser than these and tighter than and:
//   always[0 s, 4 min] (x < 5 kPa)      eventually[10 s, 1 min] p      p until[0 s, 2 min] q
// Without a window, or with [10 s, end], they speak of all ticks to the end of the window that is judged (open_formula.h): always p,
// eventually[10 s, end] p, p until q. Such a one may stand anywhere but inside one with an end.
// Only what judges a run takes them (look, not evaluate); conditions speak of past and present.
//
// Functions with a memory, which starts afresh whenever the window opens (reset):
//   rise(x)       x minus x when the window opened
//   travel(x)     sum of |change of x| from tick to tick since the window opened
//   reversals(x, band)  how often x changed direction since then: it came back from its farthest point by more than the band
//   elapsed()     time since the window opened
//   past(d)       plainly true from d after the opening on, plainly false before: a gate that leaves the margin to what it gates
//   time_when(p)  time from the opening until p first held; until then the time gone by, so that `time_when(p) < 30 min`
//                 is violated at the first tick at which it can no longer come true
//   last_when(p)  time from the opening until p last held, 0 if it never did
//   held_for(p)   time, summed over the window, in which p held: each tick at which it holds counts the time since the tick before
//
// Quantities are checked while reading. Both sides of a comparison, sum or difference must be of one kind. A temperature
// (degC) and a temperature difference (K) are different kinds: degC - degC = K, degC + K = degC, degC < degC; degC + degC,
// 2 * degC and degC < K are errors. Pressures carry their reference, gauge, abs or diff: two that both say it must say the same
// (a difference of two is diff); a literal without one (`6 kPa`) takes that of what it stands beside. 0/0 is 0.
//
// A truth has a margin: its signed distance, in the unit of the signal it compares, from the other truth value.
//   x < c: c - x      and: min      or, implies: max      not: -margin      x == c: -|x - c|
// Whole-number signals and codes have no distance: == and != on them are plainly true or false, which min and max treat as
// infinite (so `phase == holding implies pressure.pv > 2 kPa` has the margin in Pa) and margin() gives as +1 or -1. So are signals of
// bits (alarms.unacknowledged, controller.outputs): `> 0`, some bit is set, is their only order, and no sum takes them. The verdict
// follows the margin's sign; on the boundary itself <= holds and < does not. What is undefined (NaN) does not hold.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "sim/flat_truth.h"
#include "sim/input_error.h"
#include "sim/open_formula.h"
#include "sim/signals.h"
#include "sim/temporal_formula.h"

namespace sim {

// What an expression has wrong: each part by itself, so that whoever knows the file says it once. column: 1-based, in bytes of
// the text.
// what(): "found ...; expected ...; nearest: ...", the last where there is one.
struct ExpressionError : std::runtime_error {
  ExpressionError(std::string found_, std::string expected_, std::string nearest_, int column_);
  std::string found, expected, nearest;
  int column;
};

// The same as an error of a file. place: where to look, as it is to be printed; text: what was compiled, or the part of it that
// the file holds; character: 1-based, where in that text; of: whose it is, "`while` of `dry`", empty where the place says so.
InputError input_error(const ExpressionError& error, const SourcePlace& place, std::string_view text, int character,
                       std::string_view of = {});

// Compiled once; evaluated without allocation. Copyable: a copy carries the memory of its functions.
class Expression {
 public:
  // The outcome of a truth at one tick.
  struct Margin {
    double value = 0.0;        // > 0 holds, < 0 does not; infinite where only codes decide; never NaN, never 0
    std::uint8_t decided = 0;  // the comparison that decided: unit_name(decided), limit(decided)
    bool holds() const { return value > 0.0; }
  };

  Expression() = default;      // holds nothing; must not be evaluated
  // Throws ExpressionError. text must be a truth (a comparison, or such joined), not a plain quantity.
  // period_s: of the tick; without it operators over a window are refused. Their windows together: at most a day of ticks.
  Expression(std::string_view text, const SignalTable& table, double period_s = 0.0);

  bool empty() const { return code_.empty() && !is_temporal(); }
  bool has_memory() const { return !memory_.empty() || is_temporal(); }
  bool is_temporal() const { return !temporal_.empty(); }
  bool is_open() const { return is_temporal() && temporal_[0].open.operators() > 0; }   // some operator speaks of all ticks to the end
  std::size_t horizon() const {                                                        // ticks
    return is_open() ? temporal_[0].open.horizon() : is_temporal() ? temporal_[0].formula.horizon() : 0;
  }
  std::size_t bytes() const {                                                          // of memory, beside a few hundred
    return is_open() ? temporal_[0].open.bytes() : is_temporal() ? temporal_[0].formula.bytes() : 0;
  }
  const std::string& text() const { return text_; }
  const std::string& unit_name(std::uint8_t decided) const { return comparisons_[decided].unit; }
  // Size of the constant that comparison holds its signal against, in its unit; 0 where it has none.
  double limit(std::uint8_t decided) const { return comparisons_[decided].limit; }

  // The signals it reads, each once, and the constants that a signal is held against by itself, in the signal's unit.
  std::vector<std::uint16_t> signal_slots() const;
  std::vector<double> limits_of(std::uint16_t slot) const;
  // The same truth for the loop at every tick; empty where it is of no usual shape.
  FlatTruth flat() const;

  // The window opens with the next evaluation: all functions with a memory start afresh.
  void reset() {
    opened_ = false;
    if (is_temporal()) reset_temporal();
  }

  // frame: one tick's values in table order; time_s: its simulated time. Call once per tick while the window is open.
  Margin evaluate(std::span<const double> frame, double time_s) {
    return code_.size() == 1 ? evaluate_one(frame) : evaluate_all(frame, time_s);
  }
  bool holds(std::span<const double> frame, double time_s) { return evaluate(frame, time_s).holds(); }

  // Temporal: one tick; true: known is the margin of the tick horizon() ago.
  bool look(std::span<const double> frame, double time_s, Margin& known);
  // Temporal: no more ticks come in this window; the next pending tick, its value NaN where it is not known. False: none left.
  bool conclude(Margin& known);
  void visit(Archive& archive);   // its memory, all of it that changes
  // Open: one tick, as OpenFormula::push; what it has gathered, and its end, are asked of open().
  bool gather(std::span<const double> frame, double time_s, OpenFormula::Gather gather, double at_s, bool counts);
  OpenFormula& open() { return temporal_.front().open; }

 private:
  friend class ExpressionCompiler;
  enum class Op : std::uint8_t {
    constant, signal, add, subtract, multiply, divide, negate, absolute, minimum, maximum, scale, rise, travel, reversals, elapsed,
    settle_strict, settle_loose,                     // a difference becomes a margin
    signal_below, signal_below_or_at, signal_above, signal_above_or_at,   // the same, of a signal and a constant, in one step
    equal, not_equal, code_equal, code_not_equal,
    code_is, code_is_not,                            // of a signal and a constant
    logical_not, logical_and, logical_or, past, time_when, last_when, held_for
  };
  struct Instruction {
    Op op;
    std::uint8_t comparison = 0;
    std::uint16_t slot = 0;    // signal, or place in the memory
    double constant = 0.0;
  };

  Margin evaluate_one(std::span<const double> frame) const;            // one signal against one constant: most are
  Margin evaluate_all(std::span<const double> frame, double time_s);
  void reset_temporal();
  void look_at_atoms(std::span<const double> frame, double time_s);
  std::size_t remembered(const Instruction& step, double* stack, std::size_t top, bool fresh, double time_s);

  std::string text_;
  std::vector<Instruction> code_;
  struct Comparison {
    std::string unit;
    double limit;
  };
  std::vector<Comparison> comparisons_;
  std::vector<double> memory_;
  double opened_s_ = 0.0, last_s_ = 0.0;
  bool opened_ = false;
  struct Temporal {
    TemporalFormula formula;
    OpenFormula open;                              // in its place, where some operator is open
    std::vector<Expression> atoms;                 // their comparisons are in comparisons_ of the whole
    std::vector<TemporalFormula::Value> values;    // of the atoms, at this tick
    void visit(Archive& archive);
  };
  std::vector<Temporal> temporal_;                 // none or one
};

// How a margin is printed: infinite is +1 or -1, a touch of the boundary is 0.
double printed_margin(double value);

}  // namespace sim
