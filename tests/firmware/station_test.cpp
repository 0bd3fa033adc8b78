// The core's end of the field line: sequence, late and missing answers, and NAMUR NE 43.
#include <gtest/gtest.h>

#include "firmware/station.h"
#include "firmware/thermocouple.h"
#include "tests/csv_table.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

StandIn one(const fw::Parameters& p = in_argon()) {
  StandIn s(store_of(p, {wait(1.0e4), end()}));
  s.run(2.0);
  return s;
}

TEST(FieldLine, AnswerWithAnOldSequenceCountsAsLateAndIsNotUsed) {
  StandIn s = one();
  s.late = true;
  s.tick();
  s.process.load_degc = 300.0;
  s.run(0.5);
  EXPECT_LT(s.value("load.pv"), 25.0);
  EXPECT_EQ(s.value("controller.line_errors"), 5.0);
  EXPECT_EQ(s.core->station.late, 5u);
  s.late = false;
  s.run(0.2);
  EXPECT_GT(s.value("load.pv"), 200.0);
}

TEST(FieldLine, MissingAnswersHoldTheInputsAndAreCounted) {
  StandIn s = one();
  s.silent = true;
  s.run(0.5);
  EXPECT_EQ(s.value("controller.line_errors"), 5.0);
  EXPECT_EQ(s.trip(), 0);
  EXPECT_NEAR(s.value("load.pv"), 20.0, 1.0);
  EXPECT_TRUE(s.alarm(fw::alarm::line_disturbed));
}

TEST(FieldLine, DamagedAnswersAreNotUsed) {
  StandIn s = one();
  s.damaged = true;
  s.run(0.1);
  s.process.load_degc = 300.0;
  s.run(0.5);
  EXPECT_LT(s.value("load.pv"), 25.0);
  EXPECT_GE(s.value("controller.line_errors"), 5.0);
}

TEST(FieldLine, IsLostAfterOneSecondAndComesBack) {
  StandIn s = one();
  s.silent = true;
  s.run(1.1);
  EXPECT_TRUE(s.alarm(fw::alarm::line_lost));
  EXPECT_EQ(s.trip(), 13);
  s.silent = false;
  s.run(3.0);
  EXPECT_FALSE(s.alarm(fw::alarm::line_lost));
  EXPECT_EQ(s.command(fw::Command::acknowledge), fw::Refusal::accepted);
  EXPECT_EQ(s.trip(), 0);
}

TEST(FieldLine, RequestFitsTheDefaultLine) {
  StandIn s = one();   // the stand-in has checked every request's size and CRC
  // 49 bytes out, 113 back: 162 characters of 11 bits at 115200 baud are 15.5 ms
  EXPECT_LT((49.0 + 113.0) * 11.0 / 115200.0, 0.1);
  EXPECT_EQ(s.told.sequence, 20u) << "one request a tick";
}

// Every row of the NIST tables (tests/reference/thermocouple_check_points.csv) through the field line, against a terminal block at 0
// and at 30 degC (Pt100: 100.00 and 111.67 ohm, IEC 60751). Both emf are printed to 0.0005 mV, the block to 0.02 K; the inverse's
// published error is at most 0.06 K.
TEST(FieldLine, ReadsEveryTypeOfThermocoupleFromItsPublishedTable) {
  const CsvTable table("thermocouple_check_points.csv");
  int rows = 0;
  for (const char letter : std::string("KNSRBJTE")) {
    fw::Parameters p = in_air();
    p.zone_thermocouple = letter;
    p.load_thermocouple = letter == 'K' ? 'N' : 'K';   // the two inputs do not share a type
    StandIn s(store_of(p, {wait(1.0e4), end()}));
    const auto range = fw::thermocouple_range(static_cast<fw::ThermocoupleType>(letter));
    double warm_mv = 0.0, warm_uv_per_k = 0.0;
    for (const auto& row : table.rows()) {
      if (row["type"][0] != letter || row["T_C"] != "30") continue;
      warm_mv = row.number("E_published_mV");
      warm_uv_per_k = row.number("seebeck_computed_uV_per_C");
    }
    for (const auto& row : table.rows()) {
      const double degc = row.number("T_C");
      // The ends themselves may be printed beyond them by rounding.
      const bool inside = degc > static_cast<double>(range.low_degc) && degc < static_cast<double>(range.high_degc);
      if (row["type"][0] != letter || !inside) continue;
      const double uv_per_k = row.number("seebeck_computed_uV_per_C");
      for (const bool warm : {false, true}) {
        s.raw[6] = warm ? 111.67 : 100.0;
        s.raw[0] = row.number("E_published_mV") - (warm ? warm_mv : 0.0);
        s.run(0.3);
        const double tolerance = 0.06 + (warm ? (1.0 + 0.02 * std::fabs(warm_uv_per_k)) : 0.5) / uv_per_k;
        EXPECT_NEAR(s.value("heat.1.pv"), degc, tolerance + 0.01) << letter << degc << warm;
        EXPECT_EQ(s.core->inputs.zone_failed, 0) << letter << degc;
      }
      ++rows;
    }
  }
  EXPECT_GT(rows, 1100);
}

