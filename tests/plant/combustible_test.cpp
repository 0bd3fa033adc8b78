// Hydrogen in the plant: blend, burn-off flame, what the oxygen cell makes of it, balances.
#include <gtest/gtest.h>

#include <cmath>

#include "plant/properties.h"
#include "tests/plant/scripted_furnace.h"

namespace plant {
namespace {

// Hydrogen through meter 1 and nitrogen through meter 2, of full scale in nitrogen.
void blend(ScriptedFurnace& f, double hydrogen_slm, double nitrogen_slm) {
  f.commands.gas = 5;
  f.commands.process_open = true;
  f.commands.meter_set = {hydrogen_slm / (5.0 * 1.01), nitrogen_slm / 5.0};
  f.commands.purge_open = false;
  f.commands.exhaust_open = true;
  f.commands.valve_frac = 1.0;
}

TEST(PlantHydrogen, TwoMetersBlendItAsTheirFlowsSay) {
  ScriptedFurnace f;
  blend(f, 0.25, 4.75);
  f.run(3600.0);   // 20 volume changes
  EXPECT_NEAR(f.fraction(Species::h2), 0.05, 0.0005);
  EXPECT_NEAR(f.truth("plant.gas.h2"), 50000.0, 500.0);
  EXPECT_NEAR(f.truth("plant.flow.in"), 5.0, 0.01);
}

// Nothing is lost or made but by rounding.
void expect_closed(ScriptedFurnace& f) {
  for (int i = 0; i < gas_species; ++i) {
    const Balance b = species_balance(f.model, f.state(), i);
    EXPECT_LE(std::abs(b.residual), 1e-11 * b.flowed) << species_name(static_cast<Species>(i));
  }
  const Balance energy = energy_balance(f.model, f.state());
  EXPECT_LE(std::abs(energy.residual), 1e-6 * energy.flowed);
}

TEST(PlantHydrogen, EverySpeciesAndTheEnergyCloseWithALeakingValveToo) {
  ScriptedFurnace f;
  f.commands.contactor = true;
  f.commands.demand[0] = 0.5;
  blend(f, 2.0, 2.0);
  f.run(1800.0);
  f.commands.process_open = false;
  f.disturbances.combustible_leak_mol_s = 0.5 * slm_mol_s;
  f.run(600.0);
  EXPECT_NEAR(f.truth("plant.flow.in"), 0.5, 1e-6);
  EXPECT_NEAR(f.state().process.meter_slm[0], 0.5, 1e-6) << "its meter sees it";
  f.disturbances.door_open = true;
  f.run(300.0);
  expect_closed(f);
}

// A mixture with methane from the argon's cylinder, a stagnant zone, water that comes back, oxide, dryer, room air:
// nothing is lost or made.
TEST(PlantMethane, EverySpeciesAndTheEnergyCloseWithAllThatActsOnTheGas) {
  Furnace furnace;
  furnace.supply.carries[3] = "90 N2 6 CH4 3 CO 1 CO2";
  furnace.mixing = {0.2, 2e-5};
  furnace.outgassing.uptake_per_pa_s = 1e-6;
  furnace.dryer = {1e-6, 300.0};
  furnace.oxidation = {10.0, 150e3, 450e3};
  furnace.pump.back_m2 = 1e-7;
  ScriptedFurnace f(furnace);
  f.commands.contactor = true;
  f.commands.demand[0] = 0.5;
  f.commands.purge_open = false;
  f.feed(Gas::argon, 3.0);
  f.run(1800.0);
  f.disturbances.door_open = true;
  f.run(60.0);
  f.disturbances.door_open = false;
  f.pump();
  f.run(300.0);
  EXPECT_GT(f.state().gas.received_mol[static_cast<std::size_t>(Species::ch4)], 0.2);
  EXPECT_GT(f.truth("plant.load.oxygen_uptake"), 0.01);
  expect_closed(f);
}

// CH4 + 2 O2 and CO + 1/2 O2 at the hot electrode: 5 % less 2 times 1 % and half of 2 %.
TEST(PlantMethane, BurnsAtTheOxygenCell) {
  Furnace furnace;
  furnace.supply.carries[3] = "92 N2 5 O2 1 CH4 2 CO";
  ScriptedFurnace f(furnace);
  f.commands.purge_open = false;
  f.feed(Gas::argon, 4.0);
  f.commands.valve_frac = 1.0;
  f.run(7200.0);   // 30 volume changes
  EXPECT_NEAR(f.fraction(Species::ch4), 0.01, 1e-5);
  EXPECT_NEAR(f.state().process.oxygen_ppm, 20000.0, 20.0);
}

TEST(BurnOff, IsProvenThreeSecondsAfterItsPilotAndLostHalfASecondAfterTheFlame) {
  ScriptedFurnace f;
  f.run(10.0);
  EXPECT_FALSE(f.state().process.burn_off_proven);
  f.commands.pilot = true;
  EXPECT_NEAR(f.run_until(10.0, [&] { return f.state().process.burn_off_proven; }), 3.0, 0.11);
  f.disturbances.burn_off_out = true;
  EXPECT_NEAR(f.run_until(10.0, [&] { return !f.state().process.burn_off_proven; }), 0.5, 0.11);
  f.run(10.0);
  EXPECT_FALSE(f.state().process.burn_off_proven);
  f.disturbances.burn_off_out = false;
  EXPECT_NEAR(f.run_until(10.0, [&] { return f.state().process.burn_off_proven; }), 3.0, 0.11);
}

// Beside hydrogen the cell reads what water vapour gives off: pO2 = (pH2O / pH2)^2 exp(2 dG / RT). Free energies of formation of
// water vapour: -203.5, -192.6 and -181.4 kJ/mol at 800, 1000 and 1200 K (JANAF tables, from memory). Half of each: ratio 1.
TEST(OxygenCellInHydrogen, ReadsTheEquilibriumOfWaterVapour) {
  const struct { double t_k, formation_j; } tables[] = {{800.0, -203.5e3}, {1000.0, -192.6e3}, {1200.0, -181.4e3}};
  for (const auto& row : tables) {
    ScriptedFurnace f;
    f.run(0.1);
    State& s = f.state();
    s.gas.oxygen_fraction = 0.0;
    s.gas.hydrogen_fraction = s.gas.water_fraction = 0.1;
    s.oxygen_cell_k = row.t_k;
    f.model.furnace.instruments.oxygen_cell_set_degc = row.t_k - 273.15;
    f.commands.exhaust_open = f.commands.purge_open = false;   // no flow: the sample stays
    f.tick();
    const double expected_log = 2.0 * row.formation_j / (gas_constant_j_mol_k * row.t_k);
    EXPECT_NEAR(std::log(s.process.oxygen_ppm * 1e-6), expected_log, 0.005 * std::abs(expected_log)) << row.t_k;
  }
}

TEST(OxygenCellInHydrogen, BurnsAirBesideItAndReadsWhatIsLeft) {
  ScriptedFurnace f;
  State& s = f.state();
  f.commands.exhaust_open = f.commands.purge_open = false;
  s.gas.oxygen_fraction = 0.10;
  s.gas.hydrogen_fraction = 0.04;
  s.gas.water_fraction = 0.0;
  s.oxygen_cell_k = 973.15;
  f.tick();
  EXPECT_NEAR(s.process.oxygen_ppm, 80000.0, 1.0) << "0.10 - 0.04 / 2";
}

// 5 % of hydrogen in nitrogen, mixed in the bottle: conversion 1 / (0.05 / 1.01 + 0.95) = 1.0005.
TEST(PlantHydrogen, ComesMixedFromOneBottleToo) {
  Furnace furnace;
  furnace.supply.hydrogen_nitrogen = 0.95;
  ScriptedFurnace f(furnace);
  EXPECT_NEAR(f.model.gas.supplied[5].conversion, 1.0005, 1e-4);
  blend(f, 0.0, 0.0);
  f.commands.meter_set = {0.5, 0.0};
  f.run(5400.0);   // 16 volume changes at 2.5 slm
  EXPECT_NEAR(f.fraction(Species::h2), 0.05, 0.0005);
}

// Full scale is 5 slm, and 1.6 times as much passes wide open against the barometer: half open half of it.
TEST(DirectMeter, PassesAsItsValveStands) {
  Furnace furnace;
  furnace.meter.direct = true;
  ScriptedFurnace f(furnace);
  blend(f, 0.0, 0.0);
  f.commands.gas = 2;
  f.commands.meter_set = {0.5, 0.0};
  f.commands.bypass_open = true;
  f.run(60.0);
  EXPECT_NEAR(f.truth("plant.flow.in"), 4.0, 0.1);
  f.commands.meter_set = {0.0, 0.0};
  f.run(10.0);
  EXPECT_NEAR(f.truth("plant.flow.in"), 0.0, 1e-3);
}

TEST(StickingValve, StaysWithinItsBandAndThenJumps) {
  ScriptedFurnace f;
  f.commands.valve_frac = 0.5;
  f.run(10.0);
  f.disturbances.back_pressure_stick = 0.1;
  f.commands.valve_frac = 0.59;
  f.run(10.0);
  EXPECT_NEAR(f.state().actuators.valve_frac, 0.5, 1e-3);
  f.commands.valve_frac = 0.61;
  f.tick();
  EXPECT_EQ(f.state().actuators.valve_frac, 0.61);
}

}  // namespace
}  // namespace plant
