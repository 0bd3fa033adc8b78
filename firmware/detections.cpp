#include "firmware/detections.h"

#include <cmath>

#include "firmware/heat_zones.h"

namespace fw {

namespace {

constexpr std::uint32_t settle_at_no_demand_ms = 60000;       // a heater's own heat has gone into what surrounds it
constexpr std::uint64_t clock_jump_us = 10000000;             // longer than any period: the clock was set, or nobody called
constexpr std::uint32_t soak_settled_ms = 600000;             // of counted soak: heater side and load have come together
constexpr int load_slot = zone_count_max;

struct Thermocouple {
  bool good;
  float mv, degc;
};

Thermocouple thermocouple_of(const Inputs& inputs, int slot) {
  if (slot == load_slot) return {!inputs.load_failed, inputs.load_mv, inputs.load_degc};
  return {((inputs.zone_failed >> slot) & 1u) == 0, inputs.zone_mv[slot], inputs.zone_degc[slot]};
}

// A live reading is never the same to the bit for long: noise of half a quantum leaves 2 of 3 readings where they were, and
// 100 on end with a chance of 1e-16.
bool stands_still(Detections& d, const DetectionView& view, int slot, const Thermocouple& at, bool heats) {
  if (at.mv != d.still_mv[slot] || !at.good) {
    d.still_mv[slot] = at.mv;
    d.still_ms[slot] = 0;
  } else if (heats && d.still_ms[slot] < 1000000u) {
    d.still_ms[slot] += static_cast<std::uint32_t>(view.parameters.period_ms);
  }
  return view.parameters.stuck_window_s > 0.0f && static_cast<float>(d.still_ms[slot]) >= view.parameters.stuck_window_s * 1000.0f;
}

// Farther from its own follower than anything in the furnace can move it.
bool jumps(Detections& d, const DetectionView& view, int slot, const Thermocouple& at) {
  const Parameters& p = view.parameters;
  if (!at.good) return false;
  if (!d.followed[slot]) {
    d.followed[slot] = true;
    d.follower_degc[slot] = at.degc;
  }
  const float step_k = p.sensor_rate_k_per_s * static_cast<float>(p.period_ms) * 0.001f;
  const float away_k = at.degc - d.follower_degc[slot];
  d.follower_degc[slot] += away_k > step_k ? step_k : (away_k < -step_k ? -step_k : away_k);
  return p.sensor_jump_k > 0.0f && std::fabs(away_k) > p.sensor_jump_k;
}

// The terminals lie outside of the furnace: nothing in it is much colder, and what is heated least of all.
bool reversed(const DetectionView& view, const Thermocouple& at) {
  const float limit_k = view.parameters.sensor_reversed_k;
  return limit_k > 0.0f && at.good && at.degc < view.inputs.junction_degc - limit_k;
}

// Hotter at no demand than the coldest since a zone had settled there: heat comes that nobody asked for.
bool runs_away(Detections& d, const DetectionView& view, int zone) {
  const Parameters& p = view.parameters;
  if (view.before.demand_frac[zone] > 0.0f) {
    d.cold_ms[zone] = 0;
    return false;
  }
  const float zone_degc = view.inputs.zone_degc[zone];
  if (d.cold_ms[zone] < settle_at_no_demand_ms) {
    d.cold_ms[zone] += static_cast<std::uint32_t>(p.period_ms);
    d.coldest_degc[zone] = zone_degc;
    return false;
  }
  if (zone_degc < d.coldest_degc[zone]) d.coldest_degc[zone] = zone_degc;
  const bool good = ((view.inputs.zone_failed >> zone) & 1u) == 0;
  return good && p.runaway_k > 0.0f && zone_degc > d.coldest_degc[zone] + p.runaway_k;
}

std::uint32_t when(bool found, std::uint32_t bit) { return found ? bit : 0u; }

std::uint32_t thermocouples(Detections& d, const DetectionView& view) {
  const Parameters& p = view.parameters;
  std::uint32_t found = 0;
  bool heats = false;
  for (int z = 0; z < p.zones; ++z) {
    const Thermocouple at = thermocouple_of(view.inputs, z);
    const bool heated = view.before.demand_frac[z] > 0.0f;
    heats = heats || heated;
    found |= when(stands_still(d, view, z, at, heated), detection::zone_stuck) | when(jumps(d, view, z, at), detection::zone_jumped) |
             when(reversed(view, at), detection::zone_reversed) | when(runs_away(d, view, z), detection::runaway);
  }
  if (!load_in_use(p, view.run)) return found;
  const Thermocouple at = thermocouple_of(view.inputs, load_slot);
  return found | when(stands_still(d, view, load_slot, at, heats), detection::load_stuck) |
         when(jumps(d, view, load_slot, at), detection::load_jumped) | when(reversed(view, at), detection::load_reversed);
}

// Pressure that rises again while the pump is open to the chamber: a leak, a dirty load or a failing pump.
bool loses_vacuum(Detections& d, const DetectionView& view) {
  const float pa = view.inputs.vacuum_pa, rise_pa = view.parameters.vacuum_rise_pa;
  if ((view.before.coils & coil::isolation_open) == 0) {
    d.vacuum_pa = -1.0f;
    return false;
  }
  if (view.inputs.vacuum_in_range && (d.vacuum_pa < 0.0f || pa < d.vacuum_pa)) d.vacuum_pa = pa;
  return rise_pa > 0.0f && d.vacuum_pa >= 0.0f && pa > d.vacuum_pa + rise_pa;
}

bool load_differs(const DetectionView& view) {
  const Inputs& in = view.inputs;
  const float limit_k = view.parameters.load_difference_k;
  return limit_k > 0.0f && !in.load_failed && !in.load_2_failed && std::fabs(in.load_degc - in.load_2_degc) > limit_k;
}

// Once a soak has been counted for long, heater side and load stand together, but for what a zone is wanted hotter than the lead one.
bool heater_differs(const DetectionView& view) {
  const Inputs& in = view.inputs;
  const float limit_k = view.parameters.heater_difference_k;
  if (limit_k <= 0.0f || in.load_failed || in.zone_failed != 0 || view.run.segment >= view.run.segments) return false;
  const bool settled = programme_active(view.run) && view.run.copy[view.run.segment].kind == SegmentKind::soak &&
                       view.run.counted_ms >= soak_settled_ms;
  bool differs = false;
  for (int z = 0; z < view.parameters.zones; ++z) {
    differs = differs || std::fabs(in.zone_degc[z] - heat_zone_offset_k(view.parameters, z) - in.load_degc) > limit_k;
  }
  return settled && differs;
}

std::uint32_t watch_time(Detections& d, const DetectionView& view) {
  const std::uint64_t last_us = d.last_us;
  const bool runs = d.clock_runs;
  d.last_us = view.now_us;
  d.clock_runs = true;
  if (!runs) return 0;
  const bool back = view.now_us < last_us;
  const std::uint64_t gap_us = back ? 0 : view.now_us - last_us;
  if (back || gap_us > clock_jump_us) {
    ++d.clock_jumps;
    return detection::clock_jumped;
  }
  const float allowed_us = static_cast<float>(view.parameters.period_ms) * 1000.0f * (1.0f + view.parameters.tick_late_share);
  const bool late = view.parameters.tick_late_share > 0.0f && static_cast<float>(gap_us) > allowed_us;
  if (late) ++d.late_ticks;
  return when(late, detection::tick_late);
}

}  // namespace

bool load_in_use(const Parameters& parameters, const ProgrammeRun& run) {
  return run.load_needed || parameters.atmosphere_required != 0 || parameters.load_titanium != 0;
}

void detections_step(Detections& d, const DetectionView& view) {
  constexpr std::uint32_t of_the_clock = detection::tick_late | detection::clock_jumped;
  const std::uint32_t timing = watch_time(d, view);
  if (!view.inputs.fresh) {   // readings that stand say nothing: what was found stands too
    d.found = (d.found & ~of_the_clock) | timing;
    return;
  }
  const float frozen_ms = view.parameters.frozen_window_s * 1000.0f;
  const bool frozen = frozen_ms > 0.0f && static_cast<float>(view.inputs.same_ms) >= frozen_ms;
  const bool coil_off = (view.before.coils & coil::contactor) == 0;
  const bool welded = coil_off && (view.inputs.discrete & discrete::contactor_closed) != 0;
  d.found = timing | thermocouples(d, view) | when(frozen, detection::inputs_frozen) | when(welded, detection::contactor_welded) |
            when(loses_vacuum(d, view), detection::vacuum_lost) | when(load_differs(view), detection::load_differs) |
            when(heater_differs(view), detection::heater_differs);
}

}  // namespace fw
