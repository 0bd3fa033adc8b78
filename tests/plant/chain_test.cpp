#include "plant/chain.h"

#include <gtest/gtest.h>
#include <yaml-cpp/yaml.h>

#include <cmath>
#include <string>

#include "tests/checkout.h"
#include "tests/plant/published_table.h"

namespace plant {
namespace {

constexpr double zero_k = 273.15;
constexpr std::size_t last = chain_cells - 1;

// One slab or cylinder in lane 0, without a face cell, equal cells.
struct Wall {
  ChainModel model{};
  ChainState state{};

  Wall(const Material& material, LaneShape shape, double end_w_k, double start_degc) {
    shape.face_m = 0.0;
    shape.growth = 1.0;
    for (int l = 0; l < chain_lanes; ++l) shape_lane(model, l, material, shape);
    model.end_w_k = {end_w_k, end_w_k, end_w_k, end_w_k};
    start_chain(model, state, start_degc + zero_k);
  }

  // Runs with this power into the first cells; returns the heat that left by the end.
  double run(double for_s, int steps, double power_w, double end_degc) {
    const double dt = for_s / steps;
    const double heat = power_w * dt, end_k = end_degc + zero_k;
    double left = 0.0;
    for (int i = 0; i < steps; ++i) {
      refresh_chain(model, state, dt);
      left += step_chain(state, {heat, heat, heat, heat}, {end_k, end_k, end_k, end_k})[0];
    }
    return left;
  }

