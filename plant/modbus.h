// Modbus RTU as the plant's station and the bench's operator speak it: CRC, a server for function codes 03, 04, 06, 16 and 23,
// and the client side of 03, 04, 06, 16 and 23. Sources: MODBUS Application Protocol Specification V1.1b3; MODBUS over Serial Line
// Specification and Implementation Guide V1.02. Written apart from the core's codec, so that each checks the other.
//
// All functions take and give whole ADUs (unit, PDU, CRC low byte first), at most 256 bytes. No allocation, no exceptions.
#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

namespace plant::modbus {

inline constexpr std::size_t adu_bytes_max = 256;
inline constexpr std::uint16_t read_registers_max = 125;         // FC 03, 04 and the read part of 23
inline constexpr std::uint16_t write_registers_max = 123;        // FC 16
inline constexpr std::uint16_t write_read_registers_max = 121;   // write part of FC 23

enum Function : std::uint8_t { read_holding = 3, read_input = 4, write_single = 6, write_multiple = 16, write_and_read = 23 };
enum Exception : std::uint8_t { none = 0, illegal_function = 1, illegal_address = 2, illegal_value = 3, device_failure = 4,
                                device_busy = 6 };

// Preset 0xFFFF, reflected polynomial 0xA001; of an empty span 0xFFFF; over a frame with its CRC 0.
std::uint16_t crc16(std::span<const std::uint8_t> bytes);

// Big-endian words, and float32 in two registers, high word first.
inline std::uint16_t get_u16(const std::uint8_t* bytes) { return static_cast<std::uint16_t>(bytes[0] << 8 | bytes[1]); }
inline void put_u16(std::uint8_t* bytes, std::uint16_t word) {
  bytes[0] = static_cast<std::uint8_t>(word >> 8);
  bytes[1] = static_cast<std::uint8_t>(word & 0xFF);
}
inline float get_f32(const std::uint8_t* bytes) {
  return std::bit_cast<float>(std::uint32_t{bytes[0]} << 24 | std::uint32_t{bytes[1]} << 16 | std::uint32_t{bytes[2]} << 8 | bytes[3]);
}
inline void put_f32(std::uint8_t* bytes, float value) {
  const auto word = std::bit_cast<std::uint32_t>(value);
  std::uint32_t big_endian = word;
  if constexpr (std::endian::native == std::endian::little) {   // as one word: byte stores cost several times as much
    big_endian = word >> 24 | (word >> 8 & 0xFF00u) | (word << 8 & 0xFF0000u) | word << 24;
  }
  std::memcpy(bytes, &big_endian, sizeof big_endian);
}

// --- server ---------------------------------------------------------------------------------------------------------------
struct ServerRequest {
  enum class Kind : std::uint8_t { silent, refused, accepted };
  Kind kind = Kind::silent;          // silent: damaged, foreign unit, too short or long: no answer at all
  bool broadcast = false;            // carried out, never answered
  std::uint8_t function = 0;
  Exception exception = none;        // when refused
  std::uint16_t read_address = 0, read_count = 0;
  std::uint16_t write_address = 0, write_count = 0;
  std::span<const std::uint8_t> write_bytes{};   // 2 * write_count, into the request
};

// Checks unit, CRC, function, structure and quantities, in this order; addresses are the register file's business.
ServerRequest parse_request(std::span<const std::uint8_t> request, std::uint8_t unit);

std::size_t encode_exception(std::uint8_t unit, std::uint8_t function, Exception exception, std::span<std::uint8_t> reply);
// Appends the CRC behind `size` bytes; returns size + 2.
std::size_t seal(std::span<std::uint8_t> frame, std::size_t size);

// Serves one request from a register file. Registers has
//   bool can_read(std::uint16_t address, std::uint16_t count) const;
//   bool can_write(std::uint16_t address, std::uint16_t count) const;
//   Exception write(std::uint16_t address, std::span<const std::uint8_t> big_endian);   // all or nothing
//   void read(std::uint16_t address, std::span<std::uint8_t> big_endian);
// reply holds at least 256 bytes. Returns the bytes of the answer, 0 for silence.
template <class Registers>
std::size_t serve(std::uint8_t unit, Registers& registers, std::span<const std::uint8_t> request, std::span<std::uint8_t> reply) {
  const ServerRequest asked = parse_request(request, unit);
  if (asked.kind == ServerRequest::Kind::silent) return 0;
  Exception refusal = asked.exception;
  if (refusal == none && asked.write_count != 0 && !registers.can_write(asked.write_address, asked.write_count)) refusal = illegal_address;
  if (refusal == none && asked.read_count != 0 && !registers.can_read(asked.read_address, asked.read_count)) refusal = illegal_address;
  if (refusal == none && asked.write_count != 0) refusal = registers.write(asked.write_address, asked.write_bytes);
  if (asked.broadcast) return 0;
  if (refusal != none) return encode_exception(unit, asked.function, refusal, reply);

  reply[0] = unit;
  reply[1] = asked.function;
  if (asked.read_count == 0) {   // FC 06 echoes the request, FC 16 its first six bytes
    for (std::size_t i = 2; i < 6; ++i) reply[i] = request[i];
    return seal(reply, 6);
  }
  const std::size_t bytes = 2u * asked.read_count;
  reply[2] = static_cast<std::uint8_t>(bytes);
  registers.read(asked.read_address, reply.subspan(3, bytes));
  return seal(reply, 3 + bytes);
}

// --- client ---------------------------------------------------------------------------------------------------------------
// Each returns the bytes of the request, 0 when a count is outside the limits or the buffer too small (256 always do).
// Register values are handed over big-endian (put_u16, put_f32), 2 bytes each.
std::size_t encode_read(std::uint8_t unit, Function function, std::uint16_t address, std::uint16_t count,
                        std::span<std::uint8_t> request);   // function read_holding or read_input
std::size_t encode_write_single(std::uint8_t unit, std::uint16_t address, std::uint16_t value, std::span<std::uint8_t> request);
std::size_t encode_write_multiple(std::uint8_t unit, std::uint16_t address, std::span<const std::uint8_t> big_endian,
                                  std::span<std::uint8_t> request);
std::size_t encode_write_and_read(std::uint8_t unit, std::uint16_t read_address, std::uint16_t read_count,
                                  std::uint16_t write_address, std::span<const std::uint8_t> big_endian,
                                  std::span<std::uint8_t> request);

enum class ReplyStatus : std::uint8_t {
  ok,
  damaged,       // too short, too long, or the CRC does not match
  foreign,       // another unit's answer, or to another function: the client keeps waiting
  malformed,     // length, byte count or echo do not fit the request
  refused        // an exception, see Reply::exception
};

struct Reply {
  ReplyStatus status = ReplyStatus::damaged;
  std::uint8_t exception = 0;
  std::span<const std::uint8_t> registers{};   // big-endian, for FC 03, 04, 23
};

// Checks an answer against the request it should answer (as encoded above).
Reply check_reply(std::span<const std::uint8_t> request, std::span<const std::uint8_t> reply);

}  // namespace plant::modbus
