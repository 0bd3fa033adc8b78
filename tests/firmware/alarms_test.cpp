// Delays, priorities and the conditions of alarms. Their states one by one: alarm_states_test.
#include <gtest/gtest.h>

#include <algorithm>

#include "firmware/alarms.h"
#include "firmware/detections.h"
#include "tests/firmware/stand_in.h"

namespace {

using fw::AlarmState;
constexpr int number = fw::alarm::zone_temperature;   // 1 s on, 5 s off
constexpr fw::AlarmSet condition = fw::AlarmSet{1} << number;

void run(fw::Alarms& alarms, fw::AlarmSet conditions, int ticks) {
  for (int i = 0; i < ticks; ++i) fw::alarms_step(alarms, conditions, false, 100);
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
  run(alarms, (fw::AlarmSet{1} << fw::alarm::trip) | condition | (1u << fw::alarm::line_disturbed), 20);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::high), 1);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::medium), 1);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::low), 1);
  EXPECT_TRUE(fw::alarms_sound_horn(alarms));
  fw::alarms_acknowledge(alarms);
  EXPECT_FALSE(fw::alarms_sound_horn(alarms)) << "acknowledged is silenced";
}

TEST(Alarm, ThatDoesNotExistIsRefused) {
  fw::Alarms alarms;
  for (const int nowhere : {-1, static_cast<int>(fw::alarm::count_), 63, 64, 65535}) {
    EXPECT_FALSE(fw::alarm_acknowledge(alarms, nowhere));
    EXPECT_FALSE(fw::alarm_reset(alarms, nowhere));
    EXPECT_FALSE(fw::alarm_shelve(alarms, nowhere, 1000));
    EXPECT_FALSE(fw::alarm_unshelve(alarms, nowhere));
    EXPECT_FALSE(fw::alarm_service(alarms, nowhere, true));
  }
}

TEST(Alarm, OfHighPriorityIsNeitherShelvedNorTakenOutOfService) {
  for (int n = 0; n < fw::alarm::count_; ++n) {
    fw::Alarms alarms;
    const bool high = fw::alarm_table()[static_cast<std::size_t>(n)].priority == fw::AlarmPriority::high;
    EXPECT_EQ(fw::alarm_shelve(alarms, n, 1000), !high) << n;
    EXPECT_EQ(fw::alarm_service(alarms, n, true), !high) << n;
  }
}

TEST(Alarm, LeavesTheShelfByItself) {
  fw::Alarms alarms;
  run(alarms, condition, 20);
  ASSERT_TRUE(fw::alarm_shelve(alarms, number, 30000));
  run(alarms, condition, 299);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::shelved);
  run(alarms, condition, 1);
  EXPECT_EQ(fw::alarm_state(alarms, number), AlarmState::unacknowledged);
}

