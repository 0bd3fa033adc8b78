// What each disturbance of gas, actuators and sensors does, against hand calculation.
#include <cmath>

#include <gtest/gtest.h>

#include "plant/properties.h"
#include "tests/plant/scripted_furnace.h"

namespace {

using plant::Gas;
using plant::gas_constant_j_mol_k;
using plant::slm_mol_s;
using plant::Species;
namespace node = plant::node;

double flow_slm(ScriptedFurnace& f, std::size_t meter = 0) { return f.state().gas.meter_mol_s[meter] / slm_mol_s; }

// dn/dt = Q / (R 293.15 K), of a leak that is counted in air at 20 degC at 101325 Pa of difference; p = n R / (V / T + V_pore / T_pore).
TEST(Disturbance, LeakRaisesTheIsolatedPressureByItsFlow) {
  ScriptedFurnace sound, leaks;
  for (ScriptedFurnace* f : {&sound, &leaks}) {
    f->pump();
    f->run(300.0);
    f->stop_pump();
    f->run(10.0);
  }
  leaks.disturbances.leak_pa_m3_s = 1e-2;
  const double before = leaks.gauge_pa() - sound.gauge_pa();
  for (ScriptedFurnace* f : {&sound, &leaks}) f->run(60.0);
  const double gas_k = leaks.state().gas.gas_k;
  const double share = (leaks.model.gas.barometer_pa - leaks.state().gas.chamber_pa) / 101325.0;
  const double expected = 60.0 * 1e-2 * share / 293.15 / (12e-3 / gas_k + 2e-3 / 313.15);
  EXPECT_NEAR(leaks.gauge_pa() - sound.gauge_pa() - before, expected, 0.01 * expected);
}

// 20 volume changes of a well-mixed retort leave e^-20 of what was in it: then it holds what the supply carries. Saturation over ice at
// -20 degC is 103.26 Pa (WMO), that is 1019 ppm of 101325 Pa.
TEST(Disturbance, SpoiltSupplyFillsTheRetortWithWhatItCarries) {
  ScriptedFurnace sound, spoilt;
  spoilt.disturbances.supply_oxygen = 250e-6;
  spoilt.disturbances.supply_water = plant::saturation_pa(-20.0) / 101325.0;
  for (ScriptedFurnace* f : {&sound, &spoilt}) {
    f->feed(Gas::argon, 5.0);
    f->run(3600.0);
  }
  EXPECT_NEAR(spoilt.truth("plant.gas.o2") - sound.truth("plant.gas.o2"), 250.0, 2.5);
  EXPECT_NEAR(spoilt.truth("plant.gas.h2o") - sound.truth("plant.gas.h2o"), 1019.0, 20.0);
  const plant::Balance balance = plant::species_balance(spoilt.model, spoilt.state(), static_cast<int>(Species::o2));
  EXPECT_LT(std::abs(balance.residual), 1e-9 * balance.flowed);
}

TEST(Disturbance, RegulatorStandsOffAndDroopsWithTheFlow) {
  ScriptedFurnace f;
  f.disturbances.regulator_pa = -15e3;
  f.run(60.0);
  EXPECT_NEAR(f.truth("plant.supply"), 25e3, 1.0);
  f.disturbances.regulator_pa = -90e3;
  f.run(60.0);
  EXPECT_NEAR(f.truth("plant.supply"), 0.0, 1.0);
  f.disturbances.regulator_pa = 0.0;
  f.disturbances.droop_pa_slm = 4e3;
  f.commands.purge_open = false;
  f.feed(Gas::nitrogen, 2.0);
  f.run(60.0);
  EXPECT_NEAR(f.truth("plant.supply"), 40e3 - 4e3 * 2.0, 20.0);
}

TEST(Disturbance, ElementOfAnotherResistanceDrawsByItsConductance) {
  ScriptedFurnace f;
  f.commands.contactor = true;
  f.commands.demand[0] = 1.0;
  f.disturbances.element_conductance[0] = 1.0 / 1.25;
  f.run(1.0);
  EXPECT_NEAR(f.truth("plant.power"), 2400.0, 1e-6);
  EXPECT_NEAR(f.state().process.current_a[0], 2400.0 / 230.0, 1e-9);
}

TEST(Disturbance, ReliefStaysShutOrOpensEarly) {
  ScriptedFurnace sound, stuck, early;
  stuck.disturbances.relief_stuck_shut = true;
  early.disturbances.relief_scale = 0.3;
  for (ScriptedFurnace* f : {&sound, &stuck, &early}) {
    f->disturbances.exhaust_blocked = true;
    f->run(600.0);
  }
  // set 15 kPa, full lift 1.5 kPa above; 0.3 of it 4.5 kPa; without one the purge fills to its supply's 40 kPa
  EXPECT_GT(sound.gauge_pa(), 15e3);
  EXPECT_LT(sound.gauge_pa(), 16.5e3);
  EXPECT_GT(early.gauge_pa(), 4.5e3);
  EXPECT_LT(early.gauge_pa(), 6.0e3);
  EXPECT_GT(stuck.gauge_pa(), 30e3);
  EXPECT_EQ(stuck.truth("plant.flow.relief"), 0.0);
}

// Choked flow of air through 0.1 mm2 from 100.8 kPa at 20 degC: A p sqrt(g / (R T)) (2 / (g + 1))^3 = 2.379e-5 kg/s = 1.105 slm.
TEST(Disturbance, LeakingCheckValveLetsChokedAirBack) {
  ScriptedFurnace f;
  f.pump();
  f.run(300.0);
  f.stop_pump();
  f.commands.exhaust_open = f.commands.bypass_open = true;
  f.run(1.0);
  EXPECT_NEAR(f.truth("plant.flow.air"), 0.0, 1e-9);
  f.disturbances.check_leak_m2 = 0.1e-6;
  f.run(1.0);
  EXPECT_NEAR(f.truth("plant.flow.air"), 1.105, 0.011);
}

// 0.5 slm of nitrogen are 3.718e-4 mol/s; through 0.05 of 4 mm2 at 41.9 mol/m3 and 1.17 kg/m3 that takes 44.4 m/s, so 1.15 kPa,
// above the check valve's 0.3 kPa (Bernoulli; compressibility 1 %).
TEST(Disturbance, WornBackPressureValvePassesWhenShut) {
  ScriptedFurnace f;
  f.shut();
  f.commands.exhaust_open = true;
  f.commands.valve_frac = 0.0;
  f.disturbances.back_pressure_leak = 0.05;
  f.feed(Gas::nitrogen, 0.5);
  f.run(900.0);
  EXPECT_NEAR(f.gauge_pa(), 1450.0, 45.0);
  EXPECT_NEAR(f.truth("plant.flow.exhaust"), 0.5, 0.005);
}

// Well above its base pressure, and where the hose lets all through, a pump empties a volume by a factor of ten in
// V / S ln 10: the time goes with 1 / S.
TEST(Disturbance, WeakPumpTakesLongerByItsShare) {
  double took_s[2];
  for (int weak = 0; weak < 2; ++weak) {
    ScriptedFurnace f;
    if (weak == 1) f.disturbances.pump_strength = 0.4;
    f.pump();
    f.run_until(1200.0, [&] { return f.state().gas.chamber_pa < 10e3; });
    took_s[weak] = f.run_until(3600.0, [&] { return f.state().gas.chamber_pa < 1e3; });
  }
  EXPECT_GT(took_s[0], 20.0);
  EXPECT_NEAR(took_s[1] / took_s[0], 2.5, 0.05);
}

// It steers what it takes for the flow, s q + z, to 2 slm: q = (2 - z) / s.
TEST(Disturbance, MisledMeterSteersAndReportsWhatItTakesForTheFlow) {
  ScriptedFurnace f;
  f.commands.purge_open = false;
  f.feed(Gas::nitrogen, 2.0);
  f.disturbances.any_meter = true;
  f.disturbances.meter[0] = {0.2, 1.25, false};
  f.run(60.0);
  EXPECT_NEAR(flow_slm(f), 1.44, 1e-6);
  EXPECT_NEAR(f.state().process.meter_slm[0], 2.0, 1e-6);
  f.feed(Gas::argon, 2.0);                       // zero and set point are of nitrogen, the flow of argon
  f.run(60.0);
  EXPECT_NEAR(flow_slm(f), (2.0 - 0.2 * 1.4) / 1.25, 1e-6);
}

TEST(Disturbance, StuckMeterPassesWhatItPassed) {
  ScriptedFurnace f;
  f.feed(Gas::nitrogen, 2.0);
  f.run(60.0);
  f.disturbances.any_meter = true;
  f.disturbances.meter[0].stuck = true;
  f.feed(Gas::nitrogen, 4.0);
  f.run(60.0);
  EXPECT_NEAR(flow_slm(f), 2.0, 1e-6);
  f.commands.process_open = false;
  f.run(5.0);
  EXPECT_EQ(flow_slm(f), 0.0);
  f.commands.process_open = true;
  f.run(60.0);
  EXPECT_NEAR(flow_slm(f), 2.0, 1e-6);
  f.disturbances = {};
  f.run(60.0);
  EXPECT_NEAR(flow_slm(f), 4.0, 1e-6);
}

// Hanging free it only radiates with the wall: C dT/dt = e A F sigma (T_wall^4 - T^4); contact restored, it follows the load again.
TEST(Disturbance, LooseThermocoupleSeesTheWallAlone) {
  ScriptedFurnace f, sound;
  for (ScriptedFurnace* one : {&f, &sound}) {
    one->commands.contactor = true;
    one->commands.demand[0] = 0.6;
    one->run(2400.0);
  }
  f.disturbances.load_contact[0] = 0.0;
  f.run(600.0);
  const auto kelvin = [&](int n) { return f.degc(n) + 273.15; };
  const double before_k = kelvin(node::load_junction), wall_k = kelvin(node::barrel_inside);
  f.run(10.0);
  const double mean_k = 0.5 * (before_k + kelvin(node::load_junction)), mean_wall_k = 0.5 * (wall_k + kelvin(node::barrel_inside));
  const double watts = 5.670374419e-8 * 0.8 * 1.5e-4 * 0.3 * (std::pow(mean_wall_k, 4) - std::pow(mean_k, 4));
  EXPECT_GT(std::abs(watts), 1e-3);
  EXPECT_NEAR((kelvin(node::load_junction) - before_k) * 0.5 / 10.0, watts, 0.02 * std::abs(watts));
  sound.run(610.0);
  EXPECT_GT(std::abs(f.degc(node::load_junction) - sound.degc(node::load_junction)), 1.0);
  f.disturbances = {};
  for (ScriptedFurnace* one : {&f, &sound}) one->run(300.0);          // 0.5 J/K by 0.05 W/K: 10 s
  EXPECT_NEAR(f.degc(node::load_junction), sound.degc(node::load_junction), 0.05);
  const plant::Balance balance = plant::energy_balance(f.model, f.state());
  EXPECT_LT(std::abs(balance.residual), 1e-6 * balance.flowed);
}

// First order to the room's 20 degC with the cell's own 90 s.
TEST(Disturbance, CellWithoutItsHeaterCoolsByItsLag) {
  plant::Furnace furnace;
  furnace.initial.oxygen_cell_degc = 700.0;
  ScriptedFurnace f(furnace);
  f.disturbances.cell_heater_off = true;
  f.run(90.0);
  EXPECT_NEAR(f.state().process.oxygen_cell_degc, 20.0 + 680.0 * std::exp(-1.0), 1.0);
}

}  // namespace
