#include "plant/properties.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace plant {

namespace {

// cp/R = a1 T^-2 + a2 T^-1 + a3 + a4 T + a5 T^2 + a6 T^3 + a7 T^4; b1 is the enthalpy's constant.
using Polynomial = std::array<double, 8>;   // a1..a7, b1

// ln(x) = A ln T + B / T + C / T^2 + D, viscosity in micropoise (1e-7 Pa s), conductivity in 1e-4 W/(m K).
struct Fit { double a, b, c, d; };
struct TransportFit { double low_k, joint_k, high_k; Fit below, above; };

struct SpeciesData {
  const char* name;
  double molar_mass_kg_mol;
  std::array<Polynomial, 2> polynomial;   // 200..1000 K, 1000..6000 K
  TransportFit viscosity, conductivity;
};

// Published coefficients, digit for digit: polynomials NASA/TP-2002-211556 (thermo.inp of CEA), transport trans.inp of CEA.
constexpr std::array<SpeciesData, species_count> species_data{{
    {"N2", 28.0134000e-3,
     {{{{2.210371497E+04, -3.818461820E+02, 6.082738360E+00, -8.530914410E-03,
       1.384646189E-05, -9.625793620E-09, 2.519705809E-12, 7.108460860E+02}},
      {{5.877124060E+05, -2.239249073E+03, 6.066949220E+00, -6.139685500E-04,
       1.491806679E-07, -1.923105485E-11, 1.061954386E-15, 1.283210415E+04}}}},
     {200.0, 1000.0, 5000.0,
      {0.62526577E+00, -0.31779652E+02, -0.16407983E+04, 0.17454992E+01},
      {0.87395209E+00, 0.56152222E+03, -0.17394809E+06, -0.39335958E+00}},
     {200.0, 1000.0, 5000.0,
      {0.85439436E+00, 0.10573224E+03, -0.12347848E+05, 0.47793128E+00},
      {0.88407146E+00, 0.13357293E+03, -0.11429640E+05, 0.24417019E+00}}},
    {"O2", 31.9988000e-3,
     {{{{-3.425563420E+04, 4.847000970E+02, 1.119010961E+00, 4.293889240E-03,
       -6.836300520E-07, -2.023372700E-09, 1.039040018E-12, -3.391454870E+03}},
      {{-1.037939022E+06, 2.344830282E+03, 1.819732036E+00, 1.267847582E-03,
       -2.188067988E-07, 2.053719572E-11, -8.193467050E-16, -1.689010929E+04}}}},
     {200.0, 1000.0, 5000.0,
      {0.60916180E+00, -0.52244847E+02, -0.59974009E+03, 0.20410801E+01},
      {0.72216486E+00, 0.17550839E+03, -0.57974816E+05, 0.10901044E+01}},
     {200.0, 1000.0, 5000.0,
      {0.77229167E+00, 0.68463210E+01, -0.58933377E+04, 0.12210365E+01},
      {0.90917351E+00, 0.29124182E+03, -0.79650171E+05, 0.64851631E-01}}},
    {"Ar", 39.9480000e-3,
     {{{{0.000000000E+00, 0.000000000E+00, 2.500000000E+00, 0.000000000E+00,
       0.000000000E+00, 0.000000000E+00, 0.000000000E+00, -7.453750000E+02}},
      {{2.010538475E+01, -5.992661070E-02, 2.500069401E+00, -3.992141160E-08,
       1.205272140E-11, -1.819015576E-15, 1.078576636E-19, -7.449939610E+02}}}},
     {200.0, 1000.0, 5000.0,
      {0.61205763E+00, -0.67714354E+02, 0.19040660E+03, 0.21588272E+01},
      {0.69357334E+00, 0.70953943E+02, -0.28386007E+05, 0.14856447E+01}},
     {200.0, 1000.0, 5000.0,
      {0.60968928E+00, -0.70892249E+02, 0.58420624E+03, 0.19337152E+01},
      {0.69075463E+00, 0.62676058E+02, -0.25667413E+05, 0.12664189E+01}}},
    {"He", 4.0026020e-3,
     {{{{0.000000000E+00, 0.000000000E+00, 2.500000000E+00, 0.000000000E+00,
       0.000000000E+00, 0.000000000E+00, 0.000000000E+00, -7.453750000E+02}},
      {{0.000000000E+00, 0.000000000E+00, 2.500000000E+00, 0.000000000E+00,
       0.000000000E+00, 0.000000000E+00, 0.000000000E+00, -7.453750000E+02}}}},
     {200.0, 1000.0, 5000.0,
      {0.75015944E+00, 0.35763243E+02, -0.22121291E+04, 0.92126352E+00},
      {0.83394166E+00, 0.22082656E+03, -0.52852591E+05, 0.20809361E+00}},
     {200.0, 1000.0, 5000.0,
      {0.75007833E+00, 0.36577987E+02, -0.23636600E+04, 0.29766475E+01},
      {0.83319259E+00, 0.22157417E+03, -0.53304530E+05, 0.22684592E+01}}},
    {"H2O", 18.0152800e-3,
     {{{{-3.947960830E+04, 5.755731020E+02, 9.317826530E-01, 7.222712860E-03,
       -7.342557370E-06, 4.955043490E-09, -1.336933246E-12, -3.303974310E+04}},
      {{1.034972096E+06, -2.412698562E+03, 4.646110780E+00, 2.291998307E-03,
       -6.836830480E-07, 9.426468930E-11, -4.822380530E-15, -1.384286509E+04}}}},
     {373.2, 1073.2, 5000.0,
      {0.50019557E+00, -0.69712796E+03, 0.88163892E+05, 0.30836508E+01},
      {0.58988538E+00, -0.53769814E+03, 0.54263513E+05, 0.23386375E+01}},
     {373.2, 1073.2, 5000.0,
      {0.10966389E+01, -0.55513429E+03, 0.10623408E+06, -0.24664550E+00},
      {0.39367933E+00, -0.22524226E+04, 0.61217458E+06, 0.58011317E+01}}},
    {"H2", 2.0158800e-3,
     {{{{4.078323210E+04, -8.009186040E+02, 8.214702010E+00, -1.269714457E-02,
       1.753605076E-05, -1.202860270E-08, 3.368093490E-12, 2.682484665E+03}},
      {{5.608128010E+05, -8.371504740E+02, 2.975364532E+00, 1.252249124E-03,
       -3.740716190E-07, 5.936625200E-11, -3.606994100E-15, 5.339824410E+03}}}},
     {200.0, 1000.0, 5000.0,
      {0.74553182E+00, 0.43555109E+02, -0.32579340E+04, 0.13556243E+00},
      {0.96730605E+00, 0.67931897E+03, -0.21025179E+06, -0.18251697E+01}},
     {200.0, 1000.0, 5000.0,
      {0.10059461E+01, 0.27951262E+03, -0.29792018E+05, 0.11996252E+01},
      {0.10582450E+01, 0.24875372E+03, 0.11736907E+05, 0.82758695E+00}}},
    {"CO2", 44.0095000e-3,
     {{{{4.943650540E+04, -6.264116010E+02, 5.301725240E+00, 2.503813816E-03,
       -2.127308728E-07, -7.689988780E-10, 2.849677801E-13, -4.528198460E+04}},
      {{1.176962419E+05, -1.788791477E+03, 8.291523190E+00, -9.223156780E-05,
       4.863676880E-09, -1.891053312E-12, 6.330036590E-16, -3.908350590E+04}}}},
     {200.0, 1000.0, 5000.0,
      {0.51137258E+00, -0.22951321E+03, 0.13710678E+05, 0.27075538E+01},
      {0.63978285E+00, -0.42637076E+02, -0.15522605E+05, 0.16628843E+01}},
     {200.0, 1000.0, 5000.0,
      {0.48056568E+00, -0.50786720E+03, 0.35088811E+05, 0.36747794E+01},
      {0.69857277E+00, -0.11830477E+03, -0.50688859E+05, 0.18650551E+01}}},
    {"CO", 28.0101000e-3,
     {{{{1.489045326E+04, -2.922285939E+02, 5.724527170E+00, -8.176235030E-03,
       1.456903469E-05, -1.087746302E-08, 3.027941827E-12, -1.303131878E+04}},
      {{4.619197250E+05, -1.944704863E+03, 5.916714180E+00, -5.664282830E-04,
       1.398814540E-07, -1.787680361E-11, 9.620935570E-16, -2.466261084E+03}}}},
     {200.0, 1000.0, 5000.0,
      {0.62526577E+00, -0.31779652E+02, -0.16407983E+04, 0.17454992E+01},
      {0.87395209E+00, 0.56152222E+03, -0.17394809E+06, -0.39335958E+00}},
     {200.0, 1000.0, 5000.0,
      {0.85439436E+00, 0.10573224E+03, -0.12347848E+05, 0.47793128E+00},
      {0.88407146E+00, 0.13357293E+03, -0.11429640E+05, 0.24417019E+00}}},
    {"CH4", 16.0424600e-3,
     {{{{-1.766850998E+05, 2.786181020E+03, -1.202577850E+01, 3.917619290E-02,
       -3.619054430E-05, 2.026853043E-08, -4.976705490E-12, -2.331314360E+04}},
      {{3.730042760E+06, -1.383501485E+04, 2.049107091E+01, -1.961974759E-03,
       4.727313040E-07, -3.728814690E-11, 1.623737207E-15, 7.532066910E+04}}}},
     {200.0, 1000.0, 5000.0,
      {0.57643622E+00, -0.93704079E+02, 0.86992395E+03, 0.17333347E+01},
      {0.66400044E+00, 0.10860843E+02, -0.76307841E+04, 0.10323984E+01}},
     {200.0, 1000.0, 5000.0,
      {0.10238177E+01, -0.31092375E+03, 0.32944309E+05, 0.67787437E+00},
      {0.77485028E+00, -0.40089627E+03, -0.46551082E+05, 0.25671481E+01}}},
}};

constexpr double polynomial_low_k = 200.0, polynomial_joint_k = 1000.0, polynomial_high_k = 6000.0;
constexpr double reference_k = 298.15;

const SpeciesData& data_of(Species species) { return species_data[static_cast<std::size_t>(species)]; }

const std::array<double, 8>& coefficients(Species species, double t_k) {
  return data_of(species).polynomial[t_k < polynomial_joint_k ? 0 : 1];
}

double cp_over_r(Species species, double t_k) {
  const auto& a = coefficients(species, t_k);
  return (a[0] / t_k + a[1]) / t_k + a[2] + t_k * (a[3] + t_k * (a[4] + t_k * (a[5] + t_k * a[6])));
}

double enthalpy_over_r_k(Species species, double t_k) {
  const auto& a = coefficients(species, t_k);
  const double powers = t_k * (a[2] + t_k * (a[3] / 2.0 + t_k * (a[4] / 3.0 + t_k * (a[5] / 4.0 + t_k * a[6] / 5.0))));
  return -a[0] / t_k + a[1] * std::log(t_k) + powers + a[7];
}

double transport(const TransportFit& fit, double t_k) {
  const double t = std::clamp(t_k, fit.low_k, fit.high_k);
  const Fit& at = t < fit.joint_k ? fit.below : fit.above;
  return std::exp(at.a * std::log(t) + (at.b + at.c / t) / t + at.d);
}

// Water vapour below the transport fits' range, dilute-gas limit of IAPWS R12-08 (viscosity) and R15-11 (conductivity);
// coefficients from memory, checked in the tests against values computed from the releases.
constexpr double water_fit_low_k = 373.2, water_critical_k = 647.096;

double dilute_water_viscosity(double t_k) {
  const double reduced = std::max(t_k, 200.0) / water_critical_k;
  const double sum = 1.67752 + (2.20462 + (0.6366564 - 0.241605 / reduced) / reduced) / reduced;
  return 1e-4 * std::sqrt(reduced) / sum;
}

double dilute_water_conductivity(double t_k) {
  const double reduced = std::max(t_k, 200.0) / water_critical_k;
  const double sum =
      2.443221e-3 + (1.323095e-2 + (6.770357e-3 + (-3.454586e-3 + 4.096266e-4 / reduced) / reduced) / reduced) / reduced;
  return 1e-3 * std::sqrt(reduced) / sum;
}

// Wilke's factors phi_ij = (1 + (mu_i/mu_j)^1/2 (M_j/M_i)^1/4)^2 / (8 (1 + M_i/M_j))^1/2, split into what depends on the pair
// alone and the roots of the viscosities.
struct PairFactors { double mass_root4, weight; };
using PairTable = std::array<std::array<PairFactors, species_count>, species_count>;

PairTable pair_table() {
  PairTable table{};
  for (std::size_t i = 0; i < species_count; ++i) {
    for (std::size_t j = 0; j < species_count; ++j) {
      const double ratio = species_data[i].molar_mass_kg_mol / species_data[j].molar_mass_kg_mol;
      table[i][j] = {1.0 / std::sqrt(std::sqrt(ratio)), 1.0 / std::sqrt(8.0 * (1.0 + ratio))};
    }
  }
  return table;
}

const PairTable& pairs() {
  static const PairTable table = pair_table();
  return table;
}

// sum_i x_i q_i / sum_j x_j phi_ij, for q the viscosities (Wilke) or the conductivities (Wassiljewa, Mason and Saxena).
double mixed(std::span<const double> fraction, std::span<const double> root_viscosity, std::span<const double> quantity) {
  const PairTable& pair = pairs();
  const std::size_t size = std::min<std::size_t>(fraction.size(), species_count);
  double sum = 0.0;
  for (std::size_t i = 0; i < size; ++i) {
    if (fraction[i] <= 0.0) continue;
    double weighed = 0.0;
    for (std::size_t j = 0; j < size; ++j) {
      const double bracket = 1.0 + root_viscosity[i] / root_viscosity[j] * pair[i][j].mass_root4;
      weighed += fraction[j] * bracket * bracket * pair[i][j].weight;
    }
    sum += fraction[i] * quantity[i] / weighed;
  }
  return sum;
}

// Dew or frost point over ln p, uniform steps.
struct FrostTable {
  static constexpr int steps = 1024;
  double low = std::log(saturation_ice_pa(-130.0)), high = std::log(saturation_liquid_pa(60.0));
  double per_step = (high - low) / steps;
  std::array<double, steps + 1> degc{};
  FrostTable() {
    for (std::size_t i = 0; i < degc.size(); ++i) degc[i] = dew_point_degc(std::exp(low + per_step * static_cast<double>(i)));
  }
};

PureValues pure_values(double t_k) {
  PureValues pure{};
  for (std::size_t i = 0; i < species_count; ++i) {
    const auto species = static_cast<Species>(i);
    pure.viscosity[i] = viscosity_pa_s(species, t_k);
    pure.root_viscosity[i] = std::sqrt(pure.viscosity[i]);
    pure.conductivity[i] = conductivity_w_m_k(species, t_k);
  }
  return pure;
}

}  // namespace

