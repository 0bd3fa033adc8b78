#include "sim/serial_line.h"

#include <algorithm>
#include <cmath>
#include <cstring>

namespace sim {

std::int64_t last_byte_ns(std::int64_t start_ns, std::size_t bytes, double baud) {
  const std::int64_t bits = static_cast<std::int64_t>(bytes) * bits_per_byte;
  return start_ns + bits * 1'000'000'000 / std::llround(baud);
}

std::int64_t frame_silence_ns(double baud) {
  return baud > 19200.0 ? 1'750'000 : (bits_per_byte * 3'500'000'000 / std::llround(baud));
}

double exchange_s(double baud, std::size_t request_bytes, std::size_t answer_bytes) {
  const std::int64_t total_ns = last_byte_ns(0, request_bytes + answer_bytes, baud) + 2 * frame_silence_ns(baud);
  return static_cast<double>(total_ns) * 1e-9;
}

double exchange_share(double baud, double period_s) { return exchange_s(baud) / period_s; }

SerialLine::SerialLine(double baud, Clock clock, std::uint64_t seed)
    : baud_(baud), clock_(clock), to_station_(seed, "line.request", "line.request.inserted"),
      to_core_(seed, "line.answer", "line.answer.inserted"), silence_ns_(frame_silence_ns(baud)) {}

std::span<const std::uint8_t> SerialLine::request(std::uint64_t tick, std::span<const std::uint8_t> bytes, const LineFault& fault) {
  if (state_.failed) ++state_.count.retries;
  state_.heard_ns = last_byte_ns(clock_.boundary_ns(tick), bytes.size(), baud_);
  state_.request_size = bytes.size();
  state_.request_damaged = false;
  if (!fault.any()) return bytes;
  keep(fault.echoed ? bytes : std::span<const std::uint8_t>(), state_.echo);
  if (fault.request_lost) {
    state_.request_damaged = true;
    return {};
  }
  std::size_t size = 0;
  state_.request_damaged = to_station_.pass(bytes, tick, clock_.period_s(), fault, heard_, size);
  return {heard_.data(), size};
}

void SerialLine::keep(std::span<const std::uint8_t> bytes, Flight& flight) {
  flight.size = std::min(bytes.size(), bytes_max);
  if (flight.size > 0) std::memcpy(flight.bytes.data(), bytes.data(), flight.size);
}

void SerialLine::push(std::span<const std::uint8_t> bytes, std::int64_t arrival_ns) {
  if (bytes.empty()) return;
  if (state_.flying == answers_in_flight) {
    std::move(state_.flights.begin() + 1, state_.flights.end(), state_.flights.begin());
    --state_.flying;
  }
  std::size_t at = state_.flying++;
  while (at > 0 && state_.flights[at - 1].arrival_ns > arrival_ns) {  // a late answer is overtaken when the lateness ends
    state_.flights[at] = state_.flights[at - 1];
    --at;
  }
  Flight& flight = state_.flights[at];
  keep(bytes, flight);
  flight.arrival_ns = arrival_ns;
}

std::int64_t SerialLine::delay_ns(std::uint64_t tick, const LineFault& fault) const {
  constexpr std::int64_t behind_ns = 1000;   // of two answers that change places the earlier one comes just behind the later
  const bool held_back = fault.swapped && tick % 2 == 0;
  return fault.late_ns + (fault.tick_late ? clock_.period_ns : 0) + (held_back ? clock_.period_ns + behind_ns : 0);
}

// What else passes on the line before the answer.
void SerialLine::push_strangers(std::span<const std::uint8_t> bytes, std::int64_t arrival_ns, const LineFault& fault) {
  if (fault.echoed) push({state_.echo.bytes.data(), state_.echo.size}, state_.heard_ns);
  if (fault.foreign_unit != 0) {
    std::array<std::uint8_t, bytes_max> foreign;
    push({foreign.data(), as_foreign(bytes, fault.foreign_unit, foreign)}, arrival_ns);
  }
}

bool SerialLine::push_disturbed(std::uint64_t tick, std::span<const std::uint8_t> bytes, std::int64_t arrival_ns, const LineFault& fault) {
  push_strangers(bytes, arrival_ns, fault);
  std::array<std::uint8_t, bytes_max> passed;
  std::size_t size = 0;
  bool damaged = to_core_.pass(bytes, tick, clock_.period_s(), fault, passed, size);
  const std::size_t head = std::min<std::size_t>(fault.drop_bytes, size);
  const std::size_t tail = std::min<std::size_t>(fault.cut_bytes, size - head);
  const std::span<const std::uint8_t> left(passed.data() + head, size - head - tail);
  damaged |= head + tail > 0;
  if (fault.duplicated || fault.repeated) {
    const bool known = state_.previous.size > 0 && state_.previous_tick + 1 == tick;
    state_.previous_tick = tick;
    if (known) push({state_.previous.bytes.data(), state_.previous.size}, arrival_ns);
    if (known && fault.repeated) return true;   // and goes on repeating that one
    keep(left, state_.previous);
  }
  const std::size_t before_gap = fault.gap_ns > 0 ? std::min<std::size_t>(fault.gap_place, left.size()) : 0;
  if (before_gap > 0) push(left.first(before_gap), arrival_ns);
  push(left.subspan(before_gap), arrival_ns + fault.gap_ns);
  return damaged;
}

void SerialLine::answer(std::uint64_t tick, std::span<const std::uint8_t> bytes, const LineFault& fault) {
  Count& count = state_.count;
  const std::int64_t start_ns = clock_.boundary_ns(tick);
  const std::int64_t begin_ns = state_.heard_ns + silence_ns_ + (fault.any() ? delay_ns(tick, fault) : 0);
  std::int64_t arrival_ns = last_byte_ns(begin_ns, bytes.size(), baud_);
  count.busy_ns += static_cast<std::uint64_t>(last_byte_ns(0, state_.request_size + bytes.size(), baud_));

  bool damaged = state_.request_damaged || bytes.empty();
  if (!fault.any()) {
    push(bytes, arrival_ns);
  } else if (fault.answer_lost) {
    damaged = true;
  } else {
    damaged |= push_disturbed(tick, bytes, arrival_ns, fault);
    arrival_ns += fault.gap_ns;
  }
  state_.failed = state_.request_size > 0 && (damaged || arrival_ns > clock_.boundary_ns(tick + 1));
  if (state_.request_size == 0) return;  // the core sent nothing: neither an exchange nor an error
  if (state_.failed) ++count.errors;
  if (damaged) return;
  const auto latency_ns = static_cast<std::uint64_t>(arrival_ns - start_ns);
  ++count.exchanges;
  count.latency_sum_ns += latency_ns;
  count.latency_max_ns = std::max(count.latency_max_ns, latency_ns);
}

Arrival SerialLine::take(std::uint64_t tick) {
  const std::int64_t now_ns = clock_.boundary_ns(tick);
  std::size_t size = 0;
  std::size_t taken = 0;
  std::int64_t last_ns = 0;
  while (taken < state_.flying && state_.flights[taken].arrival_ns <= now_ns) {
    const Flight& flight = state_.flights[taken++];
    if (size + flight.size > arrival_bytes_max) size = 0;   // more than any receiver holds: what came before is lost
    std::memcpy(arrived_.data() + size, flight.bytes.data(), flight.size);
    size += flight.size;
    last_ns = flight.arrival_ns;
  }
  if (taken > 0 && taken < state_.flying)
    std::move(state_.flights.begin() + static_cast<std::ptrdiff_t>(taken),
              state_.flights.begin() + static_cast<std::ptrdiff_t>(state_.flying), state_.flights.begin());
  state_.flying -= taken;
  return {arrived_.data(), static_cast<std::uint32_t>(size), static_cast<std::uint64_t>(last_ns / 1000)};
}

}  // namespace sim
