// The heat zones together: gains over temperature, feed-forward, decoupling, cascade, what elements and station can take.
#include "firmware/heat_zones.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "tests/firmware/stand_in.h"

namespace {

using fw::HeatView;
using fw::Parameters;

Parameters every_second() {
  Parameters p = fw::default_parameters();
  p.period_ms = 100;
  p.heat_every = 10;
  p.heat_gains[0] = {0.02f, 300.0f, 0.0f, 1.0f};
  p.heat_out_rate_per_s = 100.0f;
  return p;
}

// The zones with loops, driven a tick at a time.
struct Bank {
  Parameters p = every_second();
  fw::HeatZones zones;
  fw::HeatLoop loops[4];
  fw::Inputs in;
  HeatView view;
  float demand[4] = {};

  explicit Bank(int count) {
    p.zones = count;
    in.known = true;
    view.on = true;
  }
  void tick() {
    fw::heat_zones_step(zones, loops, p, in, view, demand);
    fw::heat_zones_applied(zones, loops, p, demand);
  }
  void run() {   // until the loops have run once more
    for (int k = 0; k < p.heat_every; ++k) tick();
  }
};

// --- Gains over temperature ----------------------------------------------------------------------------------------------

Parameters scheduled() {
  Parameters p = every_second();
  p.heat_interpolate = 1;
  p.heat_gains[0] = {0.01f, 900.0f, 0.0f, 1.0f};
  p.heat_gains[1] = {0.03f, 300.0f, 20.0f, 0.5f};
  p.heat_gains[2] = {0.05f, 100.0f, 20.0f, 0.5f};
  const float at[] = {100.0f, 500.0f, 900.0f, 0.0f};   // the fourth ends the table
  std::copy(at, at + 4, p.heat_gains_at_degc);
  return p;
}

TEST(GainSchedule, LiesOnTheLineBetweenItsBreakpointsAndIsHeldBeyond) {
  const Parameters p = scheduled();
  const auto at = [&](float degc) { return fw::heat_settings(p, 0, degc); };
  EXPECT_FLOAT_EQ(at(20.0f).gain, 0.01f);
  EXPECT_FLOAT_EQ(at(100.0f).gain, 0.01f);
  EXPECT_FLOAT_EQ(at(300.0f).gain, 0.02f);          // half way
  EXPECT_FLOAT_EQ(at(300.0f).integral_s, 600.0f);
  EXPECT_FLOAT_EQ(at(200.0f).setpoint_weight, 0.875f);
  EXPECT_FLOAT_EQ(at(800.0f).gain, 0.045f);         // three quarters
  EXPECT_FLOAT_EQ(at(900.0f).gain, 0.05f);
  EXPECT_FLOAT_EQ(at(1500.0f).gain, 0.05f);
  EXPECT_FLOAT_EQ(fw::heat_settings(p, 2, 100.0f).gain, 0.03f) << "a set that is named holds everywhere";
}

TEST(GainSchedule, WithoutInterpolationIsTheFirstSet) {
  Parameters p = scheduled();
  p.heat_interpolate = 0;
  EXPECT_FLOAT_EQ(fw::heat_settings(p, 0, 700.0f).gain, 0.01f);
}

// A sweep through all breakpoints at a constant error: with bumpless take-over the demand moves by integral action alone. Between two
// runs that is K h e / Ti of the gains there, at most 0.05 * 1 s * 2 K / 100 s = 0.001; a bump in P would be dK e and, by the set-point
// weight, dK b r: 0.02/400 per K * 900 * 0.5 = 0.02 a kelvin.
TEST(GainSchedule, ChangesGainsWithoutABump) {
  const Parameters p = scheduled();
  fw::HeatLoop loop;
  static_cast<void>(fw::heat_manual(loop, p, 0, 102.0f, 100.0f, 0.4f));
  float before = 0.4f;
  for (int k = 0; k < 850; ++k) {
    const float zone_degc = 100.0f + static_cast<float>(k);
    fw::HeatOrder order;
    order.gain_set = 0;
    order.zone_degc = zone_degc;
    order.setpoint_degc = zone_degc + 2.0f;
    loop.ticks = 0;
    const float demand = fw::heat_automatic(loop, p, order);
    fw::heat_applied(loop, demand);
    if (demand < 1.0f && before < 1.0f && k > 0) {
      // P of the moving point itself: K (b - 1) per kelvin, and D: filtered -K Td per K/s, settled after a few samples.
      const auto s = fw::heat_settings(p, 0, zone_degc);
      const float moved = s.gain * (s.setpoint_weight - 1.0f);
      const float derivative = 0.06f * s.gain * s.derivative_s;   // its gains' share of a change, 1/400 a run, and the filter's first steps
      EXPECT_NEAR(demand - before, moved, 0.0011f + derivative) << zone_degc;
    }
    before = demand;
  }
}

// --- Feed-forward ----------------------------------------------------------------------------------------------------------

TEST(FeedForward, IsSteadyDemandPlusRateTimesHeatCapacity) {
  Parameters p = every_second();
  const float at[] = {100.0f, 500.0f, 900.0f, 0.0f, 0.0f}, demand[] = {0.02f, 0.10f, 0.34f, 0.9f, 0.9f};
  std::copy(at, at + 5, p.heat_steady_degc);
  std::copy(demand, demand + 5, p.heat_steady_frac);
  p.heat_feed_forward_s_per_k = 2.0f;
  p.heat_feed_forward_slope_per_k = 0.001f;
  EXPECT_FLOAT_EQ(fw::heat_feed_forward(p, 20.0f, 0.0f), 0.02f);
  EXPECT_FLOAT_EQ(fw::heat_feed_forward(p, 700.0f, 0.0f), 0.22f);
  EXPECT_FLOAT_EQ(fw::heat_feed_forward(p, 1300.0f, 0.0f), 0.34f);
  EXPECT_FLOAT_EQ(fw::heat_feed_forward(p, 700.0f, 0.1f), 0.22f + 2.0f * 0.1f * 1.68f);
  EXPECT_FLOAT_EQ(fw::heat_feed_forward(p, 520.0f, -0.05f), 0.112f - 2.0f * 0.05f * 1.5f);
  EXPECT_EQ(fw::heat_feed_forward(fw::default_parameters(), 700.0f, 0.1f), 0.0f);
}

// A furnace whose steady demand is exactly the table's, ramped with the right heat capacity, follows the ramp without feedback: first
// order, T' = (G u - (T - Ta)) / tau with G = 1000 K, tau = 2000 s: u = (T - Ta) / G + (tau / G) T'. Sampled every second the lag is one
// hold: half a period of the ramp. Without the table the loop lags by what its integral has yet to learn.
TEST(FeedForward, FollowsARampOfAFirstOrderFurnaceWithoutHelpFromTheIntegral) {
  const auto worst_k = [](bool ahead, float slip) {
    Bank b(1);
    b.p.heat_every = 1;
    b.p.period_ms = 1000;
    b.p.heat_gains[0] = {0.005f, 0.0f, 0.0f, 1.0f};
    const float at[] = {20.0f, 1020.0f, 0.0f, 0.0f, 0.0f}, steady[] = {0.0f, 1.0f, 0.0f, 0.0f, 0.0f};
    if (ahead) std::copy(at, at + 5, b.p.heat_steady_degc);
    if (ahead) std::copy(steady, steady + 5, b.p.heat_steady_frac);
    if (ahead) b.p.heat_feed_forward_s_per_k = 2.0f * slip;
    double degc = 20.0, worst = 0.0;
    for (int k = 0; k < 4000; ++k) {
      b.view.setpoint_degc = 20.0f + 0.1f * static_cast<float>(k);
      b.view.rate_k_per_s = 0.1f;
      b.in.zone_degc[0] = static_cast<float>(degc);
      b.tick();
      degc += (1.0 - std::exp(-1.0 / 2000.0)) * (20.0 + 1000.0 * static_cast<double>(b.demand[0]) - degc);
      if (k > 100) worst = std::max(worst, std::fabs(degc - static_cast<double>(b.view.setpoint_degc) - 0.1));
    }
    return worst;
  };
  EXPECT_LT(worst_k(true, 1.0f), 0.1);      // float32 and half a period of 0.1 K/s
  EXPECT_GT(worst_k(true, 0.8f), 5.0);      // a fifth of 0.2 missing: 0.04 / (0.005 + 0.001) = 6.7 K
  EXPECT_GT(worst_k(false, 1.0f), 50.0);
}

// --- Decoupling ------------------------------------------------------------------------------------------------------------

TEST(Decoupling, InverseOfADominantMatrixGivesTheIdentityBack) {
  float matrix[4][4] = {{1.0f, 0.3f, 0.1f, 0.05f}, {0.25f, 1.0f, 0.3f, 0.1f}, {0.1f, 0.3f, 1.0f, 0.3f}, {0.0f, 0.1f, 0.4f, 1.0f}};
  for (int count = 1; count <= 4; ++count) {
    float inverse[4][4] = {};
    fw::invert_dominant(matrix, count, inverse);
    for (int i = 0; i < count; ++i) {
      for (int j = 0; j < count; ++j) {
        double sum = 0.0;
        for (int k = 0; k < count; ++k) sum += static_cast<double>(matrix[i][k]) * static_cast<double>(inverse[k][j]);
        EXPECT_NEAR(sum, i == j ? 1.0 : 0.0, 1e-6);
      }
    }
  }
}

// Two zones that warm each other: T = Ta + 800 K G u settled, first order of 600 s. A step of zone 1's set point by an offset.
struct TwoZones {
  Bank b{2};
  double degc[2] = {300.0, 300.0};
  double mutual = 0.5;
  void run(int seconds) {
    for (int k = 0; k < 10 * seconds; ++k) {
      for (int z = 0; z < 2; ++z) b.in.zone_degc[z] = static_cast<float>(degc[z]);
      b.tick();
      const double u[2] = {static_cast<double>(b.demand[0]), static_cast<double>(b.demand[1])};
      for (int z = 0; z < 2; ++z) degc[z] += 0.1 / 600.0 * (20.0 + 800.0 * (u[z] + mutual * u[1 - z]) - degc[z]);
    }
  }
};

double disturbance_of_the_other_zone(float interaction) {
  TwoZones furnace;
  furnace.b.p.heat_interaction[0] = furnace.b.p.heat_interaction[3] = interaction;
  furnace.b.view.setpoint_degc = 300.0f;
  furnace.run(6000);
  furnace.b.p.heat_offset_k[1] = 8.0f;   // small enough for both demands to stay between their ends
  double worst = 0.0;
  for (int k = 0; k < 1200; ++k) {
    furnace.run(1);
    worst = std::max(worst, std::fabs(furnace.degc[0] - 300.0));
  }
  furnace.run(3000);
  EXPECT_NEAR(furnace.degc[1], 308.0, 0.1);
  EXPECT_NEAR(furnace.degc[0], 300.0, 0.1);
  return worst;
}

TEST(Decoupling, KeepsTheLeadZoneWhereItIsWhileTheOtherMoves) {
  const double alone = disturbance_of_the_other_zone(0.0f), decoupled = disturbance_of_the_other_zone(0.5f);
  EXPECT_GT(alone, 1.0);
  EXPECT_LT(decoupled, 0.05 * alone) << "the same lag everywhere: the inverse decouples exactly but for the sampling";
}

TEST(Decoupling, AntiWindupSeesWhatTheLimitsLeft) {
  TwoZones furnace;
  furnace.b.p.heat_interaction[0] = furnace.b.p.heat_interaction[3] = 0.5f;
  furnace.b.view.setpoint_degc = 1500.0f;     // out of reach: both at full demand, each loop at its reach of 1.5
  furnace.run(8000);
  EXPECT_EQ(furnace.b.demand[0], 1.0f);
  EXPECT_EQ(furnace.b.demand[1], 1.0f);
  furnace.b.view.setpoint_degc = 1000.0f;     // 1220 degC is what full demand gives
  furnace.run(30);
  EXPECT_LT(furnace.b.demand[0], 0.05f) << "no integral of hours to unwind";
}

// A zone that its neighbour keeps above its set point has nothing to give; the neighbour must still reach its own.
TEST(Decoupling, ZoneAtItsLimitDoesNotKeepTheOtherOneFromItsSetPoint) {
  TwoZones furnace;
  furnace.b.p.heat_interaction[0] = furnace.b.p.heat_interaction[3] = 0.5f;
  furnace.b.view.setpoint_degc = 120.0f;
  furnace.b.p.heat_offset_k[1] = 180.0f;      // zone 2 at 300 degC alone brings zone 1 to 20 + 0.5 * 280 = 160 degC
  furnace.run(12000);
  EXPECT_EQ(furnace.b.demand[0], 0.0f);
  EXPECT_NEAR(furnace.degc[1], 300.0, 0.5);
  EXPECT_NEAR(furnace.degc[0], 160.0, 0.5);
}

TEST(Decoupling, MatrixThatIsNotDominantIsRefusedEverywhere) {
  Parameters p = fw::default_parameters();
  p.zones = 3;
  EXPECT_EQ(fw::first_bad_parameter(p), -1);
  p.heat_interaction[0] = 0.6f;
  EXPECT_TRUE(fw::parameters_agree(p));
  p.heat_interaction[1] = 0.4f;
  EXPECT_FALSE(fw::parameters_agree(p));
  ASSERT_GE(fw::first_bad_parameter(p), 0);
  EXPECT_EQ(std::string(fw::parameter_table()[static_cast<std::size_t>(fw::first_bad_parameter(p))].name), "heat.interaction.1_by_2");
  Bank b(3);
  std::copy(p.heat_interaction, p.heat_interaction + 12, b.p.heat_interaction);
  b.view.setpoint_degc = 100.0f;
  b.tick();
  EXPECT_FALSE(b.zones.coupled);
}

TEST(Decoupling, WriteThatWouldBreakDominanceIsAnsweredWithIllegalValue) {
  using namespace stand_in;
  StandIn s(store_of(in_air(), {wait(1.0e4), end()}));
  s.run(0.5);
  const auto write = [&](const std::string& name, double value) {
    const auto table = fw::parameter_table();
    unsigned index = 0;
    while (name != table[index].name) ++index;
    Bytes data;
    put_float(data, value);
    s.tick(StandIn::write_request(fw::parameter_address + 2 * index, data));
    return s.reply[1] == 16 ? 0 : static_cast<int>(s.reply[2]);
  };
  EXPECT_EQ(write("heat.interaction.1_by_2", 0.6), 0);
  EXPECT_EQ(write("heat.interaction.1_by_3", 0.4), 3);
  EXPECT_EQ(write("heat.interaction.1_by_3", 0.3), 0);
  EXPECT_EQ(s.core->parameters.heat_interaction[1], 0.3f);
}

// --- Lead zone and offsets -------------------------------------------------------------------------------------------------

TEST(LeadZone, OthersKeepTheirOffsetFromItsSetPoint) {
  Bank b(3);
  b.p.heat_lead_zone = 2;
  const float offsets[] = {15.0f, 99.0f, -10.0f, 0.0f};   // the lead's own does not count
  std::copy(offsets, offsets + 4, b.p.heat_offset_k);
  b.view.setpoint_degc = 600.0f;
  b.tick();
  EXPECT_EQ(b.zones.setpoint_degc[0], 615.0f);
  EXPECT_EQ(b.zones.setpoint_degc[1], 600.0f);
  EXPECT_EQ(b.zones.setpoint_degc[2], 590.0f);
  b.in.zone_degc[0] = 612.0f;   // 3 K below its own
  b.in.zone_degc[1] = 598.0f;   // 2
  b.in.zone_degc[2] = 591.0f;   // 1 above
  EXPECT_FLOAT_EQ(fw::heat_zones_farthest_degc(b.zones, b.p, b.in, 600.0f), 597.0f);
  EXPECT_EQ(fw::heat_zones_lead_degc(b.p, b.in), 598.0f);
}

// --- Cascade ---------------------------------------------------------------------------------------------------------------

struct Cascade : Bank {
  double zone = 20.0, load = 20.0, sum_s = 0.0;
  double highest_k = -1e9, lowest_k = 1e9, fastest_k_s = 0.0;
  float last_sp = 0.0f;