TEST(Alarm, HasPlaceForSixtyFour) {
  fw::Alarms alarms;
  run(alarms, fw::AlarmSet{1} << fw::alarm::clock_jumped, 1);
  static_assert(fw::alarm::clock_jumped >= 32);
  EXPECT_EQ(alarms.active, fw::AlarmSet{1} << fw::alarm::clock_jumped);
  EXPECT_EQ(fw::alarms_count(alarms.active, fw::AlarmPriority::medium), 1);
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

// An operator acts on single alarms over the line, and reads them there.
double state_of(StandIn& s, int alarm) {
  s.tick(StandIn::read_request(4, fw::alarm_state_address, 64));
  return s.last_read.size() == 64 ? s.last_read[static_cast<std::size_t>(alarm)] : -1.0;
}

StandIn with_low_mains() {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  s.raw[17] = 4.0 + 16.0 * 180.0 / 300.0;
  s.run(2.0);
  return s;
}

TEST(AlarmCommand, AcknowledgesOneAndLeavesTheOthers) {
  StandIn s = with_low_mains();
  s.silent = true;
  s.run(0.5);
  s.silent = false;
  s.run(1.0);
  EXPECT_EQ(state_of(s, fw::alarm::line_disturbed), 1.0);
  EXPECT_EQ(s.command(fw::Command::acknowledge_alarm, fw::alarm::mains_low), fw::Refusal::accepted);
  EXPECT_EQ(state_of(s, fw::alarm::mains_low), 2.0);
  EXPECT_EQ(state_of(s, fw::alarm::line_disturbed), 1.0);
  EXPECT_EQ(s.command(fw::Command::acknowledge_alarm, fw::alarm::mains_low), fw::Refusal::wrong_state);
}

TEST(AlarmCommand, ShelvesForATimeAndNoLonger) {
  fw::Parameters p = in_air();
  p.shelve_longest_s = 600.0f;
  StandIn s = started(p, {ramp(400.0f, 0.1f), end()});
  s.raw[17] = 4.0 + 16.0 * 180.0 / 300.0;
  s.run(2.0);
  EXPECT_EQ(s.command(fw::Command::shelve_alarm, fw::alarm::mains_low, 601.0), fw::Refusal::value_out_of_bounds);
  EXPECT_EQ(s.command(fw::Command::shelve_alarm, fw::alarm::mains_low, 0.0), fw::Refusal::value_out_of_bounds);
  EXPECT_EQ(s.command(fw::Command::shelve_alarm, fw::alarm::trip, 60.0), fw::Refusal::value_out_of_bounds);
  ASSERT_TRUE(s.alarm(fw::alarm::mains_low));
  EXPECT_EQ(s.command(fw::Command::shelve_alarm, fw::alarm::mains_low, 60.0), fw::Refusal::accepted);
  s.tick();
  EXPECT_FALSE(s.alarm(fw::alarm::mains_low));
  EXPECT_EQ(state_of(s, fw::alarm::mains_low), 6.0);
  s.tick(StandIn::read_request(4, fw::alarm_shelf_address + fw::alarm::mains_low, 1));
  EXPECT_NEAR(s.last_read.at(0), 60.0, 1.0);
  s.run(55.0);
  EXPECT_EQ(state_of(s, fw::alarm::mains_low), 6.0);
  s.run(6.0);
  EXPECT_EQ(state_of(s, fw::alarm::mains_low), 1.0);
}

TEST(AlarmCommand, TakesOutOfServiceOnlyWithTheKey) {
  StandIn s = with_low_mains();
  EXPECT_EQ(s.command(fw::Command::alarm_out_of_service, fw::alarm::mains_low), fw::Refusal::wrong_state);
  s.discrete_set = 1u << 9;
  s.run(0.3);
  EXPECT_EQ(s.command(fw::Command::alarm_out_of_service, fw::alarm::mains_low), fw::Refusal::accepted);
  s.run(0.2);
  EXPECT_EQ(state_of(s, fw::alarm::mains_low), 8.0);
  EXPECT_EQ(s.command(fw::Command::alarm_in_service, fw::alarm::mains_low), fw::Refusal::accepted);
  s.run(0.2);
  EXPECT_EQ(state_of(s, fw::alarm::mains_low), 1.0);
}

TEST(AlarmCondition, StandsUntilItsValueIsBackByTheDeadBand) {
  fw::Parameters p = in_air();
  p.zone_alarm_degc = 900.0f;
  p.alarm_band_k = 3.0f;
  StandIn s = started(p, {ramp(400.0f, 0.1f), end()});
  const auto show = [&](double degc, double seconds) {
    s.raw[0] = type_k_mv(degc) - 1.0;
    s.run(seconds);
  };
  show(899.0, 10.0);
  EXPECT_FALSE(s.alarm(fw::alarm::zone_temperature));
  show(900.5, 10.0);
  EXPECT_TRUE(s.alarm(fw::alarm::zone_temperature));
  show(897.5, 30.0);
  EXPECT_TRUE(s.alarm(fw::alarm::zone_temperature)) << "within the dead band";
  show(896.5, 10.0);
  EXPECT_FALSE(s.alarm(fw::alarm::zone_temperature));
}

TEST(AlarmCondition, VacuumThatRisesWhileThePumpIsOpenIsLost) {
  StandIn s = started(in_argon(), {evacuate(1.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.told.coil(bit::isolation) && s.process.chamber_pa < 100.0; }, 600.0));
  s.run(10.0);
  EXPECT_FALSE(s.alarm(fw::alarm::vacuum_lost));
  s.raw[8] = 250.0 / 133.322;
  s.run(1.5);
  EXPECT_FALSE(s.alarm(fw::alarm::vacuum_lost)) << "delay";
  s.run(1.0);
  EXPECT_TRUE(s.alarm(fw::alarm::vacuum_lost));
}

TEST(AlarmCondition, PumpThatDoesNotComeUpIsToldAfterHalfAMinute) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  s.discrete_clear = 1u << 3;
  ASSERT_TRUE(s.run_until([&] { return s.told.coil(bit::pump); }, 60.0));
  s.run(29.0);
  EXPECT_FALSE(s.alarm(fw::alarm::pump_slow));
  s.run(2.0);
  EXPECT_TRUE(s.alarm(fw::alarm::pump_slow));
}

