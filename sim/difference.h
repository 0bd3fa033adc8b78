// Where two cores that were given the same bytes part ways, in the words of the register maps.
#pragma once

#include <cstdint>
#include <span>
#include <string>

#include "sim/endpoint.h"

namespace sim {

struct Difference {
  std::uint64_t tick = 0;
  std::string port;          // "field", "supervisory", "store"
  std::string place;         // "register 0x010c, flow set point of mass-flow controller 1", "size", "CRC", ...
  std::string expected, found;
  std::string text() const;  // one line
};

// True if both sent and stored the same.
bool same_output(const TickOut& expected, const TickOut& found);

// The first byte that differs, named. request: what the supervisory port was asked in that tick. Only for outputs that differ.
Difference name_difference(std::uint64_t tick, const TickOut& expected, const TickOut& found,
                           std::span<const std::uint8_t> request);

// Name of a register of the field line's write block (0x0100..), "" outside it.
std::string field_register_name(std::uint16_t address);

}  // namespace sim
