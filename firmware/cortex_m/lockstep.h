// Lockstep frames: how a host and a core in another address space (the emulated processor, another process) take turns. One
// frame in carries a tick's time and the bytes of both ports, one frame out what the core sends and stores. Time comes from
// the frame, never from a timer of the target. Everything is little-endian and written byte by byte.
//
//   in   0 u16 mark | 2 u8 kind | 3 u8 reset cause | 4 u32 first | 8 u32 second | 12 u32 0 | 16 u64 now_us
//        24 u64 arrival_us of the field bytes | 32 u64 of the supervisory bytes
//        start: first = bytes of the store image that follows, second = outage_s
//        tick:  first = field bytes, second = supervisory bytes; they follow in this order
//   out  0 u16 mark | 2 u8 kind | 3 u8 1 if FW_CHECK has latched | 4 u16 field bytes | 6 u16 supervisory bytes
//        8 u16 store bytes | 10 u16 cost, below | 12 u32 offset in the store; start: protocol version
//        then the bytes in this order
//        cost: instructions of the core in this tick in fours, where the core counts them (FW_COUNT_INSTRUCTIONS), else 0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

#include "firmware/controller.h"

namespace fw::lockstep {

inline constexpr std::uint16_t mark = 0x5A47;
inline constexpr std::uint32_t version = 1;
inline constexpr std::uint8_t kind_start = 1;
inline constexpr std::uint8_t kind_tick = 2;
inline constexpr std::size_t in_header = 40;
inline constexpr std::size_t out_header = 16;
inline constexpr std::size_t field_bytes_max = 1024;        // several late answers may arrive in one tick
inline constexpr std::size_t supervisory_bytes_max = 512;
inline constexpr std::size_t in_bytes_max = in_header + field_bytes_max + supervisory_bytes_max;
inline constexpr std::size_t out_bytes_max = out_header + 2 * frame_bytes_max + store_write_bytes;

// size bytes of value, lowest first.
inline void put(std::uint8_t* at, std::uint64_t value, std::size_t size) {
  for (std::size_t byte = 0; byte < size; ++byte) at[byte] = static_cast<std::uint8_t>(value >> (8 * byte));
}

inline std::uint64_t get(const std::uint8_t* at, std::size_t size) {
  std::uint64_t value = 0;
  for (std::size_t byte = 0; byte < size; ++byte) value |= static_cast<std::uint64_t>(at[byte]) << (8 * byte);
  return value;
}

inline std::uint32_t get32(const std::uint8_t* at) { return static_cast<std::uint32_t>(get(at, 4)); }

// The core's side. Link: `size_t read(uint8_t*, size_t capacity)` (at least one byte, 0 at the end of the stream) and
// `bool write(const uint8_t*, size_t)`. Core: the five functions, `latched()`, and `store_area()`, where the image is put.
template <typename Link, typename Core>
class Server {
 public:
  Server(Link& link, Core& core) : link_(link), core_(core) {}

  // Until the host closes the stream (true) or breaks the protocol (false).
  bool serve() {
    while (true) {
      if (!fill(in_header)) return size_ == 0;
      if (get(in_.data(), 2) != mark) return false;
      const bool good = in_[2] == kind_start ? start() : in_[2] == kind_tick && tick();
      if (!good) return false;
    }
  }

 private:
  bool fill(std::size_t wanted) {
    while (size_ < wanted) {
      const std::size_t got = link_.read(in_.data() + size_, in_.size() - size_);
      if (got == 0) return false;
      size_ += got;
    }
    return true;
  }

  void drop(std::size_t used) {
    size_ -= used;
    if (size_ > 0) std::memmove(in_.data(), in_.data() + used, size_);
  }

  bool start() {
    const std::size_t wanted = get32(in_.data() + 4);
    const std::uint32_t outage_s = get32(in_.data() + 8);
    const auto cause = static_cast<ResetCause>(in_[3]);
    const std::span<std::uint8_t> area = core_.store_area();
    if (wanted > area.size()) return false;
    drop(in_header);
    std::size_t have = size_ < wanted ? size_ : wanted;
    std::memcpy(area.data(), in_.data(), have);
    drop(have);
    while (have < wanted) {
      const std::size_t got = link_.read(area.data() + have, wanted - have);
      if (got == 0) return false;
      have += got;
    }
    core_.start(area.first(wanted), cause, outage_s);
    return reply(kind_start, 0, 0, {version, 0});
  }

  bool tick() {
    const std::size_t field = get32(in_.data() + 4);
    const std::size_t supervisory = get32(in_.data() + 8);
    if (field > field_bytes_max || supervisory > supervisory_bytes_max) return false;
    const std::size_t whole = in_header + field + supervisory;
    if (!fill(whole)) return false;
    const std::uint8_t* bytes = in_.data() + in_header;
    if (field > 0) core_.receive(Port::field, {bytes, field}, get(in_.data() + 24, 8));
    if (supervisory > 0) core_.receive(Port::supervisory, {bytes + field, supervisory}, get(in_.data() + 32, 8));
    core_.step(get(in_.data() + 16, 8));
    drop(whole);

    std::uint8_t* out = out_.data() + out_header;
    const std::size_t field_out = core_.transmit(Port::field, {out, frame_bytes_max});
    const std::size_t supervisory_out = core_.transmit(Port::supervisory, {out + field_out, frame_bytes_max});
    const StoreWrite write = core_.store({out + field_out + supervisory_out, store_write_bytes});
    return reply(kind_tick, field_out, supervisory_out, write);
  }

  bool reply(std::uint8_t kind, std::size_t field, std::size_t supervisory, StoreWrite write) {
    put(out_.data(), mark, 2);
    out_[2] = kind;
    out_[3] = core_.latched() ? 1 : 0;
    put(out_.data() + 4, field, 2);
    put(out_.data() + 6, supervisory, 2);
    put(out_.data() + 8, write.size, 2);
    std::uint32_t cost = 0;
    if constexpr (requires { core_.cost(); }) cost = core_.cost();
    put(out_.data() + 10, cost < 0xFFFFu ? cost : 0xFFFFu, 2);
    put(out_.data() + 12, write.offset, 4);
    return link_.write(out_.data(), out_header + field + supervisory + write.size);
  }

  Link& link_;
  Core& core_;
  std::size_t size_ = 0;
  std::array<std::uint8_t, in_bytes_max> in_{};
  std::array<std::uint8_t, out_bytes_max> out_{};
};

}  // namespace fw::lockstep
