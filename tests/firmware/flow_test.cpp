#include "firmware/flow.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <limits>

namespace {

constexpr fw::FlowMeter argon{5.0f, 1.4f};   // 5 slm nitrogen full scale, argon: 7 slm

TEST(Flow, ConvertsByTheGasConversionFactor) {
  EXPECT_FLOAT_EQ(fw::flow_slm(argon, 20.0f), 7.0f);
  EXPECT_FLOAT_EQ(fw::flow_slm(argon, 12.0f), 3.5f);
  EXPECT_FLOAT_EQ(fw::flow_slm(argon, 4.0f), 0.0f);
  EXPECT_LT(fw::flow_slm(argon, 3.9f), 0.0f);   // noise about zero stays symmetrical
  EXPECT_FLOAT_EQ(fw::flow_current_ma(argon, 3.5f), 12.0f);
  EXPECT_FLOAT_EQ(fw::flow_current_ma(argon, 9.0f), 20.0f);
  EXPECT_FLOAT_EQ(fw::flow_current_ma(argon, -1.0f), 4.0f);
  EXPECT_FLOAT_EQ(fw::flow_current_ma(argon, std::numeric_limits<float>::quiet_NaN()), 4.0f);
  EXPECT_FLOAT_EQ(fw::flow_current_ma({5.0f, 0.0f}, 5.0f), 20.0f);   // no factor: as the calibration gas
  EXPECT_FLOAT_EQ(fw::flow_current_ma({0.0f, 1.4f}, 5.0f), 4.0f);    // no meter
  for (float slm = 0.0f; slm <= 7.0f; slm += 0.01f) {
    EXPECT_NEAR(fw::flow_slm(argon, fw::flow_current_ma(argon, slm)), slm, 7.0f * 4.0f * 0x1p-22f);
  }
}

// Published for 75 % of argon in nitrogen: 1.302, by a law that adds the molecules' structure factors straight instead of with the
// inverse factors: 1.0225 against 1 / (0.75 / 1.03 + 0.25) scaled, 0.23 % apart at most. Diatomic gases have none: 5 and 10 % of
// hydrogen in nitrogen 1.0008 and 1.0017 from cp at 0 degC (tests/reference has neither; values of mfc_mixture_factors, computed).
TEST(Flow, MixtureFactorsAreThoseOfTheirParts) {
  EXPECT_NEAR(fw::mixture_conversion(0.75f, 1.4427f, 1.0f), 1.302f, 0.0025f * 1.302f);
  EXPECT_NEAR(fw::mixture_conversion(0.05f, 1.0171f, 1.0f), 1.0008f, 0.00006f);
  EXPECT_NEAR(fw::mixture_conversion(0.10f, 1.0171f, 1.0f), 1.0017f, 0.00006f);
  EXPECT_FLOAT_EQ(fw::mixture_conversion(0.0f, 1.4f, 1.1f), 1.1f);
  EXPECT_FLOAT_EQ(fw::mixture_conversion(1.0f, 1.4f, 1.1f), 1.4f);
  EXPECT_FLOAT_EQ(fw::mixture_conversion(std::numeric_limits<float>::quiet_NaN(), 1.4f, 1.1f), 1.1f);
  EXPECT_FLOAT_EQ(fw::mixture_conversion(0.5f, 0.0f, 1.0f), 1.0f);
}

// A meter's valve that passes 1.6 of full scale wide open, behind 0.3 s, read behind 0.2 s and a period. By the SIMC rules for it
// (K 1.6, time constant 0.4 s, delay 0.25 s) the gain may be 0.5; the preset 0.4 settles within some closed-loop times, 3 s.
TEST(Flow, DrivesAMetersValveToItsSetPoint) {
  fw::Pid pid;
  const fw::FlowDrive drive{0.4f, 0.4f, 0.1f};
  float flow = 0.0f, seen = 0.0f, late = 0.0f, highest = 0.0f;
  for (int tick = 0; tick < 100; ++tick) {
    const float open = (fw::flow_driven_ma(pid, drive, 0.5f, late) - 4.0f) / 16.0f;
    EXPECT_GE(open, 0.0f);
    EXPECT_LE(open, 1.0f);
    late = seen;
    flow += (1.6f * open - flow) * 0.2835f;   // 1 - exp(-0.1 / 0.3)
    seen += (flow - seen) * 0.3935f;          // 1 - exp(-0.1 / 0.2)
    highest = flow > highest ? flow : highest;
    if (tick > 40) { EXPECT_NEAR(flow, 0.5f, 0.01f) << tick; }
  }
  EXPECT_LT(highest, 0.6f);
}

TEST(Flow, RampsTheSetPoint) {
  fw::FlowLoop loop;
  for (int k = 1; k <= 10; ++k) {
    static_cast<void>(fw::flow_automatic(loop, argon, 5.0f, 1.0f, 0.1f));
    EXPECT_NEAR(loop.setpoint_slm, 0.1f * static_cast<float>(k), 1e-6f);
  }
  for (int k = 0; k < 100; ++k) static_cast<void>(fw::flow_automatic(loop, argon, 5.0f, 1.0f, 0.1f));
  EXPECT_EQ(loop.setpoint_slm, 5.0f);
  EXPECT_FLOAT_EQ(fw::flow_automatic(loop, argon, 4.95f, 1.0f, 0.1f), 4.0f + 16.0f * 4.95f / 7.0f);
  static_cast<void>(fw::flow_automatic(loop, argon, 0.0f, 1.0f, 0.1f));
  EXPECT_NEAR(loop.setpoint_slm, 4.85f, 1e-6f);
  fw::flow_shut(loop);
  EXPECT_EQ(loop.setpoint_slm, 0.0f);
  EXPECT_EQ(fw::flow_automatic(loop, argon, 100.0f, 0.0f, 0.1f), 20.0f);   // no ramp, clamped to the range
  EXPECT_EQ(fw::flow_automatic(loop, argon, std::numeric_limits<float>::quiet_NaN(), 0.0f, 0.1f), 4.0f);
}

// 24 h at 10 samples a second. 0.625 slm is a binary fraction: the sum must be exact, to the unit.
TEST(Flow, TotalisesTwentyFourHoursExactly) {
  fw::FlowTotaliser totaliser;
  float plain_sl = 0.0f;
  for (int k = 0; k < 864'000; ++k) {
    fw::totaliser_add(totaliser, 0.625f, 100);
    plain_sl += 0.625f * 0.1f / 60.0f;
  }
  EXPECT_EQ(totaliser.sum, std::int64_t{625} * 16777216 / 1000 * 86'400'000);
  EXPECT_EQ(fw::totaliser_sl(totaliser), 900.0f);
  EXPECT_EQ(fw::totaliser_sml(totaliser), 900'000u);
  EXPECT_GT(std::fabs(plain_sl - 900.0f), 1.0f);   // the reason: a float32 sum is off by more than a litre
}

TEST(Flow, TotalisesAnyFlowToHalfItsQuantum) {
  // 0.6 slm is none: each reading is taken to 2^-25 slm at worst, so after 24 h within 1440 min * 2^-25 slm.
  fw::FlowTotaliser totaliser;
  for (int k = 0; k < 864'000; ++k) fw::totaliser_add(totaliser, 0.6f, 100);
  EXPECT_NEAR(static_cast<double>(totaliser.sum) / (16777216.0 * 60000.0), static_cast<double>(0.6f) * 1440.0, 1440.0 * 0x1p-25);
}

TEST(Flow, NoiseAboutZeroDoesNotAddUp) {
  fw::FlowTotaliser totaliser;
  for (int k = 0; k < 10'000; ++k) fw::totaliser_add(totaliser, k % 2 == 0 ? 0.01f : -0.01f, 100);
  EXPECT_EQ(totaliser.sum, 0);
  fw::totaliser_add(totaliser, -1.0f, 60'000);
  EXPECT_EQ(fw::totaliser_sl(totaliser), 0.0f);
  EXPECT_EQ(fw::totaliser_sml(totaliser), 0u);
}

TEST(Flow, TotaliserSurvivesNonsense) {
  fw::FlowTotaliser totaliser;
  fw::totaliser_add(totaliser, std::numeric_limits<float>::quiet_NaN(), 100);
  EXPECT_EQ(totaliser.sum, 0);
  for (int k = 0; k < 100'000; ++k) fw::totaliser_add(totaliser, std::numeric_limits<float>::infinity(), 1'000'000);
  EXPECT_GT(totaliser.sum, 0);
  EXPECT_TRUE(std::isfinite(fw::totaliser_sl(totaliser)));
}

}  // namespace
