#include "plant/thermal.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <numbers>
#include <span>
#include <stdexcept>
#include <string>

#include "plant/enclosure.h"
#include "plant/theta_step.h"

namespace plant {

namespace {

constexpr double pi = std::numbers::pi;
constexpr double zero_degc_k = 273.15;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
double disc_m2(double diameter_m) { return 0.25 * pi * diameter_m * diameter_m; }

enum MaterialIndex : int { of_retort, of_plug, of_lining, of_heater, of_load };

// --- Building ---------------------------------------------------------------------------------------------------------

void check_material(const Material& m, const char* field) {
  for (double degc = -50.0; degc <= 1400.0; degc += 50.0) {
    if (!(conductivity_w_mk(m, degc + zero_degc_k) > 0.0) || !(heat_capacity_j_kgk(m, degc + zero_degc_k) > 0.0)) {
      throw std::invalid_argument(std::string(field) + ": conductivity and heat capacity must be positive from -50 to 1400 degC");
    }
  }
  if (!(m.density_kg_m3 > 0.0)) throw std::invalid_argument(std::string(field) + ".density_kg_m3: must be positive");
}

void add_radiation(ThermalModel& model, int a, int b, double exchange_m2) {
  model.exchange_m2[at(a)][at(b)] += exchange_m2;
  model.exchange_m2[at(b)][at(a)] += exchange_m2;
}

struct Surface { int node; double area_m2, emissivity; };

void add_enclosure(ThermalModel& model, const std::vector<Surface>& inner, const std::vector<Surface>& outer) {
  std::vector<Surface> all = inner;
  all.insert(all.end(), outer.begin(), outer.end());
  std::vector<double> area, emissivity, inner_m2, outer_m2;
  for (const Surface& surface : all) {
    area.push_back(surface.area_m2);
    emissivity.push_back(surface.emissivity);
  }
  for (const Surface& surface : inner) inner_m2.push_back(surface.area_m2);
  for (const Surface& surface : outer) outer_m2.push_back(surface.area_m2);
  const SquareMatrix exchange = exchange_areas(area, nested_view_factors(inner_m2, outer_m2), emissivity);
  for (std::size_t i = 0; i < all.size(); ++i) {
    for (std::size_t j = i + 1; j < all.size(); ++j) add_radiation(model, all[i].node, all[j].node, exchange(i, j));
  }
}

// Sizes that several steps of the building need.
struct Sizes {
  double barrel_face_m2, exposed_m2, end_face_m2, front_face_m2, retort_outer_m, retort_barrel_m2, retort_inside_m2;
};

Sizes find_sizes(const Furnace& f) {
  Sizes s{};
  s.barrel_face_m2 = pi * f.lining.chamber_diameter_m * f.lining.chamber_length_m;
  s.exposed_m2 = s.barrel_face_m2 - 4.0 * f.heaters.area_m2;
  s.end_face_m2 = disc_m2(f.lining.chamber_diameter_m);
  s.front_face_m2 = s.end_face_m2 - disc_m2(f.lining.front_opening_m);
  s.retort_outer_m = f.retort.inner_diameter_m + 2.0 * f.retort.wall_m;
  s.retort_barrel_m2 = pi * s.retort_outer_m * f.retort.length_m;
  s.retort_inside_m2 = pi * f.retort.inner_diameter_m * f.retort.length_m;
  if (!(s.exposed_m2 > 0.0)) throw std::invalid_argument("heaters.area_m2: four panels do not fit on the lining's barrel");
  if (!(s.front_face_m2 > 0.0)) throw std::invalid_argument("lining.front_opening_m: wider than the heater chamber");
  if (f.boundary == Boundary::retort && !(s.retort_outer_m < f.lining.chamber_diameter_m)) {
    throw std::invalid_argument("retort.inner_diameter_m: the retort does not fit into lining.chamber_diameter_m");
  }
  return s;
}

void shape_lanes(ThermalModel& m, const Furnace& f, const Sizes& s) {
  m.chain.second = f.retort.material;
  const double radius = 0.5 * f.lining.chamber_diameter_m, thick = f.lining.thickness_m;
  // Along an edge two walls share a corner that conducts like 0.54 of its length (Langmuir 1913): given to the ends.
  const double edge_m2 = 0.54 * 2.0 * pi * radius * thick;
  LaneShape barrel{thick, 0.015 * thick, 1.05, radius, f.lining.chamber_length_m, 0.0, 0.0};
  LaneShape rear{thick, 0.015 * thick, 1.05, 0.0, 0.0, s.end_face_m2 + edge_m2, 0.0};
  LaneShape front{thick, 0.015 * thick, 1.05, 0.0, 0.0, s.front_face_m2 + edge_m2, 0.0};
  const double neck_m2 = disc_m2(f.plug.diameter_m + 2.0 * f.plug.neck_wall_m) - disc_m2(f.plug.diameter_m);
  LaneShape plug{f.plug.length_m, 0.015 * f.plug.length_m, 1.05, 0.0, 0.0, disc_m2(f.plug.diameter_m), neck_m2};
  const std::array<std::pair<int, LaneShape*>, chain_lanes> lanes{
      {{node::lining_barrel, &barrel}, {node::lining_rear, &rear}, {node::lining_front, &front}, {node::plug_face, &plug}}};
  m.macro_s = 1.0;
  for (int l = 0; l < chain_lanes; ++l) {
    const int material = l == lane::plug ? of_plug : of_lining;
    const FaceCell face = shape_lane(m.chain, l, m.material[at(material)], *lanes[at(l)].second);
    m.mass[at(lanes[at(l)].first)] = {material, l == lane::plug ? of_retort : -1, face.mass_kg, face.second_kg, 0.0};
    m.face[at(l)] = {lanes[at(l)].first, face.outward_m, face.second_outward_m};
    m.chain.end_w_k[at(l)] = 1e6;                    // steel: no resistance of its own
    const double hot_k = 1273.15;
    const double g = conductivity_w_mk(m.material[at(material)], hot_k) / (1.0 / face.outward_m + 1.0 / m.chain.inward_m[0][at(l)]);
    const double c = m.chain.mass_kg[0][at(l)] * heat_capacity_j_kgk(m.material[at(material)], hot_k);
    m.macro_s = std::clamp(0.2 * c / g, 0.1, m.macro_s);
  }
  m.chain.end_w_k[lane::plug] = f.plug.cold_face_w_m2k * (disc_m2(f.plug.diameter_m) + neck_m2);
}

void build_pores(ThermalModel& m, const Furnace& f) {
  if (f.lining.pore_m <= 0.0) return;
  if (f.boundary != Boundary::vessel) throw std::invalid_argument("lining.pore: only in a vessel does the process gas fill the lining");
  m.chain.porosity = f.lining.porosity;
  m.chain.air = air_in_pores(f.lining.pore_m);
}

void build_retort(ThermalModel& m, const Furnace& f, const Sizes& s) {
  const double dx = f.retort.wall_m / 3.0, inner = 0.5 * f.retort.inner_diameter_m;
  for (int cell = 0; cell < 3; ++cell) {             // from outside to inside
    const double a = inner + (2 - cell) * dx, b = a + dx;
    const double barrel_m3 = pi * (b * b - a * a) * f.retort.length_m;
    m.mass[at(node::barrel_outside + cell)] = {of_retort, -1, barrel_m3 * f.retort.material.density_kg_m3, 0.0, 0.0};
    m.mass[at(node::end_outside + cell)] = {of_retort, -1, disc_m2(s.retort_outer_m) * dx * f.retort.material.density_kg_m3, 0.0, 0.0};
    if (cell == 2) continue;
    const double barrel_m = 2.0 * pi * f.retort.length_m / std::log((b - 0.5 * dx) / (a - 0.5 * dx));
    m.links.push_back({node::barrel_outside + cell, node::barrel_outside + cell + 1, 0.0, barrel_m, of_retort});
    m.links.push_back({node::end_outside + cell, node::end_outside + cell + 1, 0.0, disc_m2(f.retort.inner_diameter_m) / dx, of_retort});
  }
  const double ring_m2 = pi * (f.retort.inner_diameter_m + f.retort.wall_m) * f.retort.wall_m;
  const double quarter_m = 0.25 * f.retort.length_m;   // from a barrel's mean temperature to its end, heated all along
  m.links.push_back({node::barrel_middle, node::end_middle, 0.0, ring_m2 / (quarter_m + 0.25 * f.retort.inner_diameter_m), of_retort});
  const double neck_m2 = disc_m2(f.plug.diameter_m + 2.0 * f.plug.neck_wall_m) - disc_m2(f.plug.diameter_m);
  if (neck_m2 > 0.0) m.links.push_back({node::barrel_middle, node::plug_face, 0.0, neck_m2 / quarter_m, of_retort});
  const double air = f.heaters.air_w_m2k;
  for (int p = 0; p < 4; ++p) m.links.push_back({node::panel + p, node::barrel_outside, air * f.heaters.area_m2, 0.0, -1});
  m.links.push_back({node::lining_barrel, node::barrel_outside, air * s.exposed_m2, 0.0, -1});
  m.links.push_back({node::lining_front, node::barrel_outside, air * s.front_face_m2, 0.0, -1});
  m.links.push_back({node::lining_rear, node::end_outside, air * disc_m2(s.retort_outer_m), 0.0, -1});
  m.links.push_back({node::load_surface, node::barrel_inside, f.load.rest_w_k, 0.0, -1});
}

std::vector<Surface> heater_chamber(const Furnace& f, const Sizes& s) {
  std::vector<Surface> around;
  for (int p = 0; p < 4; ++p) around.push_back({node::panel + p, f.heaters.area_m2, f.heaters.emissivity});
  around.push_back({node::lining_barrel, s.exposed_m2, f.lining.emissivity});
  around.push_back({node::lining_rear, s.end_face_m2, f.lining.emissivity});
  around.push_back({node::lining_front, s.front_face_m2, f.lining.emissivity});
  return around;
}

void build_radiation(ThermalModel& m, const Furnace& f, const Sizes& s) {
  const Surface load{node::load_surface, f.load.area_m2, f.load.emissivity};
  const Surface plug{node::plug_face, disc_m2(f.plug.diameter_m), f.plug.emissivity};
  std::vector<Surface> around = heater_chamber(f, s);
  if (f.boundary == Boundary::vessel) {
    around.push_back(plug);
    add_enclosure(m, {load}, around);
    return;
  }
  add_enclosure(m,
                {{node::barrel_outside, s.retort_barrel_m2, f.retort.emissivity_outside},
                 {node::end_outside, disc_m2(s.retort_outer_m), f.retort.emissivity_outside}},
                around);
  add_enclosure(m, {load},
                {{node::barrel_inside, s.retort_inside_m2, f.retort.emissivity_inside},
                 {node::end_inside, disc_m2(f.retort.inner_diameter_m), f.retort.emissivity_inside},
                 plug});
}

void build_junctions(ThermalModel& m, const Furnace& f) {
  const bool retort = f.boundary == Boundary::retort;
  const HeaterThermocouple& h = f.thermocouples.heater;
  for (int z = 0; z < zones_max; ++z) {
    const int junction = node::zone_junction + z;
    m.mass[at(junction)] = {-1, -1, 0.0, 0.0, h.heat_j_k};
    int seen = 0;
    const auto sees = [&](int p) { return z >= f.heaters.zones || m.panel_zone[at(p)] == z; };
    for (int p = 0; p < 4; ++p) seen += sees(p) ? 1 : 0;
    const double each = h.emissivity * h.area_m2;
    for (int p = 0; p < 4; ++p) {
      if (sees(p)) add_radiation(m, junction, node::panel + p, each * h.panel_view / seen);
    }
    add_radiation(m, junction, retort ? node::barrel_outside : node::load_surface, each * h.retort_view);
    add_radiation(m, junction, node::lining_barrel, each * h.lining_view);
  }
  const std::array<std::pair<int, const LoadThermocouple*>, 2> loads{
      {{node::load_junction, &f.thermocouples.load}, {node::load2_junction, &f.thermocouples.load2}}};
  for (const auto& [junction, l] : loads) {
    m.mass[at(junction)] = {-1, -1, 0.0, 0.0, l->heat_j_k};
    m.links.push_back({junction, node::load_surface, l->contact_w_k, 0.0, -1});
    add_radiation(m, junction, retort ? node::barrel_inside : node::lining_barrel, l->emissivity * l->area_m2 * l->wall_view);
  }
  const Limiter& g = f.limiter;
  m.mass[node::limiter_sensor] = {-1, -1, 0.0, 0.0, g.sensor_heat_j_k};
  for (int p = 0; p < 4; ++p) {
    if (m.panel_zone[at(p)] == 0) add_radiation(m, node::limiter_sensor, node::panel + p, g.sensor_area_m2 * g.panel_view);
  }
  add_radiation(m, node::limiter_sensor, retort ? node::barrel_outside : node::load_surface, g.sensor_area_m2 * (1.0 - g.panel_view));
}

void build_casing(ThermalModel& m, const Furnace& f) {
  const double outer_m = f.lining.chamber_diameter_m + 2.0 * f.lining.thickness_m;
  const double length_m = f.lining.chamber_length_m + 2.0 * f.lining.thickness_m;
  const double around_m2 = pi * outer_m * length_m + 2.0 * disc_m2(outer_m) - disc_m2(f.lining.front_opening_m);
  m.casing_m2 = f.casing.area_m2 > 0.0 ? f.casing.area_m2 : around_m2;
  m.casing_j_k = f.casing.mass_kg * 480.0;            // structural steel, EN 1993-1-2 near room temperature
  m.casing_emissivity = f.casing.emissivity;
  m.casing_convection = f.casing.convection_w_m2k54;
  m.fan_w_m2k = f.casing.fan_w_m2k;
  m.fan_k = f.casing.fan_degc + zero_degc_k;
}

void build_opening(ThermalModel& m, const Furnace& f, const Sizes& s) {
  if (f.boundary == Boundary::vessel) {
    const double all = s.exposed_m2 + s.end_face_m2 + f.load.area_m2;
    m.opening_m2[node::lining_barrel] = f.plug.opening_m2 * s.exposed_m2 / all;
    m.opening_m2[node::lining_rear] = f.plug.opening_m2 * s.end_face_m2 / all;
    m.opening_m2[node::load_surface] = f.plug.opening_m2 * f.load.area_m2 / all;
    return;
  }
  const double end_m2 = disc_m2(f.retort.inner_diameter_m);
  const double all = s.retort_inside_m2 + end_m2 + f.load.area_m2;
  m.opening_m2[node::barrel_inside] = f.plug.opening_m2 * s.retort_inside_m2 / all;
  m.opening_m2[node::end_inside] = f.plug.opening_m2 * end_m2 / all;
  m.opening_m2[node::load_surface] = f.plug.opening_m2 * f.load.area_m2 / all;
}

}  // namespace

ThermalModel build_thermal(const Furnace& f) {
  ThermalModel m;
  m.material = {f.retort.material, f.plug.material, f.lining.material, f.heaters.material, f.load.material};
  const std::array<const char*, 5> fields{"retort.material", "plug.material", "lining.material", "heaters.material", "load.material"};
  for (std::size_t i = 0; i < fields.size(); ++i) check_material(m.material[i], fields[i]);
  if (f.heaters.zones < 1 || f.heaters.zones > zones_max) throw std::invalid_argument("heaters.zones: 1 to 4");
  for (std::size_t p = 0; p < 4; ++p) {
    const int zone = f.heaters.panel[p].zone;
    if (f.heaters.zones > 1 && (zone < 1 || zone > f.heaters.zones)) throw std::invalid_argument("heaters.panel.zone: 1 to heaters.zones");
    m.panel_zone[p] = f.heaters.zones == 1 ? 0 : zone - 1;
    m.panel_w[p] = f.heaters.panel[p].power_w;
  }
  for (int z = 0; z < f.heaters.zones; ++z) {
    const bool heated = std::count(m.panel_zone.begin(), m.panel_zone.end(), z) > 0;
    if (!heated) throw std::invalid_argument("heaters.panel.zone: a zone has no panel");
  }
  const Sizes s = find_sizes(f);
  for (NodeMass& mass : m.mass) mass = {-1, -1, 0.0, 0.0, 1.0};       // what stays unused is an isolated node of 1 J/K
  for (int p = 0; p < 4; ++p) m.mass[at(node::panel + p)] = {of_heater, -1, f.heaters.mass_kg, 0.0, 0.0};
  for (int p = 0; p < 4; ++p) m.links.push_back({node::panel + p, node::lining_barrel, f.heaters.back_w_m2k * f.heaters.area_m2, 0.0, -1});
  shape_lanes(m, f, s);
  build_pores(m, f);
  if (f.boundary == Boundary::retort) build_retort(m, f, s);
  if (f.boundary == Boundary::vessel) m.links.push_back({node::load_surface, node::lining_barrel, f.load.rest_w_k, 0.0, -1});
  m.mass[node::load_surface] = {of_load, -1, f.load.mass_kg * f.load.surface_share, 0.0, 0.0};
  m.mass[node::load_core] = {of_load, -1, f.load.mass_kg * (1.0 - f.load.surface_share), 0.0, 0.0};
  m.links.push_back({node::load_surface, node::load_core, f.load.core_w_k, 0.0, -1});
  build_radiation(m, f, s);
  build_junctions(m, f);
  build_casing(m, f);
  build_opening(m, f, s);
  m.ambient_k = f.surroundings.ambient_degc + zero_degc_k;
  m.start_k = f.initial.furnace_degc + zero_degc_k;
  return m;
}

// --- Running ----------------------------------------------------------------------------------------------------------

namespace {

double node_enthalpy_j(const ThermalModel& m, std::size_t i, double t_k) {
  const NodeMass& mass = m.mass[i];
  double sum = mass.fixed_j_k * (t_k - zero_degc_k);
  if (mass.material >= 0) sum += mass.kg * enthalpy_j_kg(m.material[at(mass.material)], t_k);
  if (mass.second >= 0) sum += mass.second_kg * enthalpy_j_kg(m.material[at(mass.second)], t_k);
  return sum;
}

double node_heat_j_k(const ThermalModel& m, std::size_t i, double t_k) {
  const NodeMass& mass = m.mass[i];
  double sum = mass.fixed_j_k;
  if (mass.material >= 0) sum += mass.kg * heat_capacity_j_kgk(m.material[at(mass.material)], t_k);
  if (mass.second >= 0) sum += mass.second_kg * heat_capacity_j_kgk(m.material[at(mass.second)], t_k);
  return sum;
}

// As in the chains: cp and k follow where the nodes will be halfway to the next refresh, going on as they went.
void settle_temperatures(const ThermalModel& m, ThermalState& s, CoreValues& middle_k) {
  for (std::size_t i = 0; i < core_nodes; ++i) {
    const double held = s.enthalpy_j[i] + s.heat_j_k[i] * (s.t_k[i] - s.reference_k[i]);
    double t = s.t_k[i];
    for (int newton = 0; newton < 2; ++newton) t -= (node_enthalpy_j(m, i, t) - held) / node_heat_j_k(m, i, t);
    middle_k[i] = t + 0.5 * (t - s.reference_k[i]);
    s.t_k[i] = s.reference_k[i] = t;
    s.enthalpy_j[i] = held;
    s.heat_j_k[i] = node_heat_j_k(m, i, middle_k[i]);
  }
}

// Four rows at a time: GCC's and Clang's vector type, ordinary multiplication and addition.
using Quad = double __attribute__((vector_size(32)));

Quad load_quad(const double* from) {
  Quad q;
  std::memcpy(&q, from, sizeof q);
  return q;
}

void store_quad(const Quad& q, double* to) { std::memcpy(to, &q, sizeof q); }

// theta_step.h's product, to the bit; the six sums have names so that they stay in registers.
void multiply_core(const CoreMatrix& inverse, const CoreValues& drive, CoreValues& change) {
  static_assert(core_nodes == 24);
  double* const to = change.data();
  Quad a = load_quad(to), b = load_quad(to + 4), c = load_quad(to + 8);
  Quad d = load_quad(to + 12), e = load_quad(to + 16), f = load_quad(to + 20);
  for (std::size_t j = 0; j < core_nodes; ++j) {
    const double* const column = inverse[j].data();
    const Quad factor = {drive[j], drive[j], drive[j], drive[j]};
    a += load_quad(column) * factor;
    b += load_quad(column + 4) * factor;
    c += load_quad(column + 8) * factor;
    d += load_quad(column + 12) * factor;
    e += load_quad(column + 16) * factor;
    f += load_quad(column + 20) * factor;
  }
  store_quad(a, to);
  store_quad(b, to + 4);
  store_quad(c, to + 8);
  store_quad(d, to + 12);
  store_quad(e, to + 16);
  store_quad(f, to + 20);
}

// Heat flows [W] into the nodes at the reference, and conductances[j][i]: what node i gains per kelvin of node j.
void add_links(const ThermalModel& m, const ThermalState& s, const CoreValues& middle_k, CoreMatrix& gain_w_k, CoreValues& flow_w) {
  for (const Link& link : m.links) {
    const std::size_t a = at(link.a), b = at(link.b);
    double g = link.fixed_w_k;
    if (link.a >= node::load_junction && link.a <= node::load2_junction) g *= s.load_contact[at(link.a - node::load_junction)];
    if (link.material >= 0) g += link.shape_m * conductivity_w_mk(m.material[at(link.material)], 0.5 * (middle_k[a] + middle_k[b]));
    const double q = g * (s.t_k[b] - s.t_k[a]);
    flow_w[a] += q;
    flow_w[b] -= q;
    gain_w_k[b][a] += g;
    gain_w_k[a][b] += g;
    gain_w_k[a][a] -= g;
    gain_w_k[b][b] -= g;
  }
}

void add_exchange(const ThermalModel& m, const ThermalState& s, CoreMatrix& gain_w_k, CoreValues& flow_w) {
  CoreValues emissive{}, slope{};
  for (std::size_t i = 0; i < core_nodes; ++i) {
    const double cube = s.t_k[i] * s.t_k[i] * s.t_k[i];
    emissive[i] = stefan_boltzmann_w_m2k4 * cube * s.t_k[i];
    slope[i] = 4.0 * stefan_boltzmann_w_m2k4 * cube;
  }
  for (std::size_t j = 0; j < core_nodes; ++j) {
    double lost = 0.0;
    for (std::size_t i = 0; i < core_nodes; ++i) {
      const double area = m.exchange_m2[j][i];
      flow_w[i] += area * (emissive[j] - emissive[i]);
      gain_w_k[j][i] += area * slope[j];
      lost += area * slope[j];
    }
    gain_w_k[j][j] -= lost;
  }
}

void add_faces(const ThermalModel& m, ThermalState& s, const CoreValues& middle_k, CoreMatrix& gain_w_k, CoreValues& flow_w) {
  for (std::size_t l = 0; l < chain_lanes; ++l) {
    const FaceLink& face = m.face[l];
    const std::size_t i = at(face.node);
    const double deep_k = s.chain.t_k[0][l] + 0.5 * core_refresh_s * s.chain.rate_k_s[l];
    const int lane_number = static_cast<int>(l);
    double half = face.outward_m * lane_conductivity_w_mk(m.chain, s.chain, lane_number, middle_k[i]);
    double deep_half = m.chain.inward_m[0][l] * lane_conductivity_w_mk(m.chain, s.chain, lane_number, deep_k);
    if (face.second_outward_m > 0.0) {
      half += face.second_outward_m * conductivity_w_mk(m.chain.second, middle_k[i]);
      deep_half += m.chain.second_inward_m[0][l] * conductivity_w_mk(m.chain.second, deep_k);
    }
    s.face_w_k[l] = half * deep_half / (half + deep_half);
    s.deep_reference_k[l] = s.chain.t_k[0][l];
    flow_w[i] -= s.face_w_k[l] * (s.t_k[i] - s.deep_reference_k[l]);
    gain_w_k[i][i] -= s.face_w_k[l];
  }
}

void add_opening(const ThermalModel& m, ThermalState& s, bool open, CoreMatrix& gain_w_k, CoreValues& flow_w) {
  s.open = open;
  s.opening_ambient_k = s.ambient_k;
  const double room = s.ambient_k * s.ambient_k * s.ambient_k * s.ambient_k;
  for (std::size_t i = 0; i < core_nodes; ++i) {
    const double area = open ? stefan_boltzmann_w_m2k4 * m.opening_m2[i] : 0.0;
    const double cube = s.t_k[i] * s.t_k[i] * s.t_k[i];
    s.opening_w[i] = area * (cube * s.t_k[i] - room);
    s.opening_w_k[i] = 4.0 * area * cube;
    flow_w[i] -= s.opening_w[i];
    gain_w_k[i][i] -= s.opening_w_k[i];
  }
}

void refresh_core(const ThermalModel& m, ThermalState& s, bool open, double period_s) {
  CoreMatrix gain{};
  CoreValues flow{}, middle_k;
  settle_temperatures(m, s, middle_k);
  add_links(m, s, middle_k, gain, flow);
  add_exchange(m, s, gain, flow);
  add_faces(m, s, middle_k, gain, flow);
  add_opening(m, s, open, gain, flow);
  find_step_inverse(gain, s.heat_j_k, implicitness, period_s, s.inverse);
  for (std::size_t i = 0; i < core_nodes; ++i) s.rate_k_s[i] = flow[i] / s.heat_j_k[i];
  s.period_s = period_s;
  s.since_refresh_s = 0.0;
}

constexpr double fan_hysteresis_k = 5.0;

// Convection free and forced together as the cube root of the sum of cubes (Churchill 1977, assisting flow).
void step_casing(const ThermalModel& m, ThermalState& s, double heat_j, double step_s) {
  const double rise = s.casing_k - s.ambient_k, size = std::abs(rise);
  const double still = m.casing_convection * std::sqrt(std::sqrt(size));
  if (m.fan_w_m2k > 0.0) s.fan_on = s.casing_k > m.fan_k - (s.fan_on > 0.0 ? fan_hysteresis_k : 0.0) ? 1.0 : 0.0;
  const double h = s.fan_on > 0.0 ? std::cbrt(still * still * still + m.fan_w_m2k * m.fan_w_m2k * m.fan_w_m2k) : still;
  const double steeper = s.fan_on > 0.0 ? h + 0.25 * still * (still / h) * (still / h) : 1.25 * still;   // of h * rise with the rise
  const double cube = s.casing_k * s.casing_k * s.casing_k, room = s.ambient_k * s.ambient_k * s.ambient_k * s.ambient_k;
  const double radiation = m.casing_emissivity * stefan_boltzmann_w_m2k4;
  const double loss = m.casing_m2 * (h * rise + radiation * (cube * s.casing_k - room));
  const double slope = m.casing_m2 * (steeper + 4.0 * radiation * cube);
  const double change = (heat_j - step_s * loss) / (m.casing_j_k + step_s * slope);
  s.casing_loss_j += step_s * (loss + slope * change);
  s.casing_k += change;
}

void step_deep(const ThermalModel& m, ThermalState& s) {
  const double step_s = s.macro_ticks * s.period_s;
  s.since_chain_refresh_s += step_s;
  if (s.chain.step_s != step_s || s.since_chain_refresh_s >= core_refresh_s) {
    refresh_chain(m.chain, s.chain, step_s);
    s.since_chain_refresh_s = 0.0;
  }
  const Lanes ends{s.casing_k, s.casing_k, s.casing_k, s.ambient_k};
  const Lanes left = step_chain(s.chain, s.deep_heat_j, ends);
  step_casing(m, s, left[lane::barrel] + left[lane::rear] + left[lane::front], step_s);
  s.plug_loss_j += left[lane::plug];
  s.deep_heat_j = {};
}

bool has_moved(const ThermalState& s, double by_k) {
  std::uint64_t far = 0;
  for (std::size_t i = 0; i < core_nodes; ++i) far |= std::abs(s.t_k[i] - s.reference_k[i]) > by_k ? 1u : 0u;
  return far != 0;
}

// Every 10 s if anything has moved enough to matter, at once if a node has run far from where its equations were linearised.
bool needs_refresh(ThermalState& s, bool open) {
  if (s.open != open || has_moved(s, core_refresh_k)) return true;
  if (open && std::abs(s.ambient_k - s.opening_ambient_k) > core_still_k) return true;    // the room it radiates to has moved
  if (s.since_refresh_s < core_refresh_s) return false;
  s.since_refresh_s = 0.0;
  return has_moved(s, core_still_k);
}

}  // namespace

ThermalState start_thermal(const ThermalModel& m) {
  ThermalState s;
  s.ambient_k = m.ambient_k;
  s.casing_k = m.start_k;
  start_chain(m.chain, s.chain, m.start_k);
  for (std::size_t i = 0; i < core_nodes; ++i) {
    s.t_k[i] = s.reference_k[i] = m.start_k;
    s.enthalpy_j[i] = node_enthalpy_j(m, i, m.start_k);
    s.heat_j_k[i] = node_heat_j_k(m, i, m.start_k);
  }
  return s;
}

void step_thermal(const ThermalModel& m, ThermalState& s, const CoreValues& source_w, double electric_w, bool open, double period_s) {
  if (s.period_s != period_s) {
    if (s.macro_tick > 0) step_deep(m, s);            // what is under way belongs to the old period
    s.macro_ticks = std::max(1, static_cast<int>(std::lround(m.macro_s / period_s)));
    s.macro_tick = 0;
    refresh_core(m, s, open, period_s);
  } else if (needs_refresh(s, open)) {
    refresh_core(m, s, open, period_s);
  }
  s.since_refresh_s += period_s;
  CoreValues drive, change, source = source_w;
  Lanes deep_k;
  for (std::size_t l = 0; l < chain_lanes; ++l) {
    deep_k[l] = s.chain.t_k[0][l] + s.chain.rate_k_s[l] * (s.macro_tick + implicitness) * period_s;
    source[at(m.face[l].node)] += s.face_w_k[l] * (deep_k[l] - s.deep_reference_k[l]);
  }
  find_step_drive(s.t_k, s.reference_k, s.rate_k_s, source, s.heat_j_k, implicitness, period_s, drive, change);
  multiply_core(s.inverse, drive, change);
  double opening_w = 0.0;
  for (std::size_t i = 0; open && i < core_nodes; ++i) {
    opening_w += s.opening_w[i] + s.opening_w_k[i] * (s.t_k[i] - s.reference_k[i] + implicitness * change[i]);
  }
  for (std::size_t l = 0; l < chain_lanes; ++l) {
    const std::size_t i = at(m.face[l].node);
    s.deep_heat_j[l] += period_s * s.face_w_k[l] * (s.t_k[i] + implicitness * change[i] - deep_k[l]);
  }
  for (std::size_t i = 0; i < core_nodes; ++i) s.t_k[i] += change[i];
  s.electric_j += period_s * electric_w;
  s.opening_loss_j += period_s * opening_w;
  if (++s.macro_tick >= s.macro_ticks) {
    s.macro_tick = 0;
    step_deep(m, s);
  }
}

double thermal_energy_j(const ThermalState& s, const ThermalModel& m) {
  double sum = chain_energy_j(s.chain) + m.casing_j_k * (s.casing_k - zero_degc_k);
  for (std::size_t i = 0; i < core_nodes; ++i) sum += s.enthalpy_j[i] + s.heat_j_k[i] * (s.t_k[i] - s.reference_k[i]);
  for (const double pending : s.deep_heat_j) sum += pending;    // on its way into the chains
  return sum;
}

}  // namespace plant
