// The plant's equations as one system dy/dt = f(y; inputs), written apart from the step. What linearises the plant asks them, and the tests
// hold the step against CVODE on them.
//
// That proves the integrator, not the physics: f reads the Model's constant tables (masses, areas, exchange areas, lags) and calls
// the plant's property and flow functions (materials, gas table, nozzle, tube, pump), but none of what the step linearises, freezes
// for a while, extrapolates or splits. Whether those tables and functions are right is what the tests against published values ask.
// EquationInputs hold over a stretch of time; between two stretches `enter` does what happens at once (a process valve that shuts).
// Not in here, and refused by std::invalid_argument: every disturbance but an open door.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "plant/step.h"

namespace plant {

struct EquationInputs {
  plant::Commands commands{};
  bool door_open = false;
  std::array<double, 4> panel_w{};  // electric power of each panel [W] where the elements are constant
  std::array<double, 4> demand{};   // of each panel, 0 with the contactor open, where they are not
};

// Where each quantity stands in y. Temperatures K, amounts mol, pressures Pa, shares 1.
namespace slot {
inline constexpr int core = 0;                              // core_nodes - 1, without the idle one
inline constexpr int chain = core + plant::core_nodes - 1;  // cell by cell, lanes side by side
inline constexpr int casing = chain + plant::chain_cells * plant::chain_lanes;
inline constexpr int chamber_mol = casing + 1;  // of each species
inline constexpr int hose_mol = chamber_mol + plant::gas_species;
inline constexpr int chamber_pa = hose_mol + plant::gas_species;  // stands for the energy of the gas
inline constexpr int adsorbed_mol = chamber_pa + 1;               // four sites
inline constexpr int meter_mol_s = adsorbed_mol + 4;              // two
inline constexpr int supply_pa = meter_mol_s + 2;
inline constexpr int valve_frac = supply_pa + 1;
inline constexpr int pump_share = valve_frac + 1;
inline constexpr int oxygen_cell = pump_share + 1;
inline constexpr int cold_junction = oxygen_cell + 1;
inline constexpr int oxygen_fraction = cold_junction + 1;
inline constexpr int water_fraction = oxygen_fraction + 1;
inline constexpr int count = water_fraction + 1;
}  // namespace slot

using EquationState = std::vector<double>;  // slot::count

class Equations {
 public:
  Equations(const plant::Model& model, const plant::State& room);  // room: barometer, ambient, supply; kept

  EquationState vector_of(const plant::State& state) const;
  void enter(const EquationInputs& inputs, EquationState& y);                    // from now on
  void rate(std::span<const double> y, std::span<double> rate) const;  // dy/dt
  double gas_k(std::span<const double> y) const;                       // of the free gas
  double hose_pa(std::span<const double> y) const;

 private:
  struct Heat;
  struct Flow;
  void heat_elements(std::span<const double> y, Heat& heat) const;
  void conduct(std::span<const double> y, Heat& heat) const;
  void radiate(std::span<const double> y, Heat& heat) const;
  void conduct_in_chains(std::span<const double> y, Heat& heat) const;
  void lose_from_casing(std::span<const double> y, Heat& heat) const;
  void find_flows(std::span<const double> y, Flow& flow) const;
  void find_exhaust(std::span<const double> y, Flow& flow) const;
  void find_holes(std::span<const double> y, Flow& flow) const;
  void find_hose(std::span<const double> y, Flow& flow) const;
  void pass_hole(double area_m2, double chamber_pa, Flow& flow) const;
  void step_species(std::span<const double> y, Flow& flow, std::span<double> rate) const;
  void gas_energy(std::span<const double> y, const Flow& flow, Heat& heat, std::span<double> rate) const;
  void lags(std::span<const double> y, const Flow& flow, std::span<double> rate) const;
  double meter_target(int k, double chamber_pa, double supply_pa) const;

  const plant::Model& m_;
  plant::GasRoom room_;
  std::array<double, 2> load_contact_{1.0, 1.0};
  std::array<double, 4> hours_{};                 // of the elements, kept
  EquationInputs inputs_{};
};

// The same inputs as the step takes them. Throws std::invalid_argument for what the equations do not have.
EquationInputs inputs_of(const plant::Model& model, const plant::Commands& commands, const plant::Disturbances& disturbances);

}  // namespace plant
