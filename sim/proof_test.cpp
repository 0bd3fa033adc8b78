#include "sim/proof_test.h"

#include <cmath>
#include <functional>

#include <fmt/format.h>

#include "sim/injector.h"

namespace sim {

namespace {

using fw::Segment;
using fw::SegmentKind;
using Verdict = ProofResult::Verdict;

constexpr double longest_s = 7200.0;   // for anything to be reached

Segment of(SegmentKind kind) {
  Segment segment;
  segment.kind = kind;
  return segment;
}

Segment waiting(fw::Gas gas = fw::Gas::keep, float flow_slm = -1.0f) {
  Segment segment = of(SegmentKind::wait);
  segment.duration_ms = 20u * 3600u * 1000u;
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
  segment.duration_ms = 20u * 3600u * 1000u;
  return segment;
}

Segment evacuate() {
  Segment segment = of(SegmentKind::evacuate);
  segment.target = 1.0f;
  segment.timeout_ms = 20u * 3600u * 1000u;
  return segment;
}

Segment backfill(fw::Gas gas) {
  Segment segment = of(SegmentKind::backfill);
  segment.target = gas == fw::Gas::air ? 0.0f : 4000.0f;
  segment.flow_slm = 1.0f;
  segment.gas = gas;
  segment.timeout_ms = 20u * 3600u * 1000u;
  return segment;
}

Segment cool() {
  Segment segment = of(SegmentKind::cool);
  segment.target = 1.0f;
  return segment;
}

bool until(Injector& injector, const std::function<bool()>& reached, double seconds = longest_s) {
  for (double left = seconds; left > 0.0; left -= injector.period_s()) {
    injector.tick();
    if (reached()) return true;
  }
  return false;
}

bool begun(Injector& injector, const std::vector<Segment>& segments) {
  injector.start(segments);
  injector.run(1.0);
  return injector.command(fw::Command::start) == fw::Refusal::accepted;
}

// --- Situations from which rows are provoked ----------------------------------------------------------------------------

bool has_retort(const fw::Parameters& p) { return p.retort_ceramic != 0 || p.atmosphere_required != 0; }

bool idle(Injector& injector) {
  injector.start({waiting()});
  injector.run(1.0);
  return true;
}

// A thermocouple that stands just below a limit since the start, or the way there would be a jump.
bool zone_below_trip(Injector& injector) {
  injector.start({waiting()});
  injector.set_degc(channel::zone_1, static_cast<double>(injector.parameters().zone_trip_degc) - 10.0);
  injector.run(1.0);
  return true;
}

bool runs_with_load(Injector& injector, const std::vector<Segment>& segments, float degc) {
  injector.start(segments);
  injector.set_degc(channel::load, static_cast<double>(degc) - 10.0);
  injector.run(1.0);
  return injector.command(fw::Command::start) == fw::Refusal::accepted;
}

// No demand for so long that a zone's own heat has gone.
bool settled(Injector& injector) {
  injector.start({waiting()});
  injector.run(62.0);
  return true;
}

bool running(Injector& injector) { return begun(injector, {waiting(), cool()}); }

double hot(const fw::Parameters& p) { return static_cast<double>(p.hot_degc) + 20.0; }

// Heat on: in air at once, in a retort after a backfill whose pressure, oxygen and flow are injected as they should be.
bool heats(Injector& injector, const Segment& rising, double least_demand) {
  const fw::Parameters& p = injector.parameters();
  const double hot_degc = hot(p);
  std::vector<Segment> segments{rising, soak(), cool()};
  if (has_retort(p)) segments.insert(segments.begin(), backfill(fw::Gas::argon));
  injector.start(segments);
  for (int z = 0; z < 4; ++z) injector.set_degc(channel::zone_1 + z, hot_degc);
  injector.set_degc(channel::load, hot_degc);
  if (has_retort(p)) injector.set_gauge_pa(4000.0);
  injector.run(1.0);
  if (injector.command(fw::Command::start) != fw::Refusal::accepted) return false;
  return until(injector, [&] { return injector.value("heat.1.out") >= least_demand; }, 400.0);
}

bool heating(Injector& injector) { return heats(injector, ramp(), 0.98 * static_cast<double>(injector.parameters().heat_out_max)); }

// The pump's isolation open, on a retort whose gauge stands at the barometer: the target is never met.
bool pumping(Injector& injector) {
  if (!begun(injector, {evacuate()})) return false;
  return until(injector, [&] { return injector.coil(fw::coil::isolation_open); }, 600.0);
}

// --- Stimuli -----------------------------------------------------------------------------------------------------------

struct Stimulus {
  std::uint8_t row;
  const char* words;                                         // what is done at the terminals
  bool (*prepare)(Injector&);                                // false: the situation could not be reached
  void (*apply)(Injector&, double value);                    // value: of the signal; without a limit any
  const char* unit;                                          // of the limit, null: there is none
  double (*limit)(const fw::Parameters&);
  double step;                                               // of the signal, positive: rising
  double (*delay_s)(const fw::Parameters&);                  // beyond the row's own, null: none
  bool (*fitted)(const fw::Parameters&);                     // null: always
};

using P = const fw::Parameters&;
constexpr auto d = [](float value) { return static_cast<double>(value); };

bool retort(P p) { return has_retort(p); }
bool atmosphere(P p) { return p.atmosphere_required != 0; }
bool titanium(P p) { return p.load_titanium != 0; }
bool titanium_retort(P p) { return p.load_titanium != 0 && p.retort_ceramic != 0; }

const Stimulus stimuli[] = {
    {fw::row::emergency_stop, "emergency stop contact opened", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::emergency_stop_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::door, "door contact opened while a programme runs", running,
     [](Injector& i, double) { i.force_input(fw::discrete::door_closed, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::limiter, "limiter's contact opened", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::limiter_healthy, false); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::zone_temperature, "zone 1 thermocouple raised", zone_below_trip,
     [](Injector& i, double v) { i.set_degc(channel::zone_1, v); }, "degC",
     [](P p) { return d(p.zone_trip_degc); }, 0.5, nullptr, nullptr},
    {fw::row::load_temperature, "load thermocouple raised",
     [](Injector& i) { return runs_with_load(i, {waiting(), cool()}, i.parameters().load_trip_degc); },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC",
     [](P p) { return d(p.load_trip_degc); }, 0.5, nullptr, nullptr},
    {fw::row::zone_sensor, "zone 1 thermocouple flagged open", idle, [](Injector& i, double) { i.set_flag(channel::zone_1, true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::load_sensor, "load thermocouple flagged open", running, [](Injector& i, double) { i.set_flag(channel::load, true); },
     nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::over_pressure, "gauge pressure raised", idle, [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge",
     [](P p) { return d(p.pressure_trip_pa); }, 10.0, nullptr, retort},
    {fw::row::over_pressure_switch, "over-pressure switch made", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::over_pressure, true); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::pressure_transmitter, "gauge-pressure loop lowered", idle, [](Injector& i, double v) { i.set_raw(channel::gauge, v); }, "mA",
     [](P) { return 3.6; }, -0.01, nullptr, retort},   // NAMUR NE 43
    {fw::row::low_pressure, "gauge pressure lowered while a hold phase heats", heating, [](Injector& i, double v) { i.set_gauge_pa(v); },
     "Pa gauge", [](P p) { return d(p.pressure_low_pa); }, -10.0, nullptr, atmosphere},
    {fw::row::oxygen, "oxygen cell lowered while hot", heating, [](Injector& i, double v) { i.set_oxygen_ppm(v); }, "ppm",
     [](P p) { return d(p.oxygen_trip_ppm); }, 2.0, nullptr, atmosphere},
    {fw::row::line_lost, "field line silent", idle, [](Injector& i, double) { i.set_silent(true); }, nullptr, nullptr, 0,
     [](P) { return 1.0; }, nullptr},
    {fw::row::station_watchdog, "station reports its watchdog", running, [](Injector& i, double) { i.set_watchdog(true); }, nullptr,
     nullptr, 0, nullptr, nullptr},
    {fw::row::current_without_demand, "zone 1 current raised at no demand", idle, [](Injector& i, double v) { i.set_current_a(0, v); }, "A",
     [](P p) { return d(p.current_off_a); }, 0.02, nullptr, nullptr},
    {fw::row::demand_without_current, "zone 1 current lowered at full demand", heating,
     [](Injector& i, double v) { i.set_current_a(0, v); }, "A",
     [](P p) { return d(p.element_current_min_a) * std::sqrt(d(p.heat_out_max)); }, -0.05, nullptr,
     [](P p) { return p.element_current_min_a > 0.0f; }},
    {fw::row::supply_lost, "supply-pressure switch opened in a hold phase", heating,
     [](Injector& i, double) { i.force_input(fw::discrete::supply_present, false); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::pump_lost, "pump's speed contact opened with its isolation open", pumping,
     [](Injector& i, double) { i.force_input(fw::discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::exhaust_shut, "exhaust feedback opened in a hold phase", heating,
     [](Injector& i, double) { i.force_input(fw::discrete::exhaust_open, false); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::no_response, "zone 1 held still at full demand", heating, [](Injector&, double) {}, nullptr, nullptr, 0,
     [](P p) { return d(p.response_window_s); }, [](P p) { return p.response_window_s > 0.0f && p.response_window_s < 7000.0f; }},
    {fw::row::load_above_heater, "load thermocouple raised above the heater side", heating,
     [](Injector& i, double v) { i.set_degc(channel::load, hot(i.parameters()) + v); }, "K",
     [](P p) { return d(p.load_above_heater_k); }, 1.0, nullptr,
     [](P p) { return p.load_above_heater_k > 0.0f && p.hot_degc + 25.0f + p.load_above_heater_k < p.load_trip_degc; }},
    {fw::row::heat_not_permitted, "a ramp without the hold phase of its atmosphere",
     [](Injector& i) { return begun(i, {waiting(), ramp()}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, atmosphere},
    {fw::row::air_on_hot_titanium, "load thermocouple raised while air is to be admitted",
     [](Injector& i) {
       i.start({backfill(fw::Gas::air)});
       i.set_gauge_pa(-2000.0);
       i.set_degc(channel::load, d(i.parameters().air_admittance_max_degc) - 10.0);
       i.run(1.0);
       return i.command(fw::Command::start) == fw::Refusal::accepted;
     },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.air_admittance_max_degc); }, 0.5, nullptr,
     titanium_retort},
    {fw::row::isolation_before_pump, "pump's speed contact opened as its isolation is to open",
     [](Injector& i) {
       i.start({evacuate()});
       i.follow_pump(false);
       i.run(1.0);
       if (i.command(fw::Command::start) != fw::Refusal::accepted) return false;
       i.force_input(fw::discrete::pump_at_speed, true);
       // At speed for exactly as long as is asked for: the isolation is to open with the next period.
       for (auto left = std::lround(std::ceil(d(i.parameters().vacuum_pump_spin_up_s) / i.period_s())); left > 0; --left) i.tick();
       return !i.coil(fw::coil::isolation_open);
     },
     [](Injector& i, double) { i.force_input(fw::discrete::pump_at_speed, false); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::isolation_with_inlet, "purge feedback made with the pump's isolation open", pumping,
     [](Injector& i, double) { i.force_input(fw::discrete::purge_open, true); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::isolation_under_pressure, "gauge pressure raised with the pump's isolation open", pumping,
     [](Injector& i, double v) { i.set_gauge_pa(v); }, "Pa gauge", [](P p) { return d(p.evacuate_switch_pa); }, 10.0, nullptr, retort},
    {fw::row::gas_not_selected, "a backfill that names no gas",
     [](Injector& i) { return begun(i, {waiting(), backfill(fw::Gas::keep)}); },
     [](Injector& i, double) { (void)i.command(fw::Command::skip); }, nullptr, nullptr, 0, nullptr, retort},
    {fw::row::air_gas_on_hot_titanium, "load thermocouple raised with air as process gas",
     [](Injector& i) { return runs_with_load(i, {waiting(fw::Gas::air, 1.0f)}, i.parameters().air_admittance_max_degc); },
     [](Injector& i, double v) { i.set_degc(channel::load, v); }, "degC", [](P p) { return d(p.air_admittance_max_degc); }, 0.5, nullptr,
     titanium},
    {fw::row::sensor_stuck, "zone 1 thermocouple held still to the bit while it is heated", heating,
     [](Injector& i, double) { i.hold_still(channel::zone_1); }, nullptr, nullptr, 0, [](P p) { return d(p.stuck_window_s); },
     [](P p) { return p.stuck_window_s > 0.0f; }},
    {fw::row::sensor_reversed, "zone 1 thermocouple lowered below its terminals", idle,
     [](Injector& i, double v) { i.set_degc(channel::zone_1, v); }, "degC", [](P p) { return 25.0 - d(p.sensor_reversed_k); }, -0.5,
     nullptr, [](P p) { return p.sensor_reversed_k > 0.0f; }},
    {fw::row::sensor_jumped, "zone 1 thermocouple shorted at its terminals", heating,
     [](Injector& i, double) { i.set_raw(channel::zone_1, 0.0); }, nullptr, nullptr, 0, nullptr,
     [](P p) { return p.sensor_jump_k > 0.0f && hot(p) - 25.0 > 2.0 * d(p.sensor_jump_k); }},
    {fw::row::contactor_welded, "contactor's feedback made with its coil off", idle,
     [](Injector& i, double) { i.force_input(fw::discrete::contactor_closed, true); }, nullptr, nullptr, 0, nullptr, nullptr},
    {fw::row::runaway, "zone 1 thermocouple raised at no demand", settled,
     [](Injector& i, double v) { i.set_degc(channel::zone_1, 25.0 + v); }, "K", [](P p) { return d(p.runaway_k); }, 1.0, nullptr,
     [](P p) { return p.runaway_k > 0.0f; }},
    {fw::row::inputs_frozen, "every input of the station held still", idle, [](Injector& i, double) { i.hold_all_still(); }, nullptr,
     nullptr, 0, [](P p) { return d(p.frozen_window_s); }, [](P p) { return p.frozen_window_s > 0.0f; }},
};

// What no signal can bring about, and what shows it instead.
struct Elsewhere {
  std::uint8_t row;
  const char* why;
};
constexpr Elsewhere elsewhere[] = {
    {fw::row::internal_fault, "a check inside the core; unit test interlocks_test"},
    {fw::row::bypass_too_low, "the sequence never asks for it; unit test interlocks_test"},
};

const Stimulus* stimulus_of(int row) {
  for (const Stimulus& stimulus : stimuli) {
    if (stimulus.row == row) return &stimulus;
  }
  return nullptr;
}

bool trips(fw::InterlockAction action) {
  return action == fw::InterlockAction::trip || action == fw::InterlockAction::trip_over_pressure;
}

const char* effect_of(fw::InterlockAction action) {
  switch (action) {
    case fw::InterlockAction::trip: return "trip: safe values";
    case fw::InterlockAction::trip_over_pressure: return "trip: inlets shut, bypass open";
    case fw::InterlockAction::refuse_heat: return "no heat";
    case fw::InterlockAction::refuse_air: return "no air admittance";
    case fw::InterlockAction::refuse_bypass: return "no bypass";
    case fw::InterlockAction::refuse_isolation: return "no pump isolation";
    case fw::InterlockAction::refuse_process_gas: return "no process gas";
    default: return "refused";
  }
}

// The row shows itself, and with a trip the heat is off in the same period.
bool acted(const Injector& injector, const fw::InterlockRow& row, std::string& wrong) {
  if (!trips(row.action)) return injector.value("interlock.inhibit") == row.number;
  const double first_out = injector.value("interlock.trip");
  if (first_out == 0.0) return false;
  if (first_out != row.number) wrong = fmt::format("row {:.0f} tripped instead", first_out);
  else if (injector.coil(fw::coil::contactor)) wrong = "the contactor stayed closed";
  return true;
}

// Cause at once: the delay from the first period that carries it.
void step_test(Injector& injector, const Stimulus& stimulus, const fw::InterlockRow& row, ProofResult& result) {
  std::string wrong;
  const double value = stimulus.unit != nullptr ? result.set + 3.0 * stimulus.step : 0.0;
  stimulus.apply(injector, value);
  double delay_s = 0.0;
  const double give_up_s = result.set_delay_s + 10.0;
  bool shown = stimulus.unit == nullptr && acted(injector, row, wrong);   // a command took its periods already
  while (!shown && delay_s <= give_up_s) {
    injector.tick();
    delay_s += injector.period_s();
    shown = acted(injector, row, wrong);
  }
  result.delay_s = delay_s;
  if (!shown) result.reason = fmt::format("nothing within {:.1f} s", give_up_s);
  else if (!wrong.empty()) result.reason = wrong;
  else if (delay_s > result.set_delay_s + 2.001 * injector.period_s()) result.reason = "too late";
  else if (delay_s + 1.001 * injector.period_s() < result.set_delay_s) result.reason = "too early";
  else result.verdict = Verdict::pass;
}

// The signal in steps across its limit, each held for longer than the delay.
void stair_test(Injector& injector, const Stimulus& stimulus, const fw::InterlockRow& row, ProofResult& result) {
  std::string wrong;
  const int first = result.set_delay_s > 30.0 ? 0 : -4;   // a long delay must not outlast the rule of no response
  for (int stair = first; stair <= 4; ++stair) {
    const double value = result.set + stair * stimulus.step;
    stimulus.apply(injector, value);
    bool shown = false;
    for (double left = result.set_delay_s + 3.0 * injector.period_s(); left > 0.0 && !shown; left -= injector.period_s()) {
      injector.tick();
      shown = acted(injector, row, wrong);
    }
    if (!shown) continue;
    result.observed = value;
    if (!wrong.empty()) result.reason = wrong;
    else if (std::fabs(stair) > 1.0) result.reason = "trips at another value than is set";
    return;
  }
  result.observed = result.set + 4.0 * stimulus.step;
  result.reason = "does not act at its limit";
}

void test_row(Injector& injector, const Stimulus& stimulus, const fw::InterlockRow& row, ProofResult& result) {
  result.set_delay_s = row.delay_ms * 1e-3 + (stimulus.delay_s != nullptr ? stimulus.delay_s(injector.parameters()) : 0.0);
  if (stimulus.unit != nullptr) {
    result.unit = stimulus.unit;
    result.set = stimulus.limit(injector.parameters());
    result.resolution = std::fabs(stimulus.step);
    if (!stimulus.prepare(injector)) {
      result.reason = "the situation it needs was not reached";
      return;
    }
    stair_test(injector, stimulus, row, result);
    if (!result.reason.empty()) return;
  }
  if (!stimulus.prepare(injector)) {
    result.reason = "the situation it needs was not reached";
    return;
  }
  if (trips(row.action) && injector.value("interlock.trip") != 0.0) {
    result.reason = fmt::format("row {:.0f} tripped before it was provoked", injector.value("interlock.trip"));
    return;
  }
  step_test(injector, stimulus, row, result);
}

}  // namespace

std::vector<ProofResult> proof_test(Endpoint& core, const fw::Parameters& parameters) {
  std::vector<ProofResult> results;
  Injector injector(core, parameters);
  for (const fw::InterlockRow& row : fw::interlock_table()) {
    ProofResult& result = results.emplace_back();
    result.row = row.number;
    result.name = row.name;
    result.cause = row.cause;
    result.effect = effect_of(row.action);
    for (const Elsewhere& other : elsewhere) {
      if (other.row == row.number) {
        result.verdict = Verdict::not_from_terminals;
        result.reason = other.why;
      }
    }
    if (result.verdict == Verdict::not_from_terminals) continue;
    const Stimulus* stimulus = stimulus_of(row.number);
    // The rows of combustible gas have no stimuli yet: on a unit without it they are not in force, on one with it they fail here.
    if (stimulus == nullptr && row.number >= fw::row::burn_off_lost && row.number <= fw::row::air_gas_on_combustible &&
        parameters.combustible_gas == 0) {
      result.verdict = Verdict::not_fitted;
      result.reason = "no combustible gas on this unit";
      continue;
    }
    if (stimulus == nullptr) {
      result.reason = "the proof test has no stimulus for this row";
      continue;
    }
    result.stimulus = stimulus->words;
    if (stimulus->fitted != nullptr && !stimulus->fitted(parameters)) {
      result.verdict = Verdict::not_fitted;
      result.reason = "not in force with these parameters";
      continue;
    }
    test_row(injector, *stimulus, row, result);
  }
  return results;
}

const char* verdict_text(ProofResult::Verdict verdict) {
  switch (verdict) {
    case Verdict::pass: return "pass";
    case Verdict::fail: return "FAIL";
    case Verdict::not_fitted: return "not in force";
    case Verdict::not_from_terminals: return "not from the terminals";
  }
  return "";
}

}  // namespace sim
