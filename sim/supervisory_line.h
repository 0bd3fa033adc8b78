// The supervisory line between operator and core under a fault: silence, flipped bits, bytes that nobody sent, a write that comes
// twice, another master's traffic. Draws are words of counter-based streams, so the line itself has no state.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "sim/controller_fault.h"
#include "sim/line_fault.h"

namespace sim {

class SupervisoryLine {
 public:
  static constexpr std::size_t bytes_max = 512;   // in one tick, as fw::lockstep::supervisory_bytes_max

  explicit SupervisoryLine(std::uint64_t seed);

  // What the core hears of the operator's request, what the operator hears of the core's answer; valid until the next call.
  std::span<const std::uint8_t> to_core(std::uint64_t tick, std::span<const std::uint8_t> request, const ControllerFault& fault);
  std::span<const std::uint8_t> to_operator(std::uint64_t tick, std::span<const std::uint8_t> answer, const ControllerFault& fault);

 private:
  void add(std::span<const std::uint8_t> bytes);

  LineNoise requests_, answers_;
  plant::RandomStream noise_;
  std::array<std::uint8_t, bytes_max> heard_{};
  std::size_t size_ = 0;
  std::array<std::uint8_t, LineNoise::bytes_max> passed_{};
};

}  // namespace sim