const char* species_name(Species species) { return data_of(species).name; }
double molar_mass_kg_mol(Species species) { return data_of(species).molar_mass_kg_mol; }

double cp_j_mol_k(Species species, double t_k) {
  return gas_constant_j_mol_k * cp_over_r(species, std::clamp(t_k, polynomial_low_k, polynomial_high_k));
}

double enthalpy_j_mol(Species species, double t_k) {
  const double t = std::clamp(t_k, polynomial_low_k, polynomial_high_k);
  return gas_constant_j_mol_k * enthalpy_over_r_k(species, t) + cp_j_mol_k(species, t) * (t_k - t);
}

double internal_energy_j_mol(Species species, double t_k) { return enthalpy_j_mol(species, t_k) - gas_constant_j_mol_k * t_k; }

double viscosity_pa_s(Species species, double t_k) {
  if (species == Species::h2o && t_k < water_fit_low_k) return dilute_water_viscosity(t_k);
  return 1e-7 * transport(data_of(species).viscosity, t_k);
}

double conductivity_w_m_k(Species species, double t_k) {
  if (species == Species::h2o && t_k < water_fit_low_k) return dilute_water_conductivity(t_k);
  return 1e-4 * transport(data_of(species).conductivity, t_k);
}

double mixture_viscosity_pa_s(std::span<const double> fraction, double t_k) {
  const PureValues pure = pure_values(t_k);
  return mixed(fraction, pure.root_viscosity, pure.viscosity);
}

