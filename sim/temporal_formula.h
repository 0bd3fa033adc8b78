// always[a, b], eventually[a, b] and until[a, b] over truths sampled once per tick: the quantitative semantics of signal temporal
// logic, without interpolation. Windows are counted in ticks from the tick judged and closed at both ends.
//
//   always[a, b] f       at t: least f over [t+a, t+b]
//   eventually[a, b] f   at t: greatest f over [t+a, t+b]
//   f until[a, b] g      at t: greatest over t' in [t+a, t+b] of min(g at t', least f over the HALF-OPEN interval [t, t')):
//                        f need not hold at the tick at which g comes true. (The other convention takes f over [t, t'].)
//
// A value for tick t is known horizon() ticks later. When the samples end, some operands of the last ticks are not known, and truth has
// three values (Kleene): not known and f is f where f is violated, else not known; not known or f is f where f holds, else not known;
// not: stays not known. Over a window always and eventually take the ticks that are known (over what there is), until the ticks before
// the first at which an operand is not known; a window that holds none is not known.
// Memory is taken by ready(), once; a tick then costs amortised constant time per operator (monotone wedge; two stacks for until).
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "sim/archive.h"

namespace sim {

class TemporalFormula {
 public:
  struct Value {
    double margin = 0.0;         // NaN: not known; only while concluding
    std::uint8_t decided = 0;    // whatever its atom said
  };
  enum class Kind : std::uint8_t { atom, negation, conjunction, disjunction, always, eventually, until };

  // Operands first; the last one added is the whole. Returns its index. left, right: indices (atom: number of the atom).
  int add(Kind kind, int left, int right = -1, std::size_t from = 0, std::size_t to = 0);
  // Takes the memory. No add() after it.
  void ready();
  std::size_t bytes() const;     // of the memory taken
  bool empty() const { return nodes_.empty(); }
  std::size_t horizon() const { return nodes_.empty() ? 0 : nodes_.back().horizon; }

  void reset();
  // One tick: value of each atom. True: known is the value of the tick horizon() ago.
  bool push(std::span<const Value> atoms, Value& known);
  // No more ticks will come: the value of the next pending tick, NaN where it is not known. False: there is none. Only reset() after it.
  bool conclude(Value& known);
  void visit(Archive& archive);   // everything of it that changes

 private:
  struct Cell {
    std::size_t tick = 0;
    Value value;
  };
  // First in, first out, of fixed capacity; also a deque for the wedge.
  class Ring {
   public:
    std::size_t bytes() const { return cells_.size() * sizeof(Cell); }
    void size_to(std::size_t capacity) { cells_.resize(capacity); }
    void clear() { begin_ = count_ = 0; }
    bool empty() const { return count_ == 0; }
    const Cell& front() const { return cells_[begin_]; }
    const Cell& back() const { return cells_[place(count_ - 1)]; }
    void pop_front() { begin_ = place(1); --count_; }
    void pop_back() { --count_; }
    void push(const Cell& cell) { ++count_; cells_[place(count_ - 1)] = cell; }
    void visit(Archive& archive);
   private:
    std::size_t place(std::size_t offset) const {
      return begin_ + offset < cells_.size() ? begin_ + offset : begin_ + offset - cells_.size();
    }
    std::vector<Cell> cells_;
    std::size_t begin_ = 0, count_ = 0;
  };
  // Of a block of ticks. least: of f. best: greatest of min(g at t', least f from the start of the block to before t').
  struct Block {
    Value least, best;
  };
  struct Node {
    Kind kind;
    int left, right;
    std::size_t from, to;        // ticks
    std::size_t horizon = 0;
    std::size_t count = 0;       // ticks taken in
    std::size_t next = 0;        // tick of the next value
    bool cut = false;            // until: a tick has come at which an operand is not known
    Ring waiting[2];             // operands of different horizons
    Ring wedge;                  // always, eventually: its window; until: f over [t, t+from)
    std::vector<Block> pairs, front;   // until: the window, and the blocks from each tick to the end of the front stack
    std::size_t begin = 0, middle = 0; // until: first tick of the window, first tick of the back stack
    Block back;                        // until: the block of the back stack
    void visit(Archive& archive);
  };

  static Block joined(const Block& first, const Block& second);
  bool pull(int index, Value& value);
  bool pull_pair(Node& node, Value& left, Value& right);
  bool pull_window(Node& node, Value& value);
  bool pull_until(Node& node, Value& value);
  static void slide(Node& node, std::size_t tick, Value value, bool least);
  static void drop_first(Node& node);

  std::vector<Node> nodes_;
  std::span<const Value> atoms_;
  bool ending_ = false;
};

}  // namespace sim
