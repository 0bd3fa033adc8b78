#include "sim/expression.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <utility>

#include "sim/expression_parser.h"
#include "sim/input_error.h"

namespace sim {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
// A margin on the boundary is not 0 but this much to the side that the comparison takes it to: min, max and - keep it.
constexpr double touch = 1e-300;
constexpr int stack_max = 24;
constexpr double instant_s = 1e-6;   // instants closer than this are one: tick times are not exact in binary
constexpr double windows_max_s = 86400.0;

double settled(double margin, double at_zero) {
  if (margin == 0.0) return at_zero;
  return margin == margin ? margin : -infinite;
}

// What a node measures. factor: SI per one of it. flexible: a constant, which takes the unit of what it stands beside.
struct Quality {
  bool truth = false;
  Dimension dimension;
  Reference reference = Reference::none;
  double factor = 1.0;
  std::string unit = "1";
  bool constant = false, composed = false;
  double value_si = 0.0;           // constant
  int code_signal = -1;            // a signal that is a code
  bool whole = false;              // a signal that counts
  bool bits = false;               // a signal of bits
};

const Dimension pressure{{1, -1, -2, 0, 0, 0}};
const Dimension kelvin{{0, 0, 0, 1, 0, 0}};
const Dimension seconds{{0, 0, 1, 0, 0, 0}};

std::string described(const Quality& quality) {
  if (quality.truth) return "a truth";
  if (quality.dimension == kelvin) return quality.reference == Reference::degc ? "a temperature (degC)" : "a temperature difference (K)";
  if (quality.dimension == pressure) {
    const std::string_view reference = name_of(quality.reference);
    if (reference.empty()) return "a pressure";
    return (quality.reference == Reference::abs ? "an " : "a ") + std::string(reference) + " pressure";
  }
  if (quality.dimension.is_number()) return "a pure number";
  return name_of(quality.dimension) + " (" + quality.unit + ")";
}

std::string message_of(const std::string& found, const std::string& expected, const std::string& nearest) {
  return "found " + found + "; expected " + expected + (nearest.empty() ? "" : "; nearest: " + nearest);
}

}  // namespace

ExpressionError::ExpressionError(std::string found_, std::string expected_, std::string nearest_, int column_)
    : std::runtime_error(message_of(found_, expected_, nearest_)), found(std::move(found_)), expected(std::move(expected_)),
      nearest(std::move(nearest_)), column(column_) {}

InputError input_error(const ExpressionError& error, const SourcePlace& place, std::string_view text, int character,
                       std::string_view of) {
  const std::string where = " (character " + std::to_string(character) + " of `" + std::string(text) + "`)";
  return {place, error.found + (of.empty() ? "" : " in " + std::string(of)) + where, error.expected, error.nearest};
}

// Checks the tree's quantities and makes code of it, operands first.
class ExpressionCompiler {
 public:
  ExpressionCompiler(Expression& expression, const SignalTable& table, double period_s)
      : expression_(expression), table_(table), period_s_(period_s) {}

  void compile(std::string_view text) {
    const std::unique_ptr<ExpressionNode> root = parse_expression(text);
    check_truth(*root);
    if (has_window(*root)) emit_formula(*root);
    else emit_truth(*root);
    expression_.text_ = std::string(text);
  }

 private:
  using Op = Expression::Op;
  using Node = ExpressionNode;

  [[noreturn]] static void fail(const Node& node, const std::string& found, const std::string& expected,
                                const std::string& nearest = "") {
    throw ExpressionError(found, expected, nearest, node.column);
  }

  // --- checking ---

  Quality check_truth(const Node& node) {
    const Quality quality = check(node);
    if (!quality.truth && !quality.whole) {
      fail(node, described(quality), "a truth: a comparison (<, <=, >, >=, ==, !=), or such joined by and, or, not, implies");
    }
    return quality;
  }

  Quality check_value(const Node& node) {
    Quality quality = check(node);
    if (quality.truth) fail(node, "a truth", "a quantity");
    if (quality.code_signal >= 0) {
      fail(node, "`" + node.word + "`, which is a code", "a quantity (a code stands only beside == or !=)");
    }
    if (quality.bits) {
      fail(node, "`" + node.word + "`, which is bits, as a quantity",
           "`> 0` (some bit is set), or == or != and a value of all bits");
    }
    return quality;
  }

  Quality check(const Node& node) {
    switch (node.kind) {
      case NodeKind::literal: return literal(node);
      case NodeKind::name: return name(node);
      case NodeKind::add:
      case NodeKind::subtract: return sum(node);
      case NodeKind::multiply:
      case NodeKind::divide: return product(node);
      case NodeKind::negate:
      case NodeKind::absolute: return negated(node);
      case NodeKind::minimum:
      case NodeKind::maximum: return extreme(node);
      case NodeKind::rise:
      case NodeKind::travel: return change(node);
      case NodeKind::reversals: return count(node);
      case NodeKind::elapsed: return time();
      case NodeKind::past: return gate(node);
      case NodeKind::time_when:
      case NodeKind::last_when:
      case NodeKind::held_for: check_truth(*node.operands[0]); return time();
      case NodeKind::less:
      case NodeKind::less_equal:
      case NodeKind::greater:
      case NodeKind::greater_equal:
      case NodeKind::equal:
      case NodeKind::not_equal: return comparison(node);
      default: break;
    }
    for (const auto& operand : node.operands) check_truth(*operand);
    Quality quality;
    quality.truth = true;
    return quality;
  }

