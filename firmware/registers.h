// The supervisory register map, one table. FC 03 and FC 04 read the same address space, FC 06, 16 and 23 write where the
// table says so. Addresses are PDU addresses. float32 and uint32 take two registers, high word first.
//
//   0x0000  monitor block: what the controller sees and does; read-only (monitor_table)
//   0x0100  command register, then its arguments, result and count: writing the command acts at the next step
//   0x0110  set points in force; writing one is the same as the command change_setpoint
//   0x0200  programme window: one segment at a time, moved by the commands write_segment and read_segment
//   0x0300  auto-tune: what it found and proposes; read-only
//   0x0500  what the controller has written down: event log and run record, each by a window (history.h)
//   0x0600  alarms one by one, read-only: state, time left on the shelf, then the interlocks' rows
//   0x0700  outputs forced at commissioning, read-only
//   0x1000  parameters, two registers each, in the order of parameter_table
#pragma once

#include <cstdint>
#include <span>

namespace fw {

enum class RegisterType : std::uint8_t { u16, u32, f32 };

struct RegisterInfo {
  const char* name;       // monitor block: the signal's name, e.g. "heat.1.pv"
  const char* unit;       // "" for codes and counts
  std::uint16_t address;
  RegisterType type;
  bool writable;
  std::uint8_t decimals;  // worth printing
  const char* meaning;    // for codes: the values
};

inline constexpr std::uint16_t command_address = 0x0100;   // u16 command, u16 argument, f32 value: 0x0100, 0x0101, 0x0102-3
inline constexpr std::uint16_t setpoint_address = 0x0110;
inline constexpr std::uint16_t programme_window_address = 0x0200;
inline constexpr std::uint16_t tune_address = 0x0300;
inline constexpr std::uint16_t alarm_state_address = 0x0600;    // + n: AlarmState of alarm n, read-only
inline constexpr std::uint16_t alarm_shelf_address = 0x0640;    // + n: seconds alarm n stays shelved, at most 65535 is shown
// Rows of the interlock table that stand, and that are latched, 64 bits each (bit n: row n), high word first; then u32:
// detections found, ticks late since start, jumps of the clock.
inline constexpr std::uint16_t row_address = 0x0680;
inline constexpr std::uint16_t commissioning_address = 0x0700;  // what is forced, how long still; read-only
inline constexpr std::uint16_t parameter_address = 0x1000;

enum class Command : std::uint16_t {
  none = 0,
  select_programme = 1,   // argument: 0..15; refused unless idle, stopped, aborted or complete
  start = 2,
  hold = 3,
  resume = 4,
  skip = 5,               // to the next segment
  stop = 6,               // ordered stop to the safe values
  acknowledge = 7,        // all alarms; re-arms a trip whose cause has gone
  change_setpoint = 8,    // argument: 0 heat degC, 1 back-pressure Pa gauge, 2 flow slm; value: the new set point
  reset = 9,              // stopped/aborted/complete back to idle
  write_segment = 10,     // argument: segment index of the window's programme; takes the programme window
  erase_programme = 11,   // argument: programme
  read_segment = 12,      // argument: segment index of the window's programme; fills the programme window
  start_auto_tune = 20,   // argument: 1..4 heat zone, 5 back-pressure
  abort_auto_tune = 21,
  accept_auto_tune = 22,  // argument: gain set 1..4 of a heat loop; writes the gains proposed
  reject_auto_tune = 23,
  shut_down = 30,         // leaves the programme: combustible gas is purged out, the load cools under purge, then it ends
  open_programme = 40,    // argument: programme; until it is closed the store keeps the one it has, and it does not start
  close_programme = 41,   // what has been written since goes into the store as a whole
  edit_running = 42,      // argument: segment of the running programme, not begun yet; takes the window; value 1: in the store too
  force_output = 43,      // argument: output (commissioning.h); value; needs the key switch
  release_outputs = 44,   // ends all forcing
  zero_pressure = 45,     // value: days since 1970-01-01; needs the key switch and a vented chamber
  start_at_value = 46,    // as start, but enters the first ramp whose way holds the process value
  acknowledge_alarm = 60, // argument: alarm
  shelve_alarm = 61,      // argument: alarm; value: seconds, up to alarms.shelve_longest; not those of high priority
  unshelve_alarm = 62,    // argument: alarm
  reset_alarm = 63,       // argument: alarm that has latched, its condition gone and acknowledged
  alarm_out_of_service = 64,  // argument: alarm, not those of high priority; key switch at commissioning
  alarm_in_service = 65   // argument: alarm; key switch at commissioning
};

// Outcome of the last command, in command.result.
enum class [[nodiscard]] Refusal : std::uint16_t {
  accepted = 0,
  unknown_command = 1,
  wrong_state = 2,            // not in this state of the programme
  no_such_programme = 3,      // number outside 0..15, or nothing in that place
  no_such_segment = 4,
  segment_invalid = 5,        // a field of the segment is outside its bounds
  store_full = 6,             // no room among the 512 segments, or programme too long
  value_out_of_bounds = 7,
  trip_stands = 8,            // a trip's cause has not gone
  fault_latched = 9,          // the core has stopped itself for good
  store_damaged = 10          // parameters were damaged at start: write them, then power up again
};

// Monitor block, in address order from 0 without holes. The block of one heat zone stands last, so that a reader asks for
// as many registers as there are zones: monitor_registers(zones).
std::span<const RegisterInfo> monitor_table();
std::uint16_t monitor_registers(int zones);
std::span<const RegisterInfo> command_table();   // everything else but the parameters

}  // namespace fw
