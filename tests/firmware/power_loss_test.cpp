// What becomes of a programme when the power goes and comes back.
#include <gtest/gtest.h>

#include "firmware/power_loss.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

fw::Parameters with_policy(fw::Parameters p, int policy) {
  p.power_loss_policy = policy;
  return p;
}

// The power away: the furnace cools with everything in its normal position.
void outage(StandIn& s, double seconds) {
  s.told = rtu::Order{};
  for (double t = 0.0; t < seconds; t += 0.1) {
    s.process.heat(s.told, false, 0.1);
    s.process.gas(s.told, s.supply, 0.1);
  }
  fw::start(*s.core, s.image, fw::ResetCause::power_on, static_cast<std::uint32_t>(seconds));
  s.forget_answer();
  s.tick_number = 0;
}

fw::LoggedEvent last_of(const StandIn& s, fw::EventKind kind) {
  const fw::EventLog& log = s.core->history.events;
  for (std::uint32_t n = log.count; n-- > 0;)
    if (fw::logged_event(log, n).kind == static_cast<std::uint8_t>(kind)) return fw::logged_event(log, n);
  return {};
}

int outcome(const StandIn& s) { return last_of(s, fw::EventKind::power_loss).number; }

StandIn in_soak(int policy, double counted_s = 40.0) {
  StandIn s = started(with_policy(in_air(), policy), {ramp(200.0f, 0.5f), soak(100.0, 5.0f), ramp(150.0f, 0.5f), end()});
  if (!s.run_until([&] { return s.segment() == 1 && s.value("programme.soak_counted") >= counted_s; }, 6000.0))
    throw std::runtime_error("never in the soak");
  return s;
}

TEST(PowerLoss, WithThePolicyOffLeavesTheFurnaceIdle) {
  StandIn s = in_soak(0);
  outage(s, 5.0);
  s.run(30.0);
  EXPECT_EQ(s.state(), 0);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  EXPECT_EQ(outcome(s), static_cast<int>(fw::PowerLossOutcome::left));
}

TEST(PowerLoss, ResumesASoakAndNeverCountsItsTimeTwice) {
  StandIn s = in_soak(2);
  const double counted = s.value("programme.soak_counted");
  outage(s, 60.0);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 5.0));
  EXPECT_EQ(s.state(), 1);
  EXPECT_LE(s.value("programme.soak_counted"), counted);
  EXPECT_GE(s.value("programme.soak_counted"), counted - 10.2) << "kept every ten seconds";
  const double kept = s.value("programme.soak_counted");
  double within = 0.0;
  ASSERT_TRUE(s.run_until([&] {
    if (s.segment() == 1 && std::fabs(s.value("heat.1.pv") - 200.0) <= 5.0) within += 0.1;
    return s.segment() == 2;
  }, 6000.0));
  EXPECT_GE(within, 100.0 - kept - 0.2) << "what was missing passed within the tolerance";
  EXPECT_TRUE(s.run_until([&] { return s.state() == 7; }, 6000.0));
}

// Without a tolerance nothing else would keep the time of a cold furnace from counting.
TEST(PowerLoss, LetsNoSoakCountBeforeTheFurnaceIsAsWarmAgain) {
  StandIn s = started(with_policy(in_air(), 2), {ramp(200.0f, 0.5f), soak(100.0, 0.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1 && s.value("programme.soak_counted") >= 40.0; }, 6000.0));
  s.run(11.0);
  const double before = s.value("heat.1.pv");
  outage(s, 300.0);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 5.0));
  const double kept = s.value("programme.soak_counted");
  ASSERT_LT(s.value("heat.1.pv"), before - 10.0) << "it has cooled";
  while (s.value("heat.1.pv") < before - 1.5) {
    s.tick();
    ASSERT_NEAR(s.value("programme.soak_counted"), kept, 0.15);
  }
  s.run(40.0);
  EXPECT_GT(s.value("programme.soak_counted"), kept + 30.0);
}

TEST(PowerLoss, GoesOnWithARampFromTheProcessValueAtItsRate) {
  fw::Segment by_time = ramp(400.0f, 0.0f);
  by_time.options = fw::ramp_by_time;
  by_time.duration_ms = 760000;      // 380 K from 20 degC: 0.5 K/s
  for (const fw::Segment& one : {ramp(400.0f, 0.5f), by_time}) {
    StandIn s = started(with_policy(in_air(), 2), {one, end()});
    ASSERT_TRUE(s.run_until([&] { return s.value("heat.1.sp") > 250.0; }, 6000.0));
    s.run(11.0);
    outage(s, 60.0);
    ASSERT_TRUE(s.run_until([&] { return s.segment() == 0; }, 5.0));
    EXPECT_NEAR(s.value("heat.1.sp"), s.value("heat.1.pv"), 0.6);
    const double from = s.value("heat.1.sp");
    s.run(20.0);
    EXPECT_NEAR(s.value("heat.1.sp") - from, 10.0, 0.2);
  }
}

TEST(PowerLoss, AbortsBeyondTheLongestOutageAndTheLargestFall) {
  StandIn late = in_soak(2);
  outage(late, 700.0);
  late.run(2.0);
  EXPECT_EQ(late.state(), 6);
  EXPECT_EQ(outcome(late), static_cast<int>(fw::PowerLossOutcome::outage_too_long));
  fw::Parameters p = with_policy(in_air(), 2);
  p.power_loss_temperature_k = 10.0f;
  StandIn cold = started(p, {ramp(200.0f, 0.5f), soak(100.0, 5.0f), end()});
  ASSERT_TRUE(cold.run_until([&] { return cold.segment() == 1; }, 6000.0));
  cold.run(20.0);
  outage(cold, 400.0);
  cold.run(2.0);
  EXPECT_EQ(cold.state(), 6);
  EXPECT_EQ(outcome(cold), static_cast<int>(fw::PowerLossOutcome::too_cold));
  EXPECT_FALSE(cold.told.coil(bit::contactor));
}

