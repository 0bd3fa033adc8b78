// Gas in the retort, its plug pores and the pump's hose: moles of each species and one gas temperature.
//
// One pressure over two temperatures: free gas at its own, pore gas near ambient. The flows, made linear in the two pressures, and the
// gas temperature go by a rational approximation of the exponential, accurate where slow and damped where fast (in vacuum); what leaves
// carries the composition at the end of the step; in transients a period is cut into up to 64 parts. What one place loses the other
// gains, species by species.
#pragma once

#include <array>
#include <span>

#include "plant/actuators.h"
#include "plant/furnace.h"
#include "plant/hose.h"
#include "plant/nozzle.h"
#include "plant/process_values.h"
#include "plant/properties.h"

namespace plant {

inline constexpr int gas_species = 9;              // of properties.h: N2 O2 Ar He H2O H2 CO2 CO CH4
using Amounts = std::array<double, gas_species>;   // mol, mol/s or mole fraction

inline constexpr int gas_surfaces_max = 10;
struct GasSurface { int node = 0; double area_m2 = 0.0; };

struct GasModel {
  double volume_m3 = 12e-3, pore_m3 = 2e-3, hose_m3 = 1e-3;
  double pore_k = 313.15;
  double ambient_k = 293.15, barometer_pa = 100.8e3;   // the furnace's own: what nozzles were rated at, and where a run begins
  double film_m = 8e-3;                            // still gas between a surface and the mean of the gas
  std::array<GasSurface, gas_surfaces_max> surface{};
  int surfaces = 0;
  struct Source {                                  // one composition, at ambient temperature
    Amounts fraction{};
    NozzleGas nozzle{};
    double root_mrt = 1.0;
    double conversion = 1.0;                       // of a thermal mass-flow controller calibrated on nitrogen
    int main = 0;                                  // the species that what spoils it takes the place of; -1: of all evenly
  };
  std::array<Source, 6> supplied{};                // by gas select; 0 is empty
  Source room{};                                   // the room's air
  Source calibration{};                            // nitrogen, for which the meters are built
  Amounts initial{};
  double initial_pa = 100.8e3;
  double stagnant_share = 0.0, stagnant_exchange_m3_s = 0.0;   // of free gas and pores
  Amounts molar_heat_j_mol_k{};                    // at constant pressure, mean of 300 to 1100 K
  Amounts molar_mass_kg_mol{};
  int purge_gas = 3, blend_gas = 2;
  Meter meter{};
  double meter_m2 = 0.0, purge_m2 = 0.0;           // nozzles that pass the rated flow
  GasSupply supply{};
  BackPressureValve valve{};
  double exhaust_m2 = 0.0, bypass_m2 = 0.0, air_m2 = 0.0;
  double behind_per_m4 = 0.0;                      // 1 / A^2 of exhaust shut-off and check valve, behind the valves
  CheckValve check{};
  Relief relief{};
  Pump pump{};
  Hose hose{};
  double leak_mol_s_pa = 0.0;
  bool supply_shut = false, exhaust_shut = false, pump_shut = false;   // by hand
  double vent_m2 = 0.0;
  double opening_m2 = 0.0, opening_exchange_m3_s = 0.0;
  Outgassing outgassing{};
  int outgassing_node = 0;
  double sample_line_m3 = 0.0, oxygen_lag_s = 1.0, dew_point_lag_s = 1.0;
  Dryer dryer{};
  Oxidation oxidation{};
  double load_m2 = 0.0;
};

// Of the last period, averages [mol/s].
struct GasFlows {
  double in = 0.0;                                 // meters and purge
  double purge = 0.0, exhaust = 0.0, relief = 0.0;
  double out = 0.0;                                // everything that left the chamber except by the pump's hose
  double leak = 0.0;                               // into the chamber; negative: out
  double air = 0.0;                                // room air in by admittance, opening or check valve
  double hose = 0.0;                               // chamber to hose; negative: back
  double pump = 0.0, water = 0.0;                  // pumped; desorbed
};

// What the gas is in, which may change in a run (environment.h).
struct GasRoom {
  double barometer_pa = 100.8e3, ambient_k = 293.15;
  double supply_pa = 40e3;                         // gauge, what the supply is regulated to
  double root_share = 1.0;                         // sqrt(ambient_k / the model's): scales the root_mrt of what comes in
};

struct GasState {
  GasRoom room{};
  Amounts chamber_mol{};                           // free gas and pores, both zones
  Amounts stagnant_mol{};                          // of that, in the stagnant zone
  Amounts hose_mol{};
  double gas_k = 293.15;                           // of the free gas
  double chamber_pa = 0.0, hose_pa = 0.0;
  std::array<double, 4> adsorbed_mol{};
  double dried_mol = 0.0;                          // water in the dryer
  double oxide_kg = 0.0;                           // what the load has gained
  double supply_pa = 0.0;                          // gauge
  std::array<double, 2> meter_mol_s{};             // the mass-flow controllers' own loops
  std::array<double, 2> stuck_mol_s{};             // what one with a stuck valve passes ...
  unsigned meters_stuck = 0;                       // ... and which are, bit k
  double oxygen_fraction = 0.0, water_fraction = 0.0;   // at the cell, at the dew-point sensor
  double hydrogen_fraction = 0.0;                  // at the cell, with carbon monoxide and methane as the hydrogen that burns alike
  GasFlows flows{};
  int parts = 1;                                   // the last period was cut into these
  // Properties of what is in the chamber, taken afresh now and then
  double fresh_age_s = 1e9, desorption_age_s = 1e9, fresh_pa = 0.0, fresh_k = 0.0, fresh_room_k = 0.0;
  Amounts fresh_fraction{};
  double root_mrt = 1.0, film_w_m2k = 0.0;
  NozzleGas nozzle{};
  TubeGas tube{};
  std::array<double, 4> desorption_per_s{};
  double meter_gain = 0.0, supply_gain = 0.0, gain_period_s = 0.0;    // 1 - exp(-period / lag)
  // Since start
  Amounts received_mol{}, lost_mol{};              // of chamber and hose together, with what surfaces and oxide give and take
  Amounts received_rest_mol{}, lost_rest_mol{};    // what rounding has kept out of these sums
  double enthalpy_in_j = 0.0, enthalpy_out_j = 0.0;
  double metered_mol = 0.0, purged_mol = 0.0;
};

GasModel build_gas(const Furnace& furnace);        // throws std::invalid_argument with the field's name
GasState start_gas(const GasModel& model, double gas_k);                        // in the room of the furnace file
GasState start_gas(const GasModel& model, double gas_k, const GasRoom& room);   // root_share is found
// From now on. The moles stay as they are; the hose's pressure goes with the room's temperature.
void set_room(const GasModel& model, GasState& state, double barometer_pa, double ambient_k, double supply_pa);

// One period. surface_k: temperatures of the solids by core node. heat_w: what the gas gave to each of them on average is
// added there. Returns the heat given to the plug, where gas enters its pores [W].
double step_gas(const GasModel& model, GasState& state, const ActuatorState& actuators, const Commands& commands,
                const Disturbances& disturbances, std::span<const double> surface_k, std::span<double> heat_w, double period_s);

double chamber_total_mol(const GasState& state);
double gas_energy_j(const GasModel& model, const GasState& state);    // free gas, pores, binding of the adsorbed water

}  // namespace plant
