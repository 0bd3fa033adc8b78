#include "sim/line_fault.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "plant/modbus.h"
#include "sim/faults.h"

namespace sim {

namespace {

// Draws of one frame: one word per byte for damage, one for loss.
constexpr std::uint64_t draws_per_frame = 2 * LineNoise::bytes_max;

double unit_interval(std::uint64_t bits) { return static_cast<double>(bits >> 11) * 0x1p-53; }

// Two faults at once: independent chances.
double either(double one, double other) { return one + other - one * other; }

// 0 is none.
std::uint8_t lesser_unit(std::uint8_t one, double other) {
  return one == 0 ? static_cast<std::uint8_t>(other) : std::min(one, static_cast<std::uint8_t>(other));
}

std::int64_t ns_of_ms(double ms) { return static_cast<std::int64_t>(std::llround(ms * 1e6)); }

}  // namespace

void apply_to_line(FaultAction action, std::span<const double> values, LineFault& line) {
  line.set = true;
  switch (action) {
    case FaultAction::line_drop:
      line.drop_rate = either(line.drop_rate, values[0]);
      line.drop_bytes += static_cast<std::uint32_t>(values[1]);
      break;
    case FaultAction::line_corrupt: line.corrupt_rate = either(line.corrupt_rate, values[0]); break;
    case FaultAction::line_late: line.late_ns += ns_of_ms(values[0]); break;
    case FaultAction::line_silent: line.request_lost = line.answer_lost = true; break;
    case FaultAction::line_requests_lost: line.request_lost = true; break;
    case FaultAction::line_answers_lost: line.answer_lost = true; break;
    case FaultAction::line_bit_errors: line.bit_errors_per_s += values[0]; break;
    case FaultAction::line_inserted: line.insert_rate = either(line.insert_rate, values[0]); break;
    case FaultAction::line_truncated: line.cut_bytes += static_cast<std::uint32_t>(values[0]); break;
    case FaultAction::line_gap:
      if (ns_of_ms(values[0]) < line.gap_ns) break;
      line.gap_ns = ns_of_ms(values[0]);
      line.gap_place = static_cast<std::uint32_t>(values[1]);
      break;
    case FaultAction::line_tick_late: line.tick_late = true; break;
    case FaultAction::line_swapped: line.swapped = true; break;
    case FaultAction::line_duplicated: line.duplicated = true; break;
    case FaultAction::line_repeated: line.repeated = true; break;
    case FaultAction::line_echoed: line.echoed = true; break;
    case FaultAction::line_foreign: line.foreign_unit = lesser_unit(line.foreign_unit, values[0]); break;
    default: break;
  }
}

bool LineNoise::pass(std::span<const std::uint8_t> from, std::uint64_t tick, double period_s, const LineFault& fault,
                     std::array<std::uint8_t, bytes_max>& to, std::size_t& size) const {
  size = 0;
  bool damaged = false;
  // Bits a second, spread over the bytes of a whole exchange: a frame meets its share of them.
  const double struck = fault.bit_errors_per_s * period_s / static_cast<double>(field_request_bytes + field_answer_bytes);
  const double flipped = either(fault.corrupt_rate, struck);
  for (std::size_t at = 0; at < from.size() && at < bytes_max && size < bytes_max; ++at) {
    const std::uint64_t chance = stream_.bits(tick * draws_per_frame + at);
    std::uint8_t byte = from[at];
    if (unit_interval(chance) < flipped) byte ^= static_cast<std::uint8_t>(1u << (chance & 7u));
    const bool dropped = stream_.uniform(tick * draws_per_frame + bytes_max + at) < fault.drop_rate;
    damaged |= dropped || byte != from[at];
    if (!dropped) to[size++] = byte;
    if (fault.insert_rate <= 0.0) continue;
    const std::uint64_t extra = inserted_.bits(tick * bytes_max + at);
    if (unit_interval(extra) >= fault.insert_rate || size == bytes_max) continue;
    to[size++] = static_cast<std::uint8_t>(extra & 0xFFu);
    damaged = true;
  }
  return damaged;
}

std::size_t as_foreign(std::span<const std::uint8_t> answer, std::uint8_t unit, std::span<std::uint8_t> to) {
  if (answer.size() < 4 || to.size() < answer.size()) return 0;
  std::copy(answer.begin(), answer.end(), to.begin());
  to[0] = unit;
  const std::size_t body = answer.size() - 2;
  const std::uint16_t crc = plant::modbus::crc16(to.first(body));
  to[body] = static_cast<std::uint8_t>(crc);
  to[body + 1] = static_cast<std::uint8_t>(crc >> 8);
  return answer.size();
}

}  // namespace sim
