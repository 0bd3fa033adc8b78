#include "firmware/back_pressure.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <vector>

namespace {

constexpr double wide_open_slm = 15.3;   // 4 mm2 at 4 kPa gauge less 0.3 kPa of the check valve, argon near ambient

// IEC 60534-2-4, equal percentage: capacity = R^(travel - 1).
TEST(BackPressure, InvertsTheEqualPercentageCharacteristic) {
  for (const float rangeability : {20.0f, 50.0f, 100.0f}) {
    const fw::ValveCharacteristic valve{true, rangeability};
    for (float travel = 0.01f; travel <= 1.0f; travel += 0.01f) {
      const double capacity = std::pow(static_cast<double>(rangeability), static_cast<double>(travel) - 1.0);
      // exponential2's 3e-7, its argument's rounding (3 u of at most 6.7), relative.
      EXPECT_NEAR(static_cast<double>(fw::valve_capacity(valve, travel)), capacity, capacity * (3e-7 + 3.0 * 6.7 * 0x1p-24));
      // logarithm2 3e-7 plus a rounding of 6.7, divided by log2 R of at least 4.3, and the sum with 1.
      EXPECT_NEAR(fw::valve_travel(valve, static_cast<float>(capacity)), travel, 1e-6f);
    }
    EXPECT_EQ(fw::valve_travel(valve, 1.0f), 1.0f);
    EXPECT_EQ(fw::valve_capacity(valve, 1.0f), 1.0f);
    EXPECT_EQ(fw::valve_travel(valve, 0.0f), 0.0f);
    EXPECT_EQ(fw::valve_capacity(valve, 0.0f), 0.0f);
    EXPECT_EQ(fw::valve_travel(valve, 0.4f / rangeability), 0.0f);
  }
}

TEST(BackPressure, LeavesALinearValveAlone) {
  const fw::ValveCharacteristic valve{false, 50.0f};
  EXPECT_EQ(fw::valve_travel(valve, 0.37f), 0.37f);
  EXPECT_EQ(fw::valve_capacity(valve, 0.37f), 0.37f);
}

TEST(BackPressure, CharacteristicSurvivesNonsense) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  for (const float rangeability : {nan, 0.0f, 1.0f, std::numeric_limits<float>::infinity()}) {
    const fw::ValveCharacteristic valve{true, rangeability};
    for (const float x : {nan, -1.0f, 2.0f, 0.5f}) {
      EXPECT_GE(fw::valve_travel(valve, x), 0.0f);
      EXPECT_LE(fw::valve_travel(valve, x), 1.0f);
      EXPECT_GE(fw::valve_capacity(valve, x), 0.0f);
      EXPECT_LE(fw::valve_capacity(valve, x), 1.0f);
    }
  }
}

// 14 L behind the valve: 130 Pa/s per slm; check valve 0.3 kPa; positioner 0.3 s and 2 s a stroke, transmitter 0.1 s with
// 0.6 Pa of noise (a fixed sequence); one period from sample to actuator.
struct Retort {
  double gauge_pa = 4000.0;
  double transmitter_pa = 4000.0;
  double stem = 0.5;
  double demand = 0.5;
  std::uint32_t noise = 1;

  double measured() {
    double sum = -6.0;
    for (int i = 0; i < 12; ++i) sum += static_cast<double>((noise = noise * 1664525u + 1013904223u) >> 8) / 16777216.0;
    return transmitter_pa + 0.6 * sum;
  }
  double outflow_slm() const {
    if (gauge_pa <= 300.0 || stem <= 0.0) return 0.0;
    return wide_open_slm * std::pow(50.0, stem - 1.0) * std::min(1.0, stem / 0.03) * std::sqrt((gauge_pa - 300.0) / 3700.0);
  }
  void advance(double inflow_slm, double next_demand) {
    for (int i = 0; i < 20; ++i) {
      stem += 0.005 * std::clamp((demand - stem) / 0.3, -0.5, 0.5);
      gauge_pa += 0.005 * 130.0 * (inflow_slm - outflow_slm());
      transmitter_pa += 0.005 * (gauge_pa - transmitter_pa) / 0.1;
    }
    demand = next_demand;
  }
};

struct Course {
  double peak_pa = -1e9, lowest_pa = 1e9, end_pa = 0.0, strokes = 0.0;
};

struct Case {
  double start_pa, start_travel, seconds, settled_s;   // lowest_pa, strokes and peak count from settled_s on
  double flow_slm;
  double later_flow_slm, change_s;
};

