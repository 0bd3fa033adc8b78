// One-dimensional conduction through four chains of cells side by side (linings of barrel, rear and front; plug), linearly
// implicit, solved together by Thomas' algorithm, one chain per vector lane. Temperatures in K.
//
// A cell may be made of two materials in parallel (plug and the retort's neck around it). Energy is the state: between two
// refreshes temperature is linear in it, at a refresh it is solved for from the enthalpy, so that heat is conserved whatever
// cp(T) does.
#pragma once

#include <array>

#include "plant/furnace.h"
#include "plant/pore_gas.h"

namespace plant {

inline constexpr int chain_lanes = 4;
inline constexpr int chain_cells = 20;          // without the face cell, which belongs to the core (thermal.h)
inline constexpr double implicitness = 0.55;    // 0.5 would be of second order; a little more damps what is faster than a step

using Lanes = std::array<double, chain_lanes>;
using ChainValues = std::array<Lanes, chain_cells>;

double conductivity_w_mk(const Material& material, double t_k);
double heat_capacity_j_kgk(const Material& material, double t_k);
double enthalpy_j_kg(const Material& material, double t_k);           // integral of the heat capacity from 0 degC

// Half cells are given as area over length [m], so that conductance = k times it.
struct ChainModel {
  std::array<Material, chain_lanes> material{};       // first material of a lane
  Material second{};                                  // second material, where a lane has one
  ChainValues mass_kg{}, second_kg{};
  ChainValues inward_m{}, outward_m{};                // centre to the face towards the furnace, and away from it
  ChainValues second_inward_m{}, second_outward_m{};
  double porosity = 0.0;                              // of the first materials; 0: they conduct whatever the gas (pore_gas.h)
  PoreGas air{};                                      // in which their curves hold
  Lanes end_w_k{};                                    // beyond the last cell's outer face, in series with its half cell
};

struct ChainState {
  ChainValues t_k{};
  PoreGas pore{};                                     // what fills the pores; taken at a refresh
  ChainValues reference_k{}, enthalpy_j{};            // at the last refresh
  ChainValues heat_j_k{}, to_next_w_k{};              // to_next of the last cell: to the end
  ChainValues pivot{}, sweep{};                       // Thomas factors for step_s
  Lanes rate_k_s{};                                   // of the first cells, last step
  double step_s = 0.0;
};

// Fills one lane with a layered wall of graded cells: thickness beyond the face cell, first_share of the cells' mean for the
// first, growing geometrically. area_m2(x) is linear in x for a slab (start = end) and for a barrel of given radius.
struct LaneShape {
  double thickness_m = 0.1;      // face cell included
  double face_m = 1e-3;          // thickness of the face cell
  double growth = 1.15;          // ratio of neighbouring cells
  double inner_radius_m = 0.0;   // > 0: cylinder of length_m; 0: slab of area_m2
  double length_m = 0.0;
  double area_m2 = 0.0;
  double second_m2 = 0.0;        // area of the second material (slab only)
};
// What the face cell needs: mass of both materials and its outer half.
struct FaceCell { double mass_kg, second_kg, outward_m, second_outward_m; };
FaceCell shape_lane(ChainModel& model, int lane, const Material& material, const LaneShape& shape);

void start_chain(const ChainModel& model, ChainState& state, double t_k);

// Of the first material of a lane, as it stands in its gas.
double lane_conductivity_w_mk(const ChainModel& model, const ChainState& state, int lane, double t_k);

// New cp, k and factors at the present temperatures for steps of step_s.
void refresh_chain(const ChainModel& model, ChainState& state, double step_s);

// One step: heat_j enters the first cells, the ends stand at end_k. Returns the heat that left by the ends [J].
Lanes step_chain(ChainState& state, const Lanes& heat_j, const Lanes& end_k);

// Adds heat to one cell outside a step.
inline void warm_cell(ChainState& state, int cell, int lane, double heat_j) {
  state.t_k[static_cast<std::size_t>(cell)][static_cast<std::size_t>(lane)] +=
      heat_j / state.heat_j_k[static_cast<std::size_t>(cell)][static_cast<std::size_t>(lane)];
}

double chain_energy_j(const ChainState& state);       // since 0 degC

}  // namespace plant
