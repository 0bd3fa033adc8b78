#include "plant/meter_gas.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "published_table.h"

namespace {

using plant::MeterGas;
using plant::MoleculeClass;

double factor_of(const std::string& name) {
  const MeterGas* gas = plant::find_meter_gas(name);
  if (gas == nullptr) throw std::out_of_range("no gas " + name);
  return gas->factor;
}

// 5 % for mono- and diatomic gases, 10 % where the sensor's temperature counts.
double band_of(const MeterGas& gas) {
  const bool simple = gas.molecule == MoleculeClass::monatomic || gas.molecule == MoleculeClass::diatomic || gas.parts > 0;
  return simple ? 0.05 : 0.10;
}

TEST(MeterGas, has_at_least_thirty_pure_gases_and_mixtures_besides) {
  long pure = 0;
  std::set<std::string> names;
  for (const MeterGas& gas : plant::meter_gases()) {
    pure += gas.parts == 0 ? 1 : 0;
    EXPECT_TRUE(names.insert(gas.name).second) << gas.name << " twice";
    EXPECT_TRUE(names.insert(gas.formula).second) << gas.formula << " twice";
  }
  EXPECT_GE(pure, 30);
  EXPECT_GE(static_cast<long>(plant::meter_gases().size()) - pure, 10);
}

// The rule itself: every digit that the pack prints. It takes air for one diatomic gas with a heat capacity extrapolated below
// 300 K; here air is a mixture with 0.94 % of a monatomic gas (3e-4).
TEST(MeterGas, follows_the_rule_to_the_digits_printed) {
  for (const auto& row : PublishedTable("mfc_gas_factors.csv").rows()) {
    const std::string gas = row.at("gas") == "Air" ? "air" : row.at("gas");
    const double want = PublishedTable::number(row, "GCF_with_structure_factor_273K");
    EXPECT_NEAR(factor_of(gas), want, gas == "air" ? 3.5e-4 : 6e-5) << gas;
    EXPECT_NEAR(plant::find_meter_gas(gas)->cp_j_mol_k / PublishedTable::number(row, "cp_273K_J_molK"), 1.0, 1e-5) << gas;
  }
}

TEST(MeterGas, mixtures_follow_the_published_example_and_the_pack) {
  const std::map<std::string, std::string> name{{"75Ar_25N2", "argon with 25 % nitrogen"},
                                                {"5H2_95N2", "nitrogen with 5 % hydrogen"},
                                                {"10H2_90N2", "nitrogen with 10 % hydrogen"},
                                                {"4H2_96Ar", "argon with 4 % hydrogen"},
                                                {"50CO2_50N2", "nitrogen with 50 % carbon dioxide"}};
  int published = 0;
  for (const auto& row : PublishedTable("mfc_mixture_factors.csv").rows()) {
    const double factor = factor_of(name.at(row.at("mixture")));
    EXPECT_NEAR(factor, PublishedTable::number(row, "GCF_rel_N2_computed"), 6e-5) << row.at("mixture");
    if (row.at("GCF_published").empty()) continue;
    EXPECT_NEAR(factor, PublishedTable::number(row, "GCF_published"), 5e-4) << row.at("mixture");  // to its last digit
    ++published;
  }
  EXPECT_EQ(published, 1);
}

// A meter for argon with carbon dioxide in it: 0.70 / 1.39 = 0.50 as published, within what the two factors may each be off.
TEST(MeterGas, an_instrument_for_another_gas_shows_the_ratio) {
  EXPECT_NEAR(factor_of("CO2") / factor_of("Ar"), 0.50, 0.50 * 0.15);
}

TEST(MeterGas, agrees_with_the_published_lists_within_their_bands) {
  int compared = 0;
  for (const auto& row : PublishedTable("mfc_gas_factors.csv").rows()) {
    const MeterGas* gas = plant::find_meter_gas(row.at("gas") == "Air" ? "air" : row.at("gas"));
    ASSERT_NE(gas, nullptr);
    for (const char* list : {"published_list_1", "published_list_2a", "published_list_2b"}) {
      if (row.at(list).empty()) continue;
      EXPECT_NEAR(gas->factor / PublishedTable::number(row, list), 1.0, band_of(*gas)) << gas->formula << " in " << list;
      ++compared;
    }
  }
  EXPECT_EQ(compared, 9 + 8 + 8);
}

// Where further lists disagree about a gas by as much as the band, the nearest of them counts.
TEST(MeterGas, agrees_with_further_lists) {
  std::map<std::string, double> nearest;
  for (const auto& row : PublishedTable("mfc_lists_beyond.csv").rows()) {
    const double off = std::abs(factor_of(row.at("gas")) / PublishedTable::number(row, "factor") - 1.0);
    const auto [place, first] = nearest.try_emplace(row.at("gas"), off);
    if (!first) place->second = std::min(place->second, off);
  }
  EXPECT_GE(nearest.size(), 12u);
  for (const auto& [formula, off] : nearest) EXPECT_LE(off, band_of(*plant::find_meter_gas(formula))) << formula;
}

// The coefficients are typed off a book that prints the value at 298.15 K beside them: within 0.5 %, as two sources of heat
// capacities may differ.
TEST(MeterGas, heat_capacities_are_those_printed_beside_the_coefficients) {
  std::set<std::string> checked;
  for (const auto& row : PublishedTable("gas_cp_at_298k.csv").rows()) {
    const MeterGas* gas = plant::find_meter_gas(row.at("gas"));
    ASSERT_NE(gas, nullptr) << row.at("gas");
    const double want = PublishedTable::number(row, "cp_298K_J_molK");
    EXPECT_NEAR(plant::meter_gas_cp_j_mol_k(*gas, 298.15) / want, 1.0, 0.005) << row.at("gas");
    checked.insert(gas->formula);
  }
  for (const MeterGas& gas : plant::meter_gases())
    EXPECT_TRUE(gas.source != plant::HeatSource::poling || checked.contains(gas.formula)) << gas.formula << " is not checked";
}

TEST(MeterGas, fractions_of_mixtures_sum_to_one_and_give_the_same_factor) {
  for (const MeterGas& gas : plant::meter_gases()) {
    if (gas.parts == 0) continue;
    double sum = 0.0;
    for (int p = 0; p < gas.parts; ++p) sum += gas.part[static_cast<std::size_t>(p)].fraction;
    EXPECT_NEAR(sum, 1.0, 1e-12) << gas.name;
    EXPECT_NEAR(plant::conversion_factor(std::span(gas.part).first(static_cast<std::size_t>(gas.parts))), gas.factor, 1e-12)
        << gas.name;
    double least = 10.0, most = 0.0;
    for (int p = 0; p < gas.parts; ++p) {
      const double factor = plant::meter_gases()[static_cast<std::size_t>(gas.part[static_cast<std::size_t>(p)].gas)].factor;
      least = std::min(least, factor);
      most = std::max(most, factor);
    }
    EXPECT_GE(gas.factor, least) << gas.name;
    EXPECT_LE(gas.factor, most) << gas.name;
  }
}

TEST(MeterGas, knows_what_the_plant_can_hold) {
  EXPECT_FALSE(plant::plant_species(*plant::find_meter_gas("ammonia")));
  const auto forming = plant::plant_species(*plant::find_meter_gas("nitrogen with 5 % hydrogen"));
  ASSERT_TRUE(forming);
  EXPECT_DOUBLE_EQ((*forming)[static_cast<std::size_t>(plant::Species::h2)], 0.05);
  EXPECT_DOUBLE_EQ((*forming)[static_cast<std::size_t>(plant::Species::n2)], 0.95);
}

TEST(MeterGas, reads_what_a_cylinder_carries_by_name_or_by_percent) {
  const auto fraction = [](const char* text, plant::Species s) {
    return plant::read_composition(text).fraction[static_cast<std::size_t>(s)];
  };
  EXPECT_DOUBLE_EQ(fraction("methane", plant::Species::ch4), 1.0);
  EXPECT_DOUBLE_EQ(fraction("dissociated ammonia", plant::Species::h2), 0.75);
  EXPECT_DOUBLE_EQ(fraction("97 N2 3 H2O", plant::Species::h2o), 0.03);
  EXPECT_DOUBLE_EQ(fraction("70 %argon, 30 % carbon dioxide", plant::Species::co2), 0.30);
  EXPECT_DOUBLE_EQ(fraction("50 air 50 N2", plant::Species::o2), 0.5 * 0.209476);
  EXPECT_DOUBLE_EQ(plant::read_composition("4 H2 96 Ar").factor, plant::find_meter_gas("argon with 4 % hydrogen")->factor);
}

TEST(MeterGas, refuses_a_cylinder_that_the_plant_cannot_hold) {
  const auto problem = [](const char* text) -> std::string {
    try {
      (void)plant::read_composition(text);
    } catch (const plant::CompositionError& error) {
      return error.what();
    }
    return "";
  };
  EXPECT_NE(problem("ammonia").find("`ammonia`, which the plant's gas cannot hold"), std::string::npos);
  EXPECT_NE(problem("90 N2 10 NH3").find("`NH3`, which"), std::string::npos);
  EXPECT_NE(problem("argn").find("the gas `argn`"), std::string::npos);
  EXPECT_NE(problem("95 N2 4 H2").find("sum to 99 %"), std::string::npos);
  EXPECT_NE(problem("105 N2 -5 H2").find("-5 % of H2"), std::string::npos);
  EXPECT_NE(problem("95 N2 5").find("5 % of no gas"), std::string::npos);
  EXPECT_NE(problem("nan N2 5 H2"), "");
  EXPECT_NE(problem(""), "");
}

// The unit of flow that the factors turn: one standard litre a minute at 0 degC and 101.325 kPa, and what makers with another
// reference state mean by it.
TEST(MeterGas, a_standard_litre_is_that_of_the_reference_states) {
  for (const auto& row : PublishedTable("mfc_standard_conditions.csv").rows()) {
    const double pa = PublishedTable::number(row, "p_Pa"), t_k = PublishedTable::number(row, "T_K");
    const double ratio = pa / (plant::gas_constant_j_mol_k * t_k) * 1e-3 / 60.0 / plant::slm_mol_s;
    EXPECT_NEAR(ratio / PublishedTable::number(row, "flow_ratio_to_SEMI_E12"), 1.0, 1e-7) << row.at("convention");
  }
  for (const auto& row : PublishedTable("mfc_flow_examples.csv").rows()) {
    const double slm = PublishedTable::number(row, "sccm_SEMI_E12") * 1e-3;
    EXPECT_NEAR(slm * plant::slm_mol_s / PublishedTable::number(row, "mol_per_s"), 1.0, 1e-8);
  }
}

}  // namespace