  Cascade() : Bank(1) {
    p.cascade_on = 1;
    p.cascade_gain = 2.0f;
    p.cascade_integral_s = 600.0f;
    p.cascade_above_k = 60.0f;
    p.cascade_below_k = 40.0f;
    p.cascade_rate_k_per_s = 0.3f;
    p.heat_gains[0] = {0.05f, 120.0f, 0.0f, 1.0f};
    view.setpoint_degc = 20.0f;
    feel();
  }
  void feel() {
    in.zone_degc[0] = static_cast<float>(zone);
    in.load_degc = static_cast<float>(load);
  }
  void seconds(int count) {
    for (int k = 0; k < 10 * count; ++k) {
      feel();
      tick();
      const double sp = static_cast<double>(zones.setpoint_degc[0]);
      if (sum_s > 0.0) fastest_k_s = std::max(fastest_k_s, std::fabs(sp - static_cast<double>(last_sp)) / 0.1 / 10.0);
      last_sp = zones.setpoint_degc[0];
      highest_k = std::max(highest_k, sp - load);
      lowest_k = std::min(lowest_k, sp - load);
      zone += 0.1 / 400.0 * (20.0 + 1300.0 * static_cast<double>(demand[0]) - zone);
      load += 0.1 / 900.0 * (zone - load);
      sum_s += 0.1;
    }
  }
};

TEST(Cascade, BringsTheLoadToTheSetPointWithinTheLimitOnTheDifference) {
  Cascade c;
  c.view.setpoint_degc = 500.0f;
  c.zone = c.load = 300.0;
  c.zones.offset_k = -200.0f;   // the heater side's set point where it stands
  c.seconds(5000);
  c.view.setpoint_degc = 520.0f;
  c.zones.offset_k -= 20.0f;    // the programme steps, the heater side's set point must not
  c.seconds(5000);
  EXPECT_NEAR(c.load, 520.0, 0.5);
  EXPECT_GT(c.highest_k, 59.0) << "the limit was what ruled";
  EXPECT_LE(c.highest_k, 60.0 + 0.05);   // between two runs of the loop the load moves by less than 0.05 K
  EXPECT_GE(c.lowest_k, -40.0 - 0.05);
  EXPECT_LE(c.fastest_k_s, 0.3 + 1e-4);
}

TEST(Cascade, DifferenceIsLimitedDownwardsToo) {
  Cascade c;
  c.view.setpoint_degc = 500.0f;
  c.zone = c.load = 500.0;
  c.seconds(600);
  c.view.setpoint_degc = 300.0f;
  c.zones.offset_k += 200.0f;   // the set point of the programme falls, the heater side's stays where it was
  c.highest_k = -1e9;
  c.lowest_k = 1e9;
  c.seconds(8000);
  EXPECT_GE(c.lowest_k, -40.0 - 0.05);
  EXPECT_LT(c.lowest_k, -39.0) << "the limit was what ruled";
  EXPECT_NEAR(c.load, 300.0, 2.0);
}

TEST(Cascade, GoesOnAndOffWithoutAStepOfTheSetPoint) {
  Cascade c;
  c.p.cascade_on = 0;
  c.view.setpoint_degc = 500.0f;
  c.zone = 500.0;
  c.load = 470.0;
  c.seconds(10);
  EXPECT_EQ(c.zones.setpoint_degc[0], 500.0f);
  c.p.cascade_on = 1;
  float before = c.zones.setpoint_degc[0];
  for (int i = 0; i < 3000; ++i) {
    c.seconds(1);
    EXPECT_LE(std::fabs(c.zones.setpoint_degc[0] - before), 0.3f + 1e-3f);
    before = c.zones.setpoint_degc[0];
    if (i == 1500) c.p.cascade_on = 0;
  }
  EXPECT_EQ(c.zones.setpoint_degc[0], 500.0f) << "off: back on the programme's set point";
}

// Integral action must not go on while the lead zone has no more to give: with 12 % of power the heater side ends 176 K above the
// room and the load never gets there; an hour later the set point comes within reach and the load must not be driven over it.
TEST(Cascade, DoesNotWindUpWhileTheHeaterIsAtItsLimit) {
  Cascade c;
  c.view.power_max = 0.12f;
  c.p.cascade_above_k = 200.0f;
  c.view.setpoint_degc = 250.0f;
  c.seconds(3600 * 3);
  EXPECT_LT(c.load, 180.0);
  EXPECT_EQ(c.zones.asked[0], 0.12f);
  EXPECT_LT(c.zones.outer.unlimited() - static_cast<float>(c.zone), 5.0f) << "asks for no more than brings the limit";
  c.view.setpoint_degc = 160.0f;
  double highest = 0.0;
  for (int i = 0; i < 4000; ++i) {
    c.seconds(1);
    if (i > 2500) highest = std::max(highest, c.load);
  }
  EXPECT_LT(highest, 163.0);
}

TEST(Cascade, FallsBackToTheProgrammesSetPointWhenTheLoadSensorFails) {
  for (const int hold : {0, 1}) {
    Cascade c;
    c.p.cascade_hold = hold;
    c.view.setpoint_degc = 500.0f;
    c.zone = 500.0;
    c.load = 300.0;
    c.seconds(200);
    const float offset = c.zones.offset_k;
    ASSERT_GT(std::fabs(offset), 5.0f);
    c.in.load_failed = true;
    float before = c.zones.setpoint_degc[0];
    for (int i = 0; i < 400; ++i) {
      c.seconds(1);
      EXPECT_LE(std::fabs(c.zones.setpoint_degc[0] - before), 0.3f + 1e-3f);
      before = c.zones.setpoint_degc[0];
    }
    EXPECT_EQ(c.zones.offset_k, hold != 0 ? offset : 0.0f);
  }
}

TEST(Cascade, OffChangesNothing) {
  Bank with(1), without(1);
  with.p.cascade_gain = 5.0f;
  for (int k = 0; k < 500; ++k) {
    with.view.setpoint_degc = without.view.setpoint_degc = 300.0f + 0.37f * static_cast<float>(k);
    with.in.zone_degc[0] = without.in.zone_degc[0] = 300.0f + 0.36f * static_cast<float>(k);
    with.in.load_degc = 250.0f;
    without.in.load_degc = 20.0f;
    with.tick();
    without.tick();
    ASSERT_EQ(with.demand[0], without.demand[0]);
    ASSERT_EQ(with.zones.setpoint_degc[0], with.view.setpoint_degc);
  }
}

// --- Elements --------------------------------------------------------------------------------------------------------------

TEST(SoftStart, DemandGrowsFromNothingWhileTheZoneIsCold) {
  Bank b(1);
  b.p.soft_start_below_degc = 300.0f;
  b.p.soft_start_rate_per_s = 0.005f;
  b.view.setpoint_degc = 900.0f;
  b.in.zone_degc[0] = 20.0f;
  for (int second = 1; second <= 120; ++second) {
    b.run();
    EXPECT_NEAR(b.demand[0], 0.005f * static_cast<float>(second), 1e-5f);
  }
  b.in.zone_degc[0] = 301.0f;
  const float before = b.demand[0];
  for (int second = 0; second < 60; ++second) b.run();
  EXPECT_GT(b.demand[0], before + 0.3f) << "warm: the loop goes on from there, at its own pace";
  b.view.on = false;
  b.run();
  b.view.on = true;
  b.in.zone_degc[0] = 20.0f;
  b.run();
  EXPECT_NEAR(b.demand[0], 0.005f, 1e-6f) << "heat off: from nothing again";
}

// Burst firing: rms current I_full sqrt(d). An element of 5 A hot and 25 A cold, limit 6 A: (6 / I_full)^2.
TEST(CurrentLimit, HoldsTheRmsCurrentOfAColdElementAtTheLimit) {
  Bank b(1);
  b.p.current_limit_a = 6.0f;
  b.view.setpoint_degc = 900.0f;
  b.in.zone_degc[0] = 20.0f;
  float full_a = 25.0f, highest_a = 0.0f;
  for (int second = 0; second < 600; ++second) {
    full_a = 25.0f - 19.0f * std::min(1.0f, static_cast<float>(second) / 300.0f);
    b.run();
    b.in.current_a[0] = full_a * std::sqrt(b.demand[0]);
    if (second > 2) {
      highest_a = std::max(highest_a, b.in.current_a[0]);
    }
    if (second == 2) {
      EXPECT_NEAR(b.demand[0], (6.0f / full_a) * (6.0f / full_a), 0.001f);
    }
  }
  EXPECT_LT(highest_a, 6.01f);
  EXPECT_EQ(b.demand[0], 1.0f) << "hot: 6 A at full demand";
}

TEST(CurrentLimit, WithoutACurrentStaysWhereItBegan) {
  Bank b(1);
  b.p.current_limit_a = 6.0f;
  b.view.setpoint_degc = 900.0f;
  for (int second = 0; second < 100; ++second) b.run();
  EXPECT_FLOAT_EQ(b.demand[0], 0.1f);
}

// A shorted switch draws six times the limit whatever the demand, the limit cuts the demand far down, then the fuse goes. Row 16 looks at a
// demand of a tenth and above: the limit must not keep it below, 0.1 a second.
TEST(CurrentLimit, LetsTheDemandUpAgainToWhereAMissingCurrentIsMissed) {
  Bank b(1);
  b.p.current_limit_a = 6.0f;
  b.view.setpoint_degc = 900.0f;
  for (int second = 0; second < 20; ++second) {
    b.run();
    b.in.current_a[0] = 36.0f;
  }
  EXPECT_LT(b.demand[0], 0.01f);
  b.in.current_a[0] = 0.0f;
  for (int second = 0; second < 2; ++second) b.run();
  EXPECT_FLOAT_EQ(b.demand[0], 0.1f);
  for (int second = 0; second < 100; ++second) b.run();
  EXPECT_FLOAT_EQ(b.demand[0], 0.1f) << "no further without a current";
}

// --- Time proportioning -----------------------------------------------------------------------------------------------------

Parameters proportioned(float cycle_s, float least_s, float step_s) {
  Parameters p = fw::default_parameters();
  p.proportion_cycle_s = cycle_s;
  p.proportion_on_min_s = least_s;
  p.proportion_step_s = step_s;
  return p;
}

TEST(TimeProportioning, SendsOnlyWhatTheStationCanDo) {
  const Parameters p = proportioned(10.0f, 0.5f, 0.02f);
  fw::OnTime state;
  for (int k = 0; k < 100'000; ++k) {
    const double wave = 0.5 + 0.5 * std::sin(k * 0.00071) * std::sin(k * 0.0113);
    const float sent = fw::on_time_step(state, p, static_cast<float>(wave));
    const double on_s = static_cast<double>(sent) * 10.0;
    EXPECT_TRUE(on_s < 1e-6 || on_s > 0.5 - 1e-6) << on_s;
    EXPECT_TRUE(on_s > 10.0 - 1e-5 || on_s < 9.5 + 1e-5) << on_s;
    EXPECT_NEAR(on_s / 0.02, std::round(on_s / 0.02), 1e-3);
  }
}

// What a cycle could not give is not lost: from the start the sum sent follows the sum asked to within one shortest on time and one step.
TEST(TimeProportioning, LosesNothingHoweverSmallTheDemand) {
  for (const float demand : {0.003f, 0.01f, 0.0499f, 0.37f, 0.96f, 0.999f}) {
    const Parameters p = proportioned(10.0f, 0.5f, 0.02f);
    fw::OnTime state;
    double sent_s = 0.0, asked_s = 0.0;
    for (int cycle = 0; cycle < 3600; ++cycle) {
      for (int k = 0; k < 100; ++k) {
        sent_s += 0.1 * static_cast<double>(fw::on_time_step(state, p, demand));
        asked_s += 0.1 * static_cast<double>(demand);
      }
      ASSERT_NEAR(sent_s, asked_s, 0.5 + 0.02 + 0.01) << demand << " after " << cycle;
    }
  }
}

TEST(TimeProportioning, KeepsTheAccountExactlyForAHundredHours) {
  const Parameters p = proportioned(2.0f, 0.1f, 0.02f);
  fw::OnTime state;
  std::int64_t asked = 0;
  double sent_ms = 0.0;
  for (int k = 0; k < 3'600'000; ++k) {
    const float demand = static_cast<float>((k * 7) % 1001) / 1000.0f;
    sent_ms += 100.0 * static_cast<double>(fw::on_time_step(state, p, demand));
    asked += static_cast<std::int64_t>(std::round(static_cast<double>(demand) * 1048576.0)) * 100;
  }
  // float32 shows an on time of 2000 ms to 0.0001 ms; the account itself is in whole 2^-20 ms.
  EXPECT_NEAR(sent_ms, static_cast<double>(asked) / 1048576.0, 200.0 + 0.01 * 180'000.0 / 100.0);
  EXPECT_LT(std::llabs(state.owed), std::int64_t{2000} << 20);
}

TEST(TimeProportioning, IsNoLimitToTheIntegral) {
  Bank b(1);
  b.p.proportion_cycle_s = 10.0f;
  b.p.proportion_on_min_s = 1.0f;
  b.p.heat_gains[0] = {0.001f, 1000.0f, 0.0f, 1.0f};
  b.view.setpoint_degc = 110.0f;
  b.in.zone_degc[0] = 100.0f;
  for (int second = 0; second < 1000; ++second) b.run();
  // P 0.01 and an integral of 0.001 * 10 K * 1000 s / 1000 s: 0.02 asked, below the shortest on time of a tenth.
  EXPECT_NEAR(b.zones.asked[0], 0.02f, 1e-4f);
}

// --- Segments ----------------------------------------------------------------------------------------------------------------

TEST(HeatSegment, PowerLimitHoldsWhileItRuns) {
  using namespace stand_in;
  fw::Segment slow = ramp(600.0f, 10.0f);
  slow.power_limit = 0.3f;
  StandIn s = started(in_air(), {slow, ramp(620.0f, 10.0f), soak(1.0e4, 0.0f), end()});
  float highest = 0.0f;
  for (int i = 0; i < 3000 && s.segment() == 0; ++i) {
    s.tick();
    highest = std::max(highest, s.told.demand[0]);
  }
  s.run(300.0);
  EXPECT_FLOAT_EQ(highest, 0.3f);
  EXPECT_GT(s.told.demand[0], 0.35f) << "the next segment has its own limit";
}

TEST(HeatSegment, ItsToleranceHoldsTheRampBack) {
  using namespace stand_in;
  fw::Segment fast = ramp(600.0f, 2.0f);    // 1400 K / 2400 s at most: 0.58 K/s
  fast.tolerance_k = 15.0f;
  StandIn s = started(in_air(), {fast, soak(1.0e4, 0.0f), end()});
  for (int i = 0; i < 3000; ++i) {
    s.tick();
    ASSERT_LT(s.value("heat.1.sp") - s.process.zone_degc, 15.0 + 2.0);   // two ticks of 0.2 K, and the table of the stand-in: 1.5 K
  }
  fast.options = fw::count_on_load;          // the load lags by 200 s of 0.58 K/s: it holds back earlier
  StandIn by_load = started(in_air(), {fast, soak(1.0e4, 0.0f), end()});
  for (int i = 0; i < 3000; ++i) {
    by_load.tick();
    ASSERT_LT(by_load.value("heat.1.sp") - by_load.process.load_degc, 15.0 + 2.0);
  }
}

// A loop at an error of 2 K: P stands, I grows by the same at each run, and a change of the share must leave both alone.
struct Sharing {
  fw::Parameters p = in_two_parts();
  fw::HeatLoop loop;
  fw::HeatOrder order;
  static fw::Parameters in_two_parts() {
    fw::Parameters p = fw::default_parameters();
    p.heat_every = 1;
    p.heat_gains[0] = {0.01f, 1000.0f, 0.0f, 1.0f};
    p.heat_out_rate_per_s = 100.0f;
    p.heat_steady_degc[0] = 0.0f;
    p.heat_steady_degc[1] = 1000.0f;
    p.heat_steady_frac[1] = 0.5f;
    p.heat_feed_forward_s_per_k = 2.0f;
    return p;
  }
  Sharing() {
    order.setpoint_degc = 602.0f;
    order.zone_degc = 600.0f;
  }
  float run(float share, float rate_k_per_s) {
    order.feed_forward = share;
    order.rate_k_per_s = rate_k_per_s;
    const float demand = fw::heat_automatic(loop, p, order);
    fw::heat_applied(loop, demand);
    return demand;
  }
  // What I adds in one run: K h e / Ti.
  float step() const { return 0.01f * 0.001f * static_cast<float>(p.period_ms) * 2.0f / 1000.0f; }
};

TEST(HeatShare, TakesThatShareOfBothParts) {
  Sharing a;
  EXPECT_FLOAT_EQ(a.run(0.5f, 0.1f), 0.02f + 0.5f * (0.301f + 0.2f));
  Sharing b;
  EXPECT_FLOAT_EQ(b.run(1.5f, 0.0f), 0.02f + 1.5f * 0.301f);
  Sharing c;
  EXPECT_FLOAT_EQ(c.run(0.0f, 0.1f), 0.02f);
}

TEST(HeatShare, ChangesInASoakWithoutABump) {
  Sharing s;
  float before = s.run(1.0f, 0.0f);
  for (const float share : {1.0f, 0.4f, 0.4f, 0.0f, 1.5f, 1.0f}) {
    const float now = s.run(share, 0.0f);
    EXPECT_NEAR(now - before, s.step(), 1e-6f) << share;
    before = now;
  }
}

TEST(HeatShare, ChangesInARampWithoutABump) {
  Sharing s;
  float before = s.run(1.0f, 0.1f);
  for (const float share : {0.5f, 1.2f, 0.0f, 1.0f}) {
    const float now = s.run(share, 0.1f);
    EXPECT_NEAR(now - before, s.step(), 1e-6f) << share;
    before = now;
  }
  // A faster ramp's more comes with the new share, a slower one's less goes with the old one; one that turns round does both.
  EXPECT_NEAR(s.run(0.5f, 0.15f) - before, 0.5f * 2.0f * 0.05f + s.step(), 1e-6f);
  before = s.loop.demand;
  EXPECT_NEAR(s.run(1.0f, 0.1f) - before, -0.5f * 2.0f * 0.05f + s.step(), 1e-6f);
  before = s.loop.demand;
  EXPECT_NEAR(s.run(0.5f, -0.05f) - before, -1.0f * 2.0f * 0.1f - 0.5f * 2.0f * 0.05f + s.step(), 1e-6f);
}

TEST(HeatShare, ARampsPartComesWithTheNewShareAndGoesWithTheOldOne) {
  Sharing s;
  float before = s.run(0.0f, 0.0f);
  float now = s.run(0.8f, 0.1f);
  EXPECT_NEAR(now - before, 0.8f * 0.2f + s.step(), 1e-6f) << "the steady part is in the integral, the ramp's is new";
  before = now;
  now = s.run(0.3f, 0.0f);
  EXPECT_NEAR(now - before, -0.8f * 0.2f + s.step(), 1e-6f);
}

// In place of the loop at work, feedback and feed-forward together are what went out: the next run adds a step of I alone.
TEST(HeatShare, GoesOnFromWhatStoodInPlaceOfTheLoop) {
  for (const float share : {1.0f, 0.4f, 0.0f, 1.5f}) {
    for (const float demand : {0.05f, 0.3f, 0.6f}) {
      Sharing s;
      s.order.feed_forward = share;
      for (int i = 0; i < 3; ++i) EXPECT_FLOAT_EQ(fw::heat_manual(s.loop, s.p, s.order, demand), demand);
      EXPECT_NEAR(s.run(share, 0.0f), demand, 1e-6f) << share;
      EXPECT_NEAR(s.run(share, 0.0f), demand + s.step(), 1e-6f) << share;
      static_cast<void>(fw::heat_manual(s.loop, s.p, s.order, demand));
      EXPECT_NEAR(s.run(0.7f, 0.0f), demand, 1e-6f) << "another share with the hand-over, from " << share;
    }
  }
  Sharing s;
  static_cast<void>(fw::heat_manual(s.loop, s.p, s.order, 0.3f));
  EXPECT_NEAR(s.run(1.0f, 0.1f), 0.3f + 2.0f * 0.1f, 1e-6f) << "a ramp that begins with the hand-over brings its own";
  for (const float reach : {1.0f, 1.5f}) {
    Sharing ramp;
    ramp.order.rate_k_per_s = 0.1f;
    ramp.order.reach = reach;
    static_cast<void>(fw::heat_manual(ramp.loop, ramp.p, ramp.order, 0.3f));
    EXPECT_NEAR(ramp.run(1.0f, 0.1f), 0.3f, 1e-6f) << "within a ramp, at a reach of " << reach;
  }
}

TEST(HeatShare, WithoutAReadingNothingIsHandedOver) {
  Sharing s;
  static_cast<void>(s.run(1.0f, 0.0f));
  fw::HeatOrder blind = s.order;
  blind.zone_degc = std::numeric_limits<float>::quiet_NaN();
  EXPECT_EQ(fw::heat_manual(s.loop, s.p, blind, 0.3f), 0.3f);
  EXPECT_NEAR(s.run(0.4f, 0.0f), 0.02f + s.step() + 0.4f * 0.301f, 1e-6f) << "as from a start, the integral where it stood";
}

// The next start is from manual: what stood before it is nothing to hand over.
TEST(HeatShare, HandsNothingOverFromBeforeManual) {
  Sharing s;
  static_cast<void>(s.run(1.0f, 0.1f));
  static_cast<void>(fw::heat_manual(s.loop, s.p, 1, 602.0f, 600.0f, 0.0f));
  EXPECT_NEAR(s.run(0.5f, 0.1f), 0.5f * 0.501f, 1e-6f);
}

TEST(HeatSegment, ItsShareOfTheFeedForwardHoldsWhileItRuns) {
  using namespace stand_in;
  fw::Parameters p = in_air();
  p.heat_gains[0] = {0.0f, 0.0f, 0.0f, 1.0f};   // nothing but feed-forward
  p.heat_feed_forward_s_per_k = 2.0f;
  fw::Segment part = ramp(60.0f, 0.1f);
  part.feed_forward = 0.25f;
  StandIn s = started(p, {part, soak(10.0, 0.0f), ramp(300.0f, 0.1f), end()});
  s.run(30.0);
  EXPECT_NEAR(s.told.demand[0], 0.05f, 1e-5f);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2; }, 1000.0));
  s.run(3.0);
  EXPECT_NEAR(s.told.demand[0], 0.2f, 1e-5f) << "one that says nothing has the whole";
}

