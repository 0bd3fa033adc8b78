// Alarms after ISA-18.2 (ANSI/ISA-18.2-2016, IEC 62682:2014; the states from memory). An alarm that clears before it is
// acknowledged passes through "returned to normal, unacknowledged" and waits there. A latching alarm that clears waits for a
// reset besides. A shelved alarm, one suppressed by design and one out of service are not told: not counted, no horn; when that
// ends and the condition stands, the alarm comes anew, unacknowledged.
#pragma once

#include <cstdint>
#include <span>

namespace fw {

enum class AlarmPriority : std::uint8_t { low, medium, high };

namespace alarm {
enum Number : std::uint8_t {
  trip, zone_sensor, load_sensor, zone_temperature, load_temperature, deviation, pressure_high, pressure_low, oxygen_high,
  dew_point_high, flow_deviation, supply_lost, line_disturbed, line_lost, transmitter_failed, pressure_transmitter,
  demand_without_current, current_without_demand, segment_failed, segment_waits, store_damaged, oxygen_cell, contactor,
  mains_low, door, valve_position, internal_fault,
  burn_off, supply_low, flow_implausible, valve_sticks, pressure_swings, contactor_welded, load_differs, heater_differs,
  vacuum_lost, pump_slow, tick_late, clock_jumped, count_
};
}

struct AlarmInfo {
  const char* name;
  AlarmPriority priority;
  std::uint32_t on_delay_ms;    // the condition must stand this long
  std::uint32_t off_delay_ms;   // and be gone this long
  const char* meaning;
  bool latching = false;        // stays until it is reset, its condition gone
  bool of_readings = false;     // judged from the station's inputs: suppressed by design while the line is lost
};
std::span<const AlarmInfo> alarm_table();

// Letters of the standard's state diagram.
enum class AlarmState : std::uint8_t {
  normal,                   // A
  unacknowledged,           // B
  acknowledged,             // C
  returned_unacknowledged,  // D
  latched_unacknowledged,   // E
  latched_acknowledged,     // F
  shelved,                  // G
  suppressed,               // H, by design
  out_of_service            // I
};

using AlarmSet = std::uint64_t;           // bit n: alarm n

// What makes the state of each alarm.
struct AlarmSets {
  AlarmSet active = 0;                   // told, its condition there
  AlarmSet unacknowledged = 0;
  AlarmSet latched = 0;                  // told, its condition gone, waits for a reset
  AlarmSet shelved = 0;
  AlarmSet suppressed = 0;               // by design
  AlarmSet out_of_service = 0;
};

struct Alarms : AlarmSets {
  AlarmSet standing = 0;                 // conditions, their delays over, told or not
  AlarmSet changing = 0;                 // a delay runs
  std::uint32_t delay_ms[64] = {};
  std::uint32_t shelved_ms[64] = {};     // left
};

// One control period; bit n of conditions: the condition of alarm n stands. readings_lost: the station is silent.
void alarms_step(Alarms& alarms, AlarmSet conditions, bool readings_lost, std::uint32_t period_ms);

// What an operator asks for. False: there is no such alarm, it is not in that state, or it is of those that must be told.
void alarms_acknowledge(Alarms& alarms);                         // all
bool alarm_acknowledge(Alarms& alarms, int number);
bool alarm_shelve(Alarms& alarms, int number, std::uint32_t time_ms);   // not those of high priority; comes back by itself
bool alarm_unshelve(Alarms& alarms, int number);
bool alarm_reset(Alarms& alarms, int number);                    // latched, its condition gone and acknowledged
bool alarm_service(Alarms& alarms, int number, bool out);        // out of service and back; not those of high priority

AlarmSet alarms_told(const AlarmSets& alarms);                   // active or latched
AlarmSet alarms_withheld(const AlarmSets& alarms);               // shelved, suppressed or out of service, standing or not
AlarmState alarm_state(const AlarmSets& alarms, int number);
AlarmSet alarms_changed(const AlarmSets& before, const AlarmSets& now);   // whose state is another one
int alarms_count(AlarmSet bits, AlarmPriority priority);
bool alarms_sound_horn(const Alarms& alarms);   // an unacknowledged alarm of high priority

}  // namespace fw
