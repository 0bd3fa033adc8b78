// Faults of the gas system that no single reading shows.
#include "firmware/gas_watch.h"

#include <gtest/gtest.h>

#include <cmath>

namespace {

fw::Parameters watched() {
  fw::Parameters p = fw::default_parameters();
  p.stick_tolerance = 0.05f;
  p.swing_limit_pa = 100.0f;
  p.pressure_integral_s = 25.0f;
  p.flow_implausible = 0.3f;
  p.chamber_volume_l = 14.0f;
  return p;
}

TEST(StickWatch, TellsAValveThatStandsOffItsCommandForTenSeconds) {
  const fw::Parameters p = watched();
  fw::StickWatch watch;
  fw::Inputs inputs;
  inputs.valve_known = true;
  inputs.valve_frac = 0.50f;
  for (int tick = 1; tick < 100; ++tick) EXPECT_FALSE(fw::valve_sticks(watch, p, inputs, 0.56f)) << tick;
  EXPECT_TRUE(fw::valve_sticks(watch, p, inputs, 0.56f));
  EXPECT_FALSE(fw::valve_sticks(watch, p, inputs, 0.54f)) << "within the tolerance";
  inputs.valve_known = false;
  for (int tick = 0; tick < 200; ++tick) EXPECT_FALSE(fw::valve_sticks(watch, p, inputs, 1.0f)) << "no position, no word";
}

// A sine of amplitude A and period P has the integral 2 A / w = A P / pi in half a period: counted iff A P > limit * Ti.
struct Sine {
  double amplitude_pa, period_s;
};
int half_swings_until_told(Sine sine, double for_s) {
  const fw::Parameters p = watched();
  fw::SwingWatch watch;
  int halves = 0;
  bool above = false;
  for (int tick = 0; tick < for_s * 10.0; ++tick) {
    const double error = sine.amplitude_pa * std::sin(2.0 * 3.141592653589793 * (0.1 * tick + 0.03) / sine.period_s);
    if ((error > 0.0) != above) ++halves;
    above = error > 0.0;
    if (fw::pressure_swings(watch, p, true, 4000.0f, static_cast<float>(4000.0 + error))) return halves;
  }
  return -1;
}

TEST(SwingWatch, TellsTenLargeHalfSwingsInSuccession) {
  EXPECT_GT(half_swings_until_told({110.0, 25.0}, 600.0), 10);
  EXPECT_LE(half_swings_until_told({110.0, 25.0}, 600.0), 12);
  EXPECT_EQ(half_swings_until_told({90.0, 25.0}, 3600.0), -1) << "below the amplitude at the integral time's period";
  EXPECT_GT(half_swings_until_told({55.0, 51.0}, 3600.0), 0) << "a slow one of half the amplitude has the same integral";
  EXPECT_EQ(half_swings_until_told({4000.0, 0.5}, 3600.0), -1) << "noise";
}

TEST(SwingWatch, BeginsAnewWhenTheLoopIsNotInCharge) {
  const fw::Parameters p = watched();
  fw::SwingWatch watch;
  for (int tick = 0; tick < 36000; ++tick) {
    const float error = (tick / 150) % 2 == 0 ? 200.0f : -200.0f;
    EXPECT_FALSE(fw::pressure_swings(watch, p, tick % 1000 != 0, 4000.0f, 4000.0f + error)) << "ten halves take 150 s";
  }
}

// Shut but for 5 slm of process gas: 3 kPa in 14 L are 14 * 3000 / 101325 * 273.15 / T standard litres, 0.386 at 20 degC.
struct Fill {
  fw::Parameters parameters = watched();
  fw::FillWatch watch;
  fw::Inputs inputs;
  Fill() {
    inputs.fresh = true;
    inputs.discrete = fw::discrete::door_closed | fw::discrete::process_open;
    inputs.hottest_degc = inputs.load_degc = 20.0f;
    inputs.chamber_pa = -4500.0f;
  }
  // metered_share: what the meter says over what flows.
  bool told(double metered_share, double gas_degc) {
    const double rise_pa_s = 5.0 / 60.0 / 14.0 * 101325.0 * (gas_degc + 273.15) / 273.15;
    for (int tick = 0; tick < 200 && inputs.chamber_pa < 400.0f; ++tick) {
      inputs.chamber_pa += static_cast<float>(0.1 * rise_pa_s);
      inputs.flow_slm = static_cast<float>(5.0 * metered_share);
      static_cast<void>(fw::flow_implausible(watch, parameters, inputs, true));
    }
    return watch.implausible;
  }
};

TEST(FillWatch, BelievesAFlowThatMakesThePressureItShould) {
  EXPECT_FALSE(Fill().told(1.0, 20.0));
  Fill hot;
  hot.inputs.hottest_degc = 700.0f;
  EXPECT_FALSE(hot.told(1.0, 600.0));
  EXPECT_FALSE(hot.told(1.0, 25.0)) << "the gas may still be cold";
}

TEST(FillWatch, TellsAMeterThatIsWrongEitherWay) {
  EXPECT_TRUE(Fill().told(1.5, 20.0));
  EXPECT_TRUE(Fill().told(0.6, 20.0));
  EXPECT_TRUE(Fill().told(0.0, 20.0)) << "pressure without flow";
  Fill blocked;
  blocked.inputs.flow_slm = 5.0f;
  for (int tick = 0; tick < 300; ++tick) static_cast<void>(fw::flow_implausible(blocked.watch, blocked.parameters, blocked.inputs, true));
  EXPECT_TRUE(blocked.watch.implausible) << "flow without pressure";
}

TEST(FillWatch, SaysNothingWithAnotherPathOpenAndTakesItBackWhenItAgreesAgain) {
  Fill open;
  open.inputs.discrete |= fw::discrete::exhaust_open;
  EXPECT_FALSE(open.told(3.0, 20.0));
  Fill fill;
  EXPECT_TRUE(fill.told(1.5, 20.0));
  fill.inputs.chamber_pa = -4500.0f;
  EXPECT_FALSE(fill.told(1.0, 20.0));
}

}  // namespace
