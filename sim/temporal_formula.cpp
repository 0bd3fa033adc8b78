#include "sim/temporal_formula.h"

#include <algorithm>
#include <limits>

#include "sim/three_valued_margin.h"

namespace sim {

namespace {

using namespace kleene;
constexpr double infinite = std::numeric_limits<double>::infinity();

}  // namespace

int TemporalFormula::add(Kind kind, int left, int right, std::size_t from, std::size_t to) {
  Node node{};
  node.kind = kind;
  node.left = left;
  node.right = right;
  node.from = from;
  node.to = to;
  if (kind != Kind::atom) node.horizon = nodes_[static_cast<std::size_t>(left)].horizon;
  if (right >= 0) node.horizon = std::max(node.horizon, nodes_[static_cast<std::size_t>(right)].horizon);
  node.horizon += to;
  nodes_.push_back(std::move(node));
  return static_cast<int>(nodes_.size()) - 1;
}

void TemporalFormula::ready() {
  for (Node& node : nodes_) {
    if (node.right >= 0) {
      const std::size_t left = nodes_[static_cast<std::size_t>(node.left)].horizon;
      const std::size_t right = nodes_[static_cast<std::size_t>(node.right)].horizon;
      node.waiting[0].size_to((right > left ? right - left : 0) + 2);
      node.waiting[1].size_to((left > right ? left - right : 0) + 2);
    }
    const std::size_t window = node.to - node.from + 1;
    if (node.kind == Kind::always || node.kind == Kind::eventually) node.wedge.size_to(window);
    if (node.kind == Kind::until) {
      node.wedge.size_to(node.from + 1);
      node.pairs.resize(window);
      node.front.resize(window);
    }
  }
  reset();
}

std::size_t TemporalFormula::bytes() const {
  std::size_t sum = 0;
  for (const Node& node : nodes_)
    sum += node.waiting[0].bytes() + node.waiting[1].bytes() + node.wedge.bytes() + (node.pairs.size() + node.front.size()) * sizeof(Block);
  return sum;
}

void TemporalFormula::reset() {
  for (Node& node : nodes_) {
    node.count = node.next = node.begin = node.middle = 0;
    node.waiting[0].clear();
    node.waiting[1].clear();
    node.wedge.clear();
    node.cut = false;
    node.back = {{infinite, 0}, {-infinite, 0}};
  }
  ending_ = false;
}

void TemporalFormula::visit(Archive& archive) {
  archive(ending_);
  archive.each(nodes_);
}

void TemporalFormula::Ring::visit(Archive& archive) {
  archive(begin_, count_);
  archive.check(count_ <= cells_.size() && begin_ <= cells_.size(), "a window of another length");
  for (std::size_t offset = 0; offset < count_; ++offset) archive(cells_[place(offset)]);
}

void TemporalFormula::Node::visit(Archive& archive) {
  archive(count, next, waiting[0], waiting[1], wedge, begin, middle, back, cut);
  archive.check(begin <= middle && middle <= count && count - begin <= pairs.size() + (kind == Kind::until ? 0 : count), "another window");
  if (kind != Kind::until) return;
  for (std::size_t tick = begin; tick < count; ++tick) archive(pairs[tick % pairs.size()]);
  for (std::size_t tick = begin; tick < middle; ++tick) archive(front[tick % front.size()]);
}

bool TemporalFormula::push(std::span<const Value> atoms, Value& known) {
  atoms_ = atoms;
  const bool got = pull(static_cast<int>(nodes_.size()) - 1, known);
  atoms_ = {};
  return got;
}

bool TemporalFormula::conclude(Value& known) {
  ending_ = true;
  return pull(static_cast<int>(nodes_.size()) - 1, known);
}

// The next value of a node, if it is known. While ticks come, each node is asked once per tick.
bool TemporalFormula::pull(int index, Value& value) {
  Node& node = nodes_[static_cast<std::size_t>(index)];
  Value right;
  switch (node.kind) {
    case Kind::atom:
      if (ending_) return false;
      value = atoms_[static_cast<std::size_t>(node.left)];
      return true;
    case Kind::negation:
      if (!pull(node.left, value)) return false;
      value.margin = -value.margin;
      return true;
    case Kind::conjunction:
    case Kind::disjunction:
      if (!pull_pair(node, value, right)) return false;
      value = node.kind == Kind::conjunction ? both(value, right) : either(value, right);
      return true;
    case Kind::always:
    case Kind::eventually: return pull_window(node, value);
    case Kind::until: return pull_until(node, value);
  }
  return false;
}

// Both operands at one tick: the earlier known waits for the later; at the end, for one that will not be known.
bool TemporalFormula::pull_pair(Node& node, Value& left, Value& right) {
  Value value;
  for (int side = 0; side < 2; ++side) {
    Ring& waiting = node.waiting[side];
    if (ending_ && !waiting.empty()) continue;
    if (pull(side == 0 ? node.left : node.right, value)) waiting.push({0, value});
  }
  const bool none[2] = {node.waiting[0].empty(), node.waiting[1].empty()};
  if (ending_ ? none[0] && none[1] : none[0] || none[1]) return false;
  for (int side = 0; side < 2; ++side) {
    (side == 0 ? left : right) = none[side] ? unknown : node.waiting[side].front().value;
    if (!none[side]) node.waiting[side].pop_front();
  }
  return true;
}

// Into the wedge, which keeps of the values seen only those that can still become the least (or the greatest), first in front.
void TemporalFormula::slide(Node& node, std::size_t tick, Value value, bool least) {
  Ring& wedge = node.wedge;
  while (!wedge.empty() && (least ? wedge.back().value.margin > value.margin : wedge.back().value.margin < value.margin)) wedge.pop_back();
  wedge.push({tick, value});
}

bool TemporalFormula::pull_window(Node& node, Value& value) {
  do {
    Value taken;
    const bool got = pull(node.left, taken);
    if (!got && (!ending_ || node.next + node.from >= node.count)) return false;
    while (!node.wedge.empty() && node.wedge.front().tick < node.next + node.from) node.wedge.pop_front();
    if (got) {
      if (node.count >= node.from && is_known(taken)) slide(node, node.count, taken, node.kind == Kind::always);
      ++node.count;
    }
    if (!got || node.count > node.to) {
      value = node.wedge.empty() ? unknown : node.wedge.front().value;
      ++node.next;
      return true;
    }
  } while (ending_);
  return false;
}

TemporalFormula::Block TemporalFormula::joined(const Block& first, const Block& second) {
  return {lesser(first.least, second.least), greater(first.best, lesser(first.least, second.best))};
}

// The first tick of until's window leaves it: its f now belongs to [t, t+from).
void TemporalFormula::drop_first(Node& node) {
  const std::size_t size = node.pairs.size();
  if (node.begin == node.middle) {   // the back stack becomes the front stack
    Block block{{infinite, 0}, {-infinite, 0}};
    for (std::size_t tick = node.count; tick-- > node.middle;) {
      block = joined(node.pairs[tick % size], block);
      node.front[tick % size] = block;
    }
    node.middle = node.count;
    node.back = {{infinite, 0}, {-infinite, 0}};
  }
  while (!node.wedge.empty() && node.wedge.front().tick < node.next) node.wedge.pop_front();
  if (node.from > 0) slide(node, node.begin, node.pairs[node.begin % size].least, true);
  ++node.begin;
}

bool TemporalFormula::pull_until(Node& node, Value& value) {
  const std::size_t size = node.pairs.size();
  do {
    Value f, g;
    const bool got = !node.cut && pull_pair(node, f, g) && is_known(f) && is_known(g);
    node.cut = node.cut || (ending_ && !got);
    if (!got && (!ending_ || node.next + node.from >= node.count)) return false;
    if (got) {
      if (node.count - node.begin == size) drop_first(node);
      node.pairs[node.count % size] = {f, g};
      node.back = joined(node.back, {f, g});
      ++node.count;
    }
    if (!got || node.count > node.to) {
      while (node.begin < node.next + node.from) drop_first(node);
      while (!node.wedge.empty() && node.wedge.front().tick < node.next) node.wedge.pop_front();
      const Block window = node.begin < node.middle ? joined(node.front[node.begin % size], node.back) : node.back;
      value = node.wedge.empty() ? window.best : lesser(node.wedge.front().value, window.best);
      ++node.next;
      return true;
    }
  } while (ending_);
  return false;
}

}  // namespace sim
