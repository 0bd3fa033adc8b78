#include "firmware/programme.h"

#include <cmath>

namespace fw {

namespace {

constexpr float temperature_max_degc = 2000.0f;
constexpr float pressure_max_pa = 1.0e6f;
constexpr std::uint32_t duration_max_ms = 30u * 24u * 3600u * 1000u;

bool within(float value, float low, float high) { return value >= low && value <= high; }  // false for a NaN

bool target_valid(const Segment& segment) {
  switch (segment.kind) {
    case SegmentKind::ramp:
    case SegmentKind::cool:
      return within(segment.target, 0.0f, temperature_max_degc);
    case SegmentKind::evacuate:
      return within(segment.target, 0.1f, 1.0e5f);
    case SegmentKind::backfill:
    case SegmentKind::purge:
      return within(segment.target, 0.0f, pressure_max_pa);
    default:
      return within(segment.target, -pressure_max_pa, pressure_max_pa);
  }
}

bool kind_valid(const Segment& segment, int index) {
  switch (segment.kind) {
    case SegmentKind::ramp:
      return (segment.options & ramp_by_time) ? segment.duration_ms > 0 : within(segment.rate, 1.0e-6f, 100.0f);
    case SegmentKind::leak_test:
      return segment.duration_ms > 0 && within(segment.rate, 1.0e-6f, 1.0e4f);
    case SegmentKind::purge:
      if (segment.options & by_vacuum_cycles) {
        return segment.count > 0 && within(segment.amount, 0.1f, 1.0e5f) && segment.flow_slm > 0.0f;
      }
      return within(segment.amount, 1.0e-3f, 1000.0f);
    case SegmentKind::backfill:
      return segment.gas == Gas::air || segment.flow_slm != 0.0f;
    case SegmentKind::repeat:
      return segment.count > 0 && segment.jump < index;
    case SegmentKind::soak:
    case SegmentKind::wait:
    case SegmentKind::evacuate:
    case SegmentKind::cool:
    case SegmentKind::end:
      return true;
    default:
      return false;
  }
}

}  // namespace

bool segment_valid(const Segment& segment, int index) {
  return static_cast<int>(segment.gas) < gas_count && segment.gain_set <= 4 && segment.options < 16 &&
         target_valid(segment) && kind_valid(segment, index) && within(segment.tolerance_k, 0.0f, temperature_max_degc) &&
         within(segment.flow_slm, -1.0e3f, 1.0e4f) && within(segment.back_pressure_pa, -1.0e5f, pressure_max_pa) &&
         within(segment.amount, 0.0f, 1.0e5f) && within(segment.rate, 0.0f, 1.0e4f) &&
         segment.duration_ms <= duration_max_ms && segment.timeout_ms <= duration_max_ms;
}

}  // namespace fw
