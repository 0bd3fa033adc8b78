#include "plant/chain.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace plant {

namespace {

constexpr double zero_degc_k = 273.15;
// Polynomials of furnace files are trusted between these; outside, the value at the end holds.
constexpr double lowest_degc = -100.0, highest_degc = 1600.0;

double clamped_degc(double t_k) { return std::clamp(t_k - zero_degc_k, lowest_degc, highest_degc); }

}  // namespace

double conductivity_w_mk(const Material& m, double t_k) {
  const double t = clamped_degc(t_k);
  return m.k0_w_mk + t * (m.k1_w_mk2 + t * m.k2_w_mk3);
}

double heat_capacity_j_kgk(const Material& m, double t_k) {
  const double t = clamped_degc(t_k);
  return m.c0_j_kgk + t * (m.c1_j_kgk2 + t * m.c2_j_kgk3);
}

double enthalpy_j_kg(const Material& m, double t_k) {
  const double t = clamped_degc(t_k);
  const double inside = t * (m.c0_j_kgk + t * (m.c1_j_kgk2 / 2.0 + t * m.c2_j_kgk3 / 3.0));
  return inside + (t_k - zero_degc_k - t) * heat_capacity_j_kgk(m, t_k);
}

namespace {

struct Cell { double start_m, end_m; };

constexpr double least_share = 0.02;     // of a curve that a lining conducts in vacuum: fibres and radiation are left

// Half of a cell as area over length, from radius or depth a to b.
double half_m(const LaneShape& shape, double a, double b) {
  if (shape.inner_radius_m > 0.0) {
    const double ratio = (shape.inner_radius_m + b) / (shape.inner_radius_m + a);
    return 2.0 * std::numbers::pi * shape.length_m / std::log(ratio);
  }
  return shape.area_m2 / (b - a);
}

double volume_m3(const LaneShape& shape, const Cell& cell) {
  if (shape.inner_radius_m > 0.0) {
    const double a = shape.inner_radius_m + cell.start_m, b = shape.inner_radius_m + cell.end_m;
    return std::numbers::pi * (b * b - a * a) * shape.length_m;
  }
  return shape.area_m2 * (cell.end_m - cell.start_m);
}

}  // namespace

FaceCell shape_lane(ChainModel& model, int lane_number, const Material& material, const LaneShape& shape) {
  const auto lane = static_cast<std::size_t>(lane_number);
  model.material[lane] = material;
  double sum = 0.0;
  for (int i = 0; i < chain_cells; ++i) sum += std::pow(shape.growth, i);
  double width = (shape.thickness_m - shape.face_m) / sum;
  double start = shape.face_m;
  for (std::size_t i = 0; i < chain_cells; ++i) {
    const Cell cell{start, i + 1 == chain_cells ? shape.thickness_m : start + width};
    const double middle = 0.5 * (cell.start_m + cell.end_m);
    model.mass_kg[i][lane] = volume_m3(shape, cell) * material.density_kg_m3;
    model.inward_m[i][lane] = half_m(shape, cell.start_m, middle);
    model.outward_m[i][lane] = half_m(shape, middle, cell.end_m);
    model.second_kg[i][lane] = shape.second_m2 * (cell.end_m - cell.start_m) * model.second.density_kg_m3;
    model.second_inward_m[i][lane] = shape.second_m2 / (middle - cell.start_m);
    model.second_outward_m[i][lane] = shape.second_m2 / (cell.end_m - middle);
    start = cell.end_m;
    width *= shape.growth;
  }
  const Cell face{0.0, shape.face_m};
  const double middle = 0.5 * shape.face_m;
  return {volume_m3(shape, face) * material.density_kg_m3, shape.second_m2 * shape.face_m * model.second.density_kg_m3,
          half_m(shape, middle, shape.face_m), shape.second_m2 / middle};
}

namespace {

double cell_enthalpy_j(const ChainModel& model, std::size_t i, std::size_t lane, double t_k) {
  const double second = model.second_kg[i][lane];
  const double first = model.mass_kg[i][lane] * enthalpy_j_kg(model.material[lane], t_k);
  return second > 0.0 ? first + second * enthalpy_j_kg(model.second, t_k) : first;
}

double cell_heat_j_k(const ChainModel& model, std::size_t i, std::size_t lane, double t_k) {
  const double second = model.second_kg[i][lane];
  const double first = model.mass_kg[i][lane] * heat_capacity_j_kgk(model.material[lane], t_k);
  return second > 0.0 ? first + second * heat_capacity_j_kgk(model.second, t_k) : first;
}

double in_its_gas_w_mk(const ChainModel& model, const ChainState& s, std::size_t lane, double t_k) {
  const double k = conductivity_w_mk(model.material[lane], t_k);
  if (model.porosity <= 0.0) return k;
  return std::max(least_share * k, k + model.porosity * (s.pore.conductivity_w_mk(t_k) - model.air.conductivity_w_mk(t_k)));
}

// Temperatures from the enthalpies held; cp and k follow where the cells will be in the middle of the time until the next
// refresh, if they go on as they went since the last.
void settle_temperatures(const ChainModel& model, ChainState& s, ChainValues& middle_k) {
  for (std::size_t i = 0; i < chain_cells; ++i) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      const double held = s.enthalpy_j[i][lane] + s.heat_j_k[i][lane] * (s.t_k[i][lane] - s.reference_k[i][lane]);
      double t = s.t_k[i][lane];
      for (int newton = 0; newton < 2; ++newton) {
        t -= (cell_enthalpy_j(model, i, lane, t) - held) / cell_heat_j_k(model, i, lane, t);
      }
      middle_k[i][lane] = t + 0.5 * (t - s.reference_k[i][lane]);
      s.t_k[i][lane] = t;
      s.reference_k[i][lane] = t;
      s.enthalpy_j[i][lane] = held;
      s.heat_j_k[i][lane] = cell_heat_j_k(model, i, lane, middle_k[i][lane]);
    }
  }
}

