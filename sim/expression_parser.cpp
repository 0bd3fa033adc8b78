#include "sim/expression_parser.h"

#include <array>
#include <utility>

#include "sim/expression.h"
#include "sim/input_error.h"

namespace sim {

namespace {

using Node = std::unique_ptr<ExpressionNode>;

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_name_char(char c) { return is_letter(c) || is_digit(c) || c == '_' || c == '.'; }

struct Function {
  std::string_view name;
  NodeKind kind;
  int operands;                                   // -1: two or more
};
constexpr std::array<Function, 11> functions = {{{"abs", NodeKind::absolute, 1},
                                                {"min", NodeKind::minimum, -1},
                                                {"max", NodeKind::maximum, -1},
                                                {"rise", NodeKind::rise, 1},
                                                {"travel", NodeKind::travel, 1},
                                                {"reversals", NodeKind::reversals, 2},
                                                {"elapsed", NodeKind::elapsed, 0},
                                                {"past", NodeKind::past, 1},
                                                {"time_when", NodeKind::time_when, 1},
                                                {"last_when", NodeKind::last_when, 1},
                                                {"held_for", NodeKind::held_for, 1}}};

// Recursive descent over the bytes of the text, one method per level of binding.
class Parser {
 public:
  explicit Parser(std::string_view text) : text_(text) {}

  Node whole() {
    Node node = implication();
    skip_blanks();
    if (at_ < text_.size()) fail("an operator or the end");
    return node;
  }

 private:
  [[noreturn]] void fail(const std::string& expected) { fail_at(at_, found(), expected); }
  [[noreturn]] void fail_at(std::size_t at, const std::string& found_text, const std::string& expected,
                            const std::string& nearest = "") {
    throw ExpressionError(found_text, expected, nearest, static_cast<int>(at) + 1);
  }

  std::string found() {
    skip_blanks();
    if (at_ >= text_.size()) return "the end of the expression";
    std::size_t end = at_ + 1;
    if (is_name_char(text_[at_])) {
      while (end < text_.size() && is_name_char(text_[end])) ++end;
    }
    return "`" + std::string(text_.substr(at_, std::min<std::size_t>(end - at_, 40))) + "`";
  }

  void skip_blanks() {
    while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\t' || text_[at_] == '\n' || text_[at_] == '\r')) ++at_;
  }

  std::string_view word_at(std::size_t at) const {
    std::size_t end = at;
    if (end < text_.size() && (is_letter(text_[end]) || text_[end] == '_')) {
      while (end < text_.size() && is_name_char(text_[end])) ++end;
    }
    return text_.substr(at, end - at);
  }

  bool take(std::string_view symbol) {
    skip_blanks();
    if (text_.substr(at_, symbol.size()) != symbol) return false;
    if (is_letter(symbol[0]) && word_at(at_) != symbol) return false;
    at_ += symbol.size();
    return true;
  }

  Node make(NodeKind kind, std::size_t at) {
    if (++nodes_ > expression_nodes_max) fail_at(at, "more than 1000 terms", "a shorter expression");
    auto node = std::make_unique<ExpressionNode>();
    node->kind = kind;
    node->column = static_cast<int>(at) + 1;
    return node;
  }
  Node join(NodeKind kind, std::size_t at, Node left, Node right) {
    Node node = make(kind, at);
    node->operands.push_back(std::move(left));
    node->operands.push_back(std::move(right));
    return node;
  }

  // Counts how deep the levels that call themselves have gone: a file can't overrun the stack.
  struct Depth {
    explicit Depth(Parser& parser) : depth(parser.depth_) {
      if (++depth > expression_depth_max) parser.fail_at(parser.at_, "more than 64 levels", "a flatter expression");
    }
    ~Depth() { --depth; }
    Depth(const Depth&) = delete;
    Depth& operator=(const Depth&) = delete;
    int& depth;
  };

  Node implication() {
    const Depth depth(*this);
    Node left = disjunction();
    skip_blanks();
    const std::size_t at = at_;
    if (take("implies")) return join(NodeKind::implies, at, std::move(left), implication());
    return left;
  }

  Node disjunction() {
    Node left = conjunction();
    for (skip_blanks();; skip_blanks()) {
      const std::size_t at = at_;
      if (!take("or")) return left;
      left = join(NodeKind::logical_or, at, std::move(left), conjunction());
    }
  }