  static Quality time() {
    Quality quality;
    quality.dimension = seconds;
    quality.unit = "s";
    return quality;
  }

  static Quality of_unit(const Unit& unit) {
    Quality quality;
    quality.dimension = unit.dimension;
    quality.reference = unit.reference;
    quality.factor = unit.factor;
    quality.unit = unit.text.empty() ? "1" : unit.text;
    return quality;
  }

  static Quality literal(const Node& node) {
    Quality quality = of_unit(node.literal.unit);
    quality.constant = true;
    quality.value_si = node.literal.si();
    return quality;
  }

  Quality name(const Node& node) {
    const int index = table_.find(node.word);
    if (index < 0) {
      for (const auto& names : {state_names(), phase_names()}) {
        if (std::find(names.begin(), names.end(), node.word) != names.end()) {
          fail(node, "`" + node.word + "` by itself", "a comparison with its signal, such as programme.state == held");
        }
      }
      fail(node, "`" + node.word + "`, which is no signal", "a signal", table_.nearest(node.word));
    }
    const Signal& signal = table_.signals()[static_cast<std::size_t>(index)];
    Quality quality = of_unit(unit_of(signal.quantity));
    quality.unit = signal.unit;
    if (!signal.codes.empty()) quality.code_signal = index;
    quality.whole = signal.codes.empty() && signal.decimals == 0 && signal.unit == "1";
    quality.bits = signal.bits;
    return quality;
  }

  // `oxygen.pv < 20` would mean twenty times everything.
  static bool bare(const Quality& number, const Quality& beside) {
    return number.constant && number.dimension.is_number() && number.unit == "1" && !beside.constant && !beside.composed &&
           beside.unit != "1";
  }

  // Two that stand side by side: one dimension, and references that agree. The result has the unit of the one that is a signal.
  Quality matched(const Node& node, const Quality& left, const Quality& right) {
    if (left.dimension != right.dimension) fail(node, described(left) + " beside " + described(right), "the same quantity on both sides");
    if (bare(left, right) || bare(right, left)) {
      const std::string unit = left.constant ? right.unit : left.unit;
      fail(node, "a bare number beside a value in " + unit, "a number with its unit, such as " + unit);
    }
    const bool left_point = left.reference == Reference::degc, right_point = right.reference == Reference::degc;
    const bool same = left.reference == right.reference || left.reference == Reference::missing ||
                      right.reference == Reference::missing ||
                      (left.dimension == pressure && (left.reference == Reference::none || right.reference == Reference::none));
    if (left_point != right_point || !same) {
      fail(node, described(left) + " beside " + described(right),
           left.dimension == kelvin ? "degC beside degC, or K beside K" : "pressures with the same reference: gauge, abs or diff");
    }
    const bool take_right = left.constant ? true : (left.composed && right.constant);
    Quality result = take_right ? right : left;
    if (left.constant && right.composed) result = left;
    if (left.constant && right.constant) result = left;
    result.reference = left.reference == Reference::missing || left.reference == Reference::none ? right.reference : left.reference;
    if (left.dimension != pressure) result.reference = left.reference;
    result.constant = left.constant && right.constant;
    result.composed = left.composed && right.composed;
    result.whole = false;
    return result;
  }

  Quality sum(const Node& node) {
    const Quality left = check_value(*node.operands[0]), right = check_value(*node.operands[1]);
    const bool minus = node.kind == NodeKind::subtract;
    if (left.dimension == kelvin && right.dimension == kelvin &&
        (left.reference == Reference::degc || right.reference == Reference::degc)) {
      return temperature_sum(node, left, right, minus);
    }
    if (left.dimension == pressure && right.dimension == pressure && left.reference != right.reference &&
        (left.reference == Reference::diff || right.reference == Reference::diff)) {
      return shifted(node, left, right, minus);
    }
    if (!minus && left.dimension == pressure && left.reference == right.reference &&
        (left.reference == Reference::gauge || left.reference == Reference::abs)) {
      fail(node, described(left) + " plus " + described(right), "a difference (diff) to add");
    }
    Quality result = matched(node, left, right);
    const bool both_stated = left.reference == right.reference;
    if (minus && left.dimension == pressure && both_stated && left.reference != Reference::missing) result.reference = Reference::diff;
    if (minus && left.dimension == pressure && !both_stated) result.reference = Reference::missing;
    result.value_si = minus ? left.value_si - right.value_si : left.value_si + right.value_si;
    return result;
  }

  // degC - degC = K; degC +- K = degC; K + degC = degC.
  Quality temperature_sum(const Node& node, const Quality& left, const Quality& right, bool minus) {
    const bool both = left.reference == right.reference;
    if (both && !minus) fail(node, "a temperature plus a temperature", "a temperature difference in K to add");
    if (!both && minus && right.reference == Reference::degc)
      fail(node, "a temperature taken from a difference", "degC - degC or degC - K");
    Quality result = left.constant ? right : left;
    result.constant = left.constant && right.constant;
    result.whole = false;
    result.value_si = minus ? left.value_si - right.value_si : left.value_si + right.value_si;
    result.reference = both ? Reference::none : Reference::degc;
    result.factor = 1.0;
    result.unit = both ? "K" : "degC";
    return result;
  }

