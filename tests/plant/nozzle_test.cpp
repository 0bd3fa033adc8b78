#include "plant/nozzle.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "plant/properties.h"
#include "tests/plant/published_table.h"

namespace plant {
namespace {

// The table's molar flow has nine digits; its gammas six.
TEST(Nozzle, PassesThePublishedFlowsThroughAnOrifice) {
  int rows = 0;
  for (const auto& row : PublishedTable("flow_orifice_examples.csv").rows()) {
    const double mol_s = PublishedTable::number(row, "ndot_mol_s");
    const double molar_mass = PublishedTable::number(row, "mdot_kg_s_Cd1_d1mm_T293.15K") / mol_s;
    const double gamma = row.at("gamma") == "1.666667" ? 5.0 / 3.0 : PublishedTable::number(row, "gamma");
    const double area = 0.25 * std::numbers::pi * 1e-6, root = std::sqrt(molar_mass * gas_constant_j_mol_k * 293.15);
    const double up = PublishedTable::number(row, "p1_Pa"), down = PublishedTable::number(row, "p2_Pa");
    const NozzleFlow f = nozzle_flow(nozzle_gas(gamma), area, up, down, root);
    EXPECT_NEAR(f.mol_s, mol_s, 1e-7 * mol_s) << row.at("gas") << " to " << row.at("p2_Pa");
    ++rows;
  }
  EXPECT_EQ(rows, 42);
}

TEST(Nozzle, ChokesAtThePublishedRatio) {
  for (const auto& row : PublishedTable("flow_critical_constants.csv").rows()) {
    const NozzleGas gas = nozzle_gas(PublishedTable::number(row, "gamma"));
    EXPECT_NEAR(gas.critical_ratio, PublishedTable::number(row, "critical_pressure_ratio"), 1e-8);
    EXPECT_NEAR(gas.choked_psi, PublishedTable::number(row, "choked_flow_constant_mdot_sqrtRsT_over_Ap"), 1e-8);
    EXPECT_NEAR(flow_function(gas, gas.critical_ratio * (1.0 + 1e-9)).psi, gas.choked_psi, 1e-8);
  }
}

// A*/A at a Mach number is the flow function over its choked value; the table's A/A* has nine digits.
TEST(Nozzle, FlowFunctionIsTheAreaRatioOfTheIsentropicTables) {
  for (const auto& row : PublishedTable("flow_isentropic.csv").rows()) {
    if (PublishedTable::number(row, "Mach") > 1.0) continue;
    const NozzleGas gas = nozzle_gas(row.at("gamma") == "1.666667" ? 5.0 / 3.0 : PublishedTable::number(row, "gamma"));
    const double share = flow_function(gas, PublishedTable::number(row, "p_over_p0")).psi / gas.choked_psi;
    EXPECT_NEAR(1.0 / share, PublishedTable::number(row, "A_over_Astar"), 1e-6 * PublishedTable::number(row, "A_over_Astar"));
  }
}

TEST(Nozzle, StopsAtEqualPressuresAndNeverRunsBackwards) {
  const NozzleGas gas = nozzle_gas(1.4);
  EXPECT_EQ(nozzle_flow(gas, 1e-6, 1e5, 1e5, 8.0).mol_s, 0.0);
  EXPECT_EQ(nozzle_flow(gas, 1e-6, 1e5, 1.1e5, 8.0).mol_s, 0.0);
  EXPECT_EQ(nozzle_flow(gas, 0.0, 1e5, 0.0, 8.0).mol_s, 0.0);
  double before = nozzle_flow(gas, 1e-6, 1e5, 0.0, 8.0).mol_s;
  for (double down = 0.0; down < 1e5; down += 7.0) {           // monotonic through choking and the linear end
    const double now = nozzle_flow(gas, 1e-6, 1e5, down, 8.0).mol_s;
    EXPECT_LE(now, before * (1.0 + 1e-12));
    before = now;
  }
}

TEST(Nozzle, DerivativesAreThoseOfTheFlow) {
  const NozzleGas gas = nozzle_gas(1.667);
  for (const double down : {2e4, 7e4, 9e4, 0.9995e5, 0.99996e5}) {
    const NozzleFlow f = nozzle_flow(gas, 1e-6, 1e5, down, 8.0);
    const double d = 0.01;
    const double up = (nozzle_flow(gas, 1e-6, 1e5 + d, down, 8.0).mol_s - nozzle_flow(gas, 1e-6, 1e5 - d, down, 8.0).mol_s) / (2.0 * d);
    const double dn = (nozzle_flow(gas, 1e-6, 1e5, down + d, 8.0).mol_s - nozzle_flow(gas, 1e-6, 1e5, down - d, 8.0).mol_s) / (2.0 * d);
    EXPECT_NEAR(f.by_upstream, up, 1e-5 * std::abs(up) + 1e-13) << down;
    EXPECT_NEAR(f.by_downstream, dn, 1e-5 * std::abs(dn) + 1e-13) << down;
  }
}

TEST(Nozzle, OpeningsInSeriesAddTheirInverseSquares) {
  EXPECT_NEAR(series_area_m2(3e-6, 4e-6), 2.4e-6, 1e-15);
  EXPECT_EQ(series_area_m2(3e-6, 0.0), 0.0);
}

}  // namespace
}  // namespace plant
