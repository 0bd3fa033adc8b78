// Alarms after ISA-18.2 (ANSI/ISA-18.2-2016, IEC 62682:2014): normal, unacknowledged, acknowledged, returned to normal
// unacknowledged. Non-latching; an alarm that returns unacknowledged waits for its acknowledgement.
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
  burn_off, supply_low, flow_implausible, valve_sticks, pressure_swings, count_
};
}

struct AlarmInfo {
  const char* name;
  AlarmPriority priority;
  std::uint32_t on_delay_ms;    // the condition must stand this long
  std::uint32_t off_delay_ms;   // and be gone this long
  const char* meaning;
};
std::span<const AlarmInfo> alarm_table();

enum class AlarmState : std::uint8_t { normal, unacknowledged, acknowledged, returned_unacknowledged };

using AlarmSet = std::uint64_t;           // bit n: alarm n

struct Alarms {
  AlarmSet active = 0;
  AlarmSet unacknowledged = 0;
  AlarmSet changing = 0;                 // a delay runs
  std::uint32_t delay_ms[64] = {};
};

// One control period; bit n of conditions: the condition of alarm n stands.
void alarms_step(Alarms& alarms, AlarmSet conditions, std::uint32_t period_ms);
void alarms_acknowledge(Alarms& alarms);
AlarmState alarm_state(const Alarms& alarms, int number);
int alarms_count(AlarmSet bits, AlarmPriority priority);
bool alarms_sound_horn(const Alarms& alarms);   // an unacknowledged alarm of high priority

}  // namespace fw
