#include "plant/pore_gas.h"

#include <algorithm>
#include <array>
#include <numbers>

#include "plant/properties.h"

namespace plant {

namespace {

struct At { double k_w_mk, slip; };

At at(std::span<const double> fraction, double pressure_pa, double pore_m, double t_k) {
  double molar_kg = 0.0, cp_j_mol_k_sum = 0.0;
  for (std::size_t i = 0; i < fraction.size(); ++i) {
    const auto species = static_cast<Species>(i);
    molar_kg += fraction[i] * molar_mass_kg_mol(species);
    cp_j_mol_k_sum += fraction[i] * cp_j_mol_k(species, t_k);
  }
  const double viscosity_pa_s = gas_table().viscosity_pa_s(fraction, t_k), k_w_mk = gas_table().conductivity_w_m_k(fraction, t_k);
  const double path_m = viscosity_pa_s / pressure_pa * std::sqrt(0.5 * std::numbers::pi * gas_constant_j_mol_k * t_k / molar_kg);
  const double gamma = cp_j_mol_k_sum / (cp_j_mol_k_sum - gas_constant_j_mol_k);
  const double prandtl = viscosity_pa_s * cp_j_mol_k_sum / molar_kg / k_w_mk;
  return {k_w_mk, 4.0 * gamma / (gamma + 1.0) / prandtl * path_m / pore_m};
}

}  // namespace

PoreGas pore_gas(std::span<const double> fraction, double pressure_pa, double pore_m) {
  constexpr double low_k = 400.0, high_k = 1200.0;
  const double pa = std::max(pressure_pa, 1e-6);
  const At low = at(fraction, pa, pore_m, low_k), high = at(fraction, pa, pore_m, high_k);
  const double span = std::log(high_k / low_k), up = std::log(PoreGas::at_k / low_k);
  PoreGas gas;
  gas.k_power = std::log(high.k_w_mk / low.k_w_mk) / span;
  gas.slip_power = std::log(high.slip / low.slip) / span;
  gas.k_w_mk = low.k_w_mk * std::exp(gas.k_power * up);
  gas.slip = low.slip * std::exp(gas.slip_power * up);
  return gas;
}

PoreGas air_in_pores(double pore_m) {
  std::array<double, species_count> air{};
  air[static_cast<std::size_t>(Species::n2)] = 0.7809;
  air[static_cast<std::size_t>(Species::o2)] = 0.2095;
  air[static_cast<std::size_t>(Species::ar)] = 0.0096;
  return pore_gas(air, 101325.0, pore_m);
}

}  // namespace plant
