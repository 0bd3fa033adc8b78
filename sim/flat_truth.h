// A truth of the usual shapes as a flat list of comparisons, for the loop that judges at every tick:
//   signal op constant, signal op signal, abs(signal - signal) op constant, abs(signal - constant) op constant, code == value,
// each perhaps negated, joined by `and` alone or by `or` alone. The margins are those of Expression::evaluate to the bit, but for the
// boundary (0 here) and for what is undefined (NaN here), which Expression settles.
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

namespace sim {

// One comparison: its margin is sign * f(x) + constant.
struct FlatTerm {
  enum class Shape : std::uint8_t {
    signal,                  // f(x) = frame[a]
    difference,              // frame[a] - frame[b]
    distance,                // |frame[a] - frame[b]|
    distance_to_offset,      // |frame[a] - offset|
    code                     // frame[a] is offset: infinite, else minus infinite; no constant
  };
  Shape shape = Shape::signal;
  bool loose = false;        // on the boundary it holds
  std::uint8_t comparison = 0;   // Margin::decided
  std::uint16_t a = 0, b = 0;    // signals
  double sign = 1.0, constant = 0.0, offset = 0.0;

  double margin(const double* frame) const {
    const double value = frame[a];
    switch (shape) {
      case Shape::signal: return sign * value + constant;
      case Shape::difference: return sign * (value - frame[b]) + constant;
      case Shape::distance: return sign * std::fabs(value - frame[b]) + constant;
      case Shape::distance_to_offset: return sign * std::fabs(value - offset) + constant;
      case Shape::code: break;
    }
    return value == offset ? sign * std::numeric_limits<double>::infinity() : -sign * std::numeric_limits<double>::infinity();
  }
  FlatTerm negated() const {
    FlatTerm made = *this;
    made.sign = -sign;
    made.constant = -constant;
    made.loose = !loose;
    return made;
  }
};

class FlatTruth {
 public:
  FlatTruth() = default;     // of no usual shape
  FlatTruth(std::vector<FlatTerm> terms, bool all) : terms_(std::move(terms)), all_(all) {}

  bool empty() const { return terms_.empty(); }
  const std::vector<FlatTerm>& terms() const { return terms_; }
  bool all() const { return all_; }          // joined by `and`, else by `or`; either where there is one
  FlatTruth negated() const {
    FlatTruth made({}, !all_);
    for (const FlatTerm& term : terms_) made.terms_.push_back(term.negated());
    return made;
  }

  // first: of `terms` of them. NaN where any is undefined.
  static double margin(const FlatTerm* first, std::size_t terms, bool all, const double* frame) {
    double least = first->margin(frame);
    bool defined = least == least;
    for (std::size_t i = 1; i < terms; ++i) {
      const double next = first[i].margin(frame);
      defined = defined && next == next;
      least = (all ? next < least : next > least) ? next : least;
    }
    return defined ? least : std::numeric_limits<double>::quiet_NaN();
  }

 private:
  std::vector<FlatTerm> terms_;
  bool all_ = true;
};

}  // namespace sim
