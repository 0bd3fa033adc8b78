#include "sim/flat_truth.h"

#include <optional>

#include "sim/expression.h"

namespace sim {

namespace {

using Shape = FlatTerm::Shape;

// What stands on the stack while the instructions are followed.
struct Operand {
  enum class Kind { number, value, truth } kind = Kind::number;
  double number = 0.0;
  FlatTerm value{};                  // sign * f(x) + constant
  bool offset = false;               // value: x is taken from value.offset; with Shape::signal the difference is not yet absolute
  FlatTruth truth{};

  bool plain() const { return kind == Kind::value && value.sign == 1.0 && value.constant == 0.0; }
  bool signal() const { return plain() && value.shape == Shape::signal && !offset; }
};

Operand of_signal(std::uint16_t slot) {
  Operand made{.kind = Operand::Kind::value, .value = {.a = slot}};
  return made;
}

std::optional<Operand> difference(const Operand& left, const Operand& right) {
  Operand made = left;
  if (left.signal() && right.signal()) {
    made.value.shape = Shape::difference;
    made.value.b = right.value.a;
    return made;
  }
  if (left.signal() && right.kind == Operand::Kind::number) {
    made.offset = true;
    made.value.offset = right.number;
    return made;
  }
  if (left.plain() && !left.offset && right.kind == Operand::Kind::number) {
    made.value.constant = -right.number;
    return made;
  }
  if (left.kind == Operand::Kind::number && right.plain() && !right.offset) {
    made = right;
    made.value.sign = -1.0;
    made.value.constant = left.number;
    return made;
  }
  return {};
}

std::optional<Operand> absolute(Operand operand) {
  FlatTerm& value = operand.value;
  if (operand.kind != Operand::Kind::value) return {};
  if (operand.plain() && value.shape == Shape::difference) {
    value.shape = Shape::distance;
    return operand;
  }
  if (value.shape != Shape::signal) return {};
  if (value.sign == -1.0) {                          // constant - signal is as far
    value.offset = value.constant;
    value.sign = 1.0;
    value.constant = 0.0;
  } else if (!operand.plain()) {
    return {};
  }
  value.shape = Shape::distance_to_offset;
  operand.offset = false;
  return operand;
}

// A value whose sign is the verdict.
std::optional<Operand> settled(const Operand& operand, bool loose, std::uint8_t comparison) {
  if (operand.kind != Operand::Kind::value) return {};
  FlatTerm term = operand.value;
  if (operand.offset) term.constant = -term.offset;  // signal - constant
  term.loose = loose;
  term.comparison = comparison;
  return Operand{.kind = Operand::Kind::truth, .truth = FlatTruth({term}, true)};
}

std::optional<Operand> joined(const Operand& left, const Operand& right, bool all) {
  if (left.kind != Operand::Kind::truth || right.kind != Operand::Kind::truth) return {};
  std::vector<FlatTerm> terms = left.truth.terms();
  for (const FlatTruth* truth : {&left.truth, &right.truth})
    if (truth->terms().size() > 1 && truth->all() != all) return {};
  terms.insert(terms.end(), right.truth.terms().begin(), right.truth.terms().end());
  return Operand{.kind = Operand::Kind::truth, .truth = FlatTruth(std::move(terms), all)};
}

}  // namespace

FlatTruth Expression::flat() const {
  if (is_temporal()) return {};
  std::vector<Operand> stack;
  for (const Instruction& step : code_) {
    std::optional<Operand> made;
    const auto pop = [&stack] {
      Operand top = std::move(stack.back());
      stack.pop_back();
      return top;
    };
    const auto compared = [&](double sign, double constant, bool loose) {
      FlatTerm term{.a = step.slot, .sign = sign, .constant = constant};
      return settled(Operand{.kind = Operand::Kind::value, .value = term}, loose, step.comparison);
    };
    const auto coded = [&](double sign) {
      FlatTerm term{.shape = Shape::code, .a = step.slot, .sign = sign, .offset = step.constant};
      return settled(Operand{.kind = Operand::Kind::value, .value = term}, false, step.comparison);
    };
    switch (step.op) {
      case Op::constant: made = Operand{.number = step.constant}; break;
      case Op::signal: made = of_signal(step.slot); break;
      case Op::absolute: made = absolute(pop()); break;
      case Op::settle_strict: made = settled(pop(), false, step.comparison); break;
      case Op::settle_loose: made = settled(pop(), true, step.comparison); break;
      case Op::signal_below: made = compared(-1.0, step.constant, false); break;
      case Op::signal_below_or_at: made = compared(-1.0, step.constant, true); break;
      case Op::signal_above: made = compared(1.0, -step.constant, false); break;
      case Op::signal_above_or_at: made = compared(1.0, -step.constant, true); break;
      case Op::code_is: made = coded(1.0); break;
      case Op::code_is_not: made = coded(-1.0); break;
      case Op::logical_not:
        if (Operand top = pop(); top.kind == Operand::Kind::truth) made = Operand{.kind = top.kind, .truth = top.truth.negated()};
        break;
      case Op::subtract:
      case Op::logical_and:
      case Op::logical_or: {
        const Operand right = pop(), left = pop();
        made = step.op == Op::subtract ? difference(left, right) : joined(left, right, step.op == Op::logical_and);
        break;
      }
      default: break;
    }
    if (!made) return {};
    stack.push_back(std::move(*made));
  }
  return stack.size() == 1 ? stack.front().truth : FlatTruth();
}

}  // namespace sim
