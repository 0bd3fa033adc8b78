// Each row of the cause-and-effect table: its cause is planted at the station, its effect is read from what the station is
// told in the same tick. Safe values after the design: see SafeValues below.
#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <set>
#include <string>

#include "firmware/interlocks.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;
namespace row = fw::row;

double gauge_ma(double gauge_pa) { return 4.0 + 16.0 * (gauge_pa + 5000.0) / 25000.0; }
double cell_mv(double ppm) { return 8.617333e-5 * 973.15 / 4.0 * 1000.0 * std::log(0.2095 / (ppm * 1e-6)); }

// A furnace that heats under argon, in the hold phase.
StandIn heating(fw::Parameters parameters = in_argon()) {
  StandIn s = started(parameters, {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(900.0f, 0.5f), 0.6f),
                                   soak(1.0e5, 0.0f), end()});
  if (!s.run_until([&] { return s.phase() == 5 && s.told.demand[0] > 0.3f && s.process.load_degc > 60.0; }, 2000.0)) {
    throw std::runtime_error("the stand-in does not heat");
  }
  s.run(20.0);
  return s;
}

// In the tick that trips: heat off, contactor open, pump isolated, no process gas.
void expect_trip(StandIn& s, int number, double within_s, unsigned safe_row = 2) {
  ASSERT_EQ(s.trip(), 0);
  ASSERT_TRUE(s.run_until([&] { return s.trip() != 0; }, within_s)) << "no trip";
  EXPECT_EQ(s.trip(), number);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  EXPECT_FALSE(s.told.coil(bit::isolation));
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_FALSE(s.told.coil(bit::air));
  EXPECT_EQ(s.told.flow_ma[0], 4.0f);
  EXPECT_EQ(s.told.safe_row, safe_row);
  s.tick();
  EXPECT_EQ(s.state(), 5);  // aborting
  EXPECT_TRUE(s.alarm(fw::alarm::trip));
  EXPECT_TRUE(s.told.coil(bit::horn));
}

// What an answer says is acted upon in the step that takes it: planted before a tick, it reaches the core in the next.
constexpr double at_once_s = 0.2;

TEST(InterlockRow, EmergencyStopTripsAtOnce) {
  StandIn s = heating();
  s.discrete_clear = 1u << 1;
  expect_trip(s, row::emergency_stop, at_once_s);
}

TEST(InterlockRow, DoorTripsARunningProgramme) {
  StandIn s = heating();
  s.discrete_clear = 1u << 0;
  expect_trip(s, row::door, at_once_s);
}

TEST(InterlockRow, DoorMayStandOpenWhenNothingRuns) {
  StandIn s(store_of(in_air(), {ramp(400.0f, 0.1f), end()}));
  s.discrete_clear = 1u << 0;
  s.run(10.0);
  EXPECT_EQ(s.trip(), 0);
}

TEST(InterlockRow, LimiterTripsAtOnce) {
  StandIn s = heating();
  s.discrete_clear = 1u << 8;
  expect_trip(s, row::limiter, at_once_s);
}

TEST(InterlockRow, HeaterSideOverTemperatureTrips) {
  StandIn s = heating();
  s.raw[0] = 45.119 - 1.0;  // type K, 1100 degC
  expect_trip(s, row::zone_temperature, at_once_s);
}

TEST(InterlockRow, LoadOverTemperatureTrips) {
  StandIn s = heating();
  s.raw[4] = 45.119 - 1.0;
  expect_trip(s, row::load_temperature, at_once_s);
}

TEST(InterlockRow, OpenHeaterSideThermocoupleTripsByItsStatusBit) {
  StandIn s = heating();
  s.status = 1u << 0;
  expect_trip(s, row::zone_sensor, at_once_s);
}

TEST(InterlockRow, FailedColdJunctionTripsAsTheThermocouplesItServes) {
  StandIn s = heating();
  s.raw[6] = 0.0;
  expect_trip(s, row::zone_sensor, at_once_s);
}

TEST(InterlockRow, ThermocoupleVoltageOutOfItsTableTrips) {
  StandIn s = heating();
  s.raw[0] = 80.0;
  expect_trip(s, row::zone_sensor, at_once_s);
}

TEST(InterlockRow, OpenLoadThermocoupleTrips) {
  StandIn s = heating();
  s.status = 1u << 4;
  expect_trip(s, row::load_sensor, at_once_s);
}

TEST(InterlockRow, LoadThermocoupleIsNotMissedWhereNothingUsesIt) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  s.status = 1u << 4;
  s.run(10.0);
  EXPECT_EQ(s.trip(), 0);
}

