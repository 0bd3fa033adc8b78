// Each kind of segment and each command of a programme, through the core's bytes.
#include <gtest/gtest.h>

#include "firmware/interlocks.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

enum State { idle, running, held, stopping, stopped, aborting, aborted, complete };

TEST(Ramp, SetPointIsStartPlusRateTimesTime) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.value("heat.1.out") > 0.0; }, 60.0));
  const double first = s.value("heat.1.sp");
  EXPECT_NEAR(first, s.value("heat.1.pv"), 1.0) << "begins at the process value";
  s.run(1000.0);
  EXPECT_NEAR(s.value("heat.1.sp"), first + 100.0, 0.001);
  s.run(1000.0);
  EXPECT_NEAR(s.value("heat.1.sp"), first + 200.0, 0.001);
}

TEST(Ramp, ByTimeReachesItsTargetInThatTime) {
  fw::Segment timed = segment(fw::SegmentKind::ramp);
  timed.options = fw::ramp_by_time;
  timed.target = 220.0f;
  timed.duration_ms = 2000000;
  StandIn s = started(in_air(), {timed, soak(1000.0, 0.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 2100.0));
  EXPECT_NEAR(static_cast<double>(s.tick_number) / 10.0, 2001.0, 1.0);
  EXPECT_EQ(s.value("heat.1.sp"), 220.0);
}

TEST(Ramp, WaitsForALoadThatLagsWhereAToleranceIsSet) {
  fw::Parameters p = in_air();
  p.ramp_tolerance_k = 10.0f;
  StandIn s = started(p, {ramp(800.0f, 2.0f), end()});
  double worst = 0.0;
  s.run_until([&] { worst = std::max(worst, s.value("heat.1.sp") - s.value("heat.1.pv")); return s.segment() == -1; }, 4000.0);
  EXPECT_GT(worst, 9.5) << "the ramp is faster than the furnace";
  EXPECT_LT(worst, 10.5);
}

TEST(Ramp, WaitsWhileHeatIsNotPermitted) {
  StandIn s = started(in_argon(), {ramp(400.0f, 0.1f), end()});
  s.run(600.0);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_NEAR(s.value("heat.1.sp"), 20.0, 1.5) << "nobody made an atmosphere";
}

TEST(Soak, CountsOnlyWithinTheToleranceOfTheChosenThermocouple) {
  fw::Segment by_load = soak(300.0, 5.0f);
  by_load.options = fw::count_on_load;
  StandIn s = started(in_air(), {ramp(200.0f, 0.2f), by_load, end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 2000.0));
  ASSERT_LT(s.value("load.pv"), 195.0);
  EXPECT_EQ(s.value("programme.soak_counted"), 0.0);
  double counted_outside = 0.0, before = 0.0;
  ASSERT_TRUE(s.run_until([&] {
    const double now = s.value("programme.soak_counted");
    if (s.segment() == 1 && now > before && std::abs(s.value("load.pv") - 200.0) > 5.01) counted_outside += now - before;
    before = std::max(before, now);
    return s.segment() != 1;
  }, 4000.0));
  EXPECT_EQ(counted_outside, 0.0);
  EXPECT_NEAR(before, 299.9, 0.15);
}

TEST(Soak, FailsWhenItRunsOutOfTime) {
  fw::Segment limited = soak(300.0, 0.5f);
  limited.timeout_ms = 60000;
  limited.options = fw::count_on_load;
  StandIn s = started(in_air(), {ramp(200.0f, 1.0f), limited, end()});
  ASSERT_TRUE(s.run_until([&] { return s.state() == aborted; }, 4000.0));
  EXPECT_TRUE(s.alarm(fw::alarm::segment_failed));
  EXPECT_EQ(s.trip(), 0);
}

TEST(Wait, TakesItsTime) {
  StandIn s = started(in_air(), {wait(30.0), end()});
  const std::uint64_t from = s.tick_number;
  ASSERT_TRUE(s.run_until([&] { return s.state() == complete; }, 60.0));
  EXPECT_NEAR(static_cast<double>(s.tick_number - from) / 10.0, 30.0, 0.3);
}

TEST(Evacuate, RunsThePumpUpWithItsVentShutBeforeTheIsolationOpens) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  double spun = 0.0;
  bool early = false;
  ASSERT_TRUE(s.run_until([&] {
    early = early || (s.told.coil(bit::pump) && !s.told.coil(bit::vent_shut));
    if (!s.told.coil(bit::isolation)) spun = s.process.pump_s;
    return s.told.coil(bit::isolation);
  }, 60.0));
  EXPECT_FALSE(early);
  EXPECT_GE(spun, 7.0) << "2 s to speed, 5 s more";
  EXPECT_TRUE(s.told.coil(bit::exhaust_shut));
  EXPECT_TRUE(s.told.coil(bit::purge_shut));
  EXPECT_FALSE(s.told.coil(bit::process));
  ASSERT_TRUE(s.run_until([&] { return s.segment() != 0; }, 1000.0));
  EXPECT_LE(s.process.chamber_pa, 15.0);
}