TEST(AlarmCondition, LoadThermocouplesThatDifferAreTold) {
  fw::Parameters p = in_argon();
  p.load_difference_k = 15.0f;
  StandIn s = started(p, {evacuate(15.0f), end()});
  s.raw[5] = type_k_mv(s.process.load_degc + 16.0) - 1.0;
  s.run(59.0);
  EXPECT_FALSE(s.alarm(fw::alarm::load_differs));
  s.run(2.0);
  EXPECT_TRUE(s.alarm(fw::alarm::load_differs));
}

TEST(AlarmCondition, HeaterAndLoadAreComparedOnlyInASoakThatHasCounted) {
  fw::Parameters p = in_air();
  p.heater_difference_k = 25.0f;
  StandIn s = started(p, {ramp(100.0f, 0.5f), soak(7200.0, 0.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 2000.0));
  s.raw[4] = type_k_mv(150.0) - 1.0;
  s.run(500.0);
  EXPECT_FALSE(s.alarm(fw::alarm::heater_differs));
  s.run(200.0);
  EXPECT_TRUE(s.alarm(fw::alarm::heater_differs));
}

// A soak that has been counted for long, of three zones led by the second, each where it is wanted.
struct Soaked {
  fw::Parameters p = fw::default_parameters();
  fw::Inputs in;
  fw::ProgrammeRun run;
  Soaked() {
    p.zones = 3;
    p.heat_lead_zone = 2;
    p.heater_difference_k = 25.0f;
    in.known = in.fresh = true;
    in.load_degc = 600.0f;
    const float offsets_k[] = {15.0f, 99.0f, -10.0f, 7.0f}, zones_degc[] = {615.0f, 600.0f, 590.0f, 20.0f};
    std::copy(offsets_k, offsets_k + 4, p.heat_offset_k);
    std::copy(zones_degc, zones_degc + 4, in.zone_degc);
    run.state = fw::ProgrammeState::running;
    run.segments = 1;
    run.segment = 0;
    run.copy[0].kind = fw::SegmentKind::soak;
    run.counted_ms = 600000;
  }
  bool differs() const {
    fw::Detections d;
    fw::detections_step(d, {p, in, run, fw::Outputs{}, 0});
    return (d.found & fw::detection::heater_differs) != 0;
  }
};

TEST(AlarmCondition, EveryZoneOfTheUnitIsComparedWithTheLoadButForItsOffset) {
  EXPECT_FALSE(Soaked().differs()) << "the fourth, which is not there, stands at 20 degC";
  for (int z = 0; z < 3; ++z) {
    for (const float away_k : {26.0f, -26.0f}) {
      Soaked s;
      s.in.zone_degc[z] += away_k;
      EXPECT_TRUE(s.differs()) << "zone " << z + 1 << " by " << away_k;
      s.in.zone_degc[z] -= away_k / 13.0f;
      EXPECT_FALSE(s.differs()) << "zone " << z + 1 << " by 24 K";
      s.in.zone_degc[z] += away_k / 13.0f;
      s.run.counted_ms = 599999;
      EXPECT_FALSE(s.differs()) << "the soak has not counted for long";
    }
  }
}

TEST(AlarmCondition, StepThatComesLateIsCounted) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  s.ahead_us = 40000;                      // 1.4 periods
  s.run(1.0);
  EXPECT_FALSE(s.alarm(fw::alarm::tick_late));
  s.ahead_us = 100000;                     // 1.6 periods
  s.run(0.2);
  EXPECT_TRUE(s.alarm(fw::alarm::tick_late));
  EXPECT_FALSE(s.alarm(fw::alarm::clock_jumped));
  s.tick(StandIn::read_request(4, fw::row_address + 10, 2));
  EXPECT_EQ(s.last_read.at(1), 1) << "late ticks";
}

TEST(AlarmCondition, ClockThatGoesBackOrFarAheadIsTold) {
  for (const bool back : {false, true}) {
    StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
    s.ahead_us = back ? 0 : 11000000;
    if (back) s.tick_number -= 3;
    s.run(0.3);
    EXPECT_TRUE(s.alarm(fw::alarm::clock_jumped)) << back;
    s.run(11.0);
    EXPECT_FALSE(s.alarm(fw::alarm::clock_jumped)) << back;
    EXPECT_EQ(s.state(), 1) << "the programme runs on: its time is counted in periods";
  }
}

}  // namespace