  Node conjunction() {
    Node left = until();
    for (skip_blanks();; skip_blanks()) {
      const std::size_t at = at_;
      if (!take("and")) return left;
      left = join(NodeKind::logical_and, at, std::move(left), until());
    }
  }

  Node until() {
    Node left = negation();
    skip_blanks();
    const std::size_t at = at_;
    if (!take("until")) return left;
    Node node = make(NodeKind::until, at);
    window(*node);
    node->operands.push_back(std::move(left));
    node->operands.push_back(negation());
    skip_blanks();
    const std::size_t second = at_;
    if (take("until")) fail_at(second, "a second `until`", "parentheses around one of the two");
    return node;
  }

  // [0 s, 4 min], [10 s, end]; nothing: to the end.
  void window(ExpressionNode& node) {
    node.open = !take("[");
    if (node.open) {
      node.from = quantity_of("0 s");
      return;
    }
    node.from = window_end();
    if (!take(",")) fail("`,` and the end of the window");
    node.open = take("end");
    if (!node.open) node.to = window_end();
    if (!take("]")) fail("`]`");
  }
  Quantity window_end() {
    skip_blanks();
    if (at_ >= text_.size() || !is_digit(text_[at_])) fail("a time with its unit");
    return literal()->literal;
  }

  Node negation() {
    const Depth depth(*this);
    skip_blanks();
    const std::size_t at = at_;
    for (const auto& [word, kind] : {std::pair{"always", NodeKind::always}, std::pair{"eventually", NodeKind::eventually}}) {
      if (!take(word)) continue;
      Node node = make(kind, at);
      window(*node);
      node->operands.push_back(negation());
      return node;
    }
    if (!take("not")) return comparison();
    Node node = make(NodeKind::logical_not, at);
    node->operands.push_back(negation());
    return node;
  }

  bool comparison_sign(NodeKind& kind) {
    static constexpr std::array<std::pair<std::string_view, NodeKind>, 6> signs = {{{"<=", NodeKind::less_equal},
                                                                                    {">=", NodeKind::greater_equal},
                                                                                    {"==", NodeKind::equal},
                                                                                    {"!=", NodeKind::not_equal},
                                                                                    {"<", NodeKind::less},
                                                                                    {">", NodeKind::greater}}};
    for (const auto& [sign, sign_kind] : signs) {
      if (take(sign)) {
        kind = sign_kind;
        return true;
      }
    }
    skip_blanks();
    if (text_.substr(at_, 1) == "=") fail("`==`, `<=` or `>=`");
    return false;
  }

  Node comparison() {
    Node left = sum();
    skip_blanks();
    const std::size_t at = at_;
    NodeKind kind{};
    if (!comparison_sign(kind)) return left;
    Node node = join(kind, at, std::move(left), sum());
    skip_blanks();
    const std::size_t second = at_;
    if (comparison_sign(kind)) fail_at(second, "a second comparison", "`and` between two comparisons");
    return node;
  }

  Node sum() {
    Node left = product();
    for (skip_blanks();; skip_blanks()) {
      const std::size_t at = at_;
      if (take("+")) left = join(NodeKind::add, at, std::move(left), product());
      else if (take("-")) left = join(NodeKind::subtract, at, std::move(left), product());
      else return left;
    }
  }

  Node product() {
    Node left = factor();
    for (skip_blanks();; skip_blanks()) {
      const std::size_t at = at_;
      if (take("*")) left = join(NodeKind::multiply, at, std::move(left), factor());
      else if (take("/")) left = join(NodeKind::divide, at, std::move(left), factor());
      else return left;
    }
  }

  Node factor() {
    const Depth depth(*this);
    skip_blanks();
    const std::size_t at = at_;
    if (take("-")) {
      skip_blanks();
      if (at_ < text_.size() && (is_digit(text_[at_]) || text_[at_] == '.')) {   // -35 degC is a point on the scale, not minus one
        Node number = literal();
        number->literal.value = -number->literal.value;
        return number;
      }
      Node node = make(NodeKind::negate, at);
      node->operands.push_back(factor());
      return node;
    }
    if (take("(")) {
      Node inner = implication();
      if (!take(")")) fail("`)`");
      return inner;
    }
    if (at_ < text_.size() && (is_digit(text_[at_]) || text_[at_] == '.')) return literal();
    const std::string_view word = word_at(at_);
    if (word.empty()) fail("a number with its unit, a signal, a function or `(`");
    return word_node(word);
  }

