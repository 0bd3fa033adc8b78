#include "firmware/programme.h"

#include <cmath>

namespace fw {

namespace {

constexpr float recovered_within_k = 1.0f;
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
      if ((segment.options & until_dry) && !(segment.duration_ms > 0 && within(segment.rate, -120.0f, 60.0f))) return false;
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

bool judges_by_load(const Segment& segment) {
  return segment.kind == SegmentKind::cool ||
         ((segment.kind == SegmentKind::soak || segment.kind == SegmentKind::ramp) && (segment.options & count_on_load) != 0);
}

bool heats(SegmentKind kind) {
  return kind == SegmentKind::ramp || kind == SegmentKind::soak || kind == SegmentKind::wait;
}

float ramp_rate(const ProgrammeRun& run, const Segment& segment) {
  const float way_k = segment.target - run.start_degc;
  if (segment.options & ramp_by_time) return way_k / (static_cast<float>(segment.duration_ms) * 0.001f);
  return way_k < 0.0f ? -segment.rate : segment.rate;
}

// Takes over what a segment carries. A ramp starts bumpless: from the set point in force, or from the process value where
// the heat was off.
void begin_segment(ProgrammeRun& run, float lead_degc) {
  if (run.segment > run.begun_highest) run.begun_highest = run.segment;
  run.elapsed_ms = 0;
  run.counted_ms = 0;
  run.waiting = false;
  run.rate_k_per_s = 0.0f;
  ++run.serial;
  if (run.segment >= run.segments) return;
  const Segment& segment = run.copy[run.segment];
  if (segment.gas != Gas::keep) run.gas = segment.gas;
  if (segment.gain_set != 0) run.gain_set = segment.gain_set;
  if (segment.flow_slm >= 0.0f) run.flow_slm = segment.flow_slm;
  if (segment.back_pressure_pa >= 0.0f) run.back_pressure_pa = segment.back_pressure_pa;
  const bool to_hold = segment.kind == SegmentKind::backfill || segment.kind == SegmentKind::purge;
  if (to_hold && segment.target > 0.0f) run.back_pressure_pa = segment.target;
  if (segment.kind == SegmentKind::ramp || segment.kind == SegmentKind::soak) {
    if (!run.heat_wanted) run.setpoint_degc = lead_degc;
    run.start_degc = run.setpoint_degc;
    run.heat_wanted = true;
  }
  if (!heats(segment.kind) && segment.kind != SegmentKind::repeat) run.heat_wanted = false;
}

// On at the place where a power loss broke off. The heat loops begin at the process value; a soak asks for what it had reached.
void return_to_place(ProgrammeRun& run, float lead_degc) {
  run.returning = run.return_now = false;
  run.segment = run.return_segment;
  run.heat_wanted = false;
  begin_segment(run, lead_degc);
  if (run.segment >= run.segments) return;
  Segment& segment = run.copy[run.segment];
  run.gas = run.return_gas;
  run.gain_set = run.return_gain_set;
  run.flow_slm = run.return_flow_slm;
  run.back_pressure_pa = run.return_back_pressure_pa;
  if (segment.kind == SegmentKind::soak || segment.kind == SegmentKind::wait) run.counted_ms = run.return_counted_ms;
  if (segment.kind == SegmentKind::soak) {
    run.setpoint_degc = run.return_setpoint_degc;
    run.recovering = true;
  }
  const float rate = std::fabs(run.return_rate_k_per_s);
  if (segment.kind == SegmentKind::ramp && (segment.options & ramp_by_time) != 0 && rate >= 1.0e-6f) {
    segment.options = static_cast<std::uint8_t>(segment.options & ~ramp_by_time);      // at the rate it had
    segment.rate = rate;
  }
}

void next_segment(ProgrammeRun& run, float lead_degc) {
  if (run.returning && run.segment >= run.return_last) {
    return_to_place(run, lead_degc);
    return;
  }
  ++run.segment;
  while (run.segment < run.pass_until && run.segment < run.segments && heats(run.copy[run.segment].kind)) ++run.segment;
  begin_segment(run, lead_degc);
}

void step_ramp(ProgrammeRun& run, const Segment& segment, const ProgrammeView& view) {
  const float rate = ramp_rate(run, segment);
  const bool by_load = (segment.options & count_on_load) != 0;
  const float judged_degc = by_load ? view.load_degc : view.farthest_degc;
  const float behind_k = rate < 0.0f ? judged_degc - run.setpoint_degc : run.setpoint_degc - judged_degc;
  const float tolerance_k = segment.tolerance_k > 0.0f ? segment.tolerance_k : view.ramp_tolerance_k;
  const bool out_of_tolerance = tolerance_k > 0.0f && behind_k > tolerance_k;
  run.waiting = out_of_tolerance || !view.heat_permissive || !view.heater_good || (by_load && !view.load_good);
  run.rate_k_per_s = run.waiting ? 0.0f : rate;
  if (!run.waiting) run.counted_ms += view.period_ms;
  const float moved = run.start_degc + rate * (static_cast<float>(run.counted_ms) * 0.001f);
  const bool there = rate < 0.0f ? moved <= segment.target : moved >= segment.target;
  run.setpoint_degc = there ? segment.target : moved;
  if (there) next_segment(run, view.lead_degc);
}

// Time counts only while the chosen thermocouple is within the tolerance of the set point.
void step_soak(ProgrammeRun& run, const Segment& segment, const ProgrammeView& view) {
  const bool by_load = (segment.options & count_on_load) != 0;
  const float judged_degc = by_load ? view.load_degc : view.farthest_degc;
  const bool good = by_load ? view.load_good : view.heater_good;
  const bool within_band = segment.tolerance_k <= 0.0f || std::fabs(judged_degc - run.setpoint_degc) <= segment.tolerance_k;
  const float as_warm_degc = run.recover_degc < run.setpoint_degc ? run.recover_degc : run.setpoint_degc;
  if (run.recovering && view.lead_degc >= as_warm_degc - recovered_within_k) run.recovering = false;
  run.waiting = !good || !within_band || !view.heat_permissive || run.recovering;
  if (!run.waiting) run.counted_ms += view.period_ms;
  if (run.counted_ms >= segment.duration_ms) next_segment(run, view.lead_degc);
}

void step_repeat(ProgrammeRun& run, const Segment& segment, const ProgrammeView& view) {
  std::uint16_t& done = run.repeats[run.segment];
  ++done;
  if (done < segment.count) {
    run.segment = segment.jump;
    begin_segment(run, view.lead_degc);
    return;
  }
  done = 0;  // an outer repeat may come by again
  next_segment(run, view.lead_degc);
}

std::uint32_t timeout_of(const Segment& segment, const ProgrammeView& view) {
  if (segment.timeout_ms != 0) return segment.timeout_ms;
  const bool task = segment.kind == SegmentKind::evacuate || segment.kind == SegmentKind::backfill ||
                    segment.kind == SegmentKind::purge;
  return task ? view.task_timeout_ms : 0;
}

void step_segment(ProgrammeRun& run, const ProgrammeView& view) {
  const Segment& segment = run.copy[run.segment];
  run.elapsed_ms += view.period_ms;
  switch (segment.kind) {
    case SegmentKind::ramp:
      return step_ramp(run, segment, view);
    case SegmentKind::soak:
      return step_soak(run, segment, view);
    case SegmentKind::wait:
      run.counted_ms += view.period_ms;
      if (run.counted_ms >= segment.duration_ms) next_segment(run, view.lead_degc);
      return;
    case SegmentKind::cool:
      if (view.load_good && view.load_degc <= segment.target) next_segment(run, view.lead_degc);
      return;
    case SegmentKind::repeat:
      return step_repeat(run, segment, view);
    case SegmentKind::evacuate:
    case SegmentKind::backfill:
    case SegmentKind::purge:
    case SegmentKind::leak_test:
      if (view.task_done) next_segment(run, view.lead_degc);
      return;
    default:
      run.state = ProgrammeState::complete;
      run.heat_wanted = false;
      return;
  }
}

void step_running(ProgrammeRun& run, const ProgrammeView& view) {
  if (run.segment >= run.segments) {
    run.state = ProgrammeState::complete;
    run.heat_wanted = false;
    return;
  }
  const std::uint32_t timeout_ms = timeout_of(run.copy[run.segment], view);
  const bool late = timeout_ms != 0 && run.elapsed_ms >= timeout_ms && !view.task_done;
  if (view.task_failed || late) {
    run.failed = true;
    programme_abort(run);
    return;
  }
  step_segment(run, view);
}

// Its first segment, or where it goes on.
void begin_programme(ProgrammeRun& run, float lead_degc) {
  run.starting = false;
  if (run.return_now) {
    return_to_place(run, lead_degc);
    return;
  }
  while (run.segment < run.pass_until && run.segment < run.segments && heats(run.copy[run.segment].kind)) ++run.segment;
  begin_segment(run, lead_degc);
}

void leave(ProgrammeRun& run, ProgrammeState state) {
  run.returning = run.return_now = run.recovering = false;
  run.state = state;
  run.heat_wanted = false;
  run.waiting = false;
  run.rate_k_per_s = 0.0f;
  run.settle_ms = 0;
}

}  // namespace

void programme_start(ProgrammeRun& run, const ProgrammeEntry& entry, const Segment* segments, float back_pressure_pa) {
  const int count = entry.segments > programme_segments_max ? programme_segments_max : entry.segments;
  run.state = ProgrammeState::running;
  run.heat_wanted = false;
  run.failed = false;
  run.load_needed = false;
  run.gas = Gas::keep;
  run.gain_set = 1;
  run.flow_slm = 0.0f;
  run.back_pressure_pa = back_pressure_pa;
  run.segment = 0;
  run.segments = static_cast<std::uint16_t>(count);
  run.returning = run.return_now = run.recovering = false;
  run.pass_until = run.begun_highest = 0;
  for (int i = 0; i < count; ++i) {
    run.copy[i] = segments[i];
    run.repeats[i] = 0;
    if (judges_by_load(segments[i])) run.load_needed = true;
  }
  run.starting = true;
}

void programme_return(ProgrammeRun& run, const ProgrammeReturn& to, int first, int last) {
  const bool row = first >= 0;
  run.returning = !row || to.segment > last;      // in one of these segments itself, the whole row begins anew
  run.return_now = !row;
  run.segment = static_cast<std::uint16_t>(row ? first : to.segment);
  run.return_last = static_cast<std::uint16_t>(row ? last : 0);
  run.return_segment = to.segment;
  run.return_counted_ms = to.counted_ms;
  run.return_setpoint_degc = to.setpoint_degc;
  run.return_rate_k_per_s = to.rate_k_per_s;
  run.return_flow_slm = to.flow_slm;
  run.return_back_pressure_pa = to.back_pressure_pa;
  run.return_gas = to.gas;
  run.return_gain_set = to.gain_set;
  run.recover_degc = to.recover_degc;
}

void programme_enter(ProgrammeRun& run, float lead_degc) {
  bool any = false;
  float from_degc = 0.0f;
  for (int i = 0; i < run.segments; ++i) {
    Segment& segment = run.copy[i];
    if (segment.kind == SegmentKind::repeat || segment.kind == SegmentKind::cool) return;      // what stands behind is of another heat
    if (segment.kind != SegmentKind::ramp) continue;
    if (any && lead_degc >= from_degc && lead_degc <= segment.target) {
      if ((segment.options & ramp_by_time) != 0) {
        const float rate = (segment.target - from_degc) / (static_cast<float>(segment.duration_ms) * 0.001f);
        segment.options = static_cast<std::uint8_t>(segment.options & ~ramp_by_time);
        segment.rate = rate > 1.0e-6f ? rate : 1.0e-6f;
      }
      run.pass_until = static_cast<std::uint16_t>(i);
      return;
    }
    if (!any && lead_degc <= segment.target) return;      // the first one begins at the process value as it is
    any = true;
    from_degc = segment.target;
  }
}

bool programme_edit(ProgrammeRun& run, std::uint16_t index, const Segment& segment) {
  if (!programme_active(run) || index >= run.segments || index <= run.begun_highest) return false;
  if (!segment_valid(segment, index)) return false;
  run.copy[index] = segment;
  if (judges_by_load(segment)) run.load_needed = true;
  return true;
}

float programme_ramp_rate(const ProgrammeRun& run, const Segment& segment) { return ramp_rate(run, segment); }

bool programme_adopt(ProgrammeRun& run, const ProgrammeEntry& entry, const Segment* segments) {
  const int count = entry.segments > programme_segments_max ? programme_segments_max : entry.segments;
  // cppcheck-suppress knownConditionTrueFalse ; it takes the length for zero
  if (run.segment >= count) return false;
  run.load_needed = false;
  for (int i = 0; i < count; ++i) {
    run.copy[i] = segments[i];
    if (i >= run.segments) run.repeats[i] = 0;
    if (judges_by_load(segments[i])) run.load_needed = true;
  }
  run.segments = static_cast<std::uint16_t>(count);
  return true;
}

void programme_step(ProgrammeRun& run, const ProgrammeView& view) {
  constexpr std::uint32_t settle_longest_ms = 10000;  // a feedback that never comes must not keep a stop from ending
  switch (run.state) {
    case ProgrammeState::running:
      if (run.starting) begin_programme(run, view.lead_degc);
      step_running(run, view);
      return;
    case ProgrammeState::stopping:
    case ProgrammeState::aborting:
      run.settle_ms += view.period_ms;
      if (view.plant_settled || run.settle_ms >= settle_longest_ms) {
        run.state = run.state == ProgrammeState::stopping ? ProgrammeState::stopped : ProgrammeState::aborted;
      }
      return;
    default:
      run.rate_k_per_s = 0.0f;
      return;
  }
}

void programme_stop(ProgrammeRun& run) { leave(run, ProgrammeState::stopping); }

void programme_abort(ProgrammeRun& run) { leave(run, ProgrammeState::aborting); }

void programme_divert(ProgrammeRun& run, const Segment* segments, int count, float lead_degc) {
  const int room = programme_segments_max - count;
  const int first = run.segments < room ? run.segments : room;
  for (int i = 0; i < count; ++i) {
    run.copy[first + i] = segments[i];
    run.repeats[first + i] = 0;
    if (judges_by_load(segments[i])) run.load_needed = true;
  }
  run.segments = static_cast<std::uint16_t>(first + count);
  run.segment = static_cast<std::uint16_t>(first);
  run.starting = false;
  run.state = ProgrammeState::running;
  begin_segment(run, lead_degc);
}

// The segments that make the atmosphere are not skipped: heat would follow on a chamber nobody emptied, tested or purged.
bool programme_skip(ProgrammeRun& run, const ProgrammeView& view) {
  const Segment* segment = programme_segment(run);
  if (segment == nullptr || !(heats(segment->kind) || segment->kind == SegmentKind::cool)) return false;
  next_segment(run, view.lead_degc);
  return true;
}

const Segment* programme_segment(const ProgrammeRun& run) {
  if (!programme_active(run) || run.starting || run.segment >= run.segments) return nullptr;
  return &run.copy[run.segment];
}

float segment_feed_forward(const Segment& segment) {
  if ((segment.options & no_feed_forward) != 0) return 0.0f;
  return segment.feed_forward > 0.0f ? segment.feed_forward : 1.0f;
}

bool segment_valid(const Segment& segment, int index) {
  return static_cast<int>(segment.gas) < gas_count && segment.gain_set <= 4 && segment.options < 64 &&
         target_valid(segment) && kind_valid(segment, index) && within(segment.tolerance_k, 0.0f, temperature_max_degc) &&
         within(segment.flow_slm, -1.0e3f, 1.0e4f) && within(segment.back_pressure_pa, -1.0e5f, pressure_max_pa) &&
         within(segment.amount, 0.0f, 1.0e5f) && within(segment.rate, (segment.options & until_dry) ? -120.0f : 0.0f, 1.0e4f) &&
         within(segment.power_limit, 0.0f, 1.0f) && within(segment.feed_forward, 0.0f, feed_forward_share_max) &&
         segment.duration_ms <= duration_max_ms && segment.timeout_ms <= duration_max_ms;
}

}  // namespace fw
