#include "firmware/registers.h"

#include <array>
#include <cstddef>

#include "firmware/history.h"

namespace fw {

namespace {

struct Row {
  const char* name;
  const char* unit;
  RegisterType type;
  std::uint8_t decimals;
  const char* meaning;
};

constexpr auto u16 = RegisterType::u16;
constexpr auto u32 = RegisterType::u32;
constexpr auto f32 = RegisterType::f32;

// The order is the order of the block; the encoder in supervisory.cpp follows it; zones last.
constexpr Row monitor_common[] = {
    {"controller.tick", "", u32, 0, "control periods since start"},
    {"programme.state", "", u16, 0, "0 idle, 1 running, 2 held, 3 stopping, 4 stopped, 5 aborting, 6 aborted, 7 complete"},
    {"programme.segment", "", u16, 0, "index of the segment running, from 0; 65535 none"},
    {"programme.number", "", u16, 0, "programme selected, 0..15"},
    {"programme.soak_counted", "s", f32, 1, "time counted within tolerance in this soak"},
    {"programme.elapsed", "s", f32, 1, "time in this segment"},
    {"atmosphere.phase", "", u16, 0, "0 rest, 1 evacuating, 2 leak_test, 3 backfilling, 4 purging, 5 holding, 6 safe"},
    {"atmosphere.pressure_rise", "Pa/min", f32, 3, "result of the last pressure-rise leak test"},
    {"atmosphere.volume_changes", "", f32, 2, "counted in this purge"},
    {"alarms.active", "", u16, 0, "alarms active"},
    {"alarms.low", "", u16, 0, "of low priority"},
    {"alarms.medium", "", u16, 0, "of medium priority"},
    {"alarms.high", "", u16, 0, "of high priority"},
    {"alarms.bits", "", u32, 0, "bit n: alarm n of the alarm table is active, 0..31"},
    {"alarms.unacknowledged", "", u32, 0, "bit n: alarm n waits for acknowledgement, 0..31"},
    {"interlock.heat_permissive", "", u16, 0, "1: heat may be on"},
    {"interlock.trip", "", u16, 0, "first-out row of the interlock table, 0 none"},
    {"interlock.inhibit", "", u16, 0, "first row that refuses an action in this tick, 0 none"},
    {"interlock.safe_row", "", u16, 0, "1 air, 2 inert, 3 combustible, 4 vacuum, 5 over-pressure"},
    {"controller.outputs", "", u16, 0, "coils as sent to the station"},
    {"controller.inputs", "", u16, 0, "discrete inputs as read"},
    {"controller.line_errors", "", u32, 0, "answers of the station missing, late or damaged"},
    {"controller.latched", "", u16, 0, "1: the core has stopped itself for good"},
    {"command.result", "", u16, 0,
     "0 accepted, 1 unknown command, 2 wrong state, 3 no such programme, 4 no such segment, 5 segment invalid, 6 store full, "
     "7 value out of bounds, 8 trip stands, 9 fault latched, 10 store damaged"},
    {"command.count", "", u16, 0, "commands handled since start, modulo 65536"},
    {"load.pv", "degC", f32, 2, "load thermocouple"},
    {"pressure.pv", "Pa gauge", f32, 1, "gauge-pressure transmitter"},
    {"pressure.sp", "Pa gauge", f32, 1, "set point of the back-pressure loop"},
    {"pressure.out", "1", f32, 4, "back-pressure valve, 0 shut, 1 open"},
    {"flow.pv", "slm", f32, 3, "flow of the gas selected"},
    {"flow.sp", "slm", f32, 3, "set point after its ramp"},
    {"flow.out", "1", f32, 4, "share of the meter's full scale in its calibration gas"},
    {"flow.total", "sL", f32, 3, "gas used, from the store on"},
    {"vacuum.pv", "Pa", f32, 2, "capacitance gauge, absolute"},
    {"oxygen.pv", "ppm", f32, 2, "by volume; while the cell is not valid, the last valid value"},
    {"dew_point.pv", "degC", f32, 2, "dew or frost point"},
    {"alarms.bits_2", "", u32, 0, "bit n: alarm 32 + n of the alarm table is active"},
    {"alarms.unacknowledged_2", "", u32, 0, "bit n: alarm 32 + n waits for acknowledgement"},
    {"load.sp", "degC", f32, 2, "set point of the programme; in a cascade the load's"},
    {"tune.state", "", u16, 0, "auto-tune: 0 idle, 1 running, 2 gains proposed, 3 ended without"},
    {"tune.ultimate_gain", "", f32, 6, "1/K or 1/Pa, of the last auto-tune"},
    {"tune.ultimate_period", "s", f32, 2, "of the last auto-tune"},
    {"combustible.state", "", u16, 0, "0 none in the chamber, 1 possible, 2 waiting for its permissive, 3 flowing"},
    {"combustible.purged", "", f32, 2, "cold volume changes of inert gas since combustible gas or air came in"},
    {"pressure.in_charge", "", u16, 0, "device in charge of the pressure: 0 none, 1 valve, 2 bypass, 3 pump"},
    {"alarms.withheld", "", u32, 0, "bit n: alarm n is not told: shelved, suppressed by design or out of service, 0..31"},
    {"alarms.withheld_2", "", u32, 0, "the same of alarm 32 + n"},
};

constexpr Row monitor_zone[4][3] = {
    {{"heat.1.pv", "degC", f32, 2, "heater side of zone 1"},
     {"heat.1.sp", "degC", f32, 2, "set point of zone 1"},
     {"heat.1.out", "1", f32, 4, "demand of zone 1"}},
    {{"heat.2.pv", "degC", f32, 2, "heater side of zone 2"},
     {"heat.2.sp", "degC", f32, 2, "set point of zone 2"},
     {"heat.2.out", "1", f32, 4, "demand of zone 2"}},
    {{"heat.3.pv", "degC", f32, 2, "heater side of zone 3"},
     {"heat.3.sp", "degC", f32, 2, "set point of zone 3"},
     {"heat.3.out", "1", f32, 4, "demand of zone 3"}},
    {{"heat.4.pv", "degC", f32, 2, "heater side of zone 4"},
     {"heat.4.sp", "degC", f32, 2, "set point of zone 4"},
     {"heat.4.out", "1", f32, 4, "demand of zone 4"}},
};

constexpr Row command_rows[] = {
    {"command.code", "", u16, 0,
     "1 select programme, 2 start, 3 hold, 4 resume, 5 skip, 6 stop, 7 acknowledge, 8 change set point, 9 reset, "
     "10 write segment, 11 erase programme, 12 read segment, 20 start, 21 abort, 22 accept, 23 reject auto-tune, 30 shut down, "
     "40 open programme, 41 close programme, 42 edit running, "
     "43 force output, 44 release outputs, 45 zero pressure, 46 start at the process value, "
     "60 acknowledge alarm, 61 shelve alarm (value: s), 62 unshelve alarm, 63 reset alarm, 64 alarm out of service, "
     "65 alarm in service"},
    {"command.argument", "", u16, 0, "number that goes with the command"},
    {"command.value", "", f32, 3, "value that goes with the command"},
};

constexpr Row setpoint_rows[] = {
    {"setpoint.heat", "degC", f32, 2, "heat loops"},
    {"setpoint.pressure", "Pa gauge", f32, 1, "back-pressure loop"},
    {"setpoint.flow", "slm", f32, 3, "flow"},
};

constexpr Row window_rows[] = {
    {"window.programme", "", u16, 0, "programme the window looks at, 0..15"},
    {"window.kind", "", u16, 0,
     "1 ramp, 2 soak, 3 wait, 4 evacuate, 5 backfill, 6 purge, 7 leak test, 8 cool, 9 repeat, 10 end"},
    {"window.gas", "", u16, 0, "0 as before, 1 air, 2 nitrogen, 3 argon, 4 helium, 5 hydrogen, 6 forming gas"},
    {"window.gain_set", "", u16, 0, "1..4, 0 as before"},
    {"window.options", "", u16, 0, "bit 0 ramp by time, 1 count on load, 2 purge by vacuum cycles, 4 no feed-forward, 5 purge until dry"},
    {"window.target", "", f32, 3, "degC, Pa abs or Pa gauge, as the kind says"},
    {"window.rate", "", f32, 6, "K/s or Pa/s; of a purge until dry its dew point, degC"},
    {"window.duration", "ms", u32, 0, "of the segment"},
    {"window.tolerance", "K", f32, 2, "half width of the band in which a soak counts; how far a ramp runs ahead"},
    {"window.flow", "slm", f32, 3, "negative: as before"},
    {"window.back_pressure", "Pa gauge", f32, 1, "negative: as before"},
    {"window.amount", "", f32, 3, "volume changes, or Pa abs with vacuum cycles"},
    {"window.count", "", u16, 0, "repeats, or vacuum cycles"},
    {"window.jump", "", u16, 0, "segment a repeat goes back to"},
    {"window.timeout", "ms", u32, 0, "0 none"},
    {"window.title.1", "", u32, 0, "UTF-8, first byte in the high half"},
    {"window.title.2", "", u32, 0, "title, bytes 5..8"},
    {"window.title.3", "", u32, 0, "title, bytes 9..12"},
    {"window.title.4", "", u32, 0, "title, bytes 13..16"},
    {"window.title.5", "", u32, 0, "title, bytes 17..20"},
    {"window.title.6", "", u32, 0, "title, bytes 21..24"},
    {"window.power_limit", "", f32, 4, "highest demand of the heat loops, 0 as the parameters say"},
    {"window.feed_forward", "", f32, 4, "share of the heat loops' feed-forward, 0 the whole of it; none: bit 4 of the options"},
};

constexpr Row window_read_only[] = {
    {"window.segments", "", u16, 0, "segments the window's programme has"},
};

constexpr Row tune_rows[] = {
    {"tune.end", "", u16, 0,
     "why it ended: 0 not yet, 1 done, 2 timed out, 3 ceiling, 4 by the operator, 5 phase or set point left, 6 trip, 7 sensor"},
    {"tune.refusal", "", u16, 0,
     "of the last start: 0 none, 1 no such loop, 2 busy, 3 not in the phase for it, 4 not settled, 5 output too near its end, 6 loops "
     "depend on one another"},
    {"tune.loop", "", u16, 0, "1..4 heat zone, 5 back-pressure"},
    {"tune.rule", "", u16, 0, "1 SIMC PI of an integrating process, 2 Ziegler-Nichols PI, 3 Ziegler-Nichols PID"},
    {"tune.cycles", "", u16, 0, "whole cycles after the first"},
    {"tune.bias", "1", f32, 4, "output around which the relay switches"},
    {"tune.amplitude", "1", f32, 4, "half the relay's step"},
    {"tune.hysteresis", "", f32, 3, "half the band, unit of the process value"},
    {"tune.swing", "", f32, 3, "half peak to peak of the process value"},
    {"tune.proposed_gain", "", f32, 6, "1/K or 1/Pa"},
    {"tune.proposed_integral", "s", f32, 2, "integral time"},
    {"tune.proposed_derivative", "s", f32, 2, "derivative time"},
    {"tune.elapsed", "ms", u32, 0, "since its start"},
};

constexpr Row commissioning_rows[] = {
    {"forced.outputs", "", u32, 0, "bit n: output n is forced"},
    {"forced.left", "s", f32, 1, "until they are released"},
    {"forced.vented", "s", f32, 1, "the chamber has stood open to the room, its reading steady; 10 s are needed to take its zero"},
    {"forced.value", "", f32, 3, "where output 0 is held; those of outputs 1 to 21 follow, two registers each"},
};

constexpr Row history_status_rows[] = {
    {"store.boots", "", u32, 0, "times the core has started"},
    {"store.events", "", u32, 0, "events ever logged; the last 240 are kept"},
    {"store.damaged", "", u16, 0, "pages and values not usable at start"},
    {"store.dropped", "", u16, 0, "parameters in the store that no table knows"},
    {"store.undecided", "", u16, 0, "1: a programme was broken off by a power loss and the station has not answered yet"},
};

constexpr Row event_window_rows[] = {
    {"event.first", "", u32, 0, "number of the first event shown, from 0; writing it moves the window"},
};

constexpr Row event_rows[] = {
    {"event.second", "s", u32, 0, "since the core started; six events follow one another, eight registers each"},
    {"event.number", "", u16, 0, "what it is about, as the kind says"},
    {"event.kind_boot", "", u16, 0,
     "high byte: 1 power up, 2 programme state, 3 trip, 4 alarm, 5 parameter, 6 command, 7 forced output, 8 calibration, "
     "9 parameter dropped, 10 store damaged, 11 power loss, 12 segment changed; low byte: starts of the core, modulo 256"},
    {"event.before", "", u32, 0, "old value, as the kind says"},
    {"event.after", "", u32, 0, "new value"},
};

constexpr Row record_count_rows[] = {
    {"record.last", "", u32, 0, "number of the newest run record; the last eight are kept"},
};

constexpr Row record_window_rows[] = {
    {"record.shown", "", u32, 0, "number of the run record shown; writing it moves the window"},
};

constexpr Row record_rows[] = {
    {"record.hash", "", u32, 0, "CRC-32 over the rest of the record"},
    {"record.number", "", u32, 0, "0: not kept"},
    {"record.started", "s", u32, 0, "since the start of the core"},
    {"record.ended", "s", u32, 0, "since the start of the core that ended it"},
    {"record.programme_crc", "", u32, 0, "CRC-32 of its segments"},
    {"record.parameters_crc", "", u32, 0, "CRC-32 of all parameters when it began"},
    {"record.alarms_low", "", u32, 0, "bit n: alarm n was active"},
    {"record.alarms_high", "", u32, 0, "alarms 32 and up"},
    {"record.started_boot", "", u16, 0, "start of the core, counted"},
    {"record.ended_boot", "", u16, 0, "start of the core, counted"},
    {"record.operator_actions", "", u16, 0, "commands and writes accepted"},
    {"record.outages", "", u16, 0, "power losses it went on after"},
    {"record.programme", "", u16, 0, "its number"},
    {"record.end_state", "", u16, 0, "4 stopped, 5 power lost, 6 aborted, 7 complete"},
    {"record.first_out", "", u16, 0, "row that tripped, 0 none"},
    {"record.segments", "", u16, 0, "of the programme"},
    {"record.title.1", "", u32, 0, "UTF-8, first byte in the high half; 24 bytes, then a register per segment: largest deviation of a "
     "zone from the set point in 0.1 K, 65535 not heated"},
};

constexpr std::uint16_t width(RegisterType type) { return type == RegisterType::u16 ? 1 : 2; }

constexpr RegisterInfo placed(const Row& row, std::uint16_t& address, bool writable) {
  const RegisterInfo info{row.name, row.unit, address, row.type, writable, row.decimals, row.meaning};
  address = static_cast<std::uint16_t>(address + width(row.type));
  return info;
}

constexpr std::size_t common_count = std::size(monitor_common);

constexpr auto monitor = [] {
  std::array<RegisterInfo, common_count + 12> all{};
  std::uint16_t address = 0;
  std::size_t n = 0;
  for (const Row& row : monitor_common) all[n++] = placed(row, address, false);
  for (const auto& zone : monitor_zone) {
    for (const Row& row : zone) all[n++] = placed(row, address, false);
  }
  return all;
}();

constexpr auto commands = [] {
  std::array<RegisterInfo, std::size(command_rows) + std::size(setpoint_rows) + std::size(window_rows) +
                               std::size(window_read_only) + std::size(tune_rows) +
                               std::size(history_status_rows) + std::size(commissioning_rows) +
                               std::size(event_window_rows) + std::size(event_rows) + std::size(record_count_rows) +
                               std::size(record_window_rows) + std::size(record_rows)>
      all{};
  std::size_t n = 0;
  std::uint16_t address = command_address;
  for (const Row& row : command_rows) all[n++] = placed(row, address, true);
  address = setpoint_address;
  for (const Row& row : setpoint_rows) all[n++] = placed(row, address, true);
  address = programme_window_address;
  for (const Row& row : window_rows) all[n++] = placed(row, address, true);
  for (const Row& row : window_read_only) all[n++] = placed(row, address, false);
  address = tune_address;
  for (const Row& row : tune_rows) all[n++] = placed(row, address, false);
  address = history_address;
  for (const Row& row : history_status_rows) all[n++] = placed(row, address, false);
  address = event_window_address;
  for (const Row& row : event_window_rows) all[n++] = placed(row, address, true);
  for (const Row& row : event_rows) all[n++] = placed(row, address, false);
  address = record_window_address - 2;
  for (const Row& row : record_count_rows) all[n++] = placed(row, address, false);
  for (const Row& row : record_window_rows) all[n++] = placed(row, address, true);
  for (const Row& row : record_rows) all[n++] = placed(row, address, false);
  address = commissioning_address;
  for (const Row& row : commissioning_rows) all[n++] = placed(row, address, false);
  return all;
}();

}  // namespace

std::span<const RegisterInfo> monitor_table() { return monitor; }

std::uint16_t monitor_registers(int zones) {
  const int bounded = zones < 1 ? 1 : (zones > 4 ? 4 : zones);
  const std::size_t entries = common_count + 3 * static_cast<std::size_t>(bounded);
  const RegisterInfo& last = monitor[entries - 1];
  return static_cast<std::uint16_t>(last.address + width(last.type));
}

std::span<const RegisterInfo> command_table() { return commands; }

}  // namespace fw
