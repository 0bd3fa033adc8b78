// Faults a scenario may plant: one table of kinds. A fault is a deterministic transform at a seam within an interval; the logic on
// either side never knows of it. Which are at work, and what they come to together, is FaultBank's (fault_bank.h); when one comes
// by chance is FaultArrivals' (fault_arrivals.h).
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

namespace sim {

// Where it acts. line: the field line; controller: power of the controller; store: its memory.
enum class Seam : std::uint8_t { plant, actuator, instrument, station, line, supervisory, controller, store, everything };
inline constexpr int seams = 9;
const char* seam_name(Seam seam);

// What two faults of a kind on the same thing come to. In every case their order, in the file or in time, is of no account.
enum class Together : std::uint8_t {
  either,        // as one: it lasts as long as either does
  add,           // their sizes add
  multiply,      // their factors multiply
  chances,       // what neither lets pass is lost: 1 - (1 - a) (1 - b)
  shut_wins,     // of `stuck shut` and `stuck open` on one valve, shut: nothing passes what is blocked
  squares,       // the squares of their sizes add
  least,         // the smaller one, of what can only be one at a time
  greatest,      // the greater one
};
const char* explanation(Together together);

struct FaultParameter {
  const char* name;
  // A unit of units.h; "zone" and "count" (whole numbers); "channel unit", "channel unit/s": that of the channel given beside; or a
  // family of words (fault_words), then the value is the place of the word.
  const char* unit;
  double preset;
  double low, high;     // bounds, in that unit
  const char* meaning;
};

enum class FaultAction : std::uint8_t {
  element_broken, switch_shorted, supply_exhausted, exhaust_blocked, door_opened, mains_dip, emergency_stop, key_turned,
  pump_stopped, contactor_welded, contactor_stuck_open, limiter_tripped, back_pressure_valve_stuck, valve_stuck_shut, valve_stuck_open,
  thermocouple_open, sensor_stuck, sensor_drift, sensor_offset, glitch, line_drop, line_corrupt, line_late, line_silent,
  line_requests_lost, line_answers_lost, line_bit_errors, line_inserted, line_truncated, line_gap, line_tick_late, line_swapped,
  line_duplicated, line_repeated, line_echoed, line_foreign,
  station_reset, station_watchdog_dead, station_answers_frozen, station_inputs_frozen, station_output_dead, station_map_wrong,
  station_exception, mains_lost,
  retort_leak, supply_contaminated, supply_wet, regulator_off, regulator_droops, oxygen_cell_cold,
  element_aged, element_shorted, relief_stuck_shut, relief_opens_early, check_valve_leaks, back_pressure_valve_worn, pump_weak,
  meter_zero, meter_span, meter_stuck,
  thermocouple_loose, sensor_reversed, sensor_gain, sensor_noise, sensor_slow, cold_junction_off, input_stuck,
  supervisory_silent, supervisory_corrupt, supervisory_noise, supervisory_write_doubled, supervisory_foreign,
  controller_power_lost, controller_brown_out, controller_watchdog_reset, controller_clock_ahead, power_lost,
  store_write_lost, store_write_torn, store_slow, store_bit_flipped,
  burn_off_out, combustible_valve_leaks, back_pressure_valve_sticks,
  back_pressure_valve_plugs, dryer_exhausted, pump_sucks_back, insulation_lost
};

inline constexpr std::size_t faults_max = 64;                // in a scenario
inline constexpr std::size_t fault_parameters_max = 4;

struct FaultKind {
  const char* name;     // as written in a scenario
  FaultAction action;
  Seam seam;
  Together together;
  std::span<const FaultParameter> parameters;
  const char* meaning;
};

bool for_one_tick(FaultAction action);                       // over at the tick at which it comes
std::span<const FaultKind> fault_table();
const FaultKind* find_fault(std::string_view name);          // nullptr if there is none
std::string describe_faults();                               // the table as plain text, for people

// The words of a family, in the order of their values: "valve", "channel", "output", "input", ...; empty for anything else.
std::span<const char* const> fault_words(std::string_view family);

inline constexpr int channel_count = 24;                     // of the field line's map
const char* channel_name(int channel);                       // "zone_1", "load", "gauge_pressure", ...; "" outside 0..23
const char* channel_unit(int channel);                       // in which its drift is written: "K", "Pa", "slm", ...
int find_channel(std::string_view name);                     // -1 if there is none; "7" is accepted for 7

}  // namespace sim
