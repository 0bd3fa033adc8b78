// What crosses between the process (heat, gas, valves) and the I/O station inside the plant: the physical quantities the
// instruments stand in, and the commands the actuators obey. SI; temperatures in degC.
#pragma once

#include <array>
#include <cstdint>

#include "plant/thermocouple.h"

namespace plant {

inline constexpr int zones_max = 4;

// At the instruments, as of a tick boundary. Sheath and cell lags are already in; transmitter lag, noise, span and quantum
// are the station's (instruments.h).
struct ProcessValues {
  std::array<double, zones_max> zone_junction_degc{};   // hot junction of the heater-side thermocouples
  double load_junction_degc = 20.0;
  double load2_junction_degc = 20.0;
  double cold_junction_degc = 25.0;                     // terminal block
  double retort_pa = 101325.0;                          // absolute, at the gauges
  double barometer_pa = 101325.0;
  double argon_fraction = 0.0, helium_fraction = 0.0;   // mole fractions at the Pirani gauge
  std::array<double, 2> meter_slm{};                    // true flow through the mass-flow controllers, of the gas flowing
  std::array<double, 2> meter_conversion{1.0, 1.0};     // gas conversion factor of that gas
  double oxygen_ppm = 209500.0;                         // by volume, in the exhaust at the cell
  double cell_pa = 101325.0;                            // pressure at the oxygen and dew-point instruments
  double oxygen_cell_degc = 700.0;
  double dew_point_degc = -20.0;                        // frost point below 0 degC, at the instrument
  double valve_frac = 1.0;                              // stem of the back-pressure valve
  double mains_v = 230.0;
  double supply_pa = 0.0;                               // gauge
  double casing_degc = 20.0;
  std::array<double, zones_max> current_a{};            // rms
  bool door_closed = true, emergency_stop_healthy = true, contactor_closed = false, pump_at_speed = false;
  bool exhaust_open = true, isolation_open = false, supply_present = true, over_pressure = false;
  bool limiter_healthy = true, key_commissioning = false, bypass_open = false, air_open = false;
  bool process_open = false, purge_open = true;
  bool burn_off_proven = false;
};

// What the station commands after decode (or its watchdog, or no power): coils already turned into open/shut.
struct Commands {
  std::array<double, zones_max> demand{};               // 0..1
  std::array<double, 2> meter_set{};                    // 0..1 of full scale, calibration gas
  double valve_frac = 1.0;
  int gas = 0;                                          // 0 none, 1 air, 2 nitrogen, 3 argon, 4 helium, 5 hydrogen
  int safe_row = 2;
  bool contactor = false, process_open = false, purge_open = true, exhaust_open = true, bypass_open = false;
  bool air_open = false, pump_run = false, isolation_open = false, inlet_vent_open = true, pilot = false, horn = false;
  bool door_release = false;
};

// What a scenario's faults do to the plant, set by the bench before each step. Neutral as constructed. Where several faults meet in
// one field they are composed there, in no order (sim/faults.h says how for each kind).
struct ChannelFault {
  bool open = false;          // the wire is broken: what the input shows then goes before all else
  bool stuck = false;         // the reading stays; goes before what follows
  double shift = 0.0;         // added to what the instrument stands in, in the channel's process unit (K for thermocouples)
  double variance = 0.0;      // of noise besides its own, in that unit squared
  double lag_s = 0.0;         // first order, besides its own
  double gain = 1.0;          // of its signal: mV, V, ohm, or the mA above 4
  bool swapped = false;       // its two wires: a voltage changes sign, a loop carries nothing, a resistance is the same
};

inline constexpr int valves_max = 6;
enum class ValveFault : std::uint8_t { none, stuck_shut, stuck_open };

// Outputs of the station, one bit each in StationFault::outputs_dead.
namespace output {
enum Number : int { contactor, process, purge, exhaust, bypass, air, pump, isolation, inlet_vent, pilot, horn, gas, demand_1, demand_2,
                    demand_3, demand_4, flow_1, flow_2, valve, count_ };
}

struct StationFault {
  bool down = false;                    // without power or starting: outputs in normal position, no answer; after it as switched on
  bool watchdog_dead = false;           // does not act when the line falls silent
  bool answers_frozen = false;          // the whole answer as it was, sequence echo too, CRC good
  bool inputs_frozen = false;           // the inputs as they were, sequence echo right
  std::uint32_t outputs_dead = 0;       // bit per output: what is written, or imposed, does not reach it
  std::uint16_t inputs_off = 0, inputs_on = 0;   // discrete inputs that read so whatever they are; off goes before on
  int map_version = -1;                 // told in place of its own, -1 none
  std::uint8_t exception = 0;           // Modbus exception code with which it refuses every request, 0 none
};

// A mass-flow controller whose own sensor or valve is wrong: it steers, and reports, what it takes for the flow.
struct MeterFault {
  double shift_slm = 0.0;               // of what it takes for the flow, calibration gas
  double span = 1.0;                    // of the same, as a factor of the true flow
  bool stuck = false;                   // its valve passes what it passed, as far as the supply lets it
};

struct Disturbances {
  bool supply_exhausted = false;        // supply pressure falls to the barometer
  bool exhaust_blocked = false;         // the line after the check valve
  bool door_open = false;               // the plug is out / the door stands open
  bool element_broken[zones_max] = {};
  bool switch_shorted[zones_max] = {};  // the zone's power switch conducts whatever the demand; the contactor still cuts it
  double mains_scale = 1.0;
  bool emergency_stop_pressed = false;
  bool pump_stopped = false;            // its motor does not turn, whatever the command
  bool contactor_welded = false;        // once closed it stays closed, limiter and emergency stop or not
  bool contactor_stuck_open = false;
  bool limiter_tripped = false;         // its contact opens and latches, as it would by itself
  bool back_pressure_valve_stuck = false;   // the stem stays where it is
  double back_pressure_stick = 0.0;     // it stays until its command is so far off, then goes there at a stroke
  bool any_valve = false;               // valve[] is looked at only if set
  ValveFault valve[valves_max] = {};    // process, purge, exhaust, bypass, air, isolation
  bool key_commissioning = false;
  bool mains_lost = false;              // the furnace has no electricity; the station, on the same mains, is told by its own fault
  bool any_station = false;             // station is looked at only if set
  StationFault station{};
  double leak_pa_m3_s = 0.0;            // besides the furnace's own, counted in the same way (Leak)
  bool dryer_exhausted = false;         // of the supply: what comes to it goes through
  double supply_oxygen = 0.0, supply_water = 0.0;   // mole fractions in every bottled gas besides its own
  double regulator_pa = 0.0;            // the supply's regulator stands off by so much
  double droop_pa_slm = 0.0;            // and falls by so much for each slm drawn
  bool relief_stuck_shut = false;
  double relief_scale = 1.0;            // it opens at this share of its set pressure
  double check_leak_m2 = 0.0;           // backward, besides its own
  double back_pressure_free = 1.0;      // share of its area that deposits leave, at every stem
  double back_pressure_leak = 0.0;      // share of the full area that the worn seat lets pass when shut
  bool burn_off_out = false;            // its flame does not burn, whatever the pilot's valve
  double combustible_leak_mol_s = 0.0;  // hydrogen through its valves while they are told to be shut
  double pump_back_m2 = 0.0;            // room air back through a pump that stands, besides its own
  double pump_strength = 1.0;           // displacement, of its own
  double element_conductance[zones_max] = {1.0, 1.0, 1.0, 1.0};   // of every element of the zone, of its own
  std::array<double, 2> load_contact{1.0, 1.0};   // of the load thermocouples, of its own
  std::array<double, thermocouples_max> insulation_degc{};   // of a junction at which its sheath conducts like the wires; 0: sound
  bool any_insulation = false;          // insulation_degc is looked at only if set
  bool cell_heater_off = false;         // of the oxygen cell
  double block_rise_k = 0.0;            // where the thermocouple wires end, above what the cold-junction sensor feels
  bool any_meter = false;               // meter[] is looked at only if set
  MeterFault meter[2] = {};
  bool any_channel = false;             // channel[] is looked at only if set
  ChannelFault channel[24] = {};        // by field-bus channel
};

}  // namespace plant
