#include "plant/field_bus.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <string>

#include "plant/modbus.h"

namespace plant {

namespace {

// Places in the output block, registers from station_output_address.
constexpr int out_sequence = 0, out_coils = 1, out_row = 2, out_gas = 3, out_demand = 4, out_meter = 12, out_valve = 16;
constexpr int gas_selections = 6;

enum Coil : std::uint16_t {
  coil_contactor = 1 << 0,
  coil_process = 1 << 1,
  coil_purge_shut = 1 << 2,
  coil_exhaust_shut = 1 << 3,
  coil_bypass = 1 << 4,
  coil_air = 1 << 5,
  coil_pump = 1 << 6,
  coil_isolation = 1 << 7,
  coil_vent_shut = 1 << 8,
  coil_pilot = 1 << 9,
  coil_horn = 1 << 10,
  coil_door_release = 1 << 11
};

// The safe rows of the design: heat off, contactor open, pump isolated in every one; here what differs. Normal positions
// (no coil): purge and exhaust open. The back-pressure valve stands open in all of them.
struct SafeRow { bool purge_open, exhaust_open, bypass_open, pilot; };
constexpr std::array<SafeRow, safe_rows + 1> safe_row_table{{
    {true, true, false, false},    // 0: none commanded, as without power
    {false, true, false, false},   // 1 air: gas shut
    {true, true, false, false},    // 2 inert: purge keeps air out of a cooling retort
    {true, true, false, true},     // 3 combustible: the same, what leaves is burnt
    {true, true, false, false},    // 4 vacuum: inert gas, not air, fills it
    {false, true, true, false},    // 5 over-pressure: inlets shut, bypass open
}};

float block_f32(std::span<const std::uint16_t> block, int place) {
  const std::uint32_t high = block[static_cast<std::size_t>(place)], low = block[static_cast<std::size_t>(place) + 1];
  return std::bit_cast<float>(high << 16 | low);
}

bool block_is_valid(std::span<const std::uint16_t> block) {
  for (int place = out_demand; place < station_output_registers; place += 2) {
    if (!std::isfinite(block_f32(block, place))) return false;
  }
  return block[out_row] <= safe_rows && block[out_gas] < gas_selections;
}

double loop_frac(float ma) { return std::clamp((static_cast<double>(ma) - 4.0) / 16.0, 0.0, 1.0); }
double frac(float value) { return std::clamp(static_cast<double>(value), 0.0, 1.0); }

Commands commands_of(std::span<const std::uint16_t> block) {
  Commands commands;
  const std::uint16_t coils = block[out_coils];
  const auto energised = [coils](Coil coil) { return (coils & coil) != 0; };
  commands.contactor = energised(coil_contactor);
  commands.process_open = energised(coil_process);
  commands.purge_open = !energised(coil_purge_shut);
  commands.exhaust_open = !energised(coil_exhaust_shut);
  commands.bypass_open = energised(coil_bypass);
  commands.air_open = energised(coil_air);
  commands.pump_run = energised(coil_pump);
  commands.isolation_open = energised(coil_isolation);
  commands.inlet_vent_open = !energised(coil_vent_shut);
  commands.pilot = energised(coil_pilot);
  commands.horn = energised(coil_horn);
  commands.door_release = energised(coil_door_release);
  commands.safe_row = block[out_row];
  commands.gas = block[out_gas];
  for (int zone = 0; zone < zones_max; ++zone) {
    commands.demand[static_cast<std::size_t>(zone)] = frac(block_f32(block, out_demand + 2 * zone));
  }
  for (int meter = 0; meter < 2; ++meter) {
    commands.meter_set[static_cast<std::size_t>(meter)] = loop_frac(block_f32(block, out_meter + 2 * meter));
  }
  commands.valve_frac = frac(block_f32(block, out_valve));
  return commands;
}

std::uint16_t discrete_inputs(const ProcessValues& process) {
  const std::array<bool, 15> inputs{process.door_closed,     process.emergency_stop_healthy, process.contactor_closed,
                                    process.pump_at_speed,   process.exhaust_open,           process.isolation_open,
                                    process.supply_present,  process.over_pressure,          process.limiter_healthy,
                                    process.key_commissioning, process.bypass_open,          process.air_open,
                                    process.process_open,    process.purge_open,             process.burn_off_proven};
  unsigned bits = 0;
  for (std::size_t i = 0; i < inputs.size(); ++i) bits |= static_cast<unsigned>(inputs[i]) << i;
  return static_cast<std::uint16_t>(bits);
}

std::uint16_t station_status(const StationState& state) {
  return static_cast<std::uint16_t>((state.watchdog_acted ? 1u : 0u) | static_cast<unsigned>(state.imposed_row) << 8);
}

// Limits, then the nearest multiple of the quantum, ties to even: adding and taking away 1.5 * 2^52 rounds without a call.
double digitised(const StationModel& model, std::size_t c, double raw) {
  constexpr double to_integer = 0x1.8p52;
  const double bounded = raw < model.low[c] ? model.low[c] : (raw > model.high[c] ? model.high[c] : raw);
  return (bounded * model.per_quantum[c] + to_integer - to_integer) * model.quantum[c];
}

// Every channel sound and every value finite: nothing but arithmetic, the same as latch_channel does one by one.
bool latch_is_plain(const StationState& state, const ProcessValues& process, const Disturbances& disturbances) {
  double not_finite = (process.oxygen_cell_degc + process.cell_pa + process.barometer_pa) * 0.0;   // what convert reads besides
  for (const double value : state.lagged) not_finite += value * 0.0;   // NaN as soon as one is not finite
  return !disturbances.any_channel && (state.stuck | state.slow) == 0 && not_finite == 0.0;
}

// Raw values and status bits of all channels.
struct RawReadings {
  std::array<double, channel_count> raw;
  std::uint32_t broken = 0;
};

void latch_plain(const StationModel& model, const StationState& state, const ProcessValues& process, RawReadings& readings) {
  auto& raw = readings.raw;
  for (std::size_t c = 0; c < channel_count; ++c) raw[c] = model.offset[c] + model.scale[c] * state.lagged[c];
  for (int i = 0; i < model.curved_count; ++i) {
    const int channel = model.curved[static_cast<std::size_t>(i)];
    const auto c = static_cast<std::size_t>(channel);
    const RawReading reading = convert(model.settings.instruments, channel, state.lagged[c], process);
    raw[c] = reading.raw;
    readings.broken |= std::uint32_t{reading.broken} << channel;
  }
  for (std::size_t c = 0; c < channel_count; ++c) {
    raw[c] = digitised(model, c, raw[c] + model.noise[c] * state.noise[c].normal(state.sample));
  }
}

// The station's register file as one exchange sees it.
struct Registers {
  const StationModel& model;
  StationState& state;
  const ProcessValues& process;
  const Disturbances& disturbances;
  std::uint16_t status;

