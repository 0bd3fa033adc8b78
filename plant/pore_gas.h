// What the gas in a lining's pores conducts. A curve of conductivity over temperature, as makers give it, holds in air of one atmosphere;
// under another gas or in vacuum the lining conducts
//   k(T) + porosity * (gas in pores - air of one atmosphere in pores),   at least a fiftieth of k(T).
// In a pore of size d a gas of mean free path l conducts k / (1 + 2 b l / d), 2 b = 2 (2 - a) / a * 2 g / (g + 1) / Pr with accommodation
// a = 1 (temperature jump after Kennard; as Kaganer has it for insulation in vacuum).
#pragma once

#include <cmath>
#include <span>

namespace plant {

// Powers of temperature through 400 K and 1200 K. From 300 to 1500 K within 4 % of the gases' own curves, of carbon dioxide within 15 %.
struct PoreGas {
  static constexpr double at_k = 700.0;
  double k_w_mk = 0.0, k_power = 0.0;         // in the free gas, at at_k
  double slip = 0.0, slip_power = 0.0;        // 2 b l / d, at at_k

  double conductivity_w_mk(double t_k) const {
    const double ratio = t_k / at_k;
    return k_w_mk * std::pow(ratio, k_power) / (1.0 + slip * std::pow(ratio, slip_power));
  }
};

// Mole fractions in Species order; pore_m > 0.
PoreGas pore_gas(std::span<const double> fraction, double pressure_pa, double pore_m);
PoreGas air_in_pores(double pore_m);          // dry, of one atmosphere

}  // namespace plant