Course run(const fw::Parameters& parameters, const Case& c) {
  Retort retort;
  retort.gauge_pa = retort.transmitter_pa = c.start_pa;
  retort.stem = retort.demand = c.start_travel;
  fw::BackPressureLoop loop;
  static_cast<void>(fw::back_pressure_manual(loop, parameters, 4000.0f, static_cast<float>(c.start_pa),
                                             static_cast<float>(c.start_travel)));
  Course course;
  float last = static_cast<float>(c.start_travel);
  for (int k = 0; k < static_cast<int>(c.seconds * 10.0); ++k) {
    const double t = k * 0.1;
    const float travel = fw::back_pressure_automatic(loop, parameters, 4000.0f, static_cast<float>(retort.measured()));
    fw::back_pressure_applied(loop, parameters, travel);
    const double flow = t < c.change_s ? c.flow_slm : c.later_flow_slm;
    retort.advance(flow, static_cast<double>(travel));
    if (t >= c.settled_s) {
      course.peak_pa = std::max(course.peak_pa, retort.gauge_pa);
      course.lowest_pa = std::min(course.lowest_pa, retort.gauge_pa);
      course.strokes += std::fabs(static_cast<double>(travel - last));
    }
    last = travel;
  }
  course.end_pa = retort.gauge_pa;
  return course;
}

fw::Parameters parameters_with(float gain_factor) {
  fw::Parameters parameters = fw::default_parameters();
  parameters.pressure_gain_per_pa *= gain_factor;
  return parameters;
}

