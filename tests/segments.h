// Segments of programmes, kind by kind, for tests.
#pragma once

#include <cstdint>

#include "firmware/programme.h"

namespace segments {

inline fw::Segment segment(fw::SegmentKind kind) {
  fw::Segment s;
  s.kind = kind;
  return s;
}
inline fw::Segment ramp(float target_degc, float rate_k_per_s) {
  fw::Segment s = segment(fw::SegmentKind::ramp);
  s.target = target_degc;
  s.rate = rate_k_per_s;
  return s;
}
inline fw::Segment soak(double seconds, float tolerance_k) {
  fw::Segment s = segment(fw::SegmentKind::soak);
  s.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  s.tolerance_k = tolerance_k;
  return s;
}
inline fw::Segment wait(double seconds) {
  fw::Segment s = segment(fw::SegmentKind::wait);
  s.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  return s;
}
inline fw::Segment evacuate(float target_pa) {
  fw::Segment s = segment(fw::SegmentKind::evacuate);
  s.target = target_pa;
  return s;
}
inline fw::Segment backfill(float target_pa, float flow_slm, fw::Gas gas = fw::Gas::argon) {
  fw::Segment s = segment(fw::SegmentKind::backfill);
  s.target = target_pa;
  s.flow_slm = flow_slm;
  s.gas = gas;
  return s;
}
inline fw::Segment purge(float changes, float target_pa, float flow_slm) {
  fw::Segment s = segment(fw::SegmentKind::purge);
  s.amount = changes;
  s.target = target_pa;
  s.flow_slm = flow_slm;
  return s;
}
inline fw::Segment leak_test(double seconds, float rise_pa_s) {
  fw::Segment s = segment(fw::SegmentKind::leak_test);
  s.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  s.rate = rise_pa_s;
  return s;
}
inline fw::Segment cool(float load_degc) {
  fw::Segment s = segment(fw::SegmentKind::cool);
  s.target = load_degc;
  return s;
}
inline fw::Segment end() { return segment(fw::SegmentKind::end); }
inline fw::Segment with_flow(fw::Segment s, float flow_slm) {
  s.flow_slm = flow_slm;
  return s;
}

}  // namespace segments