  // A gauge or absolute pressure moved by a difference keeps its reference.
  Quality shifted(const Node& node, const Quality& left, const Quality& right, bool minus) {
    if (minus && right.reference != Reference::diff && right.reference != Reference::missing) {
      fail(node, described(right) + " taken from a difference", "a difference (diff)");
    }
    Quality result = left.constant ? right : left;
    result.reference = left.reference == Reference::diff ? right.reference : left.reference;
    result.constant = left.constant && right.constant;
    result.whole = false;
    result.value_si = minus ? left.value_si - right.value_si : left.value_si + right.value_si;
    return result;
  }

  Quality product(const Node& node) {
    const Quality left = check_value(*node.operands[0]), right = check_value(*node.operands[1]);
    if (left.reference == Reference::degc || right.reference == Reference::degc) {
      fail(node, "a temperature on a scale (degC) in a product or quotient", "a temperature difference in K");
    }
    const bool divide = node.kind == NodeKind::divide;
    Quality result;
    result.dimension = divide ? left.dimension / right.dimension : left.dimension * right.dimension;
    result.reference = result.dimension == pressure ? Reference::missing : Reference::none;
    result.factor = divide ? left.factor / right.factor : left.factor * right.factor;
    if (right.unit == "1") result.unit = left.unit;
    else if (divide)
      result.unit = left.unit + "/" + (right.unit.find_first_of(" /") == std::string::npos ? right.unit : "(" + right.unit + ")");
    else result.unit = left.unit == "1" ? right.unit : left.unit + " " + right.unit;
    result.constant = left.constant && right.constant;
    result.composed = !(left.unit == "1" || right.unit == "1");
    result.value_si = divide ? (right.value_si == 0.0 ? 0.0 : left.value_si / right.value_si) : left.value_si * right.value_si;
    if (divide && right.constant && right.value_si == 0.0) fail(node, "a division by zero", "another divisor");
    return result;
  }

  Quality negated(const Node& node) {
    Quality quality = check_value(*node.operands[0]);
    if (quality.reference == Reference::degc) fail(node, "a temperature on a scale (degC)", "a temperature difference in K");
    if (quality.reference == Reference::gauge || quality.reference == Reference::abs) quality.reference = Reference::missing;
    quality.value_si = node.kind == NodeKind::absolute ? std::fabs(quality.value_si) : -quality.value_si;
    quality.whole = false;
    return quality;
  }

  Quality extreme(const Node& node) {
    Quality result = check_value(*node.operands[0]);
    result.whole = false;
    for (std::size_t i = 1; i < node.operands.size(); ++i) {
      const Quality next = check_value(*node.operands[i]);
      const double lower = std::min(result.value_si, next.value_si), upper = std::max(result.value_si, next.value_si);
      result = matched(node, result, next);
      result.value_si = node.kind == NodeKind::minimum ? lower : upper;
    }
    return result;
  }

  Quality change(const Node& node) {
    Quality quality = check_value(*node.operands[0]);
    if (quality.dimension == kelvin) quality.unit = "K";
    quality.reference = quality.dimension == pressure ? Reference::diff : Reference::none;
    quality.constant = quality.whole = false;
    return quality;
  }

  Quality count(const Node& node) {
    const Node& band = *node.operands[1];
    const Quality dead_band = check_value(band);
    matched(node, change(node), dead_band);
    if (!dead_band.constant || dead_band.value_si < 0.0)
      fail(band, "a dead band that is no constant from 0 up", "one such as 0.5 K or 10 Pa");
    return {};
  }

  Quality gate(const Node& node) {
    const Quality delay = check_value(*node.operands[0]);
    if (!delay.constant || delay.dimension != seconds) fail(*node.operands[0], described(delay), "a constant time, such as 15 min");
    Quality truth;
    truth.truth = true;
    return truth;
  }

  Quality comparison(const Node& node) {
    Quality truth;
    truth.truth = true;
    if (code_side(node) >= 0) {
      if (node.kind != NodeKind::equal && node.kind != NodeKind::not_equal) fail(node, "an order of codes", "== or !=");
      code_value(node);
      return truth;
    }
    const bool alike = node.kind == NodeKind::equal || node.kind == NodeKind::not_equal || asks_for_some_bit(node);
    const auto side = [&](std::size_t n) { return alike ? checked_beside(*node.operands[n]) : check_value(*node.operands[n]); };
    const Quality left = side(0), right = side(1);
    if ((left.bits && !right.constant && !right.bits) || (right.bits && !left.constant && !left.bits))
      fail(node, "bits beside a quantity", "a number or other bits beside them");
    matched(node, left, right);
    return truth;
  }

  // What stands beside == or !=, where a signal of bits may.
  Quality checked_beside(const Node& node) {
    const Quality quality = check(node);
    return quality.bits ? quality : check_value(node);
  }

  // `alarms.unacknowledged > 0`: the one order that means something of bits. Which bit it is makes no margin.
  bool asks_for_some_bit(const Node& node) {
    if (node.kind != NodeKind::greater && node.kind != NodeKind::less) return false;
    const std::size_t greater = node.kind == NodeKind::greater ? 0 : 1;
    const Node &bits = *node.operands[greater], &none = *node.operands[1 - greater];
    const int index = bits.kind == NodeKind::name ? table_.find(bits.word) : -1;
    if (index < 0 || !table_.signals()[static_cast<std::size_t>(index)].bits) return false;
    const Quality beside = check(none);
    return beside.constant && beside.value_si == 0.0;
  }