TEST(HeatSegment, RefusesAShareThatIsNone) {
  fw::Segment s = segments::ramp(300.0f, 0.1f);
  for (const float good : {0.0f, 0.01f, 1.5f}) {
    s.feed_forward = good;
    EXPECT_TRUE(fw::segment_valid(s, 0)) << good;
  }
  for (const float bad : {-0.1f, 1.51f, std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity()}) {
    s.feed_forward = bad;
    EXPECT_FALSE(fw::segment_valid(s, 0)) << bad;
  }
}

TEST(HeatSegment, WithoutFeedForwardHasFeedbackAlone) {
  using namespace stand_in;
  fw::Parameters p = in_air();
  p.heat_gains[0] = {0.0f, 0.0f, 0.0f, 1.0f};   // nothing but feed-forward
  p.heat_feed_forward_s_per_k = 2.0f;
  fw::Segment with = ramp(300.0f, 0.1f), without = with;
  without.options = fw::no_feed_forward;
  StandIn s = started(p, {with, end()});
  s.run(30.0);
  EXPECT_NEAR(s.told.demand[0], 0.2f, 1e-5f);
  StandIn t = started(p, {without, end()});
  t.run(30.0);
  EXPECT_EQ(t.told.demand[0], 0.0f);
}

}  // namespace