void find_conductances(const ChainModel& model, const ChainValues& middle_k, ChainState& s) {
  ChainValues inward{}, outward{};
  for (std::size_t i = 0; i < chain_cells; ++i) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      const double k = in_its_gas_w_mk(model, s, lane, middle_k[i][lane]);
      inward[i][lane] = k * model.inward_m[i][lane];
      outward[i][lane] = k * model.outward_m[i][lane];
      if (model.second_kg[i][lane] > 0.0) {
        const double k2 = conductivity_w_mk(model.second, middle_k[i][lane]);
        inward[i][lane] += k2 * model.second_inward_m[i][lane];
        outward[i][lane] += k2 * model.second_outward_m[i][lane];
      }
    }
  }
  for (std::size_t i = 0; i < chain_cells; ++i) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      const double beyond = i + 1 < chain_cells ? inward[std::min<std::size_t>(i + 1, chain_cells - 1)][lane] : model.end_w_k[lane];
      const double sum = outward[i][lane] + beyond;
      s.to_next_w_k[i][lane] = sum > 0.0 ? outward[i][lane] * beyond / sum : 0.0;
    }
  }
}

}  // namespace

double lane_conductivity_w_mk(const ChainModel& model, const ChainState& s, int lane, double t_k) {
  return in_its_gas_w_mk(model, s, static_cast<std::size_t>(lane), t_k);
}

void start_chain(const ChainModel& model, ChainState& s, double t_k) {
  for (std::size_t i = 0; i < chain_cells; ++i) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      s.t_k[i][lane] = s.reference_k[i][lane] = t_k;
      s.enthalpy_j[i][lane] = cell_enthalpy_j(model, i, lane, t_k);
      s.heat_j_k[i][lane] = cell_heat_j_k(model, i, lane, t_k);
    }
  }
  s.rate_k_s = {};
  s.pore = model.air;
  s.step_s = 0.0;
}

void refresh_chain(const ChainModel& model, ChainState& s, double step_s) {
  ChainValues middle_k;
  settle_temperatures(model, s, middle_k);
  find_conductances(model, middle_k, s);
  s.step_s = step_s;
  for (std::size_t i = 0; i < chain_cells; ++i) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      const double in = i > 0 ? s.to_next_w_k[i > 0 ? i - 1 : 0][lane] : 0.0;
      const double out = s.to_next_w_k[i][lane];
      double diagonal = s.heat_j_k[i][lane] / step_s + implicitness * (in + out);
      if (i > 0) diagonal -= implicitness * in * s.sweep[i > 0 ? i - 1 : 0][lane];
      s.pivot[i][lane] = 1.0 / diagonal;
      s.sweep[i][lane] = implicitness * out * s.pivot[i][lane];
    }
  }
}

Lanes step_chain(ChainState& s, const Lanes& heat_j, const Lanes& end_k) {
  ChainValues change;
  Lanes incoming, carried{};   // flux into the cell from the furnace side [W]; forward sweep
  for (std::size_t lane = 0; lane < chain_lanes; ++lane) incoming[lane] = heat_j[lane] / s.step_s;
  for (std::size_t i = 0; i < chain_cells; ++i) {
    const Lanes& next = i + 1 < chain_cells ? s.t_k[std::min<std::size_t>(i + 1, chain_cells - 1)] : end_k;
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      const double outgoing = s.to_next_w_k[i][lane] * (s.t_k[i][lane] - next[lane]);
      const double source = incoming[lane] - outgoing + carried[lane];
      change[i][lane] = source * s.pivot[i][lane];
      carried[lane] = implicitness * s.to_next_w_k[i][lane] * change[i][lane];
      incoming[lane] = outgoing;
    }
  }
  Lanes left;
  constexpr std::size_t last = chain_cells - 1;
  for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
    left[lane] = s.step_s * (incoming[lane] + implicitness * s.to_next_w_k[last][lane] * change[last][lane]);
    s.t_k[last][lane] += change[last][lane];
  }
  for (std::size_t i = last; i-- > 0;) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      change[i][lane] += s.sweep[i][lane] * change[i + 1][lane];
      s.t_k[i][lane] += change[i][lane];
    }
  }
  for (std::size_t lane = 0; lane < chain_lanes; ++lane) s.rate_k_s[lane] = change[0][lane] / s.step_s;
  return left;
}

double chain_energy_j(const ChainState& s) {
  double sum = 0.0;
  for (std::size_t i = 0; i < chain_cells; ++i) {
    for (std::size_t lane = 0; lane < chain_lanes; ++lane) {
      sum += s.enthalpy_j[i][lane] + s.heat_j_k[i][lane] * (s.t_k[i][lane] - s.reference_k[i][lane]);
    }
  }
  return sum;
}

}  // namespace plant
