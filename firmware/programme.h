// Programmes as they stand in the store: 16 programmes share 512 segments.
#pragma once

#include <cstdint>

namespace fw {

inline constexpr int programme_count = 16;
inline constexpr int segment_count = 512;
inline constexpr int programme_segments_max = 128;  // longest single programme; the running one is a private copy

enum class Gas : std::uint8_t { keep = 0, air = 1, nitrogen = 2, argon = 3, helium = 4 };
inline constexpr int gas_count = 5;

enum class SegmentKind : std::uint8_t {
  none = 0, ramp = 1, soak = 2, wait = 3, evacuate = 4, backfill = 5, purge = 6, leak_test = 7, cool = 8, repeat = 9, end = 10
};

// Bits of Segment::options.
enum SegmentOption : std::uint8_t {
  ramp_by_time = 1,        // ramp: reach target in duration_ms instead of at rate
  count_on_load = 2,       // soak: tolerance hold judged by the load thermocouple (else the heater-side one)
  by_vacuum_cycles = 4,    // purge: count evacuate/backfill cycles instead of volume changes
  end_keep_purge = 8,      // end: reserved, safe values stay in force either way
};

// One segment. Fields that its kind does not use are zero. For flow_slm and back_pressure_pa a negative value means "as before".
struct Segment {
  SegmentKind kind = SegmentKind::none;
  Gas gas = Gas::keep;
  std::uint8_t gain_set = 0;        // 1..4, 0 as before
  std::uint8_t options = 0;         // SegmentOption bits
  float target = 0.0f;              // ramp: degC; evacuate: Pa abs; backfill and purge: Pa gauge to hold; leak_test: none; cool: load degC
  float rate = 0.0f;                // ramp: K/s (> 0); leak_test: highest pressure rise accepted, Pa/s
  std::uint32_t duration_ms = 0;    // ramp by time, soak, wait, leak_test
  float tolerance_k = 0.0f;         // soak: half width of the band in which time counts
  float flow_slm = -1.0f;           // flow set point (0 degC, 101.325 kPa) while the segment runs
  float back_pressure_pa = -1.0f;   // gauge set point of the back-pressure loop
  float amount = 0.0f;              // purge: volume changes, or evacuation pressure in Pa abs with by_vacuum_cycles
  std::uint16_t count = 0;          // repeat: times in all; purge by cycles: number of cycles
  std::uint16_t jump = 0;           // repeat: index within the programme to go back to
  std::uint32_t timeout_ms = 0;     // evacuate, backfill, purge, cool, soak (0: none): longer is a failure of the segment
};
static_assert(sizeof(Segment) == 40);

// Where a programme's segments lie. segment_count_ 0: empty slot.
struct ProgrammeEntry {
  char title[24] = {};               // UTF-8, zero padded
  std::uint16_t first_segment = 0;
  std::uint16_t segments = 0;
};

// Whether every field of a segment is finite and within bounds for its kind; index: its place in the programme (a repeat
// goes back, never on).
bool segment_valid(const Segment& segment, int index);

}  // namespace fw
