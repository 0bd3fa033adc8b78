// A linear system with as few states as its inputs and outputs can tell: balanced truncation.
//
// States that are hard to reach and hard to see go; the response to any frequency changes by no more than twice the sum of the Hankel
// singular values that went. Source: B. C. Moore, IEEE Trans. Automatic Control 26 (1981) 17-32; the bound: K. Glover 1984 (both from
// memory).
#pragma once

#include "sim/state_space.h"

namespace sim {

struct ReducedSystem {
  StateSpace system;
  Eigen::VectorXd hankel;  // all singular values, falling
  double bound = 0.0;      // of the difference at any frequency, largest singular value
};

// tolerance: of the largest Hankel singular value; below it they go. Throws std::domain_error for a system that is not stable, or whose
// modes cannot be told apart.
ReducedSystem balanced(const StateSpace& system, double tolerance);

}  // namespace sim