  static bool within(std::uint16_t address, std::uint16_t count, std::uint16_t first, std::uint16_t size) {
    return address >= first && address - first + count <= size;
  }
  static bool in_output(std::uint16_t address, std::uint16_t count) {
    return within(address, count, station_output_address, station_output_registers);
  }
  bool can_read(std::uint16_t address, std::uint16_t count) const {
    return within(address, count, station_input_address, station_input_registers) || in_output(address, count);
  }
  bool can_write(std::uint16_t address, std::uint16_t count) const { return in_output(address, count); }

  modbus::Exception write(std::uint16_t address, std::span<const std::uint8_t> big_endian) {
    auto block = state.output;
    for (std::size_t i = 0; i < big_endian.size() / 2; ++i) {
      block[static_cast<std::size_t>(address - station_output_address) + i] = modbus::get_u16(&big_endian[2 * i]);
    }
    if (!block_is_valid(block)) return modbus::illegal_value;
    state.output = block;
    state.commands = commands_of(block);
    if (block[out_row] != 0 && block[out_row] != safe_rows) state.atmosphere_row = static_cast<std::uint8_t>(block[out_row]);
    state.silent_ns = 0;
    state.imposed_ns = 0;
    state.imposed_row = 0;
    state.watchdog_acted = false;
    return modbus::none;
  }

  void read(std::uint16_t address, std::span<std::uint8_t> big_endian) {
    if (in_output(address, 1)) {
      for (std::size_t i = 0; i < big_endian.size() / 2; ++i) {
        modbus::put_u16(&big_endian[2 * i], state.output[static_cast<std::size_t>(address - station_output_address) + i]);
      }
      return;
    }
    std::array<std::uint8_t, 2 * station_input_registers> block;
    latch(block);
    std::copy_n(block.begin() + 2 * address, big_endian.size(), big_endian.begin());
  }

