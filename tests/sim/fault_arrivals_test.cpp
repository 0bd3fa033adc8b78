// Faults by chance against the law they claim. Limits are those of the law itself, with the seeds 1 to n, so that a limit is either
// kept for ever or the draws are wrong:
//   counts: the mean of m counts of mean L lies within 3.29 sqrt(L / m) (two-sided 0.1 % of the normal law); their variance over
//     their mean, times m - 1, is chi-squared with m - 1 degrees, within its normal approximation (m - 1) +- 3.29 sqrt(2 (m - 1)).
//   gaps and stays: Kolmogorov-Smirnov, largest distance below 1.63 / sqrt(n) (published critical value at 1 %, n > 35).
#include "sim/fault_arrivals.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>

#include <gtest/gtest.h>

#include "tests/sim/short_run.h"

namespace {

using sim::Clock;
using sim::FaultArrivals;
using sim::FaultSource;

constexpr double hour_s = 3600.0;
constexpr Clock fine{1'000'000};      // 1 ms, so that rounding up to ticks is far below the limits

FaultSource by_chance(double rate_per_s, double shortest_s, double longest_s, double for_s = -1.0) {
  FaultSource source = sim_test::fault("mains_dip", {0.8}, 10.0, for_s);
  source.chance = {rate_per_s, shortest_s, longest_s};
  return source;
}

std::vector<FaultArrivals::Arrival> all(FaultArrivals& arrivals, std::size_t fault, std::uint64_t tick, Clock clock, std::size_t at_most) {
  std::vector<FaultArrivals::Arrival> seen;
  for (auto next = arrivals.open(fault, tick, clock); next && seen.size() < at_most; next = arrivals.next(fault, clock))
    seen.push_back(*next);
  return seen;
}

double distance(std::vector<double> samples, const std::function<double(double)>& law) {
  std::sort(samples.begin(), samples.end());
  const auto n = static_cast<double>(samples.size());
  double worst = 0.0;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double below = static_cast<double>(i) / n, p = law(samples[i]);
    worst = std::max({worst, std::abs(p - below), std::abs(p - below - 1.0 / n)});
  }
  return worst;
}

TEST(FaultArrivals, CountAsAPoissonProcessDoesOverManySeeds) {
  constexpr int seeds = 2000;
  const double mean = 3.0 / hour_s * 4.0 * hour_s;             // 12 in 4 h
  const FaultSource source = by_chance(3.0 / hour_s, 5.0, 60.0, 4.0 * hour_s);
  double sum = 0.0, squares = 0.0;
  for (int seed = 1; seed <= seeds; ++seed) {
    FaultArrivals arrivals({source}, static_cast<std::uint64_t>(seed));
    const auto count = static_cast<double>(all(arrivals, 0, 0, fine, 1000).size());
    sum += count;
    squares += count * count;
  }
  const double seen = sum / seeds, variance = (squares - sum * seen) / (seeds - 1);
  EXPECT_NEAR(seen, mean, 3.29 * std::sqrt(mean / seeds));
  EXPECT_NEAR(variance / seen * (seeds - 1), seeds - 1.0, 3.29 * std::sqrt(2.0 * (seeds - 1)));
}

