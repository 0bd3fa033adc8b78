// Limits and textbook numbers that the formulas must meet; no agreement with the code's own output is asked for.
#include "plant/wall_stress.h"

#include <cmath>

#include <gtest/gtest.h>

namespace {

using plant::CylinderWall;

// Lame's two boundary values: hoop and radial stress at the inner surface sum to what they do at every radius, and a thin wall
// comes to p r / t.
TEST(WallStress, a_thick_wall_that_is_thin_comes_to_the_thin_formula) {
  const CylinderWall wall{0.1, 1e-4};
  EXPECT_NEAR(plant::hoop_stress_pa(wall, 1e5, 0.0) / plant::thin_hoop_stress_pa(wall, 1e5, 0.0), 1.0, 1e-3);
  EXPECT_NEAR(plant::thin_hoop_stress_pa(wall, 1e5, 0.0), 1e5 * 0.10005 / 1e-4, 1.0);
}

// A hole in an endless body under inside pressure: hoop stress equals the pressure. Under outside pressure: twice it, in
// compression.
TEST(WallStress, an_endless_wall_concentrates_as_lame_says) {
  const CylinderWall wall{1e-3, 10.0};
  EXPECT_NEAR(plant::hoop_stress_pa(wall, 1e5, 0.0), 1e5, 100.0);
  EXPECT_NEAR(plant::hoop_stress_pa(wall, 0.0, 1e5), -2e5, 100.0);
}

// The same pressure on both sides is a hydrostatic state: -p everywhere.
TEST(WallStress, equal_pressures_leave_a_hydrostatic_state) {
  EXPECT_NEAR(plant::hoop_stress_pa({0.1, 7e-3}, 1e5, 1e5), -1e5, 1e-6);
}

// Bore 200 mm, wall 7 mm, one atmosphere outside, by hand: 2 p b^2 / (b^2 - a^2) with a = 100, b = 107 gives 1.601 MPa; a
// clamped plate 0.75 p (100/7)^2 = 15.51 MPa; supported with Poisson's ratio 0.25 1.21875 p (100/7)^2 = 25.20 MPa.
TEST(WallStress, comes_to_what_a_hand_calculation_gives) {
  const CylinderWall wall{0.100, 0.007};
  EXPECT_NEAR(plant::hoop_stress_pa(wall, 0.0, 101325.0), -1.6013e6, 1e3);
  EXPECT_NEAR(plant::clamped_plate_stress_pa(wall, 101325.0), 15.509e6, 5e3);
  EXPECT_NEAR(plant::supported_plate_stress_pa(wall, -101325.0), 25.202e6, 5e3);
}

// Bresse: p = E / (4 (1 - nu^2)) (t / r)^3. Steel (200 GPa, here with nu = 0.25), t / r = 1 / 50: 0.427 MPa.
TEST(WallStress, a_long_steel_tube_collapses_where_bresse_says) {
  const CylinderWall wall{0.0995, 0.00201};
  const double mean_over_wall = (0.0995 + 0.001005) / 0.00201;
  const double p = 200e9 / (4.0 * (1.0 - 0.0625)) / std::pow(mean_over_wall, 3.0);
  EXPECT_NEAR(p, 0.427e6, 0.002e6);
  EXPECT_NEAR(plant::collapse_modulus_pa(wall, p), 200e9, 1e6);
}

}  // namespace
