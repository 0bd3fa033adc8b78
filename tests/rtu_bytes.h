// Modbus RTU as the tests that stand opposite the core write and read it: their own, so that core and bench are checked against a
// framing that is neither's.
#pragma once

#include <array>
#include <bit>
#include <concepts>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

#include "firmware/registers.h"

namespace rtu {

using Bytes = std::vector<std::uint8_t>;

inline std::uint16_t crc16(std::span<const std::uint8_t> bytes) {
  unsigned crc = 0xFFFF;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) ? (crc >> 1) ^ 0xA001u : crc >> 1;
  }
  return static_cast<std::uint16_t>(crc);
}

inline void put16(Bytes& bytes, unsigned value) {
  bytes.push_back(static_cast<std::uint8_t>(value >> 8));
  bytes.push_back(static_cast<std::uint8_t>(value));
}

// A float keeps its bits, those of a signalling NaN too.
inline void put_float(Bytes& bytes, std::floating_point auto value) {
  const auto bits = std::bit_cast<std::uint32_t>(static_cast<float>(value));
  put16(bytes, bits >> 16);
  put16(bytes, bits & 0xFFFFu);
}

inline unsigned get16(std::span<const std::uint8_t> bytes, std::size_t at) { return bytes[at] * 256u + bytes[at + 1]; }

inline float get_float(std::span<const std::uint8_t> bytes, std::size_t at) {
  return std::bit_cast<float>(static_cast<std::uint32_t>(get16(bytes, at) << 16 | get16(bytes, at + 2)));
}

inline Bytes sealed(Bytes frame) {
  const std::uint16_t crc = crc16(frame);
  frame.push_back(static_cast<std::uint8_t>(crc));
  frame.push_back(static_cast<std::uint8_t>(crc >> 8));
  return frame;
}

inline Bytes read_request(unsigned function, unsigned address, unsigned count) {
  Bytes bytes{1, static_cast<std::uint8_t>(function)};
  put16(bytes, address);
  put16(bytes, count);
  return sealed(std::move(bytes));
}

inline Bytes monitor_read() { return read_request(4, 0, fw::monitor_registers(4)); }

inline Bytes write_request(unsigned address, const Bytes& data) {
  Bytes bytes{1, 16};
  put16(bytes, address);
  put16(bytes, static_cast<unsigned>(data.size() / 2));
  bytes.push_back(static_cast<std::uint8_t>(data.size()));
  bytes.insert(bytes.end(), data.begin(), data.end());
  return sealed(std::move(bytes));
}

// A command the way an operator's station sends it, FC 23 with the monitor block.
inline Bytes command_request(unsigned code, unsigned argument, std::floating_point auto value) {
  Bytes bytes{1, 23};
  put16(bytes, 0);
  put16(bytes, fw::monitor_registers(4));
  put16(bytes, fw::command_address);
  put16(bytes, 4);
  bytes.push_back(8);
  put16(bytes, code);
  put16(bytes, argument);
  put_float(bytes, value);
  return sealed(std::move(bytes));
}

// What the core has the station do; coils by the masks of fw::coil.
struct Order {
  unsigned sequence = 0, coils = 0, safe_row = 0, gas = 0;
  std::array<float, 4> demand{};
  std::array<float, 2> flow_ma{4.0f, 4.0f};
  float valve_frac = 1.0f;
  bool coil(unsigned mask) const { return (coils & mask) != 0; }
};

// Takes an order from the core's request; false: it is none.
inline bool take_order(std::span<const std::uint8_t> frame, Order& order) {
  if (frame.size() != 49 || crc16(frame) != 0 || frame[0] != 1 || frame[1] != 23) return false;
  if (get16(frame, 2) != 0 || get16(frame, 4) != 54 || get16(frame, 6) != 0x100 || get16(frame, 8) != 18) return false;
  constexpr std::size_t data = 11;
  order.sequence = get16(frame, data);
  order.coils = get16(frame, data + 2);
  order.safe_row = get16(frame, data + 4);
  order.gas = get16(frame, data + 6);
  for (std::size_t z = 0; z < 4; ++z) order.demand[z] = get_float(frame, data + 8 + 4 * z);
  for (std::size_t m = 0; m < 2; ++m) order.flow_ma[m] = get_float(frame, data + 24 + 4 * m);
  order.valve_frac = get_float(frame, data + 32);
  return true;
}

}  // namespace rtu