  // --- codes: programme.state == held ---

  int code_of(const Node& node) const {
    const int index = node.kind == NodeKind::name ? table_.find(node.word) : -1;
    return index >= 0 && !table_.signals()[static_cast<std::size_t>(index)].codes.empty() ? index : -1;
  }
  // Which operand is a signal that is a code: 0, 1, or -1.
  int code_side(const Node& node) const {
    if (code_of(*node.operands[0]) >= 0) return 0;
    return code_of(*node.operands[1]) >= 0 ? 1 : -1;
  }
  double code_value(const Node& node) const {
    const std::size_t side = static_cast<std::size_t>(code_side(node));
    const Node& other = *node.operands[1 - side];
    const Signal& signal = table_.signals()[static_cast<std::size_t>(code_of(*node.operands[side]))];
    std::string list;
    for (std::size_t i = 0; i < signal.codes.size(); ++i) {
      if (other.kind == NodeKind::name && other.word == signal.codes[i]) return static_cast<double>(i);
      list += (i == 0 ? "" : i + 1 == signal.codes.size() ? " or " : ", ") + signal.codes[i];
    }
    const std::string near = other.kind == NodeKind::name ? nearest_name(other.word, signal.codes) : "";
    fail(other, other.kind == NodeKind::name ? "`" + other.word + "`" : "a quantity beside the code " + signal.name, list, near);
  }

  // --- making code ---

  void add(const Node& node, Op op, double constant = 0.0, int slot = 0, std::uint8_t comparison = 0) {
    expression_.code_.push_back({op, comparison, static_cast<std::uint16_t>(slot), constant});
    switch (op) {
      case Op::constant:
      case Op::signal:
      case Op::elapsed:
      case Op::signal_below:
      case Op::signal_below_or_at:
      case Op::signal_above:
      case Op::signal_above_or_at:
      case Op::code_is:
      case Op::code_is_not: ++height_; break;
      case Op::add:
      case Op::subtract:
      case Op::multiply:
      case Op::divide:
      case Op::minimum:
      case Op::maximum:
      case Op::equal:
      case Op::not_equal:
      case Op::code_equal:
      case Op::code_not_equal:
      case Op::logical_and:
      case Op::logical_or: --height_; break;
      default: break;
    }
    if (height_ > stack_max) fail(node, "an expression that keeps more than 24 values open", "a flatter expression");
  }

  std::uint8_t comparison_index(const Node& node, const std::string& unit, double limit) {
    auto& known = expression_.comparisons_;
    for (std::size_t i = 0; i < known.size(); ++i) {
      if (known[i].unit == unit && known[i].limit == limit) return static_cast<std::uint8_t>(i);
    }
    if (known.size() >= 255) fail(node, "more than 255 comparisons", "a shorter expression");
    known.push_back({unit, limit});
    return static_cast<std::uint8_t>(known.size() - 1);
  }

  int remember(int count) {
    auto& memory = expression_.memory_;
    memory.resize(memory.size() + static_cast<std::size_t>(count), 0.0);
    return static_cast<int>(memory.size()) - count;
  }

  // Leaves the node's value on the stack, in units of `factor` SI.
  void emit_value(const Node& node, double factor) {
    const Quality quality = check(node);
    if (quality.constant) return add(node, Op::constant, quality.value_si / factor);
    emit_in_own_unit(node, quality);
    if (quality.factor != factor) add(node, Op::scale, quality.factor / factor);
  }

  void emit_in_own_unit(const Node& node, const Quality& quality) {
    switch (node.kind) {
      case NodeKind::name: return add(node, Op::signal, 0.0, table_.find(node.word));
      case NodeKind::add: return emit_pair(node, quality.factor, Op::add);
      case NodeKind::subtract: return emit_pair(node, quality.factor, Op::subtract);
      case NodeKind::multiply:
      case NodeKind::divide:
        emit_value(*node.operands[0], check(*node.operands[0]).factor);
        emit_value(*node.operands[1], check(*node.operands[1]).factor);
        return add(node, node.kind == NodeKind::multiply ? Op::multiply : Op::divide);
      case NodeKind::negate:
      case NodeKind::absolute:
        emit_value(*node.operands[0], quality.factor);
        return add(node, node.kind == NodeKind::negate ? Op::negate : Op::absolute);
      case NodeKind::minimum:
      case NodeKind::maximum:
        emit_value(*node.operands[0], quality.factor);
        for (std::size_t i = 1; i < node.operands.size(); ++i) {
          emit_value(*node.operands[i], quality.factor);
          add(node, node.kind == NodeKind::minimum ? Op::minimum : Op::maximum);
        }
        return;
      case NodeKind::rise:
        emit_value(*node.operands[0], quality.factor);
        return add(node, Op::rise, 0.0, remember(1));
      case NodeKind::travel:
        emit_value(*node.operands[0], quality.factor);
        return add(node, Op::travel, 0.0, remember(2));
      case NodeKind::reversals: {
        const Quality moved = check(*node.operands[0]);
        emit_value(*node.operands[0], moved.factor);
        return add(node, Op::reversals, check(*node.operands[1]).value_si / moved.factor, remember(4));
      }
      case NodeKind::elapsed:
        remember(1);   // nothing to keep, but has_memory: the opening matters to it
        return add(node, Op::elapsed);
      case NodeKind::time_when:
        emit_truth(*node.operands[0]);
        return add(node, Op::time_when, 0.0, remember(1));
      case NodeKind::last_when:
        emit_truth(*node.operands[0]);
        return add(node, Op::last_when, 0.0, remember(1));
      case NodeKind::held_for:
        emit_truth(*node.operands[0]);
        return add(node, Op::held_for, 0.0, remember(1));
      default: fail(node, "a truth", "a quantity");
    }
  }