TEST(InterlockRow, OverPressureShutsAllInletsAndOpensTheBypassUntilItIsOff) {
  StandIn s = heating();
  s.raw[7] = gauge_ma(8100.0);
  expect_trip(s, row::over_pressure, at_once_s, 5);
  EXPECT_TRUE(s.told.coil(bit::bypass));
  EXPECT_TRUE(s.told.coil(bit::purge_shut));
  EXPECT_FALSE(s.told.coil(bit::exhaust_shut));
  EXPECT_EQ(s.told.valve_frac, 1.0f);
  s.raw[7] = gauge_ma(600.0);
  s.run(5.0);
  EXPECT_TRUE(s.told.coil(bit::bypass)) << "still above 0.5 kPa";
  s.raw[7] = gauge_ma(450.0);
  s.run(0.3);
  EXPECT_FALSE(s.told.coil(bit::bypass));
  EXPECT_FALSE(s.told.coil(bit::purge_shut)) << "the atmosphere's row applies";
  EXPECT_EQ(s.told.safe_row, 2u);
}

TEST(InterlockRow, OverPressureSwitchActsWithoutTheTransmitter) {
  StandIn s = heating();
  s.discrete_set = 1u << 7;
  expect_trip(s, row::over_pressure_switch, at_once_s, 5);
  EXPECT_TRUE(s.told.coil(bit::bypass));
  EXPECT_TRUE(s.told.coil(bit::purge_shut));
}

TEST(InterlockRow, FailedGaugePressureTransmitterTripsAtOnce) {
  StandIn s = heating();
  s.raw[7] = 0.0;
  expect_trip(s, row::pressure_transmitter, at_once_s);
}

TEST(InterlockRow, LowPressureStopsHeatAtOnceAndTripsAfterFiveSeconds) {
  StandIn s = heating();
  s.raw[7] = gauge_ma(1500.0);
  s.run(0.3);
  EXPECT_EQ(s.trip(), 0);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  EXPECT_EQ(s.value("interlock.inhibit"), row::heat_not_permitted);
  expect_trip(s, row::low_pressure, 6.0);
}

TEST(InterlockRow, OxygenWhileHotTripsAfterFiveSeconds) {
  fw::Parameters p = in_argon();
  p.hot_degc = 20.0f;
  StandIn s = heating(p);
  s.raw[12] = cell_mv(300.0);
  s.run(0.3);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  expect_trip(s, row::oxygen, 6.0);
}

TEST(InterlockRow, LostLineTripsAfterOneSecond) {
  StandIn s = heating();
  s.silent = true;
  s.run(0.9);
  EXPECT_EQ(s.trip(), 0);
  EXPECT_GT(s.told.demand[0], 0.0f) << "inputs are held for a second";
  expect_trip(s, row::line_lost, 0.3);
  EXPECT_GE(s.value("controller.line_errors"), 10.0);
}

TEST(InterlockRow, StationWatchdogTrips) {
  StandIn s = heating();
  s.station_flags = 1;
  expect_trip(s, row::station_watchdog, at_once_s);
}

TEST(InterlockRow, CurrentWithoutDemandOpensTheContactor) {
  StandIn s = started(in_air(), {ramp(300.0f, 0.5f), cool(100.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 5000.0));
  s.run(5.0);
  ASSERT_TRUE(s.told.coil(bit::contactor)) << "closed through a cool segment";
  s.process.switch_shorted = true;
  expect_trip(s, row::current_without_demand, 2.0, 1);
  s.run(1.0);
  EXPECT_TRUE(s.alarm(fw::alarm::current_without_demand) || s.trip() == row::current_without_demand);
}

TEST(InterlockRow, DemandWithoutCurrentTripsAfterTenSeconds) {
  StandIn s = heating();
  s.process.element_broken = true;
  s.run(5.0);
  EXPECT_EQ(s.trip(), 0);
  expect_trip(s, row::demand_without_current, 6.0);
}

// With nothing to go by, the current limit holds the demand where it begins: the fault must be noticed there.
TEST(InterlockRow, NoCurrentIsNoticedBelowALimitThatKnowsNoneYet) {
  fw::Parameters p = in_argon();
  p.current_limit_a = 9.0f;
  StandIn s = started(p, {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(900.0f, 0.5f), 0.6f), soak(1.0e5, 0.0f), end()});
  s.process.element_broken = true;
  ASSERT_TRUE(s.run_until([&] { return s.told.demand[0] >= 0.1f; }, 3600.0));
  EXPECT_EQ(s.told.demand[0], 0.1f);
  expect_trip(s, row::demand_without_current, 11.0);
}

// Four panels side by side: one open leaves three quarters of the current, and rms current goes with the root of the demand.
TEST(InterlockRow, OneOpenPanelOfFourIsNoticedAtEveryDemand) {
  fw::Parameters p = in_argon();
  p.element_current_min_a = 11.4f;   // between 13.0 and 9.8 A
  for (const double share : {1.0, 0.75}) {
    StandIn s = heating(p);
    const bool tripped = s.run_until(
        [&] {
          s.raw[20] = 4.0 + 16.0 * share * 13.0 * std::sqrt(static_cast<double>(s.told.demand[0])) / 30.0;
          return s.trip() != 0;
        },
        60.0);
    EXPECT_EQ(tripped, share < 1.0) << share << " at " << s.told.demand[0];
    if (tripped) { EXPECT_EQ(s.trip(), row::demand_without_current); }
  }
}

