// Three-valued logic of margins: what formulas over time reckon with where the end of a window leaves some ticks unseen. Known values
// are ordered by their margin (and: the lesser, or: the greater; on a tie the first decides); an unknown one has no margin.
#pragma once

#include <limits>

#include "sim/temporal_formula.h"

namespace sim::kleene {

using Value = TemporalFormula::Value;

inline constexpr Value unknown{std::numeric_limits<double>::quiet_NaN(), 0};
inline bool is_known(Value value) { return value.margin == value.margin; }
inline Value lesser(Value a, Value b) { return b.margin < a.margin ? b : a; }
inline Value greater(Value a, Value b) { return b.margin > a.margin ? b : a; }

// One alone decides where it is violated (and), where it holds (or).
inline Value both(Value a, Value b) {
  if (is_known(a) && is_known(b)) return lesser(a, b);
  const Value one = is_known(a) ? a : b;
  return one.margin < 0.0 ? one : unknown;
}
inline Value either(Value a, Value b) {
  if (is_known(a) && is_known(b)) return greater(a, b);
  const Value one = is_known(a) ? a : b;
  return one.margin > 0.0 ? one : unknown;
}

}  // namespace sim::kleene
