// What hours and heat do to thermocouples, and the fan on the casing: against hand calculation.
#include <cmath>

#include <gtest/gtest.h>

#include "tests/plant/scripted_furnace.h"

namespace {

namespace node = plant::node;

plant::Furnace hot_furnace(double degc) {
  plant::Furnace furnace;
  furnace.initial.furnace_degc = degc;
  return furnace;
}

double junction_degc(ScriptedFurnace& f) { return f.state().thermal.t_k[node::load_junction] - 273.15; }

// The error goes with the stretch of wire between hot and cold: all of it at the temperature it is given for, none where nothing is hot.
TEST(ThermocoupleDrift, GoesWithHotLessCold) {
  plant::Furnace furnace = hot_furnace(800.0);
  furnace.thermocouples.load_age = {-12.0, 0.0, 1000.0, 60.0};
  ScriptedFurnace f(furnace);
  const double hot = junction_degc(f), cold = f.state().process.cold_junction_degc;
  EXPECT_NEAR(f.state().process.load_junction_degc - hot, -12.0 * (hot - cold) / 980.0, 1e-9);
  EXPECT_DOUBLE_EQ(f.state().process.load2_junction_degc, f.degc(node::load2_junction));          // a wire of its own
  furnace.initial.furnace_degc = 20.0;
  ScriptedFurnace still(furnace);
  EXPECT_NEAR(still.state().process.load_junction_degc, junction_degc(still), 1e-9);
}

// d(drift)/dt = growth per 1000 h, doubled for each doubling_k above at_degc: summed here by the trapezium rule over the minutes of a run.
TEST(ThermocoupleDrift, GrowsWithHoursAndDoublesWithHeat) {
  plant::Furnace furnace = hot_furnace(900.0);
  furnace.thermocouples.heater_age = {1.0, 2000.0, 850.0, 40.0};
  ScriptedFurnace f(furnace);
  const auto rate = [&] { return 2000.0 / 3.6e6 * std::pow(2.0, (f.degc(node::zone_junction) - 850.0) / 40.0); };
  double expected_k = 1.0, before = rate();
  for (int minute = 0; minute < 60; ++minute) {
    f.run(60.0);
    const double now = rate();
    expected_k += 0.5 * 60.0 * (before + now);
    before = now;
  }
  EXPECT_GT(expected_k, 1.5);
  EXPECT_NEAR(f.state().drift_k[0], expected_k, 0.01 * expected_k);
  EXPECT_EQ(f.state().drift_k[4], 0.0);
}

// At the temperature given the sheath conducts like the wires, half and half with a junction halfway to the cold end: a quarter of the
// way is lost. 250 K colder the share is 1 / (1 + e^5) of that.
TEST(Insulation, LostReadsLowTheMoreTheHotter) {
  ScriptedFurnace f(hot_furnace(700.0));
  f.run(1.0);
  const double hot = junction_degc(f), cold = f.state().process.cold_junction_degc;
  f.disturbances.any_insulation = true;
  f.disturbances.insulation_degc[4] = hot;
  f.run(0.1);
  EXPECT_NEAR(f.state().process.load_junction_degc, hot - 0.25 * (hot - cold), 0.1);
  f.disturbances.insulation_degc[4] = hot + 250.0;
  f.run(0.1);
  EXPECT_NEAR(junction_degc(f) - f.state().process.load_junction_degc, 0.5 * (hot - cold) / (1.0 + std::exp(5.0)), 0.02);
  f.disturbances = {};
  f.run(0.1);
  EXPECT_DOUBLE_EQ(f.state().process.load_junction_degc, f.degc(node::load_junction));
}

// Loss = area (h dT + e sigma (T^4 - T0^4)), h^3 = (1.6 dT^(1/4))^3 + 15^3 (Churchill 1977); 5.670374419e-8: CODATA 2018.
TEST(CoolingFan, TakesHeatFromTheCasingByFreeAndForcedConvection) {
  plant::Furnace furnace = hot_furnace(600.0);
  furnace.casing.fan_w_m2k = 15.0;
  furnace.casing.fan_degc = 45.0;
  ScriptedFurnace f(furnace);
  f.run(600.0);
  ASSERT_EQ(f.state().thermal.fan_on, 1.0);
  const double from_j = f.state().thermal.casing_loss_j, casing_k = f.state().thermal.casing_k;
  f.run(10.0);
  const double mean_k = 0.5 * (casing_k + f.state().thermal.casing_k), rise = mean_k - 293.15;
  const double h = std::cbrt(std::pow(1.6 * std::pow(rise, 0.25), 3.0) + std::pow(15.0, 3.0));
  const double watts = f.model.thermal.casing_m2 * (h * rise + 0.85 * 5.670374419e-8 * (std::pow(mean_k, 4.0) - std::pow(293.15, 4.0)));
  EXPECT_NEAR((f.state().thermal.casing_loss_j - from_j) / 10.0, watts, 0.01 * watts);
}

TEST(CoolingFan, StartsAboveItsTemperatureAndStopsFiveKelvinBelow) {
  plant::Furnace furnace = hot_furnace(500.0);
  furnace.casing.mass_kg = 3.0;
  furnace.casing.fan_w_m2k = 60.0;
  furnace.casing.fan_degc = 40.0;
  ScriptedFurnace f(furnace);
  f.run(1.0);
  bool on = f.state().thermal.fan_on > 0.0;
  int turns = 0;
  double older_degc = 0.0, before_degc = f.state().thermal.casing_k - 273.15;
  for (int second = 0; second < 4 * 3600; ++second) {
    f.run(1.0);
    const bool runs = f.state().thermal.fan_on > 0.0;
    if (runs != on) {
      ++turns;
      EXPECT_TRUE(runs ? before_degc > 40.0 && older_degc <= 40.0 : before_degc <= 35.0 && older_degc > 35.0)
          << runs << ": " << older_degc << " then " << before_degc;
    }
    on = runs;
    older_degc = before_degc;
    before_degc = f.state().thermal.casing_k - 273.15;
  }
  EXPECT_GE(turns, 2);
}

}  // namespace
