#include "firmware/temperature.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace {

fw::Parameters loop_parameters() {
  fw::Parameters parameters = fw::default_parameters();
  parameters.period_ms = 100;
  parameters.heat_every = 10;
  parameters.heat_gains[0] = {0.02f, 300.0f, 0.0f, 1.0f};
  parameters.heat_gains[1] = {0.05f, 120.0f, 10.0f, 0.5f};
  parameters.heat_gains[2] = {0.01f, 900.0f, 0.0f, 1.0f};
  parameters.heat_gains[3] = {0.03f, 200.0f, 5.0f, 0.0f};
  return parameters;
}

TEST(Temperature, RunsEveryNthTickAndHoldsInBetween) {
  const fw::Parameters parameters = loop_parameters();
  fw::HeatLoop loop;
  float last = -1.0f;
  int changes = 0;
  for (int k = 0; k < 100; ++k) {
    const float demand = fw::heat_automatic(loop, parameters, 1, 200.0f, 190.0f + 0.01f * static_cast<float>(k), 0.0f);
    fw::heat_applied(loop, demand);
    if (demand != last) {
      EXPECT_EQ(k % 10, 0);
      ++changes;
    }
    last = demand;
  }
  EXPECT_EQ(changes, 10);
}

TEST(Temperature, SettingsFollowGainSetPeriodAndDivider) {
  const fw::Parameters parameters = loop_parameters();
  const auto settings = fw::heat_settings(parameters, 2);
  EXPECT_FLOAT_EQ(settings.gain, 0.05f);
  EXPECT_FLOAT_EQ(settings.integral_s, 120.0f);
  EXPECT_FLOAT_EQ(settings.derivative_s, 10.0f);
  EXPECT_FLOAT_EQ(settings.setpoint_weight, 0.5f);
  EXPECT_FLOAT_EQ(settings.period_s, 1.0f);
  EXPECT_EQ(fw::heat_settings(parameters, 0).gain, 0.02f);   // no such set: the first
  EXPECT_EQ(fw::heat_settings(parameters, 5).gain, 0.02f);
}

TEST(Temperature, SwitchesGainSetsWithoutABump) {
  fw::Parameters parameters = loop_parameters();
  parameters.heat_every = 1;
  for (int from = 1; from <= 4; ++from) {
    for (int to = 1; to <= 4; ++to) {
      fw::HeatLoop loop;
      static_cast<void>(fw::heat_manual(loop, parameters, from, 500.0f, 495.0f, 0.4f));
      for (int k = 0; k < 20; ++k) fw::heat_applied(loop, fw::heat_automatic(loop, parameters, from, 500.0f, 499.0f, 0.0f));
      const fw::HeatLoop before = loop;
      fw::HeatLoop unchanged = before;
      const float stays = fw::heat_automatic(unchanged, parameters, from, 500.0f, 499.0f, 0.0f);
      const float switched = fw::heat_automatic(loop, parameters, to, 500.0f, 499.0f, 0.0f);
      // The proportional part is up to 0.05 * 500 = 25 with b = 0.5: a dozen roundings of that.
      EXPECT_NEAR(switched, stays, 12.0f * 25.0f * 0x1p-24f) << from << ' ' << to;
    }
  }
}

TEST(Temperature, FollowsManualAndGoesOnFromThere) {
  const fw::Parameters parameters = loop_parameters();
  fw::HeatLoop loop;
  for (int k = 0; k < 50; ++k) {
    EXPECT_EQ(fw::heat_manual(loop, parameters, 1, 600.0f, 550.0f, 0.25f), 0.25f);
    fw::heat_applied(loop, 0.25f);
  }
  EXPECT_NEAR(fw::heat_automatic(loop, parameters, 1, 600.0f, 550.0f, 0.0f), 0.25f, 1e-6f);   // P is 1: a few roundings
}

TEST(Temperature, DoesNotWindUpBehindAnInterlock) {
  const fw::Parameters parameters = loop_parameters();
  fw::HeatLoop loop;
  for (int k = 0; k < 36'000; ++k) {
    static_cast<void>(fw::heat_automatic(loop, parameters, 1, 800.0f, 500.0f, 0.0f));
    fw::heat_applied(loop, 0.0f);
  }
  // Released, the demand comes back no faster than the rate limit, and the integral has not grown beyond tracking's balance
  // v = K e Tt / Ti.
  const float expected = 0.02f * 300.0f * parameters.heat_tracking_s / 300.0f;
  EXPECT_NEAR(loop.pid.unlimited(), expected, 1e-3f);
  EXPECT_LE(loop.demand, parameters.heat_out_rate_per_s * 1.0f + 1e-6f);
}

