// Interlocks: one cause-and-effect table and one table of safe values, evaluated last in the step. A row either trips (is
// latched until acknowledged with its cause gone; heat off, contactor open, the safe values of the atmosphere in force) or
// refuses one action in this tick. The first row to trip is kept as first-out.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/atmosphere.h"
#include "firmware/detections.h"
#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/signals.h"

namespace fw {

enum class InterlockAction : std::uint8_t {
  trip,                  // safe values of the atmosphere in force
  trip_over_pressure,    // inlets shut and bypass open until the pressure is off, then as above
  refuse_heat,           // demand 0, contactor open
  refuse_air,            // air admittance shut
  refuse_bypass,         // bypass shut
  refuse_isolation,      // pump isolation shut
  refuse_process_gas     // process valve shut, no flow
};

struct InterlockRow {
  std::uint8_t number;        // place in the table, from 1; what interlock.trip shows
  const char* name;
  const char* cause;
  InterlockAction action;
  std::uint16_t delay_ms;     // the cause must stand this long
};
std::span<const InterlockRow> interlock_table();

// Names of the rows, for the causes' bits and for tests.
namespace row {
enum Number : std::uint8_t {
  none, emergency_stop, door, limiter, zone_temperature, load_temperature, zone_sensor, load_sensor, over_pressure,
  over_pressure_switch, pressure_transmitter, low_pressure, oxygen, line_lost, station_watchdog, current_without_demand,
  demand_without_current, supply_lost, pump_lost, exhaust_shut, no_response, load_above_heater, internal_fault,
  heat_not_permitted, air_on_hot_titanium, bypass_too_low, isolation_before_pump, isolation_with_inlet,
  isolation_under_pressure, gas_not_selected, air_gas_on_hot_titanium,
  burn_off_lost, blend_ratio, air_in_combustible, combustible_pressure, door_on_combustible, combustible_valve,
  combustible_not_permitted, combustible_on_titanium, isolation_on_combustible, air_on_combustible, air_gas_on_combustible,
  sensor_stuck, sensor_reversed, sensor_jumped, contactor_welded, runaway, inputs_frozen, count_
};
}

// What the outputs become, by the row in force: coils energised, back-pressure valve. Heat is off, no gas selected, no flow,
// always.
struct SafeValues {
  SafeRow row;
  const char* name;
  std::uint16_t coils;
  float valve_frac;
};
std::span<const SafeValues> safe_table();

using RowSet = std::uint64_t;         // bit n: row n

struct Interlocks {
  RowSet standing = 0;                // bit n: the cause of row n stands, its delay over
  RowSet latched = 0;                 // trips waiting for acknowledgement
  RowSet raw = 0;                     // causes in this tick, delays not counted
  std::uint8_t first_out = 0;         // row, 0 none
  std::uint8_t inhibit = 0;           // first row that refused an action in this tick, 0 none
  bool over_pressure = false;         // the over-pressure row is in force
  SafeRow safe_row = SafeRow::air;    // in force or ready to be
  std::uint32_t over_pressure_ms = 0;
  std::uint32_t pump_stop_ms = 0;     // since the pump was isolated
  std::uint32_t heat_wait_ms = 0;     // until heat may come back after a loss of its permissive
  std::uint32_t response_ms[zone_count_max] = {};      // at highest demand without a response
  float response_degc[zone_count_max] = {};            // where that began
  std::uint16_t delay_ms[64] = {};    // by row, while its cause stands
};

struct InterlockView {
  const Parameters& parameters;
  const Inputs& inputs;
  const Atmosphere& atmosphere;
  const ProgrammeRun& run;
  const Outputs& before;         // what went out in the tick before
  bool stands;                   // the atmosphere has wishes; else its safe values apply
  bool heat_permissive;
  bool line_lost;
  bool latched;                  // FW_CHECK
  std::uint32_t detections;      // bits of Detections::found
};

// Door, emergency stop, limiter, atmosphere and trips together: heat may be on. Once lost while the contactor was closed, it
// comes back only after its conditions have held for 10 s on end: a value at its limit must not make the contactor chatter.
bool heat_permissive(const Interlocks& interlocks, const Parameters& parameters, const Inputs& inputs,
                     const Atmosphere& atmosphere);

// The last word on the outputs.
void interlocks_step(Interlocks& interlocks, const InterlockView& view, Outputs& outputs);

// Re-arms the trips whose cause has gone. False: some stand.
bool interlocks_acknowledge(Interlocks& interlocks);

}  // namespace fw