// Alarm 6 kPa. 5 slm to the end is the worst a backfill can do: 650 Pa/s.
TEST(BackPressure, CatchesABackfillFromVacuumBelowTheAlarm) {
  const Course course = run(parameters_with(1.0f), {-100'000.0, 0.0, 600.0, 0.0, 5.0, 5.0, 600.0});
  EXPECT_LT(course.peak_pa, 6000.0);
  EXPECT_NEAR(course.end_pa, 4000.0, 50.0);
}

// The band of the demo's soak is 0.2 kPa and 2 strokes an hour.
TEST(BackPressure, HoldsFromHalfToFiveStandardLitresWithLittleValveTravel) {
  for (const double flow : {0.5, 0.6, 2.0, 5.0}) {
    const Course course = run(parameters_with(1.0f), {4000.0, 0.5, 600.0 + 3600.0, 600.0, flow, flow, 1e9});
    EXPECT_LT(course.peak_pa, 4050.0) << flow;
    EXPECT_GT(course.lowest_pa, 3950.0) << flow;
    EXPECT_LT(course.strokes, 2.0) << flow;
  }
}

TEST(BackPressure, StaysStableWithTwiceAndHalfTheGain) {
  for (const float factor : {0.5f, 2.0f}) {
    for (const double flow : {0.5, 5.0}) {
      const Course course = run(parameters_with(factor), {4000.0, 0.5, 1800.0, 600.0, flow, flow, 1e9});
      EXPECT_LT(course.peak_pa - course.lowest_pa, 100.0) << factor << ' ' << flow;
    }
  }
}

TEST(BackPressure, RidesThroughAChangeOfFlow) {
  const Course up = run(parameters_with(1.0f), {4000.0, 0.25, 900.0, 200.0, 0.6, 2.0, 300.0});
  EXPECT_LT(up.peak_pa, 6000.0);
  EXPECT_NEAR(up.end_pa, 4000.0, 50.0);
  const Course down = run(parameters_with(1.0f), {4000.0, 0.79, 900.0, 200.0, 5.0, 0.6, 300.0});
  EXPECT_GT(down.lowest_pa, 2000.0);   // heat permissive
  EXPECT_NEAR(down.end_pa, 4000.0, 50.0);
}

TEST(BackPressure, StartsFromAGivenTravelWithoutABump) {
  for (const float travel : {0.2f, 0.5f, 0.8f, 1.0f}) {
    fw::BackPressureLoop loop;
    const fw::Parameters parameters = fw::default_parameters();
    EXPECT_EQ(fw::back_pressure_manual(loop, parameters, 4000.0f, 4000.0f, travel), travel);
    // The integral holds capacity - P: P is 0.6 here, so a few roundings of 1 come back, times d travel / d capacity of at
    // most 1 / (capacity ln R) = 6.
    EXPECT_NEAR(fw::back_pressure_automatic(loop, parameters, 4000.0f, 4000.0f), travel, 6.0f * 6.0f * 0x1p-24f);
  }
}

TEST(BackPressure, TracksTheTravelTheInterlocksLeft) {
  const fw::Parameters parameters = fw::default_parameters();
  fw::BackPressureLoop loop;
  static_cast<void>(fw::back_pressure_manual(loop, parameters, 4000.0f, 4000.0f, 0.3f));
  // Ten minutes forced open at a pressure below the set point: the loop wants it shut, and must not wind up towards that.
  for (int k = 0; k < 6000; ++k) {
    static_cast<void>(fw::back_pressure_automatic(loop, parameters, 4000.0f, 1000.0f));
    fw::back_pressure_applied(loop, parameters, 1.0f);
  }
  // Tracking's balance: v = u + K e Tt / Ti = 1 - 3e-4 * 3000 * 1 = 0.1, instead of the valve shut for ten minutes' integral.
  EXPECT_NEAR(loop.pid.unlimited(), 1.0f - parameters.pressure_gain_per_pa * 3000.0f, 1e-3f);
  // From there it goes down at the rate limit, 0.2 of capacity a sample: no jump.
  const float travel = fw::back_pressure_automatic(loop, parameters, 4000.0f, 1000.0f);
  const float slowest = 1.0f - parameters.pressure_out_rate_per_s * 0.1f;
  EXPECT_NEAR(travel, fw::valve_travel(fw::valve_characteristic(parameters), slowest), 1e-5f);
}

TEST(BackPressure, HoldsTheValveOnAnInvalidPressure) {
  const fw::Parameters parameters = fw::default_parameters();
  fw::BackPressureLoop loop;
  static_cast<void>(fw::back_pressure_manual(loop, parameters, 4000.0f, 4000.0f, 0.6f));
  EXPECT_EQ(fw::back_pressure_automatic(loop, parameters, 4000.0f, std::numeric_limits<float>::quiet_NaN()), 0.6f);
  EXPECT_EQ(fw::back_pressure_automatic(loop, parameters, std::numeric_limits<float>::infinity(), 4000.0f), 0.6f);
  fw::back_pressure_applied(loop, parameters, std::numeric_limits<float>::quiet_NaN());
  EXPECT_TRUE(std::isfinite(fw::back_pressure_automatic(loop, parameters, 4000.0f, 4100.0f)));
}

TEST(ValveByPoints, IsInvertedWhereItRises) {
  fw::Parameters p = fw::default_parameters();
  p.valve_points_used = 1;
  const float points[4] = {0.02f, 0.10f, 0.40f, 0.80f};
  for (int i = 0; i < 4; ++i) p.valve_point[i] = points[i];
  const fw::ValveCharacteristic valve = fw::valve_characteristic(p);
  EXPECT_FLOAT_EQ(fw::valve_capacity(valve, 0.4f), 0.10f);
  EXPECT_FLOAT_EQ(fw::valve_capacity(valve, 0.5f), 0.25f);
  EXPECT_FLOAT_EQ(fw::valve_travel(valve, 0.25f), 0.5f);
  EXPECT_EQ(fw::valve_travel(valve, 0.0f), 0.0f);
  EXPECT_EQ(fw::valve_travel(valve, 1.0f), 1.0f);
  for (float travel = 0.0f; travel <= 1.0f; travel += 0.01f) {
    EXPECT_NEAR(fw::valve_travel(valve, fw::valve_capacity(valve, travel)), travel, 1e-5f);
  }
  p.valve_point[1] = 0.01f;
  EXPECT_FALSE(fw::valve_characteristic(p).measured) << "points that do not rise: the inherent characteristic";
}

// 14 L at 104.8 kPa and 400 degC, heated by 8 K/min: 14 L * 1.0343 * 273.15 K / (673.15 K)^2 * 8 K/min = 0.0698 slm.
TEST(FeedForward, KnowsWhatHeatingPushesOut) {
  fw::Parameters p = fw::default_parameters();
  p.chamber_volume_l = 14.0f;
  fw::GasExpansion expansion;
  float pushed = 0.0f, degc = 384.0f;
  for (int tick = 0; tick < 1200; ++tick) {
    pushed = fw::expansion_slm(expansion, p, degc, 104800.0f);
    degc += 8.0f / 600.0f;
  }
  EXPECT_NEAR(degc, 400.0f, 0.1f);
  EXPECT_NEAR(pushed, 0.0698f, 0.0007f);
}

TEST(FeedForward, MovesTheValveBeforeThePressureDoes) {
  fw::Parameters p = fw::default_parameters();
  fw::BackPressureLoop plain, fed;
  for (fw::BackPressureLoop* loop : {&plain, &fed}) {
    for (int tick = 0; tick < 50; ++tick) static_cast<void>(fw::back_pressure_manual(*loop, p, 4000.0f, 4000.0f, 0.5f, 0.1f));
  }
  const float before = fw::back_pressure_automatic(plain, p, 4000.0f, 4000.0f, 0.1f);
  const float after = fw::back_pressure_automatic(fed, p, 4000.0f, 4000.0f, 0.2f);
  EXPECT_NEAR(before, 0.5f, 0.002f) << "no bump";
  EXPECT_GT(after, before + 0.05f);
}

}  // namespace