TEST(Temperature, NeverEmitsAnythingButZeroToOne) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  const float infinity = std::numeric_limits<float>::infinity();
  const fw::Parameters parameters = loop_parameters();
  fw::HeatLoop loop;
  std::uint32_t state = 5;
  const float odd[] = {nan, infinity, -infinity, 0.0f, -270.0f, 1372.0f, 3e38f, 500.0f};
  for (int k = 0; k < 100'000; ++k) {
    state = state * 1664525u + 1013904223u;
    const float setpoint = odd[(state >> 8) % 8];
    const float zone = odd[(state >> 12) % 8];
    const float rate = odd[(state >> 16) % 8];
    const int gain_set = static_cast<int>((state >> 20) % 6);
    const bool automatic = (state >> 28) % 3 != 0;
    const float demand = automatic ? fw::heat_automatic(loop, parameters, gain_set, setpoint, zone, rate)
                                   : fw::heat_manual(loop, parameters, gain_set, setpoint, zone, odd[(state >> 24) % 8]);
    ASSERT_TRUE(demand >= 0.0f && demand <= 1.0f) << k;
    fw::heat_applied(loop, (state >> 9) % 2 == 0 ? demand : nan);
  }
  // And it still controls afterwards.
  for (int k = 0; k < 20'000; ++k) fw::heat_applied(loop, fw::heat_automatic(loop, parameters, 1, 500.0f, 400.0f, 0.0f));
  EXPECT_GT(loop.demand, 0.5f);
}

TEST(Temperature, ABadSensorTakesTheHeatAwayAtOnce) {
  const fw::Parameters parameters = loop_parameters();
  fw::HeatLoop loop;
  for (int k = 0; k < 25; ++k) fw::heat_applied(loop, fw::heat_automatic(loop, parameters, 1, 500.0f, 450.0f, 0.0f));
  EXPECT_GT(loop.demand, 0.0f);
  EXPECT_EQ(fw::heat_automatic(loop, parameters, 1, 500.0f, std::numeric_limits<float>::quiet_NaN(), 0.0f), 0.0f);
}

// A small retort furnace: heater side 1.5 kJ/K radiating to a retort of 6 kJ/K, lining loss 0.9 W/K, 3 kW, sheath 8 s. 8 K/min from
// 180 to 792 degC.
struct Furnace {
  double heater_degc = 180.0, retort_degc = 175.0, sheath_degc = 180.0;
  void advance(double demand) {
    const auto fourth = [](double degc) { return std::pow((degc + 273.15) / 100.0, 4.0); };
    const double to_retort = 0.15 * 5.670374 * (fourth(heater_degc) - fourth(retort_degc));
    heater_degc += 0.1 * (3000.0 * demand - to_retort - 0.9 * (heater_degc - 25.0)) / 1500.0;
    retort_degc += 0.1 * to_retort / 6000.0;
    sheath_degc += 0.1 * (heater_degc - sheath_degc) / 8.0;
  }
};

struct RampCourse {
  double worst_k = 0.0, overshoot_k = 0.0;
};

RampCourse ramp(const fw::Parameters& parameters) {
  Furnace furnace;
  fw::HeatLoop loop;
  static_cast<void>(fw::heat_manual(loop, parameters, 1, 180.0f, 180.0f, 0.05f));
  const float rate = 8.0f / 60.0f;
  RampCourse course;
  for (int k = 0; k < 90'000; ++k) {
    const bool ramping = 180.0f + rate * 0.1f * static_cast<float>(k) < 792.0f;
    const float setpoint = ramping ? 180.0f + rate * 0.1f * static_cast<float>(k) : 792.0f;
    const float demand = fw::heat_automatic(loop, parameters, 1, setpoint, static_cast<float>(furnace.sheath_degc),
                                            ramping ? rate : 0.0f);
    fw::heat_applied(loop, demand);
    furnace.advance(static_cast<double>(demand));
    if (setpoint > 250.0f && setpoint < 780.0f) {
      course.worst_k = std::max(course.worst_k, std::fabs(static_cast<double>(setpoint) - furnace.sheath_degc));
    }
    course.overshoot_k = std::max(course.overshoot_k, furnace.sheath_degc - 792.0);
  }
  return course;
}

TEST(Temperature, FollowsARampWithinTenKelvinAndLandsWithLittleOvershoot) {
  fw::Parameters parameters = loop_parameters();
  parameters.heat_gains[0] = {0.03f, 150.0f, 0.0f, 1.0f};
  const RampCourse course = ramp(parameters);
  EXPECT_LT(course.worst_k, 10.0);
  EXPECT_LT(course.overshoot_k, 14.0);
}

// Feed-forward of heat capacity over power, 7.5 kJ/K / 3 kW = 2.5 s/K, must make both better than feedback alone.
TEST(Temperature, FeedForwardOfTheRampCutsDeviationAndOvershoot) {
  fw::Parameters parameters = loop_parameters();
  parameters.heat_gains[0] = {0.03f, 150.0f, 0.0f, 1.0f};
  const RampCourse without = ramp(parameters);
  parameters.heat_feed_forward_s_per_k = 2.5f;
  const RampCourse with = ramp(parameters);
  EXPECT_LT(with.worst_k, without.worst_k);
  EXPECT_LT(with.overshoot_k, without.overshoot_k);
}

}  // namespace
