#include "firmware/modbus.h"

#include <array>
#include <cstring>

namespace fw {

namespace {

constexpr std::size_t crc_block = 16;
using CrcTables = std::array<std::array<std::uint16_t, 256>, crc_block>;

// Slicing by sixteen: table k advances a byte that stands k places before the end of a block.
constexpr CrcTables make_crc_tables() {
  CrcTables tables{};
  for (unsigned byte = 0; byte < 256; ++byte) {
    unsigned crc = byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) != 0 ? (crc >> 1) ^ 0xA001u : crc >> 1;
    tables[0][byte] = static_cast<std::uint16_t>(crc);
  }
  for (unsigned byte = 0; byte < 256; ++byte) {
    for (std::size_t k = 1; k < crc_block; ++k) {
      const unsigned before = tables[k - 1][byte];
      tables[k][byte] = static_cast<std::uint16_t>((before >> 8) ^ tables[0][before & 0xFFu]);
    }
  }
  return tables;
}

constexpr CrcTables crc_tables = make_crc_tables();

// Onwards over `count` bytes. What does not depend on the bytes before comes first: the chain from piece to piece is then one look-up
// long.
template <std::size_t count>
unsigned crc_over(unsigned crc, const std::uint8_t* at) {
  static_assert(count >= 2 && count <= crc_block);
  unsigned rest = 0;
  for (std::size_t k = 2; k < count; ++k) rest ^= crc_tables[count - 1 - k][at[k]];
  const unsigned two = crc ^ (at[0] | static_cast<unsigned>(at[1]) << 8);
  return rest ^ (static_cast<unsigned>(crc_tables[count - 1][two & 0xFFu]) ^ crc_tables[count - 2][two >> 8]);
}

constexpr std::size_t frame_min = 4;

enum class Verdict : std::uint8_t { no_start, incomplete, open_end, complete };

struct Extent {
  Verdict verdict;
  std::size_t size;   // with complete: bytes of the frame
};

std::uint16_t word(const std::uint8_t* bytes) { return static_cast<std::uint16_t>(bytes[0] << 8 | bytes[1]); }

std::uint8_t* put_word(std::uint8_t* at, std::uint16_t value) {
  at[0] = static_cast<std::uint8_t>(value >> 8);
  at[1] = static_cast<std::uint8_t>(value & 0xFFu);
  return at + 2;
}

std::uint8_t* put_words(std::uint8_t* at, std::span<const std::uint16_t> values) {
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::uint16_t value = values[i];
    at[2 * i] = static_cast<std::uint8_t>(value >> 8);
    at[2 * i + 1] = static_cast<std::uint8_t>(value & 0xFFu);
  }
  return at + 2 * values.size();
}

// Appends the CRC to size bytes and returns the whole length.
std::size_t seal(std::span<std::uint8_t> buffer, std::size_t size) {
  const std::uint16_t crc = modbus_crc(buffer.first(size));
  buffer[size] = static_cast<std::uint8_t>(crc & 0xFFu);
  buffer[size + 1] = static_cast<std::uint8_t>(crc >> 8);
  return size + 2;
}

Extent fixed(std::size_t size, std::size_t available) {
  return {available >= size ? Verdict::complete : Verdict::incomplete, size};
}

// A request whose data length stands in byte count_at, with overhead bytes around the data.
Extent counted(std::span<const std::uint8_t> bytes, std::size_t count_at, std::size_t overhead) {
  if (bytes.size() <= count_at) return {Verdict::incomplete, 0};
  const std::size_t size = overhead + bytes[count_at];
  if (size > modbus_frame_max) return {Verdict::no_start, 0};
  return fixed(size, bytes.size());
}

