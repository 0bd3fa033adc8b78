// The operator's work: forced outputs, calibration, a start on a hot furnace, a segment edited ahead.
#include <bit>

#include <gtest/gtest.h>

#include "firmware/commissioning.h"
#include "firmware/correction.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

constexpr unsigned key_switch = 1u << 9, door = 1u << 0;

StandIn with_key(const fw::Parameters& p = in_air()) {
  StandIn s(store_of(p, {ramp(100.0f, 0.5f), soak(20.0, 5.0f), ramp(300.0f, 0.5f), soak(30.0, 5.0f), end()}));
  s.discrete_set = key_switch;
  s.run(1.0);
  return s;
}

TEST(ForcedOutput, NeedsTheKeySwitch) {
  StandIn s = with_key();
  s.discrete_set = 0;
  s.run(0.5);
  EXPECT_EQ(s.command(fw::Command::force_output, 5, 1.0), fw::Refusal::wrong_state);
  s.run(0.5);
  EXPECT_FALSE(s.told.coil(bit::air));
}

TEST(ForcedOutput, GoesOutAndIsReleasedAfterTenMinutes) {
  StandIn s = with_key();
  ASSERT_EQ(s.command(fw::Command::force_output, 5, 1.0), fw::Refusal::accepted);
  s.run(599.0);
  EXPECT_TRUE(s.told.coil(bit::air));
  s.run(2.0);
  EXPECT_FALSE(s.told.coil(bit::air));
}

TEST(ForcedOutput, EndsWithTheKeyAProgrammeAndATrip) {
  const auto forced = [] {
    StandIn s = with_key();
    EXPECT_EQ(s.command(fw::Command::force_output, 5, 1.0), fw::Refusal::accepted);
    s.run(1.0);
    EXPECT_TRUE(s.told.coil(bit::air));
    return s;
  };
  StandIn key = forced();
  key.discrete_set = 0;
  key.run(0.5);
  EXPECT_FALSE(key.told.coil(bit::air));
  key.discrete_set = key_switch;
  key.run(5.0);
  EXPECT_FALSE(key.told.coil(bit::air)) << "does not come back with the key";
  StandIn programme = forced();
  ASSERT_EQ(programme.command(fw::Command::start), fw::Refusal::accepted);
  programme.run(0.5);
  EXPECT_FALSE(programme.told.coil(bit::air));
  StandIn trip = forced();
  trip.discrete_clear = 1u << 1;
  trip.run(0.5);
  EXPECT_FALSE(trip.told.coil(bit::air));
  EXPECT_EQ(trip.command(fw::Command::force_output, 5, 1.0), fw::Refusal::trip_stands);
}

// Block 0x0700 of the register map: bits, seconds left, seconds vented, a value for each output.
TEST(ForcedOutput, IsReadByTheSupervisoryLine) {
  StandIn s = with_key();
  const auto read = [&] {
    s.tick(StandIn::read_request(4, 0x0700, 6 + 2 * 22));
    return s.last_read;
  };
  const auto number = [](const std::vector<std::uint16_t>& all, std::size_t at) {
    return std::bit_cast<float>(static_cast<std::uint32_t>(all[at]) << 16 | all[at + 1]);
  };
  auto block = read();
  ASSERT_EQ(block.size(), 50u);
  EXPECT_EQ(block[0] | block[1], 0);
  ASSERT_EQ(s.command(fw::Command::force_output, 5, 1.0), fw::Refusal::accepted);
  ASSERT_EQ(s.command(fw::Command::force_output, 20, 0.25), fw::Refusal::accepted);
  s.run(60.0);
  block = read();
  EXPECT_EQ(block[0], 1u << 4) << "output 20";
  EXPECT_EQ(block[1], 1u << 5) << "output 5";
  EXPECT_NEAR(number(block, 2), 540.0f, 0.5f);
  EXPECT_EQ(number(block, 6 + 2 * 5), 1.0f);
  EXPECT_EQ(number(block, 6 + 2 * 20), 0.25f);
  ASSERT_EQ(s.command(fw::Command::release_outputs), fw::Refusal::accepted);
  s.run(0.2);
  block = read();
  block[4] = block[5] = 0;         // vented, which forcing does not touch
  EXPECT_EQ(block, std::vector<std::uint16_t>(50, 0));
}

