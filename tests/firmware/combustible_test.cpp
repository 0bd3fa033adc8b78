// Combustible gas: what counts as its purge, and what the chamber is taken to hold.
#include "firmware/combustible.h"

#include <gtest/gtest.h>

#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;
using fw::Combustible;
using fw::Gas;

fw::Parameters with_hydrogen() {
  fw::Parameters p = in_argon();
  p.load_titanium = 0;
  p.combustible_gas = 1;
  p.chamber_volume_l = 14.0f;
  return p;
}

fw::Segment inert_purge(float volumes) {
  fw::Segment s = purge(volumes, 4000.0f, 5.0f);
  s.gas = Gas::argon;
  return s;
}

// A chamber swept at 5 slm of nitrogen.
struct Swept {
  fw::Parameters parameters = with_hydrogen();
  Combustible combustible;
  fw::Inputs inputs;
  fw::Outputs before;

  Swept() {
    fw::combustible_start(combustible, parameters);
    inputs.known = inputs.fresh = true;
    inputs.discrete = fw::discrete::door_closed | fw::discrete::exhaust_open | fw::discrete::process_open |
                      fw::discrete::supply_present;
    inputs.chamber_pa = 4000.0f;
    inputs.flow_slm = inputs.meter_slm[0] = 5.0f;
    before.coils = fw::coil::process_open | fw::coil::purge_shut;
    before.gas_wanted = Gas::nitrogen;
  }
  // Seconds until the chamber is taken for purged, -1 if not within an hour.
  double purges() {
    for (int tick = 0; tick < 36000; ++tick) {
      fw::combustible_step(combustible, parameters, inputs, before);
      if (!combustible.possible) return 0.1 * (tick + 1);
    }
    return -1.0;
  }
};

// 5 volumes of 14 L at 5 slm: 70 sL, 840 s, whatever the temperature, which only makes more of it.
TEST(CombustibleGas, IsPurgedOutByFiveColdVolumes) {
  Swept swept;
  EXPECT_TRUE(swept.combustible.possible) << "a core that starts does not know";
  EXPECT_NEAR(swept.purges(), 840.0, 0.11);
}

TEST(CombustibleGas, NothingCountsThatIsNoInertFlowThroughTheChamber) {
  const auto counts = [](auto spoil) {
    Swept swept;
    spoil(swept);
    return swept.purges() >= 0.0;
  };
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.discrete &= static_cast<std::uint16_t>(~fw::discrete::exhaust_open); }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.discrete &= static_cast<std::uint16_t>(~fw::discrete::process_open); }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.discrete &= static_cast<std::uint16_t>(~fw::discrete::door_closed); }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.flow_failed = true; }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.flow_slm = 0.05f; }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.chamber_pa = -100.0f; }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.chamber_failed = true; }));
  EXPECT_FALSE(counts([](Swept& s) { s.inputs.fresh = false; }));
  EXPECT_FALSE(counts([](Swept& s) { s.before.gas_wanted = Gas::air; }));
  EXPECT_FALSE(counts([](Swept& s) { s.before.gas_wanted = Gas::hydrogen; }));
}

TEST(CombustibleGas, AirThatComesInVoidsThePurge) {
  Swept swept;
  for (int tick = 0; tick < 8000; ++tick) fw::combustible_step(swept.combustible, swept.parameters, swept.inputs, swept.before);
  EXPECT_GT(fw::combustible_volume_changes(swept.combustible, swept.parameters), 4.5f);
  fw::Inputs open = swept.inputs;
  open.discrete |= fw::discrete::air_open;
  fw::combustible_step(swept.combustible, swept.parameters, open, swept.before);
  EXPECT_EQ(fw::combustible_volume_changes(swept.combustible, swept.parameters), 0.0f);
}

// The restrictor counts at what was measured there, and only where it was: 70 sL at 0.8 slm.
TEST(CombustibleGas, TheInertPurgeCountsAsMeasuredAtCommissioning) {
  Swept swept;
  swept.before.coils = 0;
  swept.before.gas_wanted = Gas::keep;
  swept.inputs.flow_slm = swept.inputs.meter_slm[0] = 0.0f;
  swept.inputs.discrete = fw::discrete::door_closed | fw::discrete::exhaust_open | fw::discrete::purge_open |
                          fw::discrete::supply_present;
  EXPECT_LT(swept.purges(), 0.0);
  swept.parameters.purge_restrictor_slm = 0.8f;
  swept.parameters.period_ms = 1000;
  for (int s = 0; s < 5249; ++s) fw::combustible_step(swept.combustible, swept.parameters, swept.inputs, swept.before);
  EXPECT_TRUE(swept.combustible.possible);
  for (int s = 0; s < 2; ++s) fw::combustible_step(swept.combustible, swept.parameters, swept.inputs, swept.before);
  EXPECT_FALSE(swept.combustible.possible) << "70 sL at 0.8 slm: 5250 s";
}

