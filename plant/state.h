// Everything of the plant that changes: a copy is a snapshot.
#pragma once

#include <type_traits>

#include "plant/actuators.h"
#include "plant/field_bus.h"
#include "plant/gas.h"
#include "plant/process_values.h"
#include "plant/thermal.h"

namespace plant {

struct State {
  double time_s = 0.0;
  std::uint64_t ticks = 0;
  ThermalState thermal{};
  GasState gas{};
  ActuatorState actuators{};
  double oxygen_cell_k = 293.15;
  double cold_junction_k = 293.15;
  std::array<double, thermocouples_max> drift_k{};   // of each thermocouple's wire, at the temperature of its ThermocoupleAge
  ProcessValues process{};            // as of time_s
  StationState station{};
  // At start, for the balances
  double start_energy_j = 0.0;
  Amounts start_mol{};
};
static_assert(std::is_trivially_copyable_v<State>);

}  // namespace plant
