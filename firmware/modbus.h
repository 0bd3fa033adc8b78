// Modbus RTU, the core's own codec: client for the field line (FC 23), server for the supervisory line
// (FC 03, 04, 06, 16, 23). MODBUS Application Protocol Specification V1.1b3; MODBUS over Serial Line V1.02.
//
// Frames are delimited by length and CRC. Silence is never needed to end a frame and never throws one away; it only tells
// that a frame which still lacks bytes may be noise, so that the frames behind its first byte are looked for.
#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>

namespace fw {

inline constexpr std::size_t modbus_frame_max = 256;
inline constexpr std::uint16_t modbus_read_max = 125;         // FC 03, 04 and the read part of 23
inline constexpr std::uint16_t modbus_write_max = 123;        // FC 16
inline constexpr std::uint16_t modbus_read_write_max = 121;   // write part of FC 23
inline constexpr std::uint32_t modbus_silence_us = 1750;      // t3.5 above 19200 baud

enum class ModbusFunction : std::uint8_t {
  read_holding = 0x03, read_input = 0x04, write_single = 0x06, write_multiple = 0x10, read_write = 0x17
};
enum class ModbusException : std::uint8_t {
  none = 0, illegal_function = 1, illegal_address = 2, illegal_value = 3, device_failure = 4, device_busy = 6
};

// CRC-16 (preset 0xFFFF, reflected 0xA001); sent low byte first. Over a frame with its CRC it is 0.
std::uint16_t modbus_crc(std::span<const std::uint8_t> bytes);

// float32 and uint32 in two registers, high word first.
inline std::uint32_t register_u32(std::uint16_t high, std::uint16_t low) { return std::uint32_t{high} << 16 | low; }
inline float register_float(std::uint16_t high, std::uint16_t low) { return std::bit_cast<float>(register_u32(high, low)); }
inline void put_register_u32(std::uint32_t value, std::span<std::uint16_t, 2> registers) {
  registers[0] = static_cast<std::uint16_t>(value >> 16);
  registers[1] = static_cast<std::uint16_t>(value & 0xFFFFu);
}
inline void put_register_float(float value, std::span<std::uint16_t, 2> registers) {
  put_register_u32(std::bit_cast<std::uint32_t>(value), registers);
}

struct ModbusCounters {
  std::uint32_t frames = 0;            // delimited with a good CRC and meant for this end
  std::uint32_t crc_errors = 0;        // times the receiver lost the frames by a wrong CRC
  std::uint32_t skipped_bytes = 0;     // bytes that belonged to no frame
  std::uint32_t overflows = 0;         // bytes lost because nobody took frames
};

// Bytes of a line on their way to frames. Trivially copyable.
struct ModbusReceiver {
  std::uint8_t bytes[2 * modbus_frame_max] = {};
  std::uint16_t size = 0;
  bool searching = false;              // a frame had a wrong CRC and none has been good since: counts as one error
  std::uint64_t arrival_us = 0;        // of the last byte
  ModbusCounters counters;
};

// Appends what arrived; any split. With no room left the oldest bytes go.
void modbus_push(ModbusReceiver& receiver, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us);

// One frame, copied out of the receiver.
struct ModbusFrame {
  std::uint8_t bytes[modbus_frame_max];   // the first `size` of them count, the others were never set
  std::uint16_t size = 0;                 // address to CRC; 0: none
};

// --- Server ------------------------------------------------------------------------------------------------------------

// Next request to this unit or to all (address 0), oldest first; false: none complete. now_us tells silence.
// Call until false each tick.
[[nodiscard]] bool modbus_next_request(ModbusReceiver& receiver, std::uint8_t unit, std::uint64_t now_us, ModbusFrame& frame);

// Drops what stands next in the receiver where it is `frame` once more, to the byte: a client waits for its answer before it asks
// again, so a frame that came doubled is one request.
void modbus_drop_repeats(ModbusReceiver& receiver, const ModbusFrame& frame);

struct ModbusRequest {
  std::uint8_t unit = 0;
  std::uint8_t function = 0;           // as received, may be one that is not supported
  bool broadcast = false;              // carry out writes, never reply
  ModbusException error = ModbusException::none;   // what parsing found: 01, then 03, then 02 for a range beyond 0xFFFF
  std::uint16_t read_address = 0, read_count = 0;
  std::uint16_t write_address = 0, write_count = 0;
  std::uint16_t values[modbus_write_max];          // the first write_count: to be written, before anything is read
};

// Takes a frame from modbus_next_request apart. Order of checks: function (01), quantity and byte count (03), address (02).
ModbusRequest modbus_parse(const ModbusFrame& frame);

// Reply to a request that has been carried out: read_values holds request.read_count registers (ignored for 06, 16).
// An exception if request.error is set. Returns the bytes written to buffer (at least modbus_frame_max long); 0 for a broadcast.
std::size_t modbus_reply(const ModbusRequest& request, std::span<const std::uint16_t> read_values,
                         std::span<std::uint8_t> buffer);

// --- Client ------------------------------------------------------------------------------------------------------------

// Encodes an FC 23 request. read_count 1..125, values 1..121 registers, buffer at least 13 + 2 * values.size() bytes;
// returns the bytes written, 0 if any of that does not hold.
std::size_t modbus_read_write_request(std::uint8_t unit, std::uint16_t read_address, std::uint16_t read_count,
                                      std::uint16_t write_address, std::span<const std::uint16_t> values,
                                      std::span<std::uint8_t> buffer);

// What the client waits for.
struct ModbusExpectation {
  std::uint8_t unit = 1;
  std::uint8_t function = 0x17;
  std::uint16_t read_count = 0;
};

struct ModbusReply {
  ModbusException exception = ModbusException::none;   // codes beyond the enum are carried as they came
  std::uint16_t read_count = 0;                        // 0 with an exception
  std::uint16_t values[modbus_read_max];               // the first read_count
};

// Next reply of the expected unit, function and size (or its exception), oldest first; everything else is skipped.
// Call until false each tick: a late reply stands before the one of this tick, and the sequence register tells them apart.
[[nodiscard]] bool modbus_next_reply(ModbusReceiver& receiver, const ModbusExpectation& expectation, std::uint64_t now_us,
                                     ModbusReply& reply);

}  // namespace fw
