// What surrounds a furnace and may change in a run: the weather, the mains, the room, the gas supply. The furnace file says what
// it was designed at; a run goes on in this.
#pragma once

namespace plant {

struct Environment {
  double barometer_pa = 100.8e3;   // absolute
  double ambient_degc = 20.0;      // of the room and of the gas supplied
  double mains_v = 230.0;          // before a fault lowers it
  double supply_pa = 40e3;         // gauge, what the supply is regulated to
};

}  // namespace plant
