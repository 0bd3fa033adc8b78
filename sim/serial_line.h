// The field line between core and station: byte times, latency, utilisation, and the line faults. Frames are always real;
// instants are integer nanoseconds, start + bytes * bits * 1e9 / baud, never summed. Without a line fault no byte event is
// simulated: the instants come from the sizes, and the bytes are the same either way.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "sim/archive.h"
#include "sim/clock.h"
#include "sim/line_fault.h"

namespace sim {

inline constexpr int bits_per_byte = 11;                   // 8E1: start, eight data, parity, stop
inline constexpr double exchange_share_max = 0.8;

// When the last of `bytes` bytes has passed that start at start_ns.
std::int64_t last_byte_ns(std::int64_t start_ns, std::size_t bytes, double baud);

// Silence that ends a frame: 3.5 characters, and 1.75 ms above 19200 baud (Modbus over Serial Line V1.02, 2.5.1.1).
std::int64_t frame_silence_ns(double baud);

// Share of the control period that one exchange of the field line takes, silences included: a scenario above
// exchange_share_max is refused when it is read. exchange_s is the same as a time.
double exchange_s(double baud, std::size_t request_bytes = field_request_bytes, std::size_t answer_bytes = field_answer_bytes);
double exchange_share(double baud, double period_s);

// What has arrived by a tick boundary.
struct Arrival {
  // Not a span: copying two words just written as one waits until all that was stored before is in the cache (GCC 12, -O3).
  const std::uint8_t* data = nullptr;    // valid until the next call
  std::uint32_t size = 0;
  std::uint64_t last_us = 0;

  std::span<const std::uint8_t> bytes() const { return {data, size}; }
};

class SerialLine {
 public:
  static constexpr std::size_t answers_in_flight = 8;   // a late answer beyond these pushes the oldest out
  static constexpr std::size_t bytes_max = LineNoise::bytes_max;
  static constexpr std::size_t arrival_bytes_max = 1024;   // in one tick (fw::lockstep::field_bytes_max); of more the last ones

  struct Count {
    std::uint64_t exchanges = 0;   // request heard whole and answered whole
    std::uint64_t errors = 0;      // answers missing, late or damaged
    std::uint64_t retries = 0;     // requests that followed such an exchange
    std::uint64_t latency_sum_ns = 0;
    std::uint64_t latency_max_ns = 0;
    std::uint64_t busy_ns = 0;
  };

  SerialLine(double baud, Clock clock, std::uint64_t seed);

  // The request that leaves at the boundary of `tick`: what the station hears of it.
  std::span<const std::uint8_t> request(std::uint64_t tick, std::span<const std::uint8_t> bytes, const LineFault& fault);
  // The station's answer to it; empty when it is silent.
  void answer(std::uint64_t tick, std::span<const std::uint8_t> bytes, const LineFault& fault);
  // Everything that has arrived by the boundary of `tick`, in order of arrival.
  Arrival take(std::uint64_t tick);

  void visit(Archive& archive) { archive(state_); }     // everything of it that changes
  void take_over(const SerialLine& past) { state_ = past.state_; }   // go on where `past` stands

  const Count& count() const { return state_.count; }
  bool failed() const { return state_.failed; }         // the last exchange was in error

 private:
  struct Flight {
    std::array<std::uint8_t, bytes_max> bytes{};
    std::size_t size = 0;
    std::int64_t arrival_ns = 0;
  };
  struct State {
    std::array<Flight, answers_in_flight> flights{};
    std::size_t flying = 0;                              // oldest first
    std::int64_t heard_ns = 0;                           // the request's last byte
    std::size_t request_size = 0;
    bool request_damaged = false;
    bool failed = false;
    Flight echo, previous;                               // while a fault wants them: the request as it passed, the answer before
    std::uint64_t previous_tick = 0;                     // in which that was kept
    Count count;
  };

  static void keep(std::span<const std::uint8_t> bytes, Flight& flight);
  void push(std::span<const std::uint8_t> bytes, std::int64_t arrival_ns);
  // What the core hears of an answer under a fault; true if it is not whole.
  bool push_disturbed(std::uint64_t tick, std::span<const std::uint8_t> bytes, std::int64_t arrival_ns, const LineFault& fault);
  void push_strangers(std::span<const std::uint8_t> bytes, std::int64_t arrival_ns, const LineFault& fault);
  std::int64_t delay_ns(std::uint64_t tick, const LineFault& fault) const;

  double baud_;
  Clock clock_;
  LineNoise to_station_, to_core_;
  std::int64_t silence_ns_;
  State state_;
  std::array<std::uint8_t, bytes_max> heard_{};
  std::array<std::uint8_t, arrival_bytes_max> arrived_{};
};

}  // namespace sim
