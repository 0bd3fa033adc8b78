// The controller's five functions. READ FIRST.
//
// All state of the control core lives in one trivially copyable struct, fw::Controller: a copy of it plus the store bytes
// is a snapshot. One context calls the five functions; an interrupt only fills a ring in the board layer. The core has no
// clock, no heap and does no I/O: time and bytes are handed in, bytes are handed out.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace fw {

struct Controller;  // defined in controller_state.h; hosts that only keep one use that header

enum class Port : std::uint8_t { field = 0, supervisory = 1 };
enum class ResetCause : std::uint8_t { power_on = 0, brown_out = 1, watchdog = 2, commanded = 3 };

inline constexpr std::size_t frame_bytes_max = 256;    // one Modbus RTU ADU
inline constexpr std::size_t store_write_bytes = 64;   // one page of the store
inline constexpr std::size_t store_image_bytes = 65536;

// A page the core wants written. size 0: nothing pending.
struct StoreWrite {
  std::uint32_t offset = 0;
  std::uint32_t size = 0;
};

// Brings the core up from a store image (its size at most store_image_bytes; a page that fails its check is taken as blank
// and counted). outage_s: how long power was away, for the power-loss rules. Never fails: with nothing usable in the image
// the core comes up with default parameters, no programmes and the safe values of air.
void start(Controller& controller, std::span<const std::uint8_t> store_image, ResetCause cause, std::uint32_t outage_s);

// A host forks a run: parameters and programmes become those of the image, everything else goes on as it stands: loops, alarms,
// interlocks, totaliser, journal, the programme's progress. Of a programme that runs, its segments are taken anew: target, rate,
// time and tolerance of the one in force count at once, what a segment hands over when it begins (gas, flow, gain set) does not.
// false, and nothing changed: a page of the image is bad, or its selected programme ends before the segment in force.
// scratch: the memory of a second core, overwritten.
bool adopt(Controller& controller, std::span<const std::uint8_t> store_image, Controller& scratch);

// Hands in what arrived on a port, any split, any number of calls between two steps. Frames are delimited by length and
// CRC; silence (judged by arrival_us, microseconds since start, of the LAST byte of the span) only resynchronises.
void receive(Controller& controller, Port port, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us);

// One control period: decode, validate, alarms, programme and atmosphere, set points, loops, interlocks, encode.
void step(Controller& controller, std::uint64_t now_us);

// Copies out what is to be sent on a port (at most frame_bytes_max) and returns the byte count; 0 if nothing.
std::size_t transmit(Controller& controller, Port port, std::span<std::uint8_t> buffer);

// Copies out the pending store write, at most store_write_bytes. The host must have written it by the next step, which
// takes it as acknowledged.
StoreWrite store(Controller& controller, std::span<std::uint8_t> buffer);

}  // namespace fw
