// Thinning keeps its bound at every row of every signal of every shipped scenario; boxes hold every value near an instant.
#include "sim/polyline.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "sim/bench.h"
#include "sim/fixed_decimal.h"
#include "sim/tolerance.h"
#include "tests/checkout.h"
#include "tests/sim/short_run.h"

namespace {

using sim::Polyline;

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();

Polyline line_of(const std::vector<std::pair<double, double>>& points, bool hold = false) {
  Polyline line;
  line.hold = hold;
  for (const auto& [time_s, value] : points) line.add(time_s, value);
  return line;
}

// Straight between the points of `line` around time_s, by hand.
double reconstructed(const Polyline& line, double time_s) {
  for (std::size_t i = line.size(); i-- > 0;) {
    if (line.times_s[i] > time_s) continue;
    if (line.hold || line.times_s[i] == time_s || i + 1 == line.size()) return line.values[i];
    const double share = (time_s - line.times_s[i]) / (line.times_s[i + 1] - line.times_s[i]);
    return line.values[i] * (1.0 - share) + line.values[i + 1] * share;
  }
  return nothing;
}

TEST(Polyline, IsStraightBetweenPointsAndHeldForCodes) {
  const std::vector<std::pair<double, double>> points = {{0, 1}, {10, 3}, {10, 7}, {20, 7}};
  EXPECT_DOUBLE_EQ(line_of(points).at(5), 2);
  EXPECT_DOUBLE_EQ(line_of(points).at(10), 7) << "a step has its later value";
  EXPECT_DOUBLE_EQ(line_of(points, true).at(9.9), 1);
  EXPECT_TRUE(std::isnan(line_of(points).at(-0.1)));
  EXPECT_TRUE(std::isnan(line_of(points).at(20.1)));
}

TEST(Polyline, DrawsNothingAcrossAGap) {
  const Polyline line = line_of({{0, 1}, {10, 1}, {20, nothing}, {30, 5}, {40, 5}});
  EXPECT_TRUE(std::isnan(line.at(15)));
  EXPECT_TRUE(std::isnan(line.at(25)));
  const Polyline thin = sim::thinned(line, [](double) { return 100.0; });
  EXPECT_TRUE(std::isnan(thin.at(15)));
  EXPECT_TRUE(std::isnan(thin.at(25)));
  EXPECT_DOUBLE_EQ(thin.at(35), 5);
}

// A triangle of slope 10 that turns at 2.3: rows each second see 20 at most, one that turns at 2.7 shows 27 - 7 = 20 twice. What either
// reached, 23 and 27, lies within what its rows allow, and a line whose steps are small gets nothing.
TEST(Polyline, MayHaveTurnedBetweenRowsThatDoNotFollowIt) {
  const auto triangle = [](double turns_at) {
    Polyline line;
    for (int i = 0; i <= 5; ++i) line.add(i, 10.0 * (i < turns_at ? i : 2.0 * turns_at - i));
    return line;
  };
  for (const double turns_at : {2.0, 2.3, 2.5, 2.7, 3.0}) {
    const Polyline with = sim::with_unseen_turns(triangle(turns_at), [](double) { return 4.0; });
    EXPECT_GE(*std::max_element(with.values.begin(), with.values.end()), 10.0 * turns_at) << turns_at;
    EXPECT_LE(*std::max_element(with.values.begin(), with.values.end()), 10.0 * turns_at + 10.0) << "one step at most, " << turns_at;
    EXPECT_DOUBLE_EQ(*std::min_element(with.values.begin(), with.values.end()), std::min(0.0, triangle(turns_at).values.back()));
    for (int i = 0; i <= 5; ++i) EXPECT_DOUBLE_EQ(with.at(i), triangle(turns_at).at(i)) << "the rows stand";
  }
  const Polyline even = sim::with_unseen_turns(triangle(2.5), [](double) { return 11.0; });
  EXPECT_EQ(even.size(), 6u) << "steps of 10 where 11 are allowed";
  const Polyline code = sim::with_unseen_turns(line_of({{0, 1}, {1, 9}, {2, 1}}, true), [](double) { return 1.0; });
  EXPECT_EQ(code.size(), 3u) << "a code is what it is";
}

TEST(BitWindow, HasWhatIsSetAtSomeTimeAndAllTheTime) {
  const Polyline line = line_of({{0, 0b0111}, {10, 0b0101}, {10.4, 0b1001}, {20, nothing}}, true);
  sim::BitWindow window(line, 2.0);
  const auto held = window.at(5.0), switching = window.at(9.0);
  EXPECT_EQ(held.some, 0b0111u);
  EXPECT_EQ(held.all, 0b0111u);
  EXPECT_EQ(switching.some, 0b1111u);
  EXPECT_EQ(switching.all, 0b0001u) << "also of one that stood between two rows of another";
  EXPECT_FALSE(window.at(25.0).any) << "a gap";
}

TEST(Polyline, KeepsTwoPointsOfAStraightLineAndEveryChangeOfACode) {
  Polyline ramp, code;
  code.hold = true;
  for (int i = 0; i <= 1000; ++i) {
    ramp.add(i, 2.0 * i);
    code.add(i, i / 100);
  }
  EXPECT_EQ(sim::thinned(ramp, [](double) { return 1e-6; }).size(), 2u);
  EXPECT_EQ(sim::thinned(code, [](double) { return 50.0; }).size(), 11u) << "eleven values, the last at the last row";
}

TEST(BoxWindow, HoldsEveryValueWithinReach) {
  Polyline line;
  for (int i = 0; i < 400; ++i) line.add(0.5 * i, std::sin(0.37 * i) * (i % 7));
  sim::BoxWindow window(line, 1.2);
  for (double time_s = 0; time_s < 199.5; time_s += 0.3) {
    double low = 1e9, high = -1e9;
    for (double near = std::max(0.0, time_s - 1.2); near <= std::min(199.5, time_s + 1.2); near += 0.001) {
      low = std::min(low, reconstructed(line, near));
      high = std::max(high, reconstructed(line, near));
    }
    const sim::BoxWindow::Box box = window.at(time_s);
    EXPECT_NEAR(box.low, low, 0.02) << time_s;      // the walk above may miss a corner by a thousandth of a second
    EXPECT_NEAR(box.high, high, 0.02) << time_s;
    EXPECT_LE(box.low, low + 1e-9);
    EXPECT_GE(box.high, high - 1e-9);
  }
}

class ShippedSignals : public testing::TestWithParam<const char*> {};

TEST_P(ShippedSignals, AreThinnedWithinTheirBoundAtEveryRow) {
  const sim::Scenario scenario = sim::load_scenario(std::string(source_folder) + "/configs/scenarios/" + GetParam() + ".yaml");
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  std::vector<Polyline> lines(static_cast<std::size_t>(bench.table().size()));
  const auto signals = bench.table().signals();
  for (std::uint64_t tick = 0; bench.advance(); ++tick) {
    if (tick % 10 != 0) continue;
    for (std::size_t i = 0; i < lines.size(); ++i) {
      lines[i].hold = sim::tube_of(signals[i], {}).code;
      lines[i].add(bench.time_s(), sim::rounded_fixed(bench.frame()[i], signals[i].decimals));
    }
  }
  ASSERT_GT(lines[0].size(), 1000u);
  std::size_t kept = 0, rows = 0;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const sim::Tube tube = sim::tube_of(signals[i], {});
    const auto allowed = [&](double value) { return 0.35 * tube.half_width(value); };
    const Polyline thin = sim::thinned(lines[i], allowed);
    if (!tube.ignored) kept += thin.size();
    if (!tube.ignored) rows += lines[i].size();
    double worst = 0.0;
    for (std::size_t k = 0, at = 0; k < lines[i].size(); ++k) {
      const double time_s = lines[i].times_s[k], value = lines[i].values[k];
      while (at + 1 < thin.size() && thin.times_s[at + 1] <= time_s) ++at;
      double found = thin.values[at];
      if (!thin.hold && at + 1 < thin.size()) {
        found += (thin.values[at + 1] - found) * (time_s - thin.times_s[at]) / (thin.times_s[at + 1] - thin.times_s[at]);
      }
      worst = std::max(worst, std::fabs(found - value) - allowed(value));
    }
    EXPECT_LE(worst, 1e-9 * (1.0 + std::fabs(tube.range))) << signals[i].name;
  }
  EXPECT_LT(kept, rows / 100) << "thinning that keeps so much is none";
}

INSTANTIATE_TEST_SUITE_P(Polyline, ShippedSignals,
                         testing::Values("cycles/titanium_stress_relief", "cycles/air_cycle", "sensors/load_thermocouple_opens"),
                         [](const auto& one) {
                           std::string name = one.param;
                           std::replace(name.begin(), name.end(), '/', '_');
                           return name;
                         });

}  // namespace
