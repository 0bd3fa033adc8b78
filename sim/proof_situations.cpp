#include "sim/proof_situations.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <functional>

#include "firmware/commissioning.h"

namespace sim::proof {

namespace {

constexpr std::uint32_t for_ever_ms = 20u * 3600u * 1000u;

// --- Segments ----------------------------------------------------------------------------------------------------------

Segment of(SegmentKind kind) {
  Segment segment;
  segment.kind = kind;
  return segment;
}

}  // namespace

Segment waiting(Gas gas, float flow_slm) {
  Segment segment = of(SegmentKind::wait);
  segment.duration_ms = for_ever_ms;
  segment.gas = gas;
  segment.flow_slm = flow_slm;
  return segment;
}

// Slow: where it ends its feed-forward falls away, and the demand with it.
Segment ramp(double target_degc) {
  Segment segment = of(SegmentKind::ramp);
  segment.target = static_cast<float>(target_degc);
  segment.rate = 2.0f;
  return segment;
}

Segment backfill(Gas gas) {
  Segment segment = of(SegmentKind::backfill);
  segment.target = gas == Gas::air ? 0.0f : 4000.0f;
  segment.flow_slm = 1.0f;
  segment.gas = gas;
  segment.timeout_ms = for_ever_ms;
  return segment;
}

Segment cool() {
  Segment segment = of(SegmentKind::cool);
  segment.target = 1.0f;
  return segment;
}

namespace {

Segment soak(float tolerance_k = 0.0f) {
  Segment segment = of(SegmentKind::soak);
  segment.duration_ms = for_ever_ms;
  segment.tolerance_k = tolerance_k;
  return segment;
}

Segment evacuate() {
  Segment segment = of(SegmentKind::evacuate);
  segment.target = 1.0f;
  segment.timeout_ms = for_ever_ms;
  return segment;
}

// A tenth more than is asked for: what flows while the valve moves is not counted.
Segment inert_purge(P p) {
  Segment segment = of(SegmentKind::purge);
  segment.amount = 1.1f * p.combustible_purge_volumes;
  segment.gas = Gas::nitrogen;
  segment.flow_slm = p.meter_full_scale_slm;
  segment.target = 4000.0f;
  segment.timeout_ms = for_ever_ms;
  return segment;
}

double inert_purge_s(P p) {
  return 60.0 + 2.0 * 60.0 * d(p.combustible_purge_volumes) * d(p.chamber_volume_l) / d(p.meter_full_scale_slm);
}

}  // namespace

// --- Situations --------------------------------------------------------------------------------------------------------

bool until(Injector& injector, const std::function<bool()>& reached, double longest_s) {
  for (double left = longest_s; left > 0.0; left -= injector.period_s()) {
    injector.tick();
    if (reached()) return true;
  }
  return false;
}

namespace {

bool started(Injector& injector) {
  injector.run(1.0);
  return injector.command(fw::Command::start) == fw::Refusal::accepted;
}

}  // namespace

bool has_retort(P p) { return p.retort_ceramic != 0 || p.atmosphere_required != 0; }

bool begun(Injector& injector, const std::vector<Segment>& segments) {
  injector.start(segments);
  return started(injector);
}

int zone_of(const Injector& injector) { return channel::zone_1 + injector.zone(); }

bool idle(Injector& injector) {
  injector.start({waiting()});
  injector.run(1.0);
  return true;
}

// A thermocouple that stands just below a limit since the start, or the way there would be a jump.
bool zone_below(Injector& injector, float degc) {
  injector.start({waiting()});
  injector.set_degc(zone_of(injector), d(degc) - 10.0);
  injector.run(1.0);
  return true;
}

bool runs_with_load(Injector& injector, const std::vector<Segment>& segments, float degc) {
  injector.start(segments);
  injector.set_degc(channel::load, d(degc) - 10.0);
  return started(injector);
}

bool settled(Injector& injector) {
  injector.start({waiting()});
  injector.run(62.0);
  return true;
}

bool running(Injector& injector) { return begun(injector, {waiting(), cool()}); }

double hot(P p) { return d(p.hot_degc) + 20.0; }

namespace {

// Heat on: in air at once, in a retort after a backfill whose pressure, oxygen and flow are injected as they should be.
bool started_hot(Injector& injector, std::vector<Segment> segments) {
  P p = injector.parameters();
  const double hot_degc = hot(p);
  if (has_retort(p)) segments.insert(segments.begin(), backfill(Gas::argon));
  injector.start(segments);
  for (int z = 0; z < 4; ++z) injector.set_degc(channel::zone_1 + z, hot_degc);
  for (const int load : {+channel::load, channel::load + 1}) injector.set_degc(load, hot_degc);
  if (has_retort(p)) injector.set_gauge_pa(4000.0);
  return started(injector);
}

std::string of_zone(int zone, const char* what) { return "heat." + std::to_string(zone + 1) + what; }

}  // namespace

bool heating(Injector& injector) {
  if (!started_hot(injector, {ramp(), soak(), cool()})) return false;
  const std::string out = of_zone(injector.zone(), ".out");
  return until(injector, [&] { return injector.value(out) >= 0.98 * d(injector.parameters().heat_out_max); }, 400.0);
}

bool soaking(Injector& injector, float tolerance_k) {
  P p = injector.parameters();
  if (!started_hot(injector, {soak(tolerance_k), cool()})) return false;
  const double segment = has_retort(p) ? 1.0 : 0.0;
  const auto permitted = [&] {
    return injector.value("programme.segment") == segment && injector.value("interlock.heat_permissive") == 1.0;
  };
  if (!until(injector, permitted, 400.0)) return false;
  for (int z = 0; z < p.zones; ++z) approach(injector, channel::zone_1 + z, hot(p), injector.value(of_zone(z, ".sp")));
  injector.run(1.0);
  return true;
}

bool soaked(Injector& injector) {
  return soaking(injector) && until(injector, [&] { return injector.value("programme.soak_counted") > 601.0; }, 700.0);
}

void approach(Injector& injector, int channel, double from_degc, double to_degc) {
  const int seconds = static_cast<int>(std::ceil(std::fabs(to_degc - from_degc) / 5.0));
  for (int i = 1; i <= seconds; ++i) {
    injector.set_degc(channel, from_degc + (to_degc - from_degc) * i / seconds);
    injector.run(1.0);
  }
}

// As if the other zones were heated: three times as fast as the rule of no response asks for, which must then hang on the one alone.
bool heating_others_rise(Injector& injector) {
  P p = injector.parameters();
  if (!heating(injector)) return false;
  for (int z = 0; z < p.zones; ++z)
    if (z != injector.zone()) injector.set_rise(channel::zone_1 + z, 3.0 * d(p.response_rise_k) / d(p.response_window_s));
  return true;
}

namespace {

// A unit with combustible gas refuses pump and air until it has been purged: there the programme begins with that.
void load_purged(Injector& injector, std::vector<Segment> segments) {
  P p = injector.parameters();
  if (p.combustible_gas != 0) segments.insert(segments.begin(), inert_purge(p));
  injector.start(segments);
  if (p.combustible_gas != 0) injector.set_gauge_pa(200.0);
}

bool start_purged(Injector& injector) {
  if (!started(injector)) return false;
  if (injector.parameters().combustible_gas == 0) return true;
  return until(injector, [&] { return injector.value("programme.segment") == 1.0; }, inert_purge_s(injector.parameters()));
}

}  // namespace

// The target is never met.
bool pumping(Injector& injector) {
  load_purged(injector, {evacuate()});
  if (!start_purged(injector)) return false;
  injector.set_gauge_pa(0.0);
  return until(injector, [&] { return injector.coil(fw::coil::isolation_open); }, 600.0);
}

bool pumping_at(Injector& injector, double absolute_pa) {
  if (!pumping(injector)) return false;
  injector.set_vacuum_pa(absolute_pa);
  injector.run(5.0);
  return injector.coil(fw::coil::isolation_open);
}

// The pump has been at speed for exactly as long as is asked for.
bool about_to_pump(Injector& injector) {
  load_purged(injector, {evacuate()});
  injector.follow_pump(false);
  if (!start_purged(injector)) return false;
  if (!injector.coil(fw::coil::pump_motor) && !until(injector, [&] { return injector.coil(fw::coil::pump_motor); }, 10.0)) return false;
  injector.force_input(fw::discrete::pump_at_speed, true);
  const double spin_up_s = d(injector.parameters().vacuum_pump_spin_up_s);
  for (auto left = std::lround(std::ceil(spin_up_s / injector.period_s())); left > 0; --left) injector.tick();
  return !injector.coil(fw::coil::isolation_open);
}

// Air flows in as long as the chamber stands below the barometer.
bool admitting_air(Injector& injector) {
  load_purged(injector, {waiting(), backfill(Gas::air)});
  injector.set_degc(channel::load, d(injector.parameters().air_admittance_max_degc) - 10.0);
  if (!start_purged(injector)) return false;
  injector.set_gauge_pa(-2000.0);
  injector.tick();
  return injector.command(fw::Command::skip) == fw::Refusal::accepted;
}

bool flowing(Injector& injector, double slm) {
  P p = injector.parameters();
  if (!begun(injector, {waiting(Gas::nitrogen, static_cast<float>(slm))})) return false;
  injector.run(5.0 + slm / std::max(0.01, d(p.flow_ramp_slm_per_s)));
  return injector.coil(fw::coil::process_open);
}

bool filling(Injector& injector) {
  return begun(injector, {backfill(Gas::argon)}) && until(injector, [&] { return injector.coil(fw::coil::process_open); }, 60.0);
}

// At a pressure and with oxygen as they should be.
bool burning(Injector& injector) {
  P p = injector.parameters();
  injector.start({inert_purge(p), waiting(Gas::forming_gas, 0.5f * p.meter_full_scale_slm)});
  injector.set_gauge_pa(4000.0);
  if (!started(injector)) return false;
  constexpr double flowing = 3.0;   // of combustible.state
  if (!until(injector, [&] { return injector.value("combustible.state") == flowing; }, inert_purge_s(p))) return false;
  injector.run(10.0 + 0.5 * d(p.meter_full_scale_slm) / std::max(0.01, d(p.flow_ramp_slm_per_s)));
  return true;
}

bool at_rest(Injector& injector) {
  injector.start({waiting()});
  injector.run(10.0);
  return true;
}

bool force(Injector& injector, std::uint16_t coil) {
  const auto output = static_cast<std::uint16_t>(std::countr_zero(coil));
  return injector.command(fw::Command::force_output, output, 1.0f) == fw::Refusal::accepted;
}

bool forced(Injector& injector, std::initializer_list<std::uint16_t> coils) {
  injector.force_input(fw::discrete::key_commissioning, true);
  injector.run(1.0);
  return std::all_of(coils.begin(), coils.end(), [&](std::uint16_t coil) { return force(injector, coil); });
}

bool bypass_forced(Injector& injector) {
  injector.start({waiting()});
  injector.set_gauge_pa(d(injector.parameters().bypass_min_pa) + 200.0);
  return forced(injector, {fw::coil::bypass_open}) && injector.coil(fw::coil::bypass_open);
}

bool hydrogen_selected(Injector& injector) {
  injector.start({waiting()});
  if (!forced(injector, {})) return false;
  return injector.command(fw::Command::force_output, fw::forced_gas, static_cast<float>(Gas::hydrogen)) == fw::Refusal::accepted;
}

bool pump_forced(Injector& injector) {
  using namespace fw::coil;
  injector.start({waiting()});
  if (!forced(injector, {purge_shut, exhaust_shut, inlet_vent_shut, pump_motor})) return false;
  injector.run(d(injector.parameters().vacuum_pump_spin_up_s) + 3.0);
  return injector.coil(fw::coil::pump_motor);
}

bool key_turned(Injector& injector) {
  injector.start({waiting()});
  return forced(injector, {});
}

bool motor_forced(Injector& injector) {
  injector.start({waiting()});
  if (!forced(injector, {fw::coil::pump_motor})) return false;
  injector.run(5.0);
  return injector.coil(fw::coil::pump_motor);
}

// --- Units that something does not apply to ----------------------------------------------------------------------------

const char* unless(bool fits, const char* why) { return fits ? nullptr : why; }

const char* no_retort(P p) { return unless(has_retort(p), "no retort: unit.retort_ceramic and unit.atmosphere_required are no"); }
const char* no_atmosphere(P p) { return unless(p.atmosphere_required != 0, "unit.atmosphere_required is no"); }
const char* no_titanium(P p) { return unless(p.load_titanium != 0, "unit.load_titanium is no"); }
const char* no_titanium_in_retort(P p) {
  return p.load_titanium == 0 ? no_titanium(p) : unless(p.retort_ceramic != 0, "no air admittance: unit.retort_ceramic is no");
}
const char* no_combustible(P p) { return unless(p.combustible_gas != 0, "unit.combustible_gas is no"); }
const char* none_flows(P p) {
  return p.combustible_gas == 0 ? no_combustible(p) : unless(p.load_titanium == 0, "unit.load_titanium is yes: none is let in");
}
const char* no_blend(P p) {
  const char* const none = none_flows(p);
  return none != nullptr ? none : unless(p.blend_premixed == 0, "combustible.blend.premixed is yes: no ratio");
}
const char* titanium_instead(P p) {
  return has_retort(p) ? unless(p.load_titanium == 0, "unit.load_titanium is yes: row 38 refuses in its place") : no_retort(p);
}
const char* no_titanium_or_retort(P p) { return has_retort(p) ? no_titanium(p) : no_retort(p); }

}  // namespace sim::proof
