#include "plant/heating_circuit.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace plant {

namespace {

constexpr double zero_degc_k = 273.15;

bool is_plain(const ElectricHeating& e, int zones) {
  const Element& all = e.element;
  bool constant = true;
  for (int z = 0; z < zones; ++z) constant = constant && element_of_zone(e, z).material == ElementMaterial::constant;
  return constant && all.ageing == 0.0 && all.supply_v == 0.0 && all.series_ohm == 0.0 && all.wiring == Wiring::parallel &&
         all.fuse_a == 0.0 && e.power_switch.firing == Firing::averaged;
}

}  // namespace

CircuitModel build_circuits(const Furnace& f) {
  CircuitModel m;
  const Element& all = f.electric.element;
  if (all.material == ElementMaterial::same) throw std::invalid_argument("heaters.element.material: of the furnace itself");
  m.plain = is_plain(f.electric, f.heaters.zones);
  const double volts = all.supply_v > 0.0 ? all.supply_v : f.mains.nominal_v;
  m.supply_per_mains = volts / f.mains.nominal_v;
  m.series_ohm = all.series_ohm;
  m.wiring = all.wiring;
  m.fuse_a = all.fuse_a;
  m.fuse_a2s = all.fuse_a2s;
  m.power_switch = f.electric.power_switch;
  for (std::size_t p = 0; p < 4; ++p) {
    m.panel_zone[p] = f.heaters.zones == 1 ? 0 : f.heaters.panel[p].zone - 1;
    m.rated_a[static_cast<std::size_t>(m.panel_zone[p])] += f.heaters.panel[p].power_w / volts;
  }
  for (std::size_t p = 0; p < 4; ++p) {
    const Element element = element_of_zone(f.electric, m.panel_zone[p]);
    const ElementKind& kind = element_kind(element.material);
    const double power_w = f.heaters.panel[p].power_w, zone_a = m.rated_a[static_cast<std::size_t>(m.panel_zone[p])];
    // In series the panels of a zone share its current, and its voltage as their powers are.
    const double rated_ohm = m.wiring == Wiring::series ? power_w / (zone_a * zone_a) : volts * volts / power_w;
    m.reference_ohm[p] = rated_ohm / resistance_factor(kind, element.rated_degc);
    m.material[p] = element.material;
    m.ageing[p] = element.ageing;
    m.start_hours[p] = element.hours;
    m.melting_k[p] = element.melts && kind.melting_degc > 0.0 ? kind.melting_degc + zero_degc_k : 0.0;
    if (m.melting_k[p] > 0.0) m.plain = false;
  }
  return m;
}

CircuitState start_circuits(const CircuitModel& m) {
  CircuitState s;
  s.hours = m.start_hours;
  return s;
}

double panel_ohm(const CircuitModel& m, const CircuitState& s, int panel, double panel_k) {
  const auto p = static_cast<std::size_t>(panel);
  const double factor = resistance_factor(element_kind(m.material[p]), panel_k - zero_degc_k);
  return m.reference_ohm[p] * factor * age_factor(s.hours[p], m.ageing[p]);
}

