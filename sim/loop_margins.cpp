#include "sim/loop_margins.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

namespace sim {

namespace {

using std::numbers::pi;
constexpr double inf = std::numeric_limits<double>::infinity();

struct Point {
  double rad_s;
  std::complex<double> loop;
};

// Even in the logarithm, and never a turn of the delay's phase in a stride. High up it ends where the curve stays near its limit.
std::vector<Point> curve_of(const OpenLoop& loop) {
  constexpr double stride = 1.0116;  // 200 a decade
  constexpr double turn = 0.05;      // rad of the delay's phase
  constexpr double near = 2e-3;      // of the critical point's distance from the origin
  std::vector<Point> curve;
  double rad_s = loop.low_rad_s;
  while (rad_s < loop.high_rad_s) {
    curve.push_back({rad_s, loop.at(rad_s)});
    const bool turning = loop.delay_s > 0.0 && rad_s * (stride - 1.0) > turn / loop.delay_s;
    if (turning && std::abs(std::abs(curve.back().loop) - std::abs(loop.limit)) < near && rad_s * loop.delay_s > 20.0 * pi) break;
    rad_s = turning ? rad_s + turn / loop.delay_s : rad_s * stride;
  }
  if (loop.sampled) curve.push_back({loop.high_rad_s, loop.at(loop.high_rad_s)});
  return curve;
}

// Largest value of a function that has one peak between two frequencies; golden section in the logarithm.
template <class Function>
std::pair<double, double> peak(double low_rad_s, double high_rad_s, const Function& of) {
  constexpr double golden = 0.6180339887498949;
  double low = std::log(low_rad_s), high = std::log(high_rad_s);
  double left = high - golden * (high - low), right = low + golden * (high - low);
  double at_left = of(std::exp(left)), at_right = of(std::exp(right));
  for (int i = 0; i < 60 && high - low > 1e-12; ++i) {
    if (at_left > at_right) {
      high = right;
      right = left;
      at_right = at_left;
      at_left = of(std::exp(left = high - golden * (high - low)));
    } else {
      low = left;
      left = right;
      at_left = at_right;
      at_right = of(std::exp(right = low + golden * (high - low)));
    }
  }
  return at_left > at_right ? std::pair{std::exp(left), at_left} : std::pair{std::exp(right), at_right};
}

// Where a function changes its sign between two frequencies.
template <class Function>
double crossing(double low_rad_s, double high_rad_s, const Function& of) {
  const bool sign = of(low_rad_s) > 0.0;
  for (int i = 0; i < 80 && high_rad_s - low_rad_s > 1e-14 * high_rad_s; ++i) {
    const double middle = 0.5 * (low_rad_s + high_rad_s);
    ((of(middle) > 0.0) == sign ? low_rad_s : high_rad_s) = middle;
  }
  return 0.5 * (low_rad_s + high_rad_s);
}

template <class Function>
std::pair<double, double> highest(const std::vector<Point>& curve, const OpenLoop& loop, const Function& of) {
  const auto value = [&](double rad_s) { return of(loop.at(rad_s)); };
  std::pair<double, double> best{curve.front().rad_s, of(curve.front().loop)};
  const auto better = [&](std::pair<double, double> other) {
    if (other.second > best.second) best = other;
  };
  better({curve.back().rad_s, of(curve.back().loop)});
  for (std::size_t i = 1; i + 1 < curve.size(); ++i) {
    const double here = of(curve[i].loop);
    if (here >= of(curve[i - 1].loop) && here >= of(curve[i + 1].loop)) better(peak(curve[i - 1].rad_s, curve[i + 1].rad_s, value));
  }
  return best;
}

double sensitivity(std::complex<double> loop) { return 1.0 / std::abs(1.0 + loop); }
double complementary(std::complex<double> loop) { return std::abs(loop / (1.0 + loop)); }

// At infinite frequency: with a delay the curve goes round a circle for ever, without one it ends at a real value.
void count_limit(const OpenLoop& loop, LoopMargins& margins) {
  if (loop.sampled || loop.limit == 0.0) return;
  const double critical = loop.delay_s > 0.0 ? -std::abs(loop.limit) : loop.limit;  // the limit point nearest to -1
  if (critical <= -1.0) return;
  if (sensitivity(critical) > margins.sensitivity_peak) {
    margins.sensitivity_peak = sensitivity(critical);
    margins.sensitivity_peak_rad_s = inf;
  }
  margins.complementary_peak = std::max(margins.complementary_peak, complementary(critical));
  if (critical < 0.0 && -1.0 / critical < margins.gain_margin) {
    margins.gain_margin = -1.0 / critical;
    margins.phase_crossover_rad_s = inf;
  }
}

void read_gain_crossovers(const std::vector<Point>& curve, const OpenLoop& loop, LoopMargins& margins) {
  const auto excess = [&](double rad_s) { return std::abs(loop.at(rad_s)) - 1.0; };
  for (std::size_t i = 1; i < curve.size(); ++i) {
    if ((std::abs(curve[i - 1].loop) > 1.0) == (std::abs(curve[i].loop) > 1.0)) continue;
    const double rad_s = crossing(curve[i - 1].rad_s, curve[i].rad_s, excess);
    const double angle = std::arg(-loop.at(rad_s));
    margins.phase_margin_deg = std::min(margins.phase_margin_deg, std::abs(angle) * 180.0 / pi);
    margins.delay_margin_s = std::min(margins.delay_margin_s, (angle < 0.0 ? angle + 2.0 * pi : angle) / rad_s);
    margins.crossover_rad_s = rad_s;
  }
}

void count_phase_crossover(double rad_s, std::complex<double> loop, LoopMargins& margins) {
  const double factor = 1.0 / std::abs(loop);
  if (factor < 1.0) {
    margins.gain_reduction = std::max(margins.gain_reduction, factor);
  } else if (factor < margins.gain_margin) {
    margins.gain_margin = factor;
    margins.phase_crossover_rad_s = rad_s;
  }
}

void read_phase_crossovers(const std::vector<Point>& curve, const OpenLoop& loop, LoopMargins& margins) {
  const auto imaginary = [&](double rad_s) { return loop.at(rad_s).imag(); };
  // Of a double integrator's loop the imaginary part of a tiny phase is what rounding leaves at low frequencies, not a crossing.
  const auto side = [](const Point& point) { return point.loop.imag() > 0.0; };
  for (std::size_t i = 1; i < curve.size(); ++i) {
    if (side(curve[i - 1]) == side(curve[i]) || curve[i].loop.real() >= 0.0 || curve[i - 1].loop.real() >= 0.0) continue;
    const double rad_s = crossing(curve[i - 1].rad_s, curve[i].rad_s, imaginary);
    count_phase_crossover(rad_s, loop.at(rad_s), margins);
  }
  if (loop.sampled && curve.back().loop.real() < 0.0) count_phase_crossover(curve.back().rad_s, curve.back().loop, margins);
}

// (1 + L) with its poles at the origin taken out turns by nothing on the whole between 0 and infinity, and begins positive, exactly when
// the closed loop is stable (argument principle: there are no other poles on the right).
bool closed_is_stable(const std::vector<Point>& curve, const OpenLoop& loop) {
  const double knee_rad_s = curve.front().rad_s;
  const auto turned = [&](const Point& point) {
    const std::complex<double> s =
        loop.sampled ? std::polar(1.0, point.rad_s / loop.high_rad_s * pi) - 1.0 : std::complex<double>(0.0, point.rad_s);
    const std::complex<double> far =
        loop.sampled ? std::complex<double>(knee_rad_s / loop.high_rad_s * pi, 0.0) : std::complex<double>(knee_rad_s, 0.0);
    std::complex<double> value = 1.0 + point.loop;
    for (int i = 0; i < loop.integrators; ++i) value *= s / (s + far);
    return value;
  };
  double angle = 0.0;
  std::complex<double> before = turned(curve.front());
  // At 0 it is real: 1 + L, or the gain of L with its integrators taken off. From there to the first frequency only the factors taken out
  // turn: s / (s + knee) from 90 degrees to 45.
  const std::complex<double> start =
      loop.integrators == 0 ? before : curve.front().loop * std::pow(std::complex<double>(0.0, 1.0), loop.integrators);
  if (start.real() <= 0.0) return false;
  angle = std::arg(before);
  for (std::size_t i = 1; i < curve.size(); ++i) {
    const std::complex<double> now = turned(curve[i]);
    angle += std::arg(now / before);
    before = now;
  }
  if (loop.delay_s > 0.0 && std::abs(loop.limit) >= 1.0) return false;
  return std::abs(angle) < 0.5 * pi;
}

}  // namespace

LoopMargins margins_of(const OpenLoop& loop) {
  const std::vector<Point> curve = curve_of(loop);
  LoopMargins margins;
  margins.gain_margin = margins.phase_margin_deg = margins.delay_margin_s = inf;
  margins.stable = closed_is_stable(curve, loop);
  std::tie(margins.sensitivity_peak_rad_s, margins.sensitivity_peak) = highest(curve, loop, sensitivity);
  margins.complementary_peak = highest(curve, loop, complementary).second;
  read_gain_crossovers(curve, loop, margins);
  read_phase_crossovers(curve, loop, margins);
  count_limit(loop, margins);
  const auto open =
      std::find_if(curve.begin(), curve.end(), [](const Point& point) { return sensitivity(point.loop) >= std::sqrt(0.5); });
  if (open != curve.begin() && open != curve.end())
    margins.bandwidth_rad_s =
        crossing((open - 1)->rad_s, open->rad_s, [&](double rad_s) { return sensitivity(loop.at(rad_s)) - std::sqrt(0.5); });
  return margins;
}

}  // namespace sim
