#include "plant/properties.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <map>
#include <string>
#include <vector>

#include "tests/plant/published_table.h"

namespace plant {
namespace {

bool species_of(const std::string& name, Species& species) {
  for (int i = 0; i < species_count; ++i) {
    species = static_cast<Species>(i);
    if (name == species_name(species)) return true;
  }
  return false;
}

using Fractions = std::array<double, species_count>;

double& part(Fractions& fractions, Species species) { return fractions[static_cast<std::size_t>(species)]; }

// Mixtures of tests/reference/gas_mixture_check.csv.
Fractions mixture_of(const std::string& name) {
  Fractions x{};
  const auto set = [&x](Species a, double fa, Species b, double fb) { part(x, a) = fa, part(x, b) = fb; };
  if (name == "forming_5H2_95N2") set(Species::h2, 0.05, Species::n2, 0.95);
  if (name == "forming_10H2_90N2") set(Species::h2, 0.10, Species::n2, 0.90);
  if (name == "forming_4H2_96Ar") set(Species::h2, 0.04, Species::ar, 0.96);
  if (name == "half_N2_half_Ar") set(Species::n2, 0.5, Species::ar, 0.5);
  if (name == "exo_20CO_40H2_40N2") {
    set(Species::h2, 0.4, Species::n2, 0.4);
    part(x, Species::co) = 0.2;
  }
  if (name.starts_with("air_")) {
    set(Species::n2, 0.78084, Species::o2, 0.209476);
    part(x, Species::ar) = 0.009365;
    part(x, Species::co2) = 0.000319;
  }
  return x;
}

// tests/reference/gas_cp_check.csv: cp/R printed with 8 digits: 1e-6 relative.
TEST(GasProperties, ReproducesTheHeatCapacityPolynomials) {
  int rows = 0;
  for (const auto& row : PublishedTable("gas_cp_check.csv").rows()) {
    Species species;
    if (!species_of(row.at("species"), species)) continue;
    ++rows;
    const double t_k = PublishedTable::number(row, "T_K"), expected = PublishedTable::number(row, "cp_over_R");
    EXPECT_NEAR(cp_j_mol_k(species, t_k) / gas_constant_j_mol_k, expected, 1e-6 * expected) << row.at("species") << t_k;
    // The column is printed with R = 8.31451 of the fits, this code has CODATA 2018: 5.8e-6 relative, and 0.005 J/mol of rounding.
    const double enthalpy = PublishedTable::number(row, "H_T_J_mol_incl_formation");
    EXPECT_NEAR(enthalpy_j_mol(species, t_k), enthalpy, 7e-6 * std::fabs(enthalpy) + 0.012) << row.at("species") << t_k;
  }
  EXPECT_GT(rows, 60);
}

// h is the integral of cp, within each piece and across the joint at 1000 K (the published pieces join within 1e-6 of h there).
TEST(GasProperties, EnthalpyIsTheIntegralOfTheHeatCapacity) {
  for (int i = 0; i < species_count; ++i) {
    const auto species = static_cast<Species>(i);
    for (const double t_k : {250.0, 400.0, 800.0, 1200.0, 1500.0}) {
      const double slope = (enthalpy_j_mol(species, t_k + 0.5) - enthalpy_j_mol(species, t_k - 0.5)) / 1.0;
      EXPECT_NEAR(slope, cp_j_mol_k(species, t_k), 1e-5 * slope) << species_name(species) << t_k;
    }
    EXPECT_NEAR(enthalpy_j_mol(species, 1000.0), enthalpy_j_mol(species, 999.999999), 2.0) << species_name(species);
  }
}

// tests/reference/gas_transport_check.csv: the fits themselves to the printed digits, and against the reference equations within
// the published deviation of each gas (gas_transport_deviation.csv, worst of 300, 600, 1000, 1300 K).
TEST(GasProperties, ReproducesTheTransportFitsAndTheirPublishedDeviation) {
  std::map<std::string, PublishedTable::Row> deviation;
  for (const auto& row : PublishedTable("gas_transport_deviation.csv").rows()) deviation[row.at("species")] = row;
  int fits = 0, references = 0;
  for (const auto& row : PublishedTable("gas_transport_check.csv").rows()) {
    Species species;
    if (!species_of(row.at("species"), species)) continue;
    const double t_k = PublishedTable::number(row, "T_K");
    const double mu = 1e6 * viscosity_pa_s(species, t_k), k = 1e3 * conductivity_w_m_k(species, t_k);
    if (!row.at("mu_cea_uPa_s").empty()) {
      EXPECT_NEAR(mu, PublishedTable::number(row, "mu_cea_uPa_s"), 1e-5 * mu) << row.at("species") << t_k;
      EXPECT_NEAR(k, PublishedTable::number(row, "k_cea_mW_mK"), 1e-5 * k) << row.at("species") << t_k;
      ++fits;
    }
    const bool listed = t_k == 300.0 || t_k == 600.0 || t_k == 1000.0 || t_k == 1300.0;
    const auto& band = deviation.at(row.at("species"));
    if (!listed || row.at("mu_ref_uPa_s").empty() || band.at("max_abs_dev_mu_cea_pct_300_600_1000_1300K").empty()) continue;
    const double mu_band = 0.01 * PublishedTable::number(band, "max_abs_dev_mu_cea_pct_300_600_1000_1300K") + 6e-5;
    const double k_band = 0.01 * PublishedTable::number(band, "max_abs_dev_k_cea_pct_300_600_1000_1300K") + 6e-5;
    const double mu_ref = PublishedTable::number(row, "mu_ref_uPa_s"), k_ref = PublishedTable::number(row, "k_ref_mW_mK");
    EXPECT_NEAR(mu, mu_ref, mu_band * mu_ref) << row.at("species") << t_k;
    EXPECT_NEAR(k, k_ref, k_band * k_ref) << row.at("species") << t_k;
    ++references;
  }
  EXPECT_GT(fits, 50);
  EXPECT_GT(references, 25);
}

// Water vapour below the fits: IAPWS R12-08 and R15-11, dilute limit, to the printed digits (273.15, 293.15, 300 K).
TEST(GasProperties, WaterVapourFollowsTheDiluteLimitBelowTheFits) {
  int rows = 0;
  for (const auto& row : PublishedTable("gas_transport_check.csv").rows()) {
    if (row.at("species") != "H2O" || !row.at("mu_cea_uPa_s").empty()) continue;
    const double t_k = PublishedTable::number(row, "T_K");
    EXPECT_NEAR(1e6 * viscosity_pa_s(Species::h2o, t_k), PublishedTable::number(row, "mu_ref_uPa_s"), 0.0001);
    EXPECT_NEAR(1e3 * conductivity_w_m_k(Species::h2o, t_k), PublishedTable::number(row, "k_ref_mW_mK"), 0.0001);
    ++rows;
  }
  EXPECT_EQ(rows, 3);
}

// tests/reference/gas_mixture_check.csv: Wilke and Wassiljewa from the same pure values, 5 digits printed.
TEST(GasProperties, ReproducesTheMixtureRules) {
  int rows = 0;
  for (const auto& row : PublishedTable("gas_mixture_check.csv").rows()) {
    const Fractions x = mixture_of(row.at("mixture"));
    const double t_k = PublishedTable::number(row, "T_K");
    double mass = 0.0, cp = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
      mass += x[i] * molar_mass_kg_mol(static_cast<Species>(i));
      cp += x[i] * cp_j_mol_k(static_cast<Species>(i), t_k);
    }
    EXPECT_NEAR(1e3 * mass, PublishedTable::number(row, "M_g_mol"), 1e-5) << row.at("mixture");
    EXPECT_NEAR(cp, PublishedTable::number(row, "cp_J_molK"), 2e-5 * cp) << row.at("mixture");
    const double mu = PublishedTable::number(row, "mu_wilke_uPa_s"), k = PublishedTable::number(row, "k_wassiljewa_mason_saxena_mW_mK");
    EXPECT_NEAR(1e6 * mixture_viscosity_pa_s(x, t_k), mu, 1e-5 * mu) << row.at("mixture") << t_k;
    EXPECT_NEAR(1e3 * mixture_conductivity_w_m_k(x, t_k), k, 1e-5 * k) << row.at("mixture") << t_k;
    EXPECT_NEAR(1e6 * gas_table().viscosity_pa_s(x, t_k), mu, 2e-4 * mu) << row.at("mixture") << t_k;
    EXPECT_NEAR(1e3 * gas_table().conductivity_w_m_k(x, t_k), k, 2e-4 * k) << row.at("mixture") << t_k;
    ++rows;
  }
  EXPECT_EQ(rows, 24);
}

// The table's stated bounds: linear interpolation over h = 4 K errs by h^2/8 |cp''|, at most 2e-5 of cp; the enthalpy by what that
// integrates to.
TEST(GasTable, StaysWithinItsStatedBoundsOfThePolynomials) {
  for (int i = 0; i < species_count; ++i) {
    const auto species = static_cast<Species>(i);
    const double reference = enthalpy_j_mol(species, 298.15);
    for (double t_k = 250.0; t_k < 1790.0; t_k += 3.1) {
      const auto place = gas_table().place(t_k);
      const double cp = cp_j_mol_k(species, t_k);
      ASSERT_NEAR(gas_table().cp_j_mol_k(i, place), cp, 2e-5 * cp) << species_name(species) << t_k;
      ASSERT_NEAR(gas_table().enthalpy_j_mol(i, place), enthalpy_j_mol(species, t_k) - reference, 0.2) << species_name(species) << t_k;
    }
  }
}

TEST(GasTable, EnthalpyMinusInternalEnergyIsRT) {
  const auto place = gas_table().place(731.0);
  EXPECT_NEAR(gas_table().enthalpy_j_mol(2, place) - gas_table().internal_energy_j_mol(2, place), gas_constant_j_mol_k * 731.0, 1e-9);
  EXPECT_NEAR(gas_table().enthalpy_j_mol(2, gas_table().place(298.15)), 0.0, 1e-9);
}

TEST(GasTable, FindsTheTemperatureOfAnInternalEnergy) {
  const std::vector<double> mol{0.3, 0.01, 0.5, 0.0, 0.002};
  for (const double t_k : {260.0, 298.15, 444.0, 1000.0, 1066.0, 1500.0}) {
    const double energy = gas_table().internal_energy_j(mol, t_k);
    EXPECT_NEAR(gas_table().temperature_k(mol, energy, 300.0), t_k, 1e-7);
    const double slope = (gas_table().internal_energy_j(mol, t_k + 0.01) - gas_table().internal_energy_j(mol, t_k - 0.01)) / 0.02;
    EXPECT_NEAR(gas_table().heat_capacity_j_k(mol, t_k), slope, 1e-5 * slope);
  }
}

TEST(GasTable, StaysFiniteFarOutsideItsRange) {
  const std::vector<double> mol{1.0};
  for (const double t_k : {1.0, 100.0, 1900.0, 5000.0}) {
    EXPECT_GT(gas_table().heat_capacity_j_k(mol, t_k), 0.0);
    EXPECT_TRUE(std::isfinite(gas_table().internal_energy_j(mol, t_k)));
    EXPECT_GT(gas_table().viscosity_pa_s(mol, t_k), 0.0);
  }
}

// tests/reference/moisture_dew_point.csv: 0.5 % required by the table; ice branch below 0 degC.
TEST(Moisture, SaturationPressureFollowsThePublishedTable) {
  int rows = 0;
  for (const auto& row : PublishedTable("moisture_dew_point.csv").rows()) {
    const double degc = PublishedTable::number(row, "dew_or_frost_point_C");
    const double expected = PublishedTable::number(row, "p_sat_Pa_IAPWS");
    EXPECT_NEAR(saturation_pa(degc), expected, 1e-7 * expected) << degc;   // the same equations, 8 digits printed
    EXPECT_NEAR(saturation_pa(degc), PublishedTable::number(row, "p_Sonntag_Pa"), 0.005 * expected) << degc;
    if (!row.at("published_table_ppm").empty()) {
      const double ppm = PublishedTable::number(row, "published_table_ppm");
      EXPECT_NEAR(1e6 * saturation_pa(degc) / 101325.0, ppm, 0.005 * ppm) << degc;
    }
    EXPECT_NEAR(dew_point_degc(expected), degc, 1e-5);
    EXPECT_NEAR(dew_point_fast_degc(expected), degc, 0.02);
    ++rows;
  }
  EXPECT_EQ(rows, 14);
}

// tests/reference/moisture_verification.csv: IAPWS R14-08 table 3 (230 K: 8.94735 Pa), triple point 611.657 Pa, and water boils at
// 373.1243 K under 101.325 kPa.
TEST(Moisture, MeetsThePublishedVerificationValues) {
  EXPECT_NEAR(saturation_ice_pa(230.0 - 273.15), 8.94735, 5e-6);
  EXPECT_NEAR(saturation_ice_pa(0.01), 611.657, 5e-4);
  EXPECT_NEAR(saturation_liquid_pa(0.01), 611.657, 0.01);
  EXPECT_NEAR(saturation_liquid_pa(373.1243 - 273.15), 101325.0, 1.0);
}

TEST(Moisture, DewPointInvertsSaturationEverywhere) {
  for (double degc = -125.0; degc < 360.0; degc += 1.37) {
    ASSERT_NEAR(dew_point_degc(saturation_pa(degc)), degc, 1e-6);
    ASSERT_NEAR(dew_point_fast_degc(saturation_pa(degc)), std::min(degc, 60.0), 0.02);
  }
  EXPECT_EQ(dew_point_degc(0.0), -130.0);
  EXPECT_EQ(dew_point_degc(std::nan("")), -130.0);
  EXPECT_NEAR(dew_point_fast_degc(0.0), -130.0, 0.02);
}

}  // namespace
}  // namespace plant