TEST(Evacuate, LetsOverPressureOutThroughTheExhaustFirst) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), evacuate(15.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2; }, 1000.0));
  EXPECT_GT(s.gauge_pa(), 3500.0);
  double at_opening = 1.0e9;
  ASSERT_TRUE(s.run_until([&] { if (s.told.coil(bit::isolation)) at_opening = s.gauge_pa();
                                return s.told.coil(bit::isolation); }, 200.0));
  EXPECT_LT(at_opening, 1000.0);
}

TEST(Evacuate, ThatRunsOutOfTimeEndsInTheSafeValues) {
  fw::Parameters p = in_argon();
  p.evacuate_timeout_s = 300.0f;
  StandIn s = started(p, {evacuate(15.0f), end()});
  s.process.leak_pa_s = 50.0;
  ASSERT_TRUE(s.run_until([&] { return s.state() == aborted; }, 400.0));
  EXPECT_FALSE(s.told.coil(bit::isolation));
  EXPECT_FALSE(s.told.coil(bit::pump));
  EXPECT_TRUE(s.alarm(fw::alarm::segment_failed));
}

TEST(LeakTest, PassesATightRetortAndSaysHowTight) {
  StandIn s = started(in_argon(), {evacuate(15.0f), leak_test(120.0, 0.3f), end()});
  s.process.leak_pa_s = 0.1;
  ASSERT_TRUE(s.run_until([&] { return s.state() == complete; }, 2000.0));
  EXPECT_NEAR(s.value("atmosphere.pressure_rise"), 6.0, 0.1);   // 0.1 Pa/s
}

TEST(LeakTest, FailsALeakyRetort) {
  StandIn s = started(in_argon(), {evacuate(15.0f), leak_test(120.0, 0.3f), end()});
  s.process.leak_pa_s = 0.4;
  ASSERT_TRUE(s.run_until([&] { return s.state() == aborted; }, 2000.0));
  EXPECT_NEAR(s.value("atmosphere.pressure_rise"), 24.0, 0.3);
  EXPECT_TRUE(s.alarm(fw::alarm::segment_failed));
}

TEST(LeakTest, HasEverythingShut) {
  StandIn s = started(in_argon(), {evacuate(15.0f), leak_test(120.0, 0.3f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 1000.0));
  s.run(10.0);
  EXPECT_EQ(s.told.coils, bit::purge_shut | bit::exhaust_shut);
  EXPECT_EQ(s.told.safe_row, 4u);
}

TEST(Backfill, HandsOverToTheBackPressureLoopWithoutOvershoot) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(wait(300.0), 0.6f), end()});
  double highest = 0.0;
  ASSERT_TRUE(s.run_until([&] { return s.phase() == 5; }, 1000.0));
  EXPECT_GT(s.gauge_pa(), 3850.0);
  s.run_until([&] { highest = std::max(highest, s.gauge_pa()); return false; }, 290.0);
  EXPECT_LT(highest, 6000.0);
  EXPECT_NEAR(s.gauge_pa(), 4000.0, 200.0);
  EXPECT_NEAR(s.value("flow.pv"), 0.6, 0.03);
  EXPECT_EQ(s.told.gas, 3u);
}

TEST(Purge, CountsVolumeChangesOfMeteredGas) {
  fw::Parameters p = in_argon();
  p.chamber_volume_l = 10.0f;
  StandIn s = started(p, {evacuate(15.0f), backfill(4000.0f, 5.0f), purge(3.0f, 4000.0f, 5.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2; }, 1000.0));
  const std::uint64_t from = s.tick_number;
  ASSERT_TRUE(s.run_until([&] { return s.segment() != 2; }, 1000.0));
  // 30 L at 5 slm: 360 s, and the few seconds in which the flow comes up
  EXPECT_NEAR(static_cast<double>(s.tick_number - from) / 10.0, 360.0, 6.0);
}

