// What the field line is told for one tick, and the transforms of bytes that this makes. Every draw is a word of a counter-based
// stream, indexed by tick and byte: the same tick gives the same damage, whatever went before.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "plant/random.h"

namespace sim {

inline constexpr std::size_t field_request_bytes = 49;     // FC 23 that writes 18 registers
inline constexpr std::size_t field_answer_bytes = 113;     // and reads 54

// Neutral as constructed.
struct LineFault {
  double drop_rate = 0.0;         // share of bytes lost, each direction
  std::uint32_t drop_bytes = 0;   // bytes lost from the head of the answer
  std::uint32_t cut_bytes = 0;    // bytes lost from its end
  double corrupt_rate = 0.0;      // share of bytes with one bit flipped
  double insert_rate = 0.0;       // share of bytes behind which there comes one that nobody sent
  double bit_errors_per_s = 0.0;  // bits flipped per second, spread over the bytes of the exchange
  std::int64_t late_ns = 0;       // the answer comes this much later
  std::int64_t gap_ns = 0;        // the line falls silent for so long within the answer, behind gap_place bytes
  std::uint32_t gap_place = 0;
  std::uint8_t foreign_unit = 0;  // an answer of this unit passes before the station's; 0 none
  bool tick_late = false;         // the answer comes one period later
  bool swapped = false;           // the answers of two ticks arrive together, the later one first
  bool duplicated = false;        // the answer before comes once more, ahead of the new one
  bool repeated = false;          // and in place of the new one
  bool echoed = false;            // the core hears its own request
  bool request_lost = false, answer_lost = false;   // that way nothing passes
  bool set = false;               // any of the above: the line looks no further if not
  bool any() const { return set; }
};

enum class FaultAction : std::uint8_t;
// The part of one active fault, beside what others do: chances are independent, lengths and delays add up. values as its row in the
// table has them.
void apply_to_line(FaultAction action, std::span<const double> values, LineFault& line);

// The chances of bytes in one direction.
class LineNoise {
 public:
  static constexpr std::size_t bytes_max = 256;           // of one frame, as sent and as it arrives

  LineNoise() = default;
  LineNoise(std::uint64_t seed, std::string_view direction, std::string_view inserted)
      : stream_(seed, direction), inserted_(seed, inserted) {}

  // Copies with the fault's losses, flips and insertions; true if the frame is not what was sent. What goes beyond bytes_max is lost.
  bool pass(std::span<const std::uint8_t> from, std::uint64_t tick, double period_s, const LineFault& fault,
            std::array<std::uint8_t, bytes_max>& to, std::size_t& size) const;

 private:
  plant::RandomStream stream_, inserted_;
};

// The station's answer as another unit would have sent it: unit number and CRC changed. Returns its size, 0 of a frame too short.
std::size_t as_foreign(std::span<const std::uint8_t> answer, std::uint8_t unit, std::span<std::uint8_t> to);

}  // namespace sim
