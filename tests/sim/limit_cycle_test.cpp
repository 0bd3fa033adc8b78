// A relay loop simulated exactly (closed form between events) against every row of tests/reference/relay_autotune.csv, then read.
#include "sim/limit_cycle.h"

#include <gtest/gtest.h>

#include <cmath>
#include <deque>
#include <regex>
#include <stdexcept>

#include "tests/csv_table.h"

namespace {

using sim::LimitCycle;
using sim::TestRecord;

// gain / (lag s + 1)^order, delayed; the relay switches up where y falls to -hysteresis, down where it rises to +hysteresis.
struct Loop {
  double gain, lag_s;
  int order;
  double delay_s, high, low, hysteresis;
};

// The states of `order` equal lags after dt of a standing input: each is a polynomial times exp(-dt / lag) towards the level.
std::vector<double> after(const std::vector<double>& x, double level, double share) {
  std::vector<double> next(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) {
    double term = std::exp(-share), sum = 0.0;
    for (std::size_t j = 0; j <= i; ++j) {
      sum += term * (x[i - j] - level);
      term *= share / static_cast<double>(j + 1);
    }
    next[i] = level + sum;
  }
  return next;
}

// Rows every `step_s`, and at each switch of the relay and each arrival of one at the process.
TestRecord run(const Loop& loop, double step_s, double end_s) {
  TestRecord record;
  std::vector<double> x(static_cast<std::size_t>(loop.order), -loop.hysteresis - 0.1 * loop.gain * loop.high);  // below the band
  std::deque<std::pair<double, double>> on_the_way;                                                             // arrival, level
  double now = 0.0, level = x[0] / loop.gain, u = loop.high;
  on_the_way.emplace_back(loop.delay_s, u);
  const auto output = [&](double dt) { return after(x, loop.gain * level, dt / loop.lag_s).back(); };
  const auto crossed = [&](double y) { return u == loop.high ? y >= loop.hysteresis : y <= -loop.hysteresis; };
  while (now < end_s && record.times_s.size() < 2'000'000) {
    if (!on_the_way.empty() && on_the_way.front().first <= now + 1e-12) {  // else rounding may leave a step of nothing
      level = on_the_way.front().second;
      on_the_way.pop_front();
    }
    record.times_s.push_back(now);
    record.input.push_back(u);
    record.output.push_back(x.back());
    double dt = step_s;
    if (!on_the_way.empty()) dt = std::min(dt, on_the_way.front().first - now);
    const bool switches = crossed(output(dt));
    if (switches) {
      double short_of = 0.0, beyond = dt;
      for (int i = 0; i < 80; ++i) (crossed(output(0.5 * (short_of + beyond))) ? beyond : short_of) = 0.5 * (short_of + beyond);
      dt = beyond;
    }
    x = after(x, loop.gain * level, dt / loop.lag_s);
    now += dt;
    if (!switches) continue;
    u = u == loop.high ? loop.low : loop.high;
    on_the_way.emplace_back(now + loop.delay_s, u);
  }
  return record;
}

Loop loop_of(const CsvTable::Row& row) {
  std::smatch found;
  const double d = row.number("relay_amplitude_d"), eps = row.number("hysteresis_eps");
  if (std::regex_match(row["process"], found, std::regex(R"(([\d.]+)\*exp\(-(\d+)s\)/\((\d+)s\+1\))"))) {
    return {std::stod(found[1]), std::stod(found[3]), 1, std::stod(found[2]), d, -d, eps};
  }
  if (std::regex_match(row["process"], found, std::regex(R"(1/\(s\+1\)\^(\d))"))) return {1.0, 1.0, std::stoi(found[1]), 0.0, d, -d, eps};
  throw std::runtime_error(row["process"]);
}

// Amplitudes between rows: half a step from the peak, curvature at most a / (period / 2 pi)^2.
TEST(LimitCycle, IsThatOfEveryPublishedRow) {
  const CsvTable table("relay_autotune.csv");
  ASSERT_EQ(table.rows().size(), 9u);
  for (const auto& row : table.rows()) {
    const Loop loop = loop_of(row);
    const double period = row.number("period_exact"), amplitude = row.number("amplitude_a_exact");
    const LimitCycle cycle = sim::read_limit_cycle(run(loop, period / 4000.0, 40.0 * period));
    EXPECT_EQ(cycle.cycles, 4);
    EXPECT_NEAR(cycle.period_s(), period, 1e-7 * period) << row["process"];
    EXPECT_NEAR(cycle.amplitude(), amplitude, 1e-6 * amplitude) << row["process"];
    EXPECT_NEAR(cycle.high_s, cycle.low_s, 1e-7 * period);
    EXPECT_LT(cycle.spread, 1e-7);
    const double with = sim::ultimate_point(cycle, loop.hysteresis).gain, without = sim::ultimate_point(cycle, 0.0).gain;
    EXPECT_NEAR(with, row.number("Ku_DF_4d_over_pi_sqrt_a2_minus_eps2"), 1e-5 * with) << row["process"];
    EXPECT_NEAR(without, row.number("Ku_DF_no_hyst_4d_over_pi_a"), 1e-5 * without) << row["process"];
    EXPECT_DOUBLE_EQ(sim::ultimate_point(cycle, 0.0).period_s, cycle.period_s());
  }
}

// First order with delay: the inversion is exact, whatever the describing function makes of it.
TEST(LimitCycle, GivesAFirstOrderBackExactly) {
  const CsvTable table("relay_autotune.csv");
  int looked_at = 0;
  for (const auto& row : table.rows()) {
    if (row["class"] != "FOPDT") continue;
    const Loop loop = loop_of(row);
    const LimitCycle cycle = sim::read_limit_cycle(run(loop, loop.delay_s / 50.0, 30.0 * row.number("period_exact")));
    const sim::Process found = sim::first_order_of(cycle, loop.gain, 0.0, 0.0, loop.hysteresis);
    EXPECT_NEAR(found.lags_s.at(0), loop.lag_s, 1e-6 * loop.lag_s) << row["process"];
    EXPECT_NEAR(found.delay_s, loop.delay_s, 1e-6 * loop.delay_s) << row["process"];
    ++looked_at;
  }
  EXPECT_EQ(looked_at, 6);
}

// A biased relay shows the static gain (a linear process in a cycle has the mean of its input times the gain), then all of the first
// order; a process of negative gain, with the relay turned about, likewise; also from another point of rest.
TEST(LimitCycle, OfABiasedRelayGivesGainAndAll) {
  const Loop loop{2.0, 20.0, 1, 5.0, 1.5, -0.7, 0.1};
  const TestRecord record = run(loop, 0.005, 600.0);
  const LimitCycle cycle = sim::read_limit_cycle(record);
  EXPECT_GT(cycle.low_s, 1.2 * cycle.high_s);
  const double gain = sim::gain_from_bias(cycle, 0.0, 0.0);
  EXPECT_NEAR(gain, 2.0, 1e-4);  // by trapezoids of 1/1000 of the delay
  const sim::Process found = sim::first_order_of(cycle, 2.0, 0.0, 0.0, 0.1);
  EXPECT_NEAR(found.lags_s.at(0), 20.0, 1e-5);
  EXPECT_NEAR(found.delay_s, 5.0, 1e-5);

  TestRecord turned = record;
  for (double& y : turned.output) y = 300.0 - y;
  for (double& u : turned.input) u += 40.0;
  const LimitCycle other = sim::read_limit_cycle(turned);
  EXPECT_NEAR(sim::gain_from_bias(other, 40.0, 300.0), -2.0, 1e-4);
  const sim::Process negative = sim::first_order_of(other, -2.0, 40.0, 300.0, 0.1);
  EXPECT_NEAR(negative.lags_s.at(0), 20.0, 1e-5);
  EXPECT_NEAR(negative.delay_s, 5.0, 1e-5);
  EXPECT_DOUBLE_EQ(negative.gain, -2.0);
}

TEST(LimitCycle, RefusesWhatIsNone) {
  const Loop loop{2.0, 20.0, 1, 5.0, 1.0, -1.0, 0.1};
  const TestRecord record = run(loop, 0.05, 400.0);
  const LimitCycle cycle = sim::read_limit_cycle(record);
  EXPECT_THROW(sim::read_limit_cycle(run(loop, 0.05, 30.0)), std::invalid_argument);  // not two whole cycles
  TestRecord three = record;
  three.input[5] = 0.3;
  EXPECT_THROW(sim::read_limit_cycle(three), std::invalid_argument);
  TestRecord gap = record;
  gap.output[5] = std::nan("");
  EXPECT_THROW(sim::read_limit_cycle(gap), std::invalid_argument);
  EXPECT_THROW(sim::gain_from_bias(cycle, 0.0, 0.0), std::invalid_argument);  // no bias
  EXPECT_THROW(sim::ultimate_point(cycle, 2.0 * cycle.amplitude()), std::invalid_argument);
  EXPECT_THROW(sim::first_order_of(cycle, 0.1, 0.0, 0.0, 0.1), std::invalid_argument);  // would not get so far
  EXPECT_THROW(sim::first_order_of(cycle, 0.0, 0.0, 0.0, 0.1), std::invalid_argument);
}

}  // namespace
