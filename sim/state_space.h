// Linear systems in state space, continuous and sampled, and the exact ways between them. Inputs and outputs are numbered.
#pragma once

#include <complex>
#include <cstddef>

#include <Eigen/Dense>

#include "sim/process.h"

namespace sim {

// dx/dt = A x + B u, y = C x + D u, time in s. No states: A is 0 x 0.
struct StateSpace {
  Eigen::MatrixXd a, b, c, d;

  Eigen::Index states() const { return a.rows(); }
  Eigen::Index inputs() const { return d.cols(); }
  Eigen::Index outputs() const { return d.rows(); }
  // D + C (j w - A)^-1 B, w in rad/s.
  Eigen::MatrixXcd at(double rad_s) const;
};

// x[k+1] = A x[k] + B u[k], y[k] = C x[k] + D u[k], one sample every period_s.
struct SampledSystem {
  Eigen::MatrixXd a, b, c, d;
  double period_s = 1.0;

  Eigen::Index states() const { return a.rows(); }
  Eigen::Index inputs() const { return d.cols(); }
  Eigen::Index outputs() const { return d.rows(); }
  // D + C (z - A)^-1 B at z = exp(j w period), 0 < w <= pi / period.
  Eigen::MatrixXcd at(double rad_s) const;
};

// A chain of the process's factors without its delay. Throws std::invalid_argument where excess() is below 0.
StateSpace realised(const Process& process);

// What a computer sees of a continuous system that is fed through a hold and whose inputs all take effect delay_s (at least 0) later:
// exact at the sampling instants, for any delay, also of a fraction of a period (states hold inputs on their way).
// Source: K. J. Astrom, B. Wittenmark, Computer-Controlled Systems, sections 2.3 and 2.5 (from memory).
SampledSystem sampled(const StateSpace& continuous, double delay_s, double period_s);

// A sampled process of one input and one output behind whole periods of dead time, which need no states of their own.
struct DelayedSystem {
  SampledSystem system;
  std::size_t periods = 0;

  std::complex<double> at(double rad_s) const;
};

// The same as sampled(), with all of the delay but its fraction of a period kept apart.
DelayedSystem sampled_behind(const StateSpace& continuous, double delay_s, double period_s);

}  // namespace sim