  void latch(std::array<std::uint8_t, 2 * station_input_registers>& block) {
    RawReadings readings;
    if (latch_is_plain(state, process, disturbances)) {
      latch_plain(model, state, process, readings);
    } else {
      for (int c = 0; c < channel_count; ++c) {
        const RawReading reading = latch_channel(model, state, process, disturbances, c);
        readings.raw[static_cast<std::size_t>(c)] = reading.raw;
        readings.broken |= std::uint32_t{reading.broken} << c;
      }
    }
    for (std::size_t c = 0; c < channel_count; ++c) modbus::put_f32(&block[2 * (6 + 2 * c)], static_cast<float>(readings.raw[c]));
    modbus::put_u16(&block[0], state.output[out_sequence]);
    modbus::put_u16(&block[2], static_cast<std::uint16_t>(readings.broken & 0xFFFF));
    modbus::put_u16(&block[4], static_cast<std::uint16_t>(readings.broken >> 16));
    modbus::put_u16(&block[6], discrete_inputs(process));
    modbus::put_u16(&block[8], status);
    modbus::put_u16(&block[10], station_map_version);
    if (disturbances.any_station) disturb(block, disturbances.station);
  }

  void disturb(std::array<std::uint8_t, 2 * station_input_registers>& block, const StationFault& fault) {
    const bool freezes = fault.answers_frozen || fault.inputs_frozen;
    if (freezes && !state.frozen) state.frozen_inputs = block;
    state.frozen = freezes;
    constexpr std::size_t behind_sequence = 2;
    if (freezes) std::copy(state.frozen_inputs.begin() + (fault.answers_frozen ? 0 : behind_sequence), state.frozen_inputs.end(),
                           block.begin() + (fault.answers_frozen ? 0 : behind_sequence));
    const unsigned inputs = (modbus::get_u16(&block[6]) | fault.inputs_on) & ~static_cast<unsigned>(fault.inputs_off);
    modbus::put_u16(&block[6], static_cast<std::uint16_t>(inputs));
    if (fault.map_version >= 0) modbus::put_u16(&block[10], static_cast<std::uint16_t>(fault.map_version));
  }
};

void copy_output(const Commands& from, Commands& to, int number) {
  constexpr bool Commands::* coils[] = {&Commands::contactor, &Commands::process_open, &Commands::purge_open, &Commands::exhaust_open,
                                        &Commands::bypass_open, &Commands::air_open, &Commands::pump_run, &Commands::isolation_open,
                                        &Commands::inlet_vent_open, &Commands::pilot, &Commands::horn};
  const auto index = [number](int first) { return static_cast<std::size_t>(number - first); };
  if (number < output::gas) to.*coils[number] = from.*coils[number];
  else if (number == output::gas) to.gas = from.gas;
  else if (number < output::flow_1) to.demand[index(output::demand_1)] = from.demand[index(output::demand_1)];
  else if (number < output::valve) to.meter_set[index(output::flow_1)] = from.meter_set[index(output::flow_1)];
  else to.valve_frac = from.valve_frac;
}

// An output that has just failed keeps what it had.
void hold_outputs(StationState& state, std::uint32_t dead) {
  for (std::uint32_t left = dead & ~state.outputs_held; left != 0; left &= left - 1)
    copy_output(state.commands, state.held_commands, std::countr_zero(left));
  state.outputs_held = dead;
}

// A station that refuses whatever it is asked.
std::size_t refuse(std::span<const std::uint8_t> request, std::uint8_t exception, std::span<std::uint8_t> answer) {
  const modbus::ServerRequest asked = modbus::parse_request(request, station_unit);
  if (asked.kind == modbus::ServerRequest::Kind::silent || asked.broadcast) return 0;
  return modbus::encode_exception(station_unit, asked.function, static_cast<modbus::Exception>(exception), answer);
}

// Imposes the row: the pump is isolated at once and stopped a little later, so that no air passes the closing isolation valve.
void impose(const StationSettings& settings, StationState& state) {
  Commands safe = state.imposed_row == 0 ? unpowered_commands() : safe_row_commands(state.imposed_row);
  if (state.imposed_row != 0) safe.gas = state.commands.gas;   // the selector stays: the purge is to flow the same gas
  constexpr std::uint8_t combustible_row = 3;
  if (state.atmosphere_row == combustible_row) safe.pilot = true;   // over-pressure too leaves through the burn-off
  if (state.pump_was_running && state.imposed_ns < settings.pump_stop_ns) {
    safe.pump_run = true;
    safe.inlet_vent_open = false;
  }
  state.commands = safe;
}

void watch(const StationSettings& settings, StationState& state, const ProcessValues& process, std::int64_t period_ns) {
  state.silent_ns += period_ns;
  if (state.silent_ns < settings.watchdog_ns) return;
  if (!state.watchdog_acted) {
    state.watchdog_acted = true;
    state.imposed_ns = 0;
    state.imposed_row = static_cast<std::uint8_t>(state.output[out_row]);
    state.pump_was_running = state.commands.pump_run;
  } else {
    state.imposed_ns += period_ns;
  }
  const bool relieved = process.retort_pa - process.barometer_pa < settings.release_pa;
  if (state.imposed_row == safe_rows && relieved) state.imposed_row = state.atmosphere_row == 0 ? 2 : state.atmosphere_row;
  impose(settings, state);
}

}  // namespace

StationModel build_station(const StationSettings& settings) {
  check_instruments(settings.instruments);
  StationModel model;
  model.settings = settings;
  for (std::size_t c = 0; c < channel_count; ++c) {
    const ChannelSettings& at = settings.instruments.channel[c];
    const RawReading bridged = convert(settings.instruments, static_cast<int>(c), 0.0, ProcessValues{});
    const bool linear = at.kind == SignalKind::current_loop || at.kind == SignalKind::voltage;
    const LinearScale line = !at.fitted ? LinearScale{bridged.raw, 0.0} : (linear ? linear_scale(at) : LinearScale{0.0, 0.0});
    model.offset[c] = line.offset;
    model.scale[c] = line.scale;
    model.noise[c] = at.fitted ? at.noise : 0.0;
    model.low[c] = raw_limits(at.kind).low;
    model.high[c] = raw_limits(at.kind).high;
    model.quantum[c] = at.fitted && at.quantum > 0.0 ? at.quantum : 0x1p-30;
    model.per_quantum[c] = 1.0 / model.quantum[c];
    if (at.fitted && !linear) model.curved[static_cast<std::size_t>(model.curved_count++)] = static_cast<std::int8_t>(c);
  }
  return model;
}

StationState initial_station(const StationModel& model, const ProcessValues& process, std::uint64_t seed) {
  StationState state;
  state.commands = unpowered_commands();
  state.lagged = instrument_inputs(model.settings.instruments, process);
  for (std::size_t c = 0; c < state.noise.size(); ++c) {
    state.noise[c] = RandomStream(seed, "station.channel." + std::to_string(c));
    state.fault_noise[c] = RandomStream(seed, "station.channel.fault." + std::to_string(c));
  }
  return state;
}

Commands unpowered_commands() { return safe_row_commands(0); }

Commands safe_row_commands(int row) {
  const SafeRow& safe = safe_row_table[static_cast<std::size_t>(std::clamp(row, 0, safe_rows))];
  Commands commands;
  commands.safe_row = std::clamp(row, 0, safe_rows);
  commands.purge_open = safe.purge_open;
  commands.exhaust_open = safe.exhaust_open;
  commands.bypass_open = safe.bypass_open;
  commands.pilot = safe.pilot;
  commands.valve_frac = 1.0;
  return commands;
}

std::size_t answer(const StationModel& model, StationState& state, const ProcessValues& process,
                   const Disturbances& disturbances, std::span<const std::uint8_t> request, std::span<std::uint8_t> answer) {
  state.frozen = state.frozen && disturbances.any_station;
  state.outputs_held = disturbances.any_station ? state.outputs_held : 0;
  if (disturbances.any_station) {
    const StationFault& fault = disturbances.station;
    hold_outputs(state, fault.outputs_dead);
    if (fault.down) return 0;
    if (fault.exception != 0) return refuse(request, fault.exception, answer);
  }
  // The status is that of the boundary: the answer to the exchange that ends a silence still says what the watchdog did.
  Registers registers{model, state, process, disturbances, station_status(state)};
  return modbus::serve(station_unit, registers, request, answer);
}

void disturb(StationState& state, const StationFault& fault) {
  hold_outputs(state, fault.outputs_dead);
  if (fault.watchdog_dead && !state.watchdog_acted) state.silent_ns = 0;
  if (!fault.down) return;
  state.commands = unpowered_commands();
  state.output = {};
  state.silent_ns = state.imposed_ns = 0;
  state.imposed_row = state.atmosphere_row = 0;
  state.watchdog_acted = state.pump_was_running = false;
}

Commands with_held_outputs(const StationState& state, Commands commands) {
  for (std::uint32_t left = state.outputs_held; left != 0; left &= left - 1)
    copy_output(state.held_commands, commands, std::countr_zero(left));
  return commands;
}

void advance(const StationModel& model, StationState& state, const ProcessValues& process, double period_s) {
  if (state.gain_period_s != period_s) {   // exact for a process value held over the period
    for (std::size_t c = 0; c < state.gain.size(); ++c) {
      const double lag_s = model.settings.instruments.channel[c].lag_s;
      state.gain[c] = lag_s > 0.0 ? -std::expm1(-period_s / lag_s) : 1.0;
    }
    state.gain_period_s = period_s;
    state.gain_period_ns = std::llround(period_s * 1e9);
  }
  const auto inputs = instrument_inputs(model.settings.instruments, process);
  for (std::size_t c = 0; c < inputs.size(); ++c) state.lagged[c] += state.gain[c] * (inputs[c] - state.lagged[c]);
  ++state.sample;
  watch(model.settings, state, process, state.gain_period_ns);
}

namespace {

// What faults of the wiring and the amplifier make of a signal.
RawReading spoilt(SignalKind kind, const ChannelFault& fault, RawReading reading) {
  const double zero = kind == SignalKind::current_loop ? 4.0 : 0.0;
  if (fault.gain != 1.0) reading.raw = zero + fault.gain * (reading.raw - zero);
  if (fault.swapped && kind != SignalKind::pt100) reading.raw = -reading.raw;
  return reading;
}

// What a channel's instrument stands in, as faults have it; noise of theirs by the sample, so that asking twice gives the same.
double disturbed_value(const StationState& state, const ChannelFault& fault, std::size_t c) {
  const double value = (state.slow >> c & 1u) != 0 ? state.slowed[c] : state.lagged[c];
  const double noise = fault.variance > 0.0 ? std::sqrt(fault.variance) * state.fault_noise[c].normal(state.sample) : 0.0;
  return value + fault.shift + noise;
}

RawReading convert_disturbed(const StationModel& model, const ProcessValues& process, const Disturbances& disturbances, int channel,
                             double value) {
  const ChannelSettings& at = model.settings.instruments.channel[static_cast<std::size_t>(channel)];
  const SignalKind kind = at.kind;
  const ChannelFault& fault = disturbances.channel[channel];
  if (!at.fitted) return convert(model.settings.instruments, channel, value, process);
  if (disturbances.block_rise_k == 0.0 || kind != SignalKind::thermocouple)
    return spoilt(kind, fault, convert(model.settings.instruments, channel, value, process));
  ProcessValues block = process;
  block.cold_junction_degc += disturbances.block_rise_k;
  return spoilt(kind, fault, convert(model.settings.instruments, channel, value, block));
}

}  // namespace

void slow_down(StationState& state, const Disturbances& disturbances, double period_s) {
  for (std::size_t c = 0; c < state.slowed.size(); ++c) {
    const double lag_s = disturbances.channel[c].lag_s;
    const std::uint32_t bit = std::uint32_t{1} << c;
    if (lag_s <= 0.0) {
      state.slow &= ~bit;
      continue;
    }
    if ((state.slow & bit) == 0) state.slowed[c] = state.lagged[c];
    state.slow |= bit;
    state.slowed[c] -= std::expm1(-period_s / lag_s) * (state.lagged[c] - state.slowed[c]);
  }
}

RawReading latch_channel(const StationModel& model, StationState& state, const ProcessValues& process,
                         const Disturbances& disturbances, int channel) {
  const auto c = static_cast<std::size_t>(channel);
  const ChannelSettings& at = model.settings.instruments.channel[c];
  const ChannelFault& fault = disturbances.channel[c];
  const bool dead_loop = fault.swapped && at.kind == SignalKind::current_loop;
  if ((fault.open || dead_loop) && at.fitted) return {broken_wire_raw(at.kind), true};

  const double value = disturbed_value(state, fault, c);
  RawReading reading = convert_disturbed(model, process, disturbances, channel, value);
  if (std::isfinite(value)) reading.raw = digitised(model, c, reading.raw + model.noise[c] * state.noise[c].normal(state.sample));
  if (!std::isfinite(reading.raw)) reading = {broken_wire_raw(at.kind), true};   // no NaN on a line, ever

  const std::uint32_t bit = std::uint32_t{1} << channel;
  if (!fault.stuck) {
    state.stuck &= ~bit;
    return reading;
  }
  if ((state.stuck & bit) == 0) state.held[c] = reading.raw;
  state.stuck |= bit;
  return {state.held[c], reading.broken};
}

}  // namespace plant
