#include "plant/hose.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <numbers>
#include <string>

#include "plant/properties.h"
#include "tests/plant/published_table.h"

namespace plant {
namespace {

double molar_mass(const std::string& gas) {
  if (gas == "Air") return 0.0289647;
  for (int i = 0; i < species_count; ++i) {
    if (gas == species_name(static_cast<Species>(i))) return molar_mass_kg_mol(static_cast<Species>(i));
  }
  throw std::invalid_argument(gas);
}

// The viscosity is taken back from the table's mean free path, printed with six digits: 1e-5.
TEST(Hose, ConductanceMatchesThePublishedTableFromViscousToMolecularFlow) {
  int rows = 0;
  for (const auto& row : PublishedTable("vacuum_conductance.csv").rows()) {
    const double t_k = PublishedTable::number(row, "T_K"), pa = PublishedTable::number(row, "p_mean_Torr") * 101325.0 / 760.0;
    const double m = molar_mass(row.at("gas"));
    const double path_m = PublishedTable::number(row, "mean_free_path_mm") * 1e-3;
    const double viscosity = path_m * pa / std::sqrt(0.5 * std::numbers::pi * gas_constant_j_mol_k * t_k / m);
    const TubeGas tube = tube_gas(PublishedTable::number(row, "d_mm") * 1e-3, PublishedTable::number(row, "L_m"), viscosity, m, t_k);
    const double published = PublishedTable::number(row, "C_knudsen_L_s");
    EXPECT_NEAR(tube_conductance_m3_s(tube, pa) * 1e3, published, 2e-5 * published) << row.at("gas") << " " << pa << " Pa";
    EXPECT_NEAR(tube.molecular_m3_s * 1e3, PublishedTable::number(row, "C_molecular_long_tube_L_s"), 2e-5 * published);
    ++rows;
  }
  EXPECT_EQ(rows, 160);
}

TEST(Hose, SoundSpeedLimitsTheFlowOnlyWhereTheDifferenceIsLarge) {
  const TubeGas tube = tube_gas(0.016, 1.5, 18.2e-6, 0.02896, 293.15);
  EXPECT_LT(limited_conductance_m3_s(tube, 1e5, 1e3) * (1e5 - 1e3), 1e5 * (tube.choked_m3_s + tube.molecular_m3_s));
  for (const double pa : {10.0, 1e3, 1e5}) {
    const double whole = tube_conductance_m3_s(tube, 0.99995 * pa);
    EXPECT_NEAR(limited_conductance_m3_s(tube, pa, 0.9999 * pa), whole, 1e-2 * whole);
  }
}

TEST(Hose, PumpLosesItsSpeedTowardsTheBasePressure) {
  Pump pump;
  pump.speed_m3_s = 5e-4;
  pump.base_pa = 1.0;
  EXPECT_NEAR(pump_speed_m3_s(pump, 1.0, 1e5), 5e-4, 1e-8);
  EXPECT_NEAR(pump_speed_m3_s(pump, 1.0, 2.0), 2.5e-4, 1e-12);
  EXPECT_EQ(pump_speed_m3_s(pump, 1.0, 0.9), 0.0);
  EXPECT_EQ(pump_speed_m3_s(pump, 0.0, 1e5), 0.0);
}

}  // namespace
}  // namespace plant