TEST(Purge, DoesNotCountWithoutFlow) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), purge(3.0f, 4000.0f, 5.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2; }, 1000.0));
  s.raw[10] = 4.0;
  s.run(0.2);   // the answer under way was made before
  const double counted = s.value("atmosphere.volume_changes");
  s.run(600.0);
  EXPECT_EQ(s.value("atmosphere.volume_changes"), counted);
  EXPECT_LT(counted, 0.01);
}

TEST(Purge, DoesNotCountByAMeterThatHasFailed) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), purge(3.0f, 4000.0f, 5.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.value("atmosphere.volume_changes") > 0.5; }, 1000.0));
  s.raw[10] = 0.0;   // broken wire: the last good value, 5 slm, stays on the screen
  s.run(0.3);
  const double counted = s.value("atmosphere.volume_changes");
  s.run(600.0);
  EXPECT_EQ(s.value("atmosphere.volume_changes"), counted);
  EXPECT_EQ(s.segment(), 2);
  EXPECT_TRUE(s.alarm(fw::alarm::transmitter_failed));
}

TEST(Purge, ByVacuumCyclesEmptiesAndFillsAsOftenAsAsked) {
  fw::Segment cycles = purge(0.0f, 4000.0f, 5.0f);
  cycles.options = fw::by_vacuum_cycles;
  cycles.amount = 200.0f;
  cycles.count = 3;
  cycles.gas = fw::Gas::argon;
  StandIn s = started(in_argon(), {cycles, end()});
  int times = 0;
  bool open = false;
  ASSERT_TRUE(s.run_until([&] {
    if (s.told.coil(bit::isolation) && !open) ++times;
    open = s.told.coil(bit::isolation);
    return s.state() == complete;
  }, 4000.0));
  EXPECT_EQ(times, 3);
  EXPECT_LT(s.process.oxygen_frac, 1.0e-5);
}

TEST(Cool, HoldsTheAtmosphereWithoutHeatAndThenOpensTheContactor) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(200.0f, 0.5f), 0.6f),
                                   soak(300.0, 0.0f), cool(150.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 4; }, 4000.0));
  s.run(60.0);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_TRUE(s.told.coil(bit::process));
  EXPECT_EQ(s.phase(), 5);
  ASSERT_TRUE(s.run_until([&] { return s.state() == complete; }, 8000.0));
  EXPECT_LE(s.value("load.pv"), 150.0);
  EXPECT_FALSE(s.told.coil(bit::contactor));
}

TEST(Repeat, GoesBackSoManyTimesAlsoWhenNested) {
  fw::Segment inner = segment(fw::SegmentKind::repeat), outer = segment(fw::SegmentKind::repeat);
  inner.count = 3;
  outer.count = 2;
  StandIn s = started(in_air(), {wait(1.0), inner, outer, end()});
  int waits = 0, last = -2;
  std::uint64_t ticks = 0;
  ASSERT_TRUE(s.run_until([&] {
    if (s.segment() == 0 && last != 0) ++waits;
    last = s.segment();
    ++ticks;
    return s.state() == complete;
  }, 60.0));
  EXPECT_EQ(waits, 6);
  EXPECT_NEAR(static_cast<double>(ticks), 6 * 11.0, 8.0);
}

TEST(Hold, StopsTimeAndResumeGoesOn) {
  StandIn s = started(in_air(), {wait(30.0), end()});
  s.run(10.0);
  EXPECT_EQ(s.command(fw::Command::hold), fw::Refusal::accepted);
  EXPECT_EQ(s.state(), held);
  const double elapsed = s.value("programme.elapsed");
  s.run(100.0);
  EXPECT_EQ(s.value("programme.elapsed"), elapsed);
  EXPECT_EQ(s.command(fw::Command::hold), fw::Refusal::wrong_state);
  EXPECT_EQ(s.command(fw::Command::resume), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.state() == complete; }, 21.0));
}

TEST(Skip, IsRefusedForSegmentsThatMakeTheAtmosphere) {
  StandIn s = started(in_argon(), {evacuate(15.0f), wait(1000.0), end()});
  EXPECT_EQ(s.command(fw::Command::skip), fw::Refusal::wrong_state);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 1000.0));
  EXPECT_EQ(s.command(fw::Command::skip), fw::Refusal::accepted);
  s.run(0.5);
  EXPECT_EQ(s.state(), complete);
}

TEST(Stop, BringsTheSafeValuesByWayOfStopping) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  s.run(300.0);
  EXPECT_EQ(s.command(fw::Command::stop), fw::Refusal::accepted);
  EXPECT_EQ(s.state(), stopping);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  ASSERT_TRUE(s.run_until([&] { return s.state() == stopped; }, 10.0));
  EXPECT_EQ(s.command(fw::Command::stop), fw::Refusal::wrong_state);
  EXPECT_EQ(s.command(fw::Command::reset), fw::Refusal::accepted);
  EXPECT_EQ(s.state(), idle);
}

