// What really happens, for traces and expectations. The core never sees it.
#include <array>
#include <numeric>

#include "plant/properties.h"
#include "plant/step.h"

namespace plant {

namespace {

constexpr double zero_degc_k = 273.15;

double degc(const State& s, int node) { return s.thermal.t_k[static_cast<std::size_t>(node)] - zero_degc_k; }
double slm(double mol_s) { return mol_s / slm_mol_s; }
double litres(double mol) { return mol / slm_mol_s / 60.0; }

double retort_degc(const Model& m, const State& s) {
  return m.furnace.boundary == Boundary::retort ? degc(s, node::barrel_middle) : degc(s, node::lining_barrel);
}

double fraction(const State& s, Species species) {
  return s.gas.chamber_mol[static_cast<std::size_t>(species)] / chamber_total_mol(s.gas);
}

double power_w(const State& s) { return std::accumulate(s.actuators.panel_w.begin(), s.actuators.panel_w.end(), 0.0); }

struct Truth {
  TruthInfo info;
  double (*read)(const Model&, const State&);
};

#define PLANT_READ [](const Model& m, const State& s) -> double
const Truth truths[] = {
    {{"plant.load.core", "degC", 3, "load, core"}, PLANT_READ { (void)m; return degc(s, node::load_core); }},
    {{"plant.load.surface", "degC", 3, "load, surface"}, PLANT_READ { (void)m; return degc(s, node::load_surface); }},
    {{"plant.retort", "degC", 3, "retort wall (vessel: hot face of the lining)"}, retort_degc},
    {{"plant.heater.1", "degC", 3, "heater panel 1"}, PLANT_READ { (void)m; return degc(s, node::panel); }},
    {{"plant.heater.2", "degC", 3, "heater panel 2"}, PLANT_READ { (void)m; return degc(s, node::panel + 1); }},
    {{"plant.heater.3", "degC", 3, "heater panel 3"}, PLANT_READ { (void)m; return degc(s, node::panel + 2); }},
    {{"plant.heater.4", "degC", 3, "heater panel 4"}, PLANT_READ { (void)m; return degc(s, node::panel + 3); }},
    {{"plant.lining", "degC", 3, "hot face of the lining on the barrel"}, PLANT_READ { (void)m; return degc(s, node::lining_barrel); }},
    {{"plant.casing", "degC", 3, "casing"}, PLANT_READ { (void)m; return s.thermal.casing_k - zero_degc_k; }},
    {{"plant.power", "W", 1, "electric power of all panels"}, PLANT_READ { (void)m; return power_w(s); }},
    {{"plant.energy", "kWh", 5, "electric energy since start"}, PLANT_READ { (void)m; return s.thermal.electric_j / 3.6e6; }},
    {{"plant.gas.pressure", "Pa", 3, "pressure in the retort, absolute"}, PLANT_READ { (void)m; return s.gas.chamber_pa; }},
    {{"plant.gas.gauge", "Pa", 3, "the same above the barometer"},
     PLANT_READ { (void)m; return s.gas.chamber_pa - s.gas.room.barometer_pa; }},
    {{"plant.gas.temperature", "degC", 3, "free gas in the retort"}, PLANT_READ { (void)m; return s.gas.gas_k - zero_degc_k; }},
    {{"plant.gas.o2", "ppm", 4, "oxygen in the retort, by volume"}, PLANT_READ { (void)m; return 1e6 * fraction(s, Species::o2); }},
    {{"plant.gas.h2o", "ppm", 4, "water vapour in the retort, by volume"}, PLANT_READ { (void)m; return 1e6 * fraction(s, Species::h2o); }},
    {{"plant.gas.h2", "ppm", 1, "hydrogen in the retort, by volume"}, PLANT_READ { (void)m; return 1e6 * fraction(s, Species::h2); }},
    {{"plant.burn_off", "1", 0, "burn-off flame proven by its detector"},
     PLANT_READ { (void)m; return s.actuators.flame_proven ? 1.0 : 0.0; }},
    {{"plant.door_release", "1", 0, "the door is let go"}, PLANT_READ { (void)m; return s.station.commands.door_release ? 1.0 : 0.0; }},
    {{"plant.gas.argon", "ppm", 1, "argon in the retort, by volume"}, PLANT_READ { (void)m; return 1e6 * fraction(s, Species::ar); }},
    {{"plant.gas.dew_point", "degC", 3, "frost or dew point in the retort"},
     PLANT_READ { (void)m; return dew_point_fast_degc(fraction(s, Species::h2o) * s.gas.chamber_pa); }},
    {{"plant.gas.h2o_adsorbed", "mmol", 5, "water still held by the surfaces"},
     PLANT_READ { (void)m; return 1e3 * std::accumulate(s.gas.adsorbed_mol.begin(), s.gas.adsorbed_mol.end(), 0.0); }},
    {{"plant.load.oxygen_uptake", "ppm", 3, "oxygen that the load has taken up, of its mass"},
     PLANT_READ { return 1e6 * s.gas.oxide_kg / m.furnace.load.mass_kg; }},
    {{"plant.gas_used", "sL", 4, "through the mass-flow controllers since start"},
     PLANT_READ { (void)m; return litres(s.gas.metered_mol); }},
    {{"plant.purge_used", "sL", 4, "through the purge restrictor since start"}, PLANT_READ { (void)m; return litres(s.gas.purged_mol); }},
    {{"plant.flow.in", "slm", 5, "supplied: mass-flow controllers and purge"}, PLANT_READ { (void)m; return slm(s.gas.flows.in); }},
    {{"plant.flow.out", "slm", 5, "out of the retort, the pump's hose excepted"}, PLANT_READ { (void)m; return slm(s.gas.flows.out); }},
    {{"plant.flow.exhaust", "slm", 5, "through the check valve"}, PLANT_READ { (void)m; return slm(s.gas.flows.exhaust); }},
    {{"plant.flow.relief", "slm", 5, "through the relief valve"}, PLANT_READ { (void)m; return slm(s.gas.flows.relief); }},
    {{"plant.flow.air", "slm", 5, "room air into the retort, the leak excepted"}, PLANT_READ { (void)m; return slm(s.gas.flows.air); }},
    {{"plant.leak", "slm", 8, "through the leak, inwards"}, PLANT_READ { (void)m; return slm(s.gas.flows.leak); }},
    {{"plant.hose", "Pa", 3, "pressure in the pump's hose, absolute"}, PLANT_READ { (void)m; return s.gas.hose_pa; }},
    {{"plant.pump", "1", 3, "speed of the pump, of full speed"}, PLANT_READ { (void)m; return s.actuators.pump_end_share; }},
    {{"plant.supply", "Pa", 1, "gas supply, gauge"}, PLANT_READ { (void)m; return s.gas.supply_pa; }},
    {{"plant.mains", "V", 2, "mains voltage"}, PLANT_READ { (void)m; return s.actuators.mains_v; }},
    {{"plant.barometer", "Pa", 2, "barometric pressure"}, PLANT_READ { (void)m; return s.gas.room.barometer_pa; }},
    {{"plant.ambient", "degC", 3, "room"}, PLANT_READ { (void)m; return s.thermal.ambient_k - zero_degc_k; }},
    {{"plant.contactor", "1", 0, "contactor closed"}, PLANT_READ { (void)m; return s.actuators.contactor_closed ? 1.0 : 0.0; }},
    {{"plant.limiter", "1", 0, "over-temperature limiter has tripped"},
     PLANT_READ { (void)m; return s.actuators.limiter_tripped ? 1.0 : 0.0; }},
    {{"plant.valve.pressure", "1", 4, "back-pressure valve, stem"}, PLANT_READ { (void)m; return s.actuators.valve_frac; }},
    {{"plant.valve.process", "1", 0, "process valve open"}, PLANT_READ { (void)m; return s.process.process_open ? 1.0 : 0.0; }},
    {{"plant.valve.purge", "1", 0, "inert purge open"}, PLANT_READ { (void)m; return s.process.purge_open ? 1.0 : 0.0; }},
    {{"plant.valve.exhaust", "1", 0, "exhaust shut-off open"}, PLANT_READ { (void)m; return s.process.exhaust_open ? 1.0 : 0.0; }},
    {{"plant.valve.bypass", "1", 0, "exhaust bypass open"}, PLANT_READ { (void)m; return s.process.bypass_open ? 1.0 : 0.0; }},
    {{"plant.valve.air", "1", 0, "air admittance open"}, PLANT_READ { (void)m; return s.process.air_open ? 1.0 : 0.0; }},
    {{"plant.valve.pump", "1", 0, "pump isolation open"}, PLANT_READ { (void)m; return s.process.isolation_open ? 1.0 : 0.0; }},
    {{"plant.current.1", "A", 3, "rms current of zone 1, on the elements' side"}, PLANT_READ { (void)m; return s.actuators.current_a[0]; }},
    {{"plant.current.2", "A", 3, "rms current of zone 2"}, PLANT_READ { (void)m; return s.actuators.current_a[1]; }},
    {{"plant.current.3", "A", 3, "rms current of zone 3"}, PLANT_READ { (void)m; return s.actuators.current_a[2]; }},
    {{"plant.current.4", "A", 3, "rms current of zone 4"}, PLANT_READ { (void)m; return s.actuators.current_a[3]; }},
    {{"plant.open_circuits", "1", 0, "panels molten or behind a blown fuse"},
     PLANT_READ { return static_cast<double>(open_circuits(m.actuators.circuits, s.actuators.circuits)); }},
};
#undef PLANT_READ

constexpr std::size_t truth_count = std::size(truths);

std::array<TruthInfo, truth_count> list_infos() {
  std::array<TruthInfo, truth_count> infos{};
  for (std::size_t i = 0; i < truth_count; ++i) infos[i] = truths[i].info;
  return infos;
}

}  // namespace

std::span<const TruthInfo> truth_table() {
  static const std::array<TruthInfo, truth_count> infos = list_infos();
  return infos;
}

void observe(const Model& m, const State& s, std::span<double> truth) {
  for (std::size_t i = 0; i < truth_count; ++i) truth[i] = truths[i].read(m, s);
}

}  // namespace plant
