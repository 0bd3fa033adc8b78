#include "plant/model.h"

#include <cmath>
#include <stdexcept>
#include <string>

#include "plant/step.h"

namespace plant {

namespace {

void set_span(Instruments& instruments, int number, double low, double high) {
  ChannelSettings& c = instruments.channel[static_cast<std::size_t>(number)];
  c.low = low;
  c.high = high;
}

StationSettings station_settings(const Furnace& f) {
  const Instrumentation& i = f.instruments;
  StationSettings station;
  station.instruments = default_instruments(f.heaters.zones);
  station.instruments.zone_thermocouple = i.zone_thermocouple;
  station.instruments.load_thermocouple = i.load_thermocouple;
  station.instruments.wiring = f.hand.wiring;
  set_span(station.instruments, channel::gauge, i.gauge_pressure_pa.low, i.gauge_pressure_pa.high);
  set_span(station.instruments, channel::capacitance, 0.0, i.vacuum_full_scale_pa);
  set_span(station.instruments, channel::barometer, i.barometer_pa.low, i.barometer_pa.high);
  set_span(station.instruments, channel::mains, i.mains_v.low, i.mains_v.high);
  set_span(station.instruments, channel::supply, i.supply_pa.low, i.supply_pa.high);
  set_span(station.instruments, channel::casing, i.casing_degc.low, i.casing_degc.high);
  set_span(station.instruments, channel::dew_point, i.dew_point_degc.low, i.dew_point_degc.high);
  for (int m = 0; m < 2; ++m) set_span(station.instruments, channel::meter + m, 0.0, f.meter.full_scale_slm);
  for (int z = 0; z < zones_max; ++z) set_span(station.instruments, channel::current + z, i.current_a.low, i.current_a.high);
  for (ChannelSettings& c : station.instruments.channel) {
    c.noise *= i.noise_scale;
    c.quantum *= i.quantum_scale;
  }
  station.watchdog_ns = std::llround(i.watchdog_s * 1e9);
  return station;
}

void positive(double value, const char* field) {
  if (!(value > 0.0) || !std::isfinite(value)) throw std::invalid_argument(std::string(field) + ": must be positive");
}

void check_furnace(const Furnace& f) {
  positive(f.lining.thickness_m, "lining.thickness_m");
  positive(f.lining.chamber_diameter_m, "lining.chamber_diameter_m");
  positive(f.lining.chamber_length_m, "lining.chamber_length_m");
  positive(f.plug.length_m, "plug.length_m");
  positive(f.plug.diameter_m, "plug.diameter_m");
  positive(f.heaters.area_m2, "heaters.area_m2");
  positive(f.heaters.mass_kg, "heaters.mass_kg");
  positive(f.casing.mass_kg, "casing.mass_kg");
  positive(f.casing.cold_junction_lag_s, "casing.cold_junction_lag_s");
  positive(f.load.mass_kg, "load.mass_kg");
  positive(f.load.area_m2, "load.area_m2");
  if (!(f.load.surface_share > 0.0 && f.load.surface_share < 1.0)) throw std::invalid_argument("load.surface_share: within 0 and 1");
  positive(f.meter.full_scale_slm, "meter.full_scale_slm");
  positive(f.meter.lag_s, "meter.lag_s");
  positive(f.supply.decay_s, "supply.decay_s");
  positive(f.back_pressure_valve.lag_s, "back_pressure_valve.lag_s");
  positive(f.back_pressure_valve.stroke_s, "back_pressure_valve.stroke_s");
  if (!(f.back_pressure_valve.rangeability > 1.0)) throw std::invalid_argument("back_pressure_valve.rangeability: must be above 1");
  positive(f.relief.full_pa, "relief.full_pa");
  positive(f.pump.spin_up_s, "pump.spin_up_s");
  positive(f.hose.diameter_m, "hose.diameter_m");
  positive(f.hose.length_m, "hose.length_m");
  positive(f.mains.nominal_v, "mains.nominal_v");
  positive(f.surroundings.barometer_pa, "surroundings.barometer_pa");
  positive(f.initial.pressure_pa, "initial.pressure_pa");
  positive(f.instruments.oxygen_cell_warm_s, "instruments.oxygen_cell_warm_s");
}

}  // namespace

Model build(const Furnace& furnace) {
  check_furnace(furnace);
  Model model;
  model.furnace = furnace;
  model.thermal = build_thermal(furnace);
  model.gas = build_gas(furnace);
  model.actuators = build_actuators(furnace);
  model.station = build_station(station_settings(furnace));
  for (const ThermocoupleAge* age : {&furnace.thermocouples.heater_age, &furnace.thermocouples.load_age, &furnace.thermocouples.load2_age})
    model.wires_matter |= age->drift_k != 0.0 || age->drift_k_1000h != 0.0;
  return model;
}

}  // namespace plant
