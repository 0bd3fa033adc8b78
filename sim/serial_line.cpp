#include "sim/serial_line.h"

#include <algorithm>
#include <cmath>
#include <cstring>

namespace sim {

namespace {

// Draws of one frame: one word per byte for damage, one for loss, in a stream of their own per direction.
constexpr std::uint64_t draws_per_frame = 2 * SerialLine::bytes_max;

double unit_interval(std::uint64_t bits) { return static_cast<double>(bits >> 11) * 0x1p-53; }

}  // namespace

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
    : baud_(baud), clock_(clock), to_station_(seed, "line.request"), to_core_(seed, "line.answer"), silence_ns_(frame_silence_ns(baud)) {}

bool SerialLine::pass(std::span<const std::uint8_t> from, const plant::RandomStream& stream, std::uint64_t tick, const LineFault& fault,
                      std::array<std::uint8_t, bytes_max>& to, std::size_t& size) {
  size = 0;
  bool damaged = false;
  for (std::size_t at = 0; at < from.size() && at < bytes_max; ++at) {
    const std::uint64_t chance = stream.bits(tick * draws_per_frame + at);
    std::uint8_t byte = from[at];
    if (unit_interval(chance) < fault.corrupt_rate) byte ^= static_cast<std::uint8_t>(1u << (chance & 7u));
    const bool dropped = stream.uniform(tick * draws_per_frame + bytes_max + at) < fault.drop_rate;
    damaged |= dropped || byte != from[at];
    if (!dropped) to[size++] = byte;
  }
  return damaged;
}

std::span<const std::uint8_t> SerialLine::request(std::uint64_t tick, std::span<const std::uint8_t> bytes, const LineFault& fault) {
  if (state_.failed) ++state_.count.retries;
  state_.heard_ns = last_byte_ns(clock_.boundary_ns(tick), bytes.size(), baud_);
  state_.request_size = bytes.size();
  state_.request_damaged = false;
  if (!fault.any()) return bytes;
  if (fault.silent) {
    state_.request_damaged = true;
    return {};
  }
  std::size_t size = 0;
  state_.request_damaged = pass(bytes, to_station_, tick, fault, heard_, size);
  return {heard_.data(), size};
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
  flight.size = std::min(bytes.size(), bytes_max);
  std::memcpy(flight.bytes.data(), bytes.data(), flight.size);
  flight.arrival_ns = arrival_ns;
}

void SerialLine::answer(std::uint64_t tick, std::span<const std::uint8_t> bytes, const LineFault& fault) {
  Count& count = state_.count;
  const std::int64_t start_ns = clock_.boundary_ns(tick);
  const std::int64_t begin_ns = state_.heard_ns + silence_ns_ + (fault.silent ? 0 : fault.late_ns);
  const std::int64_t arrival_ns = last_byte_ns(begin_ns, bytes.size(), baud_);
  count.busy_ns += static_cast<std::uint64_t>(last_byte_ns(0, state_.request_size + bytes.size(), baud_));

  bool damaged = state_.request_damaged || bytes.empty();
  if (!fault.any()) {
    push(bytes, arrival_ns);
  } else if (!fault.silent) {
    std::array<std::uint8_t, bytes_max> passed{};
    std::size_t size = 0;
    damaged |= pass(bytes, to_core_, tick, fault, passed, size);
    const std::size_t lost = std::min<std::size_t>(fault.drop_bytes, size);
    damaged |= lost > 0;
    push({passed.data() + lost, size - lost}, arrival_ns);
  } else {
    damaged = true;
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
    std::memcpy(arrived_.data() + size, flight.bytes.data(), flight.size);
    size += flight.size;
    last_ns = flight.arrival_ns;
  }
  if (taken > 0 && taken < state_.flying)
    std::move(state_.flights.begin() + static_cast<std::ptrdiff_t>(taken),
              state_.flights.begin() + static_cast<std::ptrdiff_t>(state_.flying), state_.flights.begin());
  state_.flying -= taken;
  return {{arrived_.data(), size}, static_cast<std::uint64_t>(last_ns / 1000)};
}

}  // namespace sim
