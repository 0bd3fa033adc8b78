// The plant's I/O station: server on the field line, unit 1, register map in DEVELOPERS.md. It takes commands, reads the
// instruments, and falls back to the safe row last commanded when the line is silent for a second. The plant obeys: whether an
// action is allowed is the core's business.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <type_traits>

#include "plant/instruments.h"
#include "plant/process_values.h"
#include "plant/random.h"

namespace plant {

inline constexpr std::uint8_t station_unit = 1;
inline constexpr std::uint16_t station_input_address = 0x0000;
inline constexpr std::uint16_t station_input_registers = 6 + 2 * channel_count;    // 54
inline constexpr std::uint16_t station_output_address = 0x0100;
inline constexpr std::uint16_t station_output_registers = 18;
inline constexpr std::uint16_t station_map_version = 1;
inline constexpr int safe_rows = 5;    // 1 air, 2 inert, 3 combustible, 4 vacuum, 5 over-pressure

struct StationSettings {
  Instruments instruments = default_instruments(1);
  std::int64_t watchdog_ns = 1'000'000'000;    // silence after which the row last commanded is imposed
  std::int64_t pump_stop_ns = 2'000'000'000;   // a row isolates the pump at once and stops it this much later
  double release_pa = 500.0;                   // gauge: row 5 gives way to the atmosphere's row below this
};

// Constant during a run: the settings, and per channel what its conversion comes down to, as arrays for the tick path.
struct StationModel {
  using Column = std::array<double, channel_count>;
  StationSettings settings{};
  Column offset{}, scale{};                    // ideal raw = offset + scale * value, of loops and voltages
  Column noise{};                              // standard deviation, 0 where not fitted
  Column low{}, high{};                        // saturation
  Column quantum{}, per_quantum{};             // 2^-30 and 2^30 for none
  std::array<std::int8_t, channel_count> curved{};   // fitted channels of the other kinds ...
  int curved_count = 0;                              // ... and how many
};
StationModel build_station(const StationSettings& settings);   // throws std::invalid_argument, see check_instruments

struct StationState {
  Commands commands{};                         // what the actuators obey, now
  std::array<std::uint16_t, station_output_registers> output{};   // last accepted write block
  std::uint64_t sample = 0;                    // counts advance(): index into the noise streams
  std::int64_t silent_ns = 0;                  // since the last valid exchange
  std::int64_t imposed_ns = 0;                 // since the watchdog acted
  std::uint32_t slow = 0;                      // channels whose instrument has become slow, bit c
  std::uint32_t stuck = 0;                     // channels that hold a value, bit c
  std::uint8_t imposed_row = 0;                // 0 none
  std::uint8_t atmosphere_row = 0;             // last row commanded other than over-pressure
  bool watchdog_acted = false;
  bool pump_was_running = false;               // when the watchdog acted
  bool frozen = false;                         // by a fault: inputs stand in frozen_inputs
  std::array<std::uint8_t, 2 * station_input_registers> frozen_inputs{};
  std::uint32_t outputs_held = 0;              // by a fault: bit per output that keeps what stands in held_commands
  Commands held_commands{};
  std::array<RandomStream, channel_count> noise{};
  std::array<double, channel_count> lagged{};  // process value behind the instrument's lag
  std::array<RandomStream, channel_count> fault_noise{};
  std::array<double, channel_count> slowed{};  // process value behind that lag too, of a slow one
  std::array<double, channel_count> held{};    // raw value of a stuck channel
  std::array<double, channel_count> gain{};    // 1 - exp(-period / lag) for gain_period_s
  double gain_period_s = 0.0;
  std::int64_t gain_period_ns = 0;
};
static_assert(std::is_trivially_copyable_v<StationState>);

// Just switched on: commands as without power, instruments settled on the process.
StationState initial_station(const StationModel& model, const ProcessValues& process, std::uint64_t seed);

// Commands without power, and those of safe row 1..5 (the pump already stopped). Safe values by atmosphere: see field_bus.cpp.
Commands unpowered_commands();
Commands safe_row_commands(int row);

// One request as received (damaged ones included), as of the tick boundary the state stands at. A write is applied (all of it
// or, with exception 03, nothing: a value that is not finite, a row above 5, a gas above 5) before the inputs are latched and
// read. An accepted write is what feeds the watchdog. Returns the bytes of the answer, 0: silence. answer holds 256 bytes.
// Asking twice at one boundary gives the same readings.
std::size_t answer(const StationModel& model, StationState& state, const ProcessValues& process,
                   const Disturbances& disturbances, std::span<const std::uint8_t> request, std::span<std::uint8_t> answer);

// What a fault of the station does to it in a period, whether it is asked or not. Call before its commands are obeyed.
void disturb(StationState& state, const StationFault& fault);
// The commands with the outputs that do not obey.
Commands with_held_outputs(const StationState& state, Commands commands);

// Moves lags and watchdog over one period, towards the process values at its end. Call once per tick, after the process has
// moved.
void advance(const StationModel& model, StationState& state, const ProcessValues& process, double period_s);

// After advance: the lags that faults add to the instruments' own.
void slow_down(StationState& state, const Disturbances& disturbances, double period_s);

// The raw reading of one channel as an exchange now would latch it; broken is its status bit.
RawReading latch_channel(const StationModel& model, StationState& state, const ProcessValues& process,
                         const Disturbances& disturbances, int channel);

}  // namespace plant