  Node word_node(std::string_view word) {
    const std::size_t at = at_;
    for (const std::string_view taken : {"and", "or", "implies", "not", "until"}) {
      if (word == taken) fail("a number with its unit, a signal, a function or `(`");
    }
    at_ += word.size();
    skip_blanks();
    if (at_ >= text_.size() || text_[at_] != '(') {
      Node node = make(NodeKind::name, at);
      node->word = std::string(word);
      return node;
    }
    for (const Function& function : functions) {
      if (function.name == word) return call(function, at);
    }
    std::vector<std::string> names;
    for (const Function& function : functions) names.emplace_back(function.name);
    fail_at(at, "the function `" + std::string(word) + "`",
            "abs, min, max, rise, travel, reversals, elapsed, past, time_when, last_when or held_for", nearest_name(word, names));
  }

  Node call(const Function& function, std::size_t at) {
    Node node = make(function.kind, at);
    take("(");
    if (!take(")")) {
      do {
        node->operands.push_back(implication());
      } while (take(","));
      if (!take(")")) fail("`,` or `)`");
    }
    const int count = static_cast<int>(node->operands.size());
    if (function.operands >= 0 ? count != function.operands : count < 2) {
      const std::string found_text = std::to_string(count) + (count == 1 ? " argument" : " arguments") + " of `";
      fail_at(at, found_text + std::string(function.name) + "`",
              function.operands < 0 ? "two or more" : function.operands == 0 ? "none" : std::to_string(function.operands));
    }
    return node;
  }

  // A word that continues a number as its unit: not followed by `(`, not an operator.
  std::size_t unit_end(std::size_t at) const {
    std::size_t end = at;
    while (end < text_.size() && (is_letter(text_[end]) || is_digit(text_[end]) || text_[end] == '%')) ++end;
    if (end == at || is_digit(text_[at])) return at;
    const std::string_view word = text_.substr(at, end - at);
    for (const std::string_view taken : {"and", "or", "implies", "not", "until"}) {
      if (word == taken) return at;
    }
    if (end < text_.size() && text_[end] == '(') return at;
    // one division, written without blanks: Pa/min
    if (end + 1 < text_.size() && text_[end] == '/' && is_letter(text_[end + 1])) {
      std::size_t second = end + 1;
      while (second < text_.size() && (is_letter(text_[second]) || is_digit(text_[second]))) ++second;
      if (second >= text_.size() || (text_[second] != '(' && text_[second] != '.' && text_[second] != '_')) end = second;
    }
    return end;
  }

  std::size_t blanks_end(std::size_t at) const {
    while (at < text_.size() && text_[at] == ' ') ++at;
    return at;
  }

  std::size_t number_end(std::size_t at) const {
    while (at < text_.size() && (is_digit(text_[at]) || text_[at] == '.')) ++at;
    if (at < text_.size() && (text_[at] == 'e' || text_[at] == 'E')) {
      std::size_t exponent = at + 1;
      if (exponent < text_.size() && (text_[exponent] == '-' || text_[exponent] == '+')) ++exponent;
      if (exponent < text_.size() && is_digit(text_[exponent])) {
        while (exponent < text_.size() && is_digit(text_[exponent])) ++exponent;
        at = exponent;
      }
    }
    return at;
  }

  Node literal() {
    const std::size_t begin = at_;
    std::size_t end = begin;
    for (std::size_t at = begin; at < text_.size() && (is_digit(text_[at]) || text_[at] == '.');) {   // `2 h 30 min` is one
      end = number_end(at);
      const std::size_t unit_begin = blanks_end(end);
      const std::size_t unit = unit_end(unit_begin);
      if (unit == unit_begin) break;
      end = unit;
      at = blanks_end(end);
    }
    const std::size_t reference = blanks_end(end);
    const std::string_view word = word_at(reference);
    const std::size_t after = reference + word.size();
    const bool called = after < text_.size() && text_[after] == '(';
    if (!called && (word == "gauge" || word == "abs" || word == "diff")) end = after;
    Node node = make(NodeKind::literal, begin);
    try {
      node->literal = quantity_of(text_.substr(begin, end - begin));
    } catch (const UnitError& error) {
      fail_at(blanks_end(begin + error.at), error.found, error.expected, error.nearest);
    }
    at_ = end;
    return node;
  }

  std::string_view text_;
  std::size_t at_ = 0;
  int nodes_ = 0;
  int depth_ = 0;
};

}  // namespace

std::unique_ptr<ExpressionNode> parse_expression(std::string_view text) { return Parser(text).whole(); }

}  // namespace sim