TEST(InterlockRow, LostSupplyTripsAPhaseThatNeedsGas) {
  StandIn s = heating();
  s.supply = false;
  expect_trip(s, row::supply_lost, 6.0);
}

TEST(InterlockRow, LostPumpShutsTheIsolationInTheSameTick) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.told.coil(bit::isolation) && s.process.chamber_pa < 500.0; }, 600.0));
  s.discrete_clear = 1u << 3;
  expect_trip(s, row::pump_lost, at_once_s, 4);
}

TEST(InterlockRow, ExhaustShutInAHoldStopsHeatAndTrips) {
  StandIn s = heating();
  s.discrete_clear = 1u << 4;
  s.run(0.3);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  expect_trip(s, row::exhaust_shut, 6.0);
}

TEST(InterlockRow, StuckHeaterSideThermocoupleIsNoticedByTheMissingResponse) {
  fw::Parameters p = in_argon();
  p.response_window_s = 120.0f;
  p.load_above_heater_k = 0.0f;
  StandIn s = heating(p);
  s.raw[0] = type_k_mv(s.process.zone_degc) - 1.0;
  expect_trip(s, row::no_response, 400.0);
}

TEST(InterlockRow, LoadHotterThanItsHeaterIsNotBelieved) {
  StandIn s = heating();
  s.raw[4] = type_k_mv(s.process.zone_degc + 250.0) - 1.0;
  s.run(30.0);
  EXPECT_EQ(s.trip(), 0);
  expect_trip(s, row::load_above_heater, 40.0);
}

TEST(InterlockRow, InternalFaultLatchesSafeOutputsForEver) {
  StandIn s = heating();
  s.core->latch.line = 1;  // a check that fails cannot be brought about from outside
  expect_trip(s, row::internal_fault, at_once_s);
  EXPECT_EQ(s.command(fw::Command::acknowledge), fw::Refusal::fault_latched);
  EXPECT_EQ(s.command(fw::Command::reset), fw::Refusal::fault_latched);
  EXPECT_EQ(s.value("controller.latched"), 1.0);
  s.run(100.0);
  EXPECT_FALSE(s.told.coil(bit::contactor));
}

TEST(InterlockRow, ThermocoupleThatStandsStillWhileItIsHeatedTrips) {
  fw::Parameters p = in_argon();
  p.stuck_window_s = 20.0f;
  for (const int channel : {0, 4}) {
    StandIn s = heating(p);
    s.raw[static_cast<std::size_t>(channel)] = type_k_mv(channel == 0 ? s.process.zone_degc : s.process.load_degc) - 1.0;
    s.run(19.5);
    EXPECT_EQ(s.trip(), 0);
    expect_trip(s, row::sensor_stuck, 1.0);
  }
}

