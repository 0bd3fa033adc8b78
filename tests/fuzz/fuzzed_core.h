// A core under a fuzzer: what it sends is checked, and a check of its own that fails ends the program.
#pragma once

#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <span>
#include <vector>

#include "firmware/controller_state.h"
#include "tests/torture/torture.h"

namespace fuzz {

// Takes bytes off the front of what the fuzzer made up; noughts when it has run out.
class Source {
 public:
  Source(const std::uint8_t* data, std::size_t size) : left_(data, size) {}
  bool empty() const { return left_.empty(); }
  std::size_t size() const { return left_.size(); }
  std::uint8_t byte() {
    if (left_.empty()) return 0;
    const std::uint8_t value = left_.front();
    left_ = left_.subspan(1);
    return value;
  }
  std::uint32_t word() {
    std::uint32_t value = 0;
    for (int i = 0; i < 4; ++i) value = value << 8 | byte();
    return value;
  }
  torture::Bytes bytes(std::size_t most) {
    const std::size_t size = most < left_.size() ? most : left_.size();
    torture::Bytes taken(left_.begin(), left_.begin() + static_cast<std::ptrdiff_t>(size));
    left_ = left_.subspan(size);
    return taken;
  }

 private:
  std::span<const std::uint8_t> left_;
};

struct Core {
  std::unique_ptr<fw::Controller> controller = std::make_unique<fw::Controller>();
  std::uint64_t now_us = 0;
  unsigned sequence = 0;

  explicit Core(std::span<const std::uint8_t> store) { fw::start(*controller, store, fw::ResetCause::power_on, 0); }

  void receive(fw::Port port, const torture::Bytes& bytes) {
    if (!bytes.empty()) fw::receive(*controller, port, bytes, now_us);
  }

  // One control period; aborts on what must never be.
  void step() {
    now_us += 100000;
    fw::step(*controller, now_us);
    if (controller->latch.line != 0) std::abort();
    std::array<std::uint8_t, fw::frame_bytes_max> buffer{};
    const std::size_t size = fw::transmit(*controller, fw::Port::field, buffer);
    if (size != 49) std::abort();
    sequence = buffer[11] * 256u + buffer[12];
    for (std::size_t at = 19; at < 47; at += 4) {
      std::uint32_t bits = 0;
      for (std::size_t i = 0; i < 4; ++i) bits = bits << 8 | buffer[at + i];
      const auto value = std::bit_cast<float>(bits);
      if (!(value >= 0.0f && value <= 20.0f)) std::abort();
    }
    if (controller->interlocks.latched != 0 && (buffer[14] & 1u) != 0) std::abort();
    fw::transmit(*controller, fw::Port::supervisory, buffer);
    fw::store(*controller, std::span<std::uint8_t>(buffer).first<fw::store_write_bytes>());
  }
};

// An answer of a healthy station in air at room temperature, so that the core knows its inputs.
inline torture::Bytes healthy_answer(unsigned sequence) {
  torture::Bytes bytes{1, 23, 108};
  for (const unsigned value : {sequence, 0u, 0u, 0x2153u, 0u, 1u}) torture::put16(bytes, value);
  constexpr float values[24] = {0.0f, 0.0f, 0.0f, 0.0f, 0.0f, 0.0f,  109.73f, 7.2f,  10.2f, 8.5f, 4.0f, 4.0f,
                                4.0f, 4.0f, 4.0f, 15.2f, 4.0f, 16.3f, 4.0f,   4.0f, 4.0f,  4.0f, 4.0f, 4.0f};
  for (const float value : values) torture::put_float(bytes, value);
  return torture::sealed(bytes);
}

}  // namespace fuzz