// Could a request begin here, and where would it end? Functions the core has not are delimited too, so that they get their
// exception and do not cost the frames behind them; a function nobody knows ends with the silence after it.
Extent request_extent(std::span<const std::uint8_t> bytes, std::uint8_t unit) {
  if (bytes[0] != unit && bytes[0] != 0) return {Verdict::no_start, 0};
  if (bytes.size() < 2) return {Verdict::incomplete, 0};
  switch (bytes[1]) {
    case 0x01: case 0x02: case 0x03: case 0x04: case 0x05: case 0x06: case 0x08: return fixed(8, bytes.size());
    case 0x07: case 0x0B: case 0x0C: case 0x11: return fixed(4, bytes.size());
    case 0x0F: case 0x10: return counted(bytes, 6, 9);
    case 0x14: case 0x15: return counted(bytes, 2, 5);
    case 0x16: return fixed(10, bytes.size());
    case 0x17: return counted(bytes, 10, 13);
    case 0x18: return fixed(6, bytes.size());
    default: break;
  }
  // To all, nobody answers an unknown function: such a start is more likely noise.
  if (bytes[0] == 0 || bytes[1] == 0 || bytes[1] >= 0x80u) return {Verdict::no_start, 0};
  return {Verdict::open_end, 0};
}

Extent reply_extent(std::span<const std::uint8_t> bytes, const ModbusExpectation& expectation) {
  if (bytes[0] != expectation.unit) return {Verdict::no_start, 0};
  if (bytes.size() < 2) return {Verdict::incomplete, 0};
  if (bytes[1] == (expectation.function | 0x80u)) return fixed(5, bytes.size());
  if (bytes[1] != expectation.function) return {Verdict::no_start, 0};
  if (bytes.size() < 3) return {Verdict::incomplete, 0};
  const std::size_t data = std::size_t{2} * expectation.read_count;
  if (bytes[2] != data) return {Verdict::no_start, 0};
  return fixed(5 + data, bytes.size());
}

// What a receiver looks for: requests to a unit, or one kind of reply.
struct Wanted {
  bool reply;
  std::uint8_t unit;
  const ModbusExpectation* expectation;
};

Extent extent_of(std::span<const std::uint8_t> bytes, const Wanted& wanted) {
  return wanted.reply ? reply_extent(bytes, *wanted.expectation) : request_extent(bytes, wanted.unit);
}

bool crc_good(std::span<const std::uint8_t> frame) { return modbus_crc(frame) == 0; }

void drop(ModbusReceiver& receiver, std::size_t count) {
  if (count == 0) return;
  if (count < receiver.size) std::memmove(receiver.bytes, receiver.bytes + count, receiver.size - count);
  receiver.size = static_cast<std::uint16_t>(receiver.size - count);
}

// First frame at or behind offset `from` that stands complete with a good CRC. open_end: look instead for a function of
// unknown length whose frame ends where the bytes end.
bool find_complete(const ModbusReceiver& receiver, const Wanted& wanted, bool open_end, std::size_t from, std::size_t& offset,
                   std::size_t& size) {
  const std::span<const std::uint8_t> all(receiver.bytes, receiver.size);
  for (std::size_t at = from; at + frame_min <= all.size(); ++at) {
    const auto rest = all.subspan(at);
    Extent extent = extent_of(rest, wanted);
    if (open_end) {
      if (extent.verdict != Verdict::open_end || rest.size() > modbus_frame_max) continue;
      extent = {Verdict::complete, rest.size()};
    }
    if (extent.verdict == Verdict::complete && crc_good(rest.first(extent.size))) {
      offset = at;
      size = extent.size;
      return true;
    }
  }
  return false;
}

void take(ModbusReceiver& receiver, std::size_t skip, std::size_t size, ModbusFrame& frame) {
  receiver.counters.skipped_bytes += static_cast<std::uint32_t>(skip);
  receiver.counters.frames += 1;
  std::memcpy(frame.bytes, receiver.bytes + skip, size);
  frame.size = static_cast<std::uint16_t>(size);
  drop(receiver, skip + size);
  receiver.searching = false;
}