TEST(CombustibleGas, FlowingBringsItBackAndTheCountToNothing) {
  Swept swept;
  ASSERT_GT(swept.purges(), 0.0);
  swept.before.gas_wanted = Gas::hydrogen;
  fw::combustible_step(swept.combustible, swept.parameters, swept.inputs, swept.before);
  EXPECT_TRUE(swept.combustible.possible);
  EXPECT_TRUE(swept.combustible.flowing);
  EXPECT_EQ(fw::combustible_volume_changes(swept.combustible, swept.parameters), 0.0f);
  EXPECT_EQ(fw::combustible_state(swept.combustible, false), fw::CombustibleState::flowing);
}

TEST(CombustibleGas, AUnitWithoutItNeverTakesTheChamberForIt) {
  Combustible combustible;
  const fw::Parameters p = in_argon();
  fw::combustible_start(combustible, p);
  EXPECT_FALSE(combustible.possible);
  fw::Inputs inputs;
  inputs.known = true;
  inputs.discrete = fw::discrete::process_open;
  inputs.meter_slm[0] = 3.0f;
  for (int tick = 0; tick < 100; ++tick) fw::combustible_step(combustible, p, inputs, fw::Outputs{});
  EXPECT_FALSE(combustible.possible);
}

// 5 % of hydrogen: 0.25 slm through a meter of 5.05 slm of hydrogen, 4.75 through one of 5 slm of nitrogen.
TEST(FormingGas, IsBlendedFromBothMetersAtEveryInstantOfARamp) {
  fw::FlowLoop loop;
  const fw::FlowMeter hydrogen{5.0f, 1.01f}, nitrogen{5.0f, 1.0f};
  float ma[2] = {4.0f, 4.0f};
  for (int tick = 0; tick < 100; ++tick) {
    fw::flow_blended(loop, hydrogen, nitrogen, 0.05f, 5.0f, 1.0f, 0.1f, ma);
    const float first = (ma[0] - 4.0f) / 16.0f * 5.05f, second = (ma[1] - 4.0f) / 16.0f * 5.0f;
    EXPECT_NEAR(first / (first + second), 0.05f, 1e-4f) << tick;
  }
  EXPECT_NEAR(ma[0], 4.0f + 16.0f * 0.25f / 5.05f, 1e-4f);
  EXPECT_NEAR(ma[1], 4.0f + 16.0f * 4.75f / 5.0f, 1e-4f);
  for (int tick = 0; tick < 100; ++tick) fw::flow_blended(loop, hydrogen, nitrogen, 0.05f, 9.0f, 1.0f, 0.1f, ma);
  EXPECT_NEAR(loop.setpoint_slm, 5.0f / 0.95f, 1e-4f) << "the nitrogen meter is at its end";
}

TEST(FormingGas, WaitsAMinuteForItsFlameAndThenFailsTheSegment) {
  fw::Segment flowing = with_flow(wait(1.0e5), 2.0f);
  flowing.gas = Gas::hydrogen;
  StandIn s = started(with_hydrogen(), {inert_purge(6.0f), flowing, end()});
  s.process.oxygen_frac = 1e-4;
  ASSERT_TRUE(s.run_until([&] { return s.value("combustible.state") == 2.0; }, 2000.0));
  EXPECT_TRUE(s.told.coil(bit::pilot));
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_FALSE(s.told.coil(bit::purge_shut)) << "inert purge keeps the pressure";
  s.run(55.0);
  EXPECT_EQ(s.state(), 1);
  s.run(10.0);
  EXPECT_EQ(s.state(), 6);
}

TEST(CombustibleGas, TheDoorIsLetGoOnlyAtRestAndPurged) {
  StandIn s(store_of(with_hydrogen(), {inert_purge(6.0f), end()}));
  s.run(2.0);
  EXPECT_FALSE(s.told.coils >> 11 & 1u);
  EXPECT_EQ(s.told.safe_row, 3u);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.value("combustible.state") == 0.0; }, 2000.0));
  EXPECT_FALSE(s.told.coils >> 11 & 1u) << "a programme runs";
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 2000.0));
  s.run(1.0);
  EXPECT_TRUE(s.told.coils >> 11 & 1u);
  EXPECT_FALSE(s.told.coil(bit::pilot));
}

}  // namespace