TEST(ForcedOutput, LeavesTheInterlocksTheLastWord) {
  StandIn s = with_key(in_argon());
  s.process.load_degc = s.process.zone_degc = 400.0;      // titanium, hot
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::force_output, 5, 1.0), fw::Refusal::accepted);
  s.run(1.0);
  EXPECT_FALSE(s.told.coil(bit::air)) << "no air on hot titanium";
  ASSERT_EQ(s.command(fw::Command::force_output, 16, 0.5), fw::Refusal::accepted);
  s.run(1.0);
  EXPECT_EQ(s.told.demand[0], 0.0f) << "no heat without its atmosphere";
  ASSERT_EQ(s.command(fw::Command::force_output, 7, 1.0), fw::Refusal::accepted);
  s.run(1.0);
  EXPECT_FALSE(s.told.coil(bit::isolation)) << "no isolation before the pump";
}

TEST(ForcedOutput, HeatsAFurnaceInAirAndIsLogged) {
  StandIn s = with_key();
  ASSERT_EQ(s.command(fw::Command::force_output, 0, 1.0), fw::Refusal::accepted);
  ASSERT_EQ(s.command(fw::Command::force_output, 16, 0.25), fw::Refusal::accepted);
  s.run(3.0);
  EXPECT_FLOAT_EQ(s.told.demand[0], 0.25f);
  EXPECT_EQ(s.command(fw::Command::force_output, 16, 1.5), fw::Refusal::value_out_of_bounds);
  EXPECT_EQ(s.command(fw::Command::force_output, 11, 1.0), fw::Refusal::value_out_of_bounds) << "no such output";
  EXPECT_EQ(s.command(fw::Command::release_outputs), fw::Refusal::accepted);
  s.run(0.5);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  int forced = 0;
  const fw::EventLog& log = s.core->history.events;
  constexpr auto kind = static_cast<std::uint8_t>(fw::EventKind::forced_output);
  for (std::uint32_t n = 0; n < log.count; ++n) forced += fw::logged_event(log, n).kind == kind;
  EXPECT_EQ(forced, 3);
}

// Outputs 1 (process valve), 21 (process gas): hydrogen and forming gas come from the selector's fifth place.
TEST(ForcedOutput, OpensTheProcessValveOnlyToAGasThatIsSelected) {
  StandIn s = with_key(in_argon());
  ASSERT_EQ(s.command(fw::Command::force_output, 1, 1.0), fw::Refusal::accepted);
  s.run(0.5);
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_EQ(s.value("interlock.inhibit"), fw::row::gas_not_selected);
  for (const double wrong : {7.0, -1.0, 2.5}) {
    EXPECT_EQ(s.command(fw::Command::force_output, 21, wrong), fw::Refusal::value_out_of_bounds) << wrong;
  }
  ASSERT_EQ(s.command(fw::Command::force_output, 21, 2.0), fw::Refusal::accepted);
  s.run(0.5);
  EXPECT_TRUE(s.told.coil(bit::process));
  EXPECT_EQ(s.told.gas, 2u);
  EXPECT_EQ(s.told.flow_ma[0], 4.0f) << "no flow";
  EXPECT_EQ(s.value("interlock.inhibit"), 0);
}

TEST(ForcedOutput, DoesNotLetCombustibleGasIn) {
  for (const bool fitted : {false, true}) {
    for (const bool titanium : {false, true}) {
      for (const double gas : {5.0, 6.0}) {
        fw::Parameters p = in_argon();
        p.combustible_gas = fitted ? 1 : 0;
        p.load_titanium = titanium ? 1 : 0;
        StandIn s = with_key(p);
        ASSERT_EQ(s.command(fw::Command::force_output, 21, gas), fw::Refusal::accepted);
        ASSERT_EQ(s.command(fw::Command::force_output, 1, 1.0), fw::Refusal::accepted);
        s.run(0.5);
        EXPECT_FALSE(s.told.coil(bit::process));
        EXPECT_EQ(s.value("interlock.inhibit"), titanium ? fw::row::combustible_on_titanium : fw::row::combustible_not_permitted);
      }
    }
  }
}

// --- Calibration -------------------------------------------------------------------------------------------------------

