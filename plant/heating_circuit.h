// The electric circuits of the zones: elements of a resistance that goes with temperature and age, in parallel or in series, behind a
// transformer or leads, a fuse and a power switch. A furnace whose elements are constant, without any of these, is `plain`, and its
// power is found by the actuators as a product.
#pragma once

#include <array>

#include "plant/element.h"
#include "plant/firing.h"
#include "plant/furnace.h"
#include "plant/process_values.h"

namespace plant {

using PanelValues = std::array<double, 4>;

struct CircuitModel {
  bool plain = true;
  std::array<int, 4> panel_zone{};            // 0-based
  PanelValues reference_ohm{};                // of a new panel where its factor is 1
  PanelValues ageing{};                       // share of the new resistance in 1000 h
  PanelValues start_hours{};
  PanelValues melting_k{};                    // 0: it does not melt
  std::array<ElementMaterial, 4> material{};
  std::array<double, zones_max> rated_a{};    // of each zone at nominal mains: its panels' power over its voltage
  double supply_per_mains = 1.0;
  double series_ohm = 0.0;
  Wiring wiring = Wiring::parallel;
  double fuse_a = 0.0, fuse_a2s = 0.0;
  PowerSwitch power_switch{};
};

struct CircuitState {
  std::array<FiringState, zones_max> firing{};
  PanelValues hours{};                        // under current
  PanelValues before_k{};                     // panels at the beginning of the last period; 0: there was none
  std::array<double, zones_max> fuse_a2s{};   // what the fuse has taken above its rated current and not yet given off
  std::array<bool, 4> molten{};               // side by side with the next, so that nothing lies between: states are compared as bytes
  std::array<bool, zones_max> fuse_blown{};
};

// At a demand of 1: power of each panel, rms current of each zone.
struct FullPower {
  PanelValues panel_w{};
  std::array<double, zones_max> current_a{};
};

CircuitModel build_circuits(const Furnace& furnace);      // throws std::invalid_argument with the field's name
CircuitState start_circuits(const CircuitModel& model);

// Ohm, of one panel.
double panel_ohm(const CircuitModel& model, const CircuitState& state, int panel, double panel_k);

FullPower find_full_power(const CircuitModel& model, const CircuitState& state, const PanelValues& panel_k, double mains_v,
                          const Disturbances& disturbances);

// One period; panel_k: at its beginning. Resistances are those of its middle, as far as the last period tells. closed: the contactor.
FullPower step_circuits(const CircuitModel& model, CircuitState& state, const PanelValues& panel_k, double mains_v,
                        const Commands& commands, const Disturbances& disturbances, bool closed, double period_s);

// Highest temperature the elements of a zone may have [degC]: the file's, else the material's; 0: not known.
double element_limit_degc(const ElectricHeating& electric, int zone);

int open_circuits(const CircuitModel& model, const CircuitState& state);   // panels without one: molten, or behind a blown fuse

}  // namespace plant
