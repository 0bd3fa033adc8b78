// Conversion factors of thermal mass-flow controllers for gases and named mixtures, relative to nitrogen: computed, not copied.
//
// A thermal meter heats what passes and takes the heat for the flow, so the factor is s cp(N2) / cp(gas) with molar heat
// capacities at 0 degC, and s by the structure of the molecule: monatomic 1.030, diatomic 1.000, triatomic 0.941, polyatomic
// 0.880. Of a mixture with mole fractions a: cp(N2) sum(a s) / sum(a cp). (Makers of such instruments publish both rules, and
// factors that differ by 5 % for mono- and diatomic gases, by 10 % for others: a factor is no better than that unless it was
// measured.)
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "plant/properties.h"

namespace plant {

enum class MoleculeClass : std::uint8_t { monatomic, diatomic, triatomic, polyatomic };
const char* name_of(MoleculeClass molecule);
double structure_factor(MoleculeClass molecule);  // s of the rule

// Where a heat capacity comes from.
enum class HeatSource : std::uint8_t {
  nasa,     // NASA Glenn polynomials (NASA/TP-2002-211556)
  poling,   // Poling, Prausnitz, O'Connell, The Properties of Gases and Liquids, 5th ed. (2001), appendix A, section C
  mixture,  // sum over its parts
};
const char* name_of(HeatSource source);

struct MeterGasPart {
  int gas = -1;           // index of a pure gas in meter_gases()
  double fraction = 0.0;  // mole fraction; those of a mixture sum to 1
};
inline constexpr int meter_gas_parts_max = 4;

struct MeterGas {
  const char* name = "";                  // as files say it: "carbon dioxide", "nitrogen with 5 % hydrogen"
  const char* formula = "";               // "CO2"; of a mixture its parts
  std::optional<MoleculeClass> molecule;  // none: a mixture
  double structure = 1.0;                 // s; of a mixture sum(a s)
  double cp_j_mol_k = 0.0;                // ideal gas at 0 degC
  double factor = 1.0;                    // relative to nitrogen
  HeatSource source = HeatSource::nasa;
  std::array<MeterGasPart, meter_gas_parts_max> part{};  // of a mixture
  int parts = 0;                                         // 0: pure
};

// Pure gases first, then mixtures. Computed once.
std::span<const MeterGas> meter_gases();
// nullptr: no gas of that name or formula.
const MeterGas* find_meter_gas(std::string_view name);
// Of a pure gas at another temperature, for checks [J/(mol K)]; std::invalid_argument for a mixture.
double meter_gas_cp_j_mol_k(const MeterGas& gas, double t_k);
// The rule, for parts of any kind; fractions are taken as they are.
double conversion_factor(std::span<const MeterGasPart> parts);

// Mole fractions by the species of the plant; none: holds something the plant's gas knows nothing of.
std::optional<std::array<double, species_count>> plant_species(const MeterGas& gas);
std::vector<std::string> plant_gases();         // names and formulas of the gases that have them

// What a cylinder carries: a name or formula of the table, or percent by volume before each gas, "96 Ar 4 H2", "70 argon 30 carbon dioxide"
// (percent signs and commas may stand there), summing to 100 within 1e-6; fractions are then scaled to sum to 1.
struct Composition {
  std::array<double, species_count> fraction{};
  double factor = 1.0;                          // of a meter calibrated on nitrogen
};
struct CompositionError : std::invalid_argument {
  CompositionError(std::string found_, std::string expected_, std::string word_);
  std::string found, expected;
  std::string word;                             // the gas that is none; empty: something else is wrong
};
Composition read_composition(std::string_view text);   // throws CompositionError

}  // namespace plant