  void emit_pair(const Node& node, double factor, Op op) {
    emit_value(*node.operands[0], factor);
    emit_value(*node.operands[1], factor);
    add(node, op);
  }

  void emit_truth(const Node& node) {
    switch (node.kind) {
      case NodeKind::logical_not:
        emit_truth(*node.operands[0]);
        return add(node, Op::logical_not);
      case NodeKind::logical_and:
      case NodeKind::logical_or:
        emit_truth(*node.operands[0]);
        emit_truth(*node.operands[1]);
        return add(node, node.kind == NodeKind::logical_and ? Op::logical_and : Op::logical_or);
      case NodeKind::implies:
        emit_truth(*node.operands[0]);
        add(node, Op::logical_not);
        emit_truth(*node.operands[1]);
        return add(node, Op::logical_or);
      case NodeKind::past:
        remember(1);   // as elapsed()
        add(node, Op::elapsed);
        return add(node, Op::past, check(*node.operands[0]).value_si, 0, comparison_index(node, "1", 0.0));
      case NodeKind::name:   // a whole number: true unless 0
        return add(node, Op::code_is_not, 0.0, table_.find(node.word), comparison_index(node, "1", 0.0));
      default: return emit_comparison(node);
    }
  }

  // --- operators over a window ---

  static bool is_window(const Node& node) {
    return node.kind == NodeKind::always || node.kind == NodeKind::eventually || node.kind == NodeKind::until;
  }
  static bool has_window(const Node& node) {
    return is_window(node) ||
           std::any_of(node.operands.begin(), node.operands.end(), [](const auto& operand) { return has_window(*operand); });
  }

  void emit_formula(const Node& root) {
    expression_.temporal_.emplace_back();
    Expression::Temporal& temporal = expression_.temporal_.front();
    if (is_open(root)) {
      add_open(root, false);
      if (temporal.open.operators() > OpenFormula::operators_max)
        fail(root, "more than 4 operators to the end of the window", "at most 4");
      temporal.open.ready();
    } else {
      add_formula(root, temporal.formula);
      temporal.formula.ready();
    }
    temporal.values.resize(temporal.atoms.size());
  }

  // Has an operator to the end of the window.
  static bool is_open(const Node& node) {
    return node.open || std::any_of(node.operands.begin(), node.operands.end(), [](const auto& operand) { return is_open(*operand); });
  }

  // negated: its negation, carried to the leaves.
  int add_open(const Node& node, bool negated) {
    using Kind = OpenFormula::Kind;
    OpenFormula& open = expression_.temporal_.front().open;
    if (!is_open(node)) return open.add_leaf(leaf(node, negated, 0));
    if (node.kind < NodeKind::logical_not)
      fail(node, "an operator over a window inside a quantity", "the operator around the comparison");
    if (is_window(node) && !node.open) fail(node, "an operator to the end of the window inside one with an end", "`end` for both");
    const Node& first = *node.operands[0];
    const std::size_t from = is_window(node) ? ticks_from(node) : 0;
    if (from > 0 && (node.kind == NodeKind::until || is_open(first)))
      fail(node, "a beginning other than 0 s", "[0 s, end]: for until, and where the operand itself speaks of the end");
    if (node.kind == NodeKind::logical_not) return add_open(first, !negated);
    const bool flips = node.kind == NodeKind::implies ? !negated : negated;
    const int left = from > 0 ? open.add_leaf(leaf(first, negated, from)) : add_open(first, flips);
    const int right = node.operands.size() > 1 ? add_open(*node.operands[1], negated) : -1;
    switch (node.kind) {
      case NodeKind::logical_and: return open.add(negated ? Kind::disjunction : Kind::conjunction, left, right);
      case NodeKind::logical_or:
      case NodeKind::implies: return open.add(negated ? Kind::conjunction : Kind::disjunction, left, right);
      case NodeKind::always: return open.add(negated ? Kind::eventually : Kind::always, left);
      case NodeKind::eventually: return open.add(negated ? Kind::always : Kind::eventually, left);
      default: return open.add(negated ? Kind::release : Kind::until, left, right);
    }
  }

  // A formula of bounded windows, of the tick `from` ticks on.
  TemporalFormula leaf(const Node& node, bool negated, std::size_t from) {
    using Kind = TemporalFormula::Kind;
    TemporalFormula formula;
    int whole = add_formula(node, formula);
    if (negated) whole = formula.add(Kind::negation, whole);
    if (from > 0) formula.add(Kind::always, whole, -1, from, from);
    formula.ready();
    return formula;
  }