TEST(FieldLine, ColdFurnaceWithTypeBIsNoFaultAndReadsFiftyDegrees) {
  fw::Parameters p = in_air();
  p.zone_thermocouple = 'B';
  StandIn s(store_of(p, {wait(1.0e4), end()}));
  s.raw[6] = 107.79;                          // block at 20 degC: IEC 60751
  for (const double mv : {0.0, 0.002578}) {   // furnace at 20 degC, and at 0 degC: published -0.003 and 0.000
    s.raw[0] = mv;
    s.run(2.0);
    EXPECT_FALSE(s.alarm(fw::alarm::zone_sensor));
    EXPECT_EQ(s.value("heat.1.pv"), 50.0);
  }
  s.raw[0] = -0.092;                          // 150 degC with the wires crossed
  s.run(5.0);
  EXPECT_TRUE(s.alarm(fw::alarm::zone_sensor));
}

// NAMUR NE 43: the failure must stand 4 s before it counts, unless a trip uses the value.
TEST(Ne43, FailureOfATransmitterCountsAfterFourSeconds) {
  StandIn s = one();
  s.raw[14] = 3.5;
  s.run(4.0);
  EXPECT_FALSE(s.alarm(fw::alarm::transmitter_failed));
  s.run(0.3);
  EXPECT_TRUE(s.alarm(fw::alarm::transmitter_failed));
  EXPECT_NEAR(s.value("dew_point.pv"), -60.0, 0.1) << "last good value";
}

TEST(Ne43, ShorterFailureDoesNotCount) {
  StandIn s = one();
  s.raw[14] = 21.5;
  s.run(3.5);
  s.raw[14].reset();
  s.run(3.0);
  s.raw[14] = 21.5;
  s.run(3.5);
  EXPECT_FALSE(s.alarm(fw::alarm::transmitter_failed));
}

TEST(Ne43, SaturatedIsNotFailed) {
  StandIn s = one();
  s.raw[14] = 3.8;
  s.run(10.0);
  EXPECT_FALSE(s.alarm(fw::alarm::transmitter_failed));
}

TEST(Ne43, GaugeCellBelowItsRangeInVacuumIsNoFault) {
  StandIn s = started(in_argon(), {evacuate(15.0f), wait(1000.0), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 1000.0));
  s.status = 1u << 7;   // the station may flag it there
  s.run(60.0);
  EXPECT_EQ(s.trip(), 0);
  EXPECT_EQ(s.value("alarms.high"), 0.0);
}

TEST(Ne43, GaugeCellWithABrokenWireActsAtOnceEvenInVacuum) {
  StandIn s = started(in_argon(), {evacuate(15.0f), wait(1000.0), end()});
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 1000.0));
  s.raw[7] = 0.0;
  s.run(0.2);
  EXPECT_EQ(s.trip(), 10);
}

TEST(CapacitanceGauge, AtRestDoesNotPassForAVacuum) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  s.raw[8] = 0.0;
  bool done_early = false;
  s.run_until([&] { done_early = done_early || (s.segment() != 0 && s.process.chamber_pa > 60000.0); return false; }, 60.0);
  EXPECT_FALSE(done_early);
}

TEST(CapacitanceGauge, BrokenWireIsToldAndSaturationIsNot) {
  StandIn saturated(store_of(in_argon(), {evacuate(15.0f), end()}));
  saturated.status = 1u << 8;   // 10.2 V at the barometer: out of range, and legal
  saturated.run(10.0);
  EXPECT_FALSE(saturated.alarm(fw::alarm::transmitter_failed));
  for (const double open_v : {0.0, 10.5}) {
    StandIn s = started(in_argon(), {evacuate(15.0f), end()});
    s.status = 1u << 8;
    s.raw[8] = open_v;
    s.run(5.0);
    EXPECT_TRUE(s.alarm(fw::alarm::transmitter_failed)) << open_v;
  }
}

TEST(InputsBeforeTheFirstAnswer, ShowNoVacuum) {
  StandIn s(store_of(in_argon(), {evacuate(15.0f), end()}));
  s.silent = true;
  s.run(0.5);
  EXPECT_GT(s.value("vacuum.pv"), 100000.0);
}

TEST(OxygenCell, ColdOrInVacuumIsNotValidAndKeepsItsLastValue) {
  StandIn s = one();
  s.process.oxygen_frac = 1000e-6;
  s.run(1.0);
  EXPECT_NEAR(s.value("oxygen.pv"), 1000.0, 2.0);
  s.raw[13] = 4.0 + 16.0 * 0.5;   // 500 degC: too cold
  s.process.oxygen_frac = 10e-6;
  s.run(1.0);
  EXPECT_NEAR(s.value("oxygen.pv"), 1000.0, 2.0);
}

}  // namespace
