// Gray-body exchange in an enclosure: from areas, view factors and emissivities to exchange areas R [m2], symmetric, so that
// surface i gains sum_j R_ij sigma (T_j^4 - T_i^4). Reflections included (radiosity method: Hottel and Sarofim, "Radiative
// Transfer", 1967).
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace plant {

inline constexpr double stefan_boltzmann_w_m2k4 = 5.670374419e-8;    // CODATA 2018

// Square, by rows.
struct SquareMatrix {
  std::size_t size = 0;
  std::vector<double> value;
  explicit SquareMatrix(std::size_t n) : size(n), value(n * n, 0.0) {}
  double& operator()(std::size_t row, std::size_t column) { return value[row * size + column]; }
  double operator()(std::size_t row, std::size_t column) const { return value[row * size + column]; }
};

// View factors of an enclosure in which convex bodies that do not see each other (inner) stand inside surfaces that see each
// other and themselves (outer): inner to outer j: A_j / A_outer; from there reciprocity and closure. Exact for concentric
// spheres and long cylinders as wholes; within the outer surfaces it spreads radiation by area. Order: inner, then outer.
// Throws std::invalid_argument if the inner bodies are larger than what surrounds them.
SquareMatrix nested_view_factors(std::span<const double> inner_m2, std::span<const double> outer_m2);

// Throws std::invalid_argument if an area is not positive, an emissivity not within (0, 1], a row of view factors does not
// sum to 1, or reciprocity is broken (both within 1e-6).
SquareMatrix exchange_areas(std::span<const double> area_m2, const SquareMatrix& view, std::span<const double> emissivity);

}  // namespace plant