double mixture_conductivity_w_m_k(std::span<const double> fraction, double t_k) {
  const PureValues pure = pure_values(t_k);
  return mixed(fraction, pure.root_viscosity, pure.conductivity);
}

// --- table ----------------------------------------------------------------------------------------------------------------

GasTable::GasTable() : node_(nodes_) {
  for (std::size_t s = 0; s < species_count; ++s) {
    const auto species = static_cast<Species>(s);
    for (std::size_t i = 0; i < nodes_; ++i) {
      const double t_k = low_k_ + step_k_ * static_cast<double>(i);
      node_[i].cp[s] = plant::cp_j_mol_k(species, t_k);
      node_[i].root_viscosity[s] = std::sqrt(plant::viscosity_pa_s(species, t_k));
      node_[i].conductivity[s] = plant::conductivity_w_m_k(species, t_k);
    }
    node_[0].enthalpy[s] = 0.0;
    for (std::size_t i = 0; i < nodes_; ++i) {
      const bool last = i + 1 == nodes_;
      node_[i].cp_slope[s] = last ? 0.0 : (node_[i + 1].cp[s] - node_[i].cp[s]) / step_k_;
      if (!last) node_[i + 1].enthalpy[s] = node_[i].enthalpy[s] + 0.5 * step_k_ * (node_[i].cp[s] + node_[i + 1].cp[s]);
    }
    const double reference = enthalpy_j_mol(static_cast<int>(s), place(reference_k));
    for (Node& node : node_) node.enthalpy[s] -= reference;
  }
}