TEST(InterlockRow, ThermocoupleMayStandStillWithoutHeat) {
  fw::Parameters p = in_air();
  p.stuck_window_s = 20.0f;
  StandIn s = started(p, {ramp(300.0f, 0.5f), cool(100.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 5000.0));
  s.run(5.0);
  s.raw[0] = type_k_mv(200.0) - 1.0;
  s.run(60.0);
  EXPECT_EQ(s.trip(), 0);
}

// Noise of half a quantum, as a 24-bit input has it: the reading often stands for some ticks, never for 20 s.
TEST(InterlockRow, SteadyThermocoupleWithTheNoiseOfItsInputIsNotTakenForAStuckOne) {
  fw::Parameters p = in_argon();
  p.stuck_window_s = 20.0f;
  StandIn s = heating(p);
  std::uint32_t seed = 1;
  const double steady_mv = type_k_mv(s.process.zone_degc) - 1.0;
  for (int i = 0; i < 36000; ++i) {
    double noise = -6.0;                                    // twelve uniform numbers: a normal one
    for (int k = 0; k < 12; ++k) {
      seed = seed * 1664525u + 1013904223u;
      noise += static_cast<double>(seed >> 8) / 16777216.0;
    }
    s.raw[0] = 0.001 * std::round((steady_mv + 0.0005 * noise) / 0.001);
    s.raw[4] = type_k_mv(60.0) - 1.0 + *s.raw[0] - steady_mv;
    s.tick();
    if (s.trip() == row::no_response) break;                // by and by the loop asks for all there is
    ASSERT_NE(s.trip(), row::sensor_stuck) << i;
  }
}

TEST(InterlockRow, ThermocoupleWithItsWiresSwappedTripsWhenItIsWarmed) {
  for (const int channel : {0, 4}) {
    StandIn s = heating();
    s.raw[static_cast<std::size_t>(channel)] = -(type_k_mv(60.0) - 1.0);
    expect_trip(s, row::sensor_reversed, 2.5);
  }
}

TEST(InterlockRow, ThermocoupleShortedAtItsTerminalsTripsAndAGlitchDoesNot) {
  fw::Parameters p = in_argon();
  p.sensor_jump_k = 100.0f;
  StandIn s = heating(p);
  ASSERT_TRUE(s.run_until([&] { return s.process.zone_degc > 200.0; }, 1000.0));
  for (int i = 0; i < 20; ++i) {
    s.raw[0] = 0.0;
    s.tick();
    s.raw[0].reset();
    s.run(1.0);
  }
  EXPECT_EQ(s.trip(), 0);
  s.raw[0] = 0.0;
  expect_trip(s, row::sensor_jumped, 2.5);
}

TEST(InterlockRow, WeldedContactorTripsWithinASecondOfItsCoil) {
  StandIn s = started(in_air(), {ramp(100.0f, 0.5f), end()});
  s.process.contactor_welded = true;
  ASSERT_TRUE(s.run_until([&] { return s.told.coil(bit::contactor); }, 60.0));
  ASSERT_TRUE(s.run_until([&] { return !s.told.coil(bit::contactor); }, 2000.0));
  ASSERT_TRUE(s.run_until([&] { return s.trip() != 0; }, 0.9));
  EXPECT_EQ(s.trip(), row::contactor_welded);
  EXPECT_EQ(s.command(fw::Command::acknowledge), fw::Refusal::trip_stands);
}

// The last feedback heard says closed, and the trip takes the coil off: a reading that stands says nothing of a contactor.
TEST(InterlockRow, SilentLineIsNoWeldedContactor) {
  StandIn s = started(in_air(), {ramp(100.0f, 0.5f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.told.coil(bit::contactor); }, 60.0));
  s.run(5.0);
  s.silent = true;
  s.run(5.0);
  EXPECT_EQ(s.trip(), row::line_lost);
  EXPECT_FALSE(s.alarm(fw::alarm::contactor_welded));
}

TEST(InterlockRow, HeatThatComesUnaskedTripsThoughNoCurrentIsSeen) {
  StandIn s = started(in_air(), {ramp(300.0f, 0.5f), cool(100.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 5000.0));
  s.run(70.0);
  s.process.switch_shorted = true;
  s.raw[20] = 4.0;
  expect_trip(s, row::runaway, 120.0, 1);
}

TEST(InterlockRow, StationWhoseInputsStandStillTrips) {
  StandIn s = heating();
  s.core->parameters.frozen_window_s = 2.0f;   // the stand-in, without noise, stands still before it is heated
  const std::map<std::size_t, double> values = {
      {0, type_k_mv(s.process.zone_degc) - 1.0}, {1, 1.0}, {2, 1.0}, {3, 1.0},
      {4, type_k_mv(s.process.load_degc) - 1.0}, {5, 1.0}, {7, gauge_ma(4000.0)}, {8, 10.2},
      {9, 8.0}, {10, 5.4}, {12, cell_mv(2.0)}, {20, 12.0}};
  for (const auto& [channel, value] : values) s.raw[channel] = value;
  s.run(1.8);
  EXPECT_EQ(s.trip(), 0);
  expect_trip(s, row::inputs_frozen, 0.6);
}

TEST(InterlockRow, HeatIsRefusedWhileOxygenIsAboveThePermissive) {
  StandIn s = heating();
  s.raw[12] = cell_mv(30.0);
  s.run(0.3);
  EXPECT_EQ(s.value("interlock.heat_permissive"), 0.0);
  EXPECT_EQ(s.value("interlock.inhibit"), row::heat_not_permitted);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  EXPECT_EQ(s.trip(), 0);
  s.raw[12].reset();
  s.run(9.0);
  EXPECT_EQ(s.value("interlock.heat_permissive"), 0.0) << "not before the conditions have held for 10 s";
  s.run(6.0);
  EXPECT_EQ(s.value("interlock.heat_permissive"), 1.0);
  EXPECT_GT(s.told.demand[0], 0.0f) << "heat comes back by itself";
}

TEST(InterlockRow, OxygenAtThePermissivesLimitDoesNotMakeTheContactorChatter) {
  StandIn s = heating();
  int closings = 0;
  bool closed = true;
  for (int i = 0; i < 1200; ++i) {
    s.raw[12] = cell_mv(i % 4 < 2 ? 19.0 : 21.0);   // 2.5 Hz about 20 ppm
    s.tick();
    const bool now = s.told.coil(bit::contactor);
    closings += now && !closed;
    closed = now;
  }
  EXPECT_FALSE(closed);
  EXPECT_EQ(closings, 0) << "in two minutes";
}

TEST(InterlockRow, AirIsRefusedToHotTitanium) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(0.0f, 0.0f, fw::Gas::air), end()});
  s.raw[4] = type_k_mv(200.0) - 1.0;
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 1000.0));
  bool open = false;
  s.run_until([&] { open = open || s.told.coil(bit::air); return false; }, 20.0);
  EXPECT_FALSE(open);
  EXPECT_EQ(s.value("interlock.inhibit"), row::air_on_hot_titanium);
  s.raw[4] = type_k_mv(140.0) - 1.0;
  s.run(1.0);
  EXPECT_TRUE(s.told.coil(bit::air)) << "below 150 degC it may";
}

