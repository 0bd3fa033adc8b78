#include "plant/hose.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plant/properties.h"

namespace plant {

TubeGas tube_gas(double diameter_m, double length_m, double viscosity_pa_s, double molar_mass_kg_mol, double t_k) {
  constexpr double pi = std::numbers::pi;
  const double rt_over_m = gas_constant_j_mol_k * t_k / molar_mass_kg_mol;
  const double mean_speed_m_s = std::sqrt(8.0 * rt_over_m / pi);
  const double path_pa_m = viscosity_pa_s * std::sqrt(0.5 * pi * rt_over_m);   // mean free path times pressure
  const double d2 = diameter_m * diameter_m;
  TubeGas tube;
  tube.laminar_m3_s_pa = pi * d2 * d2 / (128.0 * viscosity_pa_s * length_m);
  tube.molecular_m3_s = pi * d2 * diameter_m * mean_speed_m_s / (12.0 * length_m);
  tube.radius_over_path_per_pa = 0.5 * diameter_m / path_pa_m;
  // 0.6 of sound speed at the inlet of a nozzle, gamma about 1.4
  tube.choked_m3_s = 0.25 * pi * d2 * 0.6 * std::sqrt(1.4 * rt_over_m);
  return tube;
}

namespace {

double transition(const TubeGas& tube, double mean_pa) {
  const double a = tube.radius_over_path_per_pa * mean_pa;
  return tube.molecular_m3_s * (1.0 + 2.507 * a) / (1.0 + 3.095 * a);
}

}  // namespace

double tube_conductance_m3_s(const TubeGas& tube, double mean_pa) {
  return tube.laminar_m3_s_pa * mean_pa + transition(tube, mean_pa);
}

double limited_conductance_m3_s(const TubeGas& tube, double first_pa, double second_pa) {
  const double mean_pa = 0.5 * (first_pa + second_pa);
  const double laminar = tube.laminar_m3_s_pa * mean_pa;
  const double most = tube.choked_m3_s * std::max(std::max(first_pa, second_pa), 1e-9);
  const double share = laminar * (first_pa - second_pa) / most;
  return laminar / std::sqrt(1.0 + share * share) + transition(tube, mean_pa);
}

double pump_speed_m3_s(const Pump& pump, double speed_share, double inlet_pa) {
  if (!(inlet_pa > pump.base_pa)) return 0.0;
  return pump.speed_m3_s * speed_share * (1.0 - pump.base_pa / inlet_pa);
}

}  // namespace plant