TEST(FaultArrivals, LeaveExponentialGapsAndStayEvenlyBetweenTheirBounds) {
  constexpr std::size_t n = 4000;
  const double rate = 20.0 / hour_s;
  FaultArrivals arrivals({by_chance(rate, 5.0, 60.0)}, 7);
  std::vector<double> gaps, stays;
  std::uint64_t before = 500;
  for (const FaultArrivals::Arrival& arrival : all(arrivals, 0, 500, fine, n)) {
    gaps.push_back(fine.time_s(arrival.tick - before));
    stays.push_back(fine.time_s(arrival.lasts_ticks));
    before = arrival.tick;
  }
  const double limit = 1.63 / std::sqrt(static_cast<double>(n));
  EXPECT_LT(distance(gaps, [&](double s) { return 1.0 - std::exp(-rate * s); }), limit);
  EXPECT_LT(distance(stays, [](double s) { return (s - 5.0) / 55.0; }), limit);
  EXPECT_GE(*std::min_element(stays.begin(), stays.end()), 5.0);
  EXPECT_LE(*std::max_element(stays.begin(), stays.end()), 60.0 + 1e-3);
  // The limits find a rate that is 10 % off, and stays of another law.
  EXPECT_GT(distance(gaps, [&](double s) { return 1.0 - std::exp(-1.1 * rate * s); }), limit);
  EXPECT_GT(distance(stays, [](double s) { return std::pow((s - 5.0) / 55.0, 1.2); }), limit);
}

TEST(FaultArrivals, AreIndependentOfTheFaultsBesideThem) {
  const FaultSource one = by_chance(10.0 / hour_s, 5.0, 60.0), other = by_chance(10.0 / hour_s, 5.0, 61.0);
  FaultSource plain = sim_test::fault("door_opened", {}, 5.0);
  FaultArrivals alone({one}, 3), beside({other, plain, one, one}, 3), again({one}, 3), other_seed({one}, 4);
  const auto ticks = [](FaultArrivals& arrivals, std::size_t fault) {
    std::vector<std::uint64_t> seen;
    for (const FaultArrivals::Arrival& arrival : all(arrivals, fault, 0, fine, 200))
      seen.insert(seen.end(), {arrival.tick, arrival.lasts_ticks});
    return seen;
  };
  const auto first = ticks(alone, 0);
  EXPECT_EQ(ticks(beside, 2), first);
  EXPECT_EQ(ticks(again, 0), first);
  EXPECT_NE(ticks(other_seed, 0), first);
  EXPECT_NE(ticks(beside, 0), first);
  EXPECT_NE(ticks(beside, 3), first);      // the same again is another
}

TEST(FaultArrivals, EndWithTheirWindow) {
  FaultArrivals arrivals({by_chance(0.1, 50.0, 100.0, 200.0)}, 1);
  const auto seen = all(arrivals, 0, 1000, fine, 1000);
  ASSERT_FALSE(seen.empty());
  for (const FaultArrivals::Arrival& arrival : seen) {
    EXPECT_LT(arrival.tick, 1000u + 200'001u);
    EXPECT_LE(arrival.tick + arrival.lasts_ticks, 1000u + 200'002u);   // two roundings up
  }
}

// --- on the bench ---

struct Seen {
  std::vector<double> begins, ends;
};

Seen watched(const sim::Scenario& scenario) {
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  Seen seen;
  while (bench.advance())
    for (const sim::Event& event : bench.events())
      if (event.source == "fault") (event.kind == "begins" ? seen.begins : seen.ends).push_back(event.time_s);
  return seen;
}

TEST(FaultArrivals, BeginAndEndOnTheBenchWhereTheyWereDrawn) {
  sim::Scenario scenario = sim_test::short_run(300.0);
  scenario.faults = {by_chance(0.1, 0.5, 20.0, 200.0)};         // several at once
  const Clock clock{std::int64_t{scenario.parameters.period_ms} * 1'000'000};
  FaultArrivals arrivals(scenario.faults, scenario.seed);
  std::vector<double> begins, ends;
  for (const FaultArrivals::Arrival& arrival : all(arrivals, 0, clock.ticks(10.0), clock, 1000)) {
    begins.push_back(clock.time_s(arrival.tick));
    ends.push_back(clock.time_s(arrival.tick + arrival.lasts_ticks));
  }
  std::sort(ends.begin(), ends.end());
  const Seen seen = watched(scenario);
  EXPECT_GT(begins.size(), 10u);
  EXPECT_EQ(seen.begins, begins);
  EXPECT_EQ(seen.ends, ends);
}

}  // namespace
