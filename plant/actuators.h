// Actuators between the station's commands and the process: contactor, power switches, valves, pump, the over-temperature
// limiter's contact.
#pragma once

#include <array>

#include "plant/furnace.h"
#include "plant/heating_circuit.h"
#include "plant/process_values.h"

namespace plant {

struct ActuatorModel {
  std::array<double, 4> panel_w{};        // at nominal mains
  std::array<int, 4> panel_zone{};        // 0-based
  double nominal_v = 230.0, actual_v = 230.0;
  BackPressureValve valve{};
  double spin_up_s = 3.0;
  BurnOff burn_off{};
  double limiter_trip_k = 1173.15;
  CircuitModel circuits{};
};

struct ActuatorState {
  double valve_frac = 1.0;                // stem of the back-pressure valve
  double valve_share = 1.0, valve_end_share = 1.0;   // of its full area: mean of the last period, and at that stem
  double pump_share = 0.0, pump_end_share = 0.0;     // of its speed: mean of the last period, and at its end
  bool contactor_closed = false;
  bool valve_moved = false;               // in the last period
  double flame_s = 0.0;                   // the pilot has burnt so long, at most proves_s
  double dark_s = 1e9;                    // it has been out so long
  bool flame_proven = false;              // by its detector
  bool limiter_tripped = false;           // latched; reset by hand, that is by a new start
  double supplied_v = 230.0;              // by the mains, before a fault lowers it
  double mains_v = 230.0;
  std::array<double, 4> panel_w{};        // now
  std::array<double, zones_max> current_a{};
  CircuitState circuits{};                // all zero in a plain furnace
  double valve_gain = 0.0, pump_gain = 0.0, gain_period_s = 0.0;   // 1 - exp(-period / lag)
};

ActuatorModel build_actuators(const Furnace& furnace);
ActuatorState start_actuators(const ActuatorModel& model);

void step_actuators(const ActuatorModel& model, ActuatorState& state, const Commands& commands, const Disturbances& disturbances,
                    double limiter_sensor_k, const PanelValues& panel_k, double period_s);

// Share of the full area at a stem position: equal percentage, R^(x - 1), tapering to shut below shut_below.
double valve_area_share(const BackPressureValve& valve, double stem_frac);

}  // namespace plant