bool next_frame(ModbusReceiver& receiver, const Wanted& wanted, std::uint64_t now_us, ModbusFrame& frame) {
  const bool silent = now_us >= receiver.arrival_us + modbus_silence_us;
  std::size_t start = 0;   // bytes before it are known to begin no frame
  while (start < receiver.size) {
    const std::span<const std::uint8_t> rest(receiver.bytes + start, receiver.size - start);
    const Extent extent = extent_of(rest, wanted);
    if (extent.verdict == Verdict::incomplete || extent.verdict == Verdict::open_end) break;
    if (extent.verdict == Verdict::complete) {
      if (crc_good(rest.first(extent.size))) {
        take(receiver, start, extent.size, frame);
        return true;
      }
      if (!receiver.searching) receiver.counters.crc_errors += 1;
      receiver.searching = true;
    }
    ++start;
  }
  std::size_t offset = 0;
  std::size_t size = 0;
  // A frame of known length is the surer find: noise before it passes for an unknown function once in 65536.
  if (silent && (find_complete(receiver, wanted, false, start, offset, size) ||
                 find_complete(receiver, wanted, true, start, offset, size))) {
    take(receiver, offset, size, frame);
    return true;
  }
  // What waits here may be the head of a slow frame: it stays, silence or not.
  receiver.counters.skipped_bytes += static_cast<std::uint32_t>(start);
  drop(receiver, start);
  frame.size = 0;
  return false;
}

}  // namespace

std::uint16_t modbus_crc(std::span<const std::uint8_t> bytes) {
  unsigned crc = 0xFFFFu;
  const std::uint8_t* at = bytes.data();
  std::size_t left = bytes.size();
  for (; left >= crc_block; left -= crc_block, at += crc_block) crc = crc_over<crc_block>(crc, at);
  // What is left in pieces of two powers: byte by byte each look-up would wait for the one before it.
  if ((left & 8) != 0) crc = crc_over<8>(crc, at), at += 8;
  if ((left & 4) != 0) crc = crc_over<4>(crc, at), at += 4;
  if ((left & 2) != 0) crc = crc_over<2>(crc, at), at += 2;
  if ((left & 1) != 0) crc = (crc >> 8) ^ crc_tables[0][(crc ^ *at) & 0xFFu];
  return static_cast<std::uint16_t>(crc);
}

void modbus_push(ModbusReceiver& receiver, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us) {
  if (bytes.empty()) return;
  receiver.arrival_us = arrival_us;
  constexpr std::size_t capacity = sizeof receiver.bytes;
  if (bytes.size() > capacity) {
    receiver.counters.overflows += static_cast<std::uint32_t>(bytes.size() - capacity);
    bytes = bytes.last(capacity);
  }
  const std::size_t room = capacity - receiver.size;
  if (bytes.size() > room) {
    receiver.counters.overflows += static_cast<std::uint32_t>(bytes.size() - room);
    drop(receiver, bytes.size() - room);
  }
  std::memcpy(receiver.bytes + receiver.size, bytes.data(), bytes.size());
  receiver.size = static_cast<std::uint16_t>(receiver.size + bytes.size());
}

bool modbus_next_request(ModbusReceiver& receiver, std::uint8_t unit, std::uint64_t now_us, ModbusFrame& frame) {
  return next_frame(receiver, {false, unit, nullptr}, now_us, frame);
}

void modbus_drop_repeats(ModbusReceiver& receiver, const ModbusFrame& frame) {
  while (receiver.size >= frame.size && std::memcmp(receiver.bytes, frame.bytes, frame.size) == 0) {
    receiver.counters.skipped_bytes += frame.size;
    drop(receiver, frame.size);
  }
}

namespace {

bool range_good(std::uint16_t address, std::uint16_t count) { return std::uint32_t{address} + count <= 0x10000u; }

void parse_reads(const ModbusFrame& frame, ModbusRequest& request) {
  request.read_address = word(frame.bytes + 2);
  request.read_count = word(frame.bytes + 4);
  if (request.read_count < 1 || request.read_count > modbus_read_max) {
    request.error = ModbusException::illegal_value;
  } else if (!range_good(request.read_address, request.read_count)) {
    request.error = ModbusException::illegal_address;
  }
}

// Quantity, byte count and values of a write part that begins at `at` with its start address.
void parse_writes(const ModbusFrame& frame, std::size_t at, std::uint16_t count_max, ModbusRequest& request) {
  request.write_address = word(frame.bytes + at);
  request.write_count = word(frame.bytes + at + 2);
  const bool count_good = request.write_count >= 1 && request.write_count <= count_max &&
                          frame.bytes[at + 4] == 2u * request.write_count;
  if (!count_good) {
    request.error = ModbusException::illegal_value;
    return;
  }
  if (request.error == ModbusException::none && !range_good(request.write_address, request.write_count)) {
    request.error = ModbusException::illegal_address;
  }
  for (std::size_t i = 0; i < request.write_count; ++i) request.values[i] = word(frame.bytes + at + 5 + 2 * i);
}

}  // namespace