// Below the table the first interval's line goes on; above it the last node holds its cp.
GasTable::Place GasTable::place(double t_k) const {
  const double steps = (t_k - low_k_) / step_k_;
  const int node = steps > 0.0 ? (steps < nodes_ - 1 ? static_cast<int>(steps) : nodes_ - 1) : 0;
  return {node, t_k - (low_k_ + step_k_ * node)};
}

double GasTable::cp_j_mol_k(int species, Place place) const {
  const Node& at = node_[static_cast<std::size_t>(place.node)];
  const auto s = static_cast<std::size_t>(species);
  return at.cp[s] + at.cp_slope[s] * place.above_k;
}

double GasTable::enthalpy_j_mol(int species, Place place) const {
  const Node& at = node_[static_cast<std::size_t>(place.node)];
  const auto s = static_cast<std::size_t>(species);
  return at.enthalpy[s] + place.above_k * (at.cp[s] + 0.5 * at.cp_slope[s] * place.above_k);
}

double GasTable::internal_energy_j_mol(int species, Place place) const {
  return enthalpy_j_mol(species, place) - gas_constant_j_mol_k * (low_k_ + step_k_ * place.node + place.above_k);
}

double GasTable::internal_energy_j(std::span<const double> mol, double t_k) const {
  const Node& at = node_[static_cast<std::size_t>(place(t_k).node)];
  const double above_k = place(t_k).above_k;
  double sum = 0.0, amount = 0.0;
  for (std::size_t s = 0; s < mol.size(); ++s) {
    sum += mol[s] * (at.enthalpy[s] + above_k * (at.cp[s] + 0.5 * at.cp_slope[s] * above_k));
    amount += mol[s];
  }
  return sum - amount * gas_constant_j_mol_k * t_k;
}

