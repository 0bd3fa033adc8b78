#include "sim/difference.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

#include <fmt/format.h>

#include "firmware/registers.h"

namespace sim {

namespace {

using Bytes = std::span<const std::uint8_t>;

// A register as the frame holds it. first: the address of the (first) register of a value.
struct Register {
  std::uint16_t first = 0;
  std::size_t first_byte = 0;   // in the frame
  std::size_t bytes = 2;
  bool is_float = false;
  std::string name;
};

constexpr std::uint16_t field_write_address = 0x0100;
constexpr std::size_t field_write_head = 11;      // unit, function, two addresses, two counts, byte count
constexpr std::size_t field_write_registers = 18;
constexpr std::size_t field_analogue_first = 4;   // float32 from 0x0104 on
constexpr std::size_t answer_head = 3;            // unit, function, byte count
constexpr std::size_t crc_bytes = 2;

std::uint16_t word(Bytes bytes, std::size_t at) {
  return at + 1 < bytes.size() ? static_cast<std::uint16_t>((bytes[at] << 8) | bytes[at + 1]) : std::uint16_t{0};
}

std::string value_text(Bytes bytes, const Register& where) {
  if (where.first_byte + where.bytes > bytes.size()) return "nothing";
  if (where.bytes == 2) return fmt::format("{}", word(bytes, where.first_byte));
  const std::uint32_t bits = (std::uint32_t{word(bytes, where.first_byte)} << 16) | word(bytes, where.first_byte + 2);
  if (where.is_float) return fmt::format("{:.9g}", std::bit_cast<float>(bits));
  return fmt::format("{}", bits);
}

Register field_register(std::size_t byte) {
  std::size_t index = (byte - field_write_head) / 2;
  Register where;
  if (index >= field_analogue_first) {
    index -= index % 2;
    where.bytes = 4;
    where.is_float = true;
  }
  where.first = static_cast<std::uint16_t>(field_write_address + index);
  where.first_byte = field_write_head + 2 * index;
  where.name = field_register_name(where.first);
  return where;
}

Register supervisory_register(std::size_t byte, std::uint16_t start) {
  Register where;
  where.first = static_cast<std::uint16_t>(start + (byte - answer_head) / 2);
  where.first_byte = answer_head + 2 * static_cast<std::size_t>(where.first - start);
  for (const fw::RegisterInfo& info : fw::monitor_table()) {
    const int size = info.type == fw::RegisterType::u16 ? 1 : 2;
    if (where.first < info.address || where.first >= info.address + size || info.address < start) continue;
    where.first = info.address;
    where.first_byte = answer_head + 2 * static_cast<std::size_t>(info.address - start);
    where.bytes = static_cast<std::size_t>(2 * size);
    where.is_float = info.type == fw::RegisterType::f32;
    where.name = info.name;
    break;
  }
  return where;
}

std::string place_text(const Register& where) {
  return fmt::format("register 0x{:04x}{}{}", where.first, where.name.empty() ? "" : ", ", where.name);
}

void fill(Difference& difference, Bytes expected, Bytes found, std::size_t data_begin, std::size_t data_end,
          const Register* where, std::size_t byte) {
  if (where != nullptr && byte >= data_begin && byte < data_end) {
    difference.place = place_text(*where);
    difference.expected = value_text(expected, *where);
    difference.found = value_text(found, *where);
    return;
  }
  difference.place = byte >= data_end && where != nullptr ? "CRC" : fmt::format("byte {}", byte);
  const auto text = [byte](Bytes bytes) { return byte < bytes.size() ? fmt::format("0x{:02x}", bytes[byte]) : std::string("nothing"); };
  difference.expected = text(expected);
  difference.found = text(found);
}

std::size_t first_difference(Bytes one, Bytes other) {
  return static_cast<std::size_t>(std::mismatch(one.begin(), one.end(), other.begin(), other.end()).first - one.begin());
}

void name_field(Difference& difference, Bytes expected, Bytes found) {
  difference.port = "field";
  const std::size_t byte = first_difference(expected, found);
  const std::size_t data_end = field_write_head + 2 * field_write_registers;
  const bool whole = expected.size() == data_end + crc_bytes && expected[1] == 23;
  Register where;
  if (whole && byte >= field_write_head && byte < data_end) where = field_register(byte);
  fill(difference, expected, found, field_write_head, data_end, whole ? &where : nullptr, byte);
}

void name_supervisory(Difference& difference, Bytes expected, Bytes found, Bytes request) {
  difference.port = "supervisory";
  const std::size_t byte = first_difference(expected, found);
  // FC 03, 04 and 23 all name the register the answer starts at in bytes 2 and 3 of the request.
  const bool read = request.size() > 4 && expected.size() > answer_head + crc_bytes && expected[1] == request[1] &&
                    (request[1] == 3 || request[1] == 4 || request[1] == 23);
  const std::size_t data_end = expected.size() - std::min(expected.size(), crc_bytes);
  Register where;
  if (read && byte >= answer_head && byte < data_end) where = supervisory_register(byte, word(request, 2));
  fill(difference, expected, found, answer_head, data_end, read ? &where : nullptr, byte);
}

void name_store(Difference& difference, const TickOut& expected, const TickOut& found) {
  difference.port = "store";
  if (expected.store_size != found.store_size) {
    difference.place = "size of the write";
    difference.expected = fmt::to_string(expected.store_size);
    difference.found = fmt::to_string(found.store_size);
  } else if (expected.store_offset != found.store_offset) {
    difference.place = "offset of the write";
    difference.expected = fmt::format("0x{:x}", expected.store_offset);
    difference.found = fmt::format("0x{:x}", found.store_offset);
  } else {
    const std::size_t byte = first_difference({expected.store.data(), expected.store_size}, {found.store.data(), found.store_size});
    difference.place = fmt::format("store byte 0x{:x}", expected.store_offset + byte);
    difference.expected = fmt::format("0x{:02x}", expected.store.at(byte));
    difference.found = fmt::format("0x{:02x}", found.store.at(byte));
  }
}

Bytes field_bytes(const TickOut& out) { return {out.field.data(), out.field_size}; }
Bytes supervisory_bytes(const TickOut& out) { return {out.supervisory.data(), out.supervisory_size}; }

bool same(Bytes one, Bytes other) { return one.size() == other.size() && std::memcmp(one.data(), other.data(), one.size()) == 0; }

}  // namespace

std::string Difference::text() const {
  return fmt::format("tick {}, {} port, {}: expected {}, found {}", tick, port, place, expected, found);
}

bool same_output(const TickOut& expected, const TickOut& found) {
  return same(field_bytes(expected), field_bytes(found)) && same(supervisory_bytes(expected), supervisory_bytes(found)) &&
         expected.store_size == found.store_size && (expected.store_size == 0 || expected.store_offset == found.store_offset) &&
         std::memcmp(expected.store.data(), found.store.data(), expected.store_size) == 0;
}

Difference name_difference(std::uint64_t tick, const TickOut& expected, const TickOut& found, std::span<const std::uint8_t> request) {
  Difference difference;
  difference.tick = tick;
  if (!same(field_bytes(expected), field_bytes(found)))
    name_field(difference, field_bytes(expected), field_bytes(found));
  else if (!same(supervisory_bytes(expected), supervisory_bytes(found)))
    name_supervisory(difference, supervisory_bytes(expected), supervisory_bytes(found), request);
  else
    name_store(difference, expected, found);
  return difference;
}

std::string field_register_name(std::uint16_t address) {
  static constexpr std::array<const char*, field_write_registers> names{
      "sequence", "coils", "safe row in force", "gas select", "heater demand of zone 1", "heater demand of zone 1",
      "heater demand of zone 2", "heater demand of zone 2", "heater demand of zone 3", "heater demand of zone 3",
      "heater demand of zone 4", "heater demand of zone 4", "flow set point of mass-flow controller 1",
      "flow set point of mass-flow controller 1", "flow set point of mass-flow controller 2",
      "flow set point of mass-flow controller 2", "back-pressure valve", "back-pressure valve"};
  const int index = address - field_write_address;
  return index < 0 || index >= static_cast<int>(names.size()) ? "" : names[static_cast<std::size_t>(index)];
}

}  // namespace sim