  double degc(std::size_t cell) const { return state.t_k[cell][0] - zero_k; }
  // At x = 0, insulated: an even parabola through the first two cells.
  double insulated_face_degc() const { return degc(0) - (degc(1) - degc(0)) / 8.0; }
  double middle_degc() const { return 0.5 * (degc(chain_cells / 2 - 1) + degc(chain_cells / 2)); }
};

Material plain(double k, double density, double heat) {
  Material m;
  m.density_kg_m3 = density;
  m.k0_w_mk = k;
  m.c0_j_kgk = heat;
  return m;
}

LaneShape slab(double thickness_m, double area_m2) {
  LaneShape shape;
  shape.thickness_m = thickness_m;
  shape.area_m2 = area_m2;
  return shape;
}

YAML::Node conduction_case(const std::string& id) {
  const YAML::Node file = YAML::LoadFile(std::string(source_folder) + "/tests/reference/conduction_cases.yaml");
  for (const YAML::Node& node : file["cases"]) {
    if (node["id"].as<std::string>() == id) return node["results"];
  }
  throw std::runtime_error("no case " + id);
}

// 20 cells: within 0.5 % of the step, as the reference's note on grids asks.
TEST(Chain, SlabCooledByConvectionFollowsTheSeriesSolution) {
  for (const auto& row : PublishedTable("conduction_slab_convection.csv").rows()) {
    const double biot = PublishedTable::number(row, "Bi"), fourier = PublishedTable::number(row, "Fo");
    SCOPED_TRACE(testing::Message() << "Bi " << biot << " Fo " << fourier);
    const double thick = 0.1, k = 1.0, diffusivity = 1e-6;
    const double step_k = 100.0;
    Wall wall(plain(k, 1000.0, 1000.0), slab(thick, 1.0), biot * k / thick, step_k);
    const double left = wall.run(fourier * thick * thick / diffusivity, 2000, 0.0, 0.0);
    const double half_w_k = k * wall.model.outward_m[last][0], end_w_k = biot * k / thick;
    EXPECT_NEAR(wall.insulated_face_degc() / step_k, PublishedTable::number(row, "theta_centre_x0"), 0.005);
    EXPECT_NEAR(wall.middle_degc() / step_k, PublishedTable::number(row, "theta_x0.5"), 0.005);
    EXPECT_NEAR(wall.degc(last) * half_w_k / (half_w_k + end_w_k) / step_k, PublishedTable::number(row, "theta_surface_x1"), 0.005);
    EXPECT_NEAR(left / (1e6 * thick * step_k), PublishedTable::number(row, "Q_over_Q0"), 0.005);
  }
}

TEST(Chain, SlabUnderConstantFluxFollowsTheSeriesSolution) {
  const YAML::Node published = conduction_case("C10");
  Wall wall(plain(0.25, 400.0, 1050.0), slab(0.05, 1.0), 0.0, 20.0);
  const auto face = [&] { return wall.degc(0) + 2000.0 / (0.25 * wall.model.inward_m[0][0]); };
  const auto back = [&] { return wall.degc(last) - (wall.degc(last - 1) - wall.degc(last)) / 8.0; };
  wall.run(600.0, 2000, 2000.0, 20.0);
  EXPECT_NEAR(face(), published["T_heated_face_t600s"].as<double>(), 0.005 * 170.0);
  EXPECT_NEAR(back(), published["T_back_face_t600s"].as<double>(), 0.005 * 170.0);
  wall.run(5400.0, 2000, 2000.0, 20.0);
  EXPECT_NEAR(face(), published["T_heated_face_t6000s"].as<double>(), 0.005 * 704.0);
  EXPECT_NEAR(back(), published["T_back_face_t6000s"].as<double>(), 0.005 * 704.0);
}

TEST(Chain, SlabSteppedOnBothFacesFollowsTheSeriesSolution) {
  const YAML::Node published = conduction_case("C15");
  Wall wall(plain(0.25, 400.0, 1050.0), slab(0.025, 1.0), 1e9, 20.0);    // half of it, insulated in the middle
  wall.run(300.0, 1000, 0.0, 1000.0);
  EXPECT_NEAR(wall.insulated_face_degc(), published["T_mid_t300s"].as<double>(), 0.005 * 980.0);
  wall.run(300.0, 1000, 0.0, 1000.0);
  EXPECT_NEAR(wall.insulated_face_degc(), published["T_mid_t600s"].as<double>(), 0.005 * 980.0);
  wall.run(1200.0, 1000, 0.0, 1000.0);
  EXPECT_NEAR(wall.insulated_face_degc(), published["T_mid_t1800s"].as<double>(), 0.005 * 980.0);
}

TEST(Chain, ConductivityThatRisesWithTemperatureBendsTheSteadyProfile) {
  const YAML::Node published = conduction_case("C7");
  Material m = plain(0.1, 400.0, 1000.0);
  m.k1_w_mk2 = 2e-4;
  Wall wall(m, slab(0.1, 1.0), 1e9, 500.0);
  wall.run(4e5, 4000, published["q_W_m2"].as<double>(), 100.0);
  const double face_k = 0.1 + 2e-4 * wall.degc(0);
  EXPECT_NEAR(wall.degc(0) + published["q_W_m2"].as<double>() / (face_k * wall.model.inward_m[0][0]), 1000.0, 0.005 * 900.0);
  EXPECT_NEAR(wall.middle_degc(), published["T_mid_C"].as<double>(), 0.005 * 900.0);
}

TEST(Chain, HollowCylinderConductsByTheLogarithmOfItsRadii) {
  const YAML::Node published = conduction_case("C8");
  LaneShape shape;
  shape.thickness_m = 0.05;
  shape.inner_radius_m = 0.05;
  shape.length_m = 1.0;
  Wall wall(plain(0.25, 400.0, 1000.0), shape, 1e9, 500.0);
  wall.run(4e5, 4000, published["q_W_m"].as<double>(), 100.0);
  EXPECT_NEAR(wall.degc(0) + published["q_W_m"].as<double>() / (0.25 * wall.model.inward_m[0][0]), 1000.0, 0.05);
  EXPECT_NEAR(wall.middle_degc(), published["T_at_r_0.075"].as<double>(), 0.005 * 900.0);
}

TEST(Chain, HeatCapacityThatVariesLosesNoHeat) {
  Material m = plain(0.2, 300.0, 700.0);
  m.c1_j_kgk2 = 0.5;
  m.c2_j_kgk3 = -1e-4;
  Wall wall(m, slab(0.1, 0.5), 2.0, 20.0);
  const double before = chain_energy_j(wall.state);
  const double left = wall.run(36000.0, 3600, 150.0, 20.0);
  const double in = 150.0 * 36000.0;
  EXPECT_NEAR((chain_energy_j(wall.state) - before) / 4.0, in - left, 1e-9 * in);
}

}  // namespace
}  // namespace plant
