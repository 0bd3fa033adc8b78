#include "sim/proof_stimuli.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <functional>
#include <string>

#include "firmware/commissioning.h"
#include "firmware/interlocks.h"

namespace sim {

namespace {

using fw::Gas;
using fw::Segment;
using fw::SegmentKind;

using P = const fw::Parameters&;
constexpr auto d = [](float value) { return static_cast<double>(value); };

constexpr double longest_s = 7200.0;                            // for anything to be reached
constexpr std::uint32_t for_ever_ms = 20u * 3600u * 1000u;

// --- Segments ----------------------------------------------------------------------------------------------------------

Segment of(SegmentKind kind) {
  Segment segment;
  segment.kind = kind;
  return segment;
}

Segment waiting(Gas gas = Gas::keep, float flow_slm = -1.0f) {
  Segment segment = of(SegmentKind::wait);
  segment.duration_ms = for_ever_ms;
  segment.gas = gas;
  segment.flow_slm = flow_slm;
  return segment;
}

// Slow: where it ends its feed-forward falls away, and the demand with it.
Segment ramp(double target_degc = 2000.0) {
  Segment segment = of(SegmentKind::ramp);
  segment.target = static_cast<float>(target_degc);
  segment.rate = 2.0f;
  return segment;
}

Segment soak() {
  Segment segment = of(SegmentKind::soak);
  segment.duration_ms = for_ever_ms;
  return segment;
}

Segment evacuate() {
  Segment segment = of(SegmentKind::evacuate);
  segment.target = 1.0f;
  segment.timeout_ms = for_ever_ms;
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

// --- Situations from which rows are provoked ---------------------------------------------------------------------------

bool until(Injector& injector, const std::function<bool()>& reached, double seconds = longest_s) {
  for (double left = seconds; left > 0.0; left -= injector.period_s()) {
    injector.tick();
    if (reached()) return true;
  }
  return false;
}

bool started(Injector& injector) {
  injector.run(1.0);
  return injector.command(fw::Command::start) == fw::Refusal::accepted;
}

bool begun(Injector& injector, const std::vector<Segment>& segments) {
  injector.start(segments);
  return started(injector);
}

int zone_of(const Injector& injector) { return channel::zone_1 + injector.zone(); }

bool has_retort(P p) { return p.retort_ceramic != 0 || p.atmosphere_required != 0; }

bool idle(Injector& injector) {
  injector.start({waiting()});
  injector.run(1.0);
  return true;
}

// A thermocouple that stands just below a limit since the start, or the way there would be a jump.
bool zone_below_trip(Injector& injector) {
  injector.start({waiting()});
  injector.set_degc(zone_of(injector), d(injector.parameters().zone_trip_degc) - 10.0);
  injector.run(1.0);
  return true;
}

bool runs_with_load(Injector& injector, const std::vector<Segment>& segments, float degc) {
  injector.start(segments);
  injector.set_degc(channel::load, d(degc) - 10.0);
  return started(injector);
}

// No demand for so long that a zone's own heat has gone.
bool settled(Injector& injector) {
  injector.start({waiting()});
  injector.run(62.0);
  return true;
}

bool running(Injector& injector) { return begun(injector, {waiting(), cool()}); }

double hot(P p) { return d(p.hot_degc) + 20.0; }

// Heat on: in air at once, in a retort after a backfill whose pressure, oxygen and flow are injected as they should be.
bool heats(Injector& injector, const Segment& rising, double least_demand) {
  P p = injector.parameters();
  const double hot_degc = hot(p);
  std::vector<Segment> segments{rising, soak(), cool()};
  if (has_retort(p)) segments.insert(segments.begin(), backfill(Gas::argon));
  injector.start(segments);
  for (int z = 0; z < 4; ++z) injector.set_degc(channel::zone_1 + z, hot_degc);
  injector.set_degc(channel::load, hot_degc);
  if (has_retort(p)) injector.set_gauge_pa(4000.0);
  if (!started(injector)) return false;
  const std::string out = "heat." + std::to_string(injector.zone() + 1) + ".out";
  return until(injector, [&] { return injector.value(out) >= least_demand; }, 400.0);
}

bool heating(Injector& injector) { return heats(injector, ramp(), 0.98 * d(injector.parameters().heat_out_max)); }

// As if the other zones were heated: three times as fast as the rule of no response asks for, which must then hang on the one alone.
bool heating_others_rise(Injector& injector) {
  P p = injector.parameters();
  if (!heating(injector)) return false;
  for (int z = 0; z < p.zones; ++z)
    if (z != injector.zone()) injector.set_rise(channel::zone_1 + z, 3.0 * d(p.response_rise_k) / d(p.response_window_s));
  return true;
}

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

// The pump's isolation open, on a retort whose gauge stands at the barometer: the target is never met.
bool pumping(Injector& injector) {
  load_purged(injector, {evacuate()});
  if (!start_purged(injector)) return false;
  injector.set_gauge_pa(0.0);
  return until(injector, [&] { return injector.coil(fw::coil::isolation_open); }, 600.0);
}

// The isolation is to open with the next period: the pump has been at speed for exactly as long as is asked for.
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

// Forming gas flows, purged and lit, at a pressure and with oxygen as they should be.
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

// At rest for longer than valve and meter are given to come to rest.
bool at_rest(Injector& injector) {
  injector.start({waiting()});
  injector.run(10.0);
  return true;
}

// Commissioning: the key turned, outputs forced one by one.
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

// All that opening the isolation asks for, but for the purge.
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

// --- Units that a row does not apply to --------------------------------------------------------------------------------

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

// Of the calibration gas at the meter: what flows of hydrogen reads less by its conversion.
void set_hydrogen_share(Injector& injector, double share) {
  P p = injector.parameters();
  const double nitrogen_slm = 0.5 * d(p.meter_full_scale_slm) * (1.0 - d(p.blend_hydrogen));
  injector.set_meter_slm(0, share / (1.0 - share) * nitrogen_slm / d(p.gas_conversion_hydrogen));
}

// --- The table ---------------------------------------------------------------------------------------------------------

const Stimulus stimuli[] = {
    {fw::row::emergency_stop, "emergency stop contact opened", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::emergency_stop_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::door, "door contact opened while a programme runs", running,
     [](Injector& i, double) { i.force_input(fw::discrete::door_closed, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::limiter, "limiter's contact opened", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::limiter_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::zone_temperature, "zone {} thermocouple raised", zone_below_trip,
     [](Injector& i, double v) { i.set_degc(zone_of(i), v); }, "degC",
     [](P p) { return d(p.zone_trip_degc); }, 0.5, nullptr, nullptr},
    {fw::row::load_temperature, "load thermocouple raised",
     [](Injector& i) { return runs_with_load(i, {waiting(), cool()}, i.parameters().load_trip_degc); },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC",
     [](P p) { return d(p.load_trip_degc); }, 0.5, nullptr, nullptr},
    {fw::row::zone_sensor, "zone {} thermocouple flagged open", idle, [](Injector& i, double) { i.set_flag(zone_of(i), true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::load_sensor, "load thermocouple flagged open", running, [](Injector& i, double) { i.set_flag(channel::load, true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::over_pressure, "gauge pressure raised", idle, [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge",
     [](P p) { return d(p.pressure_trip_pa); }, 10.0, nullptr, no_retort},
    {fw::row::over_pressure_switch, "over-pressure switch made", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::over_pressure, true); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::pressure_transmitter, "gauge-pressure loop lowered", idle, [](Injector& i, double v) { i.set_raw(channel::gauge, v); }, "mA",
     [](P) { return 3.6; }, -0.01, nullptr, no_retort},   // NAMUR NE 43
    {fw::row::low_pressure, "gauge pressure lowered while a hold phase heats", heating, [](Injector& i, double v) { i.set_gauge_pa(v); },
     "Pa gauge", [](P p) { return d(p.pressure_low_pa); }, -10.0, nullptr, no_atmosphere},
    {fw::row::oxygen, "oxygen cell lowered while hot", heating, [](Injector& i, double v) { i.set_oxygen_ppm(v); }, "ppm",
     [](P p) { return d(p.oxygen_trip_ppm); }, 2.0, nullptr, no_atmosphere},
    {fw::row::line_lost, "field line silent", idle, [](Injector& i, double) { i.set_silent(true); }, nullptr, nullptr, 0,
     [](P) { return 1.0; }, nullptr},
    {fw::row::station_watchdog, "station reports its watchdog", running, [](Injector& i, double) { i.set_watchdog(true); }, nullptr,
     nullptr, 0, nullptr, nullptr},
    {fw::row::current_without_demand, "zone {} current raised at no demand", idle,
     [](Injector& i, double v) { i.set_current_a(i.zone(), v); }, "A",
     [](P p) { return d(p.current_off_a); }, 0.02, nullptr, nullptr},
    {fw::row::demand_without_current, "zone {} current lowered at full demand", heating,
     [](Injector& i, double v) { i.set_current_a(i.zone(), v); }, "A",
     [](P p) { return d(p.element_current_min_a) * std::sqrt(d(p.heat_out_max)); }, -0.05, nullptr,
     [](P p) { return unless(p.element_current_min_a > 0.0f, "limits.element_current_min is 0"); }},
    {fw::row::supply_lost, "supply-pressure switch opened in a hold phase", heating,
     [](Injector& i, double) { i.force_input(fw::discrete::supply_present, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::pump_lost, "pump's speed contact opened with its isolation open", pumping,
     [](Injector& i, double) { i.force_input(fw::discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::exhaust_shut, "exhaust feedback opened in a hold phase", heating,
     [](Injector& i, double) { i.force_input(fw::discrete::exhaust_open, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::no_response, "zone {} held still at full demand, any other rising", heating_others_rise, [](Injector&, double) {}, nullptr,
     nullptr, 0,
     [](P p) { return d(p.response_window_s); }, [](P p) { return unless(p.response_window_s > 0.0f, "limits.response_window is 0"); }},
    {fw::row::load_above_heater, "load thermocouple raised above the heater side", heating,
     [](Injector& i, double v) { i.set_degc(channel::load, hot(i.parameters()) + v); }, "K",
     [](P p) { return d(p.load_above_heater_k); }, 1.0, nullptr,
     [](P p) { return unless(p.load_above_heater_k > 0.0f, "limits.load_above_heater is 0"); }},
    {fw::row::heat_not_permitted, "a ramp without the hold phase of its atmosphere",
     [](Injector& i) { return begun(i, {waiting(), ramp()}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, no_atmosphere},
    {fw::row::air_on_hot_titanium, "load thermocouple raised while air is to be admitted", admitting_air,
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.air_admittance_max_degc); }, 0.5, nullptr,
     no_titanium_in_retort},
    {fw::row::bypass_too_low, "gauge pressure lowered with the bypass forced open", bypass_forced,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.bypass_min_pa); }, -10.0, nullptr, no_retort},
    {fw::row::isolation_before_pump, "pump's speed contact opened as its isolation is to open", about_to_pump,
     [](Injector& i, double) { i.force_input(fw::discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::isolation_with_inlet, "purge feedback made with the pump's isolation open", pumping,
     [](Injector& i, double) { i.force_input(fw::discrete::purge_open, true); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::isolation_under_pressure, "gauge pressure raised with the pump's isolation open", pumping,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.evacuate_switch_pa); }, 10.0, nullptr, no_retort},
    {fw::row::gas_not_selected, "a backfill that names no gas",
     [](Injector& i) { return begun(i, {waiting(), backfill(Gas::keep)}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, no_retort},
    {fw::row::air_gas_on_hot_titanium, "load thermocouple raised with air as process gas",
     [](Injector& i) { return runs_with_load(i, {waiting(Gas::air, 1.0f)}, i.parameters().air_admittance_max_degc); },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.air_admittance_max_degc); }, 0.5, nullptr,
     no_titanium},
    {fw::row::burn_off_lost, "burn-off flame's contact opened while forming gas flows", burning,
     [](Injector& i, double) { i.force_input(fw::discrete::burn_off_proven, false); }, nullptr, nullptr, 0, nullptr, none_flows},
    {fw::row::blend_ratio, "meter 1 raised while forming gas flows", burning,
     [](Injector& i, double v) { set_hydrogen_share(i, 0.01 * v); }, "% hydrogen",
     [](P p) { return 100.0 * (d(p.blend_hydrogen) + d(p.blend_tolerance)); }, 0.1, nullptr, no_blend},
    {fw::row::air_in_combustible, "oxygen cell lowered while forming gas flows", burning,
     [](Injector& i, double v) { i.set_oxygen_ppm(v); }, "ppm", [](P p) { return d(p.combustible_oxygen_max_ppm); }, 20.0, nullptr,
     none_flows},
    {fw::row::combustible_pressure, "gauge pressure lowered while forming gas flows", burning,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.combustible_pressure_min_pa); }, -10.0, nullptr,
     none_flows},
    {fw::row::door_on_combustible, "door contact opened at rest, chamber not purged", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::door_closed, false); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::combustible_valve, "meter 1 raised with the process valve shut", at_rest,
     [](Injector& i, double v) { i.set_meter_slm(0, v); }, "slm", [](P p) { return d(p.combustible_leak_slm); }, 0.01, nullptr,
     no_combustible},
    {fw::row::combustible_not_permitted, "process valve forced open to hydrogen, chamber not purged", hydrogen_selected,
     [](Injector& i, double) { (void)force(i, fw::coil::process_open); }, nullptr, nullptr, 0, nullptr, titanium_instead},
    {fw::row::combustible_on_titanium, "process valve forced open to hydrogen", hydrogen_selected,
     [](Injector& i, double) { (void)force(i, fw::coil::process_open); }, nullptr, nullptr, 0, nullptr, no_titanium_or_retort},
    {fw::row::isolation_on_combustible, "pump isolation forced open, chamber not purged", pump_forced,
     [](Injector& i, double) { (void)force(i, fw::coil::isolation_open); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::air_on_combustible, "air admittance forced open, chamber not purged", key_turned,
     [](Injector& i, double) { (void)force(i, fw::coil::air_open); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::air_gas_on_combustible, "a segment that feeds air, chamber not purged",
     [](Injector& i) { return begun(i, {waiting(), waiting(Gas::air, 1.0f)}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, no_combustible},
    {fw::row::sensor_stuck, "zone {} thermocouple held still to the bit while it is heated", heating,
     [](Injector& i, double) { i.hold_still(zone_of(i)); }, nullptr, nullptr, 0, [](P p) { return d(p.stuck_window_s); },
     [](P p) { return unless(p.stuck_window_s > 0.0f, "limits.stuck_window is 0"); }},
    {fw::row::sensor_reversed, "zone {} thermocouple lowered below its terminals", idle,
     [](Injector& i, double v) { i.set_degc(zone_of(i), v); }, "degC", [](P p) { return 25.0 - d(p.sensor_reversed_k); }, -0.5,
     nullptr, [](P p) { return unless(p.sensor_reversed_k > 0.0f, "limits.sensor_reversed is 0"); }},
    {fw::row::sensor_jumped, "zone {} thermocouple shorted at its terminals", heating,
     [](Injector& i, double) { i.set_raw(zone_of(i), 0.0); }, nullptr, nullptr, 0, nullptr,
     [](P p) { return unless(p.sensor_jump_k > 0.0f, "limits.sensor_jump is 0"); }},
    {fw::row::contactor_welded, "contactor's feedback made with its coil off", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::contactor_closed, true); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::runaway, "zone {} thermocouple raised at no demand", settled,
     [](Injector& i, double v) { i.set_degc(zone_of(i), 25.0 + v); }, "K", [](P p) { return d(p.runaway_k); }, 1.0, nullptr,
     [](P p) { return unless(p.runaway_k > 0.0f, "limits.runaway is 0"); }},
    {fw::row::inputs_frozen, "every input of the station held still", idle, [](Injector& i, double) { i.hold_all_still(); }, nullptr,
     nullptr, 0, [](P p) { return d(p.frozen_window_s); },
     [](P p) { return unless(p.frozen_window_s > 0.0f, "limits.frozen_window is 0"); }},
};

// What no signal can bring about, and what shows it instead.
constexpr Elsewhere elsewhere[] = {
    {fw::row::internal_fault, "a check inside the core; unit test interlocks_test"},
};

}  // namespace

std::span<const Stimulus> proof_stimuli() { return stimuli; }

std::span<const Elsewhere> proved_elsewhere() { return elsewhere; }

}  // namespace sim
