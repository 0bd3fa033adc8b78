// Properties of gases and of water vapour. SI, molar, temperatures in K unless named degc.
//
// Sources: NASA Glenn coefficients (NASA/TP-2002-211556) for cp, enthalpy; NASA transport fits (Svehla, as distributed with CEA) for
// viscosity and conductivity; Wilke and Wassiljewa with Mason-Saxena factors for mixtures; IAPWS R14-08 and Wagner-Pruss for
// saturation. Water vapour below 373.2 K: IAPWS R12-08 and R15-11, dilute limit.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

namespace plant {

inline constexpr double gas_constant_j_mol_k = 8.31446261815324;   // CODATA 2018
inline constexpr double standard_k = 273.15;                       // standard volume: 0 degC ...
inline constexpr double standard_pa = 101325.0;                    // ... and 101.325 kPa
inline constexpr double slm_mol_s = standard_pa * 1e-3 / (gas_constant_j_mol_k * standard_k) / 60.0;   // 1 slm in mol/s

// The first species_core are what a furnace without combustible gas holds; arrays may be cut there.
enum class Species : std::uint8_t { n2, o2, ar, he, h2o, h2, co2, co, ch4 };
inline constexpr int species_core = 5;
inline constexpr int species_count = 9;
const char* species_name(Species species);                         // "N2", ...
double molar_mass_kg_mol(Species species);

// Ideal-gas functions from the published polynomials, 200..6000 K (helium is constant). Outside that range cp is held
// at the range's end and the enthalpy goes on with it.
double cp_j_mol_k(Species species, double t_k);
double enthalpy_j_mol(Species species, double t_k);                // with the enthalpy of formation at 298.15 K
double internal_energy_j_mol(Species species, double t_k);         // enthalpy - R T

double viscosity_pa_s(Species species, double t_k);                // 200..5000 K, clamped
double conductivity_w_m_k(Species species, double t_k);

// Mixtures: mole fractions in Species order, at most species_count of them, sum 1.
double mixture_viscosity_pa_s(std::span<const double> fraction, double t_k);
double mixture_conductivity_w_m_k(std::span<const double> fraction, double t_k);

// Of each pure gas at one temperature.
struct PureValues { std::array<double, species_count> root_viscosity, viscosity, conductivity; };

// The same for the tick path: tabulated from 200 to 1800 K every 4 K (clamped outside), no transcendental function.
// cp is linear between nodes and the enthalpy its exact integral, so that the two agree and energy closes. Against the
// polynomials: cp within 2e-5 relative, enthalpy within 0.2 J/mol, transport within 2e-4 relative.
class GasTable {
 public:
  GasTable();

  // Thermal (sensible) molar quantities: the enthalpy is 0 at 298.15 K for every species, the internal energy h - R T, so that
  // a flow carries h into a volume that holds u.
  struct Place { int node; double above_k; };          // temperature in the table
  Place place(double t_k) const;
  double cp_j_mol_k(int species, Place place) const;
  double enthalpy_j_mol(int species, Place place) const;          // sensible: 0 at 298.15 K
  double internal_energy_j_mol(int species, Place place) const;   // h - R T: -R 298.15 K at 298.15 K

  // Of a mixture of amounts n [mol] (any scale): U = sum n u(T), and its inverse by Newton from a guess (2 or 3 steps).
  double internal_energy_j(std::span<const double> mol, double t_k) const;
  double heat_capacity_j_k(std::span<const double> mol, double t_k) const;   // at constant volume
  double temperature_k(std::span<const double> mol, double internal_energy_j, double guess_k) const;

  double viscosity_pa_s(std::span<const double> fraction, double t_k) const;
  double conductivity_w_m_k(std::span<const double> fraction, double t_k) const;

 private:
  static constexpr double low_k_ = 200.0, step_k_ = 4.0;
  static constexpr int nodes_ = 401;
  struct Node {
    std::array<double, species_count> cp, cp_slope, enthalpy, root_viscosity, conductivity;
  };
  PureValues pure_at(double t_k) const;
  std::vector<Node> node_;
};
const GasTable& gas_table();   // built once

// Water: saturation pressure over ice below 0 degC and over liquid above, -130..+370 degC (clamped).
double saturation_pa(double degc);
double saturation_ice_pa(double degc);
double saturation_liquid_pa(double degc);
// Frost point (below 0 degC) or dew point at a vapour pressure, by Newton; -130 degC for nothing.
double dew_point_degc(double vapour_pa);
// The same from a table uniform in ln p, -130..+60 degC, within 0.02 K.
double dew_point_fast_degc(double vapour_pa);

}  // namespace plant
