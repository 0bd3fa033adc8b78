// Heat in the solids: core nodes every tick, chains of deep cells (chain.h) once a second.
//
// Core: panels, hot faces of the lining and the plug, retort wall, load, thermocouple junctions. Its equations are linearised
// at a refresh (every 10 s, or when a node has moved by 3 K); in between a tick is one product with the inverse of the
// implicit matrix. Every link takes from one node what it gives to the other, in the linearised form too, so that the energy
// held plus what crossed the boundary stays constant to rounding. Temperatures in K.
#pragma once

#include <array>
#include <vector>

#include "plant/chain.h"
#include "plant/furnace.h"

namespace plant {

namespace node {
inline constexpr int panel = 0;             // ..3
inline constexpr int lining_barrel = 4;     // hot faces
inline constexpr int lining_rear = 5;
inline constexpr int lining_front = 6;
inline constexpr int barrel_outside = 7;    // retort wall, three cells
inline constexpr int barrel_middle = 8;
inline constexpr int barrel_inside = 9;
inline constexpr int end_outside = 10;      // closed end of the retort
inline constexpr int end_middle = 11;
inline constexpr int end_inside = 12;
inline constexpr int plug_face = 13;
inline constexpr int load_surface = 14;
inline constexpr int load_core = 15;
inline constexpr int zone_junction = 16;    // ..19
inline constexpr int load_junction = 20;
inline constexpr int load2_junction = 21;
inline constexpr int limiter_sensor = 22;
inline constexpr int idle = 23;             // fills the vector
}  // namespace node
inline constexpr int core_nodes = 24;

namespace lane {
inline constexpr int barrel = 0, rear = 1, front = 2, plug = 3;
}  // namespace lane

using CoreValues = std::array<double, core_nodes>;
using CoreMatrix = std::array<CoreValues, core_nodes>;

// Conduction between two core nodes: fixed + conductivity(material, mean temperature) * shape.
struct Link {
  int a = 0, b = 0;
  double fixed_w_k = 0.0;
  double shape_m = 0.0;       // area over length
  int material = -1;          // index into ThermalModel::material
};

// Heat content of a core node: masses of up to two materials and a constant part.
struct NodeMass {
  int material = -1, second = -1;
  double kg = 0.0, second_kg = 0.0, fixed_j_k = 0.0;
};

// Face cell to the first deep cell of a lane.
struct FaceLink { int node = 0; double outward_m = 0.0, second_outward_m = 0.0; };

struct ThermalModel {
  std::vector<Material> material;
  std::array<NodeMass, core_nodes> mass{};
  std::vector<Link> links;
  CoreMatrix exchange_m2{};                   // radiation, symmetric, diagonal zero
  CoreValues opening_m2{};                    // radiates to the room while the plug is out
  std::array<FaceLink, chain_lanes> face{};
  ChainModel chain{};
  std::array<double, 4> panel_w{};            // at nominal mains
  std::array<int, 4> panel_zone{};            // 0-based
  double casing_j_k = 1.0, casing_m2 = 1.0, casing_emissivity = 0.8, casing_convection = 1.6;
  double fan_w_m2k = 0.0, fan_k = 1e9;        // forced convection of the cooling fan, and above which casing temperature it runs
  double ambient_k = 293.15;                  // where a run begins; then ThermalState's
  double start_k = 293.15;
  double macro_s = 1.0;                       // step of the chains; shorter where thin cells ask for it
};

inline constexpr double core_refresh_s = 10.0;
inline constexpr double core_refresh_k = 3.0;
inline constexpr double core_still_k = 0.1;     // moved by less: the linear equations hold for another interval

struct ThermalState {
  CoreValues t_k{};                           // now
  CoreValues reference_k{}, enthalpy_j{};     // at the last refresh
  CoreValues heat_j_k{}, rate_k_s{};          // heat capacity; linearised rate at the reference
  CoreMatrix inverse{};                       // of (1 - theta h D), column by column
  Lanes face_w_k{};                           // face links at the last refresh
  Lanes deep_reference_k{};                   // first deep cells at the refresh
  Lanes deep_heat_j{};                        // given to the deep cells since their last step
  CoreValues opening_w_k{}, opening_w{};      // linearised loss through the opening
  ChainState chain{};
  double casing_k = 293.15;
  double fan_on = 0.0;                        // 1: the cooling fan runs
  double ambient_k = 293.15;                  // room, now
  double opening_ambient_k = 0.0;             // room, as of the last refresh
  double period_s = 0.0;                      // the matrices are for this period
  double since_refresh_s = 0.0, since_chain_s = 0.0, since_chain_refresh_s = 0.0;
  int macro_ticks = 0, macro_tick = 0;
  std::array<double, 2> load_contact{1.0, 1.0};   // of the load thermocouples, of the model's; renew_thermal when it changes
  bool open = false;                          // opening as of the last refresh
  // What crossed the boundary since start [J]
  double electric_j = 0.0, casing_loss_j = 0.0, plug_loss_j = 0.0, opening_loss_j = 0.0;
};

ThermalModel build_thermal(const Furnace& furnace);      // throws std::invalid_argument with the field's name
ThermalState start_thermal(const ThermalModel& model);

// One period with these sources [W] on the core nodes. electric_w of them is electric power. open: the plug is out.
void step_thermal(const ThermalModel& model, ThermalState& state, const CoreValues& source_w, double electric_w, bool open,
                  double period_s);

// The chains take conductivities afresh at the end of the period that comes next.
inline bool chain_refresh_due(const ThermalState& state) {
  return state.macro_tick + 1 >= state.macro_ticks &&
         state.since_chain_refresh_s + state.macro_ticks * state.period_s >= core_refresh_s - 1e-9;
}

// The model has changed under the state: the next step takes its constants afresh.
inline void renew_thermal(ThermalState& state) { state.open = !state.open; }   // an opening that moved asks for a refresh

double thermal_energy_j(const ThermalState& state, const ThermalModel& model);   // since 0 degC

}  // namespace plant