TEST(PowerLoss, HoldsForTheOperatorWithoutHeat) {
  StandIn s = in_soak(1);
  outage(s, 30.0);
  s.run(60.0);
  EXPECT_EQ(s.state(), 2);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_EQ(s.command(fw::Command::resume), fw::Refusal::accepted);
  s.run(2.0);
  EXPECT_EQ(s.segment(), 1);
  EXPECT_EQ(s.state(), 1);
  EXPECT_TRUE(s.run_until([&] { return s.state() == 7; }, 6000.0));
}

// A retort has drawn its purge gas, or air, meanwhile: what made the atmosphere runs again before there is heat.
TEST(PowerLoss, MakesTheAtmosphereAgainBeforeItHeats) {
  fw::Parameters p = with_policy(in_argon(), 2);
  p.power_loss_temperature_k = 500.0f;
  p.power_loss_longest_s = 3600.0f;
  StandIn s = started(p, {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(wait(5.0), 0.6f), ramp(200.0f, 0.5f), soak(100.0, 5.0f),
                          end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 4 && s.value("programme.soak_counted") >= 40.0; }, 9000.0));
  outage(s, 60.0);
  ASSERT_TRUE(s.run_until([&] { return s.segment() >= 0; }, 5.0));
  EXPECT_EQ(s.segment(), 0) << "evacuates again";
  std::vector<int> seen;
  ASSERT_TRUE(s.run_until([&] {
    if (seen.empty() || seen.back() != s.segment()) seen.push_back(s.segment());
    EXPECT_FALSE(s.segment() < 4 && s.segment() >= 0 && s.told.demand[0] > 0.0f) << "no heat before its place";
    return s.state() != 1;
  }, 9000.0));
  EXPECT_EQ(s.state(), 7);
  EXPECT_EQ(seen, (std::vector<int>{0, 1, 4, 5, -1}));
}

TEST(PowerLoss, AbortsWhereNothingWouldMakeTheAtmosphereAgain) {
  fw::Parameters p = with_policy(in_argon(), 2);
  StandIn s = started(p, {wait(1000.0), end()});
  s.run(30.0);
  outage(s, 5.0);
  s.run(2.0);
  EXPECT_EQ(s.state(), 6);
  EXPECT_EQ(outcome(s), static_cast<int>(fw::PowerLossOutcome::no_atmosphere));
}

TEST(PowerLoss, AbortsWhereTheStoreHoldsAnotherProgramme) {
  StandIn s = in_soak(2);
  s.core->programmes.segments[s.core->programmes.entries[0].first_segment + 2].target = 160.0f;      // edited while it runs
  fw::keep_programme(s.core->writer, 0);
  s.run(5.0);
  outage(s, 5.0);
  s.run(2.0);
  EXPECT_EQ(s.state(), 6);
  EXPECT_EQ(outcome(s), static_cast<int>(fw::PowerLossOutcome::other_programme));
}

TEST(PowerLoss, KeepsRepeatsThatAreUnderWay) {
  fw::Segment again = segment(fw::SegmentKind::repeat);
  again.count = 3;
  again.jump = 1;
  StandIn s = started(with_policy(in_air(), 2), {ramp(100.0f, 0.5f), wait(20.0), again, end()});
  ASSERT_TRUE(s.run_until([&] { return s.core->run.repeats[2] == 1 && s.segment() == 1; }, 6000.0));
  s.run(12.0);
  outage(s, 5.0);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 5.0));
  EXPECT_EQ(s.core->run.repeats[2], 1);
  int passes = 0, last = 1;
  ASSERT_TRUE(s.run_until([&] {
    if (s.core->run.repeats[2] != last) last = s.core->run.repeats[2], ++passes;
    return s.state() == 7;
  }, 600.0));
  EXPECT_EQ(passes, 2) << "the second and the third pass";
}

// The station's first answers say that its watchdog has acted; a running programme trips on that.
TEST(PowerLoss, WaitsForTheStationToBeItselfAgainButNotForEver) {
  StandIn s = in_soak(2);
  s.station_flags = 1;
  outage(s, 5.0);
  s.run(3.0);
  EXPECT_EQ(s.state(), 0);
  EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::wrong_state) << "undecided";
  s.station_flags = 0;
  s.run(1.0);
  EXPECT_EQ(s.state(), 1);
  EXPECT_EQ(s.trip(), 0);
  StandIn never = in_soak(2);
  never.station_flags = 1;
  outage(never, 5.0);
  never.run(31.0);
  EXPECT_EQ(never.state(), 6);
  EXPECT_EQ(outcome(never), static_cast<int>(fw::PowerLossOutcome::not_trusted));
}

TEST(PowerLoss, StartsNothingOfItsOwnAfterACompletedProgramme) {
  StandIn s = started(with_policy(in_air(), 2), {wait(5.0), end()});
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 60.0));
  s.run(2.0);
  outage(s, 5.0);
  s.run(5.0);
  EXPECT_EQ(s.state(), 0);
  EXPECT_EQ(outcome(s), 0);
}

}  // namespace
