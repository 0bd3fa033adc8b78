// What lags, pairs and integrators answer to an input that moves in steps, at any instants: exact, no sampling in between.
#pragma once

#include <vector>

#include <Eigen/Dense>

namespace sim {

// An input that holds: from moves[i].time_s on it stands at moves[i].level, before the first at 0. Times rise.
struct InputMove {
  double time_s;
  double level;
};
using HeldInput = std::vector<InputMove>;

// Each: the answer at `times_s` (rising) of a system at rest to `input`, delay_s (at least 0, any fraction of anything) later.
// 1 / (lag_s s + 1), lag_s above 0.
Eigen::VectorXd lag_response(const HeldInput& input, double lag_s, double delay_s, const Eigen::VectorXd& times_s);
// 1 / s
Eigen::VectorXd integral_response(const HeldInput& input, double delay_s, const Eigen::VectorXd& times_s);
// 1 / (time_s^2 s^2 + 2 damping time_s s + 1), time_s and damping above 0, and its rate of change: columns 0 and 1.
Eigen::MatrixX2d pair_response(const HeldInput& input, double time_s, double damping, double delay_s,
                               const Eigen::VectorXd& times_s);

// The same pair let go at time 0 with (column 0) output 1 and rate 0, (column 1) output 0 and rate 1 per s. Times from 0.
Eigen::MatrixX2d pair_release(double time_s, double damping, const Eigen::VectorXd& times_s);

}  // namespace sim
