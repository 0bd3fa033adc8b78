// ISA-18.2 alarm states (ANSI/ISA-18.2-2016, IEC 62682:2014): normal, unacknowledged, acknowledged, returned to normal
// unacknowledged, and the events that lead from one to the other.
#include <gtest/gtest.h>

#include "firmware/alarms.h"
#include "tests/firmware/stand_in.h"

namespace {

using fw::AlarmState;
constexpr int number = fw::alarm::zone_temperature;   // 1 s on, 5 s off
constexpr std::uint32_t condition = 1u << number;

void run(fw::Alarms& alarms, std::uint32_t conditions, int ticks) {
  for (int i = 0; i < ticks; ++i) fw::alarms_step(alarms, conditions, 100);
}

TEST(Alarm, GoesThroughTheStatesOfTheStandard) {
  fw::Alarms alarms;
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::normal);
  run(alarms, condition, 10);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::normal) << "on-delay";
  run(alarms, condition, 1);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::unacknowledged);
  fw::alarms_acknowledge(alarms);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::acknowledged);
  run(alarms, 0, 50);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::acknowledged) << "off-delay";
  run(alarms, 0, 1);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::normal);
}

TEST(Alarm, ThatReturnsUnacknowledgedWaitsAndMayComeAgain) {
  fw::Alarms alarms;
  run(alarms, condition, 11);
  run(alarms, 0, 51);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::returned_unacknowledged);
  run(alarms, condition, 11);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::unacknowledged);
  run(alarms, 0, 51);
  fw::alarms_acknowledge(alarms);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::normal);
}

TEST(Alarm, DoesNotCountWhatChatters) {
  fw::Alarms alarms;
  for (int i = 0; i < 100; ++i) {
    run(alarms, condition, 9);
    run(alarms, 0, 1);
  }
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::normal);
}

TEST(Alarm, IsCountedByPriority) {
  fw::Alarms alarms;
  run(alarms, (1u << fw::alarm::trip) | condition | (1u << fw::alarm::line_disturbed), 20);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::high), 1);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::medium), 1);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::low), 1);
  EXPECT_TRUE(fw::alarms_sound_horn(alarms));
  fw::alarms_acknowledge(alarms);
  EXPECT_FALSE(fw::alarms_sound_horn(alarms)) << "acknowledged is silenced";
}

// What each condition is, planted at the station.
using namespace stand_in;

TEST(AlarmCondition, PressureAboveSixKilopascalIsMediumWithoutATrip) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(wait(1.0e4), 0.6f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.phase() == 5; }, 1000.0));
  s.raw[7] = 4.0 + 16.0 * (6100.0 + 5000.0) / 25000.0;
  s.run(0.3);
  EXPECT_TRUE(s.alarm(fw::alarm::pressure_high));
  EXPECT_EQ(s.value("alarms.medium"), 1.0);
  EXPECT_EQ(s.trip(), 0);
}

TEST(AlarmCondition, ValveThatDoesNotFollowIsToldAfterFiveSeconds) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(wait(1.0e4), 0.6f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.phase() == 5; }, 1000.0));
  s.discrete_set = 1u << 13;   // purge reports open
  s.run(4.0);
  EXPECT_FALSE(s.alarm(fw::alarm::valve_position));
  s.run(2.0);
  EXPECT_TRUE(s.alarm(fw::alarm::valve_position));
}

TEST(AlarmCondition, LowMainsIsLowPriority) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  s.raw[17] = 4.0 + 16.0 * 180.0 / 300.0;
  s.run(2.0);
  EXPECT_TRUE(s.alarm(fw::alarm::mains_low));
  EXPECT_EQ(s.value("alarms.medium"), 0.0);
}

TEST(AlarmCondition, DewPointIsJudgedOnlyWhileHot) {
  fw::Parameters p = in_argon();
  p.hot_degc = 60.0f;
  StandIn s = started(p, {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(100.0f, 0.2f), 0.6f), soak(1.0e5, 0.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.phase() == 5; }, 1000.0));
  s.process.dew_point_degc = -10.0;
  s.run(20.0);
  EXPECT_FALSE(s.alarm(fw::alarm::dew_point_high));
  ASSERT_TRUE(s.run_until([&] { return s.value("heat.1.pv") > 61.0; }, 2000.0));
  s.run(20.0);
  EXPECT_TRUE(s.alarm(fw::alarm::dew_point_high));
}

}  // namespace