TEST(InterlockRow, ProcessGasIsRefusedWithoutASelection) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f, fw::Gas::keep), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 1000.0));
  bool open = false;
  s.run_until([&] { open = open || s.told.coil(bit::process); return false; }, 20.0);
  EXPECT_FALSE(open);
  EXPECT_EQ(s.value("interlock.inhibit"), row::gas_not_selected);
}

TEST(InterlockRow, AirAsProcessGasIsRefusedToHotTitanium) {
  fw::Parameters p = in_air();
  p.load_titanium = 1;
  fw::Segment s1 = with_flow(wait(100.0), 1.0f);
  s1.gas = fw::Gas::air;
  StandIn s = started(p, {s1, end()});
  s.run(1.0);
  EXPECT_TRUE(s.told.coil(bit::process));
  s.raw[4] = type_k_mv(200.0) - 1.0;
  s.run(0.3);
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_EQ(s.told.flow_ma[0], 4.0f);
  EXPECT_EQ(s.value("interlock.inhibit"), row::air_gas_on_hot_titanium);
}

// The sequences of the core never ask for these, so they are asked of the table itself.
struct Asked {
  fw::Parameters parameters = in_argon();
  fw::Inputs inputs;
  fw::Atmosphere atmosphere;
  fw::ProgrammeRun run;
  fw::Outputs before;
  fw::Interlocks interlocks;

  Asked() {
    inputs.known = inputs.fresh = true;
    inputs.discrete = fw::discrete::door_closed | fw::discrete::emergency_stop_healthy | fw::discrete::limiter_healthy |
                      fw::discrete::supply_present | fw::discrete::pump_at_speed;
    inputs.zone_degc[0] = inputs.hottest_degc = inputs.load_degc = 20.0f;
    inputs.chamber_pa = 200.0f;
    inputs.mains_v = 230.0f;
    atmosphere.at_speed_ms = 60000;
  }
  fw::Outputs outputs(unsigned coils) {
    fw::Outputs wanted;
    wanted.coils = static_cast<std::uint16_t>(coils);
    const fw::InterlockView view{parameters, inputs, atmosphere, run, before, true, false, false, false, 0};
    fw::interlocks_step(interlocks, view, wanted);
    return wanted;
  }
};

constexpr unsigned pumping = fw::coil::pump_motor | fw::coil::inlet_vent_shut | fw::coil::purge_shut |
                             fw::coil::exhaust_shut | fw::coil::isolation_open;

TEST(InterlockRow, BypassIsRefusedBelowThreeHundredPascal) {
  Asked asked;
  EXPECT_EQ(asked.outputs(fw::coil::bypass_open).coils & fw::coil::bypass_open, 0);
  EXPECT_EQ(asked.interlocks.inhibit, row::bypass_too_low);
  asked.inputs.chamber_pa = 310.0f;
  EXPECT_NE(asked.outputs(fw::coil::bypass_open).coils & fw::coil::bypass_open, 0);
  asked.inputs.chamber_failed = true;
  asked.interlocks = fw::Interlocks{};
  EXPECT_EQ(asked.outputs(fw::coil::bypass_open).coils & fw::coil::bypass_open, 0) << "not measured is not above";
}

TEST(InterlockRow, IsolationIsRefusedBeforeThePumpHasSpunUp) {
  Asked asked;
  EXPECT_NE(asked.outputs(pumping).coils & fw::coil::isolation_open, 0);
  asked.atmosphere.at_speed_ms = 4000;
  EXPECT_EQ(asked.outputs(pumping).coils & fw::coil::isolation_open, 0);
  EXPECT_EQ(asked.interlocks.inhibit, row::isolation_before_pump);
  asked.atmosphere.at_speed_ms = 60000;
  EXPECT_EQ(asked.outputs(pumping & ~unsigned{fw::coil::pump_motor}).coils & fw::coil::isolation_open, 0);
}

