// The core's end of the field line: answers of the I/O station to fw::Inputs, fw::Outputs to the next request. One exchange
// (FC 23) per control period; the register map stands in DEVELOPERS.md. A sequence register tells a late answer from one in
// time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/modbus.h"
#include "firmware/parameters.h"
#include "firmware/signals.h"

namespace fw {

inline constexpr int station_channels = 24;
inline constexpr std::uint16_t station_read_registers = 54;
inline constexpr std::uint16_t station_write_registers = 18;
inline constexpr std::uint16_t station_read_address = 0x0000, station_write_address = 0x0100;
inline constexpr std::uint16_t station_map_version = 1;
inline constexpr std::uint32_t station_silence_longest_ms = 1000;   // then the line counts as lost
inline constexpr std::uint32_t transmitter_fault_ms = 4000;         // NAMUR NE 43 with a common on-delay

struct StationLink {
  ModbusReceiver receiver;
  bool asked = false;                 // a request is out
  bool lost = false;
  std::uint16_t sequence = 0;         // of the request that is out
  std::uint32_t silent_ms = 0;        // since the last valid answer
  std::uint32_t errors = 0;           // answers missing, late or damaged
  std::uint32_t late = 0;             // of these, answers to an older request
  std::uint32_t suspect = 0;          // bit per channel: out of NE 43 in this tick
  std::uint16_t suspect_ms[station_channels] = {};
  std::uint16_t analogue[2 * station_channels] = {};   // registers of the answer before
};

// Takes the answers that came since the last tick. With none of this tick's sequence the inputs stay as they were (fresh
// false). gas: the one wanted, for the flows' conversion; of forming gas both meters are read.
void station_receive(StationLink& link, const Parameters& parameters, Gas gas, std::uint64_t now_us, Inputs& inputs);

// Encodes the next request into buffer (modbus_frame_max bytes) and returns its size.
std::size_t station_request(StationLink& link, const Outputs& outputs, std::span<std::uint8_t> buffer);

}  // namespace fw
