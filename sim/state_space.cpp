#include "sim/state_space.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <unsupported/Eigen/MatrixFunctions>

namespace sim {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;

namespace {

MatrixXcd response(const MatrixXd& a, const MatrixXd& b, const MatrixXd& c, const MatrixXd& d, std::complex<double> point) {
  if (a.rows() == 0) return d.cast<std::complex<double>>();
  const MatrixXcd pencil = point * MatrixXcd::Identity(a.rows(), a.rows()) - a.cast<std::complex<double>>();
  return d.cast<std::complex<double>>() + c.cast<std::complex<double>>() * pencil.partialPivLu().solve(b.cast<std::complex<double>>());
}

// One factor with as many zeros as it has poles, or fewer; SISO.
StateSpace first_order_section(double lag_s, const double* zero_s) {
  StateSpace section{MatrixXd::Constant(1, 1, -1.0 / lag_s), MatrixXd::Constant(1, 1, 1.0 / lag_s), MatrixXd::Ones(1, 1),
                     MatrixXd::Zero(1, 1)};
  if (zero_s) {  // (T0 s + 1) / (T s + 1) = T0 / T + (1 - T0 / T) / (T s + 1)
    section.d(0, 0) = *zero_s / lag_s;
    section.c(0, 0) = 1.0 - *zero_s / lag_s;
  }
  return section;
}

StateSpace integrator_section(const double* zero_s) {
  return {MatrixXd::Zero(1, 1), MatrixXd::Ones(1, 1), MatrixXd::Ones(1, 1), MatrixXd::Constant(1, 1, zero_s ? *zero_s : 0.0)};
}

// States: output without zeros, and T times its rate.
StateSpace pair_section(const SecondOrderLag& pair, const double* first_zero_s, const double* second_zero_s) {
  const double per_s = 1.0 / pair.time_s, first = first_zero_s ? *first_zero_s : 0.0, second = second_zero_s ? *second_zero_s : 0.0;
  StateSpace section{MatrixXd(2, 2), MatrixXd(2, 1), MatrixXd(1, 2), MatrixXd(1, 1)};
  section.a << 0.0, per_s, -per_s, -2.0 * pair.damping * per_s;
  section.b << 0.0, per_s;
  const double acceleration = first * second * per_s * per_s;  // of the second zero's s^2: (u - x1 - 2 zeta x2) / T^2
  section.c << 1.0 - acceleration, (first + second) * per_s - 2.0 * pair.damping * acceleration;
  section.d << acceleration;
  return section;
}

// Continuous and sampled systems in series are put together alike.
template <class System>
void put_in_series(System& first, const System& second) {
  const Index n1 = first.a.rows(), n2 = second.a.rows();
  MatrixXd a = MatrixXd::Zero(n1 + n2, n1 + n2), b(n1 + n2, first.b.cols()), c(second.c.rows(), n1 + n2);
  a.topLeftCorner(n1, n1) = first.a;
  a.bottomLeftCorner(n2, n1) = second.b * first.c;
  a.bottomRightCorner(n2, n2) = second.a;
  b << first.b, second.b * first.d;
  c << second.d * first.c, second.c;
  first.d = (second.d * first.d).eval();
  first.a = std::move(a);
  first.b = std::move(b);
  first.c = std::move(c);
}

// What the state at the end of `duration_s` owes to the state at its beginning, and to an input that stands still.
struct Transition {
  MatrixXd state, input;
};

Transition transition(const StateSpace& system, double duration_s) {
  const Index n = system.states(), m = system.inputs();
  MatrixXd joint = MatrixXd::Zero(n + m, n + m);
  joint.topLeftCorner(n, n) = system.a * duration_s;
  joint.topRightCorner(n, m) = system.b * duration_s;
  const MatrixXd grown = joint.exp();
  return {grown.topLeftCorner(n, n), grown.topRightCorner(n, m)};
}

}  // namespace

MatrixXcd StateSpace::at(double rad_s) const { return response(a, b, c, d, {0.0, rad_s}); }

MatrixXcd SampledSystem::at(double rad_s) const { return response(a, b, c, d, std::polar(1.0, rad_s * period_s)); }

StateSpace realised(const Process& process) {
  if (process.excess() < 0) throw std::invalid_argument("more zeros than poles: no state can hold that");
  StateSpace chain{MatrixXd(0, 0), MatrixXd(0, 1), MatrixXd(1, 0), MatrixXd::Constant(1, 1, process.gain)};
  std::size_t used = 0;
  const auto zero = [&]() { return used < process.zeros_s.size() ? &process.zeros_s[used++] : nullptr; };
  for (const double lag : process.lags_s) put_in_series(chain, first_order_section(lag, zero()));
  for (const SecondOrderLag& pair : process.pairs) {
    const double* first = zero();
    put_in_series(chain, pair_section(pair, first, zero()));
  }
  for (int i = 0; i < process.integrators; ++i) put_in_series(chain, integrator_section(zero()));
  return chain;
}

SampledSystem sampled(const StateSpace& continuous, double delay_s, double period_s) {
  constexpr double same = 1e-9;  // of a period: a delay so close to a whole number of them is one
  const Index n = continuous.states(), m = continuous.inputs();
  const double periods = delay_s / period_s;
  const auto held = static_cast<Index>(std::ceil(periods - same));  // inputs on their way
  const double late_s = held == 0 ? 0.0 : std::max(0.0, std::min(1.0, periods - static_cast<double>(held - 1))) * period_s;
  SampledSystem system{MatrixXd::Zero(n + held * m, n + held * m), MatrixXd::Zero(n + held * m, m),
                       MatrixXd::Zero(continuous.outputs(), n + held * m), MatrixXd::Zero(continuous.outputs(), m), period_s};
  system.c.leftCols(n) = continuous.c;
  if (held == 0) {
    const Transition whole = transition(continuous, period_s);
    system.a = whole.state;
    system.b = whole.input;
    system.d = continuous.d;
    return system;
  }
  // In a period the input of `held` samples ago acts for late_s, then the one after it.
  const Transition old_part = transition(continuous, late_s), new_part = transition(continuous, period_s - late_s);
  system.a.topLeftCorner(n, n) = new_part.state * old_part.state;
  system.a.block(0, n + (held - 1) * m, n, m) = new_part.state * old_part.input;
  if (held == 1)
    system.b.topRows(n) = new_part.input;
  else
    system.a.block(0, n + (held - 2) * m, n, m) = new_part.input;
  system.b.middleRows(n, m).setIdentity();
  for (Index i = 1; i < held; ++i) system.a.block(n + i * m, n + (i - 1) * m, m, m).setIdentity();
  system.c.rightCols(m) = continuous.d;
  return system;
}

std::complex<double> DelayedSystem::at(double rad_s) const {
  return system.at(rad_s)(0, 0) * std::polar(1.0, -rad_s * system.period_s * static_cast<double>(periods));
}

DelayedSystem sampled_behind(const StateSpace& continuous, double delay_s, double period_s) {
  const double whole = std::floor(delay_s / period_s + 1e-9);
  return {sampled(continuous, std::max(0.0, delay_s - whole * period_s), period_s), static_cast<std::size_t>(whole)};
}

}  // namespace sim
