// Faults a scenario may plant: one table of kinds, and the bank that turns the active ones into what the plant
// (plant::Disturbances), the line (LineFault) and the controller's surroundings (ControllerFault) are told each tick. A fault is a
// deterministic transform at a seam within an interval; the logic on either side never knows of it. Its state is plain data, part
// of the bench's state.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "plant/process_values.h"
#include "sim/controller_fault.h"
#include "sim/line_fault.h"
#include "sim/scenario.h"

namespace sim {

enum class Seam : std::uint8_t { plant, instrument, station, line, supervisory, controller, store, everything };

struct FaultParameter {
  const char* name;
  // "1", "ms", "zone" (1..4), "valve" (a name of valve_name), "output" (of output_name), "channel" (of channel_name), "channel unit",
  // "channel unit/s", "count" (a whole number)
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
  supervisory_silent, supervisory_corrupt, supervisory_noise, supervisory_write_doubled, supervisory_foreign,
  controller_power_lost, controller_brown_out, controller_watchdog_reset, power_lost,
  store_write_lost, store_write_torn, store_slow, store_bit_flipped
};

struct FaultKind {
  const char* name;     // as written in a scenario
  FaultAction action;
  Seam seam;
  std::span<const FaultParameter> parameters;
  const char* meaning;
};

std::span<const FaultKind> fault_table();
const FaultKind* find_fault(std::string_view name);          // nullptr if there is none
std::string describe_faults();                               // the table as plain text, for people

const char* valve_name(int valve);                           // 0..5: "process", "purge", "exhaust", "bypass", "air", "pump"; "" outside
const char* output_name(int output);                         // of the station: "contactor", ..., "valve"; "" outside
inline constexpr int channel_count = 24;                     // of the field line's map
const char* channel_name(int channel);                       // "zone_1", "load", "gauge_pressure", ...; "" outside 0..23
const char* channel_unit(int channel);                       // in which its drift is written: "K", "Pa", "slm", ...
int find_channel(std::string_view name);                     // -1 if there is none; "7" is accepted for 7

// The faults of a scenario. The bench says when each begins and ends; apply() gives what holds in a tick.
class FaultBank {
 public:
  static constexpr std::size_t faults_max = 64;

  // Throws std::invalid_argument when a kind is unknown, a value missing or out of bounds, or there are more than
  // faults_max.
  explicit FaultBank(const std::vector<FaultSource>& sources);

  std::size_t size() const { return count_; }
  bool active(std::size_t fault) const { return state_.active[fault]; }
  bool one_tick(std::size_t fault) const;           // it lasts one tick, whatever its interval
  Seam seam(std::size_t fault) const { return entries_[fault].seam; }
  void begin(std::size_t fault);
  void end(std::size_t fault);

  // Fault `fault` goes on where fault `other` of `past` stands.
  void take_over(std::size_t fault, const FaultBank& past, std::size_t other);
  void renew() { state_.changed = true; }           // the next apply() gives what holds, whatever was told before

  // True if something changed since the last call or moves on its own (drift), so that an undisturbed tick costs nothing.
  // Then both structs are rebuilt from the active faults; of two on one field the later one in the file wins.
  bool apply(double period_s, plant::Disturbances& disturbances, LineFault& line);
  const ControllerFault& controller() const { return controller_; }   // as apply() left it

 private:
  struct Entry {
    FaultAction action = FaultAction::glitch;
    Seam seam = Seam::plant;
    std::array<double, 2> values{};
  };
  struct State {                                    // plain data: a copy is a snapshot
    std::array<bool, faults_max> active{};
    std::array<std::uint64_t, faults_max> ticks{};  // since it began
    bool changed = false;
    bool moving = false;
  };

  std::array<Entry, faults_max> entries_{};
  std::size_t count_ = 0;
  State state_;
  ControllerFault controller_;                      // what the active ones come down to
};

}  // namespace sim