  int add_formula(const Node& node, TemporalFormula& formula) {
    using Kind = TemporalFormula::Kind;
    if (!has_window(node)) return add_atom(node, formula);
    std::size_t from = 0, to = 0;
    if (is_window(node)) take_window(node, from, to);
    if (node.kind < NodeKind::logical_not)
      fail(node, "an operator over a window inside a quantity", "the operator around the comparison");
    const int left = add_formula(*node.operands[0], formula);
    const int right = node.operands.size() > 1 ? add_formula(*node.operands[1], formula) : -1;
    switch (node.kind) {
      case NodeKind::logical_not: return formula.add(Kind::negation, left);
      case NodeKind::logical_and: return formula.add(Kind::conjunction, left, right);
      case NodeKind::logical_or: return formula.add(Kind::disjunction, left, right);
      case NodeKind::implies: return formula.add(Kind::disjunction, formula.add(Kind::negation, left), right);
      case NodeKind::always: return formula.add(Kind::always, left, -1, from, to);
      case NodeKind::eventually: return formula.add(Kind::eventually, left, -1, from, to);
      default: return formula.add(Kind::until, left, right, from, to);
    }
  }

  int add_atom(const Node& node, TemporalFormula& formula) {
    Expression::Temporal& temporal = expression_.temporal_.front();
    Expression atom;
    ExpressionCompiler(atom, table_, 0.0).emit_truth(node);
    std::vector<std::uint8_t> places;
    for (const auto& known : atom.comparisons_) places.push_back(comparison_index(node, known.unit, known.limit));
    for (auto& step : atom.code_) step.comparison = places[step.comparison];
    atom.comparisons_.clear();
    temporal.atoms.push_back(std::move(atom));
    return formula.add(TemporalFormula::Kind::atom, static_cast<int>(temporal.atoms.size()) - 1);
  }

  // Of [from, end].
  std::size_t ticks_from(const Node& node) {
    if (period_s_ <= 0.0)
      fail(node, "an operator over a window to come", "a condition on past and present (windows stand only in what is judged)");
    if (node.from.unit.dimension != seconds) fail(node, "a window end that is no time", "two times, as in [0 s, 4 min]");
    count_ahead(node, node.from.si());
    return static_cast<std::size_t>(std::ceil(node.from.si() / period_s_ - 1e-6));
  }

  void count_ahead(const Node& node, double to_s) {
    ticks_ahead_ += to_s / period_s_;
    if (ticks_ahead_ > windows_max_s / period_s_)
      fail(node, "windows of " + std::to_string(static_cast<long long>(std::min(ticks_ahead_, 1e18))) + " ticks together",
           "at most " + std::to_string(static_cast<long long>(windows_max_s / period_s_)) + " (24 h of ticks)");
  }

  // The ticks whose instants lie in the closed window.
  void take_window(const Node& node, std::size_t& from, std::size_t& to) {
    if (period_s_ <= 0.0)
      fail(node, "an operator over a window to come", "a condition on past and present (windows stand only in what is judged)");
    for (const Quantity& end : {node.from, node.to})
      if (end.unit.dimension != seconds) fail(node, "a window end that is no time", "two times, as in [0 s, 4 min]");
    const double from_s = node.from.si(), to_s = node.to.si();
    if (to_s < from_s) fail(node, "a window that ends before it begins", "its earlier end first, as in [0 s, 4 min]");
    count_ahead(node, to_s);
    const double first = std::ceil(from_s / period_s_ - 1e-6), last = std::floor(to_s / period_s_ + 1e-6);
    if (last < first) fail(node, "a window that holds no tick", "one that holds a multiple of the period");
    from = static_cast<std::size_t>(std::max(first, 0.0));
    to = static_cast<std::size_t>(last);
  }

  void emit_comparison(const Node& node) {
    if (is_window(node)) fail(node, "an operator over a window inside a function", "the operator around the comparison");
    const int side = code_side(node);
    if (side >= 0) {
      const int slot = code_of(*node.operands[static_cast<std::size_t>(side)]);
      return add(node, node.kind == NodeKind::equal ? Op::code_is : Op::code_is_not, code_value(node), slot,
                 comparison_index(node, "1", 0.0));
    }
    const Quality left = check(*node.operands[0]), right = check(*node.operands[1]);
    const Quality common = matched(node, left, right);
    const bool point = common.reference == Reference::degc;
    const double limit_si = left.constant ? left.value_si : right.constant ? right.value_si : 0.0;
    const std::uint8_t comparison = comparison_index(node, point ? "K" : common.unit, std::fabs(limit_si / common.factor));
    if (asks_for_some_bit(node)) {
      const std::size_t greater = node.kind == NodeKind::greater ? 0 : 1;
      return add(node, Op::code_is_not, 0.0, table_.find(node.operands[greater]->word), comparison);
    }
    if (node.kind == NodeKind::equal || node.kind == NodeKind::not_equal) {
      const bool codes = (left.whole || left.constant) && (right.whole || right.constant) && common.dimension.is_number();
      const bool same = node.kind == NodeKind::equal;
      if (left.whole && right.constant && codes) {
        return add(node, same ? Op::code_is : Op::code_is_not, right.value_si / common.factor, table_.find(node.operands[0]->word),
                   comparison);
      }
      emit_pair(node, common.factor, codes ? (same ? Op::code_equal : Op::code_not_equal) : (same ? Op::equal : Op::not_equal));
      expression_.code_.back().comparison = comparison;
      return;
    }
    const bool strict = node.kind == NodeKind::less || node.kind == NodeKind::greater;
    const bool below = node.kind == NodeKind::less || node.kind == NodeKind::less_equal;
    if (node.operands[0]->kind == NodeKind::name && right.constant && left.factor == common.factor) {
      const Op op = below ? (strict ? Op::signal_below : Op::signal_below_or_at) : (strict ? Op::signal_above : Op::signal_above_or_at);
      return add(node, op, right.value_si / common.factor, table_.find(node.operands[0]->word), comparison);
    }
    emit_value(*node.operands[below ? 1 : 0], common.factor);   // the margin is the greater minus the less
    emit_value(*node.operands[below ? 0 : 1], common.factor);
    add(node, Op::subtract);
    add(node, strict ? Op::settle_strict : Op::settle_loose, 0.0, 0, comparison);
  }