double GasTable::heat_capacity_j_k(std::span<const double> mol, double t_k) const {
  const Node& at = node_[static_cast<std::size_t>(place(t_k).node)];
  const double above_k = place(t_k).above_k;
  double sum = 0.0;
  for (std::size_t s = 0; s < mol.size(); ++s) sum += mol[s] * (at.cp[s] + at.cp_slope[s] * above_k - gas_constant_j_mol_k);
  return sum;
}

double GasTable::temperature_k(std::span<const double> mol, double internal_energy_j, double guess_k) const {
  double t_k = guess_k;
  for (int round = 0; round < 8; ++round) {
    const double step = (internal_energy_j - this->internal_energy_j(mol, t_k)) / heat_capacity_j_k(mol, t_k);
    t_k += step;
    if (std::fabs(step) < 1e-9 * t_k) break;
  }
  return t_k;
}

PureValues GasTable::pure_at(double t_k) const {
  const double inside_k = std::clamp(t_k, low_k_, low_k_ + step_k_ * (nodes_ - 1));
  const Place at = place(inside_k);
  const Node& here = node_[static_cast<std::size_t>(at.node)];
  const Node& next = node_[static_cast<std::size_t>(std::min(at.node + 1, nodes_ - 1))];
  const double share = at.above_k / step_k_;
  PureValues pure;
  for (std::size_t s = 0; s < species_count; ++s) {
    pure.root_viscosity[s] = here.root_viscosity[s] + share * (next.root_viscosity[s] - here.root_viscosity[s]);
    pure.viscosity[s] = pure.root_viscosity[s] * pure.root_viscosity[s];
    pure.conductivity[s] = here.conductivity[s] + share * (next.conductivity[s] - here.conductivity[s]);
  }
  return pure;
}

