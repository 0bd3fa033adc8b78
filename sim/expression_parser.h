// The text of an expression as a tree, before its quantities are checked and code is made of it (expression.cpp).
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "sim/units.h"

namespace sim {

enum class NodeKind {
  literal, name,                                  // leaves
  add, subtract, multiply, divide, negate,        // quantities
  absolute, minimum, maximum, rise, travel, reversals, elapsed, time_when, last_when, held_for,
  less, less_equal, greater, greater_equal, equal, not_equal,   // truths
  logical_not, logical_and, logical_or, implies, past,
  always, eventually, until                       // over a window
};

struct ExpressionNode {
  NodeKind kind = NodeKind::literal;
  int column = 1;                                 // 1-based, of the operator or the word
  std::string word;                               // name
  Quantity literal;
  Quantity from, to;                              // always, eventually, until: the window
  bool open = false;                              // it goes to the end: there is no `to`
  std::vector<std::unique_ptr<ExpressionNode>> operands;
};

inline constexpr int expression_nodes_max = 1000;
inline constexpr int expression_depth_max = 64;   // of parentheses, not, minus, implies

// Throws ExpressionError (expression.h).
std::unique_ptr<ExpressionNode> parse_expression(std::string_view text);

}  // namespace sim