  Expression& expression_;
  const SignalTable& table_;
  double period_s_;
  double ticks_ahead_ = 0.0;
  int height_ = 0;
};

Expression::Expression(std::string_view text, const SignalTable& table, double period_s) {
  ExpressionCompiler(*this, table, period_s).compile(text);
}

void Expression::look_at_atoms(std::span<const double> frame, double time_s) {
  Temporal& temporal = temporal_.front();
  for (std::size_t i = 0; i < temporal.atoms.size(); ++i) {
    const Margin margin = temporal.atoms[i].evaluate(frame, time_s);
    temporal.values[i] = {margin.value, margin.decided};
  }
}

bool Expression::gather(std::span<const double> frame, double time_s, OpenFormula::Gather gather, double at_s, bool counts) {
  look_at_atoms(frame, time_s);
  return temporal_.front().open.push(temporal_.front().values, gather, at_s, counts);
}

bool Expression::look(std::span<const double> frame, double time_s, Margin& known) {
  Temporal& temporal = temporal_.front();
  look_at_atoms(frame, time_s);
  TemporalFormula::Value value;
  if (!temporal.formula.push(temporal.values, value)) return false;
  known = {value.margin, value.decided};
  return true;
}

bool Expression::conclude(Margin& known) {
  TemporalFormula::Value value;
  if (!temporal_.front().formula.conclude(value)) return false;
  known = {value.margin, value.decided};
  return true;
}

void Expression::visit(Archive& archive) {
  archive.each(memory_);
  archive(opened_s_, last_s_, opened_);
  archive.each(temporal_);
}

void Expression::Temporal::visit(Archive& archive) {
  archive(formula, open);
  archive.each(atoms);
}

void Expression::reset_temporal() {
  temporal_.front().formula.reset();
  temporal_.front().open.reset();
  for (Expression& atom : temporal_.front().atoms) atom.reset();
}

Expression::Margin Expression::evaluate_one(std::span<const double> frame) const {
  const Instruction& step = code_.front();
  const double value = frame[step.slot];
  switch (step.op) {
    case Op::signal_below: return {settled(step.constant - value, -touch), step.comparison};
    case Op::signal_below_or_at: return {settled(step.constant - value, touch), step.comparison};
    case Op::signal_above: return {settled(value - step.constant, -touch), step.comparison};
    case Op::signal_above_or_at: return {settled(value - step.constant, touch), step.comparison};
    case Op::code_is: return {value == step.constant ? infinite : -infinite, step.comparison};
    default: return {value == step.constant ? -infinite : infinite, step.comparison};   // code_is_not: no other stands alone
  }
}

Expression::Margin Expression::evaluate_all(std::span<const double> frame, double time_s) {
  const bool fresh = !opened_;
  if (fresh) {
    opened_ = true;
    opened_s_ = last_s_ = time_s;
  }
  double stack[stack_max + 1];   // [0] is nobody's operand
  std::uint8_t decided[stack_max + 1];
  stack[0] = 0.0;
  decided[0] = 0;
  std::size_t top = 0;
  for (const Instruction& step : code_) {
    const double x = stack[top];   // the top before this step, where the step has an operand
    switch (step.op) {
      case Op::constant: stack[++top] = step.constant; break;
      case Op::signal: stack[++top] = frame[step.slot]; break;
      case Op::add: --top; stack[top] += x; break;
      case Op::subtract: --top; stack[top] -= x; break;
      case Op::multiply: --top; stack[top] *= x; break;
      case Op::divide: --top; stack[top] = (stack[top] == 0.0 && x == 0.0) ? 0.0 : stack[top] / x; break;
      case Op::negate: stack[top] = -x; break;
      case Op::absolute: stack[top] = std::fabs(x); break;
      case Op::minimum: --top; stack[top] = x < stack[top] ? x : stack[top]; break;
      case Op::maximum: --top; stack[top] = x > stack[top] ? x : stack[top]; break;
      case Op::scale: stack[top] = x * step.constant; break;
      case Op::settle_strict: stack[top] = settled(x, -touch); decided[top] = step.comparison; break;
      case Op::settle_loose: stack[top] = settled(x, touch); decided[top] = step.comparison; break;
      case Op::signal_below: stack[++top] = settled(step.constant - frame[step.slot], -touch); decided[top] = step.comparison; break;
      case Op::signal_below_or_at: stack[++top] = settled(step.constant - frame[step.slot], touch); decided[top] = step.comparison; break;
      case Op::signal_above: stack[++top] = settled(frame[step.slot] - step.constant, -touch); decided[top] = step.comparison; break;
      case Op::signal_above_or_at: stack[++top] = settled(frame[step.slot] - step.constant, touch); decided[top] = step.comparison; break;
      case Op::equal: --top; stack[top] = settled(-std::fabs(stack[top] - x), touch); decided[top] = step.comparison; break;
      case Op::not_equal: --top; stack[top] = settled(std::fabs(stack[top] - x), -touch); decided[top] = step.comparison; break;
      case Op::code_equal: --top; stack[top] = stack[top] == x ? infinite : -infinite; decided[top] = step.comparison; break;
      case Op::code_not_equal: --top; stack[top] = stack[top] == x ? -infinite : infinite; decided[top] = step.comparison; break;
      case Op::code_is: stack[++top] = frame[step.slot] == step.constant ? infinite : -infinite; decided[top] = step.comparison; break;
      case Op::code_is_not: stack[++top] = frame[step.slot] == step.constant ? -infinite : infinite; decided[top] = step.comparison; break;
      case Op::past: stack[top] = x >= step.constant - instant_s ? infinite : -infinite; decided[top] = step.comparison; break;
      case Op::logical_not: stack[top] = -x; break;
      case Op::logical_and:
        if (!(stack[--top] <= x)) { stack[top] = x; decided[top] = decided[top + 1]; }
        break;
      case Op::logical_or:
        if (!(stack[--top] >= x)) { stack[top] = x; decided[top] = decided[top + 1]; }
        break;
      default: top = remembered(step, stack, top, fresh, time_s); break;
    }
  }
  last_s_ = time_s;
  return {stack[top], decided[top]};
}

