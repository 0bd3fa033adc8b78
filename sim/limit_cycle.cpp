#include "sim/limit_cycle.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

namespace sim {
namespace {

void demand(bool holds, const char* what) {
  if (!holds) throw std::invalid_argument(what);
}

// One cycle: from record index `from`, where the relay goes up, to `to`, where it does so again.
struct Span {
  std::size_t from, down, to;
};

std::vector<Span> whole_cycles(const TestRecord& record, double middle) {
  std::vector<Span> spans;
  std::size_t up = 0, down = 0;
  for (std::size_t k = 1; k < record.input.size(); ++k) {
    const bool was_high = record.input[k - 1] > middle, is_high = record.input[k] > middle;
    if (was_high && !is_high) down = k;
    if (was_high || !is_high) continue;
    if (up > 0 && down > up) spans.push_back({up, down, k});
    up = k;
  }
  return spans;
}

void add_extremes_and_mean(const TestRecord& record, const Span& span, LimitCycle& cycle) {
  double high = record.output[span.from], low = high, area = 0.0;
  for (std::size_t k = span.from; k < span.to; ++k) {
    high = std::max(high, record.output[k]);
    low = std::min(low, record.output[k]);
    area += 0.5 * (record.output[k] + record.output[k + 1]) * (record.times_s[k + 1] - record.times_s[k]);
  }
  cycle.highest += high;
  cycle.lowest += low;
  cycle.mean_output += area / (record.times_s[span.to] - record.times_s[span.from]);
  cycle.high_s += record.times_s[span.down] - record.times_s[span.from];
  cycle.low_s += record.times_s[span.to] - record.times_s[span.down];
}

}  // namespace

LimitCycle read_limit_cycle(const TestRecord& record) {
  const std::size_t n = record.times_s.size();
  demand(n > 2 && record.input.size() == n && record.output.size() == n, "a relay test wants three columns of one length");
  for (std::size_t k = 0; k < n; ++k) {
    demand(std::isfinite(record.input[k]) && std::isfinite(record.output[k]), "a relay test is read without gaps");
    demand(k == 0 || record.times_s[k] > record.times_s[k - 1], "the times of a relay test must rise");
  }
  const auto [low, high] = std::minmax_element(record.input.begin(), record.input.end());
  LimitCycle cycle{.high_input = *high, .low_input = *low};
  for (const double u : record.input) demand(u == *low || u == *high, "the input of a relay test has two levels only");
  std::vector<Span> spans = whole_cycles(record, 0.5 * (*low + *high));
  demand(spans.size() >= 2, "a relay test wants at least two whole cycles: let it run on");
  if (spans.size() > 4) spans.erase(spans.begin(), spans.end() - 4);
  for (const Span& span : spans) add_extremes_and_mean(record, span, cycle);
  const auto count = static_cast<double>(spans.size());
  for (double* sum : {&cycle.highest, &cycle.lowest, &cycle.mean_output, &cycle.high_s, &cycle.low_s}) *sum /= count;
  cycle.cycles = static_cast<int>(spans.size());
  cycle.mean_input = (cycle.high_input * cycle.high_s + cycle.low_input * cycle.low_s) / cycle.period_s();
  for (const Span& span : spans) {
    const double period = record.times_s[span.to] - record.times_s[span.from];
    cycle.spread = std::max(cycle.spread, std::fabs(period / cycle.period_s() - 1.0));
  }
  return cycle;
}

UltimatePoint ultimate_point(const LimitCycle& cycle, double hysteresis) {
  const double a = cycle.amplitude();
  demand(hysteresis >= 0.0 && a > hysteresis, "the cycle's amplitude must be above the relay's hysteresis");
  return {4.0 * cycle.relay_amplitude() / (std::numbers::pi * std::sqrt(a * a - hysteresis * hysteresis)), cycle.period_s()};
}

double gain_from_bias(const LimitCycle& cycle, double rest_input, double rest_output) {
  const double bias = cycle.mean_input - rest_input;
  demand(std::fabs(bias) >= 0.02 * cycle.relay_amplitude(), "the relay is not biased: its cycle does not show the static gain");
  return (cycle.mean_output - rest_output) / bias;
}

Process first_order_of(const LimitCycle& cycle, double gain, double rest_input, double rest_output, double hysteresis) {
  demand(std::isfinite(gain) && gain != 0.0, "a first order wants a gain other than 0");
  const double sign = gain > 0.0 ? 1.0 : -1.0;
  const double aim = std::fabs(gain) * (cycle.high_input - rest_input);
  const double high = sign * ((gain > 0.0 ? cycle.highest : cycle.lowest) - rest_output);
  const double low = sign * ((gain > 0.0 ? cycle.lowest : cycle.highest) - rest_output);
  demand(aim > high && high > hysteresis && low < high, "no first order of this gain keeps up such a cycle");
  Process process;
  process.gain = gain;
  process.lags_s = {cycle.high_s / std::log((aim - low) / (aim - high))};
  process.delay_s = process.lags_s[0] * std::log((aim - hysteresis) / (aim - high));
  return process;
}

}  // namespace sim
