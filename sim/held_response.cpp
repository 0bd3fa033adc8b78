#include "sim/held_response.h"

#include <cmath>

namespace sim {
namespace {

// Calls advance(seconds, level) over each stretch in which the delayed input stands, and read(k) at each of the times.
template <class Advance, class Read>
void sweep(const HeldInput& input, double delay_s, const Eigen::VectorXd& times_s, Advance advance, Read read) {
  std::size_t next = 0;
  double level = 0.0, now = 0.0;
  for (Eigen::Index k = 0; k < times_s.size(); ++k) {
    const double until = times_s[k];
    while (next < input.size() && input[next].time_s + delay_s < until) {
      const double at = input[next].time_s + delay_s;
      if (next > 0) advance(at - now, level);   // before the first move all is at rest
      now = at;
      level = input[next++].level;
    }
    if (next > 0) advance(until - now, level);
    now = until;
    read(k);
  }
}

// exp(A dt) of a pair in its distance from rest and that distance's rate: e = f x + g r, r' = h x + i r.
struct Release {
  double xx, xr, rx, rr;
};

Release released(double time_s, double damping, double seconds) {
  const double w = 1.0 / time_s, a = damping * w, square = w * w - a * a;
  const double turn = square * seconds * seconds;
  double c, s;   // exp(-a t) cos(wd t) and exp(-a t) sin(wd t) / wd, or the hyperbolic ones
  if (std::fabs(turn) < 1e-6) {   // next term of either series: below 1e-13
    const double fade = std::exp(-a * seconds);
    c = fade * (1.0 - turn / 2.0);
    s = fade * seconds * (1.0 - turn / 6.0);
  } else if (turn > 0.0) {
    const double fade = std::exp(-a * seconds), wd = std::sqrt(square);
    c = fade * std::cos(wd * seconds);
    s = fade * std::sin(wd * seconds) / wd;
  } else {
    const double beta = std::sqrt(-square), fast = a + beta, slow = w * w / fast;   // a - beta without cancellation
    const double slow_part = std::exp(-slow * seconds), fast_part = std::exp(-fast * seconds);
    c = 0.5 * (slow_part + fast_part);
    s = 0.5 * (slow_part - fast_part) / beta;
  }
  return {c + a * s, s, -w * w * s, c - a * s};
}

}  // namespace

Eigen::VectorXd lag_response(const HeldInput& input, double lag_s, double delay_s, const Eigen::VectorXd& times_s) {
  Eigen::VectorXd response(times_s.size());
  double x = 0.0;
  sweep(input, delay_s, times_s, [&](double dt, double level) { x = level + (x - level) * std::exp(-dt / lag_s); },
        [&](Eigen::Index k) { response[k] = x; });
  return response;
}

Eigen::VectorXd integral_response(const HeldInput& input, double delay_s, const Eigen::VectorXd& times_s) {
  Eigen::VectorXd response(times_s.size());
  double x = 0.0;
  sweep(input, delay_s, times_s, [&](double dt, double level) { x += level * dt; },
        [&](Eigen::Index k) { response[k] = x; });
  return response;
}

Eigen::MatrixX2d pair_response(const HeldInput& input, double time_s, double damping, double delay_s,
                               const Eigen::VectorXd& times_s) {
  Eigen::MatrixX2d response(times_s.size(), 2);
  double x = 0.0, rate = 0.0;
  const auto advance = [&](double dt, double level) {
    const Release free = released(time_s, damping, dt);
    const double away = x - level, away_rate = rate;
    x = level + free.xx * away + free.xr * away_rate;
    rate = free.rx * away + free.rr * away_rate;
  };
  sweep(input, delay_s, times_s, advance, [&](Eigen::Index k) { response(k, 0) = x; response(k, 1) = rate; });
  return response;
}

Eigen::MatrixX2d pair_release(double time_s, double damping, const Eigen::VectorXd& times_s) {
  Eigen::MatrixX2d response(times_s.size(), 2);
  for (Eigen::Index k = 0; k < times_s.size(); ++k) {
    const Release free = released(time_s, damping, times_s[k]);
    response(k, 0) = free.xx;
    response(k, 1) = free.xr;
  }
  return response;
}

}  // namespace sim