TEST(InterlockRow, IsolationIsRefusedWithAnyOtherPathOpen) {
  const unsigned opened[] = {pumping | fw::coil::process_open, pumping | fw::coil::air_open,
                             pumping & ~unsigned{fw::coil::purge_shut}, pumping & ~unsigned{fw::coil::exhaust_shut}};
  for (const unsigned coils : opened) {
    Asked asked;
    EXPECT_EQ(asked.outputs(coils).coils & fw::coil::isolation_open, 0) << coils;
  }
  for (const unsigned feedback : {4u, 10u, 11u, 12u, 13u}) {
    Asked asked;
    asked.inputs.discrete |= static_cast<std::uint16_t>(1u << feedback);
    EXPECT_EQ(asked.outputs(pumping).coils & fw::coil::isolation_open, 0) << feedback;
    EXPECT_EQ(asked.interlocks.inhibit, row::isolation_with_inlet);
  }
}

TEST(InterlockRow, IsolationIsRefusedUnderPressure) {
  Asked asked;
  asked.inputs.chamber_pa = 1200.0f;
  EXPECT_EQ(asked.outputs(pumping).coils & fw::coil::isolation_open, 0);
  EXPECT_EQ(asked.interlocks.inhibit, row::isolation_under_pressure);
}

// --- Combustible gas ---------------------------------------------------------------------------------------------------

fw::Parameters in_hydrogen() {
  fw::Parameters p = in_argon();
  p.load_titanium = 0;
  p.combustible_gas = 1;
  return p;
}

// Purged with five volumes, burn-off lit, combustible gas flowing for a while.
StandIn burning(fw::Gas gas, fw::Parameters parameters = in_hydrogen()) {
  fw::Segment flowing = with_flow(wait(1.0e5), 2.0f);
  flowing.gas = gas;
  fw::Segment nitrogen = purge(5.0f, 4000.0f, 5.0f);
  nitrogen.gas = fw::Gas::argon;
  StandIn s = started(parameters, {nitrogen, flowing, end()});
  s.discrete_set = 1u << 14;
  s.raw[11] = 4.0;
  if (!s.run_until([&] {
        if (gas == fw::Gas::forming_gas) s.raw[10] = 4.0 + 16.0 * 0.05 * 2.0 / (5.0 * 1.01);
        if (gas == fw::Gas::forming_gas) s.raw[11] = 4.0 + 16.0 * 0.95 * 2.0 / 5.0;
        if (s.segment() == 0) s.raw[10].reset();
        return s.value("combustible.state") == 3.0;
      }, 2000.0)) {
    throw std::runtime_error("the stand-in gets no combustible gas");
  }
  s.run(20.0);
  return s;
}

TEST(CombustibleRow, LostBurnOffTripsAfterASecondToTheRowOfCombustibleGas) {
  StandIn s = burning(fw::Gas::hydrogen);
  s.discrete_set = 0;
  s.run(0.8);
  EXPECT_EQ(s.trip(), 0) << "a flicker";
  expect_trip(s, row::burn_off_lost, 0.5, 3);
  EXPECT_TRUE(s.told.coil(bit::pilot));
  EXPECT_FALSE(s.told.coil(bit::purge_shut));
  s.run(3600.0);
  EXPECT_EQ(s.told.safe_row, 3u) << "until it has been purged out";
}

TEST(CombustibleRow, BlendOffTripsAfterFiveSeconds) {
  StandIn s = burning(fw::Gas::forming_gas);
  EXPECT_EQ(s.told.gas, 5u);
  s.raw[11] = 4.0 + 16.0 * 0.95 * 1.5 / 5.0;   // 6.6 % of hydrogen
  s.run(4.5);
  EXPECT_EQ(s.trip(), 0);
  expect_trip(s, row::blend_ratio, 1.0, 3);
}

TEST(CombustibleRow, ABlendIsNotProvenByAMeterThatHasFailed) {
  StandIn s = burning(fw::Gas::forming_gas);
  s.raw[11] = 0.0;
  expect_trip(s, row::blend_ratio, 6.0, 3);
}

TEST(CombustibleRow, AirInItTrips) {
  StandIn s = burning(fw::Gas::hydrogen);
  s.raw[12] = cell_mv(12000.0);
  expect_trip(s, row::air_in_combustible, 2.5, 3);
}

TEST(CombustibleRow, PressureThatLetsAirInTrips) {
  StandIn s = burning(fw::Gas::hydrogen);
  s.raw[7] = gauge_ma(100.0);
  expect_trip(s, row::combustible_pressure, 2.5, 3);
}

TEST(CombustibleRow, DoorTripsWithoutAProgrammeToo) {
  StandIn s = burning(fw::Gas::hydrogen);
  ASSERT_EQ(s.command(fw::Command::stop), fw::Refusal::accepted);
  s.run(5.0);
  ASSERT_EQ(s.state(), 4);
  EXPECT_EQ(s.trip(), 0);
  EXPECT_FALSE(s.told.coils >> 11 & 1u) << "the door is not let go";
  s.discrete_clear = 1u << 0;
  s.run(0.3);
  EXPECT_EQ(s.trip(), row::door_on_combustible);
}

