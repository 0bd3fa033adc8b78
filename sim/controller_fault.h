// What the controller's power, its supervisory line and its store are told for one tick. Neutral as constructed.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/controller.h"

namespace sim {

struct ControllerFault {
  // its power
  bool off = false;                       // without power
  bool reset = false;                     // its memory is lost in this tick; power stays
  fw::ResetCause cause = fw::ResetCause::power_on;
  double boot_s = 0.0;                    // from power or reset to the first tick it takes part in
  std::uint64_t clock_ahead_us = 0;       // what it is told of the time besides
  // its supervisory line
  bool line_silent = false;               // nothing passes, either way
  bool write_doubled = false;             // a request that writes comes twice
  double corrupt_rate = 0.0;              // share of bytes with one bit flipped, each way
  std::uint32_t noise_bytes = 0;          // that nobody sent, before every request
  std::uint8_t foreign_unit = 0;          // a second master starts a programme of this unit; 0 none
  // its store
  bool write_lost = false;                // acknowledged, but nothing is written
  std::int32_t torn_bytes = -1;           // of every write only so many bytes are written; -1 all
  double write_delay_s = 0.0;             // a write is in the store only so much later
  bool bit_flipped = false;               // in this tick
  std::uint32_t flip_byte = 0;
  std::uint8_t flip_bit = 0;

  bool any_power = false, any_line = false, any_store = false;   // that part is looked at only if set
};

enum class FaultAction : std::uint8_t;
// The part of one active fault, beside what others do; values as its row in the table has them.
void apply_to_power(FaultAction action, std::span<const double> values, ControllerFault& controller);
void apply_to_supervisory(FaultAction action, std::span<const double> values, ControllerFault& controller);
void apply_to_store(FaultAction action, std::span<const double> values, ControllerFault& controller);

}  // namespace sim
