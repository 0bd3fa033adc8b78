// Conductance of a round tube from viscous to molecular flow, and of a pump behind it.
#pragma once

#include "plant/furnace.h"

namespace plant {

// Of one gas at one temperature in one tube.
struct TubeGas {
  double laminar_m3_s_pa = 0.0;      // laminar conductance per Pa of mean pressure
  double molecular_m3_s = 0.0;       // long tube
  double radius_over_path_per_pa = 0.0;
  double choked_m3_s = 0.0;          // volume flow at which sound speed limits
};
TubeGas tube_gas(double diameter_m, double length_m, double viscosity_pa_s, double molar_mass_kg_mol, double t_k);

// Knudsen's interpolation between the two, for a long tube [m3/s]: C_mol (3 pi / 64 a/lambda + (1 + 2.507 a/lambda) /
// (1 + 3.095 a/lambda)), a the radius, lambda = (mu / p) sqrt(pi R T / 2 M).
double tube_conductance_m3_s(const TubeGas& tube, double mean_pa);

// The same for a flow from one pressure to another: its laminar part is kept below what sound speed lets through, so that
// conductance times difference never exceeds that.
double limited_conductance_m3_s(const TubeGas& tube, double first_pa, double second_pa);

// Volume flow of the pump at its inlet; speed_share = how far it has spun up; never negative.
double pump_speed_m3_s(const Pump& pump, double speed_share, double inlet_pa);

}  // namespace plant
