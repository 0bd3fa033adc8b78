// What is constant during a run, built from a Furnace.
#pragma once

#include "plant/actuators.h"
#include "plant/field_bus.h"
#include "plant/furnace.h"
#include "plant/gas.h"
#include "plant/thermal.h"

namespace plant {

struct Model {
  Furnace furnace{};
  ThermalModel thermal{};
  GasModel gas{};
  ActuatorModel actuators{};
  StationModel station{};
  bool wires_matter = false;             // a thermocouple has drifted or will
};

}  // namespace plant