// Evacuation, backfill, leak test, purge, ramp, soak and cooling: held, taken up again, stopped, and powered down in each.
class EverySegment : public testing::TestWithParam<int> {
 protected:
  static StandIn reached(int number) {
    StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), evacuate(15.0f), leak_test(60.0, 20.0f / 60.0f),
                                     backfill(4000.0f, 5.0f), purge(3.0f, 4000.0f, 5.0f), with_flow(ramp(180.0f, 0.1f), 0.6f),
                                     soak(600.0, 0.0f), cool(60.0f), end()});
    if (!s.run_until([&] { return s.segment() == number; }, 20000.0)) throw std::runtime_error("not reached");
    s.run(20.0);
    return s;
  }
  static void expect_safe(const StandIn& s) {
    for (const unsigned shut : {bit::contactor, bit::process, bit::bypass, bit::air, bit::pump, bit::isolation}) {
      EXPECT_FALSE(s.told.coil(shut)) << shut;
    }
    EXPECT_FALSE(s.told.coil(bit::purge_shut)) << "argon, not air, fills it";
    EXPECT_FALSE(s.told.coil(bit::exhaust_shut));
    EXPECT_EQ(s.told.valve_frac, 1.0f);
    EXPECT_EQ(s.told.demand[0], 0.0f);
  }
};

TEST_P(EverySegment, IsHeldAndGoesOnToTheNext) {
  StandIn s = reached(GetParam());
  ASSERT_EQ(s.command(fw::Command::hold), fw::Refusal::accepted);
  s.run(300.0);
  EXPECT_EQ(s.segment(), GetParam());
  EXPECT_EQ(s.state(), held);
  EXPECT_EQ(s.trip(), 0);
  ASSERT_EQ(s.command(fw::Command::resume), fw::Refusal::accepted);
  EXPECT_TRUE(s.run_until([&] { return s.segment() != GetParam(); }, 20000.0));
  EXPECT_NE(s.state(), aborted);
}

TEST_P(EverySegment, StopsInTheSafeValues) {
  StandIn s = reached(GetParam());
  ASSERT_EQ(s.command(fw::Command::stop), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.state() == stopped; }, 15.0));
  expect_safe(s);
  s.run(600.0);
  expect_safe(s);
  EXPECT_EQ(s.trip(), 0);
}

TEST_P(EverySegment, ComesUpInTheSafeValuesAfterAPowerCut) {
  StandIn s = reached(GetParam());
  s.restart();
  s.tick();
  expect_safe(s);
  s.run(60.0);
  expect_safe(s);
  EXPECT_EQ(s.state(), idle);
}

INSTANTIATE_TEST_SUITE_P(Programme, EverySegment, testing::Range(0, 9));

TEST(SetPoint, MayBeMovedInASoakAndNotInARamp) {
  StandIn s = started(in_air(), {ramp(200.0f, 0.5f), soak(10000.0, 0.0f), end()});
  s.run(10.0);
  EXPECT_EQ(s.command(fw::Command::change_setpoint, 0, 150.0), fw::Refusal::wrong_state);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 2000.0));
  EXPECT_EQ(s.command(fw::Command::change_setpoint, 0, 150.0), fw::Refusal::accepted);
  EXPECT_EQ(s.value("heat.1.sp"), 150.0);
  EXPECT_EQ(s.command(fw::Command::change_setpoint, 0, 1500.0), fw::Refusal::value_out_of_bounds);
  EXPECT_EQ(s.command(fw::Command::change_setpoint, 3, 1.0), fw::Refusal::value_out_of_bounds);
}

TEST(AntiWindup, HeatThatWasRefusedDoesNotComeBackInOneBlow) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(200.0f, 0.2f), 0.6f),
                                   soak(1.0e5, 0.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 3; }, 4000.0));
  s.run(3000.0);
  const double settled = s.value("heat.1.out");
  s.raw[12] = 100.0;   // about 1,800 ppm: no permissive; the trip rows are not hot
  s.run(60.0);
  ASSERT_EQ(s.told.demand[0], 0.0f);
  s.raw[12].reset();
  double highest_degc = 0.0;
  s.run_until([&] { highest_degc = std::max(highest_degc, s.value("heat.1.pv")); return false; }, 3000.0);
  EXPECT_LT(highest_degc, 205.0);
  EXPECT_NEAR(s.value("heat.1.out"), settled, 0.02);
}

}  // namespace
