#include "plant/meter_gas.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>

namespace plant {

namespace {

using Molecule = MoleculeClass;

// cp/R = a0 + a1 T + a2 T^2 + a3 T^3 + a4 T^4, T in K, 50 .. 1000 K unless the book says 200 .. 1000 K.
using Quartic = std::array<double, 5>;

struct PureGas {
  const char* name;
  const char* formula;
  Molecule molecule;
  std::optional<Species> species;  // the plant's own polynomial; otherwise the quartic
  Quartic quartic{};
};

constexpr Quartic no_quartic{};

// Coefficients digit for digit as Poling and others (2001) print them.
constexpr PureGas pure_gases[] = {
    {"nitrogen", "N2", Molecule::diatomic, Species::n2, no_quartic},
    {"oxygen", "O2", Molecule::diatomic, Species::o2, no_quartic},
    {"argon", "Ar", Molecule::monatomic, Species::ar, no_quartic},
    {"helium", "He", Molecule::monatomic, Species::he, no_quartic},
    {"hydrogen", "H2", Molecule::diatomic, Species::h2, no_quartic},
    {"carbon dioxide", "CO2", Molecule::triatomic, Species::co2, no_quartic},
    {"carbon monoxide", "CO", Molecule::diatomic, Species::co, no_quartic},
    {"methane", "CH4", Molecule::polyatomic, Species::ch4, no_quartic},
    {"water vapour", "H2O", Molecule::triatomic, Species::h2o, no_quartic},
    {"neon", "Ne", Molecule::monatomic, {}, {2.5, 0.0, 0.0, 0.0, 0.0}},
    {"krypton", "Kr", Molecule::monatomic, {}, {2.5, 0.0, 0.0, 0.0, 0.0}},
    {"xenon", "Xe", Molecule::monatomic, {}, {2.5, 0.0, 0.0, 0.0, 0.0}},
    {"deuterium", "D2", Molecule::diatomic, {}, {3.590, -0.462e-3, 0.057e-5, 0.036e-8, -0.026e-11}},
    {"fluorine", "F2", Molecule::diatomic, {}, {3.347, 0.467e-3, 0.526e-5, -0.794e-8, 0.330e-11}},
    {"chlorine", "Cl2", Molecule::diatomic, {}, {3.056, 5.3708e-3, -0.8098e-5, 0.5693e-8, -0.15256e-11}},
    {"hydrogen chloride", "HCl", Molecule::diatomic, {}, {3.827, -2.936e-3, 0.879e-5, -1.031e-8, 0.439e-11}},
    {"hydrogen bromide", "HBr", Molecule::diatomic, {}, {3.842, -3.098e-3, 0.917e-5, -1.032e-8, 0.426e-11}},
    {"nitric oxide", "NO", Molecule::diatomic, {}, {4.534, -7.644e-3, 2.066e-5, -2.156e-8, 0.806e-11}},
    {"nitrous oxide", "N2O", Molecule::triatomic, {}, {3.165, 3.401e-3, 0.989e-5, -1.880e-8, 0.890e-11}},
    {"hydrogen sulphide", "H2S", Molecule::triatomic, {}, {4.266, -3.438e-3, 1.319e-5, -1.331e-8, 0.488e-11}},
    {"ammonia", "NH3", Molecule::polyatomic, {}, {4.238, -4.215e-3, 2.041e-5, -2.126e-8, 0.761e-11}},
    {"acetylene", "C2H2", Molecule::polyatomic, {}, {2.410, 10.926e-3, -0.255e-5, -0.790e-8, 0.524e-11}},
    {"ethylene", "C2H4", Molecule::polyatomic, {}, {4.221, -8.782e-3, 5.795e-5, -6.729e-8, 2.511e-11}},
    {"ethane", "C2H6", Molecule::polyatomic, {}, {4.178, -4.427e-3, 5.660e-5, -6.651e-8, 2.487e-11}},
    {"propylene", "C3H6", Molecule::polyatomic, {}, {3.834, 3.893e-3, 4.688e-5, -6.013e-8, 2.283e-11}},
    {"propane", "C3H8", Molecule::polyatomic, {}, {3.847, 5.131e-3, 6.011e-5, -7.893e-8, 3.079e-11}},
    {"butane", "C4H10", Molecule::polyatomic, {}, {5.547, 5.536e-3, 8.057e-5, -10.571e-8, 4.134e-11}},
    {"isobutane", "i-C4H10", Molecule::polyatomic, {}, {3.351, 17.883e-3, 5.477e-5, -8.100e-8, 3.243e-11}},
    {"fluoromethane", "CH3F", Molecule::polyatomic, {}, {4.561, -10.437e-3, 4.813e-5, -5.069e-8, 1.769e-11}},
    {"difluoromethane", "CH2F2", Molecule::polyatomic, {}, {4.150, -5.584e-3, 4.384e-5, -5.160e-8, 1.920e-11}},
    {"trifluoromethane", "CHF3", Molecule::polyatomic, {}, {3.450, 3.480e-3, 3.012e-5, -4.452e-8, 1.834e-11}},
    {"tetrafluoromethane", "CF4", Molecule::polyatomic, {}, {2.643, 15.383e-3, 0.850e-5, -2.940e-8, 1.469e-11}},
    {"hexafluoroethane", "C2F6", Molecule::polyatomic, {}, {2.525, 43.543e-3, -2.948e-5, -0.630e-8, 0.967e-11}},
};
constexpr int pure_count = static_cast<int>(std::size(pure_gases));

struct NamedPart {
  const char* formula = nullptr;
  double fraction = 0.0;
};
struct NamedMixture {
  const char* name;
  const char* formula;
  std::array<NamedPart, meter_gas_parts_max> part;
};

// Compositions: air dry (NASA's, of the same tables as the polynomials); endothermic gas from methane and air, and dissociated
// ammonia, by their reactions' stoichiometry; the others are what their names say.
constexpr NamedMixture mixtures[] = {
    {"air", "N2 O2 Ar CO2", {{{"N2", 0.78084}, {"O2", 0.209476}, {"Ar", 0.009365}, {"CO2", 0.000319}}}},
    {"nitrogen with 2 % hydrogen", "98 N2 2 H2", {{{"N2", 0.98}, {"H2", 0.02}}}},
    {"nitrogen with 5 % hydrogen", "95 N2 5 H2", {{{"N2", 0.95}, {"H2", 0.05}}}},
    {"nitrogen with 10 % hydrogen", "90 N2 10 H2", {{{"N2", 0.90}, {"H2", 0.10}}}},
    {"argon with 2 % hydrogen", "98 Ar 2 H2", {{{"Ar", 0.98}, {"H2", 0.02}}}},
    {"argon with 4 % hydrogen", "96 Ar 4 H2", {{{"Ar", 0.96}, {"H2", 0.04}}}},
    {"argon with 25 % nitrogen", "75 Ar 25 N2", {{{"Ar", 0.75}, {"N2", 0.25}}}},
    {"argon with 25 % helium", "75 Ar 25 He", {{{"Ar", 0.75}, {"He", 0.25}}}},
    {"argon with 1 % oxygen", "99 Ar 1 O2", {{{"Ar", 0.99}, {"O2", 0.01}}}},
    {"argon with 18 % carbon dioxide", "82 Ar 18 CO2", {{{"Ar", 0.82}, {"CO2", 0.18}}}},
    {"nitrogen with 50 % carbon dioxide", "50 N2 50 CO2", {{{"N2", 0.50}, {"CO2", 0.50}}}},
    {"dissociated ammonia", "75 H2 25 N2", {{{"H2", 0.75}, {"N2", 0.25}}}},
    {"endothermic gas", "40 N2 40 H2 20 CO", {{{"N2", 0.40}, {"H2", 0.40}, {"CO", 0.20}}}},
};
constexpr int mixture_count = static_cast<int>(std::size(mixtures));

constexpr double heat_capacity_at_k = 273.15;  // of the rule: that of the standard volume

double cp_of(const PureGas& gas, double t_k) {
  if (gas.species) return cp_j_mol_k(*gas.species, t_k);
  const Quartic& a = gas.quartic;
  return gas_constant_j_mol_k * (a[0] + t_k * (a[1] + t_k * (a[2] + t_k * (a[3] + t_k * a[4]))));
}

MeterGas computed(const PureGas& pure, double nitrogen_cp) {
  MeterGas gas{pure.name,
               pure.formula,
               pure.molecule,
               structure_factor(pure.molecule),
               cp_of(pure, heat_capacity_at_k),
               1.0,
               pure.species ? HeatSource::nasa : HeatSource::poling,
               {},
               0};
  gas.factor = gas.structure * nitrogen_cp / gas.cp_j_mol_k;
  return gas;
}

int index_of(const char* formula) {
  for (int i = 0; i < pure_count; ++i)
    if (std::string_view(pure_gases[i].formula) == formula) return i;
  throw std::logic_error(std::string("no pure gas ") + formula);
}

MeterGas mixed(const NamedMixture& mixture, std::span<const MeterGas> pure, double nitrogen_cp) {
  MeterGas gas{mixture.name, mixture.formula, std::nullopt, 0.0, 0.0, 1.0, HeatSource::mixture, {}, 0};
  for (const NamedPart& part : mixture.part) {
    if (part.formula == nullptr) continue;
    const int i = index_of(part.formula);
    gas.part[static_cast<std::size_t>(gas.parts++)] = {i, part.fraction};
    gas.structure += part.fraction * pure[static_cast<std::size_t>(i)].structure;
    gas.cp_j_mol_k += part.fraction * pure[static_cast<std::size_t>(i)].cp_j_mol_k;
  }
  gas.factor = nitrogen_cp * gas.structure / gas.cp_j_mol_k;
  return gas;
}

std::vector<MeterGas> compute_all() {
  const double nitrogen_cp = cp_of(pure_gases[0], heat_capacity_at_k);
  std::vector<MeterGas> gases;
  for (const PureGas& pure : pure_gases) gases.push_back(computed(pure, nitrogen_cp));
  gases.reserve(pure_count + mixture_count);
  const std::vector<MeterGas> pure = gases;
  for (const NamedMixture& mixture : mixtures) gases.push_back(mixed(mixture, pure, nitrogen_cp));
  return gases;
}

}  // namespace

const char* name_of(MoleculeClass molecule) {
  switch (molecule) {
    case MoleculeClass::monatomic:
      return "monatomic";
    case MoleculeClass::diatomic:
      return "diatomic";
    case MoleculeClass::triatomic:
      return "triatomic";
    case MoleculeClass::polyatomic:
      return "polyatomic";
  }
  return "";
}

double structure_factor(MoleculeClass molecule) {
  switch (molecule) {
    case MoleculeClass::monatomic:
      return 1.030;
    case MoleculeClass::diatomic:
      return 1.000;
    case MoleculeClass::triatomic:
      return 0.941;
    case MoleculeClass::polyatomic:
      return 0.880;
  }
  return 1.0;
}

const char* name_of(HeatSource source) {
  switch (source) {
    case HeatSource::nasa:
      return "published: NASA/TP-2002-211556";
    case HeatSource::poling:
      return "published: Poling 2001, app. A";
    case HeatSource::mixture:
      return "derived: rule of mixtures";
  }
  return "";
}

std::span<const MeterGas> meter_gases() {
  static const std::vector<MeterGas> gases = compute_all();
  return gases;
}

const MeterGas* find_meter_gas(std::string_view name) {
  for (const MeterGas& gas : meter_gases())
    if (name == gas.name || name == gas.formula) return &gas;
  return nullptr;
}

double meter_gas_cp_j_mol_k(const MeterGas& gas, double t_k) {
  const std::ptrdiff_t i = &gas - meter_gases().data();
  if (i < 0 || i >= pure_count) throw std::invalid_argument("meter_gas_cp_j_mol_k: a pure gas of the table");
  return cp_of(pure_gases[i], t_k);
}

double conversion_factor(std::span<const MeterGasPart> parts) {
  const std::span<const MeterGas> gases = meter_gases();
  double structure = 0.0, heat = 0.0;
  for (const MeterGasPart& part : parts) {
    const MeterGas& gas = gases[static_cast<std::size_t>(part.gas)];
    structure += part.fraction * gas.structure;
    heat += part.fraction * gas.cp_j_mol_k;
  }
  return gases[0].cp_j_mol_k * structure / heat;
}

std::optional<std::array<double, species_count>> plant_species(const MeterGas& gas) {
  std::array<double, species_count> fraction{};
  const auto add = [&](std::ptrdiff_t i, double share) {
    const std::optional<Species> species = pure_gases[i].species;
    if (species) fraction[static_cast<std::size_t>(*species)] += share;
    return species.has_value();
  };
  if (gas.parts == 0) return add(&gas - meter_gases().data(), 1.0) ? std::optional(fraction) : std::nullopt;
  for (int p = 0; p < gas.parts; ++p) {
    const MeterGasPart& part = gas.part[static_cast<std::size_t>(p)];
    if (!add(part.gas, part.fraction)) return std::nullopt;
  }
  return fraction;
}

std::vector<std::string> plant_gases() {
  std::vector<std::string> names;
  for (const MeterGas& gas : meter_gases()) {
    if (!plant_species(gas)) continue;
    names.emplace_back(gas.name);
    names.emplace_back(gas.formula);
  }
  return names;
}

CompositionError::CompositionError(std::string found_, std::string expected_, std::string word_)
    : std::invalid_argument("found " + found_ + ", expected " + expected_), found(std::move(found_)), expected(std::move(expected_)),
      word(std::move(word_)) {}

namespace {

std::string digits(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.9g", value);
  return text;
}

struct Share { double percent = 0.0; std::string gas; };

// "70 argon 30 carbon dioxide": a number begins a share, words up to the next number are its gas.
std::vector<Share> read_shares(std::string_view text) {
  std::vector<Share> shares;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t begin = text.find_first_not_of(" \t,%", at);
    if (begin == std::string_view::npos) break;
    const std::size_t end = std::min(text.find_first_of(" \t,%", begin), text.size());
    const std::string_view word = text.substr(begin, end - begin);
    at = end;
    double percent = 0.0;
    const auto [rest, error] = std::from_chars(word.data(), word.data() + word.size(), percent);
    const bool number = error == std::errc{} && rest == word.data() + word.size();
    if (number) shares.push_back({percent, {}});
    else if (shares.empty()) return {{0.0, std::string(text)}};        // not shares: a name
    else shares.back().gas += (shares.back().gas.empty() ? "" : " ") + std::string(word);
  }
  return shares;
}

constexpr const char* any_gas = "a gas of `saggar gases` that the plant can hold, or percent by volume before each: 96 Ar 4 H2";

const MeterGas& modelled(const std::string& name) {
  const MeterGas* gas = find_meter_gas(name);
  if (gas == nullptr) throw CompositionError("the gas `" + name + "`", any_gas, name);
  if (!plant_species(*gas)) throw CompositionError("`" + name + "`, which the plant's gas cannot hold", any_gas, name);
  return *gas;
}

void add_share(Composition& sum, const MeterGas& gas, double fraction, double& structure, double& heat) {
  const auto species = *plant_species(gas);
  for (std::size_t s = 0; s < species_count; ++s) sum.fraction[s] += fraction * species[s];
  structure += fraction * gas.structure;
  heat += fraction * gas.cp_j_mol_k;
}

}  // namespace

Composition read_composition(std::string_view text) {
  std::vector<Share> shares;
  if (find_meter_gas(text) != nullptr) shares = {{100.0, std::string(text)}};
  else shares = read_shares(text);
  if (shares.size() == 1 && shares[0].percent == 0.0) (void)modelled(shares[0].gas);
  double sum = 0.0, structure = 0.0, heat = 0.0;
  for (const Share& share : shares) {
    if (share.gas.empty()) throw CompositionError(digits(share.percent) + " % of no gas", any_gas, "");
    if (!(share.percent > 0.0)) throw CompositionError(digits(share.percent) + " % of " + share.gas, "a share above 0 %", "");
    (void)modelled(share.gas);
    sum += share.percent;
  }
  if (!(std::abs(sum - 100.0) <= 1e-6)) throw CompositionError("shares that sum to " + digits(sum) + " %", "100 %", "");
  Composition composition;
  for (const Share& share : shares) add_share(composition, modelled(share.gas), share.percent / sum, structure, heat);
  composition.factor = meter_gases()[0].cp_j_mol_k * structure / heat;
  return composition;
}

}  // namespace plant
