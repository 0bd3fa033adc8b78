#include "sim/open_formula.h"

#include <algorithm>
#include <limits>

#include "sim/three_valued_margin.h"

namespace sim {

namespace {

using namespace kleene;
constexpr double infinite = std::numeric_limits<double>::infinity();

// What there is of the two.
Value least_of(Value a, Value b) { return !is_known(a) ? b : !is_known(b) ? a : lesser(a, b); }
Value greatest_of(Value a, Value b) { return !is_known(a) ? b : !is_known(b) ? a : greater(a, b); }

}  // namespace

int OpenFormula::add_leaf(TemporalFormula formula) {
  horizon_ = std::max(horizon_, formula.horizon());
  leaves_.push_back({std::move(formula), {}});
  nodes_.push_back({Kind::leaf, -1, -1, static_cast<int>(leaves_.size()) - 1});
  return static_cast<int>(nodes_.size()) - 1;
}

int OpenFormula::add(Kind kind, int left, int right) {
  const bool joins = kind == Kind::conjunction || kind == Kind::disjunction;
  nodes_.push_back({kind, left, right, joins ? -1 : static_cast<int>(operators_++)});
  return static_cast<int>(nodes_.size()) - 1;
}

void OpenFormula::ready() {
  for (Leaf& leaf : leaves_) leaf.values.resize(horizon_ + 2);
  now_.resize(nodes_.size());
  worths_.resize(operators_);
  corners_.resize(std::size_t{1} << operators_);
  next_.resize(corners_.size());
  reset();
}

std::size_t OpenFormula::bytes() const {
  std::size_t sum = 0;
  for (const Leaf& leaf : leaves_) sum += leaf.formula.bytes() + leaf.values.size() * sizeof(Value);
  return sum;
}

void OpenFormula::reset() {
  for (Leaf& leaf : leaves_) {
    leaf.formula.reset();
    leaf.begin = leaf.count = 0;
  }
  ticks_ = 0;
  gathered_ = rest_gathered_ = false;
}

void OpenFormula::Leaf::visit(Archive& archive) {
  archive(formula, begin, count);
  archive.check(count <= values.size() && begin <= values.size(), "a window of another length");
  for (std::size_t offset = 0; offset < count; ++offset) archive(at(offset));
}

void OpenFormula::visit(Archive& archive) {
  archive.each(leaves_);
  archive.each(corners_);
  archive(ticks_, gathered_);
}

bool OpenFormula::push(std::span<const Value> atoms, Gather gather, double at_s, bool counts) {
  for (Leaf& leaf : leaves_) {
    Value known;
    if (!leaf.formula.push(atoms, known)) continue;
    leaf.at(leaf.count++) = known;
  }
  if (ticks_++ < horizon_) return false;
  take_in(gather, at_s, counts);
  for (Leaf& leaf : leaves_) {
    if (++leaf.begin == leaf.values.size()) leaf.begin = 0;
    --leaf.count;
  }
  return true;
}

// corner: bit i says that operator i will be worth plus infinity at the next tick, else minus infinity.
Value OpenFormula::value_of(const Node& node, std::size_t corner) const {
  if (node.kind == Kind::leaf) {
    const Leaf& leaf = leaves_[static_cast<std::size_t>(node.number)];
    return leaf.values[leaf.begin];
  }
  const Value left = now_[static_cast<std::size_t>(node.left)];
  const Value right = node.right >= 0 ? now_[static_cast<std::size_t>(node.right)] : left;
  const bool joins = node.kind == Kind::conjunction || node.kind == Kind::disjunction;
  const Value later{!joins && ((corner >> node.number) & 1u) != 0 ? infinite : -infinite, 0};
  switch (node.kind) {
    case Kind::conjunction: return lesser(left, right);
    case Kind::disjunction: return greater(left, right);
    case Kind::always: return lesser(left, later);
    case Kind::eventually: return greater(left, later);
    case Kind::until: return greater(right, lesser(left, later));
    case Kind::release: return lesser(right, greater(left, later));
    case Kind::leaf: break;
  }
  return left;
}

// What is gathered, at these worths: the greatest over its corners of the least of the corner and the worths that are high there.
OpenFormula::Kept OpenFormula::at(std::span<const Value> worths) const {
  Kept best = corners_[0];
  for (std::size_t corner = 1; corner < corners_.size(); ++corner) {
    Kept one = corners_[corner];
    for (std::size_t i = 0; i < worths.size(); ++i)
      if (((corner >> i) & 1u) != 0) one.value = lesser(one.value, worths[i]);
    if (one.value.margin > best.value.margin) best = one;
  }
  return best;
}

OpenFormula::Kept OpenFormula::chosen(Gather gather, const Kept& before, const Kept& now) {
  if (gather == Gather::first) return before;
  const bool better = gather == Gather::least ? now.value.margin < before.value.margin : now.value.margin > before.value.margin;
  return better ? now : before;
}

void OpenFormula::take_in(Gather gather, double at_s, bool counts) {
  for (std::size_t corner = 0; corner < corners_.size(); ++corner) {
    for (std::size_t i = 0; i < nodes_.size(); ++i) {
      now_[i] = value_of(nodes_[i], corner);
      if (nodes_[i].kind >= Kind::always) worths_[static_cast<std::size_t>(nodes_[i].number)] = now_[i];
    }
    const Kept now{now_.back(), at_s};
    if (!gathered_) next_[corner] = now;
    else next_[corner] = counts ? chosen(gather, at(worths_), now) : at(worths_);
  }
  if (!gathered_ && !counts) return;
  gathered_ = true;
  std::swap(corners_, next_);
}

bool OpenFormula::settled(Gather gather) const {
  if (!gathered_) return false;
  return gather == Gather::greatest ? corners_.front().value.margin > 0.0 : corners_.back().value.margin < 0.0;
}

// All that is still known goes to the leaves, in order. Returns the number of ticks.
std::size_t OpenFormula::take_rest() {
  std::size_t rest = 0;
  for (Leaf& leaf : leaves_) {
    std::rotate(leaf.values.begin(), leaf.values.begin() + static_cast<std::ptrdiff_t>(leaf.begin), leaf.values.end());
    leaf.begin = 0;
    Value known;
    while (leaf.count < leaf.values.size() && leaf.formula.conclude(known)) leaf.values[leaf.count++] = known;
    rest = std::max(rest, leaf.count);
  }
  std::fill(worths_.begin(), worths_.end(), unknown);
  return rest;
}

// Backwards from the end: worths_ are those at the tick after it. Over what there is; until and its negation end before the next tick
// at which an operand is not known.
std::size_t OpenFormula::gather_rest(std::size_t tick, Gather gather, double at_s, bool counts) {
  for (std::size_t i = 0; i < nodes_.size(); ++i) {
    const Node& node = nodes_[i];
    if (node.kind == Kind::leaf) {
      const Leaf& leaf = leaves_[static_cast<std::size_t>(node.number)];
      now_[i] = tick < leaf.count ? leaf.values[tick] : unknown;
      continue;
    }
    const Value left = now_[static_cast<std::size_t>(node.left)];
    const Value right = node.right >= 0 ? now_[static_cast<std::size_t>(node.right)] : left;
    const bool joins = node.kind == Kind::conjunction || node.kind == Kind::disjunction;
    const Value later = joins ? unknown : worths_[static_cast<std::size_t>(node.number)];
    const bool there = is_known(left) && is_known(right), on = is_known(later);
    switch (node.kind) {
      case Kind::conjunction: now_[i] = both(left, right); break;
      case Kind::disjunction: now_[i] = either(left, right); break;
      case Kind::always: now_[i] = least_of(left, later); break;
      case Kind::eventually: now_[i] = greatest_of(left, later); break;
      case Kind::until: now_[i] = !there ? unknown : on ? greater(right, lesser(left, later)) : right; break;
      case Kind::release: now_[i] = !there ? unknown : on ? lesser(right, greater(left, later)) : right; break;
      case Kind::leaf: break;
    }
    if (!joins) worths_[static_cast<std::size_t>(node.number)] = now_[i];
  }
  const Value value = now_.back();
  if (gather == Gather::first && tick == 0) rest_gathered_ = false;        // only the first counts, known or not
  if (!counts || !is_known(value) || (gather == Gather::first && (tick > 0 || gathered_))) return 0;
  const Kept kept{value, at_s};
  rest_ = rest_gathered_ ? chosen(gather, kept, rest_) : kept;
  rest_gathered_ = true;
  return 1;
}

bool OpenFormula::finish(Gather gather, Kept& kept) {
  if (!gathered_ && !rest_gathered_) return false;
  if (!gathered_) {
    kept = rest_;
    return true;
  }
  for (const Node& node : nodes_) {
    if (node.kind < Kind::always) continue;
    Value& worth = worths_[static_cast<std::size_t>(node.number)];
    const bool high = node.kind == Kind::always || node.kind == Kind::release;
    if (!is_known(worth)) worth = {high ? infinite : -infinite, 0};
  }
  kept = at(worths_);
  if (rest_gathered_) kept = chosen(gather, kept, rest_);
  return true;
}

}  // namespace sim