TEST(CombustibleRow, FlowWithTheValveShutTrips) {
  StandIn s = burning(fw::Gas::hydrogen);
  ASSERT_EQ(s.command(fw::Command::stop), fw::Refusal::accepted);
  s.run(4.0);
  s.raw[10] = 4.0 + 16.0 * 0.2 / 5.0;
  ASSERT_TRUE(s.run_until([&] { return s.trip() != 0; }, 3.0));
  EXPECT_EQ(s.trip(), row::combustible_valve);
}

TEST(CombustibleRow, ValveThatReportsOpenTrips) {
  StandIn s(store_of(in_hydrogen(), {wait(10.0), end()}));
  s.discrete_set = 1u << 12;
  ASSERT_TRUE(s.run_until([&] { return s.value("interlock.trip") != 0.0; }, 6.0));
  EXPECT_EQ(s.trip(), row::combustible_valve);
  EXPECT_EQ(s.told.safe_row, 3u);
}

// Purged, lit and above the barometer; each condition taken away in turn.
struct Ready : Asked {
  Ready() {
    parameters = in_hydrogen();
    inputs.discrete |= fw::discrete::burn_off_proven | fw::discrete::exhaust_open;
    inputs.chamber_pa = 4000.0f;
    inputs.oxygen_valid = true;
    inputs.oxygen_ppm = 1400.0f;
    purge(5.0f);
  }
  void purge(float volumes) {
    atmosphere.combustible.purged = {};
    const float litres = volumes * parameters.chamber_volume_l;
    for (int minute = 0; minute < 10; ++minute) fw::totaliser_add(atmosphere.combustible.purged, litres * 0.1001f, 60000);
  }
  bool lets_in(fw::Gas gas = fw::Gas::hydrogen) {
    fw::Outputs wanted;
    wanted.coils = fw::coil::process_open | fw::coil::purge_shut | fw::coil::pilot;
    wanted.gas = static_cast<std::uint8_t>(gas);
    wanted.gas_wanted = gas;
    const fw::InterlockView view{parameters, inputs, atmosphere, run, before, true, false, false, false, 0};
    fw::interlocks_step(interlocks, view, wanted);
    safe_row = wanted.safe_row;
    return (wanted.coils & fw::coil::process_open) != 0;
  }
  void refused_by(int number) {
    EXPECT_FALSE(lets_in());
    EXPECT_EQ(interlocks.inhibit, number);
  }
  fw::SafeRow safe_row = fw::SafeRow::none;
};

TEST(CombustibleRow, GasIsLetInPurgedAndLitAndTheSameRequestCarriesItsRow) {
  Ready ready;
  EXPECT_TRUE(ready.lets_in());
  EXPECT_EQ(ready.safe_row, fw::SafeRow::combustible);
}

TEST(CombustibleRow, GasIsRefusedWithAnyConditionMissing) {
  const auto without = [](auto spoil) {
    Ready ready;
    spoil(ready);
    ready.refused_by(row::combustible_not_permitted);
  };
  without([](Ready& r) { r.purge(4.9f); });
  without([](Ready& r) { r.inputs.oxygen_ppm = 10000.0f; });
  without([](Ready& r) { r.inputs.oxygen_valid = false; });
  without([](Ready& r) { r.inputs.discrete &= static_cast<std::uint16_t>(~fw::discrete::burn_off_proven); });
  without([](Ready& r) { r.inputs.discrete &= static_cast<std::uint16_t>(~fw::discrete::exhaust_open); });
  without([](Ready& r) { r.inputs.chamber_pa = 100.0f; });
  without([](Ready& r) { r.inputs.chamber_below_range = true; });
  without([](Ready& r) { r.parameters.combustible_gas = 0; });
}

TEST(CombustibleRow, EveryZoneHotIsEnoughWithoutAPurge) {
  Ready ready;
  ready.purge(0.0f);
  ready.parameters.zones = 2;
  ready.inputs.oxygen_valid = false;
  ready.inputs.zone_degc[0] = 800.0f;
  ready.inputs.zone_degc[1] = 759.0f;
  ready.refused_by(row::combustible_not_permitted);
  ready.inputs.zone_degc[1] = 760.0f;
  EXPECT_TRUE(ready.lets_in());
  ready.inputs.zone_failed = 1;
  EXPECT_FALSE(ready.lets_in()) << "a zone that is not measured is not hot";
}

TEST(CombustibleRow, TitaniumRefusesItWhateverElse) {
  Ready ready;
  ready.parameters.load_titanium = 1;
  ready.refused_by(row::combustible_on_titanium);
}

