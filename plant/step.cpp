#include "plant/step.h"

#include <cmath>
#include <cstdio>

#include "plant/properties.h"

namespace plant {

namespace {

constexpr double zero_degc_k = 273.15;
constexpr int pore_cell = chain_cells / 2;       // of the plug's chain: takes the heat that gas leaves in its pores

double degc(const State& s, int node) { return s.thermal.t_k[static_cast<std::size_t>(node)] - zero_degc_k; }

// By its input, as ThermocoupleWiring counts them.
const ThermocoupleAge& age_of(const Thermocouples& t, int input) {
  return input < channel::load ? t.heater_age : (input == channel::load ? t.load_age : t.load2_age);
}

constexpr std::array<int, thermocouples_max> junctions{node::zone_junction,     node::zone_junction + 1, node::zone_junction + 2,
                                                       node::zone_junction + 3, node::load_junction,     node::load2_junction};

void age_thermocouples(const Model& m, State& s, double period_s) {
  for (int input = 0; input < thermocouples_max; ++input) {
    const ThermocoupleAge& age = age_of(m.furnace.thermocouples, input);
    if (age.drift_k_1000h == 0.0) continue;
    const auto i = static_cast<std::size_t>(input);
    s.drift_k[i] += age.drift_k_1000h / 3.6e6 * period_s * std::exp2((degc(s, junctions[i]) - age.at_degc) / age.doubling_k);
  }
}

// Mineral insulation that has drawn damp, or is simply too hot, is a second junction across the wires, somewhere between hot and cold.
// Its resistance falls to a tenth in some 115 K (magnesia between 600 and 1000 degC; from memory).
double past_insulation_degc(double hot_degc, double cold_degc, double half_degc) {
  const double share = 1.0 / (1.0 + std::exp((half_degc - hot_degc) / 50.0));
  return hot_degc - share * 0.5 * (hot_degc - cold_degc);
}

// What the wires make of the junctions' temperatures.
void read_wires(const Model& m, const State& s, const Disturbances& d, ProcessValues& p) {
  const double cold = p.cold_junction_degc;
  for (int input = 0; input < thermocouples_max; ++input) {
    const auto i = static_cast<std::size_t>(input);
    double& load = input == channel::load ? p.load_junction_degc : p.load2_junction_degc;
    double& read = input < channel::load ? p.zone_junction_degc[i] : load;
    const double hot = read;
    if (s.drift_k[i] != 0.0) read += s.drift_k[i] * (hot - cold) / (age_of(m.furnace.thermocouples, input).at_degc - 20.0);
    if (d.any_insulation && d.insulation_degc[i] > 0.0) read = past_insulation_degc(read, cold, d.insulation_degc[i]);
  }
}

void read_temperatures(const State& s, ProcessValues& p) {
  for (int z = 0; z < zones_max; ++z) p.zone_junction_degc[static_cast<std::size_t>(z)] = degc(s, node::zone_junction + z);
  p.load_junction_degc = degc(s, node::load_junction);
  p.load2_junction_degc = degc(s, node::load2_junction);
  p.cold_junction_degc = s.cold_junction_k - zero_degc_k;
  p.casing_degc = s.thermal.casing_k - zero_degc_k;
  p.oxygen_cell_degc = s.oxygen_cell_k - zero_degc_k;
}

// The hot electrode burns what can burn: of air and hydrogen what is left over, and beside hydrogen the oxygen that water gives off
// at the cell's temperature, H2 + 1/2 O2 = H2O, dG = -247.8 kJ/mol + 55.2 J/(mol K) T: a line through the
// tables' free energies of formation of water vapour from 800 to 1200 K (JANAF, from memory).
double oxygen_at_cell(const State& s) {
  const double hydrogen = s.gas.hydrogen_fraction, oxygen = s.gas.oxygen_fraction;
  if (hydrogen <= 0.0) return oxygen;
  if (oxygen >= 0.5 * hydrogen) return oxygen - 0.5 * hydrogen;
  const double fuel = hydrogen - 2.0 * oxygen, water = s.gas.water_fraction + 2.0 * oxygen;
  const double exponent = (-247.8e3 / s.oxygen_cell_k + 55.2) / gas_constant_j_mol_k;
  const double root = water / fuel * std::exp(exponent);
  return std::min(root * root, 0.2095);
}

void read_gas(const Model& m, const State& s, const Commands& c, ProcessValues& p) {
  p.retort_pa = s.gas.chamber_pa;
  p.barometer_pa = s.gas.room.barometer_pa;
  const double per_mol = 1.0 / chamber_total_mol(s.gas);
  p.argon_fraction = s.gas.chamber_mol[static_cast<std::size_t>(Species::ar)] * per_mol;
  p.helium_fraction = s.gas.chamber_mol[static_cast<std::size_t>(Species::he)] * per_mol;
  p.meter_slm = {s.gas.meter_mol_s[0] / slm_mol_s, s.gas.meter_mol_s[1] / slm_mol_s};
  p.meter_conversion = {m.gas.supplied[static_cast<std::size_t>(c.gas)].conversion,
                        m.gas.supplied[static_cast<std::size_t>(m.gas.blend_gas)].conversion};
  p.oxygen_ppm = oxygen_at_cell(s) * 1e6;
  p.cell_pa = s.gas.room.barometer_pa;            // both stand in the exhaust line, at the barometer's pressure
  p.dew_point_degc = dew_point_fast_degc(s.gas.water_fraction * p.cell_pa);
  p.supply_pa = s.gas.supply_pa;
}

void read_contacts(const Model& m, const State& s, const Commands& c, const Disturbances& d, ProcessValues& p) {
  p.valve_frac = s.actuators.valve_frac;
  p.mains_v = s.actuators.mains_v;
  p.current_a = s.actuators.current_a;
  p.door_closed = !d.door_open;
  p.emergency_stop_healthy = !d.emergency_stop_pressed;
  p.contactor_closed = s.actuators.contactor_closed;
  p.pump_at_speed = s.actuators.pump_end_share > 0.9;
  p.exhaust_open = c.exhaust_open;
  p.isolation_open = c.isolation_open;
  p.supply_present = s.gas.supply_pa > m.gas.supply.present_pa;
  p.over_pressure = s.gas.chamber_pa - s.gas.room.barometer_pa > m.furnace.instruments.over_pressure_pa;
  p.limiter_healthy = !s.actuators.limiter_tripped;
  p.key_commissioning = d.key_commissioning;
  p.bypass_open = c.bypass_open;
  p.air_open = c.air_open;
  p.process_open = c.process_open;
  p.purge_open = c.purge_open;
  p.burn_off_proven = s.actuators.flame_proven;
}

void read_process(const Model& m, State& s, const Commands& c, const Disturbances& d) {
  read_temperatures(s, s.process);
  if (m.wires_matter || d.any_insulation) read_wires(m, s, d, s.process);
  read_gas(m, s, c, s.process);
  read_contacts(m, s, c, d, s.process);
  for (std::size_t k = 0; d.any_meter && k < 2; ++k)
    s.process.meter_slm[k] = d.meter[k].span * s.process.meter_slm[k] + d.meter[k].shift_slm * s.process.meter_conversion[k];
}

// What the valves do of what they are told, where one is stuck.
Commands obeyed(Commands c, const Disturbances& d) {
  if (!d.any_valve) return c;
  bool* const valves[valves_max] = {&c.process_open, &c.purge_open, &c.exhaust_open, &c.bypass_open, &c.air_open, &c.isolation_open};
  for (int i = 0; i < valves_max; ++i)
    if (d.valve[i] != ValveFault::none) *valves[i] = d.valve[i] == ValveFault::stuck_open;
  return c;
}

void check_finite(const State& s) {
  double sum = 0.0;
  for (const double t_k : s.thermal.t_k) sum += t_k;
  if (!std::isfinite(sum)) throw NotFinite("a temperature of the furnace", s.time_s);
  if (!std::isfinite(s.gas.chamber_pa) || !std::isfinite(s.gas.hose_pa)) throw NotFinite("a pressure of the gas", s.time_s);
  if (!std::isfinite(s.gas.gas_k)) throw NotFinite("the gas temperature", s.time_s);
}

std::string sentence(const char* what, double at_s) {
  char text[160];
  std::snprintf(text, sizeof text, "plant: %s is no longer finite at %.3f s", what, at_s);
  return text;
}

PoreGas chamber_in_pores(const Model& m, const State& s) {
  Amounts fraction{};
  const double per_mol = 1.0 / chamber_total_mol(s.gas);
  for (std::size_t i = 0; i < gas_species; ++i) fraction[i] = s.gas.chamber_mol[i] * per_mol;
  return pore_gas(fraction, s.gas.chamber_pa, m.furnace.lining.pore_m);
}

// Slow sensors that stand beside the furnace: heated oxygen cell, terminal block.
void step_surroundings(const Model& m, State& s, const Disturbances& d, double period_s) {
  const Furnace& f = m.furnace;
  const double set_k = d.mains_lost || d.cell_heater_off ? s.thermal.ambient_k : f.instruments.oxygen_cell_set_degc + zero_degc_k;
  s.oxygen_cell_k += (set_k - s.oxygen_cell_k) * period_s / (period_s + f.instruments.oxygen_cell_warm_s);
  const double room_k = s.thermal.ambient_k, block_k = room_k + f.casing.cold_junction_share * (s.thermal.casing_k - room_k);
  s.cold_junction_k += (block_k - s.cold_junction_k) * period_s / (period_s + f.casing.cold_junction_lag_s);
}

double held_energy_j(const Model& m, const State& s) { return thermal_energy_j(s.thermal, m.thermal) + gas_energy_j(m.gas, s.gas); }

}  // namespace

NotFinite::NotFinite(const char* what, double when_s) : std::runtime_error(sentence(what, when_s)), at_s(when_s) {}

Environment environment_of(const Model& m) {
  return {m.gas.barometer_pa, m.furnace.surroundings.ambient_degc, m.actuators.actual_v, m.gas.supply.regulated_pa};
}

void set_environment(const Model& m, State& s, const Environment& environment) {
  s.thermal.ambient_k = environment.ambient_degc + zero_degc_k;
  set_room(m.gas, s.gas, environment.barometer_pa, s.thermal.ambient_k, environment.supply_pa);
  s.actuators.supplied_v = environment.mains_v;
}

State initial_state(const Model& m, std::uint64_t seed) { return initial_state(m, seed, environment_of(m)); }

State initial_state(const Model& m, std::uint64_t seed, const Environment& environment) {
  State s;
  s.thermal = start_thermal(m.thermal);
  s.thermal.ambient_k = environment.ambient_degc + zero_degc_k;
  s.gas = start_gas(m.gas, m.thermal.start_k, {environment.barometer_pa, s.thermal.ambient_k, environment.supply_pa, 1.0});
  s.actuators = start_actuators(m.actuators);
  s.actuators.supplied_v = s.actuators.mains_v = environment.mains_v;
  s.oxygen_cell_k = m.furnace.initial.oxygen_cell_degc + zero_degc_k;
  s.cold_junction_k = s.thermal.ambient_k;
  for (int input = 0; input < thermocouples_max; ++input)
    s.drift_k[static_cast<std::size_t>(input)] = age_of(m.furnace.thermocouples, input).drift_k;
  if (m.thermal.chain.porosity > 0.0) s.thermal.chain.pore = chamber_in_pores(m, s);
  read_process(m, s, unpowered_commands(), Disturbances{});
  s.station = initial_station(m.station, s.process, seed);
  s.start_energy_j = held_energy_j(m, s);
  for (std::size_t i = 0; i < gas_species; ++i) s.start_mol[i] = s.gas.chamber_mol[i] + s.gas.hose_mol[i];
  return s;
}

std::size_t exchange(const Model& m, State& s, const Disturbances& d, std::span<const std::uint8_t> request, std::span<std::uint8_t> out) {
  return answer(m.station, s.station, s.process, d, request, out);
}

void step(const Model& m, State& s, const Disturbances& d, double period_s) {
  if (d.any_station) disturb(s.station, d.station);
  Commands stuck;
  const bool sticks = d.any_valve || d.any_station;
  if (sticks) stuck = obeyed(with_held_outputs(s.station, s.station.commands), d);
  const Commands& commands = sticks ? stuck : s.station.commands;
  const auto& t_k = s.thermal.t_k;
  const PanelValues panel_k{t_k[node::panel], t_k[node::panel + 1], t_k[node::panel + 2], t_k[node::panel + 3]};
  step_actuators(m.actuators, s.actuators, commands, d, t_k[node::limiter_sensor], panel_k, period_s);
  CoreValues source_w{};
  double electric_w = 0.0;
  for (std::size_t p = 0; p < 4; ++p) {
    source_w[node::panel + p] = s.actuators.panel_w[p];
    electric_w += s.actuators.panel_w[p];
  }
  const double plug_w = step_gas(m.gas, s.gas, s.actuators, commands, d, s.thermal.t_k, source_w, period_s);
  if (s.thermal.load_contact != d.load_contact) {
    s.thermal.load_contact = d.load_contact;
    renew_thermal(s.thermal);
  }
  if (m.thermal.chain.porosity > 0.0 && chain_refresh_due(s.thermal)) s.thermal.chain.pore = chamber_in_pores(m, s);
  step_thermal(m.thermal, s.thermal, source_w, electric_w, d.door_open, period_s);
  warm_cell(s.thermal.chain, pore_cell, lane::plug, plug_w * period_s);
  step_surroundings(m, s, d, period_s);
  if (m.wires_matter) age_thermocouples(m, s, period_s);
  ++s.ticks;
  s.time_s += period_s;
  check_finite(s);
  read_process(m, s, commands, d);
  advance(m.station, s.station, s.process, period_s);
  if (d.any_channel || s.station.slow != 0) slow_down(s.station, d, period_s);
}

Balance energy_balance(const Model& m, const State& s) {
  const double in = s.thermal.electric_j + s.gas.enthalpy_in_j;
  const double lost = s.thermal.casing_loss_j + s.thermal.plug_loss_j + s.thermal.opening_loss_j;
  const double out = lost + s.gas.enthalpy_out_j;
  return {in + std::abs(lost) + s.gas.enthalpy_out_j, held_energy_j(m, s) - s.start_energy_j - in + out};
}

Balance species_balance(const Model&, const State& s, int species) {
  if (species < 0 || species >= gas_species) throw std::out_of_range("species_balance: the gas holds gas_species species");
  const auto i = static_cast<std::size_t>(species);
  const double held = s.gas.chamber_mol[i] + s.gas.hose_mol[i];
  const GasState& g = s.gas;
  const double apart = held - s.start_mol[i] - g.received_mol[i] + g.lost_mol[i];
  return {g.received_mol[i] + g.lost_mol[i], apart - g.received_rest_mol[i] + g.lost_rest_mol[i]};
}

}  // namespace plant
