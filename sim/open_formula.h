// always, eventually and until to the end of the window, whenever that comes, joined by and / or over formulas of bounded windows
// (temporal_formula.h), in bounded memory and with nothing put off to the end but what those look ahead.
//
//   always f      at t: f and always f at t+1        f until g    at t: g, or f and (f until g) at t+1
//   eventually f  at t: f or eventually f at t+1     release      the negation of until: g, and (f or release at t+1)
//
// What such an operator will be worth at the next tick is not known, so the value of a tick is a function of those worths. It is
// monotone and made of minima and maxima alone, hence settled by its values where each worth is plus or minus infinity: its corners,
// 2^n for n operators. So is the least (or greatest) over all ticks so far, which is all that is asked for. When a tick has come, each
// old worth becomes a function of the new ones. Negations stand at the leaves.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "sim/temporal_formula.h"

namespace sim {

class OpenFormula {
 public:
  using Value = TemporalFormula::Value;
  enum class Kind : std::uint8_t { leaf, conjunction, disjunction, always, eventually, until, release };
  enum class Gather : std::uint8_t { least, greatest, first };   // of the ticks of the window
  static constexpr std::size_t operators_max = 4;
  // A value and the instant of the tick it belongs to.
  struct Kept {
    Value value;
    double at_s = 0.0;
  };

  // Operands first; the last one added is the whole. formula: ready. until, release: left is f, right g.
  int add_leaf(TemporalFormula formula);
  int add(Kind kind, int left, int right = -1);
  void ready();
  std::size_t operators() const { return operators_; }
  std::size_t horizon() const { return horizon_; }
  std::size_t bytes() const;

  void visit(Archive& archive);      // everything of it that changes
  void reset();
  // One tick: value of each atom. True: the tick horizon() ago, which is that of at_s, has been taken in; counts: it is gathered.
  bool push(std::span<const Value> atoms, Gather gather, double at_s, bool counts);
  // Has a tick been gathered, and is it settled that what is gathered is violated (least, first) or holds (greatest)?
  bool settled(Gather gather) const;
  // The window has shut. at_s(i): instant of the i-th tick not taken in; those up to limit_s are gathered. counted: how many were.
  // False: nothing is known of any tick.
  template <class At>
  bool conclude(Gather gather, At at_s, double limit_s, Kept& kept, std::size_t& counted) {
    const std::size_t rest = take_rest();
    counted = 0;
    for (std::size_t i = rest; i-- > 0;) counted += gather_rest(i, gather, at_s(i), at_s(i) <= limit_s);
    return finish(gather, kept);
  }

 private:
  struct Leaf {
    TemporalFormula formula;
    std::vector<Value> values;         // known ahead of the others, the first is that of the next tick; at the end all there are
    std::size_t begin = 0, count = 0;  // a ring
    Value& at(std::size_t offset) { return values[begin + offset < values.size() ? begin + offset : begin + offset - values.size()]; }
    void visit(Archive& archive);
  };
  struct Node {
    Kind kind;
    int left, right;
    int number;                        // of the leaf, or of the operator
  };

  Value value_of(const Node& node, std::size_t corner) const;
  Kept at(std::span<const Value> worths) const;
  static Kept chosen(Gather gather, const Kept& before, const Kept& now);
  void take_in(Gather gather, double at_s, bool counts);
  std::size_t take_rest();
  std::size_t gather_rest(std::size_t tick, Gather gather, double at_s, bool counts);
  bool finish(Gather gather, Kept& kept);

  std::vector<Leaf> leaves_;
  std::vector<Node> nodes_;
  std::size_t operators_ = 0, horizon_ = 0;
  std::vector<Value> now_;             // of each node, at the corner looked at
  std::vector<Value> worths_;          // of each operator
  std::vector<Kept> corners_, next_;   // what is gathered
  std::uint64_t ticks_ = 0;
  bool gathered_ = false;
  bool rest_gathered_ = false;
  Kept rest_;                          // of the ticks not taken in when the window shut
};

}  // namespace sim
