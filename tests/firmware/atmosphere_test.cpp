// Sequences of the atmosphere driven through the core's bytes: time-outs of their steps, volume changes counted hot and cold, dry-out,
// shut-down, and which device is in charge of the pressure.
#include "firmware/atmosphere.h"

#include <gtest/gtest.h>

#include <vector>

#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

fw::Segment argon_purge(float volumes) {
  fw::Segment s = purge(volumes, 4000.0f, 5.0f);
  s.gas = fw::Gas::argon;
  return s;
}

double purge_takes_s(fw::Parameters p, double degc) {
  StandIn s = started(p, {evacuate(15.0f), backfill(4000.0f, 5.0f), argon_purge(3.0f), wait(10.0), end()});
  if (!s.run_until([&] { return s.segment() == 2; }, 2000.0)) return -1.0;
  s.raw[0] = s.raw[4] = type_k_mv(degc) - 1.0;
  double taken_s = 0.0;
  s.run_until([&] { taken_s += 0.1; return s.segment() == 3; }, 4000.0);
  return taken_s;
}

// n = integral of Q (T / T0) (p0 / p) / V. 3 * 14 L at 5 slm cold: 504 s; at 400 degC and 104.8 kPa 504 / 2.4644 * 1.0343 = 211.5 s.
TEST(VolumeChanges, AreFewerLitresInAHotChamberWhereTheyAreCountedHot) {
  fw::Parameters p = in_argon();
  p.load_titanium = 0;
  p.chamber_volume_l = 14.0f;
  p.runaway_k = 0.0f;          // this furnace is hot at once, without heat
  p.zone_trip_degc = p.load_trip_degc = 1000.0f;
  EXPECT_NEAR(purge_takes_s(p, 400.0), 504.0, 10.0);
  p.count_hot = 1;
  EXPECT_NEAR(purge_takes_s(p, 400.0), 211.5, 10.0);
}

TEST(VolumeChanges, AreCountedColdOnAUnitWithCombustibleGas) {
  fw::Parameters p = in_argon();
  p.load_titanium = 0;
  p.chamber_volume_l = 14.0f;
  p.count_hot = p.combustible_gas = 1;
  StandIn s = started(p, {argon_purge(3.0f), wait(10.0), end()});
  s.raw[0] = s.raw[4] = type_k_mv(400.0) - 1.0;
  s.run(400.0);
  EXPECT_EQ(s.segment(), 0) << "hot it would have been over";
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 150.0));
}

TEST(DryOut, GoesOnUntilTheDewPointHasStayedBelowItsLimit) {
  fw::Segment dry = argon_purge(1.0f);
  dry.options = fw::until_dry;
  dry.rate = -40.0f;
  dry.duration_ms = 60000;
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), dry, wait(10.0), end()});
  s.process.dew_point_degc = -35.0;
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2; }, 2000.0));
  s.run(900.0);
  EXPECT_EQ(s.segment(), 2) << "volumes are through, it is not dry";
  s.process.dew_point_degc = -45.0;
  s.run(50.0);
  s.process.dew_point_degc = -39.0;
  s.run(1.0);
  s.process.dew_point_degc = -45.0;
  s.run(58.0);
  EXPECT_EQ(s.segment(), 2) << "the time begins anew";
  s.run(4.0);
  EXPECT_EQ(s.segment(), 3);
}

TEST(DryOut, IsNotProvenByADewPointThatIsNotMeasured) {
  fw::Segment dry = argon_purge(1.0f);
  dry.options = fw::until_dry;
  dry.rate = -40.0f;
  dry.duration_ms = 60000;
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), dry, wait(10.0), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2; }, 2000.0));
  s.raw[14] = 3.4;
  s.run(1200.0);
  EXPECT_EQ(s.segment(), 2);
}

TEST(DryOut, NeedsALimitAndATime) {
  fw::Segment dry = argon_purge(1.0f);
  dry.options = fw::until_dry;
  dry.rate = -40.0f;
  EXPECT_FALSE(fw::segment_valid(dry, 0));
  dry.duration_ms = 60000;
  EXPECT_TRUE(fw::segment_valid(dry, 0));
  dry.rate = -150.0f;
  EXPECT_FALSE(fw::segment_valid(dry, 0));
}

TEST(StepTimeout, AValveThatDoesNotReportFailsItsSegmentAfterHalfAMinute) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  s.discrete_set = 1u << 4;   // the exhaust reports open
  s.run(29.0);
  EXPECT_EQ(s.state(), 1);
  s.run(3.0);
  EXPECT_NE(s.state(), 1);
  EXPECT_TRUE(s.alarm(fw::alarm::segment_failed));
}