TEST(CombustibleRow, NeitherPumpNorAirBeforeItIsPurgedOut) {
  for (const bool possible : {false, true}) {
    Asked asked;
    asked.parameters = in_hydrogen();
    asked.atmosphere.combustible.possible = possible;
    EXPECT_EQ((asked.outputs(pumping).coils & fw::coil::isolation_open) == 0, possible);
    EXPECT_EQ(asked.interlocks.inhibit, possible ? row::isolation_on_combustible : 0);
    EXPECT_EQ((asked.outputs(fw::coil::air_open).coils & fw::coil::air_open) == 0, possible);
    EXPECT_EQ(asked.interlocks.inhibit, possible ? row::air_on_combustible : 0);
    Ready ready;
    ready.atmosphere.combustible.possible = possible;
    EXPECT_EQ(ready.lets_in(fw::Gas::air), !possible);
    EXPECT_EQ(ready.interlocks.inhibit, possible ? row::air_gas_on_combustible : 0);
  }
}

TEST(InterlockTable, NumbersNamesAndCausesAreThereForEveryRow) {
  std::set<std::string> names;
  for (const fw::InterlockRow& r : fw::interlock_table()) {
    EXPECT_TRUE(names.insert(r.name).second) << r.name;
    EXPECT_GT(std::string(r.cause).size(), 5u);
  }
  EXPECT_EQ(names.size(), std::size_t{row::count_ - 1});
}

// The design's paragraph on safe values, row by row.
TEST(SafeValues, AreThoseOfTheDesign) {
  const auto table = fw::safe_table();
  ASSERT_EQ(table.size(), 5u);
  const unsigned never = fw::coil::contactor | fw::coil::process_open | fw::coil::air_open | fw::coil::isolation_open |
                         fw::coil::pump_motor | fw::coil::exhaust_shut;
  for (const fw::SafeValues& values : table) {
    EXPECT_EQ(values.coils & never, 0u) << values.name;
    EXPECT_EQ(values.valve_frac, 1.0f) << values.name;
  }
  EXPECT_EQ(table[0].coils, fw::coil::purge_shut) << "air: gas shut";
  EXPECT_EQ(table[1].coils, 0) << "inert: purge open, bypass shut";
  EXPECT_EQ(table[2].coils, fw::coil::pilot) << "combustible: as inert, and what leaves is burnt";
  EXPECT_EQ(table[3].coils, 0) << "vacuum: purge and exhaust in normal positions";
  EXPECT_EQ(table[4].coils, fw::coil::purge_shut | fw::coil::bypass_open) << "over-pressure";
}

TEST(SafeValues, InVacuumThePumpIsIsolatedFirstAndThenStopped) {
  StandIn s = started(in_argon(), {evacuate(5.0f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.told.coil(bit::isolation) && s.process.chamber_pa < 500.0; }, 600.0));
  s.discrete_set = 1u << 5;  // the isolation sticks
  s.discrete_clear = 1u << 1;
  ASSERT_TRUE(s.run_until([&] { return s.trip() != 0; }, 1.0));
  EXPECT_FALSE(s.told.coil(bit::isolation));
  EXPECT_TRUE(s.told.coil(bit::pump)) << "runs on while its isolation does not report shut";
  EXPECT_TRUE(s.told.coil(bit::vent_shut));
  EXPECT_EQ(s.told.safe_row, 4u);
  s.discrete_set = 0;
  s.run(0.3);
  EXPECT_FALSE(s.told.coil(bit::pump));
  EXPECT_FALSE(s.told.coil(bit::vent_shut));
  EXPECT_FALSE(s.told.coil(bit::purge_shut)) << "argon, not air, fills it";
}

TEST(Trip, KeepsTheFirstCauseUntilItIsGoneAndAcknowledged) {
  StandIn s = heating();
  s.discrete_clear = 1u << 1;
  s.run(1.0);
  s.discrete_clear = (1u << 1) | (1u << 8);
  s.run(1.0);
  EXPECT_EQ(s.trip(), row::emergency_stop);
  EXPECT_EQ(s.command(fw::Command::acknowledge), fw::Refusal::trip_stands);
  EXPECT_EQ(s.command(fw::Command::reset), fw::Refusal::trip_stands);
  s.discrete_clear = 0;
  s.run(1.0);
  EXPECT_EQ(s.trip(), row::emergency_stop) << "latched";
  EXPECT_EQ(s.command(fw::Command::acknowledge), fw::Refusal::accepted);
  EXPECT_EQ(s.trip(), 0);
  EXPECT_EQ(s.state(), 6);
  EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::wrong_state) << "reset comes first";
  EXPECT_EQ(s.command(fw::Command::reset), fw::Refusal::accepted);
  EXPECT_EQ(s.state(), 0);
  EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
}

TEST(Trip, SafeValuesStayInForceWhileTheFurnaceCools) {
  StandIn s = heating();
  s.status = 1u << 4;
  s.run(3600.0);
  EXPECT_EQ(s.state(), 6);
  EXPECT_FALSE(s.told.coil(bit::purge_shut));
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_GT(s.gauge_pa(), 200.0);
}

}  // namespace