FullPower find_full_power(const CircuitModel& m, const CircuitState& s, const PanelValues& panel_k, double mains_v,
                          const Disturbances& d) {
  FullPower full;
  PanelValues panel_s{};                          // conductance; 0: no circuit
  std::array<double, zones_max> together{};       // parallel: conductance of the zone; series: resistance
  std::array<bool, zones_max> broken{}, open{};
  for (std::size_t z = 0; z < zones_max; ++z) broken[z] = d.element_broken[z];
  for (std::size_t p = 0; p < 4; ++p) {
    const auto z = static_cast<std::size_t>(m.panel_zone[p]);
    const bool dead = broken[z] || s.molten[p] || d.element_conductance[z] <= 0.0;
    broken[z] = false;                            // a broken element is the first panel of its zone
    panel_s[p] = dead ? 0.0 : d.element_conductance[z] / panel_ohm(m, s, static_cast<int>(p), panel_k[p]);
    open[z] = open[z] || (m.wiring == Wiring::series && dead);
    together[z] += m.wiring == Wiring::parallel ? panel_s[p] : dead ? 0.0 : 1.0 / panel_s[p];
  }
  const double supply_v = mains_v * m.supply_per_mains;
  for (std::size_t z = 0; z < zones_max; ++z) {
    if (together[z] <= 0.0 || open[z] || s.fuse_blown[z]) continue;
    const double zone_ohm = m.wiring == Wiring::parallel ? 1.0 / together[z] : together[z];
    full.current_a[z] = supply_v / (m.series_ohm + zone_ohm);
  }
  for (std::size_t p = 0; p < 4; ++p) {
    const auto z = static_cast<std::size_t>(m.panel_zone[p]);
    if (panel_s[p] <= 0.0) continue;
    const double share = m.wiring == Wiring::parallel ? panel_s[p] / together[z] : 1.0;   // of the zone's current
    const double panel_a = full.current_a[z] * share;
    full.panel_w[p] = panel_a * panel_a / panel_s[p];
  }
  return full;
}

namespace {

// A fuse takes the square of the current above its rated one, and cools as it was heated.
void step_fuse(const CircuitModel& m, CircuitState& s, std::size_t zone, double current_a, double period_s) {
  if (m.fuse_a <= 0.0) return;
  const double above_a2 = current_a * current_a - m.fuse_a * m.fuse_a;
  s.fuse_a2s[zone] = std::max(0.0, s.fuse_a2s[zone] + above_a2 * period_s);
  s.fuse_blown[zone] = s.fuse_blown[zone] || s.fuse_a2s[zone] > m.fuse_a2s;
}

}  // namespace

FullPower step_circuits(const CircuitModel& m, CircuitState& s, const PanelValues& panel_k, double mains_v, const Commands& c,
                        const Disturbances& d, bool closed, double period_s) {
  for (std::size_t p = 0; p < 4; ++p) s.molten[p] = s.molten[p] || (m.melting_k[p] > 0.0 && panel_k[p] > m.melting_k[p]);
  PanelValues middle_k = panel_k;
  for (std::size_t p = 0; p < 4; ++p) {
    if (s.before_k[p] > 0.0) middle_k[p] += 0.5 * (panel_k[p] - s.before_k[p]);
    s.before_k[p] = panel_k[p];
  }
  FullPower power = find_full_power(m, s, middle_k, mains_v, d);
  std::array<double, zones_max> share{};
  for (std::size_t z = 0; z < zones_max; ++z) {
    if (!closed) s.firing[z] = FiringState{};     // without mains the switch has nothing to follow
    else share[z] = d.switch_shorted[z] ? 1.0 : fire(m.power_switch, s.firing[z], std::clamp(c.demand[z], 0.0, 1.0), period_s);
    power.current_a[z] *= std::sqrt(share[z]);
    step_fuse(m, s, z, power.current_a[z], period_s);
  }
  for (std::size_t p = 0; p < 4; ++p) {
    power.panel_w[p] *= share[static_cast<std::size_t>(m.panel_zone[p])];
    if (power.panel_w[p] > 0.0) s.hours[p] += period_s / 3600.0;
  }
  return power;
}

double element_limit_degc(const ElectricHeating& electric, int zone) {
  const Element element = element_of_zone(electric, zone);
  return element.limit_degc > 0.0 ? element.limit_degc : element_kind(element.material).limit_degc;
}

int open_circuits(const CircuitModel& m, const CircuitState& s) {
  int count = 0;
  for (std::size_t p = 0; p < 4; ++p) count += s.molten[p] || s.fuse_blown[static_cast<std::size_t>(m.panel_zone[p])] ? 1 : 0;
  return count;
}

}  // namespace plant
