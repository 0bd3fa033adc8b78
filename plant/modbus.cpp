#include "plant/modbus.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

namespace plant::modbus {

namespace {

// Slicing by 16: table k holds the CRC of a byte followed by k zero bytes, so that sixteen bytes cost sixteen independent
// look-ups instead of a chain of sixteen.
constexpr std::size_t slice = 16;
using CrcTables = std::array<std::array<std::uint16_t, 256>, slice>;

constexpr CrcTables crc_tables() {
  CrcTables tables{};
  for (unsigned byte = 0; byte < 256; ++byte) {
    unsigned crc = byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) != 0 ? (crc >> 1) ^ 0xA001u : crc >> 1;
    tables[0][byte] = static_cast<std::uint16_t>(crc);
  }
  for (std::size_t zeros = 1; zeros < slice; ++zeros) {
    for (std::size_t byte = 0; byte < 256; ++byte) {
      const std::uint16_t before = tables[zeros - 1][byte];
      tables[zeros][byte] = static_cast<std::uint16_t>((before >> 8) ^ tables[0][before & 0xFF]);
    }
  }
  return tables;
}

constexpr CrcTables tables = crc_tables();

// The CRC carried on over `count` bytes, from 2 to a slice.
template <std::size_t count>
unsigned crc_slice(unsigned crc, const std::uint8_t* at) {
  unsigned ahead = 0;       // does not wait for the bytes before
  for (std::size_t i = 2; i < count; ++i) ahead ^= tables[count - 1 - i][at[i]];
  return ahead ^ tables[count - 1][at[0] ^ (crc & 0xFF)] ^ tables[count - 2][at[1] ^ (crc >> 8)];
}

bool crc_matches(std::span<const std::uint8_t> adu) {
  const std::size_t body = adu.size() - 2;
  const std::uint16_t crc = crc16(adu.first(body));
  return adu[body] == (crc & 0xFF) && adu[body + 1] == (crc >> 8);
}

ServerRequest refused(ServerRequest asked, Exception exception) {
  asked.kind = asked.broadcast ? ServerRequest::Kind::silent : ServerRequest::Kind::refused;
  asked.exception = exception;
  return asked;
}

// The structure of the PDU: lengths, byte counts, quantities. False is exception 03.
bool parse_pdu(ServerRequest& asked, std::span<const std::uint8_t> pdu) {
  const std::uint8_t* data = pdu.data() + 1;
  switch (asked.function) {
    case read_holding:
    case read_input:
      if (pdu.size() != 5) return false;
      asked.read_address = get_u16(data);
      asked.read_count = get_u16(data + 2);
      return asked.read_count >= 1 && asked.read_count <= read_registers_max;
    case write_single:
      if (pdu.size() != 5) return false;
      asked.write_address = get_u16(data);
      asked.write_count = 1;
      asked.write_bytes = pdu.subspan(3, 2);
      return true;
    case write_multiple:
      if (pdu.size() < 6) return false;
      asked.write_address = get_u16(data);
      asked.write_count = get_u16(data + 2);
      asked.write_bytes = pdu.subspan(6);
      return asked.write_count >= 1 && asked.write_count <= write_registers_max && data[4] == 2 * asked.write_count &&
             asked.write_bytes.size() == data[4];
    default:   // write_and_read
      if (pdu.size() < 10) return false;
      asked.read_address = get_u16(data);
      asked.read_count = get_u16(data + 2);
      asked.write_address = get_u16(data + 4);
      asked.write_count = get_u16(data + 6);
      asked.write_bytes = pdu.subspan(10);
      return asked.read_count >= 1 && asked.read_count <= read_registers_max && asked.write_count >= 1 &&
             asked.write_count <= write_read_registers_max && data[8] == 2 * asked.write_count &&
             asked.write_bytes.size() == data[8];
  }
}

bool supported(std::uint8_t function) {
  return function == read_holding || function == read_input || function == write_single || function == write_multiple ||
         function == write_and_read;
}

Reply reply_of(ReplyStatus status) {
  Reply reply;
  reply.status = status;
  return reply;
}

}  // namespace

std::uint16_t crc16(std::span<const std::uint8_t> bytes) {
  unsigned crc = 0xFFFF;
  const std::uint8_t* at = bytes.data();
  const std::size_t odd = bytes.size() % slice;
  for (const std::uint8_t* const end = at + (bytes.size() - odd); at != end; at += slice) crc = crc_slice<slice>(crc, at);
  if (odd & 8) crc = crc_slice<8>(crc, at), at += 8;
  if (odd & 4) crc = crc_slice<4>(crc, at), at += 4;
  if (odd & 2) crc = crc_slice<2>(crc, at), at += 2;
  if (odd & 1) crc = (crc >> 8) ^ tables[0][(crc ^ *at) & 0xFF];
  return static_cast<std::uint16_t>(crc);
}

std::size_t seal(std::span<std::uint8_t> frame, std::size_t size) {
  const std::uint16_t crc = crc16(frame.first(size));
  frame[size] = static_cast<std::uint8_t>(crc & 0xFF);
  frame[size + 1] = static_cast<std::uint8_t>(crc >> 8);
  return size + 2;
}

