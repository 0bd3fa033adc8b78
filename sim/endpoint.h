// Who sits at the controller's end of the lines: the core in process, on the emulated processor, or in a shared library (in
// this process or in one of its own). One type, the same five functions, whatever stands behind it. Every call throws
// sim::EndpointError when the far side is gone (exit 3).
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "firmware/controller.h"
#include "sim/archive.h"

namespace sim {

struct EndpointError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// Two cores that were given the same bytes answered differently (kind `both`): exit 4.
struct EndpointDifference : EndpointError {
  using EndpointError::EndpointError;
};

// What one tick hands to the controller and gets back. Buffers belong to the caller and are reused every tick.
struct TickIn {
  std::uint64_t now_us = 0;
  std::span<const std::uint8_t> field;         // what arrived on the field line since the last tick
  std::uint64_t field_arrival_us = 0;          // of its last byte
  std::span<const std::uint8_t> supervisory;
  std::uint64_t supervisory_arrival_us = 0;
};

struct TickOut {
  std::array<std::uint8_t, fw::frame_bytes_max> field{};
  std::array<std::uint8_t, fw::frame_bytes_max> supervisory{};
  std::array<std::uint8_t, fw::store_write_bytes> store{};
  std::uint32_t field_size = 0;
  std::uint32_t supervisory_size = 0;
  std::uint32_t store_size = 0;
  std::uint32_t store_offset = 0;
  bool latched = false;                        // FW_CHECK has latched
};

struct EndpointSettings {
  // host | emulated | library:PATH | process:PROGRAM LIBRARY (saggar_core_process with a library, no blank in either path) |
  // both (host and emulated, compared byte for byte every tick)
  std::string kind = "host";
  std::string emulator = "qemu-system-arm";
  std::string image;                           // of the emulated processor; empty: the one built beside the program
  int timeout_ms = 10'000;                     // silence after which a far side in another process counts as gone
};

class Endpoint {
 public:
  virtual ~Endpoint() = default;
  virtual void start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) = 0;
  // receive (a port that has bytes), step, transmit x2, store, in this order
  virtual void tick(const TickIn& in, TickOut& out) = 0;
  // fw::adopt, before a tick. false: nothing changed, the core can't take the image or can't be reached for it.
  virtual bool adopt(std::span<const std::uint8_t>) { return false; }
  // Between two ticks: the core's whole state, to or from a snapshot. false: nothing was done, it is out of reach (another process,
  // another processor, a library).
  virtual bool visit(Archive&) { return false; }
};

std::unique_ptr<Endpoint> open_endpoint(const EndpointSettings& settings);

}  // namespace sim