double GasTable::viscosity_pa_s(std::span<const double> fraction, double t_k) const {
  const PureValues pure = pure_at(t_k);
  return mixed(fraction, pure.root_viscosity, pure.viscosity);
}

double GasTable::conductivity_w_m_k(std::span<const double> fraction, double t_k) const {
  const PureValues pure = pure_at(t_k);
  return mixed(fraction, pure.root_viscosity, pure.conductivity);
}

const GasTable& gas_table() {
  static const GasTable table;
  return table;
}

// --- water ----------------------------------------------------------------------------------------------------------------

// IAPWS R14-08, sublimation: ln(p / 611.657 Pa) = (1/theta) sum a theta^b, theta = T / 273.16 K.
double saturation_ice_pa(double degc) {
  const double theta = (std::max(degc, -130.0) + 273.15) / 273.16;
  const double sum = -21.2144006 * std::pow(theta, 0.333333333e-2) + 27.3203819 * std::pow(theta, 1.20666667) -
                     6.10598130 * std::pow(theta, 1.70333333);
  return 611.657 * std::exp(sum / theta);
}

// Wagner and Pruss, liquid: ln(p / pc) = (Tc/T) sum a tau^b, tau = 1 - T/Tc.
double saturation_liquid_pa(double degc) {
  constexpr double critical_pa = 22.064e6;
  const double t_k = std::clamp(degc, -130.0, 370.0) + 273.15;
  const double tau = 1.0 - t_k / water_critical_k;
  const double root = std::sqrt(tau), tau3 = tau * tau * tau;
  const double sum = -7.85951783 * tau + 1.84408259 * tau * root - 11.7866497 * tau3 + 22.6807411 * tau3 * root -
                     15.9618719 * tau3 * tau + 1.80122502 * tau3 * tau3 * tau * root;
  return critical_pa * std::exp(water_critical_k / t_k * sum);
}

double saturation_pa(double degc) { return degc > 0.0 ? saturation_liquid_pa(degc) : saturation_ice_pa(degc); }

// Newton on ln p over 1/T, in which saturation is nearly a straight line; its slope follows from two neighbouring points.
double dew_point_degc(double vapour_pa) {
  constexpr double low_degc = -130.0, high_degc = 370.0;
  if (!(vapour_pa > saturation_ice_pa(low_degc))) return low_degc;
  if (vapour_pa >= saturation_liquid_pa(high_degc)) return high_degc;
  const bool ice = vapour_pa <= saturation_ice_pa(0.0);
  const auto log_pressure = [ice](double degc) { return std::log(ice ? saturation_ice_pa(degc) : saturation_liquid_pa(degc)); };
  const double wanted = std::log(vapour_pa);
  double degc = ice ? -40.0 : 40.0;
  for (int round = 0; round < 40; ++round) {
    const double here = log_pressure(degc);
    const double t_k = degc + 273.15;
    const double other_k = t_k * 1.0001;
    const double slope = (log_pressure(other_k - 273.15) - here) / (1.0 / other_k - 1.0 / t_k);
    const double next_k = 1.0 / (1.0 / t_k + (wanted - here) / slope);
    const double next = std::clamp(next_k - 273.15, low_degc, high_degc);
    const double moved = std::fabs(next - degc);
    degc = next;
    if (moved < 1e-10) break;
  }
  return ice ? degc : std::max(degc, 0.0);   // a pressure between the two branches' values at 0 degC means 0 degC
}

double dew_point_fast_degc(double vapour_pa) {
  static const FrostTable table;
  if (!(vapour_pa > 1e-30)) return table.degc.front();
  const double place = (std::log(vapour_pa) - table.low) / table.per_step;
  if (place <= 0.0) return table.degc.front();
  if (place >= FrostTable::steps) return table.degc.back();
  const auto i = static_cast<std::size_t>(place);
  return table.degc[i] + (place - static_cast<double>(i)) * (table.degc[i + 1] - table.degc[i]);
}

}  // namespace plant
