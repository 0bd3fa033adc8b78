#include "plant/equations.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "plant/enclosure.h"
#include "plant/properties.h"

namespace plant {

namespace {

constexpr double gas_r = gas_constant_j_mol_k;
constexpr double sigma = stefan_boltzmann_w_m2k4;
constexpr double accommodation = 0.9;
constexpr int pore_cell = chain_cells / 2;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
std::size_t cell_slot(int cell, int lane) { return at(slot::chain + cell * chain_lanes + lane); }
double fourth(double t_k) { return t_k * t_k * t_k * t_k; }
double in_series(double a, double b) { return a * b / (a + b); }

double sum_of(std::span<const double> amounts) {
  double sum = 0.0;
  for (const double amount : amounts) sum += amount;
  return sum;
}

double weighed(std::span<const double> amounts, const Amounts& weight) {
  double sum = 0.0;
  for (std::size_t i = 0; i < gas_species; ++i) sum += amounts[i] * weight[i];
  return sum;
}

}  // namespace

// Watts into everything solid.
struct Equations::Heat {
  CoreValues core{};
  ChainValues chain{};
  double casing = 0.0;
};

// mol/s; what is in the gas.
struct Equations::Flow {
  Amounts fraction{}, hose_fraction{}, in{};  // in: all that comes into the chamber
  double mol = 0.0, cp = 0.0, molar_mass = 0.0, gas_k = 0.0, root_mrt = 0.0, hose_pa = 0.0;
  NozzleGas nozzle{};
  double purge = 0.0, exhaust = 0.0, out = 0.0, room_in = 0.0;  // out: of the chamber, all but into the hose
  double hose = 0.0, pump = 0.0, vent_in = 0.0, vent_out = 0.0, water = 0.0;
  std::array<double, 4> desorbed{};
};

Equations::Equations(const Model& model, const State& room) : m_(model), room_(room.gas.room) {
  const GasModel& g = model.gas;
  if (g.stagnant_share > 0.0 || g.dryer.capacity_kg > 0.0 || g.outgassing.uptake_per_pa_s > 0.0 || g.oxidation.factor_kg2_m4_s > 0.0 ||
      g.pump.back_m2 > 0.0)
    throw std::invalid_argument("the equations have one zone of gas, no dryer, and neither uptake nor oxide, and a pump that seals");
  load_contact_ = room.thermal.load_contact;
  hours_ = room.actuators.circuits.hours;
}

EquationState Equations::vector_of(const State& s) const {
  EquationState y(slot::count);
  for (int i = 0; i < core_nodes - 1; ++i) y[at(slot::core + i)] = s.thermal.t_k[at(i)];
  for (int cell = 0; cell < chain_cells; ++cell)
    for (int l = 0; l < chain_lanes; ++l) y[cell_slot(cell, l)] = s.thermal.chain.t_k[at(cell)][at(l)];
  y[slot::casing] = s.thermal.casing_k;
  for (int i = 0; i < gas_species; ++i) {
    y[at(slot::chamber_mol + i)] = s.gas.chamber_mol[at(i)];
    y[at(slot::hose_mol + i)] = s.gas.hose_mol[at(i)];
  }
  y[slot::chamber_pa] = s.gas.chamber_pa;
  for (int k = 0; k < 4; ++k) y[at(slot::adsorbed_mol + k)] = s.gas.adsorbed_mol[at(k)];
  for (int k = 0; k < 2; ++k) y[at(slot::meter_mol_s + k)] = s.gas.meter_mol_s[at(k)];
  y[slot::supply_pa] = s.gas.supply_pa;
  y[slot::valve_frac] = s.actuators.valve_frac;
  y[slot::pump_share] = s.actuators.pump_end_share;
  y[slot::oxygen_cell] = s.oxygen_cell_k;
  y[slot::cold_junction] = s.cold_junction_k;
  y[slot::oxygen_fraction] = s.gas.oxygen_fraction;
  y[slot::water_fraction] = s.gas.water_fraction;
  return y;
}

void Equations::enter(const EquationInputs& inputs, EquationState& y) {
  inputs_ = inputs;
  const bool carries = inputs.commands.process_open && !m_.gas.supply_shut;
  if (!carries || inputs.commands.gas == 0) y[slot::meter_mol_s] = 0.0;  // the process valve cuts at once
  if (!carries || m_.gas.blend_gas == 0) y[slot::meter_mol_s + 1] = 0.0;
}

// Free gas and pores have one pressure: n = p / R (V / T + pores / T_pores).
double Equations::gas_k(std::span<const double> y) const {
  const double mol = sum_of(y.subspan(slot::chamber_mol, gas_species));
  return m_.gas.volume_m3 / (mol * gas_r / y[slot::chamber_pa] - m_.gas.pore_m3 / m_.gas.pore_k);
}

double Equations::hose_pa(std::span<const double> y) const {
  return sum_of(y.subspan(slot::hose_mol, gas_species)) * gas_r * room_.ambient_k / m_.gas.hose_m3;
}

// --- Solids -----------------------------------------------------------------------------------------------------------

void Equations::conduct(std::span<const double> y, Heat& heat) const {
  for (const Link& link : m_.thermal.links) {
    const double a_k = y[at(slot::core + link.a)], b_k = y[at(slot::core + link.b)];
    double w_k = link.fixed_w_k;
    if (link.a == node::load_junction || link.a == node::load2_junction) w_k *= load_contact_[at(link.a - node::load_junction)];
    if (link.material >= 0) w_k += link.shape_m * conductivity_w_mk(m_.thermal.material[at(link.material)], 0.5 * (a_k + b_k));
    heat.core[at(link.a)] += w_k * (b_k - a_k);
    heat.core[at(link.b)] -= w_k * (b_k - a_k);
  }
}

void Equations::radiate(std::span<const double> y, Heat& heat) const {
  CoreValues black{};
  for (std::size_t i = 0; i + 1 < core_nodes; ++i) black[i] = sigma * fourth(y[i]);
  const double room = sigma * fourth(room_.ambient_k);
  for (std::size_t i = 0; i + 1 < core_nodes; ++i) {
    double w = inputs_.door_open ? m_.thermal.opening_m2[i] * (room - black[i]) : 0.0;
    for (std::size_t j = 0; j + 1 < core_nodes; ++j) w += m_.thermal.exchange_m2[j][i] * (black[j] - black[i]);
    heat.core[i] += w;
  }
}

// Each cell's two halves conduct at the cell's temperature.
void Equations::conduct_in_chains(std::span<const double> y, Heat& heat) const {
  const ChainModel& c = m_.thermal.chain;
  for (int l = 0; l < chain_lanes; ++l) {
    const FaceLink& face = m_.thermal.face[at(l)];
    double from_k = y[at(slot::core + face.node)];
    double half =
        face.outward_m * conductivity_w_mk(c.material[at(l)], from_k) + face.second_outward_m * conductivity_w_mk(c.second, from_k);
    double* giver = &heat.core[at(face.node)];
    for (int cell = 0; cell < chain_cells; ++cell) {
      const double t_k = y[cell_slot(cell, l)];
      const double k = conductivity_w_mk(c.material[at(l)], t_k), k2 = conductivity_w_mk(c.second, t_k);
      const bool two = c.second_kg[at(cell)][at(l)] > 0.0;
      const double inward = c.inward_m[at(cell)][at(l)] * k + (two ? c.second_inward_m[at(cell)][at(l)] * k2 : 0.0);
      const double w = in_series(half, inward) * (from_k - t_k);
      *giver -= w;
      giver = &heat.chain[at(cell)][at(l)];
      *giver += w;
      half = c.outward_m[at(cell)][at(l)] * k + (two ? c.second_outward_m[at(cell)][at(l)] * k2 : 0.0);
      from_k = t_k;
    }
    const bool to_room = l == lane::plug;
    const double w = in_series(half, c.end_w_k[at(l)]) * (from_k - (to_room ? room_.ambient_k : y[slot::casing]));
    *giver -= w;
    if (!to_room) heat.casing += w;
  }
}

void Equations::lose_from_casing(std::span<const double> y, Heat& heat) const {
  const double rise = y[slot::casing] - room_.ambient_k;
  const double convection = m_.thermal.casing_convection * std::pow(std::abs(rise), 0.25) * rise;
  const double radiation = m_.thermal.casing_emissivity * sigma * (fourth(y[slot::casing]) - fourth(room_.ambient_k));
  heat.casing -= m_.thermal.casing_m2 * (convection + radiation);
}

// --- Gas --------------------------------------------------------------------------------------------------------------

void Equations::pass_hole(double area_m2, double p, Flow& f) const {
  if (p >= room_.barometer_pa)
    f.out += nozzle_flow(f.nozzle, area_m2, p, room_.barometer_pa, f.root_mrt).mol_s;
  else
    f.room_in += nozzle_flow(m_.gas.room.nozzle, area_m2, room_.barometer_pa, p, m_.gas.room.root_mrt * room_.root_share).mol_s;
}

void Equations::find_exhaust(std::span<const double> y, Flow& f) const {
  const GasModel& g = m_.gas;
  const double p = y[slot::chamber_pa], back_pa = room_.barometer_pa + g.check.crack_pa;
  if (inputs_.commands.exhaust_open && !g.exhaust_shut) {
    const double valves =
        valve_area_share(g.valve, y[slot::valve_frac]) * g.valve.area_m2 + (inputs_.commands.bypass_open ? g.bypass_m2 : 0.0);
    if (p > back_pa) {
      f.exhaust = nozzle_flow(f.nozzle, valves / std::sqrt(1.0 + g.behind_per_m4 * valves * valves), p, back_pa, f.root_mrt).mol_s;
      f.out += f.exhaust;
    } else if (g.check.leak_m2 > 0.0 && p < room_.barometer_pa) {
      pass_hole(series_area_m2(series_area_m2(valves, g.exhaust_m2), g.check.leak_m2), p, f);
    }
  }
  const double above = p - room_.barometer_pa - g.relief.set_pa;
  if (above <= 0.0) return;
  f.out +=
      nozzle_flow(f.nozzle, g.relief.area_m2 * std::min(above / g.relief.full_pa, 1.0), p, room_.barometer_pa, f.root_mrt).mol_s;
}

void Equations::find_holes(std::span<const double> y, Flow& f) const {
  const double p = y[slot::chamber_pa], leak = m_.gas.leak_mol_s_pa * (room_.barometer_pa - p);
  (leak >= 0.0 ? f.room_in : f.out) += std::abs(leak);
  if (inputs_.commands.air_open) pass_hole(m_.gas.air_m2, p, f);
  if (m_.gas.vent_m2 > 0.0) pass_hole(m_.gas.vent_m2, p, f);
  if (!inputs_.door_open) return;
  pass_hole(m_.gas.opening_m2, p, f);
  const double buoyancy = 0.1 + 0.9 * std::max(0.0, 1.0 - room_.ambient_k / f.gas_k);
  const double exchange = m_.gas.opening_exchange_m3_s * buoyancy * room_.barometer_pa / (gas_r * f.gas_k);
  f.room_in += exchange;
  f.out += exchange;
}

void Equations::find_hose(std::span<const double> y, Flow& f) const {
  const GasModel& g = m_.gas;
  const double p = y[slot::chamber_pa], rt = gas_r * room_.ambient_k, room_root = g.room.root_mrt * room_.root_share;
  if (inputs_.commands.isolation_open && !g.pump_shut) {
    const double viscosity = gas_table().viscosity_pa_s(f.fraction, room_.ambient_k);
    const TubeGas tube = tube_gas(g.hose.diameter_m, g.hose.length_m, viscosity, f.molar_mass, room_.ambient_k);
    f.hose = limited_conductance_m3_s(tube, p, f.hose_pa) / rt * (p - f.hose_pa);
  }
  f.pump = pump_speed_m3_s(g.pump, y[slot::pump_share], f.hose_pa) * f.hose_pa / rt;
  if (!inputs_.commands.inlet_vent_open) return;
  f.vent_in =
      nozzle_flow(g.room.nozzle, g.pump.vent_m2, room_.barometer_pa, std::min(f.hose_pa, room_.barometer_pa), room_root).mol_s;
  if (f.hose_pa > room_.barometer_pa)
    f.vent_out = nozzle_flow(g.room.nozzle, g.pump.vent_m2, f.hose_pa, room_.barometer_pa, room_root).mol_s;
}

void Equations::find_flows(std::span<const double> y, Flow& f) const {
  const auto chamber = y.subspan(slot::chamber_mol, gas_species), hose = y.subspan(slot::hose_mol, gas_species);
  f.mol = sum_of(chamber);
  const double hose_mol = sum_of(hose);
  for (std::size_t i = 0; i < gas_species; ++i) {
    f.fraction[i] = chamber[i] / f.mol;
    f.hose_fraction[i] = hose[i] / hose_mol;
  }
  f.cp = weighed(f.fraction, m_.gas.molar_heat_j_mol_k);
  f.molar_mass = weighed(f.fraction, m_.gas.molar_mass_kg_mol);
  f.nozzle = nozzle_gas(f.cp / (f.cp - gas_r));
  f.root_mrt = std::sqrt(f.molar_mass * gas_r * room_.ambient_k);
  f.gas_k = gas_k(y);
  f.hose_pa = hose_pa(y);
  if (inputs_.commands.purge_open && !m_.gas.supply_shut) {
    const GasModel::Source& source = m_.gas.supplied[at(m_.gas.purge_gas)];
    const double supply = room_.barometer_pa + y[slot::supply_pa];
    f.purge = nozzle_flow(source.nozzle, m_.gas.purge_m2, supply, y[slot::chamber_pa], source.root_mrt * room_.root_share).mol_s;
  }
  find_exhaust(y, f);
  find_holes(y, f);
  find_hose(y, f);
  const double surface_k = y[at(slot::core + m_.gas.outgassing_node)];
  for (int k = 0; k < 4; ++k) {
    const Site& site = m_.gas.outgassing.site[at(k)];
    const double per_s = m_.gas.outgassing.frequency_per_s * std::exp(-site.activation_j_mol / (gas_r * surface_k));
    f.desorbed[at(k)] = per_s * y[at(slot::adsorbed_mol + k)];
    f.water += f.desorbed[at(k)];
  }
}

// Of the inflow, desorbed water is left out: it comes at another temperature.
void Equations::step_species(std::span<const double> y, Flow& f, std::span<double> rate) const {
  const std::array<std::size_t, 2> gas{at(inputs_.commands.gas), at(m_.gas.blend_gas)};
  const double back = std::max(0.0, -f.hose), away = std::max(0.0, f.hose);
  for (std::size_t i = 0; i < gas_species; ++i) {
    f.in[i] = f.purge * m_.gas.supplied[at(m_.gas.purge_gas)].fraction[i] + f.room_in * m_.gas.room.fraction[i] +
              back * f.hose_fraction[i];
    for (std::size_t k = 0; k < 2; ++k) f.in[i] += y[slot::meter_mol_s + k] * m_.gas.supplied[gas[k]].fraction[i];
    rate[slot::chamber_mol + i] = f.in[i] - (f.out + away) * f.fraction[i];
    rate[slot::hose_mol + i] =
        away * f.fraction[i] + f.vent_in * m_.gas.room.fraction[i] - (back + f.pump + f.vent_out) * f.hose_fraction[i];
  }
  rate[slot::chamber_mol + at(static_cast<int>(Species::h2o))] += f.water;
  for (std::size_t k = 0; k < 4; ++k) rate[slot::adsorbed_mol + k] = -f.desorbed[k];
}

// Energy of the free gas is p V cv / R. What enters the pores goes in at the gas's temperature and comes out at theirs; what is
// left over of the balance of free gas and pores together warms the plug.
void Equations::gas_energy(std::span<const double> y, const Flow& f, Heat& heat, std::span<double> rate) const {
  const GasModel& g = m_.gas;
  const double p = y[slot::chamber_pa], cv = f.cp - gas_r, gamma = f.cp / cv;
  const double film = gas_table().conductivity_w_m_k(f.fraction, f.gas_k) / g.film_m;
  const double molecular = accommodation / (2.0 - accommodation) * (gamma + 1.0) / (gamma - 1.0) *
                           std::sqrt(gas_r / (8.0 * std::numbers::pi * f.molar_mass * f.gas_k)) * p;
  const double w_m2k = in_series(film, molecular);
  const double desorbing_k = y[at(slot::core + g.outgassing_node)];
  const double water_cp = g.molar_heat_j_mol_k[at(static_cast<int>(Species::h2o))];
  double w = room_.ambient_k * weighed(f.in, g.molar_heat_j_mol_k) + desorbing_k * f.water * water_cp -
             (f.out + std::max(0.0, f.hose)) * f.cp * f.gas_k;
  for (int i = 0; i < g.surfaces; ++i) {
    const GasSurface& surface = g.surface[at(i)];
    const double given = w_m2k * surface.area_m2 * (f.gas_k - y[at(slot::core + surface.node)]);
    heat.core[at(surface.node)] += given;
    w -= given;
  }
  double cv_rate = 0.0;  // of the mixture's cv: d/dt of sum n_i cv_i / sum n_i
  for (std::size_t i = 0; i < gas_species; ++i) cv_rate += rate[slot::chamber_mol + i] * (g.molar_heat_j_mol_k[i] - f.cp) / f.mol;
  const double free = w - p * g.volume_m3 / gas_r * cv_rate;
  const double pores = g.pore_m3 / (gas_r * g.pore_k) * f.cp * (free > 0.0 ? f.gas_k : g.pore_k);
  const double pa_s = free / (g.volume_m3 * cv / gas_r + pores);
  rate[slot::chamber_pa] = pa_s;
  heat.chain[pore_cell][lane::plug] += w - (g.volume_m3 + g.pore_m3) / gas_r * (cv * pa_s + p * cv_rate);
  for (std::size_t k = 0; k < 4; ++k) heat.core[at(g.outgassing_node)] -= f.desorbed[k] * g.outgassing.site[k].activation_j_mol;
}

// --- Lags -------------------------------------------------------------------------------------------------------------

double Equations::meter_target(int k, double chamber_pa, double supply_pa) const {
  const int gas = k == 0 ? inputs_.commands.gas : m_.gas.blend_gas;
  if (!inputs_.commands.process_open || gas == 0 || m_.gas.supply_shut) return 0.0;
  const GasModel::Source& source = m_.gas.supplied[at(gas)];
  const double supply = room_.barometer_pa + supply_pa;
  const double most = nozzle_flow(source.nozzle, m_.gas.meter_m2, supply, chamber_pa, source.root_mrt * room_.root_share).mol_s;
  const double set = inputs_.commands.meter_set[at(k)];
  if (m_.gas.meter.direct) return std::clamp(set, 0.0, 1.0) * most;
  return std::min(std::clamp(set, 0.0, 1.1) * m_.gas.meter.full_scale_slm * slm_mol_s * source.conversion, most);
}

void Equations::lags(std::span<const double> y, const Flow& f, std::span<double> rate) const {
  const Furnace& furnace = m_.furnace;
  for (int k = 0; k < 2; ++k) {
    rate[at(slot::meter_mol_s + k)] =
        (meter_target(k, y[slot::chamber_pa], y[slot::supply_pa]) - y[at(slot::meter_mol_s + k)]) / m_.gas.meter.lag_s;
  }
  rate[slot::supply_pa] =
      ((m_.gas.supply_shut ? 0.0 : std::max(0.0, room_.supply_pa)) - y[slot::supply_pa]) / m_.gas.supply.decay_s;
  const double stroke = 1.0 / m_.gas.valve.stroke_s, want = std::clamp(inputs_.commands.valve_frac, 0.0, 1.0);
  rate[slot::valve_frac] = std::clamp((want - y[slot::valve_frac]) / m_.gas.valve.lag_s, -stroke, stroke);
  rate[slot::pump_share] = ((inputs_.commands.pump_run ? 1.0 : 0.0) - y[slot::pump_share]) / m_.gas.pump.spin_up_s;
  const double cell_set_k = furnace.instruments.oxygen_cell_set_degc + 273.15;
  rate[slot::oxygen_cell] = (cell_set_k - y[slot::oxygen_cell]) / furnace.instruments.oxygen_cell_warm_s;
  const double block_k = room_.ambient_k + furnace.casing.cold_junction_share * (y[slot::casing] - room_.ambient_k);
  rate[slot::cold_junction] = (block_k - y[slot::cold_junction]) / furnace.casing.cold_junction_lag_s;
  rate[slot::oxygen_fraction] = rate[slot::water_fraction] = 0.0;
  if (f.exhaust < 1e-8) return;  // the sample line stands still
  const double line_s = m_.gas.sample_line_m3 * y[slot::chamber_pa] / (gas_r * room_.ambient_k * f.exhaust);
  const double oxygen = f.fraction[at(static_cast<int>(Species::o2))], water = f.fraction[at(static_cast<int>(Species::h2o))];
  rate[slot::oxygen_fraction] = (oxygen - y[slot::oxygen_fraction]) / (m_.gas.oxygen_lag_s + line_s);
  rate[slot::water_fraction] = (water - y[slot::water_fraction]) / (m_.gas.dew_point_lag_s + line_s);
}

// Ohm and Joule: the current through the resistance of a whole zone, and its square times that of each element.
void Equations::heat_elements(std::span<const double> y, Heat& heat) const {
  const CircuitModel& c = m_.actuators.circuits;
  if (c.plain) {
    for (int p = 0; p < 4; ++p) heat.core[at(node::panel + p)] += inputs_.panel_w[at(p)];
    return;
  }
  const bool series = c.wiring == Wiring::series;
  std::array<double, 4> ohm{};
  std::array<double, zones_max> zone_ohm{};
  for (int p = 0; p < 4; ++p) {
    const double factor = resistance_factor(element_kind(c.material[at(p)]), y[at(slot::core + node::panel + p)] - 273.15);
    ohm[at(p)] = c.reference_ohm[at(p)] * factor * (1.0 + c.ageing[at(p)] * hours_[at(p)] / 1000.0);
    double& together = zone_ohm[at(c.panel_zone[at(p)])];
    if (series) together += ohm[at(p)];
    else together = together == 0.0 ? ohm[at(p)] : together * ohm[at(p)] / (together + ohm[at(p)]);
  }
  const double volts = m_.actuators.actual_v * c.supply_per_mains;
  for (int p = 0; p < 4; ++p) {
    const double all = zone_ohm[at(c.panel_zone[at(p)])], zone_a = volts / (c.series_ohm + all);
    const double panel_a = series ? zone_a : zone_a * all / ohm[at(p)];
    heat.core[at(node::panel + p)] += panel_a * panel_a * ohm[at(p)] * inputs_.demand[at(p)];
  }
}

void Equations::rate(std::span<const double> y, std::span<double> rate) const {
  Heat heat;
  Flow flow;
  heat_elements(y, heat);
  conduct(y, heat);
  radiate(y, heat);
  conduct_in_chains(y, heat);
  lose_from_casing(y, heat);
  find_flows(y, flow);
  step_species(y, flow, rate);
  gas_energy(y, flow, heat, rate);
  lags(y, flow, rate);
  const ThermalModel& t = m_.thermal;
  for (std::size_t i = 0; i + 1 < core_nodes; ++i) {
    const NodeMass& mass = t.mass[i];
    double j_k = mass.fixed_j_k;
    if (mass.material >= 0) j_k += mass.kg * heat_capacity_j_kgk(t.material[at(mass.material)], y[i]);
    if (mass.second >= 0) j_k += mass.second_kg * heat_capacity_j_kgk(t.material[at(mass.second)], y[i]);
    rate[i] = heat.core[i] / j_k;
  }
  for (int cell = 0; cell < chain_cells; ++cell) {
    for (int l = 0; l < chain_lanes; ++l) {
      const double t_k = y[cell_slot(cell, l)];
      const double j_k = t.chain.mass_kg[at(cell)][at(l)] * heat_capacity_j_kgk(t.chain.material[at(l)], t_k) +
                         t.chain.second_kg[at(cell)][at(l)] * heat_capacity_j_kgk(t.chain.second, t_k);
      rate[cell_slot(cell, l)] = heat.chain[at(cell)][at(l)] / j_k;
    }
  }
  rate[slot::casing] = heat.casing / t.casing_j_k;
}

EquationInputs inputs_of(const Model& model, const Commands& commands, const Disturbances& d) {
  const bool others = d.any_valve || d.any_meter || d.any_station || d.supply_exhausted || d.exhaust_blocked || d.mains_lost ||
                      d.mains_scale != 1.0 || d.leak_pa_m3_s != 0.0 || d.pump_stopped || d.back_pressure_valve_stuck;
  if (others) throw std::invalid_argument("a disturbance that the equations do not have");
  const CircuitModel& circuits = model.actuators.circuits;
  if (circuits.power_switch.firing != Firing::averaged || circuits.fuse_a > 0.0)
    throw std::invalid_argument("a power switch or fuse that the equations do not have");
  EquationInputs inputs{commands, d.door_open, {}, {}};
  const double mains = model.actuators.actual_v / model.actuators.nominal_v;
  for (std::size_t p = 0; p < 4; ++p) {
    const double demand = commands.contactor ? std::clamp(commands.demand[at(model.actuators.panel_zone[p])], 0.0, 1.0) : 0.0;
    inputs.demand[p] = demand;
    inputs.panel_w[p] = model.actuators.panel_w[p] * mains * mains * demand;
  }
  return inputs;
}

}  // namespace plant
