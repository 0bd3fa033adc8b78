#include "sim/process.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace sim {

int Process::excess() const {
  return integrators + static_cast<int>(lags_s.size() + 2 * pairs.size()) - static_cast<int>(zeros_s.size());
}

std::complex<double> Process::at(double rad_s) const {
  const std::complex<double> s{0.0, rad_s};
  std::complex<double> response = gain * std::exp(-s * delay_s);
  for (int i = 0; i < integrators; ++i) response /= s;
  // Factor by factor, numerator and denominator in turns: a product of one side alone leaves the range of a double where many are far
  // from their corner.
  for (std::size_t i = 0; i < std::max(zeros_s.size(), lags_s.size()); ++i) {
    if (i < zeros_s.size()) response *= 1.0 + s * zeros_s[i];
    if (i < lags_s.size()) response /= 1.0 + s * lags_s[i];
  }
  for (const SecondOrderLag& pair : pairs) response /= 1.0 + s * pair.time_s * (2.0 * pair.damping + s * pair.time_s);
  return response;
}

double Process::high_frequency_gain() const {
  if (excess() > 0) return 0.0;
  double limit = std::abs(gain);
  for (const double zero : zeros_s) limit *= std::abs(zero);
  for (const double lag : lags_s) limit /= lag;
  for (const SecondOrderLag& pair : pairs) limit /= pair.time_s * pair.time_s;
  return limit;
}

namespace {

std::string times_s(double time_s) { return time_s == 1.0 ? "s" : fmt::format("{:.6g} s", time_s); }

std::string first_order(double time_s) {
  return time_s < 0.0 ? fmt::format("(1 - {})", times_s(-time_s)) : fmt::format("({} + 1)", times_s(time_s));
}

}  // namespace

std::string formula(const Process& process) {
  std::string above, below;
  int factors = 0;
  const auto numerator = [&](const std::string& text) { above += (above.empty() ? "" : " ") + text; };
  const auto factor = [&](const std::string& text) {
    below += (below.empty() ? "" : " ") + text;
    ++factors;
  };
  if (process.gain != 1.0 || (process.zeros_s.empty() && process.delay_s <= 0.0)) numerator(fmt::format("{:.6g}", process.gain));
  for (const double zero : process.zeros_s) numerator(first_order(zero));
  if (process.delay_s > 0.0) numerator(fmt::format("e^(-{})", times_s(process.delay_s)));
  if (process.integrators == 1) factor("s");
  if (process.integrators > 1) factor(fmt::format("s^{}", process.integrators));
  for (const double lag : process.lags_s) factor(first_order(lag));
  for (const SecondOrderLag& pair : process.pairs)
    factor(fmt::format("({:.6g} s^2 + {:.6g} s + 1)", pair.time_s * pair.time_s, 2.0 * pair.damping * pair.time_s));
  if (factors == 0) return above;
  return factors == 1 ? above + " / " + below : fmt::format("{} / ({})", above, below);
}

}  // namespace sim
