// Gas in the pores of a lining: against published conductivities and mean free paths, and the furnace that stands in it.
#include "plant/pore_gas.h"

#include <array>
#include <cmath>

#include <gtest/gtest.h>

#include "plant/properties.h"
#include "tests/plant/scripted_furnace.h"

namespace {

using plant::Species;

std::array<double, plant::species_count> pure(Species species) {
  std::array<double, plant::species_count> fraction{};
  fraction[static_cast<std::size_t>(species)] = 1.0;
  return fraction;
}

plant::Furnace porous_vessel() {
  plant::Furnace f;
  f.boundary = plant::Boundary::vessel;
  f.lining.pore_m = 100e-6;
  f.lining.porosity = 0.9;
  return f;
}

// Jennings, J. Aerosol Sci. 19 (1988) 159: 65.4 nm at 20 degC and 101325 Pa (from memory). Pr 0.71, gamma 1.4 (textbooks): 2 b = 3.29.
TEST(PoreGas, SlipsByTheFreePathOfAir) {
  const plant::PoreGas air = plant::air_in_pores(1e-6);
  const double ratio = 293.15 / plant::PoreGas::at_k;
  EXPECT_NEAR(air.slip * std::pow(ratio, air.slip_power), 3.29 * 65.4e-9 / 1e-6, 0.04 * 0.215);
}

// The powers against the plant's own tables of the pure gases, which have their published checks elsewhere.
TEST(PoreGas, FollowsEachGasOverTemperature) {
  for (const Species species : {Species::n2, Species::ar, Species::he, Species::h2, Species::co2}) {
    const plant::PoreGas gas = plant::pore_gas(pure(species), 1e9, 1.0);
    for (double t_k = 300.0; t_k <= 1500.0; t_k += 100.0)
      EXPECT_NEAR(gas.conductivity_w_mk(t_k) / plant::conductivity_w_m_k(species, t_k), 1.0, species == Species::co2 ? 0.15 : 0.04)
          << plant::species_name(species) << " " << t_k;
  }
}

// Wei, Liu, Zhang, Du, J. Heat Transfer 134 (2012) 041301, abstract: conduction by gas is as good as gone below about 1e4 Pa in silica
// aerogel and below about 100 Pa in calcium silicate of xonotlite. Pores of 50 nm and of 3 um (textbooks; from memory).
TEST(PoreGas, StopsConductingWhereMeasurementsSayIt) {
  const auto share = [](double pa, double pore_m) {
    const auto air = pure(Species::n2);
    return plant::pore_gas(air, pa, pore_m).conductivity_w_mk(300.0) / plant::pore_gas(air, 1e9, 1.0).conductivity_w_mk(300.0);
  };
  EXPECT_LT(share(1e4, 50e-9), 0.05);
  EXPECT_LT(share(100.0, 3e-6), 0.05);
  EXPECT_GT(share(101325.0, 3e-6), 0.9);
  EXPECT_GT(share(1e4, 3e-6), 0.5);
}

// k of the curve less (or plus) what the gas does. Air 0.0573 and helium 0.304 W/(m K) at 800 K: Incropera and DeWitt, table A.4.
TEST(PoreGas, LiningConductsLessInVacuumAndMoreInHelium) {
  ScriptedFurnace f(porous_vessel());
  const auto conducts = [&] { return plant::lane_conductivity_w_mk(f.model.thermal.chain, f.state().thermal.chain, 0, 800.0); };
  const double curve = plant::conductivity_w_mk(f.model.thermal.chain.material[0], 800.0);
  EXPECT_NEAR(conducts(), curve, 5e-3 * curve);                           // as its maker measured it, but for a hundredth of water
  f.pump();
  f.run(900.0);
  EXPECT_LT(f.state().gas.chamber_pa, 20.0);
  EXPECT_NEAR(conducts(), curve - 0.9 * 0.0573, 0.03 * curve);
  f.stop_pump();
  f.feed(plant::Gas::helium, 5.0);
  f.run(4 * 3600.0);
  EXPECT_GT(f.fraction(Species::he), 0.99);
  EXPECT_NEAR(conducts(), curve + 0.9 * (0.304 - 0.0573), 0.05 * curve);
  const plant::Balance balance = plant::energy_balance(f.model, f.state());
  EXPECT_LT(std::abs(balance.residual), 1e-6 * balance.flowed);
}

// A curve below what free air conducts is no fibre's; still nothing conducts less than nothing.
TEST(PoreGas, LeavesAFiftiethOfTheCurveAtLeast) {
  plant::ChainModel model;
  model.material[0] = {200.0, 0.03, 0.0, 0.0, 800.0, 0.0, 0.0};
  model.porosity = 0.99;
  model.air = plant::air_in_pores(100e-6);
  plant::ChainState state;
  state.pore = plant::pore_gas(pure(Species::n2), 1.0, 100e-6);
  EXPECT_DOUBLE_EQ(plant::lane_conductivity_w_mk(model, state, 0, 600.0), 0.03 / 50.0);
  state.pore = model.air;
  EXPECT_DOUBLE_EQ(plant::lane_conductivity_w_mk(model, state, 0, 600.0), 0.03);
}

// Through a wall in steady state goes what k lets through: the same furnace cools slower empty of gas than full of it.
TEST(PoreGas, EvacuatedVesselKeepsItsHeatLonger) {
  const auto cooled_k = [](double pore_m) {
    plant::Furnace furnace = porous_vessel();
    furnace.lining.pore_m = pore_m;
    furnace.initial.furnace_degc = 600.0;
    furnace.initial.pressure_pa = 10.0;
    ScriptedFurnace f(furnace);
    f.pump();
    f.run(2 * 3600.0);
    return 600.0 - f.degc(plant::node::load_core);
  };
  const double without = cooled_k(0.0), with = cooled_k(100e-6);
  EXPECT_GT(without, 50.0);
  EXPECT_LT(with, 0.85 * without);
}

TEST(PoreGas, IsRefusedInALiningThatStandsInAir) {
  plant::Furnace furnace;
  furnace.lining.pore_m = 100e-6;
  EXPECT_THROW(plant::build(furnace), std::invalid_argument);
}

}  // namespace