TEST(StepTimeout, APumpThatDoesNotRunUpFailsTheEvacuation) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  s.discrete_clear = 1u << 3;
  s.run(118.0);
  EXPECT_EQ(s.state(), 1);
  s.run(5.0);
  EXPECT_NE(s.state(), 1);
}

TEST(StepTimeout, APressureThatDoesNotGoFailsTheEvacuation) {
  StandIn s(store_of(in_argon(), {evacuate(15.0f), end()}));
  s.raw[7] = 4.0 + 16.0 * (1500.0 + 5000.0) / 25000.0;
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  s.run(598.0);
  EXPECT_EQ(s.state(), 1);
  s.run(5.0);
  EXPECT_NE(s.state(), 1);
}

TEST(ShutDown, CoolsUnderPurgeAndThenEnds) {
  fw::Parameters p = in_argon();
  p.shut_down_flow_slm = 1.5f;
  StandIn s = started(p, {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(500.0f, 0.5f), 0.6f), soak(1.0e5, 0.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.process.load_degc > 200.0; }, 4000.0));
  ASSERT_EQ(s.command(fw::Command::shut_down), fw::Refusal::accepted);
  s.run(5.0);
  EXPECT_EQ(s.state(), 1);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_EQ(s.phase(), 5) << "the atmosphere is held";
  EXPECT_NEAR(s.value("flow.sp"), 1.5, 0.01);
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 20000.0));
  EXPECT_LT(s.process.load_degc, 151.0);
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_EQ(s.command(fw::Command::shut_down), fw::Refusal::wrong_state) << "nothing runs";
}

TEST(ShutDown, PurgesCombustibleGasOutFirst) {
  fw::Parameters p = in_argon();
  p.load_titanium = 0;
  p.combustible_gas = 1;
  fw::Segment hydrogen = with_flow(wait(1.0e5), 2.0f);
  hydrogen.gas = fw::Gas::hydrogen;
  StandIn s = started(p, {argon_purge(5.5f), hydrogen, end()});
  s.discrete_set = 1u << 14;
  ASSERT_TRUE(s.run_until([&] { return s.value("combustible.state") == 3.0; }, 2000.0));
  ASSERT_EQ(s.command(fw::Command::shut_down), fw::Refusal::accepted);
  s.run(1.0);
  EXPECT_EQ(s.told.gas, 2u) << "nitrogen";
  EXPECT_EQ(s.value("combustible.state"), 1.0);
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 4000.0));
  EXPECT_EQ(s.value("combustible.state"), 0.0);
}

// Each hand-over with its permissive, over a cycle that has them all; never two devices at once.
TEST(PressureInCharge, PassesFromDeviceToDeviceByPermissives) {
  StandIn s = started(in_argon(), {backfill(4000.0f, 5.0f), evacuate(15.0f), backfill(4000.0f, 5.0f), wait(20.0), end()});
  std::vector<int> order;
  bool pump_before = false;
  for (int tick = 0; tick < 12000 && s.state() == 1; ++tick) {
    const double gauge_pa = s.gauge_pa();
    const bool isolation = s.process.pump_s > 2.0;
    s.tick();
    const int now = static_cast<int>(s.value("pressure.in_charge"));
    const bool exhaust = !s.told.coil(bit::exhaust_shut);
    EXPECT_EQ(now == 3, s.told.coil(bit::isolation));
    EXPECT_FALSE(s.told.coil(bit::isolation) && (exhaust || s.told.coil(bit::bypass) || s.told.coil(bit::process))) << tick;
    if (now == 2) { EXPECT_GT(gauge_pa, 250.0) << "the bypass only above its least pressure"; }
    if (now == 3 && !pump_before) {
      EXPECT_LT(gauge_pa, 1000.0) << "the pump only below atmosphere.evacuate_switch";
      EXPECT_TRUE(isolation) << "and up to speed";
    }
    pump_before = now == 3;
    if (order.empty() || order.back() != now) order.push_back(now);
  }
  const std::vector<int> expected{1, 2, 0, 3, 0, 1};
  std::vector<int> seen;
  for (const int device : order) {
    if (!(seen.empty() && device == 0)) seen.push_back(device);
  }
  EXPECT_EQ(seen, expected) << "valve, bypass, shut in, pump, shut in, valve";
}

}  // namespace