// How often x has turned by more than the band. memory: highest and lowest of the way it is on, direction (0 not known yet), count.
double turned(double* memory, double x, double band, bool fresh) {
  double &high = memory[0], &low = memory[1], &direction = memory[2], &turns = memory[3];
  if (fresh) {
    high = low = x;
    direction = turns = 0.0;
  }
  high = std::max(high, x);
  low = std::min(low, x);
  const bool falls = high - x > band, rises = x - low > band;
  if (direction >= 0.0 && falls) {
    turns += direction;      // the first way taken is no turn
    direction = -1.0;
    low = x;
  } else if (direction <= 0.0 && rises) {
    turns -= direction;
    direction = 1.0;
    high = x;
  }
  return turns;
}

// The functions with a memory: rise, travel, reversals, elapsed, time_when, last_when, held_for.
std::size_t Expression::remembered(const Instruction& step, double* stack, std::size_t top, bool fresh, double time_s) {
  double* memory = memory_.data() + step.slot;
  switch (step.op) {
    case Op::rise:
      if (fresh) memory[0] = stack[top];
      stack[top] -= memory[0];
      break;
    case Op::travel:
      memory[1] = fresh ? 0.0 : memory[1] + std::fabs(stack[top] - memory[0]);
      memory[0] = stack[top];
      stack[top] = memory[1];
      break;
    case Op::reversals: stack[top] = turned(memory, stack[top], step.constant, fresh); break;
    case Op::elapsed: stack[++top] = time_s - opened_s_; break;
    case Op::time_when:
      if (fresh) memory[0] = -1.0;
      if (memory[0] < 0.0 && stack[top] > 0.0) memory[0] = time_s - opened_s_;
      stack[top] = memory[0] < 0.0 ? time_s - opened_s_ : memory[0];
      break;
    case Op::last_when:
      if (fresh) memory[0] = 0.0;
      if (stack[top] > 0.0) memory[0] = time_s - opened_s_;
      stack[top] = memory[0];
      break;
    case Op::held_for:
      if (fresh) memory[0] = 0.0;
      else if (stack[top] > 0.0) memory[0] += time_s - last_s_;
      stack[top] = memory[0];
      break;
    default: break;
  }
  return top;
}

std::vector<std::uint16_t> Expression::signal_slots() const {
  std::vector<std::uint16_t> slots;
  for (const Instruction& step : code_) {
    switch (step.op) {
      case Op::signal:
      case Op::signal_below:
      case Op::signal_below_or_at:
      case Op::signal_above:
      case Op::signal_above_or_at:
      case Op::code_is:
      case Op::code_is_not:
        if (std::find(slots.begin(), slots.end(), step.slot) == slots.end()) slots.push_back(step.slot);
        break;
      default: break;
    }
  }
  for (const Temporal& temporal : temporal_)
    for (const Expression& atom : temporal.atoms)
      for (const std::uint16_t slot : atom.signal_slots())
        if (std::find(slots.begin(), slots.end(), slot) == slots.end()) slots.push_back(slot);
  return slots;
}

std::vector<double> Expression::limits_of(std::uint16_t slot) const {
  std::vector<double> limits;
  for (const Instruction& step : code_) {
    const bool held = step.op == Op::signal_below || step.op == Op::signal_below_or_at || step.op == Op::signal_above ||
                      step.op == Op::signal_above_or_at;
    if (held && step.slot == slot && std::find(limits.begin(), limits.end(), step.constant) == limits.end())
      limits.push_back(step.constant);
  }
  for (const Temporal& temporal : temporal_)
    for (const Expression& atom : temporal.atoms)
      for (const double limit : atom.limits_of(slot))
        if (std::find(limits.begin(), limits.end(), limit) == limits.end()) limits.push_back(limit);
  return limits;
}

double printed_margin(double value) {
  if (value == infinite) return 1.0;
  if (value == -infinite) return -1.0;
  return std::fabs(value) <= touch ? 0.0 : value;
}

}  // namespace sim