// A straight line through two points, worked by hand: +2 K at 100, +6 K at 300 gives +4 K at 200, +8 K at 400.
TEST(Correction, IsALineThroughTwoPointsAndAnOffsetThroughOne) {
  const fw::ChannelCorrection two{100.0f, 2.0f, 300.0f, 6.0f, 20000};
  EXPECT_FLOAT_EQ(fw::corrected(two, 100.0f), 102.0f);
  EXPECT_FLOAT_EQ(fw::corrected(two, 200.0f), 204.0f);
  EXPECT_FLOAT_EQ(fw::corrected(two, 400.0f), 408.0f);
  const fw::ChannelCorrection one{0.0f, -1.5f, 0.0f, -1.5f, 20000};
  EXPECT_FLOAT_EQ(fw::corrected(one, 731.0f), 729.5f);
  const fw::ChannelCorrection none{0.0f, 0.0f, 1000.0f, 0.0f, 0};
  EXPECT_EQ(fw::corrected(none, 0.1f), 0.1f);
}

TEST(Correction, ReachesWhatTheCoreSees) {
  fw::Parameters p = in_air();
  p.corrections[0] = {0.0f, 3.0f, 1000.0f, 3.0f, 20000};
  p.corrections[fw::correction_load] = {0.0f, -2.0f, 1000.0f, -2.0f, 20000};
  StandIn plain = with_key(), changed = with_key(p);
  EXPECT_NEAR(changed.value("heat.1.pv") - plain.value("heat.1.pv"), 3.0, 1e-3);
  EXPECT_NEAR(changed.value("load.pv") - plain.value("load.pv"), -2.0, 1e-3);
}

// The gauge cell reads `pa` in the vented chamber; current for -5..20 kPa.
void gauge_reads(StandIn& s, double pa) { s.raw[7] = 4.0 + 16.0 * (pa + 5000.0) / 25000.0; }

TEST(PressureZero, IsTakenOnlyInAVentedChamberAndWithinTwoPercentOfSpan) {
  StandIn s = with_key();
  gauge_reads(s, 300.0);      // 1.2 % of a span of 25 kPa
  s.run(15.0);
  EXPECT_EQ(s.command(fw::Command::zero_pressure, 0, 20783.0), fw::Refusal::wrong_state) << "the door is shut";
  s.discrete_clear = door;
  s.run(5.0);
  EXPECT_EQ(s.command(fw::Command::zero_pressure, 0, 20783.0), fw::Refusal::wrong_state) << "not for long enough";
  s.run(10.0);
  EXPECT_EQ(s.command(fw::Command::zero_pressure, 0, 20783.0), fw::Refusal::accepted);
  s.run(1.0);
  EXPECT_NEAR(s.value("pressure.pv"), 0.0, 0.1);
  EXPECT_EQ(s.core->parameters.corrections[fw::correction_pressure].date, 20783);
  gauge_reads(s, 520.0);      // a second time from here: 2.08 % in all
  s.run(15.0);
  EXPECT_EQ(s.command(fw::Command::zero_pressure, 0, 20784.0), fw::Refusal::value_out_of_bounds);
  s.run(10.0);
  s.restart();
  gauge_reads(s, 300.0);
  s.run(1.0);
  EXPECT_NEAR(s.value("pressure.pv"), 0.0, 0.1) << "kept in the store";
}

TEST(PressureZero, IsRefusedWithGasOnAndWithAMovingReading) {
  StandIn s = with_key();
  s.discrete_clear = door;
  s.discrete_set = key_switch | 1u << 13;      // the purge valve is open
  gauge_reads(s, 100.0);
  s.run(15.0);
  EXPECT_EQ(s.command(fw::Command::zero_pressure, 0, 20783.0), fw::Refusal::wrong_state);
  s.discrete_set = key_switch;
  for (int i = 0; i < 200; ++i) {
    gauge_reads(s, 100.0 + (i / 20 % 2) * 60.0);
    s.tick();
  }
  EXPECT_EQ(s.command(fw::Command::zero_pressure, 0, 20783.0), fw::Refusal::wrong_state);
}

// --- Start on a hot furnace, segments ahead ------------------------------------------------------------------------------

TEST(StartAtTheProcessValue, EntersTheRampWhoseWayHoldsIt) {
  StandIn s = with_key();
  s.process.zone_degc = s.process.load_degc = 200.0;
  s.run(0.5);
  ASSERT_EQ(s.command(fw::Command::start_at_value), fw::Refusal::accepted);
  s.run(0.5);
  EXPECT_EQ(s.segment(), 2) << "the ramp from 100 to 300 degC";
  EXPECT_NEAR(s.value("heat.1.sp"), s.value("heat.1.pv"), 1.0);
}

