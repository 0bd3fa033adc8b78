#include "firmware/power_loss.h"

#include <cstring>

#include "firmware/combustible.h"
#include "firmware/programme_pages.h"

namespace fw {

namespace {

bool active(std::uint8_t state) {
  return state == static_cast<std::uint8_t>(ProgrammeState::running) || state == static_cast<std::uint8_t>(ProgrammeState::held);
}

bool makes_atmosphere(SegmentKind kind) {
  return kind == SegmentKind::evacuate || kind == SegmentKind::leak_test || kind == SegmentKind::backfill || kind == SegmentKind::purge;
}

RunProgress progress_of(const ProgrammeRun& run, int programme, std::uint32_t programme_crc, float lead_degc) {
  RunProgress progress{};
  progress.state = static_cast<std::uint8_t>(run.state);
  progress.programme = static_cast<std::uint8_t>(programme);
  if (!programme_active(run)) return progress;
  progress.programme_crc = programme_crc;
  progress.elapsed_ms = run.elapsed_ms;
  progress.counted_ms = run.returning ? run.return_counted_ms : run.counted_ms;
  progress.setpoint_degc = run.returning ? run.return_setpoint_degc : run.setpoint_degc;
  progress.lead_degc = run.returning || run.recovering ? run.recover_degc : lead_degc;
  progress.flow_slm = run.returning ? run.return_flow_slm : run.flow_slm;
  progress.back_pressure_pa = run.returning ? run.return_back_pressure_pa : run.back_pressure_pa;
  progress.segment = run.returning ? run.return_segment : run.segment;
  const Segment& segment = run.copy[progress.segment < programme_segments_max ? progress.segment : 0];
  progress.rate_k_per_s = segment.kind == SegmentKind::ramp && !run.returning ? programme_ramp_rate(run, segment) : 0.0f;
  progress.gas = static_cast<std::uint8_t>(run.gas);
  progress.gain_set = run.gain_set;
  progress.begun = run.starting && !run.returning ? 0 : 1;
  for (int i = 0; i < run.segments; ++i) {
    if (run.repeats[i] == 0) continue;
    if (progress.repeats < progress_repeats_max) {
      progress.repeat_segment[progress.repeats] = static_cast<std::uint8_t>(i);
      progress.repeats_done[progress.repeats] = run.repeats[i];
    }
    if (progress.repeats < 255) ++progress.repeats;
  }
  return progress;
}

// The row of segments that made the atmosphere the place stands in: the last one before it, or around it. first < 0: none.
struct AtmosphereRow {
  int first = -1, last = -1;
};

AtmosphereRow atmosphere_before(std::span<const Segment> segments, int place) {
  AtmosphereRow row;
  for (int i = place; i >= 0; --i) {
    const bool makes = makes_atmosphere(segments[static_cast<std::size_t>(i)].kind);
    if (!makes && row.first >= 0) break;
    if (!makes) continue;
    row.first = i;
    if (row.last < 0) row.last = i;
  }
  return row;
}

bool fits(const RunProgress& progress, const PowerLossView& view) {
  if (view.entry.segments == 0 || progress.segment >= view.entry.segments || progress.repeats > progress_repeats_max) return false;
  for (int i = 0; i < progress.repeats; ++i) {
    if (progress.repeat_segment[i] >= view.entry.segments) return false;
  }
  const std::span<const Segment> segments(view.segments, view.entry.segments);
  return progress.programme_crc == segments_crc(segments, sizeof(Segment));
}

PowerLossOutcome why_not(const PowerLoss& power, const PowerLossView& view) {
  const Parameters& p = view.parameters;
  if (static_cast<PowerLossPolicy>(p.power_loss_policy) == PowerLossPolicy::off) return PowerLossOutcome::left;
  if (!view.trusted || power.progress.repeats > progress_repeats_max) return PowerLossOutcome::not_trusted;
  if (!fits(power.progress, view)) return PowerLossOutcome::other_programme;
  // Combustible gas is never let in again without somebody who wants it.
  if (is_combustible(static_cast<Gas>(power.progress.gas))) return PowerLossOutcome::no_atmosphere;
  if (static_cast<float>(power.outage_s) > p.power_loss_longest_s) return PowerLossOutcome::outage_too_long;
  if (power.progress.lead_degc - view.lead_degc > p.power_loss_temperature_k) return PowerLossOutcome::too_cold;
  return PowerLossOutcome::none;
}

}  // namespace

void load_progress(std::span<const std::uint8_t> image, PowerLoss& power, std::uint32_t outage_s) {
  power = PowerLoss{};
  power.outage_s = outage_s;
  for (int i = 0; i < 2; ++i) {
    const PageView view = look_at_page(image, progress_page_first + i);
    if (!view.holds(PageKind::progress, i) || view.head.generation <= power.generation) continue;
    power.generation = view.head.generation;
    std::memcpy(&power.progress, view.payload, sizeof power.progress);
  }
  power.undecided = active(power.progress.state);
}

void keep_progress(PowerLoss& power, const ProgrammeRun& run, int programme, std::uint32_t programme_crc, float lead_degc,
                   std::uint32_t period_ms) {
  if (power.undecided) return;
  power.since_ms += period_ms;
  const auto state = static_cast<std::uint8_t>(run.state);
  const bool was = active(power.progress.state), is = active(state);
  if (!was && !is) return;
  const std::uint16_t segment = run.returning ? run.return_segment : run.segment;
  const bool same = state == power.progress.state && segment == power.progress.segment;
  if (same && power.since_ms < progress_every_ms) return;
  power.since_ms = 0;
  power.progress = progress_of(run, programme, programme_crc, lead_degc);
  power.dirty = true;
}

int next_progress_page(PowerLoss& power, std::span<std::uint8_t, store_write_bytes> bytes) {
  if (!power.dirty) return -1;
  power.dirty = false;
  ++power.generation;
  const auto index = static_cast<std::uint16_t>(power.generation & 1u);
  fill_page({PageKind::progress, store_layout_version, index, power.generation}, &power.progress, sizeof power.progress, bytes);
  return progress_page_first + index;
}

PowerLossOutcome power_loss_decide(PowerLoss& power, const PowerLossView& view, ProgrammeRun& run) {
  power.undecided = false;
  const RunProgress& progress = power.progress;
  PowerLossOutcome outcome = why_not(power, view);
  AtmosphereRow row;
  if (outcome == PowerLossOutcome::none) {
    const bool needed = view.parameters.atmosphere_required != 0 || view.parameters.retort_ceramic != 0;
    row = atmosphere_before({view.segments, view.entry.segments}, progress.segment);
    if (view.parameters.atmosphere_required != 0 && row.first < 0) outcome = PowerLossOutcome::no_atmosphere;
    if (!needed && progress.begun != 0) row = AtmosphereRow{};
  }
  if (outcome == PowerLossOutcome::none) {
    const bool hold = static_cast<PowerLossPolicy>(view.parameters.power_loss_policy) == PowerLossPolicy::hold ||
                      progress.state == static_cast<std::uint8_t>(ProgrammeState::held);
    programme_start(run, view.entry, view.segments, progress.back_pressure_pa);
    ProgrammeReturn to{};
    to.segment = progress.segment;
    to.counted_ms = progress.counted_ms;
    to.setpoint_degc = progress.setpoint_degc;
    to.rate_k_per_s = progress.rate_k_per_s;
    to.recover_degc = progress.lead_degc;
    to.flow_slm = progress.flow_slm;
    to.back_pressure_pa = progress.back_pressure_pa;
    to.gas = static_cast<Gas>(progress.gas < gas_count ? progress.gas : 0);
    to.gain_set = progress.gain_set;
    for (int i = 0; i < progress.repeats; ++i) run.repeats[progress.repeat_segment[i]] = progress.repeats_done[i];
    if (progress.begun != 0) programme_return(run, to, row.first, row.last);
    if (hold) run.state = ProgrammeState::held;
    return hold ? PowerLossOutcome::held : PowerLossOutcome::resumed;
  }
  if (outcome != PowerLossOutcome::left) run.state = ProgrammeState::aborted;
  power.progress.state = static_cast<std::uint8_t>(run.state);
  power.dirty = true;
  return outcome;
}

}  // namespace fw
