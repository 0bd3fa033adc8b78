#include "plant/firing.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace {

using plant::Firing;
using plant::FiringState;
using plant::PowerSwitch;

constexpr double pi = std::numbers::pi;
constexpr double period_s = 0.1;

PowerSwitch burst(bool full_cycles, double least_on_s = 0.0, double least_off_s = 0.0) {
  PowerSwitch s;
  s.firing = Firing::burst;
  s.full_cycles = full_cycles;
  s.least_on_s = least_on_s;
  s.least_off_s = least_off_s;
  return s;
}

// The mean of sin^2 over a half wave of which the first a rad are cut off, over that of the whole one: midpoint rule, 100,000 pieces.
double integrated_share(double angle_rad) {
  double sum = 0.0;
  constexpr int pieces = 100'000;
  for (int i = 0; i < pieces; ++i) {
    const double x = pi * (i + 0.5) / pieces;
    if (x >= angle_rad) sum += std::sin(x) * std::sin(x);
  }
  return 2.0 * sum / pieces;
}

// Textbooks of power electronics: 1 - a/pi + sin(2a)/(2 pi); 0.5 at 90 degrees.
TEST(PhaseAngle, power_follows_the_textbook_and_the_wave_itself) {
  EXPECT_NEAR(plant::phase_angle_share(0.0), 1.0, 1e-15);
  EXPECT_NEAR(plant::phase_angle_share(0.5 * pi), 0.5, 1e-15);
  EXPECT_NEAR(plant::phase_angle_share(pi), 0.0, 1e-15);
  EXPECT_NEAR(plant::phase_angle_share(pi / 3.0), 1.0 - 1.0 / 3.0 + std::sqrt(3.0) / (4.0 * pi), 1e-15);
  for (double angle = 0.05; angle < pi; angle += 0.1) EXPECT_NEAR(plant::phase_angle_share(angle), integrated_share(angle), 5e-5) << angle;
}

TEST(PhaseAngle, demand_is_the_part_of_the_half_wave_that_conducts) {
  PowerSwitch s;
  s.firing = Firing::phase_angle;
  FiringState state;
  EXPECT_NEAR(plant::fire(s, state, 1.0, period_s), 1.0, 1e-12);
  EXPECT_NEAR(plant::fire(s, state, 0.5, period_s), 0.5, 1e-12);
  EXPECT_NEAR(plant::fire(s, state, 0.25, period_s), 0.25 + std::sin(1.5 * pi) / (2.0 * pi), 1e-12);
  EXPECT_NEAR(plant::fire(s, state, 0.0, period_s), 0.0, 1e-12);
}

TEST(Averaged, power_is_the_demand) {
  FiringState state;
  for (const double demand : {0.0, 0.013, 0.5, 1.0}) EXPECT_EQ(plant::fire(PowerSwitch{}, state, demand, period_s), demand);
}

// n whole cycles of N: 50 Hz give 5 in a period, and nothing between.
TEST(Burst, passes_whole_cycles_only) {
  const PowerSwitch s = burst(true);
  FiringState state;
  for (int k = 0; k < 20'000; ++k) {
    const double cycles = 5.0 * plant::fire(s, state, 0.5 + 0.5 * std::sin(k * 0.013), period_s);
    ASSERT_NEAR(cycles, std::round(cycles), 1e-9) << k;
    ASSERT_GE(cycles, 0.0);
    ASSERT_LE(cycles, 5.0);
  }
}

// What a period could not give is carried on: the sum of cycles stays within one of the sum asked for, at any time, however small the
// demand. (Zero crossing with whole cycles is an error-feedback quantiser: its error never exceeds its step.)
TEST(Burst, loses_nothing_however_small_the_demand) {
  for (const bool full : {true, false}) {
    const double per_period = full ? 5.0 : 10.0;
    for (const double demand : {0.0007, 0.01, 0.19, 0.333, 0.5, 0.87, 0.9993}) {
      const PowerSwitch s = burst(full);
      FiringState state;
      double given = 0.0, asked = 0.0;
      for (int k = 0; k < 36'000; ++k) {
        given += per_period * plant::fire(s, state, demand, period_s);
        asked += per_period * demand;
        ASSERT_LE(std::abs(given - asked), 1.0 + 1e-6) << demand << " after " << k;
      }
      EXPECT_NEAR(given / asked, 1.0, 1.0 / asked + 1e-9);
    }
  }
}

// 60 Hz: 6 cycles a period. 45 Hz: 4.5, so 4 and 5 in turn.
TEST(Burst, follows_the_frequency_of_the_mains) {
  for (const double hz : {45.0, 50.0, 60.0}) {
    PowerSwitch s = burst(true);
    s.mains_hz = hz;
    FiringState state;
    double cycles = 0.0;
    for (int k = 0; k < 1000; ++k) cycles += plant::fire(s, state, 1.0, period_s) * hz * period_s;
    EXPECT_NEAR(cycles, hz * 100.0, 1.0) << hz;
  }
}

// Half a cycle is looked at: lengths of bursts and gaps are seen by periods that hold one cycle each (20 ms).
TEST(Burst, keeps_its_shortest_burst_and_gap) {
  constexpr double cycle_s = 0.02;
  const PowerSwitch s = burst(true, 0.1, 0.06);      // 5 cycles on, 3 off at least
  FiringState state;
  int run = 0, shortest_on = 1000, shortest_off = 1000, switched = 0;
  bool on = false;
  double given = 0.0, asked = 0.0;
  for (int k = 0; k < 200'000; ++k) {
    const double demand = 0.5 + 0.5 * std::sin(k * 0.0007);
    const bool now = plant::fire(s, state, demand, cycle_s) > 0.5;
    given += now ? 1.0 : 0.0;
    asked += demand;
    // a burst is at most 5 too long, a gap at most 3
    ASSERT_LE(std::abs(given - asked), 6.0) << k;
    if (now != on && switched++ > 0) (on ? shortest_on : shortest_off) = std::min(on ? shortest_on : shortest_off, run);
    run = now == on ? run + 1 : 1;
    on = now;
  }
  EXPECT_GT(switched, 1000);
  EXPECT_EQ(shortest_on, 5);
  EXPECT_EQ(shortest_off, 3);
}

}  // namespace
