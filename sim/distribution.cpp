#include "sim/distribution.h"

#include <algorithm>
#include <cmath>

namespace sim {

double student_975(double degrees) {
  if (degrees < 1.5) return 12.706204736;   // tan(0.475 pi)
  if (degrees < 2.5) return 4.302652730;
  constexpr double x = 1.959963985;
  constexpr double x3 = x * x * x, x5 = x3 * x * x, x7 = x5 * x * x, x9 = x7 * x * x;
  const double g1 = (x3 + x) / 4.0;
  const double g2 = (5.0 * x5 + 16.0 * x3 + 3.0 * x) / 96.0;
  const double g3 = (3.0 * x7 + 19.0 * x5 + 17.0 * x3 - 15.0 * x) / 384.0;
  const double g4 = (79.0 * x9 + 776.0 * x7 + 1482.0 * x5 - 1920.0 * x3 - 945.0 * x) / 92160.0;
  return x + (g1 + (g2 + (g3 + g4 / degrees) / degrees) / degrees) / degrees;
}

namespace {

// P(a, x), by its series: for x below a + 1.
double lower_gamma(double a, double x) {
  double term = 1.0 / a, sum = term;
  for (int n = 1; n < 2000 && term > sum * 1e-15; ++n) {
    term *= x / (a + n);
    sum += term;
  }
  return sum * std::exp(a * std::log(x) - x - std::lgamma(a));
}

// Q(a, x), by its continued fraction (Lentz): for x above a + 1.
double upper_gamma(double a, double x) {
  constexpr double tiny = 1e-300;
  double b = x + 1.0 - a, c = 1.0 / tiny, d = 1.0 / b, h = d;
  for (int n = 1; n < 2000; ++n) {
    const double an = -n * (n - a);
    b += 2.0;
    d = an * d + b;
    d = 1.0 / (std::fabs(d) < tiny ? tiny : d);
    c = b + an / c;
    if (std::fabs(c) < tiny) c = tiny;
    h *= d * c;
    if (std::fabs(d * c - 1.0) < 1e-14) break;
  }
  return h * std::exp(a * std::log(x) - x - std::lgamma(a));
}

}  // namespace

double chi_square_tail(double x, double degrees) {
  if (!(x > 0.0)) return 1.0;
  const double a = 0.5 * degrees, z = 0.5 * x;
  return std::clamp(z < a + 1.0 ? 1.0 - lower_gamma(a, z) : upper_gamma(a, z), 0.0, 1.0);
}

}  // namespace sim