TEST(StartAtTheProcessValue, BeginsAsEverWhereTheFurnaceIsColdOrTooHot) {
  for (const double degc : {20.0, 60.0, 500.0}) {
    StandIn s = with_key();
    s.process.zone_degc = s.process.load_degc = degc;
    s.run(0.5);
    ASSERT_EQ(s.command(fw::Command::start_at_value), fw::Refusal::accepted);
    s.run(0.3);
    EXPECT_EQ(s.segment(), 0) << degc;
  }
}

TEST(StartAtTheProcessValue, PassesNoSegmentThatMakesTheAtmosphere) {
  StandIn s(store_of(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), ramp(100.0f, 0.5f), soak(20.0, 5.0f), ramp(300.0f, 0.5f),
                                  end()}));
  s.process.zone_degc = s.process.load_degc = 200.0;
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::start_at_value), fw::Refusal::accepted);
  std::vector<int> seen;
  ASSERT_TRUE(s.run_until([&] {
    if (seen.empty() || seen.back() != s.segment()) seen.push_back(s.segment());
    return s.segment() == 4;
  }, 3000.0));
  EXPECT_EQ(seen, (std::vector<int>{0, 1, 4}));
}

Bytes window(unsigned programme, const fw::Segment& g) {
  Bytes data;
  for (const unsigned value : {programme, unsigned(g.kind), unsigned(g.gas), unsigned(g.gain_set), unsigned(g.options)}) put16(data, value);
  put_float(data, g.target);
  put_float(data, g.rate);
  put16(data, g.duration_ms >> 16);
  put16(data, g.duration_ms & 0xFFFF);
  for (const float value : {g.tolerance_k, g.flow_slm, g.back_pressure_pa, g.amount}) put_float(data, value);
  for (const unsigned value : {unsigned(g.count), unsigned(g.jump), 0u, 0u}) put16(data, value);
  data.resize(data.size() + 24);
  return data;
}

TEST(EditAhead, ChangesOnlyASegmentThatHasNotBegunAndTheStoreOnlyWhenAsked) {
  StandIn s = with_key();
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  s.run(1.0);
  s.tick(StandIn::write_request(fw::programme_window_address, window(0, ramp(250.0f, 0.5f))));
  EXPECT_EQ(s.command(fw::Command::edit_running, 0), fw::Refusal::wrong_state) << "it runs";
  EXPECT_EQ(s.command(fw::Command::edit_running, 2), fw::Refusal::accepted);
  EXPECT_EQ(s.core->run.copy[2].target, 250.0f);
  const fw::ProgrammeEntry& entry = s.core->programmes.entries[0];
  EXPECT_EQ(s.core->programmes.segments[entry.first_segment + 2].target, 300.0f) << "the stored one stands";
  EXPECT_EQ(s.command(fw::Command::edit_running, 2, 1.0), fw::Refusal::accepted);
  EXPECT_EQ(s.core->programmes.segments[entry.first_segment + 2].target, 250.0f);
  s.tick(StandIn::write_request(fw::programme_window_address, window(0, ramp(9000.0f, 0.5f))));
  EXPECT_EQ(s.command(fw::Command::edit_running, 2), fw::Refusal::segment_invalid);
  s.tick(StandIn::write_request(fw::programme_window_address, window(1, ramp(250.0f, 0.5f))));
  EXPECT_EQ(s.command(fw::Command::edit_running, 2), fw::Refusal::no_such_programme) << "not the one that runs";
}

TEST(OpenProgramme, KeepsTheStoreAtTheOldOneUntilItIsClosed) {
  StandIn s = with_key();
  ASSERT_EQ(s.command(fw::Command::open_programme, 0), fw::Refusal::accepted);
  s.tick(StandIn::write_request(fw::programme_window_address, window(0, ramp(123.0f, 0.5f))));
  ASSERT_EQ(s.command(fw::Command::write_segment, 0), fw::Refusal::accepted);
  s.run(30.0);
  EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::wrong_state) << "half-written it does not start";
  StandIn cut(s.image);
  cut.run(1.0);
  EXPECT_EQ(cut.core->programmes.segments[cut.core->programmes.entries[0].first_segment].target, 100.0f);
  ASSERT_EQ(s.command(fw::Command::close_programme), fw::Refusal::accepted);
  s.run(5.0);
  StandIn after(s.image);
  after.run(1.0);
  EXPECT_EQ(after.core->programmes.segments[after.core->programmes.entries[0].first_segment].target, 123.0f);
}

}  // namespace