ModbusRequest modbus_parse(const ModbusFrame& frame) {
  ModbusRequest request;
  request.unit = frame.bytes[0];
  request.function = frame.bytes[1];
  request.broadcast = request.unit == 0;
  switch (static_cast<ModbusFunction>(request.function)) {
    case ModbusFunction::read_holding:
    case ModbusFunction::read_input: parse_reads(frame, request); break;
    case ModbusFunction::write_single:
      request.write_address = word(frame.bytes + 2);
      request.write_count = 1;
      request.values[0] = word(frame.bytes + 4);
      break;
    case ModbusFunction::write_multiple: parse_writes(frame, 2, modbus_write_max, request); break;
    case ModbusFunction::read_write:
      parse_reads(frame, request);
      // Both quantities come before both addresses: a wrong one in the write part overrides an address error.
      if (request.error != ModbusException::illegal_value) parse_writes(frame, 6, modbus_read_write_max, request);
      break;
    default: request.error = ModbusException::illegal_function; break;
  }
  if (request.error != ModbusException::none) request.read_count = request.write_count = 0;
  return request;
}

std::size_t modbus_reply(const ModbusRequest& request, std::span<const std::uint16_t> read_values,
                         std::span<std::uint8_t> buffer) {
  if (request.broadcast || buffer.size() < modbus_frame_max) return 0;
  ModbusException error = request.error;
  if (error == ModbusException::none && read_values.size() < request.read_count) error = ModbusException::device_failure;
  buffer[0] = request.unit;
  buffer[1] = request.function;
  if (error != ModbusException::none) {
    buffer[1] = static_cast<std::uint8_t>(request.function | 0x80u);
    buffer[2] = static_cast<std::uint8_t>(error);
    return seal(buffer, 3);
  }
  std::uint8_t* at = buffer.data() + 2;
  switch (static_cast<ModbusFunction>(request.function)) {
    case ModbusFunction::write_single:
      at = put_word(at, request.write_address);
      at = put_word(at, request.values[0]);
      break;
    case ModbusFunction::write_multiple:
      at = put_word(at, request.write_address);
      at = put_word(at, request.write_count);
      break;
    default:
      *at++ = static_cast<std::uint8_t>(2u * request.read_count);
      at = put_words(at, read_values.first(request.read_count));
      break;
  }
  return seal(buffer, static_cast<std::size_t>(at - buffer.data()));
}

std::size_t modbus_read_write_request(std::uint8_t unit, std::uint16_t read_address, std::uint16_t read_count,
                                      std::uint16_t write_address, std::span<const std::uint16_t> values,
                                      std::span<std::uint8_t> buffer) {
  const bool good = read_count >= 1 && read_count <= modbus_read_max && !values.empty() &&
                    values.size() <= modbus_read_write_max && buffer.size() >= 13 + 2 * values.size();
  if (!good) return 0;
  const auto count = static_cast<std::uint16_t>(values.size());
  buffer[0] = unit;
  buffer[1] = static_cast<std::uint8_t>(ModbusFunction::read_write);
  std::uint8_t* at = buffer.data() + 2;
  at = put_word(at, read_address);
  at = put_word(at, read_count);
  at = put_word(at, write_address);
  at = put_word(at, count);
  *at++ = static_cast<std::uint8_t>(2u * count);
  at = put_words(at, values);
  return seal(buffer, static_cast<std::size_t>(at - buffer.data()));
}

bool modbus_next_reply(ModbusReceiver& receiver, const ModbusExpectation& expectation, std::uint64_t now_us,
                       ModbusReply& reply) {
  ModbusFrame frame;
  if (!next_frame(receiver, {true, expectation.unit, &expectation}, now_us, frame)) return false;
  if (frame.bytes[1] != expectation.function) {
    reply.exception = static_cast<ModbusException>(frame.bytes[2]);
    reply.read_count = 0;
    return true;
  }
  reply.exception = ModbusException::none;
  reply.read_count = expectation.read_count;
  for (std::size_t i = 0; i < reply.read_count; ++i) reply.values[i] = word(frame.bytes + 3 + 2 * i);
  return true;
}

}  // namespace fw
