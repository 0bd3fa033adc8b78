// Whole cycles through the core's bytes.
#include <gtest/gtest.h>

#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

TEST(Cycle, InArgonRunsFromEvacuationToTheSafeValues) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), evacuate(15.0f), leak_test(300.0, 20.0f / 60.0f),
                                   backfill(4000.0f, 5.0f), purge(3.0f, 4000.0f, 5.0f), with_flow(ramp(180.0f, 5.0f / 60.0f), 0.6f),
                                   soak(600.0, 0.0f), ramp(500.0f, 8.0f / 60.0f), soak(600.0, 10.0f), cool(150.0f), end()});
  double highest_pa = 0.0;
  bool heat_before_hold = false, seen_phase[7] = {}, alarmed = false;
  const bool done = s.run_until(
      [&] {
        highest_pa = std::max(highest_pa, s.gauge_pa());
        heat_before_hold = heat_before_hold || (s.told.demand[0] > 0.0f && s.phase() != 5);
        seen_phase[s.phase()] = true;
        alarmed = alarmed || s.value("alarms.medium") > 0.0 || s.value("alarms.high") > 0.0;
        return s.state() == 7;
      },
      40000.0);
  ASSERT_TRUE(done) << "segment " << s.segment() << " state " << s.state() << " trip " << s.trip();
  EXPECT_FALSE(heat_before_hold);
  EXPECT_FALSE(alarmed);
  EXPECT_LT(highest_pa, 6000.0);
  for (int phase = 1; phase <= 5; ++phase) EXPECT_TRUE(seen_phase[phase]) << phase;
  EXPECT_EQ(s.trip(), 0);
  s.run(60.0);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  EXPECT_FALSE(s.told.coil(bit::isolation));
  EXPECT_FALSE(s.told.coil(bit::pump));
  EXPECT_FALSE(s.told.coil(bit::process));
  EXPECT_FALSE(s.told.coil(bit::purge_shut));
  EXPECT_FALSE(s.told.coil(bit::exhaust_shut));
  EXPECT_FALSE(s.told.coil(bit::bypass));
  EXPECT_FALSE(s.told.coil(bit::air));
  EXPECT_EQ(s.told.safe_row, 2u);
  EXPECT_EQ(s.phase(), 6);
}

TEST(Cycle, InAirNeedsNoGas) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), soak(300.0, 10.0f), end()});
  bool gas = false;
  ASSERT_TRUE(s.run_until([&] { gas = gas || s.told.coil(bit::process) || !s.told.coil(bit::purge_shut);
                                return s.state() == 7; }, 20000.0));
  EXPECT_FALSE(gas);
  EXPECT_EQ(s.told.safe_row, 1u);
  EXPECT_EQ(s.told.demand[0], 0.0f);
  EXPECT_FALSE(s.told.coil(bit::contactor));
}

}  // namespace