ServerRequest parse_request(std::span<const std::uint8_t> request, std::uint8_t unit) {
  ServerRequest asked;
  if (request.size() < 4 || request.size() > adu_bytes_max) return asked;
  if (request[0] != unit && request[0] != 0) return asked;
  if (!crc_matches(request)) return asked;
  asked.broadcast = request[0] == 0;
  asked.function = request[1];
  if (asked.function == 0 || asked.function >= 0x80) return asked;   // not a request (V1.1b3, 4.1)
  if (!supported(asked.function)) return refused(asked, illegal_function);
  if (!parse_pdu(asked, request.subspan(1, request.size() - 3))) return refused(asked, illegal_value);
  if (asked.broadcast && asked.read_count != 0) return asked;        // a broadcast only writes (serial line guide, 2.1)
  asked.kind = ServerRequest::Kind::accepted;
  return asked;
}

std::size_t encode_exception(std::uint8_t unit, std::uint8_t function, Exception exception, std::span<std::uint8_t> reply) {
  reply[0] = unit;
  reply[1] = static_cast<std::uint8_t>(function | 0x80);
  reply[2] = exception;
  return seal(reply, 3);
}

std::size_t encode_read(std::uint8_t unit, Function function, std::uint16_t address, std::uint16_t count,
                        std::span<std::uint8_t> request) {
  if (count < 1 || count > read_registers_max || request.size() < 8) return 0;
  if (function != read_holding && function != read_input) return 0;
  request[0] = unit;
  request[1] = function;
  put_u16(&request[2], address);
  put_u16(&request[4], count);
  return seal(request, 6);
}

std::size_t encode_write_single(std::uint8_t unit, std::uint16_t address, std::uint16_t value, std::span<std::uint8_t> request) {
  if (request.size() < 8) return 0;
  request[0] = unit;
  request[1] = write_single;
  put_u16(&request[2], address);
  put_u16(&request[4], value);
  return seal(request, 6);
}

std::size_t encode_write_multiple(std::uint8_t unit, std::uint16_t address, std::span<const std::uint8_t> big_endian,
                                  std::span<std::uint8_t> request) {
  const std::size_t count = big_endian.size() / 2;
  if (big_endian.size() % 2 != 0 || count < 1 || count > write_registers_max || request.size() < 9 + big_endian.size()) return 0;
  request[0] = unit;
  request[1] = write_multiple;
  put_u16(&request[2], address);
  put_u16(&request[4], static_cast<std::uint16_t>(count));
  request[6] = static_cast<std::uint8_t>(big_endian.size());
  std::memcpy(&request[7], big_endian.data(), big_endian.size());
  return seal(request, 7 + big_endian.size());
}

std::size_t encode_write_and_read(std::uint8_t unit, std::uint16_t read_address, std::uint16_t read_count,
                                  std::uint16_t write_address, std::span<const std::uint8_t> big_endian,
                                  std::span<std::uint8_t> request) {
  const std::size_t count = big_endian.size() / 2;
  if (read_count < 1 || read_count > read_registers_max) return 0;
  if (big_endian.size() % 2 != 0 || count < 1 || count > write_read_registers_max || request.size() < 13 + big_endian.size()) return 0;
  request[0] = unit;
  request[1] = write_and_read;
  put_u16(&request[2], read_address);
  put_u16(&request[4], read_count);
  put_u16(&request[6], write_address);
  put_u16(&request[8], static_cast<std::uint16_t>(count));
  request[10] = static_cast<std::uint8_t>(big_endian.size());
  std::memcpy(&request[11], big_endian.data(), big_endian.size());
  return seal(request, 11 + big_endian.size());
}

Reply check_reply(std::span<const std::uint8_t> request, std::span<const std::uint8_t> reply) {
  if (request.size() < 8) return reply_of(ReplyStatus::malformed);
  if (reply.size() < 5 || reply.size() > adu_bytes_max || !crc_matches(reply)) return reply_of(ReplyStatus::damaged);
  if (reply[0] != request[0] || (reply[1] & 0x7F) != request[1]) return reply_of(ReplyStatus::foreign);
  if ((reply[1] & 0x80) != 0) {
    Reply refusal = reply_of(reply.size() == 5 ? ReplyStatus::refused : ReplyStatus::malformed);
    refusal.exception = reply[2];
    return refusal;
  }
  const bool reads = request[1] == read_holding || request[1] == read_input || request[1] == write_and_read;
  if (!reads) {
    const bool echoed = reply.size() == 8 && std::equal(reply.begin() + 2, reply.begin() + 6, request.begin() + 2);
    return reply_of(echoed ? ReplyStatus::ok : ReplyStatus::malformed);
  }
  const std::size_t bytes = 2u * get_u16(&request[4]);   // FC 03, 04 and 23 have the read count in the same place
  if (reply[2] != bytes || reply.size() != 5 + bytes) return reply_of(ReplyStatus::malformed);
  Reply good = reply_of(ReplyStatus::ok);
  good.registers = reply.subspan(3, bytes);
  return good;
}

}  // namespace plant::modbus
