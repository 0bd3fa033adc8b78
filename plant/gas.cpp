#include "plant/gas.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <stdexcept>

#include "plant/meter_gas.h"
#include "plant/thermal.h"

namespace plant {

namespace {

constexpr double gas_r = gas_constant_j_mol_k;
constexpr double zero_degc_k = 273.15;
constexpr double accommodation = 0.9;              // engineering surfaces, recalled
constexpr double change_per_part = 0.01;           // of the moles held, in one part of a period
constexpr int parts_max = 64;
constexpr double leak_mol_s_pa_of_flow = 1.0 / (gas_r * 293.15 * 101325.0);   // a leak's flow is air at 20 degC, by one atmosphere

constexpr std::size_t n2 = 0, o2 = 1, ar = 2, he = 3, h2o = 4, h2 = 5, co = 7, ch4 = 8;
constexpr int no_main = -1;                        // of a mixture

// Sums by pairs, in a fixed order that a vector unit can follow.
double fold(const Amounts& a) { return (((a[0] + a[4]) + (a[2] + a[6])) + ((a[1] + a[5]) + (a[3] + a[7]))) + a[8]; }

double total(const Amounts& a) { return fold(a); }

double weigh(const Amounts& a, const Amounts& weight) {
  Amounts product;
  for (std::size_t i = 0; i < gas_species; ++i) product[i] = a[i] * weight[i];
  return fold(product);
}

// What burns, as the hydrogen that needs as much oxygen: CO + 1/2 O2, CH4 + 2 O2.
double as_hydrogen(const Amounts& a) { return a[h2] + (a[co] + 4.0 * a[ch4]); }

// --- Building ---------------------------------------------------------------------------------------------------------

GasModel::Source source_of(const GasModel& m, const Amounts& fraction, double conversion, int main) {
  GasModel::Source s;
  s.fraction = fraction;
  const double cp = weigh(fraction, m.molar_heat_j_mol_k);
  s.nozzle = nozzle_gas(cp / (cp - gas_r));
  s.root_mrt = std::sqrt(weigh(fraction, m.molar_mass_kg_mol) * gas_r * m.ambient_k);
  s.conversion = conversion;
  s.main = main;
  return s;
}

Amounts supplied(std::size_t main, const Purity& purity) {
  Amounts x{};
  x[o2] = purity.oxygen_ppm * 1e-6;
  x[h2o] = purity.water_ppm * 1e-6;
  x[main] = 1.0 - x[o2] - x[h2o];
  return x;
}

Amounts room_air(double water_ppm) {
  Amounts x{};
  const double dry = 1.0 - water_ppm * 1e-6;
  x[o2] = 0.2095 * dry;                            // as the oxygen cell's reference has it
  x[ar] = 0.0093 * dry;
  x[n2] = dry - x[o2] - x[ar];
  x[h2o] = water_ppm * 1e-6;
  return x;
}

Amounts bottled_hydrogen(const GasSupply& supply) {
  Amounts x = supplied(h2, supply.hydrogen);
  x[n2] = supply.hydrogen_nitrogen * x[h2];
  x[h2] -= x[n2];
  return x;
}

// A thermal meter heats what passes: heat capacities add, and with them the inverse factors.
double conversion_of_bottle(const Furnace& f) {
  const double nitrogen = f.supply.hydrogen_nitrogen;
  return 1.0 / (nitrogen + (1.0 - nitrogen) / f.meter.conversion_hydrogen);
}

// A cylinder of anything: its impurities take their place in it evenly.
GasModel::Source carried(const GasModel& m, const GasSupply& supply, std::size_t gas, const std::string& text) {
  constexpr std::array<const char*, 6> keys{"", "", "nitrogen", "argon", "helium", "hydrogen"};
  const std::array<Purity, 6> purities{Purity{0.0, 0.0}, Purity{0.0, 0.0}, supply.nitrogen, supply.argon, supply.helium, supply.hydrogen};
  try {
    const Composition composition = read_composition(text);
    const double oxygen = purities[gas].oxygen_ppm * 1e-6, water = purities[gas].water_ppm * 1e-6;
    Amounts x{};
    for (std::size_t i = 0; i < gas_species; ++i) x[i] = (1.0 - oxygen - water) * composition.fraction[i];
    x[o2] += oxygen;
    x[h2o] += water;
    return source_of(m, x, composition.factor, no_main);
  } catch (const CompositionError& error) {
    throw std::invalid_argument(std::string("supply.") + keys[gas] + ".carries: " + error.what());
  }
}

void find_gases(GasModel& m, const Furnace& f) {
  for (std::size_t i = 0; i < gas_species; ++i) {
    const auto species = static_cast<Species>(i);
    m.molar_mass_kg_mol[i] = plant::molar_mass_kg_mol(species);
    m.molar_heat_j_mol_k[i] = cp_j_mol_k(species, 600.0);
  }
  const Amounts air = room_air(f.supply.air_water_ppm);
  m.supplied[1] = source_of(m, air, f.meter.conversion_air, n2);
  m.supplied[2] = source_of(m, supplied(n2, f.supply.nitrogen), 1.0, n2);
  m.supplied[3] = source_of(m, supplied(ar, f.supply.argon), f.meter.conversion_argon, ar);
  m.supplied[4] = source_of(m, supplied(he, f.supply.helium), f.meter.conversion_helium, he);
  m.supplied[5] = source_of(m, bottled_hydrogen(f.supply), conversion_of_bottle(f), h2);
  m.supplied[0] = m.calibration = m.supplied[2];   // the first never flows
  for (std::size_t gas = 2; gas < m.supplied.size(); ++gas) {
    if (!f.supply.carries[gas].empty()) m.supplied[gas] = carried(m, f.supply, gas, f.supply.carries[gas]);
  }
  m.room = source_of(m, air, 1.0, n2);
  const auto first = static_cast<std::size_t>(f.initial.gas);
  m.initial = first == 0 ? air : m.supplied[first].fraction;
  m.purge_gas = static_cast<int>(f.supply.purge);
  m.blend_gas = static_cast<int>(f.supply.blend);
  if (m.purge_gas == 0) throw std::invalid_argument("supply.purge: a gas is needed");
}

void find_surfaces(GasModel& m, const Furnace& f) {
  const auto disc = [](double d) { return 0.25 * std::numbers::pi * d * d; };
  const auto add = [&](int node, double area_m2) { m.surface[static_cast<std::size_t>(m.surfaces++)] = {node, area_m2}; };
  add(node::load_surface, f.load.area_m2);
  add(node::plug_face, disc(f.plug.diameter_m));
  if (f.boundary == Boundary::retort) {
    add(node::barrel_inside, std::numbers::pi * f.retort.inner_diameter_m * f.retort.length_m);
    add(node::end_inside, disc(f.retort.inner_diameter_m));
    m.film_m = 0.04 * f.retort.inner_diameter_m;
    m.outgassing_node = node::barrel_inside;
    return;
  }
  for (int p = 0; p < 4; ++p) add(node::panel + p, f.heaters.area_m2);
  const double barrel = std::numbers::pi * f.lining.chamber_diameter_m * f.lining.chamber_length_m;
  add(node::lining_barrel, barrel - 4.0 * f.heaters.area_m2);
  add(node::lining_rear, disc(f.lining.chamber_diameter_m));
  add(node::lining_front, disc(f.lining.chamber_diameter_m) - disc(f.lining.front_opening_m));
  m.film_m = 0.04 * f.lining.chamber_diameter_m;
  m.outgassing_node = node::lining_barrel;
}

double nozzle_area_m2(const GasModel& m, const GasModel::Source& source, double flow_slm, double supply_pa) {
  return flow_slm * slm_mol_s / nozzle_flow(source.nozzle, 1.0, m.barometer_pa + supply_pa, m.barometer_pa, source.root_mrt).mol_s;
}

// Last: nozzles are sized for what belongs there.
void take_hand_work(GasModel& m, const GasSupply& supply, const HandWork& hand) {
  const auto right = m.supplied;
  for (std::size_t gas = 0; gas < right.size(); ++gas) m.supplied[gas] = right[static_cast<std::size_t>(hand.bottle[gas])];
  for (std::size_t gas = 2; gas < right.size(); ++gas) {
    if (!hand.carries[gas].empty()) m.supplied[gas] = carried(m, supply, gas, hand.carries[gas]);
  }
  m.supply_shut = hand.supply_shut;
  m.exhaust_shut = hand.exhaust_shut;
  m.pump_shut = hand.pump_shut;
  m.vent_m2 = hand.vent_m2;
}

}  // namespace

GasModel build_gas(const Furnace& f) {
  GasModel m;
  m.volume_m3 = f.retort.volume_m3;
  m.pore_m3 = f.plug.pore_m3;
  m.hose_m3 = f.hose.volume_m3;
  m.pore_k = f.plug.pore_degc + zero_degc_k;
  m.ambient_k = f.surroundings.ambient_degc + zero_degc_k;
  m.barometer_pa = f.surroundings.barometer_pa;
  if (!(m.volume_m3 > 0.0)) throw std::invalid_argument("retort.volume_m3: must be positive");
  if (!(m.hose_m3 > 0.0)) throw std::invalid_argument("hose.volume_m3: must be positive");
  if (!(f.supply.regulated_pa > 0.0)) throw std::invalid_argument("supply.regulated_pa: must be above the barometer");
  find_gases(m, f);
  find_surfaces(m, f);
  m.initial_pa = f.initial.pressure_pa;
  m.stagnant_share = f.mixing.stagnant_share;
  m.stagnant_exchange_m3_s = f.mixing.exchange_m3_s;
  m.meter = f.meter;
  m.supply = f.supply;
  m.meter_m2 = nozzle_area_m2(m, m.calibration, f.meter.full_scale_slm * f.meter.capacity_share, f.supply.regulated_pa);
  m.purge_m2 = nozzle_area_m2(m, m.supplied[static_cast<std::size_t>(m.purge_gas)], f.purge.flow_slm, f.supply.regulated_pa);
  m.valve = f.back_pressure_valve;
  m.exhaust_m2 = f.exhaust.area_m2;
  m.bypass_m2 = f.bypass.area_m2;
  m.behind_per_m4 = std::pow(series_area_m2(f.exhaust.area_m2, f.check_valve.area_m2), -2.0);
  m.air_m2 = f.air.area_m2;
  m.check = f.check_valve;
  m.relief = f.relief;
  m.pump = f.pump;
  m.hose = f.hose;
  m.leak_mol_s_pa = f.leak.flow_pa_m3_s * leak_mol_s_pa_of_flow;
  m.opening_m2 = f.plug.opening_m2;
  m.opening_exchange_m3_s = f.plug.opening_exchange_m3_s;
  m.outgassing = f.outgassing;
  for (Site& site : m.outgassing.site) site.capacity_mol = std::max(site.capacity_mol, site.held_mol);
  m.dryer = f.dryer;
  m.oxidation = f.oxidation;
  m.load_m2 = f.load.area_m2;
  m.sample_line_m3 = f.instruments.sample_line_m3;
  m.oxygen_lag_s = f.instruments.oxygen_lag_s;
  m.dew_point_lag_s = f.instruments.dew_point_lag_s;
  take_hand_work(m, f.supply, f.hand);
  return m;
}

namespace {

// Pressure per mole in the chamber: one pressure over free gas and pores.
double chamber_pa_mol(const GasModel& m, double gas_k) { return gas_r / (m.volume_m3 / gas_k + m.pore_m3 / m.pore_k); }

}  // namespace

GasState start_gas(const GasModel& m, double gas_k) {
  return start_gas(m, gas_k, {m.barometer_pa, m.ambient_k, m.supply.regulated_pa, 1.0});
}

GasState start_gas(const GasModel& m, double gas_k, const GasRoom& room) {
  GasState s;
  s.room = room;
  s.room.root_share = room.ambient_k == m.ambient_k ? 1.0 : std::sqrt(room.ambient_k / m.ambient_k);
  const double chamber = m.initial_pa / chamber_pa_mol(m, gas_k);
  const double hose = room.barometer_pa * m.hose_m3 / (gas_r * room.ambient_k);
  for (std::size_t i = 0; i < gas_species; ++i) {
    s.chamber_mol[i] = chamber * m.initial[i];
    s.stagnant_mol[i] = m.stagnant_share * s.chamber_mol[i];
    s.hose_mol[i] = hose * m.room.fraction[i];
  }
  s.gas_k = gas_k;
  s.chamber_pa = m.initial_pa;
  s.hose_pa = room.barometer_pa;
  for (std::size_t k = 0; k < s.adsorbed_mol.size(); ++k) s.adsorbed_mol[k] = m.outgassing.site[k].held_mol;
  s.supply_pa = m.supply_shut ? 0.0 : room.supply_pa;
  s.oxygen_fraction = m.initial[o2];
  s.water_fraction = m.initial[h2o];
  s.hydrogen_fraction = as_hydrogen(m.initial);
  return s;
}

void set_room(const GasModel& m, GasState& s, double barometer_pa, double ambient_k, double supply_pa) {
  s.room.barometer_pa = barometer_pa;
  s.room.supply_pa = supply_pa;
  if (s.room.ambient_k == ambient_k) return;
  s.hose_pa *= ambient_k / s.room.ambient_k;        // what is in the hose takes the room's temperature
  s.room.ambient_k = ambient_k;
  s.room.root_share = std::sqrt(ambient_k / m.ambient_k);
}

double chamber_total_mol(const GasState& s) { return total(s.chamber_mol); }

namespace {

double heat_of_free_gas_j(const GasModel& m, const GasState& s) {      // free gas and pores: p V cv / R each
  const double n = total(s.chamber_mol);
  const double cv = weigh(s.chamber_mol, m.molar_heat_j_mol_k) / n - gas_r;
  return n * chamber_pa_mol(m, s.gas_k) * (m.volume_m3 + m.pore_m3) * cv / gas_r;
}

}  // namespace

double gas_energy_j(const GasModel& m, const GasState& s) {
  double sum = heat_of_free_gas_j(m, s);
  for (std::size_t k = 0; k < s.adsorbed_mol.size(); ++k) sum -= s.adsorbed_mol[k] * m.outgassing.site[k].activation_j_mol;
  return sum;
}

// --- Properties taken afresh ------------------------------------------------------------------------------------------

namespace {

bool is_stale(const GasState& s, double chamber_mol) {
  if (s.fresh_age_s >= 10.0 || std::abs(s.room.ambient_k - s.fresh_room_k) > 1.0) return true;
  if (std::abs(s.chamber_pa - s.fresh_pa) > 0.03 * s.fresh_pa || std::abs(s.gas_k - s.fresh_k) > 10.0) return true;
  Amounts moved;
  for (std::size_t i = 0; i < gas_species; ++i) moved[i] = std::abs(s.chamber_mol[i] - s.fresh_fraction[i] * chamber_mol);
  return total(moved) > 0.005 * chamber_mol;
}

// Sherman's interpolation between a still film and free molecules (Springer 1971): 1/h = 1/h_film + 1/h_molecular.
double film_w_m2k(const GasModel& m, const GasState& s, double molar_mass, double gamma) {
  const double k = gas_table().conductivity_w_m_k(s.fresh_fraction, s.gas_k);
  const double molecular = accommodation / (2.0 - accommodation) * (gamma + 1.0) / (gamma - 1.0) *
                           std::sqrt(gas_r / (8.0 * std::numbers::pi * molar_mass * s.gas_k)) * s.chamber_pa;
  const double film = k / m.film_m;
  return film * molecular / (film + molecular);
}

void take_afresh(const GasModel& m, GasState& s, double chamber_mol) {
  for (std::size_t i = 0; i < gas_species; ++i) s.fresh_fraction[i] = s.chamber_mol[i] / chamber_mol;
  const double molar_mass = weigh(s.fresh_fraction, m.molar_mass_kg_mol);
  const double cp = weigh(s.fresh_fraction, m.molar_heat_j_mol_k), gamma = cp / (cp - gas_r);
  if (std::abs(gamma - s.nozzle.gamma) > 1e-6 || s.nozzle.choked_psi == 0.0) s.nozzle = nozzle_gas(gamma);
  s.root_mrt = std::sqrt(molar_mass * gas_r * s.room.ambient_k);
  s.film_w_m2k = film_w_m2k(m, s, molar_mass, gamma);
  const double viscosity = gas_table().viscosity_pa_s(s.fresh_fraction, s.room.ambient_k);
  s.tube = tube_gas(m.hose.diameter_m, m.hose.length_m, viscosity, molar_mass, s.room.ambient_k);
  s.fresh_pa = s.chamber_pa;
  s.fresh_k = s.gas_k;
  s.fresh_room_k = s.room.ambient_k;
  s.fresh_age_s = 0.0;
}

void find_desorption(const GasModel& m, GasState& s, double surface_k) {
  for (std::size_t k = 0; k < s.desorption_per_s.size(); ++k) {
    s.desorption_per_s[k] = m.outgassing.frequency_per_s * std::exp(-m.outgassing.site[k].activation_j_mol / (gas_r * surface_k));
  }
  s.desorption_age_s = 0.0;
}

// --- One part of a period ---------------------------------------------------------------------------------------------

// What holds over the period.
struct Setting {
  const ActuatorState& actuators;
  const Commands& commands;
  const Disturbances& disturbances;
  std::array<double, 2> meter_mol_s{};             // average over the period or the part in hand
  std::array<double, 2> meter_from_mol_s{}, meter_to_mol_s{};   // where it begins, where it tends to by the meter's lag
  std::array<std::size_t, 2> meter_gas{};
  double wall_m2 = 0.0, wall_m2_k = 0.0;           // solids that the gas touches: sum of A, and of A T
  double desorbing_k = 293.15, load_k = 293.15;
};

// Rates [mol/s] with their derivatives by the chamber's and the hose's pressure.
struct Rate { double now = 0.0, by_chamber = 0.0; };
struct Rates {
  Rate purge, exhaust, relief, other_out, room_in;   // other_out: admittance, opening, leak; room_in: room air by the same
  double leak = 0.0;                                 // of these two, signed inwards
  double exchange = 0.0;                             // both ways through the opening
  double hose = 0.0, hose_by_pa = 0.0;               // chamber to hose; by the difference of pressure
  double vent_in = 0.0, vent_out = 0.0, pump = 0.0;
  double vent_by_hose = 0.0, pump_by_hose = 0.0;     // vent: in minus out
};

void add(Rate& rate, double mol_s, double by_chamber) {
  rate.now += mol_s;
  rate.by_chamber += by_chamber;
}

// Slope of a flow that stops at equal pressures. A wide hole equalises within a tick: the tangent of the root would overshoot,
// the chord to zero does not.
double chord(const NozzleFlow& f, double tangent, double difference_pa) {
  const double size = std::max(std::abs(tangent), f.mol_s / std::max(std::abs(difference_pa), 1e-6));
  return tangent < 0.0 ? -size : size;
}

// A hole to the room: outwards or inwards by the difference.
void add_hole(const GasModel& m, const GasState& s, double area_m2, double chamber_pa, Rates& r) {
  if (chamber_pa >= s.room.barometer_pa) {
    const NozzleFlow f = nozzle_flow(s.nozzle, area_m2, chamber_pa, s.room.barometer_pa, s.root_mrt);
    add(r.other_out, f.mol_s, chord(f, f.by_upstream, chamber_pa - s.room.barometer_pa));
  } else {
    const NozzleFlow f = nozzle_flow(m.room.nozzle, area_m2, s.room.barometer_pa, chamber_pa, m.room.root_mrt * s.room.root_share);
    add(r.room_in, f.mol_s, chord(f, f.by_downstream, chamber_pa - s.room.barometer_pa));
  }
}

void find_exhaust(const GasModel& m, const GasState& s, const Setting& set, double p, Rates& r) {
  if (set.commands.exhaust_open && !set.disturbances.exhaust_blocked && !m.exhaust_shut) {
    const double worn = set.disturbances.back_pressure_leak * (1.0 - set.actuators.valve_share);
    const double open = (set.actuators.valve_share + worn) * set.disturbances.back_pressure_free;
    const double valves = open * m.valve.area_m2 + (set.commands.bypass_open ? m.bypass_m2 : 0.0);
    if (p > s.room.barometer_pa + m.check.crack_pa) {
      const double area = valves / std::sqrt(1.0 + m.behind_per_m4 * valves * valves);
      const NozzleFlow f = nozzle_flow(s.nozzle, area, p, s.room.barometer_pa + m.check.crack_pa, s.root_mrt);
      r.exhaust = {f.mol_s, set.commands.bypass_open ? chord(f, f.by_upstream, p - s.room.barometer_pa - m.check.crack_pa) : f.by_upstream};
    } else if (const double leak = m.check.leak_m2 + set.disturbances.check_leak_m2; leak > 0.0 && p < s.room.barometer_pa) {
      add_hole(m, s, series_area_m2(series_area_m2(valves, m.exhaust_m2), leak), p, r);
    }
  }
  const double above = p - s.room.barometer_pa - m.relief.set_pa * set.disturbances.relief_scale;
  if (above > 0.0 && !set.disturbances.relief_stuck_shut) {
    const double lift = std::min(above / m.relief.full_pa, 1.0);
    const NozzleFlow f = nozzle_flow(s.nozzle, m.relief.area_m2 * lift, p, s.room.barometer_pa, s.root_mrt);
    r.relief = {f.mol_s, f.by_upstream + (lift < 1.0 ? f.mol_s / above : 0.0)};
  }
}

void find_holes(const GasModel& m, const GasState& s, const Setting& set, double p, Rates& r) {
  const double leak_mol_s_pa = m.leak_mol_s_pa + set.disturbances.leak_pa_m3_s * leak_mol_s_pa_of_flow;
  r.leak = leak_mol_s_pa * (s.room.barometer_pa - p);
  if (r.leak >= 0.0) add(r.room_in, r.leak, -leak_mol_s_pa);
  if (r.leak < 0.0) add(r.other_out, -r.leak, leak_mol_s_pa);
  if (set.commands.air_open) add_hole(m, s, m.air_m2, p, r);
  if (m.vent_m2 > 0.0) add_hole(m, s, m.vent_m2, p, r);
  if (set.disturbances.door_open) {
    add_hole(m, s, m.opening_m2, p, r);
    const double buoyancy = 0.1 + 0.9 * std::max(0.0, 1.0 - s.room.ambient_k / s.gas_k);
    r.exchange = m.opening_exchange_m3_s * buoyancy * s.room.barometer_pa / (gas_r * s.gas_k);
  }
}

void find_hose(const GasModel& m, const GasState& s, const Setting& set, double p, double hose_pa, Rates& r) {
  const double rt = gas_r * s.room.ambient_k;
  if (set.commands.isolation_open && !m.pump_shut) {
    r.hose_by_pa = limited_conductance_m3_s(s.tube, p, hose_pa) / rt;
    r.hose = r.hose_by_pa * (p - hose_pa);
  }
  const double strength = set.actuators.pump_share * set.disturbances.pump_strength;
  r.pump = pump_speed_m3_s(m.pump, strength, hose_pa) * hose_pa / rt;
  r.pump_by_hose = r.pump > 0.0 ? m.pump.speed_m3_s * strength / rt : 0.0;
  const double standing = (m.pump.back_m2 + set.disturbances.pump_back_m2) * std::max(0.0, 1.0 - 10.0 * set.actuators.pump_share);
  const double vent_m2 = (set.commands.inlet_vent_open ? m.pump.vent_m2 : 0.0) + standing;   // the pump's speed seals it down to a tenth
  if (vent_m2 == 0.0) return;
  if (hose_pa < s.room.barometer_pa) {
    const NozzleFlow f = nozzle_flow(m.room.nozzle, vent_m2, s.room.barometer_pa, hose_pa, m.room.root_mrt * s.room.root_share);
    r.vent_in = f.mol_s;
    r.vent_by_hose = f.by_downstream;
  } else {
    const NozzleFlow f = nozzle_flow(m.room.nozzle, vent_m2, hose_pa, s.room.barometer_pa, m.room.root_mrt * s.room.root_share);
    r.vent_out = f.mol_s;
    r.vent_by_hose = -f.by_upstream;
  }
}

Rates find_rates(const GasModel& m, const GasState& s, const Setting& set, double p, double hose_pa) {
  Rates r;
  if (set.commands.purge_open && !m.supply_shut) {
    const GasModel::Source& source = m.supplied[static_cast<std::size_t>(m.purge_gas)];
    const NozzleFlow f = nozzle_flow(source.nozzle, m.purge_m2, s.room.barometer_pa + s.supply_pa, p, source.root_mrt * s.room.root_share);
    r.purge = {f.mol_s, f.by_downstream};
  }
  find_exhaust(m, s, set, p, r);
  find_holes(m, s, set, p, r);
  find_hose(m, s, set, p, hose_pa, r);
  return r;
}

// Changes of the moles in chamber and hose over h, by phi_1(-Z) of the flows made linear in both pressures, and the mean changes of the
// pressures, by phi_2(-Z): with those the flows add up to the very changes. phi_1(-Z) = (6 + 4 Z + Z^2)^-1 (6 + Z) and
// phi_2(-Z) = (6 + 4 Z + Z^2)^-1 (3 + Z) belong to the (1, 2) Pade approximation of the exponential, third order and L-stable: the
// hose empties in less than one part. (Pade table: Hairer, Wanner, Solving Ordinary Differential Equations II, IV.3.)
struct Change { double chamber, hose, mean_chamber_pa, mean_hose_pa, through_mol_s; };   // the last: chamber to hose
Change solve_change(const GasModel& m, const GasState& s, const Setting& set, const Rates& r, double water_mol_s, double h) {
  const double beta = chamber_pa_mol(m, s.gas_k), hose_beta = gas_r * s.room.ambient_k / m.hose_m3;
  const double net = set.meter_mol_s[0] + set.meter_mol_s[1] + water_mol_s + r.purge.now + r.room_in.now - r.exhaust.now -
                     r.relief.now - r.other_out.now;
  const double by_chamber = r.purge.by_chamber + r.room_in.by_chamber - r.exhaust.by_chamber - r.relief.by_chamber - r.other_out.by_chamber;
  // Z = [a + g, -k; -g, c + k]: g and k of the hose, which may be so wide that only what they do not share says anything. So nothing here
  // takes two large numbers from each other.
  const double a = -h * beta * by_chamber, c = -h * hose_beta * (r.vent_by_hose - r.pump_by_hose);
  const double g = h * beta * r.hose_by_pa, k = h * hose_beta * r.hose_by_pa;
  const double trace = a + g + c + k, determinant = a * c + a * k + c * g;
  const double per = 1.0 / (36.0 + trace * (24.0 + 6.0 * trace + 4.0 * determinant) + determinant * (4.0 + determinant));
  const double outside = h * (net + r.vent_in - r.vent_out - r.pump), b1 = h * (net - r.hose), b2 = outside - b1;
  const double x1 = (b1 * (6.0 + 4.0 * c + c * c + (c - a) * k) + outside * k * (4.0 + trace)) * per;
  const double x2 = (b2 * (6.0 + 4.0 * a + a * a + (a - c) * g) + outside * g * (4.0 + trace)) * per;
  // g x1 - k x2
  const double through = (b1 * g * (6.0 + 4.0 * c + c * c) - b2 * k * (6.0 + 4.0 * a + a * a) + outside * (c - a) * g * k) * per;
  const double chamber = (6.0 + a) * x1 + through, hose = (6.0 + c) * x2 - through;
  const double mean_chamber = (3.0 + a) * x1 + through, mean_hose = (3.0 + c) * x2 - through;
  const double mean_chamber_pa = beta * mean_chamber;
  const double through_mol_s = r.hose_by_pa > 0.0 ? net + by_chamber * mean_chamber_pa - chamber / h : 0.0;
  return {chamber, hose, mean_chamber_pa, hose_beta * mean_hose, through_mol_s};
}

void apply_change(Rates& r, const Change& c) {
  for (Rate* rate : {&r.purge, &r.exhaust, &r.relief, &r.other_out, &r.room_in}) {
    rate->now = std::max(0.0, rate->now + rate->by_chamber * c.mean_chamber_pa);
  }
  r.hose = c.through_mol_s;
  r.pump = std::max(0.0, r.pump + r.pump_by_hose * c.mean_hose_pa);
  if (r.vent_in > 0.0) r.vent_in = std::max(0.0, r.vent_in + r.vent_by_hose * c.mean_hose_pa);
  if (r.vent_out > 0.0) r.vent_out = std::max(0.0, r.vent_out - r.vent_by_hose * c.mean_hose_pa);
}

// Takes `out` moles, of the composition after `in` has come, from a well-mixed volume; returns what left, by species.
Amounts mix(Amounts& held, const Amounts& in, double out) {
  double sum = 0.0;
  for (std::size_t i = 0; i < gas_species; ++i) {
    held[i] += in[i];
    sum += held[i];
  }
  const double share = sum > 0.0 ? std::min(out / sum, 1.0 - 1e-9) : 0.0;    // never more than there is
  Amounts left;
  for (std::size_t i = 0; i < gas_species; ++i) {
    left[i] = held[i] * share;
    held[i] -= left[i];
  }
  return left;
}

void add_amounts(Amounts& sum, const Amounts& amounts, double factor) {
  for (std::size_t i = 0; i < gas_species; ++i) sum[i] += factor * amounts[i];
}

// Hundreds of thousands of like terms round the same way: what each leaves over is carried to the next (Kahan 1965).
void tally(Amounts& sum, Amounts& rest, const Amounts& amounts, double factor) {
  for (std::size_t i = 0; i < gas_species; ++i) {
    const double term = factor * amounts[i] + rest[i], before = sum[i];
    sum[i] = before + term;
    rest[i] = term - (sum[i] - before);
  }
}

void receive(GasState& s, const Amounts& amounts, double factor) { tally(s.received_mol, s.received_rest_mol, amounts, factor); }
void lose(GasState& s, const Amounts& amounts, double factor) { tally(s.lost_mol, s.lost_rest_mol, amounts, factor); }

// What went in and out of the chamber in one part.
struct Passage { Amounts in{}, out{}; double water = 0.0, oxide_j = 0.0; };

Amounts pass_hose(const GasModel& m, GasState& s, const Rates& r, const Amounts& from_chamber, double h) {
  Amounts in = from_chamber, room{};
  add_amounts(room, m.room.fraction, h * r.vent_in);
  add_amounts(in, room, 1.0);
  const double back = std::max(0.0, -r.hose) * h, away = (r.pump + r.vent_out) * h;
  const Amounts left = mix(s.hose_mol, in, back + away);
  const double share = back + away > 0.0 ? back / (back + away) : 0.0;
  Amounts returned{};
  add_amounts(returned, left, share);
  receive(s, room, 1.0);
  lose(s, left, 1.0 - share);
  return returned;
}

// Gas from the supply. What spoils a bottled gas takes the place of the gas; its flow is reckoned as of the pure one.
void spoil(const GasModel::Source& source, double mol, double oxygen, double water, Amounts& in) {
  in[o2] += mol * oxygen;
  in[h2o] += mol * water;
  const double replaced = mol * (oxygen + water);
  if (source.main == no_main) add_amounts(in, source.fraction, -replaced);
  else in[static_cast<std::size_t>(source.main)] -= replaced;
}

// Water fraction that the dryer lets through; what it takes stays in it.
double pass_dryer(const GasModel& m, GasState& s, const Disturbances& d, double mol) {
  const double inlet = m.dryer.inlet_ppm * 1e-6, capacity = m.dryer.capacity_kg / m.molar_mass_kg_mol[h2o];
  const double full = d.dryer_exhausted ? 1.0 : s.dried_mol / capacity;
  const double passed = inlet * std::clamp(10.0 * full - 9.0, 0.0, 1.0);
  s.dried_mol = std::min(capacity, s.dried_mol + mol * (inlet - passed));
  return passed;
}

void add_supplied(const GasModel& m, GasState& s, const Disturbances& d, std::size_t gas, double mol, Amounts& in) {
  const GasModel::Source& source = m.supplied[gas];
  add_amounts(in, source.fraction, mol);
  constexpr std::size_t from_the_room = 1;
  if (gas == from_the_room) return;
  if (d.supply_oxygen + d.supply_water != 0.0) spoil(source, mol, d.supply_oxygen, d.supply_water, in);
  if (m.dryer.capacity_kg > 0.0) spoil(source, mol, 0.0, pass_dryer(m, s, d, mol), in);
}

// Two zones at one pressure and temperature. The stagnant one takes no part in what flows through the chamber: it keeps its share of
// the volume (what it lacks comes from the main zone, what it has too much goes there) and is stirred into it by the exchange, of
// which a part's closed form is taken: the difference of the fractions decays at E (1 / N main + 1 / N stagnant).
void stir(const GasModel& m, GasState& s, Amounts& main, double h) {
  double main_mol = total(main), stagnant_mol = total(s.stagnant_mol);
  const double surplus = stagnant_mol - m.stagnant_share * (main_mol + stagnant_mol);
  const Amounts& giver = surplus > 0.0 ? s.stagnant_mol : main;
  const double moved = surplus / (surplus > 0.0 ? stagnant_mol : main_mol);
  for (std::size_t i = 0; i < gas_species; ++i) {
    const double mol = giver[i] * moved;
    main[i] += mol;
    s.stagnant_mol[i] -= mol;
  }
  main_mol += surplus;
  stagnant_mol -= surplus;
  const double volumes = h * m.stagnant_exchange_m3_s / (m.volume_m3 + m.pore_m3);
  const double both = main_mol + stagnant_mol, mixes = -std::expm1(-volumes * both * (1.0 / main_mol + 1.0 / stagnant_mol)) / both;
  for (std::size_t i = 0; i < gas_species; ++i) {
    s.stagnant_mol[i] += mixes * (main[i] * stagnant_mol - s.stagnant_mol[i] * main_mol);
  }
}

// As mix, from the main zone.
Amounts mix_main(const GasModel& m, GasState& s, const Amounts& in, double out, double h) {
  Amounts main;
  for (std::size_t i = 0; i < gas_species; ++i) main[i] = s.chamber_mol[i] - s.stagnant_mol[i];
  const Amounts left = mix(main, in, out);
  for (std::size_t i = 0; i < gas_species; ++i) s.chamber_mol[i] += in[i] - left[i];
  stir(m, s, main, h);
  return left;
}

// Takes `mol` of a species from the gas that surfaces see: the main zone's.
double main_mol(const GasState& s, std::size_t species) { return s.chamber_mol[species] - s.stagnant_mol[species]; }

// Langmuir: each site takes uptake * (capacity - held) * p, implicit in the vapour and in what is free.
double adsorb(const GasModel& m, GasState& s, double main_share, double h) {
  const double vapour = main_mol(s, h2o), pa_mol = s.chamber_pa / (total(s.chamber_mol) * main_share);
  const double each = h * m.outgassing.uptake_per_pa_s / (1.0 + h * m.outgassing.uptake_per_pa_s * vapour * pa_mol);
  std::array<double, 4> by_vapour{};
  double sum = 1.0;
  for (std::size_t k = 0; k < by_vapour.size(); ++k) {
    by_vapour[k] = each * pa_mol * std::max(0.0, m.outgassing.site[k].capacity_mol - s.adsorbed_mol[k]);
    sum += by_vapour[k];
  }
  double taken = 0.0;
  for (std::size_t k = 0; k < by_vapour.size(); ++k) {
    const double mol = by_vapour[k] * vapour / sum;
    s.adsorbed_mol[k] += mol;
    taken += mol;
  }
  return taken;
}

// Diffusion of what is dilute, Fuller's exponent: 2.2e-5 m2/s at 298 K and one atmosphere for oxygen and 2.5e-5 for water in nitrogen
// (textbooks of mass transfer, from memory). In a film no thinner than the mean free path it goes as 1 / p.
double film_m3_s(const GasModel& m, const GasState& s, double at_298_m2_s) {
  const double diffusion = at_298_m2_s * std::pow(s.gas_k / 298.15, 1.75) * 101325.0 / std::max(s.chamber_pa, 1.0);
  return diffusion / m.film_m * m.load_m2;
}

// What the oxide takes in one part: as much as the parabola wants and the film brings, in series.
struct Taken { double oxygen = 0.0, water = 0.0; };
Taken oxidise(const GasModel& m, GasState& s, double load_k, double main_share, double h) {
  constexpr double atom_kg = 15.9994e-3;
  const double volume = (m.volume_m3 + m.pore_m3) * main_share;
  const double rate = m.oxidation.factor_kg2_m4_s * std::exp(-m.oxidation.activation_j_mol / (gas_r * load_k));
  const double gained = s.oxide_kg / m.load_m2;
  const double wanted = m.load_m2 * rate * h / (gained + std::sqrt(gained * gained + rate * h)) / atom_kg;   // atoms [mol]
  const double by_oxygen = h * film_m3_s(m, s, 2.2e-5) / volume, by_water = h * film_m3_s(m, s, 2.5e-5) / volume;
  const double oxygen = 2.0 * std::max(0.0, main_mol(s, o2)) * by_oxygen / (1.0 + by_oxygen);
  const double water = std::max(0.0, main_mol(s, h2o)) * by_water / (1.0 + by_water);
  const double brought = oxygen + water;
  if (!(wanted > 0.0) || !(brought > 0.0)) return {};
  const double share = wanted / (wanted + brought);
  s.oxide_kg += share * brought * atom_kg;
  return {0.5 * share * oxygen, share * water};
}

// What surfaces and oxide take from the gas and give to it leaves and comes at the gas's own temperature.
void meet_surfaces(const GasModel& m, GasState& s, const Setting& set, double h, Passage& p) {
  const double main_share = 1.0 - m.stagnant_share;
  const auto take = [&](std::size_t species, double mol) {
    s.chamber_mol[species] -= mol;
    p.out[species] += mol;
    Amounts passed{};
    passed[species] = std::abs(mol);
    mol > 0.0 ? lose(s, passed, 1.0) : receive(s, passed, 1.0);
  };
  if (m.outgassing.uptake_per_pa_s > 0.0) take(h2o, adsorb(m, s, main_share, h));
  if (m.oxidation.factor_kg2_m4_s <= 0.0) return;
  const Taken taken = oxidise(m, s, set.load_k, main_share, h);
  take(o2, taken.oxygen);
  take(h2o, taken.water);
  take(h2, -taken.water);
  p.oxide_j = m.oxidation.heat_j_mol * (2.0 * taken.oxygen + taken.water);
}

Passage pass_species(const GasModel& m, GasState& s, const Setting& set, const Rates& r, double h) {
  Passage p;
  Amounts returned{};
  const bool idle = r.hose == 0.0 && r.vent_in == 0.0 && r.vent_out == 0.0 && r.pump == 0.0;
  if (!idle && r.hose <= 0.0) returned = pass_hose(m, s, r, Amounts{}, h);
  for (std::size_t k = 0; k < 2; ++k) {
    if (set.meter_mol_s[k] > 0.0) add_supplied(m, s, set.disturbances, set.meter_gas[k], h * set.meter_mol_s[k], p.in);
  }
  if (r.purge.now > 0.0) add_supplied(m, s, set.disturbances, static_cast<std::size_t>(m.purge_gas), h * r.purge.now, p.in);
  const double room = r.room_in.now + r.exchange;
  if (room > 0.0) add_amounts(p.in, m.room.fraction, h * room);
  for (std::size_t k = 0; k < s.adsorbed_mol.size(); ++k) {
    const double rate = h * s.desorption_per_s[k], gone = s.adsorbed_mol[k] * rate / (1.0 + rate);
    s.adsorbed_mol[k] -= gone;
    p.water += gone;
  }
  Amounts fresh = p.in;
  fresh[h2o] += p.water;
  receive(s, fresh, 1.0);
  add_amounts(p.in, returned, 1.0);
  Amounts all = p.in;
  all[h2o] += p.water;
  const double to_hose = std::max(0.0, r.hose) * h;
  const double out = (r.exhaust.now + r.relief.now + r.other_out.now + r.exchange) * h + to_hose;
  p.out = m.stagnant_share > 0.0 ? mix_main(m, s, all, out, h) : mix(s.chamber_mol, all, out);
  const double share = out > 0.0 ? to_hose / out : 0.0;
  lose(s, p.out, 1.0 - share);
  if (!idle && r.hose > 0.0) {
    Amounts from_chamber{};
    add_amounts(from_chamber, p.out, share);
    pass_hose(m, s, r, from_chamber, h);
  }
  if (m.outgassing.uptake_per_pa_s > 0.0 || m.oxidation.factor_kg2_m4_s > 0.0) meet_surfaces(m, s, set, h, p);
  return p;
}

// Gas temperature after a part: energy of the free gas against what flowed, the walls and the exchange with pores. What walls and outflow
// take goes with the mean of the part, which lies the farther towards its end the faster the gas follows: by phi_2(-z) / phi_1(-z) of
// solve_change(), (3 + z) / (6 + z), half the way of a slow gas, all of it in vacuum.
struct Before { double mol, pa, free_j, pore_mol, all_j; };

Before look_before(const GasModel& m, const GasState& s) {
  Before b{};
  b.mol = total(s.chamber_mol);
  b.pa = b.mol * chamber_pa_mol(m, s.gas_k);
  const double cv = weigh(s.chamber_mol, m.molar_heat_j_mol_k) / b.mol - gas_r;
  b.free_j = b.pa * m.volume_m3 * cv / gas_r;
  b.pore_mol = b.pa * m.pore_m3 / (gas_r * m.pore_k);
  b.all_j = b.pa * (m.volume_m3 + m.pore_m3) * cv / gas_r;
  return b;
}

struct GasK { double end, mean; };
GasK solve_gas_k(const GasModel& m, const GasState& s, const Setting& set, const Before& b, double mol, double cp, double enthalpy_in_j,
                 double out_j_k, double h) {
  const double cv = cp - gas_r, pores = m.pore_m3 / m.pore_k, loss_j_k = h * s.film_w_m2k * set.wall_m2 + out_j_k;
  const double own_free = m.volume_m3 / s.gas_k, own_share = 1.0 / (own_free + pores);
  const double held_j_k = mol * (own_free * own_share) * (cv * own_free + cp * pores) * own_share;
  const double weight = (3.0 * held_j_k + loss_j_k) / (6.0 * held_j_k + loss_j_k);
  const double given = b.free_j + enthalpy_in_j + h * s.film_w_m2k * set.wall_m2_k - (1.0 - weight) * loss_j_k * s.gas_k;
  double t = s.gas_k;
  for (int newton = 0; newton < 3; ++newton) {
    const double free = m.volume_m3 / t, sum = free + pores, per_sum = 1.0 / sum;
    const double held = mol * cv * m.volume_m3 * per_sum;
    const double squeeze = free / t * per_sum;                 // relative change of 1 / sum per kelvin
    const double pore_mol = mol * pores * per_sum, into_pores = pore_mol - b.pore_mol;
    const double pore_slope = pore_mol * squeeze;
    const double pore_k = into_pores > 0.0 ? t : m.pore_k;
    const double f = held + weight * loss_j_k * t + into_pores * cp * pore_k - given;
    const double slope = held * squeeze + weight * loss_j_k + cp * (pore_slope * pore_k + (into_pores > 0.0 ? into_pores : 0.0));
    const double step = f / slope;
    t = std::clamp(t - step, 0.5 * t, 2.0 * t);
    if (std::abs(step) < 1e-5 * t) break;                      // what is left is of the order of its square
  }
  return {t, s.gas_k + weight * (t - s.gas_k)};
}

struct PartSum {
  Rates flows{};
  double water = 0.0, film_j_m2k = 0.0, film_j_m2 = 0.0, plug_j = 0.0, binding_j = 0.0, oxide_j = 0.0;
};

void sum_flows(Rates& sum, const Rates& r, double h) {
  sum.purge.now += h * r.purge.now;
  sum.exhaust.now += h * r.exhaust.now;
  sum.relief.now += h * r.relief.now;
  sum.other_out.now += h * (r.other_out.now + r.exchange);
  sum.room_in.now += h * (r.room_in.now + r.exchange);
  sum.leak += h * r.leak;
  sum.hose += h * r.hose;
  sum.pump += h * r.pump;
}

void step_part(const GasModel& m, GasState& s, const Setting& set, double h, Rates r, const Change& change, PartSum& sum) {
  apply_change(r, change);
  const Before before = look_before(m, s);
  const std::array<double, 4> held = s.adsorbed_mol;
  const Passage passage = pass_species(m, s, set, r, h);
  const double mol = total(s.chamber_mol), cp = weigh(s.chamber_mol, m.molar_heat_j_mol_k) / mol;
  const double in_j = s.room.ambient_k * weigh(passage.in, m.molar_heat_j_mol_k) +
                      set.desorbing_k * passage.water * m.molar_heat_j_mol_k[h2o];
  const double out_j_k = weigh(passage.out, m.molar_heat_j_mol_k);
  const GasK gas_k = solve_gas_k(m, s, set, before, mol, cp, in_j, out_j_k, h);
  s.gas_k = gas_k.end;
  s.chamber_pa = mol * chamber_pa_mol(m, s.gas_k);
  s.hose_pa = total(s.hose_mol) * gas_r * s.room.ambient_k / m.hose_m3;
  const double all_j = s.chamber_pa * (m.volume_m3 + m.pore_m3) * (cp - gas_r) / gas_r;
  const double from_walls_j = h * s.film_w_m2k * (set.wall_m2_k - set.wall_m2 * gas_k.mean), out_j = out_j_k * gas_k.mean;
  s.enthalpy_in_j += in_j + passage.oxide_j;
  s.enthalpy_out_j += out_j;
  sum.film_j_m2k += h * s.film_w_m2k;
  sum.film_j_m2 += h * s.film_w_m2k * gas_k.mean;
  sum.plug_j += before.all_j + in_j + from_walls_j - out_j - all_j;     // what is left over warmed the plug's pores
  for (std::size_t k = 0; k < held.size(); ++k) sum.binding_j += (held[k] - s.adsorbed_mol[k]) * m.outgassing.site[k].activation_j_mol;
  sum.water += passage.water;
  sum.oxide_j += passage.oxide_j;
  sum_flows(sum.flows, r, h);
}

// What a mass-flow controller wide open passes; not worked out where it is plainly more than asked: the flow function is
// concave, so that its chord from choking to equal pressures lies below it.
double meter_limit_mol_s(const GasModel& m, const GasState& s, const GasModel::Source& source, double asked) {
  const double supply_pa = s.room.barometer_pa + s.supply_pa, chamber_pa = s.chamber_pa, root_mrt = source.root_mrt * s.room.root_share;
  const double scale = m.meter_m2 * supply_pa / root_mrt, ratio = chamber_pa / supply_pa;
  if (scale * source.nozzle.choked_psi * std::min(1.0, (1.0 - ratio) / (1.0 - source.nozzle.critical_ratio)) > asked) return asked;
  return nozzle_flow(source.nozzle, m.meter_m2, supply_pa, chamber_pa, root_mrt).mol_s;
}

double regulated_pa(const GasState& s, const Disturbances& d) {
  if (d.supply_exhausted) return 0.0;
  return std::max(0.0, s.room.supply_pa + d.regulator_pa - d.droop_pa_slm * s.flows.in / slm_mol_s);
}

// What a mass-flow controller passes that takes span * flow + shift for the flow, or whose valve is stuck.
double misled_mol_s(GasState& s, std::size_t k, const MeterFault& fault, double asked_mol_s, double slm_of_its_gas_mol_s) {
  const unsigned bit = 1u << k;
  if (!fault.stuck) s.meters_stuck &= ~bit;
  else if ((s.meters_stuck & bit) == 0) s.stuck_mol_s[k] = s.meter_mol_s[k];
  if (fault.stuck) s.meters_stuck |= bit;
  return fault.stuck ? s.stuck_mol_s[k] : std::max(0.0, (asked_mol_s - fault.shift_slm * slm_of_its_gas_mol_s) / fault.span);
}

// Mean over a time of what goes from one value towards another by a first-order lag; gain: 1 - exp(-time / lag).
double mean_of_lag(double from, double to, double gain, double time_by_lag) { return to + (from - to) * gain / time_by_lag; }

// What the meters pass in a part of a period, of the course that step_meters() found for the whole.
void take_part_of_meters(Setting& set, double gain, double time_by_lag) {
  for (std::size_t k = 0; k < 2; ++k) {
    double& from = set.meter_from_mol_s[k];
    set.meter_mol_s[k] = mean_of_lag(from, set.meter_to_mol_s[k], gain, time_by_lag);
    from += (set.meter_to_mol_s[k] - from) * gain;
  }
}

// The mass-flow controllers' own loops: first order to what is asked, never more than wide open.
void step_meters(const GasModel& m, GasState& s, Setting& set, double period_s) {
  if (s.gain_period_s != period_s) {
    s.meter_gain = 1.0 - std::exp(-period_s / m.meter.lag_s);
    s.supply_gain = 1.0 - std::exp(-period_s / m.supply.decay_s);
    s.gain_period_s = period_s;
  }
  const double supplied_pa = m.supply_shut ? 0.0 : regulated_pa(s, set.disturbances);
  s.supply_pa += (supplied_pa - s.supply_pa) * s.supply_gain;
  set.meter_gas = {static_cast<std::size_t>(std::clamp(set.commands.gas, 0, 5)), static_cast<std::size_t>(m.blend_gas)};
  for (std::size_t k = 0; k < 2; ++k) {
    const std::size_t gas = set.meter_gas[k];
    const bool open = set.commands.process_open && gas != 0 && !m.supply_shut;
    const double asked = open ? std::clamp(set.commands.meter_set[k], 0.0, 1.1) : 0.0;
    double target = asked * m.meter.full_scale_slm * slm_mol_s * m.supplied[gas].conversion;
    if (set.disturbances.any_meter || s.meters_stuck != 0) {
      const double in_gas = slm_mol_s * m.supplied[gas].conversion;
      target = open ? misled_mol_s(s, k, set.disturbances.meter[k], target, in_gas) : 0.0;
    }
    if (m.meter.direct && open) {
      const double wide_open = meter_limit_mol_s(m, s, m.supplied[gas], 1e9);
      target = std::clamp(set.commands.meter_set[k], 0.0, 1.0) * wide_open;
    } else if (target > 0.0) {
      target = std::min(target, meter_limit_mol_s(m, s, m.supplied[gas], target));
    }
    const double before = open ? s.meter_mol_s[k] : 0.0;      // the process valve cuts at once
    s.meter_mol_s[k] = open ? before + (target - before) * s.meter_gain : 0.0;
    set.meter_from_mol_s[k] = before;
    set.meter_to_mol_s[k] = open ? target : 0.0;
    set.meter_mol_s[k] = mean_of_lag(before, set.meter_to_mol_s[k], s.meter_gain, period_s / m.meter.lag_s);
    // What a shut-off that does not seal lets through passes the meter's own valve too, which is none, and is metered.
    if (k == 0 && set.disturbances.combustible_leak_mol_s > 0.0 && !m.supply_shut && !set.commands.process_open) {
      set.meter_gas[k] = static_cast<std::size_t>(Gas::hydrogen);
      s.meter_mol_s[k] = set.meter_mol_s[k] = set.meter_from_mol_s[k] = set.meter_to_mol_s[k] = set.disturbances.combustible_leak_mol_s;
    }
    s.metered_mol += period_s * set.meter_mol_s[k];
  }
}

// First-order lags of cell and dew-point sensor behind a sample line that the exhaust flow sweeps.
void step_samples(const GasModel& m, GasState& s, double period_s) {
  const double swept = s.flows.exhaust;
  if (swept < 1e-8) return;
  const double line_s = m.sample_line_m3 * s.chamber_pa / (gas_r * s.room.ambient_k * swept);
  Amounts main = s.chamber_mol;
  if (m.stagnant_share > 0.0) add_amounts(main, s.stagnant_mol, -1.0);
  const double per_mol = 1.0 / total(main);
  s.oxygen_fraction += (main[o2] * per_mol - s.oxygen_fraction) * period_s / (period_s + m.oxygen_lag_s + line_s);
  s.hydrogen_fraction += (as_hydrogen(main) * per_mol - s.hydrogen_fraction) * period_s / (period_s + m.oxygen_lag_s + line_s);
  s.water_fraction += (main[h2o] * per_mol - s.water_fraction) * period_s / (period_s + m.dew_point_lag_s + line_s);
}

void report_flows(GasState& s, const Setting& set, const PartSum& sum, double period_s) {
  const double per_s = 1.0 / period_s;
  GasFlows& f = s.flows;
  f.purge = sum.flows.purge.now * per_s;
  f.in = set.meter_mol_s[0] + set.meter_mol_s[1] + f.purge;
  f.exhaust = sum.flows.exhaust.now * per_s;
  f.relief = sum.flows.relief.now * per_s;
  f.out = f.exhaust + f.relief + sum.flows.other_out.now * per_s;
  f.leak = sum.flows.leak * per_s;
  f.air = sum.flows.room_in.now * per_s - std::max(f.leak, 0.0);
  f.hose = sum.flows.hose * per_s;
  f.pump = sum.flows.pump * per_s;
  f.water = sum.water * per_s;
  s.purged_mol += sum.flows.purge.now;
}

// Parts a period needs, so that neither volume changes by much in one.
int count_parts(const GasState& s, const Change& c, double chamber_mol) {
  const double hose_mol = std::max(total(s.hose_mol), 1e-9);
  const double change = std::max(std::abs(c.chamber) / chamber_mol, std::abs(c.hose) / hose_mol);
  if (change <= 2.0 * change_per_part) return 1;
  return static_cast<int>(std::min(std::ceil(change / change_per_part), static_cast<double>(parts_max)));
}

}  // namespace

double step_gas(const GasModel& m, GasState& s, const ActuatorState& actuators, const Commands& commands, const Disturbances& disturbances,
                std::span<const double> surface_k, std::span<double> heat_w, double period_s) {
  Setting set{actuators, commands, disturbances};
  const double held_mol = total(s.chamber_mol);
  set.desorbing_k = surface_k[static_cast<std::size_t>(m.outgassing_node)];
  set.load_k = surface_k[node::load_surface];
  if (is_stale(s, held_mol)) take_afresh(m, s, held_mol);
  if (s.desorption_age_s >= 2.0) find_desorption(m, s, set.desorbing_k);
  step_meters(m, s, set, period_s);
  for (int i = 0; i < m.surfaces; ++i) {
    const GasSurface& surface = m.surface[static_cast<std::size_t>(i)];
    set.wall_m2 += surface.area_m2;
    set.wall_m2_k += surface.area_m2 * surface_k[static_cast<std::size_t>(surface.node)];
  }
  const double water_mol_s = std::inner_product(s.adsorbed_mol.begin(), s.adsorbed_mol.end(), s.desorption_per_s.begin(), 0.0);
  Rates rates = find_rates(m, s, set, s.chamber_pa, s.hose_pa);
  Change change = solve_change(m, s, set, rates, water_mol_s, period_s);
  s.parts = count_parts(s, change, held_mol);
  const double h = period_s / s.parts, part_by_lag = h / m.meter.lag_s;
  const double part_gain = s.parts > 1 ? 1.0 - std::exp(-part_by_lag) : 0.0;
  const std::array<double, 2> metered_mol_s = set.meter_mol_s;
  PartSum sum;
  for (int part = 0; part < s.parts; ++part) {
    if (part > 0) {
      if (const double mol = total(s.chamber_mol); is_stale(s, mol)) take_afresh(m, s, mol);
      rates = find_rates(m, s, set, s.chamber_pa, s.hose_pa);
    }
    if (s.parts > 1) {
      take_part_of_meters(set, part_gain, part_by_lag);
      change = solve_change(m, s, set, rates, water_mol_s, h);
    }
    step_part(m, s, set, h, rates, change, sum);
  }
  const double per_s = 1.0 / period_s;
  for (int i = 0; i < m.surfaces; ++i) {
    const GasSurface& surface = m.surface[static_cast<std::size_t>(i)];
    const auto n = static_cast<std::size_t>(surface.node);
    heat_w[n] -= surface.area_m2 * (sum.film_j_m2k * surface_k[n] - sum.film_j_m2) * per_s;
  }
  heat_w[static_cast<std::size_t>(m.outgassing_node)] -= sum.binding_j * per_s;
  if (sum.oxide_j != 0.0) heat_w[node::load_surface] += sum.oxide_j * per_s;
  set.meter_mol_s = metered_mol_s;
  report_flows(s, set, sum, period_s);
  step_samples(m, s, period_s);
  s.fresh_age_s += period_s;
  s.desorption_age_s += period_s;
  return sum.plug_j * per_s;
}

}  // namespace plant
