#include "firmware/supervisory.h"

#include <cmath>
#include <cstring>

#include "firmware/controller_state.h"
#include "firmware/loop_tuning.h"
#include "firmware/write_access.h"

namespace fw {

namespace {

constexpr std::uint16_t command_registers = 4, setpoint_registers = 6, window_registers = 40, window_writable = 39,
                        tune_registers = 21;
constexpr std::uint16_t alarm_places = 64, row_registers = 14;
constexpr std::uint16_t window_title = 23;   // first register of the title within the window

// --- Commands ----------------------------------------------------------------------------------------------------------

bool at_rest(ProgrammeState state) {
  return state == ProgrammeState::idle || state == ProgrammeState::stopped || state == ProgrammeState::aborted ||
         state == ProgrammeState::complete;
}

Refusal select_programme(Controller& c, std::uint16_t number) {
  if (!at_rest(c.run.state)) return Refusal::wrong_state;
  if (number >= programme_count || c.programmes.entries[number].segments == 0) return Refusal::no_such_programme;
  c.journal.programme = number;
  keep_journal(c.writer);
  return Refusal::accepted;
}

Refusal start_programme(Controller& c, bool at_value) {
  if (c.run.state != ProgrammeState::idle || !c.inputs.known || c.power.undecided) return Refusal::wrong_state;
  if (c.writer.programmes.open == c.journal.programme) return Refusal::wrong_state;
  if (c.interlocks.latched != 0) return Refusal::trip_stands;
  if (c.parameters_bad != 0) return Refusal::store_damaged;
  const ProgrammeEntry& entry = c.programmes.entries[c.journal.programme];
  if (entry.segments == 0) return Refusal::no_such_programme;
  if (!FW_CHECK(c.latch, entry.first_segment + entry.segments <= segment_count)) return Refusal::fault_latched;
  programme_start(c.run, entry, c.programmes.segments + entry.first_segment, c.parameters.back_pressure_preset_pa);
  if (at_value) programme_enter(c.run, c.inputs.zone_degc[0]);
  history_run_begins(c);
  return Refusal::accepted;
}

Refusal move_between(ProgrammeRun& run, ProgrammeState from, ProgrammeState to) {
  if (run.state != from) return Refusal::wrong_state;
  run.state = to;
  return Refusal::accepted;
}

Refusal skip_segment(Controller& c) {
  ProgrammeView view{};
  view.lead_degc = heat_zones_lead_degc(c.parameters, c.inputs);
  return programme_active(c.run) && programme_skip(c.run, view) ? Refusal::accepted : Refusal::wrong_state;
}

Refusal stop_programme(Controller& c) {
  if (!programme_active(c.run)) return Refusal::wrong_state;
  programme_stop(c.run);
  return Refusal::accepted;
}

// Heat off at once. What burns is purged out with nitrogen, then the load cools under purge to where it may see air.
Refusal shut_down(Controller& c) {
  if (!programme_active(c.run) || c.run.starting) return Refusal::wrong_state;
  const Parameters& p = c.parameters;
  Segment sequence[3];
  int count = 0;
  if (c.atmosphere.combustible.possible || is_combustible(c.run.gas)) {
    Segment& purge = sequence[count++];
    purge.kind = SegmentKind::purge;
    purge.gas = Gas::nitrogen;
    purge.amount = p.combustible_purge_volumes;
    purge.target = c.run.back_pressure_pa > 0.0f ? c.run.back_pressure_pa : p.back_pressure_preset_pa;
    purge.flow_slm = p.meter_full_scale_slm;
  }
  Segment& cool = sequence[count++];
  cool.kind = SegmentKind::cool;
  cool.target = p.air_admittance_max_degc;
  if (p.shut_down_flow_slm > 0.0f) cool.flow_slm = p.shut_down_flow_slm;
  sequence[count++].kind = SegmentKind::end;
  programme_divert(c.run, sequence, count, heat_zones_lead_degc(c.parameters, c.inputs));
  return Refusal::accepted;
}

Refusal acknowledge(Controller& c) {
  alarms_acknowledge(c.alarms);
  return interlocks_acknowledge(c.interlocks) ? Refusal::accepted : Refusal::trip_stands;
}

Refusal reset_programme(Controller& c) {
  if (!at_rest(c.run.state) || c.run.state == ProgrammeState::idle) return Refusal::wrong_state;
  if (c.interlocks.latched != 0) return Refusal::trip_stands;
  c.run.state = ProgrammeState::idle;
  c.run.failed = false;
  return Refusal::accepted;
}

bool within(float value, float low, float high) { return value >= low && value <= high; }  // false for a NaN

// A ramp's set point belongs to the programme; a standing one may be moved.
Refusal change_heat(Controller& c, float value_degc) {
  const Segment* segment = programme_segment(c.run);
  if (segment == nullptr || !c.run.heat_wanted) return Refusal::wrong_state;
  if (segment->kind == SegmentKind::ramp) return Refusal::wrong_state;
  if (!within(value_degc, 0.0f, c.parameters.zone_alarm_degc)) return Refusal::value_out_of_bounds;
  c.run.setpoint_degc = value_degc;
  return Refusal::accepted;
}

Refusal change_setpoint(Controller& c, std::uint16_t which, float value) {
  if (!programme_active(c.run)) return Refusal::wrong_state;
  switch (which) {
    case 0:
      return change_heat(c, value);
    case 1:
      if (!within(value, 0.0f, c.parameters.pressure_alarm_pa)) return Refusal::value_out_of_bounds;
      c.run.back_pressure_pa = value;
      return Refusal::accepted;
    case 2: {
      const float conversion = gas_conversion(c.parameters, c.run.gas);
      if (!within(value, 0.0f, c.parameters.meter_full_scale_slm * conversion)) return Refusal::value_out_of_bounds;
      c.run.flow_slm = value;
      return Refusal::accepted;
    }
    default:
      return Refusal::value_out_of_bounds;
  }
}

// Replaces a segment of the window's programme, or appends where the index is the first free one.
Refusal write_segment(Controller& c, std::uint16_t index) {
  const int number = c.supervisory.window.programme;
  if (number >= programme_count) return Refusal::no_such_programme;
  ProgrammeEntry& entry = c.programmes.entries[number];
  if (index > entry.segments) return Refusal::no_such_segment;
  if (!segment_valid(c.supervisory.window.segment, index)) return Refusal::segment_invalid;
  const int wanted = index < entry.segments ? entry.segments : index + 1;
  const int first = wanted > programme_segments_max ? -1 : allocate_segments(c.programmes, number, wanted);
  if (first < 0) return Refusal::store_full;
  Segment* pool = c.programmes.segments;
  std::memmove(pool + first, pool + entry.first_segment, entry.segments * sizeof(Segment));
  pool[first + index] = c.supervisory.window.segment;
  entry.first_segment = static_cast<std::uint16_t>(first);
  entry.segments = static_cast<std::uint16_t>(wanted);
  std::memcpy(entry.title, c.supervisory.window.title, sizeof entry.title);
  keep_programme(c.writer, number);
  return Refusal::accepted;
}

Refusal read_segment(Controller& c, std::uint16_t index) {
  const int number = c.supervisory.window.programme;
  if (number >= programme_count) return Refusal::no_such_programme;
  const ProgrammeEntry& entry = c.programmes.entries[number];
  if (index >= entry.segments) return Refusal::no_such_segment;
  c.supervisory.window.segment = c.programmes.segments[entry.first_segment + index];
  std::memcpy(c.supervisory.window.title, entry.title, sizeof entry.title);
  return Refusal::accepted;
}

Refusal erase_programme(Controller& c, std::uint16_t number) {
  if (number >= programme_count || c.programmes.entries[number].segments == 0) return Refusal::no_such_programme;
  c.programmes.entries[number] = ProgrammeEntry{};
  keep_programme(c.writer, number);
  return Refusal::accepted;
}

Refusal open_for_editing(Controller& c, std::uint16_t number) {
  if (number >= programme_count) return Refusal::no_such_programme;
  if (c.writer.programmes.open >= 0) return Refusal::wrong_state;
  open_programme(c.writer.programmes, number);
  return Refusal::accepted;
}

// The private copy that runs; the stored programme too where that is asked for and still holds this segment.
Refusal edit_running(Controller& c, std::uint16_t index, bool store_too) {
  const ProgrammeWindow& window = c.supervisory.window;
  const int number = c.journal.programme;
  if (window.programme != number) return Refusal::no_such_programme;
  if (!programme_active(c.run)) return Refusal::wrong_state;
  if (index >= c.run.segments) return Refusal::no_such_segment;
  if (!segment_valid(window.segment, index)) return Refusal::segment_invalid;
  const ProgrammeEntry& entry = c.programmes.entries[number];
  if (store_too && index >= entry.segments) return Refusal::no_such_segment;
  const std::uint32_t before = segments_crc({c.run.copy + index, 1}, sizeof(Segment));
  if (!programme_edit(c.run, index, window.segment)) return Refusal::wrong_state;
  if (store_too) {
    c.programmes.segments[entry.first_segment + index] = window.segment;
    keep_programme(c.writer, number);
  }
  history_segment_changed(c, index, before);
  return Refusal::accepted;
}

Refusal done_or(bool done, Refusal refusal) { return done ? Refusal::accepted : refusal; }

Refusal shelve(Controller& c, int number, float time_s) {
  if (!within(time_s, 1.0f, c.parameters.shelve_longest_s)) return Refusal::value_out_of_bounds;
  return done_or(alarm_shelve(c.alarms, number, static_cast<std::uint32_t>(time_s) * 1000u), Refusal::value_out_of_bounds);
}

// Out of service is maintenance's word, not the operator's: it has no end of its own.
Refusal service(Controller& c, int number, bool out) {
  if ((c.inputs.discrete & discrete::key_commissioning) == 0) return Refusal::wrong_state;
  return done_or(alarm_service(c.alarms, number, out), Refusal::value_out_of_bounds);
}

Refusal carry_out_alarm(Controller& c, const CommandRequest& request) {
  const int number = request.argument;
  switch (static_cast<Command>(request.code)) {
    case Command::acknowledge_alarm:
      return done_or(alarm_acknowledge(c.alarms, number), Refusal::wrong_state);
    case Command::shelve_alarm:
      return shelve(c, number, request.value);
    case Command::unshelve_alarm:
      return done_or(alarm_unshelve(c.alarms, number), Refusal::wrong_state);
    case Command::reset_alarm:
      return done_or(alarm_reset(c.alarms, number), Refusal::wrong_state);
    case Command::alarm_out_of_service:
      return service(c, number, true);
    case Command::alarm_in_service:
      return service(c, number, false);
    default:
      return Refusal::unknown_command;
  }
}

Refusal carry_out(Controller& c, const CommandRequest& request) {
  if (c.latch.line != 0) return Refusal::fault_latched;
  switch (static_cast<Command>(request.code)) {
    case Command::select_programme:
      return select_programme(c, request.argument);
    case Command::start:
      return start_programme(c, false);
    case Command::hold:
      return move_between(c.run, ProgrammeState::running, ProgrammeState::held);
    case Command::resume:
      return move_between(c.run, ProgrammeState::held, ProgrammeState::running);
    case Command::skip:
      return skip_segment(c);
    case Command::stop:
      return stop_programme(c);
    case Command::acknowledge:
      return acknowledge(c);
    case Command::change_setpoint:
      return change_setpoint(c, request.argument, request.value);
    case Command::reset:
      return reset_programme(c);
    case Command::write_segment:
      return write_segment(c, request.argument);
    case Command::erase_programme:
      return erase_programme(c, request.argument);
    case Command::read_segment:
      return read_segment(c, request.argument);
    case Command::start_auto_tune:
      return tuning_start(c, request.argument);
    case Command::abort_auto_tune:
      return tuning_abort(c);
    case Command::accept_auto_tune:
      return tuning_accept(c, request.argument);
    case Command::reject_auto_tune:
      return tuning_reject(c);
    case Command::shut_down:
      return shut_down(c);
    case Command::open_programme:
      return open_for_editing(c, request.argument);
    case Command::close_programme:
      if (c.writer.programmes.open < 0) return Refusal::wrong_state;
      close_programme(c.writer.programmes);
      return Refusal::accepted;
    case Command::edit_running:
      return edit_running(c, request.argument, request.value == 1.0f);
    case Command::force_output:
      return force_output(c, request.argument, request.value);
    case Command::release_outputs:
      return release_outputs(c, ForcedEnd::operator_released);
    case Command::zero_pressure:
      return zero_pressure(c, request.value);
    case Command::start_at_value:
      return start_programme(c, true);
    default:
      return carry_out_alarm(c, request);
  }
}

// --- Reading -----------------------------------------------------------------------------------------------------------

// Registers one after the other, as the tables place them.
struct Writer {
  std::uint16_t* at;
  void u16(std::uint32_t value) { *at++ = static_cast<std::uint16_t>(value); }
  void u32(std::uint32_t value) {
    u16(value >> 16);
    u16(value & 0xFFFFu);
  }
  void f32(float value) {
    put_register_float(value, std::span<std::uint16_t, 2>(at, 2));
    at += 2;
  }
};

float heat_setpoint_degc(const Controller& c, int zone) {
  return c.run.heat_wanted && programme_active(c.run) ? c.zones.setpoint_degc[zone] : c.inputs.zone_degc[zone];
}

void monitor_programme(const Controller& c, Writer& w) {
  const bool segment = programme_segment(c.run) != nullptr;
  w.u16(static_cast<std::uint16_t>(c.run.state));
  w.u16(segment ? c.run.segment : no_segment);
  w.u16(static_cast<std::uint16_t>(c.journal.programme));
  const bool soak = segment && programme_segment(c.run)->kind == SegmentKind::soak;
  w.f32(soak ? static_cast<float>(c.run.counted_ms) * 0.001f : 0.0f);
  w.f32(segment ? static_cast<float>(c.run.elapsed_ms) * 0.001f : 0.0f);
  w.u16(static_cast<std::uint16_t>(c.atmosphere.phase));
  w.f32(c.atmosphere.pressure_rise_pa_min);
  w.f32(atmosphere_volume_changes(c.atmosphere, c.parameters));
}

void monitor_safety(const Controller& c, Writer& w) {
  const AlarmSet active = alarms_told(c.alarms);
  const int low = alarms_count(active, AlarmPriority::low), medium = alarms_count(active, AlarmPriority::medium);
  const int high = alarms_count(active, AlarmPriority::high);
  w.u16(static_cast<std::uint32_t>(low + medium + high));
  w.u16(static_cast<std::uint32_t>(low));
  w.u16(static_cast<std::uint32_t>(medium));
  w.u16(static_cast<std::uint32_t>(high));
  w.u32(static_cast<std::uint32_t>(active));
  w.u32(static_cast<std::uint32_t>(c.alarms.unacknowledged));
  w.u16(heat_permissive(c.interlocks, c.parameters, c.inputs, c.atmosphere) ? 1 : 0);
  w.u16(c.interlocks.first_out);
  w.u16(c.interlocks.inhibit);
  w.u16(static_cast<std::uint16_t>(c.outputs.safe_row));
  w.u16(c.outputs.coils);
  w.u16(c.inputs.discrete);
  w.u32(c.station.errors);
  w.u16(c.latch.line != 0 ? 1 : 0);
  w.u16(static_cast<std::uint16_t>(c.supervisory.result));
  w.u16(c.supervisory.count);
}

void monitor_values(const Controller& c, Writer& w) {
  w.f32(c.inputs.load_degc);
  w.f32(c.inputs.chamber_pa);
  w.f32(c.demand.setpoint_pa);
  w.f32(c.outputs.valve_frac);
  w.f32(c.inputs.flow_slm);
  w.f32(c.flow.setpoint_slm);
  w.f32((c.outputs.flow_ma[0] - 4.0f) * (1.0f / 16.0f));
  w.f32(totaliser_sl(c.totaliser));
  w.f32(c.inputs.vacuum_pa);
  w.f32(c.inputs.oxygen_ppm);
  w.f32(c.inputs.dew_point_degc);
  w.u32(static_cast<std::uint32_t>(alarms_told(c.alarms) >> 32));
  w.u32(static_cast<std::uint32_t>(c.alarms.unacknowledged >> 32));
  w.f32(c.run.heat_wanted && programme_active(c.run) ? c.run.setpoint_degc : c.inputs.load_degc);
  w.u16(static_cast<std::uint16_t>(c.tune.state));
  w.f32(c.tune.ultimate_gain);
  w.f32(c.tune.ultimate_period_s);
  w.u16(static_cast<std::uint16_t>(combustible_state(c.atmosphere.combustible, c.atmosphere.gas_wait_ms != 0)));
  w.f32(combustible_volume_changes(c.atmosphere.combustible, c.parameters));
  w.u16(static_cast<std::uint16_t>(pressure_in_charge(c.outputs)));
  w.u32(static_cast<std::uint32_t>(alarms_withheld(c.alarms)));
  w.u32(static_cast<std::uint32_t>(alarms_withheld(c.alarms) >> 32));
  for (int z = 0; z < zone_count_max; ++z) {
    w.f32(c.inputs.zone_degc[z]);
    w.f32(heat_setpoint_degc(c, z));
    w.f32(c.outputs.demand_frac[z]);
  }
}

void read_monitor(const Controller& c, std::uint16_t* registers) {
  Writer w{registers};
  w.u32(c.tick);
  monitor_programme(c, w);
  monitor_safety(c, w);
  monitor_values(c, w);
}

void read_command(const Controller& c, std::uint16_t* registers) {
  Writer w{registers};
  w.u16(c.supervisory.request.code);
  w.u16(c.supervisory.request.argument);
  w.f32(c.supervisory.request.value);
}

void read_setpoints(const Controller& c, std::uint16_t* registers) {
  Writer w{registers};
  w.f32(c.run.setpoint_degc);
  w.f32(c.run.back_pressure_pa);
  w.f32(c.run.flow_slm);
}

void read_window(const Controller& c, std::uint16_t* registers) {
  const ProgrammeWindow& window = c.supervisory.window;
  const Segment& s = window.segment;
  Writer w{registers};
  w.u16(window.programme);
  w.u16(static_cast<std::uint16_t>(s.kind));
  w.u16(static_cast<std::uint16_t>(s.gas));
  w.u16(s.gain_set);
  w.u16(s.options);
  w.f32(s.target);
  w.f32(s.rate);
  w.u32(s.duration_ms);
  w.f32(s.tolerance_k);
  w.f32(s.flow_slm);
  w.f32(s.back_pressure_pa);
  w.f32(s.amount);
  w.u16(s.count);
  w.u16(s.jump);
  w.u32(s.timeout_ms);
  for (std::size_t i = 0; i < sizeof window.title; i += 2) {
    const auto high = static_cast<std::uint8_t>(window.title[i]), low = static_cast<std::uint8_t>(window.title[i + 1]);
    w.u16((static_cast<std::uint32_t>(high) << 8) | low);
  }
  w.f32(s.power_limit);
  w.f32(s.feed_forward);
  w.u16(window.programme < programme_count ? c.programmes.entries[window.programme].segments : 0);
}

void read_tune(const Controller& c, std::uint16_t* registers) {
  const AutoTune& tune = c.tune;
  Writer w{registers};
  w.u16(static_cast<std::uint16_t>(tune.end));
  w.u16(static_cast<std::uint16_t>(tune.refusal));
  w.u16(tune.loop);
  w.u16(static_cast<std::uint16_t>(tune.rule));
  w.u16(static_cast<std::uint16_t>(tune.cycles));
  w.f32(tune.bias);
  w.f32(tune.amplitude);
  w.f32(tune.hysteresis);
  w.f32(tune.found_swing);
  w.f32(tune.gains.gain);
  w.f32(tune.gains.integral_s);
  w.f32(tune.gains.derivative_s);
  w.u32(tune.elapsed_ms);
}

void read_alarm_states(const Controller& c, std::uint16_t* registers) {
  for (int n = 0; n < alarm_places; ++n) registers[n] = static_cast<std::uint16_t>(alarm_state(c.alarms, n));
}

void read_alarm_shelf(const Controller& c, std::uint16_t* registers) {
  for (int n = 0; n < alarm_places; ++n) {
    const bool shelved = ((c.alarms.shelved >> n) & 1u) != 0;
    const std::uint32_t left_s = shelved ? (c.alarms.shelved_ms[n] + 999u) / 1000u : 0u;
    registers[n] = static_cast<std::uint16_t>(left_s > 65535u ? 65535u : left_s);
  }
}

void read_rows(const Controller& c, std::uint16_t* registers) {
  Writer w{registers};
  for (const RowSet rows : {c.interlocks.standing, c.interlocks.latched}) {
    w.u32(static_cast<std::uint32_t>(rows >> 32));
    w.u32(static_cast<std::uint32_t>(rows));
  }
  w.u32(c.detections.found);
  w.u32(c.detections.late_ticks);
  w.u32(c.detections.clock_jumps);
}

void read_commissioning(const Controller& c, std::uint16_t* registers) {
  Writer w{registers};
  const Commissioning& k = c.commissioning;
  w.u32(k.forced);
  w.f32(static_cast<float>(k.left_ms) * 0.001f);
  w.f32(static_cast<float>(k.vented_ms) * 0.001f);
  for (int output = 0; output < forced_outputs; ++output) w.f32((k.forced >> output & 1u) != 0 ? k.value[output] : 0.0f);
}

struct Block {
  std::uint16_t first, count;
};
constexpr Block command_block{command_address, command_registers}, setpoint_block{setpoint_address, setpoint_registers},
    window_block{programme_window_address, window_registers}, tune_block{tune_address, tune_registers},
    history_block{history_address, history_registers};

constexpr Block alarm_states{alarm_state_address, alarm_places}, alarm_shelf{alarm_shelf_address, alarm_places},
    row_block{row_address, row_registers}, commissioning_block{commissioning_address, 6 + 2 * forced_outputs};

bool inside(const Block& block, std::uint32_t address, std::uint32_t count) {
  return address >= block.first && address + count <= static_cast<std::uint32_t>(block.first) + block.count;
}

Block monitor_block() {
  static_assert(zone_count_max == 4);
  return {0, monitor_registers(zone_count_max)};
}

Block parameter_block() {
  return {parameter_address, static_cast<std::uint16_t>(2 * parameter_table().size())};
}

void read_parameters(const Controller& c, std::uint32_t address, std::uint32_t count, std::uint16_t* registers) {
  const auto table = parameter_table();
  for (std::uint32_t i = 0; i < count; ++i) {
    const std::uint32_t at = address + i - parameter_address;
    const std::uint32_t bits = parameter_bits(c.parameters, table[at / 2]);
    registers[i] = static_cast<std::uint16_t>(at % 2 == 0 ? bits >> 16 : bits);
  }
}

using ReadBlock = std::uint16_t[128];

// Every range lies within one block.
ModbusException read_registers(const Controller& c, std::uint32_t address, std::uint32_t count, std::uint16_t* registers) {
  ReadBlock block;
  std::uint32_t first = 0;
  if (inside(monitor_block(), address, count)) {
    read_monitor(c, block);
  } else if (inside(parameter_block(), address, count)) {
    read_parameters(c, address, count, registers);
    return ModbusException::none;
  } else if (inside(history_block, address, count)) {
    for (std::uint32_t i = 0; i < count; ++i) registers[i] = history_register(c, static_cast<std::uint16_t>(address + i));
    return ModbusException::none;
  } else if (inside(command_block, address, count)) {
    read_command(c, block);
    first = command_address;
  } else if (inside(setpoint_block, address, count)) {
    read_setpoints(c, block);
    first = setpoint_address;
  } else if (inside(window_block, address, count)) {
    read_window(c, block);
    first = programme_window_address;
  } else if (inside(tune_block, address, count)) {
    read_tune(c, block);
    first = tune_address;
  } else if (inside(alarm_states, address, count)) {
    read_alarm_states(c, block);
    first = alarm_state_address;
  } else if (inside(alarm_shelf, address, count)) {
    read_alarm_shelf(c, block);
    first = alarm_shelf_address;
  } else if (inside(row_block, address, count)) {
    read_rows(c, block);
    first = row_address;
  } else if (inside(commissioning_block, address, count)) {
    read_commissioning(c, block);
    first = commissioning_address;
  } else {
    return ModbusException::illegal_address;
  }
  std::memcpy(registers, block + (address - first), count * sizeof(std::uint16_t));
  return ModbusException::none;
}

// --- Writing -----------------------------------------------------------------------------------------------------------

std::uint32_t bits_at(const std::uint16_t* values) { return register_u32(values[0], values[1]); }

// One request is served in a step and the step before it has carried out what waited: nothing is ever overwritten.
ModbusException ask(Controller& c, const CommandRequest& request) {
  c.supervisory.request = request;
  c.supervisory.pending = request.code != 0;
  return ModbusException::none;
}

// A value takes both of its registers in one request, or it would stand half-written in between.
ModbusException write_command(Controller& c, std::uint32_t address, std::uint32_t count, const std::uint16_t* values) {
  CommandRequest request = c.supervisory.request;
  const std::uint32_t first = address - command_address, end = first + count;
  if (first == 3 || end == 3) return ModbusException::illegal_value;
  if (first == 0) request.code = values[0];
  if (first <= 1 && end > 1) request.argument = values[1 - first];
  if (end == 4) request.value = register_float(values[2 - first], values[3 - first]);
  if (!std::isfinite(request.value)) return ModbusException::illegal_value;
  if (first == 0) return ask(c, request);
  c.supervisory.request.argument = request.argument;
  c.supervisory.request.value = request.value;
  return ModbusException::none;
}

ModbusException write_setpoint(Controller& c, std::uint32_t address, std::uint32_t count, const std::uint16_t* values) {
  const std::uint32_t first = address - setpoint_address;
  const float value = register_float(values[0], count > 1 ? values[1] : std::uint16_t{0});
  if (count != 2 || first % 2 != 0 || !std::isfinite(value)) return ModbusException::illegal_value;
  return ask(c, {static_cast<std::uint16_t>(Command::change_setpoint), static_cast<std::uint16_t>(first / 2), value});
}

ModbusException write_window(Controller& c, std::uint32_t address, std::uint32_t count, const std::uint16_t* values) {
  std::uint16_t r[window_registers];
  const std::uint32_t first = address - programme_window_address;
  if (first + count > window_writable) return ModbusException::illegal_address;
  read_window(c, r);
  std::memcpy(r + first, values, count * sizeof(std::uint16_t));
  if (r[0] >= programme_count || r[1] > 255 || r[2] > 255 || r[3] > 255 || r[4] > 255) return ModbusException::illegal_value;
  ProgrammeWindow& window = c.supervisory.window;
  Segment& s = window.segment;
  window.programme = r[0];
  s.kind = static_cast<SegmentKind>(r[1]);
  s.gas = static_cast<Gas>(r[2]);
  s.gain_set = static_cast<std::uint8_t>(r[3]);
  s.options = static_cast<std::uint8_t>(r[4]);
  s.target = register_float(r[5], r[6]);
  s.rate = register_float(r[7], r[8]);
  s.duration_ms = bits_at(r + 9);
  s.tolerance_k = register_float(r[11], r[12]);
  s.flow_slm = register_float(r[13], r[14]);
  s.back_pressure_pa = register_float(r[15], r[16]);
  s.amount = register_float(r[17], r[18]);
  s.count = r[19];
  s.jump = r[20];
  s.timeout_ms = bits_at(r + 21);
  s.power_limit = register_float(r[35], r[36]);
  s.feed_forward = register_float(r[37], r[38]);
  for (std::uint16_t i = 0; i < 12; ++i) {
    window.title[2 * i] = static_cast<char>(r[window_title + i] >> 8);
    window.title[2 * i + 1] = static_cast<char>(r[window_title + i] & 0xFF);
  }
  return ModbusException::none;
}

// Nothing is written unless all of it may be.
ModbusException write_parameters(Controller& c, std::uint32_t address, std::uint32_t count, const std::uint16_t* values) {
  const auto table = parameter_table();
  const std::uint32_t first = address - parameter_address;
  if (first % 2 != 0 || count % 2 != 0) return ModbusException::illegal_value;
  for (std::uint32_t i = 0; i < count; i += 2) {
    const ParameterInfo& info = table[(first + i) / 2];
    if (!parameter_accepts(info, bits_at(values + i))) return ModbusException::illegal_value;
    const AccessAnswer answer = may_write(c, info);
    if (answer == AccessAnswer::not_now) return ModbusException::device_busy;
    if (answer == AccessAnswer::key_missing) return ModbusException::illegal_function;
  }
  Parameters changed = c.parameters;
  for (std::uint32_t i = 0; i < count; i += 2) set_parameter_bits(changed, table[(first + i) / 2], bits_at(values + i));
  if (!parameters_agree(changed)) return ModbusException::illegal_value;
  history_operator(c);
  for (std::uint32_t i = 0; i < count; i += 2) {
    const ParameterInfo& info = table[(first + i) / 2];
    const std::uint32_t before = parameter_bits(c.parameters, info), after = bits_at(values + i);
    history_log(c, EventKind::parameter, static_cast<std::uint16_t>((first + i) / 2), before, after);
    set_parameter_bits(c.parameters, info, after);
    keep_parameter(c.writer, info);
  }
  history_parameters_changed(c);
  return ModbusException::none;
}

ModbusException write_history(Controller& c, std::uint32_t address, std::uint32_t count, const std::uint16_t* values) {
  if (count != 2) return ModbusException::illegal_value;
  return history_move_window(c, static_cast<std::uint16_t>(address), bits_at(values)) ? ModbusException::none
                                                                                      : ModbusException::illegal_address;
}

ModbusException write_registers(Controller& c, std::uint32_t address, std::uint32_t count, const std::uint16_t* values) {
  if (inside(command_block, address, count)) return write_command(c, address, count, values);
  if (inside(setpoint_block, address, count)) return write_setpoint(c, address, count, values);
  if (inside(window_block, address, count)) return write_window(c, address, count, values);
  if (inside(parameter_block(), address, count)) return write_parameters(c, address, count, values);
  if (inside(history_block, address, count)) return write_history(c, address, count, values);
  return ModbusException::illegal_address;
}

bool readable(std::uint32_t address, std::uint32_t count) {
  return inside(monitor_block(), address, count) || inside(parameter_block(), address, count) ||
         inside(command_block, address, count) || inside(setpoint_block, address, count) ||
         inside(window_block, address, count) || inside(tune_block, address, count) ||
         inside(history_block, address, count) || inside(alarm_states, address, count) ||
         inside(alarm_shelf, address, count) || inside(row_block, address, count) || inside(commissioning_block, address, count);
}

}  // namespace

void supervisory_command(Controller& c) {
  if (!c.supervisory.pending) return;
  c.supervisory.pending = false;
  const CommandRequest request = c.supervisory.request;
  c.supervisory.result = carry_out(c, request);
  const auto result = static_cast<std::uint32_t>(c.supervisory.result);
  if (c.supervisory.result == Refusal::accepted) history_operator(c);
  std::uint32_t value_bits = 0;
  std::memcpy(&value_bits, &request.value, sizeof value_bits);
  if (request.code != static_cast<std::uint16_t>(Command::read_segment))
    history_log(c, EventKind::command, request.code, result << 16 | request.argument, value_bits);
  ++c.supervisory.count;
}

std::size_t supervisory_serve(Controller& c, std::uint64_t now_us, std::span<std::uint8_t> buffer) {
  ModbusFrame frame;
  if (!modbus_next_request(c.supervisory.receiver, 1, now_us, frame)) return 0;
  ModbusRequest request = modbus_parse(frame);
  // With another request behind it, its sender has given it up: only a write still counts, or every later answer would lag.
  ModbusReceiver& receiver = c.supervisory.receiver;
  modbus_drop_repeats(receiver, frame);
  while (request.write_count == 0 && receiver.size != 0 && modbus_next_request(receiver, 1, now_us, frame)) request = modbus_parse(frame);
  std::uint16_t registers[modbus_read_max];
  // FC 23: both ranges are looked at before anything is written, then write comes before read.
  if (request.error == ModbusException::none && request.read_count > 0 &&
      !readable(request.read_address, request.read_count)) {
    request.error = ModbusException::illegal_address;
  }
  if (request.error == ModbusException::none && request.write_count > 0) {
    request.error = write_registers(c, request.write_address, request.write_count, request.values);
  }
  if (request.error == ModbusException::none && request.read_count > 0) {
    request.error = read_registers(c, request.read_address, request.read_count, registers);
  }
  return modbus_reply(request, std::span<const std::uint16_t>(registers, request.read_count), buffer);
}

}  // namespace fw
