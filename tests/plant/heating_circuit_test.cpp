#include "plant/heating_circuit.h"

#include <cmath>

#include <gtest/gtest.h>

#include "scripted_furnace.h"

namespace {

using plant::ElementMaterial;
using plant::PanelValues;

constexpr double zero_degc_k = 273.15;
PanelValues all_at(double degc) { return {degc + zero_degc_k, degc + zero_degc_k, degc + zero_degc_k, degc + zero_degc_k}; }

plant::Furnace furnace_of(ElementMaterial material, double rated_degc) {
  plant::Furnace f;                                // four panels of 750 W in one zone, 230 V
  f.electric.element.material = material;
  f.electric.element.rated_degc = rated_degc;
  return f;
}

plant::FullPower full_power(const plant::Furnace& f, double degc, double mains_v = 230.0, const plant::Disturbances& d = {}) {
  const plant::CircuitModel m = plant::build_circuits(f);
  return plant::find_full_power(m, plant::start_circuits(m), all_at(degc), mains_v, d);
}

double sum(const PanelValues& w) { return w[0] + w[1] + w[2] + w[3]; }

TEST(HeatingCircuit, of_constant_elements_at_the_mains_is_plain) {
  EXPECT_TRUE(plant::build_circuits(plant::Furnace{}).plain);
  EXPECT_FALSE(plant::build_circuits(furnace_of(ElementMaterial::fecral, 20.0)).plain);
}

// The circuit and the product that a plain furnace has are the same physics.
TEST(HeatingCircuit, of_constant_elements_gives_the_plain_power) {
  plant::Furnace f;
  plant::Furnace circuit = f;
  circuit.electric.power_switch.firing = plant::Firing::phase_angle;      // at 0.5: half the power, exactly
  ScriptedFurnace plain(f), built(circuit);
  for (ScriptedFurnace* one : {&plain, &built}) {
    one->commands.contactor = true;
    one->commands.demand[0] = 0.5;
    one->disturbances.mains_scale = 0.93;
    one->run(60.0);
  }
  EXPECT_NEAR(built.truth("plant.power"), plain.truth("plant.power"), 1e-8);
  EXPECT_NEAR(built.truth("plant.current.1"), plain.truth("plant.current.1"), 1e-10);
  EXPECT_NEAR(built.truth("plant.heater.1"), plain.truth("plant.heater.1"), 1e-8);
}

// Joule: the power rated stands at the rated voltage and temperature; at another it goes with V^2 and inversely with R.
TEST(HeatingCircuit, power_is_the_square_of_the_voltage_over_the_resistance) {
  const plant::Furnace f = furnace_of(ElementMaterial::molybdenum_disilicide, 1600.0);
  EXPECT_NEAR(sum(full_power(f, 1600.0).panel_w), 3000.0, 1e-9);
  EXPECT_NEAR(full_power(f, 1600.0).current_a[0], 3000.0 / 230.0, 1e-9);
  EXPECT_NEAR(sum(full_power(f, 1600.0, 207.0).panel_w), 3000.0 * 0.81, 1e-9);
  // the table's rows: 11.6667 at 1600 degC, 1 at 20 degC, 7 at 1000 degC
  EXPECT_NEAR(sum(full_power(f, 20.0).panel_w), 3000.0 * 11.6667, 1e-6);
  EXPECT_NEAR(sum(full_power(f, 1000.0).panel_w), 3000.0 * 11.6667 / 7.0, 1e-6);
  // an alloy of chromium and aluminium hardly changes, and takes less when hot
  const plant::Furnace alloy = furnace_of(ElementMaterial::fecral, 20.0);
  EXPECT_NEAR(sum(full_power(alloy, 1200.0).panel_w), 3000.0 / 1.047, 1e-9);
}

// Silicon carbide at four times its first resistance has a quarter of the power at the same voltage.
TEST(HeatingCircuit, aged_elements_take_less) {
  plant::Furnace f = furnace_of(ElementMaterial::silicon_carbide, 1000.0);
  f.electric.element.ageing = 0.3;
  f.electric.element.hours = 10'000.0;
  EXPECT_NEAR(sum(full_power(f, 1000.0).panel_w), 750.0, 1e-9);
  f.electric.zone[0].hours = 0.0;                  // renewed
  EXPECT_NEAR(sum(full_power(f, 1000.0).panel_w), 3000.0, 1e-9);
}

TEST(HeatingCircuit, hours_count_under_current_only) {
  plant::Furnace f = furnace_of(ElementMaterial::silicon_carbide, 20.0);
  f.electric.element.ageing = 10.0;
  ScriptedFurnace stand(f);
  stand.run(360.0);
  EXPECT_EQ(stand.state().actuators.circuits.hours[0], 0.0);
  stand.commands.contactor = true;
  stand.commands.demand[0] = 0.01;
  stand.run(360.0);
  EXPECT_NEAR(stand.state().actuators.circuits.hours[0], 0.1, 1e-9);
}

// 230 V over 4 x 750 W: 17.633 ohm of elements. With 1 ohm before them, by Ohm: 12.344 A, and 2686.8 W in the elements.
TEST(HeatingCircuit, series_resistance_takes_its_share) {
  plant::Furnace f;
  f.electric.element.series_ohm = 1.0;
  const double ohm = 230.0 * 230.0 / 3000.0, ampere = 230.0 / (1.0 + ohm);
  const plant::FullPower power = full_power(f, 20.0);
  EXPECT_NEAR(power.current_a[0], ampere, 1e-12);
  EXPECT_NEAR(sum(power.panel_w), ampere * ampere * ohm, 1e-9);
}

TEST(HeatingCircuit, behind_a_transformer_has_its_power_at_a_higher_current) {
  plant::Furnace f = furnace_of(ElementMaterial::molybdenum_disilicide, 1600.0);
  f.electric.element.supply_v = 46.0;
  EXPECT_NEAR(sum(full_power(f, 1600.0).panel_w), 3000.0, 1e-9);
  EXPECT_NEAR(full_power(f, 1600.0).current_a[0], 3000.0 / 46.0, 1e-9);
  EXPECT_NEAR(sum(full_power(f, 1600.0, 115.0).panel_w), 750.0, 1e-9) << "half the mains, half behind it";
}

// In series one current runs through all: the hotter a panel of silicide, the larger its part, and one broken panel stops the zone.
TEST(HeatingCircuit, panels_in_series_share_one_current) {
  plant::Furnace f = furnace_of(ElementMaterial::molybdenum_disilicide, 1600.0);
  f.electric.element.wiring = plant::Wiring::series;
  EXPECT_NEAR(sum(full_power(f, 1600.0).panel_w), 3000.0, 1e-9);
  const plant::CircuitModel m = plant::build_circuits(f);
  PanelValues uneven = all_at(1600.0);
  uneven[2] = 1000.0 + zero_degc_k;
  const plant::FullPower power = plant::find_full_power(m, plant::start_circuits(m), uneven, 230.0, {});
  EXPECT_NEAR(power.panel_w[2] / power.panel_w[0], 7.0 / 11.6667, 1e-9);
  EXPECT_NEAR(sum(power.panel_w), 230.0 * power.current_a[0], 1e-9);
  plant::Disturbances broken;
  broken.element_broken[0] = true;
  EXPECT_EQ(sum(full_power(f, 1600.0, 230.0, broken).panel_w), 0.0);
  f.electric.element.wiring = plant::Wiring::parallel;
  EXPECT_NEAR(sum(full_power(f, 1600.0, 230.0, broken).panel_w), 2250.0, 1e-9);
}

TEST(HeatingCircuit, a_molten_element_stays_open) {
  plant::Furnace f = furnace_of(ElementMaterial::fecral, 20.0);
  for (const bool melts : {false, true}) {
    f.electric.element.melts = melts;
    const plant::CircuitModel m = plant::build_circuits(f);
    plant::CircuitState s = plant::start_circuits(m);
    plant::Commands c;
    c.demand[0] = 1.0;
    PanelValues hot = all_at(1300.0);
    const auto power = [&] { return sum(plant::step_circuits(m, s, hot, 230.0, c, {}, true, 0.1).panel_w); };
    const double whole = power();
    hot[1] = 1501.0 + zero_degc_k;                 // published: melts at some 1500 degC
    EXPECT_EQ(power() < 0.8 * whole, melts);
    hot[1] = 1000.0 + zero_degc_k;
    EXPECT_EQ(power() < 0.8 * whole, melts);
    EXPECT_EQ(plant::open_circuits(m, s), melts ? 1 : 0);
  }
}

// 20 A through a fuse of 10 A with 600 A2 s: 300 A2 above its rated current, so 2 s.
TEST(HeatingCircuit, fuse_melts_at_its_integral) {
  plant::Furnace f;
  f.heaters.panel[0].power_w = f.heaters.panel[1].power_w = f.heaters.panel[2].power_w = f.heaters.panel[3].power_w = 1150.0;
  f.electric.element.fuse_a = 10.0;
  f.electric.element.fuse_a2s = 600.0;
  ScriptedFurnace stand(f);
  stand.commands.contactor = true;
  stand.commands.demand[0] = 0.25;
  stand.run(600.0);
  EXPECT_NEAR(stand.truth("plant.current.1"), 10.0, 1e-9);
  EXPECT_EQ(stand.truth("plant.open_circuits"), 0.0) << "its rated current it bears for ever";
  stand.commands.demand[0] = 1.0;
  stand.run(1.9);
  EXPECT_NEAR(stand.truth("plant.current.1"), 20.0, 1e-9);
  stand.run(0.4);
  EXPECT_EQ(stand.truth("plant.current.1"), 0.0);
  EXPECT_EQ(stand.truth("plant.open_circuits"), 4.0);
}

TEST(HeatingCircuit, rms_current_goes_with_the_root_of_the_power_in_every_kind_of_firing) {
  for (const auto firing : {plant::Firing::averaged, plant::Firing::burst, plant::Firing::phase_angle}) {
    plant::Furnace f = furnace_of(ElementMaterial::molybdenum_disilicide, 1600.0);
    f.electric.power_switch.firing = firing;
    const plant::CircuitModel m = plant::build_circuits(f);
    plant::CircuitState s = plant::start_circuits(m);
    plant::Commands c;
    for (c.demand[0] = 0.05; c.demand[0] < 1.0; c.demand[0] += 0.05) {
      const double ohm = 230.0 * 230.0 / 3000.0;
      const plant::FullPower power = plant::step_circuits(m, s, all_at(1600.0), 230.0, c, {}, true, 0.1);
      EXPECT_NEAR(power.current_a[0] * power.current_a[0] * ohm, sum(power.panel_w), 1e-6);
    }
  }
}

// Every joule that the elements turn to heat is counted, whatever the circuit: the balance closes as in a plain furnace.
TEST(HeatingCircuit, energy_balance_closes) {
  plant::Furnace f = furnace_of(ElementMaterial::molybdenum_disilicide, 1200.0);
  f.electric.element.series_ohm = 0.5;
  f.electric.element.wiring = plant::Wiring::series;
  f.electric.power_switch.firing = plant::Firing::burst;
  f.electric.power_switch.least_on_s = 0.1;
  ScriptedFurnace stand(f);
  stand.commands.contactor = true;
  for (int k = 0; k < 36'000; ++k) {
    stand.commands.demand[0] = 0.2 + 0.15 * std::sin(k * 0.003);
    stand.tick();
  }
  ASSERT_GT(stand.truth("plant.heater.1"), 400.0);
  const plant::Balance balance = plant::energy_balance(stand.model, stand.state());
  EXPECT_LT(std::abs(balance.residual), 1e-7 * balance.flowed);
}

}  // namespace
