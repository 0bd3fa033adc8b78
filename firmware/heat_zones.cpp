#include "firmware/heat_zones.h"

#include <cmath>
#include <cstring>

#include "firmware/fixed_point.h"

namespace fw {

namespace {

float clamped(float x, float low, float high) {
  if (!(x > low)) return low;  // also a NaN
  return x < high ? x : high;
}

int lead_of(const Parameters& p) { return p.heat_lead_zone >= 1 && p.heat_lead_zone <= p.zones ? p.heat_lead_zone - 1 : 0; }

float heat_period_s(const Parameters& p) {
  return static_cast<float>(p.period_ms) * 0.001f * static_cast<float>(p.heat_every > 0 ? p.heat_every : 1);
}

// --- Decoupling --------------------------------------------------------------------------------------------------------

// The matrices belong to parameters that change at an operator's hand: looked at when a loop runs, computed when they differ.
void know_interaction(HeatZones& zones, const Parameters& p) {
  // The same bits, not the same numbers. NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c)
  if (zones.known_zones == p.zones && std::memcmp(zones.known, p.heat_interaction, sizeof zones.known) == 0) return;
  std::memcpy(zones.known, p.heat_interaction, sizeof zones.known);
  zones.known_zones = p.zones;
  zones.coupled = false;
  for (int a = 0; a < zone_count_max; ++a) {
    zones.reach[a] = 1.0f;
    for (int b = 0; b < zone_count_max; ++b) {
      const bool used = a < p.zones && b < p.zones && a != b;
      const float effect = used ? p.heat_interaction[3 * a + (b < a ? b : b - 1)] : 0.0f;
      zones.interaction[a][b] = a == b ? 1.0f : effect;
      if (a == b) continue;
      zones.reach[a] += effect;
      zones.coupled = zones.coupled || effect != 0.0f;
    }
  }
  // A store may hold what no write would have got past: such a matrix is not used.
  if (!parameters_agree(p)) zones.coupled = false;
  if (zones.coupled) invert_dominant(zones.interaction, p.zones, zones.inverse);
}

void times(const float (&matrix)[zone_count_max][zone_count_max], int count, const float* x, float* y) {
  for (int a = 0; a < count; ++a) {
    float sum = 0.0f;
    for (int b = 0; b < count; ++b) sum += matrix[a][b] * x[b];
    y[a] = sum;
  }
}

// Demands within 0..high whose effect is what the loops ask. Where a zone is at a limit, the others are solved for with it standing
// there (Gauss-Seidel with a projection, which converges for a dominant matrix), or they would miss their own set points for its sake.
void decouple(HeatZones& zones, const Parameters& p, const float* wanted, float high) {
  constexpr int sweeps_max = 60;
  // NOLINTNEXTLINE(bugprone-suspicious-memory-comparison,cert-exp42-c,cert-flp37-c): as above
  if (std::memcmp(zones.solved_for, wanted, sizeof zones.solved_for) == 0) return;
  std::memcpy(zones.solved_for, wanted, sizeof zones.solved_for);
  times(zones.inverse, p.zones, wanted, zones.solved);
  bool limited = false;
  for (int z = 0; z < p.zones; ++z) {
    const float free = zones.solved[z];
    zones.solved[z] = clamped(free, 0.0f, high);
    limited = limited || zones.solved[z] != free;
  }
  for (int sweep = 0; limited && sweep < sweeps_max; ++sweep) {
    float moved = 0.0f;
    for (int a = 0; a < p.zones; ++a) {
      float rest = wanted[a];
      for (int b = 0; b < p.zones; ++b) rest -= a == b ? 0.0f : zones.interaction[a][b] * zones.solved[b];
      const float now = clamped(rest, 0.0f, high);
      moved += std::fabs(now - zones.solved[a]);
      zones.solved[a] = now;
    }
    if (moved < 1.0e-6f) break;
  }
}

// --- Cascade -----------------------------------------------------------------------------------------------------------

PidSettings<float> outer_settings(const Parameters& p, float load_degc, bool stands) {
  PidSettings<float> settings;
  settings.gain = p.cascade_gain;
  settings.integral_s = stands ? 0.0f : p.cascade_integral_s;
  settings.setpoint_weight = 1.0f;
  settings.tracking_s = p.cascade_integral_s > 0.0f ? p.cascade_integral_s : 60.0f;
  settings.period_s = heat_period_s(p);
  settings.out_min = load_degc - p.cascade_below_k;
  settings.out_max = load_degc + p.cascade_above_k;
  return settings;
}

// The lead zone has no more (or no less) to give, and that is what the load still lacks.
bool lead_at_limit(const HeatZones& zones, const Parameters& p, float lack_k, int lead, float power_max) {
  const float high = p.heat_out_max < power_max ? p.heat_out_max : power_max;
  return (lack_k > 0.0f && (zones.asked[lead] >= high || zones.held_back[lead])) || (lack_k < 0.0f && zones.asked[lead] <= 0.0f);
}

void step_cascade(HeatZones& zones, const Parameters& p, const Inputs& in, const HeatView& view, int lead) {
  if (!view.on) {
    zones.offset_k = 0.0f;
    zones.cascaded = false;
    zones.outer_ticks = 0;
    return;
  }
  if (zones.outer_ticks > 0) {
    --zones.outer_ticks;
    return;
  }
  zones.outer_ticks = p.heat_every > 1 ? static_cast<std::uint32_t>(p.heat_every - 1) : 0u;
  const float step_k = p.cascade_rate_k_per_s * heat_period_s(p);
  if (p.cascade_on == 0 || in.load_failed) {
    zones.cascaded = false;
    if (p.cascade_on != 0 && p.cascade_hold != 0) return;
    zones.offset_k -= clamped(zones.offset_k, -step_k, step_k);
    return;
  }
  const float lack_k = view.setpoint_degc - in.load_degc;
  const float before_degc = view.setpoint_degc + zones.offset_k;
  const PidSettings<float> settings = outer_settings(p, in.load_degc, lead_at_limit(zones, p, lack_k, lead, view.power_max));
  if (!zones.cascaded) zones.outer.manual(settings, view.setpoint_degc, in.load_degc, before_degc, view.setpoint_degc);
  zones.cascaded = true;
  const float wanted_degc = zones.outer.automatic(settings, view.setpoint_degc, in.load_degc, view.setpoint_degc);
  const float given_degc = clamped(wanted_degc, before_degc - step_k, before_degc + step_k);
  zones.outer.applied(given_degc);
  zones.offset_k = given_degc - view.setpoint_degc;
}

// --- Loops -------------------------------------------------------------------------------------------------------------

HeatOrder order_of(const HeatZones& zones, const HeatView& view, int z, float zone_degc) {
  HeatOrder order;
  order.gain_set = view.gain_set;
  order.setpoint_degc = zones.setpoint_degc[z];
  order.zone_degc = zone_degc;
  order.rate_k_per_s = view.rate_k_per_s;
  order.power_max = view.power_max;
  order.reach = zones.coupled ? zones.reach[z] : 1.0f;
  order.feed_forward = view.feed_forward;
  return order;
}

void rest(HeatZones& zones, HeatLoop& loop, const Parameters& p, const HeatView& view, int z, float zone_degc) {
  zones.setpoint_degc[z] = zone_degc;
  zones.asked[z] = zones.sent[z] = heat_manual(loop, p, view.gain_set, zone_degc, zone_degc, 0.0f);
  zones.held_back[z] = false;
  zones.guard[z] = ElementGuard{};
  zones.on_time[z] = OnTime{};
}

// What the elements and the station make of it. The guards run with the loops: between two runs the demand stands, and so does the
// current that belongs to it.
float sendable(HeatZones& zones, const Parameters& p, const Inputs& in, int z, float demand, bool runs) {
  if (p.soft_start_below_degc > 0.0f || p.current_limit_a > 0.0f) {
    if (runs) static_cast<void>(element_limit(zones.guard[z], p, in.zone_degc[z], zones.sent[z], in.current_a[z], heat_period_s(p)));
    const ElementGuard& guard = zones.guard[z];
    const float before = demand;
    if (p.soft_start_below_degc > 0.0f && demand > guard.soft_max) demand = guard.soft_max;
    if (p.current_limit_a > 0.0f && demand > guard.current_max) demand = guard.current_max;
    zones.held_back[z] = demand < before;
  }
  zones.asked[z] = demand;
  return p.proportion_cycle_s > 0.0f ? on_time_step(zones.on_time[z], p, demand) : demand;
}

}  // namespace

void heat_zones_step(HeatZones& zones, HeatLoop* loops, const Parameters& p, const Inputs& in, const HeatView& view, float* demand) {
  const int lead = lead_of(p);
  const bool runs = loops[0].ticks == 0;
  if (runs) know_interaction(zones, p);
  step_cascade(zones, p, in, view, lead);
  if (!view.on) {
    for (int z = 0; z < p.zones; ++z) {
      rest(zones, loops[z], p, view, z, in.zone_degc[z]);
      demand[z] = zones.sent[z];
    }
    return;
  }
  const float base_degc = view.setpoint_degc + zones.offset_k;
  float wanted[zone_count_max] = {};
  for (int z = 0; z < p.zones; ++z) {
    zones.setpoint_degc[z] = base_degc + heat_zone_offset_k(p, z);
    const HeatOrder order = order_of(zones, view, z, in.zone_degc[z]);
    wanted[z] = z == view.relay_zone ? heat_manual(loops[z], p, order, view.relay_frac) : heat_automatic(loops[z], p, order);
  }
  if (zones.coupled) decouple(zones, p, wanted, p.heat_out_max < view.power_max ? p.heat_out_max : view.power_max);
  const float* given = zones.coupled ? zones.solved : wanted;
  for (int z = 0; z < p.zones; ++z) {
    zones.sent[z] = sendable(zones, p, in, z, given[z], runs);
    demand[z] = zones.sent[z];
  }
}

void heat_zones_applied(HeatZones& zones, HeatLoop* loops, const Parameters& p, const float* demand) {
  float applied[zone_count_max] = {};
  // Time proportioning is no limit: its mean is what was asked.
  for (int z = 0; z < p.zones; ++z) applied[z] = demand[z] == zones.sent[z] ? zones.asked[z] : demand[z];
  if (!zones.coupled) {
    for (int z = 0; z < p.zones; ++z) heat_applied(loops[z], applied[z]);
    return;
  }
  float reached[zone_count_max] = {};
  times(zones.interaction, p.zones, applied, reached);
  for (int z = 0; z < p.zones; ++z) loops[z].pid.applied(reached[z]);
}

float heat_zone_offset_k(const Parameters& p, int zone) { return zone == lead_of(p) ? 0.0f : p.heat_offset_k[zone]; }

float heat_zones_farthest_degc(const HeatZones& zones, const Parameters& p, const Inputs& in, float setpoint_degc) {
  float farthest = 0.0f;
  for (int z = 0; z < p.zones; ++z) {
    const float zone_degc = in.zone_degc[z] - (zones.offset_k + heat_zone_offset_k(p, z));
    if (z == 0 || std::fabs(zone_degc - setpoint_degc) > std::fabs(farthest - setpoint_degc)) farthest = zone_degc;
  }
  return farthest;
}

float heat_zones_lead_degc(const Parameters& p, const Inputs& in) {
  return p.cascade_on != 0 && !in.load_failed ? in.load_degc : in.zone_degc[lead_of(p)];
}

void invert_dominant(const float (&matrix)[zone_count_max][zone_count_max], int count,
                     float (&inverse)[zone_count_max][zone_count_max]) {
  float left[zone_count_max][zone_count_max] = {};
  for (int i = 0; i < count; ++i) {
    for (int j = 0; j < count; ++j) {
      left[i][j] = matrix[i][j];
      inverse[i][j] = i == j ? 1.0f : 0.0f;
    }
  }
  for (int k = 0; k < count; ++k) {
    const float pivot = std::fabs(left[k][k]) > 1.0e-6f ? left[k][k] : 1.0e-6f;   // dominance keeps it above 0.05
    for (int j = 0; j < count; ++j) {
      left[k][j] /= pivot;
      inverse[k][j] /= pivot;
    }
    for (int i = 0; i < count; ++i) {
      const float factor = left[i][k];
      if (i == k || factor == 0.0f) continue;
      for (int j = 0; j < count; ++j) {
        left[i][j] -= factor * left[k][j];
        inverse[i][j] -= factor * inverse[k][j];
      }
    }
  }
}

float on_time_step(OnTime& state, const Parameters& p, float demand_frac) {
  constexpr std::int64_t one_ms = 1 << 20;
  const auto period_ms = static_cast<std::int64_t>(p.period_ms);
  const auto demand = to_int64(std::round(clamped(demand_frac, 0.0f, 1.0f) * static_cast<float>(one_ms)));
  if (state.ticks == 0) {
    const auto cycle_given_ms = to_int64(std::round(clamped(p.proportion_cycle_s, 0.0f, 600.0f) * 1000.0f));
    const std::int64_t ticks = cycle_given_ms < period_ms ? 1 : cycle_given_ms / period_ms;
    const std::int64_t cycle_ms = ticks * period_ms;
    const auto least_ms = to_int64(std::round(clamped(p.proportion_on_min_s, 0.0f, 60.0f) * 1000.0f));
    const auto step_given_ms = to_int64(std::round(clamped(p.proportion_step_s, 0.0f, 60.0f) * 1000.0f));
    const std::int64_t step_ms = step_given_ms > 0 ? step_given_ms : 1;
    const std::int64_t wanted = state.owed + demand * cycle_ms;
    std::int64_t on_ms = wanted > 0 ? wanted / one_ms / step_ms * step_ms : 0;
    if (on_ms > cycle_ms - least_ms) on_ms = wanted / one_ms >= cycle_ms ? cycle_ms : (cycle_ms - least_ms) / step_ms * step_ms;
    if (on_ms < least_ms || on_ms < 0) on_ms = 0;
    if (on_ms > cycle_ms) on_ms = cycle_ms;
    state.sent = static_cast<float>(on_ms) / static_cast<float>(cycle_ms);
    state.ticks = static_cast<std::uint32_t>(ticks);
    state.owed -= on_ms * one_ms;
  }
  --state.ticks;
  state.owed += demand * period_ms;
  const std::int64_t most = 2 * 600000 * one_ms;   // two of the longest cycles: never reached but by a parameter that changed
  state.owed = state.owed > most ? most : state.owed < -most ? -most : state.owed;
  return state.sent;
}

float element_limit(ElementGuard& guard, const Parameters& p, float zone_degc, float sent_frac, float current_a, float period_s) {
  constexpr float growth_per_s = 0.1f;
  float limit = 1.0f;
  if (p.soft_start_below_degc > 0.0f) {
    guard.soft_max = zone_degc < p.soft_start_below_degc ? clamped(guard.soft_max + p.soft_start_rate_per_s * period_s, 0.0f, 1.0f) : 1.0f;
    limit = guard.soft_max;
  }
  if (p.current_limit_a > 0.0f) {
    if (!(guard.current_max > 0.0f)) guard.current_max = first_guarded_frac;
    // With bursts the rms current goes with the root of the demand: I^2 / demand is that of the element switched through. Below a
    // hundredth of demand nothing can be told of it. Where no current flows there is none to limit: up to where it must be there, or
    // nobody would miss it.
    const float grown = guard.current_max + growth_per_s * period_s;
    if (sent_frac > 0.0f && !(current_a > 0.02f * p.current_limit_a)) {
      if (guard.current_max < first_guarded_frac) guard.current_max = grown < first_guarded_frac ? grown : first_guarded_frac;
    } else if (sent_frac > 0.01f) {
      const float ratio = p.current_limit_a / current_a;
      const float room = clamped(sent_frac * ratio * ratio, 0.001f, 1.0f);
      guard.current_max = room < grown ? room : grown;
    }
    if (guard.current_max < limit) limit = guard.current_max;
  }
  return limit;
}

}  // namespace fw
