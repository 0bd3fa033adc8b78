#include "plant/actuators.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace plant {

ActuatorModel build_actuators(const Furnace& f) {
  ActuatorModel m;
  for (std::size_t i = 0; i < 4; ++i) {
    m.panel_w[i] = f.heaters.panel[i].power_w;
    m.panel_zone[i] = f.heaters.zones == 1 ? 0 : f.heaters.panel[i].zone - 1;
  }
  m.nominal_v = f.mains.nominal_v;
  m.actual_v = f.mains.actual_v;
  m.valve = f.back_pressure_valve;
  m.spin_up_s = f.pump.spin_up_s;
  m.burn_off = f.burn_off;
  m.limiter_trip_k = f.limiter.trip_degc + 273.15;
  m.circuits = build_circuits(f);
  return m;
}

ActuatorState start_actuators(const ActuatorModel& m) {
  ActuatorState s;
  s.supplied_v = s.mains_v = m.actual_v;
  s.valve_share = s.valve_end_share = valve_area_share(m.valve, s.valve_frac);
  s.circuits = start_circuits(m.circuits);
  return s;
}

namespace {

// Elements of constant resistance at the mains. Burst firing over the period: power goes with demand, rms current with its root. A
// broken element is the first panel of its zone; a shorted switch conducts all the time.
void find_power(const ActuatorModel& m, ActuatorState& s, const Commands& c, const Disturbances& d) {
  std::array<double, zones_max> conductance_s{}, demand{};
  std::array<bool, zones_max> broken{};
  for (std::size_t z = 0; z < zones_max; ++z) {
    demand[z] = s.contactor_closed ? (d.switch_shorted[z] ? 1.0 : std::clamp(c.demand[z], 0.0, 1.0)) : 0.0;
    broken[z] = d.element_broken[z];
  }
  const double per_watt = 1.0 / (m.nominal_v * m.nominal_v);
  for (std::size_t i = 0; i < 4; ++i) {
    const auto z = static_cast<std::size_t>(m.panel_zone[i]);
    const bool dead = broken[z];
    if (dead) broken[z] = false;
    const double panel_s = dead ? 0.0 : m.panel_w[i] * per_watt * d.element_conductance[z];
    s.panel_w[i] = panel_s * s.mains_v * s.mains_v * demand[z];
    conductance_s[z] += panel_s;
  }
  for (std::size_t z = 0; z < zones_max; ++z) s.current_a[z] = conductance_s[z] * s.mains_v * std::sqrt(demand[z]);
}

// Lit by its igniter when its valve opens; the detector is sure of it after a while, and of its going out a little later.
void step_burn_off(const ActuatorModel& m, ActuatorState& s, bool burns, double period_s) {
  s.flame_s = burns ? std::min(s.flame_s + period_s, m.burn_off.proves_s + period_s) : 0.0;
  s.dark_s = burns ? 0.0 : std::min(s.dark_s + period_s, 1e9);
  if (s.flame_s >= m.burn_off.proves_s) s.flame_proven = true;
  if (s.dark_s >= m.burn_off.lost_s) s.flame_proven = false;
}

// Mean and end of its speed. A pump that runs down stands in the end: it would stay among the subnormal numbers, and each sum with one
// costs a hundred cycles.
void step_pump(const ActuatorModel& m, ActuatorState& s, bool runs, double period_s) {
  const double target = runs ? 1.0 : 0.0, off = s.pump_end_share - target;
  s.pump_share = target + off * s.pump_gain * m.spin_up_s / period_s;
  s.pump_end_share += -off * s.pump_gain;
  if (s.pump_end_share < std::numeric_limits<double>::min()) s.pump_end_share = 0.0;
  if (s.pump_share < std::numeric_limits<double>::min()) s.pump_share = 0.0;
}

}  // namespace

void step_actuators(const ActuatorModel& m, ActuatorState& s, const Commands& c, const Disturbances& d, double limiter_sensor_k,
                    const PanelValues& panel_k, double period_s) {
  if (s.gain_period_s != period_s) {
    s.valve_gain = 1.0 - std::exp(-period_s / m.valve.lag_s);
    s.pump_gain = 1.0 - std::exp(-period_s / m.spin_up_s);
    s.gain_period_s = period_s;
  }
  const double stroke = period_s / m.valve.stroke_s;
  const double want = std::clamp(c.valve_frac, 0.0, 1.0);
  const double before = s.valve_frac;
  const bool sticks = d.back_pressure_valve_stuck || (d.back_pressure_stick > 0.0 && std::abs(want - s.valve_frac) < d.back_pressure_stick);
  if (!sticks && d.back_pressure_stick > 0.0) s.valve_frac = want;
  else if (!sticks) s.valve_frac += std::clamp((want - s.valve_frac) * s.valve_gain, -stroke, stroke);
  if (s.valve_frac != before || s.valve_moved) {
    const double began = s.valve_end_share;
    s.valve_end_share = valve_area_share(m.valve, s.valve_frac);
    s.valve_share = 0.5 * (began + s.valve_end_share);
    s.valve_moved = s.valve_frac != before;
  }
  step_pump(m, s, c.pump_run && !d.pump_stopped && !d.mains_lost, period_s);
  step_burn_off(m, s, c.pilot && !d.burn_off_out && !d.mains_lost, period_s);
  s.limiter_tripped = s.limiter_tripped || d.limiter_tripped || limiter_sensor_k > m.limiter_trip_k;
  const bool held = c.contactor && !s.limiter_tripped && !d.emergency_stop_pressed && !d.contactor_stuck_open &&
                    !d.mains_lost;
  s.contactor_closed = held || (d.contactor_welded && s.contactor_closed);
  s.mains_v = d.mains_lost ? 0.0 : s.supplied_v * d.mains_scale;
  if (m.circuits.plain) {
    find_power(m, s, c, d);
    return;
  }
  const FullPower power = step_circuits(m.circuits, s.circuits, panel_k, s.mains_v, c, d, s.contactor_closed, period_s);
  s.panel_w = power.panel_w;
  s.current_a = power.current_a;
}

double valve_area_share(const BackPressureValve& valve, double stem_frac) {
  const double x = std::clamp(stem_frac, 0.0, 1.0);
  if (x >= valve.shut_below) return std::pow(valve.rangeability, x - 1.0);
  return std::pow(valve.rangeability, valve.shut_below - 1.0) * x / valve.shut_below;
}

}  // namespace plant
