// Torture: what an operator does on purpose. Each drill is an act of its own: a unit, a programme, and a script that goes where
// chance alone would seldom get. Troubles and odd requests go on beside it.
#include "firmware/registers.h"
#include "tests/segments.h"
#include "tests/torture/torture.h"

namespace torture {

namespace {

using fw::Command;
using fw::Gas;
using fw::Segment;
using fw::SegmentKind;
using namespace segments;
using enum DrillLine::When;

// --- Lines -------------------------------------------------------------------------------------------------------------

constexpr DrillLine say(DrillLine::When when, std::uint16_t ticks, Command code, unsigned argument = 0, float value = 0.0f) {
  return {when, ticks, DrillLine::command, static_cast<unsigned>(code), argument, value, 0, nullptr};
}
constexpr DrillLine set(DrillLine::When when, std::uint16_t ticks, const char* name, float value) {
  return {when, ticks, DrillLine::parameter, 0, 0, value, 0, name};
}
constexpr DrillLine window(DrillLine::When when, std::uint16_t ticks, unsigned programme, unsigned sample) {
  return {when, ticks, DrillLine::segment, programme, sample, 0.0f, 0, nullptr};
}
constexpr DrillLine look(unsigned address, unsigned count) { return {now, 1, DrillLine::read, address, count, 0.0f, 0, nullptr}; }
constexpr DrillLine turn_key(std::uint16_t ticks, bool on) { return {now, ticks, DrillLine::key, on, 0, 0.0f, 0, nullptr}; }
constexpr DrillLine hurt(DrillLine::When when, std::uint16_t ticks, Trouble::Kind kind, unsigned which, float value, std::uint32_t last) {
  return {when, ticks, DrillLine::trouble, kind, which, value, last, nullptr};
}
// A discrete input forced to 0 or 1.
constexpr DrillLine force_input(DrillLine::When when, std::uint16_t ticks, unsigned bit, bool on, std::uint32_t last) {
  return hurt(when, ticks, Trouble::discrete, bit, on ? 1.0f : 0.0f, last);
}
constexpr DrillLine cut(DrillLine::When when, std::uint16_t ticks, float outage_s) {
  return {when, ticks, DrillLine::restart, 0, 0, outage_s, 0, nullptr};
}

// --- Programmes --------------------------------------------------------------------------------------------------------

// Gas that the segment lets in.
Segment with_gas(Segment segment, Gas gas, float flow_slm) {
  segment.gas = gas;
  segment.flow_slm = flow_slm;
  return segment;
}
Segment swept(Gas gas, float changes) { return with_gas(purge(changes, 4000.0f, 5.0f), gas, 5.0f); }
Segment timed_ramp(float target_degc, double seconds) {
  Segment timed = ramp(target_degc, 0.0f);
  timed.options = fw::ramp_by_time;
  timed.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  return timed;
}
constexpr double for_ever_s = 1000.0;

std::vector<Segment> soak_in_air() {
  return {ramp(300.0f, 40.0f), soak(for_ever_s, 0.0f), ramp(400.0f, 20.0f), soak(60.0, 0.0f), cool(200.0f)};
}
std::vector<Segment> soak_in_argon() {
  return {evacuate(300.0f), backfill(4000.0f, 5.0f), with_flow(ramp(300.0f, 40.0f), 4.0f), soak(for_ever_s, 0.0f), cool(200.0f)};
}
std::vector<Segment> soak_in_nitrogen() {   // soon there
  return {swept(Gas::nitrogen, 12.0f), with_flow(ramp(300.0f, 60.0f), 4.0f), soak(for_ever_s, 0.0f)};
}
// Segments still to come, of every kind that may be edited, and ramps to enter; behind its end as long as a programme can be.
std::vector<Segment> steps() {
  std::vector<Segment> all{ramp(60.0f, 40.0f), soak(30.0, 0.0f), timed_ramp(400.0f, 30.0), soak(30.0, 0.0f), ramp(500.0f, 20.0f),
                           wait(20.0), end()};
  all.resize(fw::programme_segments_max, wait(1.0));
  return all;
}
std::vector<Segment> loops() {
  Segment inner = segment(SegmentKind::repeat), outer = inner;
  inner.count = outer.count = 3;
  outer.jump = 0;
  inner.jump = 1;
  return {timed_ramp(150.0f, 20.0), timed_ramp(250.0f, 20.0), soak(20.0, 0.0f), inner, ramp(100.0f, 40.0f), outer, cool(60.0f)};
}
std::vector<Segment> hydrogen() {
  return {swept(Gas::nitrogen, 8.0f), with_gas(wait(8.0), Gas::hydrogen, 4.0f), with_gas(ramp(850.0f, 60.0f), Gas::forming_gas, 4.0f),
          soak(40.0, 0.0f), swept(Gas::nitrogen, 8.0f), cool(300.0f), evacuate(500.0f), end()};
}
std::vector<Segment> hydrogen_then_pump() {
  return {swept(Gas::nitrogen, 8.0f), with_gas(wait(8.0), Gas::hydrogen, 4.0f), evacuate(500.0f)};
}
std::vector<Segment> hydrogen_then_air() {
  return {swept(Gas::nitrogen, 8.0f), with_gas(wait(8.0), Gas::hydrogen, 4.0f), backfill(4000.0f, 4.0f, Gas::air)};
}
// Gas that flows through a chamber in which nothing was made.
std::vector<Segment> air_at_rest() { return {with_gas(wait(8.0), Gas::air, 3.0f), ramp(200.0f, 20.0f), wait(5.0)}; }
std::vector<Segment> dry_out() {
  Segment drying = with_flow(swept(Gas::nitrogen, 1.0f), 4.0f);
  drying.options = fw::until_dry;
  drying.rate = -40.0f;
  drying.duration_ms = 10000;
  Segment cycles = swept(Gas::argon, 300.0f);
  cycles.options = fw::by_vacuum_cycles;
  cycles.count = 2;
  return {drying, evacuate(200.0f), leak_test(3.0, 50.0f), wait(2.0), cycles, wait(5.0), evacuate(300.0f),
          backfill(0.0f, 0.0f, Gas::air), wait(3.0)};
}
std::vector<Segment> vacuum() { return {evacuate(50.0f), soak(for_ever_s, 0.0f)}; }

// --- Units -------------------------------------------------------------------------------------------------------------

void alone(fw::Parameters& p) {   // one loop, nothing between it and its element
  p.zones = p.heat_every = 1;
  p.cascade_on = 0;
  p.soft_start_below_degc = p.current_limit_a = p.proportion_cycle_s = p.response_window_s = 0.0f;
  p.heat_out_max = 1.0f;
  p.heat_out_rate_per_s = 100.0f;
  p.tune_amplitude = 0.5f;
  p.tune_heat = {2.0f, 200.0f, 200.0f, 1.0f, 600.0f, 1};
  p.tune_pressure = {100.0f, 10000.0f, 3000.0f, 1.0f, 600.0f, 2};
}
void four_zones(fw::Parameters& p) {
  p.zones = 4;
  for (float& effect : p.heat_interaction) effect = 0.15f;
  p.heat_offset_k[0] = 20.0f;
  p.heat_offset_k[2] = -30.0f;
  p.heat_lead_zone = 2;
  p.cascade_on = 1;
  p.cascade_rate_k_per_s = 20.0f;
  p.proportion_cycle_s = 2.0f;
  p.proportion_on_min_s = p.proportion_step_s = 0.2f;
  p.soft_start_below_degc = 200.0f;
  p.soft_start_rate_per_s = 0.1f;
  p.current_limit_a = 9.0f;
}
void titanium(fw::Parameters& p) { p.load_titanium = 1; }
void no_titanium(fw::Parameters& p) {
  p.load_titanium = 0;
  p.combustible_ignition_s = 8.0f;
  p.blend_premixed = 0;
}
void premixed(fw::Parameters& p) {
  no_titanium(p);
  p.combustible_ignition_s = 40.0f;
  p.blend_premixed = 1;
  p.power_loss_policy = 2;
}
void resumed(fw::Parameters& p) {
  p.power_loss_policy = 2;
  p.power_loss_temperature_k = 2000.0f;
}
void held_back(fw::Parameters& p) { p.power_loss_policy = 1; }
void watchful(fw::Parameters& p) {
  alone(p);
  p.heater_difference_k = 0.05f;
  p.load_difference_k = 10.0f;
  p.stuck_window_s = 20.0f;   // a reading that stands still is no reading
  p.frozen_window_s = 0.0f;
}
void quick_to_give_up(fw::Parameters& p) {
  p.vent_timeout_s = p.pump_timeout_s = 2.0f;
  p.feedback_timeout_s = 4.0f;
  p.count_hot = 1;
  p.purge_timeout_s = 40.0f;
}
// Everything watched, and loops that get there.
void easy(fw::Parameters& p) {
  alone(p);
  p.zones = 2;
  p.load_titanium = 1;
  p.response_window_s = 10.0f;
  p.stuck_window_s = 0.0f;
  p.frozen_window_s = 5.0f;
  p.load_difference_k = 20.0f;
  p.stick_tolerance = 0.05f;
  p.supply_low_pa = 30000.0f;
  p.deviation_alarm_k = 30.0f;
  p.hot_degc = 20.0f;
}
void as_it_is(fw::Parameters&) {}

// --- Scripts -----------------------------------------------------------------------------------------------------------

constexpr DrillLine tunes_heat[] = {
    say(idle, 5, Command::start_auto_tune, 1), say(now, 2, Command::abort_auto_tune), say(now, 2, Command::accept_auto_tune, 1),
    say(now, 2, Command::reject_auto_tune), say(soaking, 150, Command::start_auto_tune, 7), say(now, 2, Command::start_auto_tune, 2),
    say(now, 2, Command::start_auto_tune, 1), say(now, 8, Command::start_auto_tune, 1), look(fw::tune_address, 21),
    say(tuned, 2, Command::start_auto_tune, 1), say(now, 2, Command::accept_auto_tune, 9), say(now, 2, Command::accept_auto_tune, 2),
    set(now, 20, "tune.heat.rule", 2.0f), say(soaking, 150, Command::start_auto_tune, 1), say(tuned, 2, Command::reject_auto_tune),
    set(now, 2, "tune.heat.rule", 3.0f), say(soaking, 60, Command::start_auto_tune, 1), say(tuned, 2, Command::accept_auto_tune, 1),
    say(soaking, 60, Command::start_auto_tune, 1), say(now, 20, Command::abort_auto_tune), set(soaking, 60, "tune.heat.timeout", 1.0f),
    say(now, 2, Command::start_auto_tune, 1), say(tuned, 2, Command::accept_auto_tune, 1), set(now, 2, "tune.heat.timeout", 600.0f),
    set(now, 2, "tune.heat.ceiling", 0.0f), say(soaking, 60, Command::start_auto_tune, 1), set(tuned, 2, "tune.heat.ceiling", 200.0f),
    say(soaking, 60, Command::start_auto_tune, 1), say(now, 10, Command::change_setpoint, 0, 320.0f),
    set(tuned, 2, "tune.heat.settled_within", 0.0f), say(soaking, 60, Command::start_auto_tune, 1),
    set(now, 2, "tune.heat.settled_within", 200.0f), set(now, 2, "heat.out_max", 0.0f), say(soaking, 60, Command::start_auto_tune, 1),
    set(now, 2, "heat.out_max", 1.0f), say(soaking, 200, Command::start_auto_tune, 1), hurt(now, 10, Trouble::status, 0, 0.0f, 4),
    say(over, 20, Command::acknowledge), say(soaking, 200, Command::start_auto_tune, 1), force_input(now, 10, 1, false, 3),
    say(soaking, 200, Command::start_auto_tune, 1), say(now, 10, Command::skip), say(heating, 0, Command::hold),
    say(now, 60, Command::start_auto_tune, 1), say(now, 30, Command::resume)};

constexpr DrillLine tunes_pressure[] = {
    say(idle, 5, Command::start_auto_tune, 5), say(holding, 120, Command::start_auto_tune, 5),
    say(tuned, 2, Command::accept_auto_tune, 1), say(holding, 90, Command::start_auto_tune, 5), say(tuned, 2, Command::reject_auto_tune),
    say(holding, 60, Command::start_auto_tune, 5), say(now, 20, Command::change_setpoint, 1, 3000.0f),
    set(now, 2, "tune.pressure.ceiling", 10.0f), say(holding, 90, Command::start_auto_tune, 5), say(tuned, 5, Command::reject_auto_tune),
    set(now, 2, "tune.pressure.ceiling", 10000.0f), say(holding, 60, Command::start_auto_tune, 5), say(now, 25, Command::abort_auto_tune),
    say(holding, 60, Command::start_auto_tune, 5), hurt(now, 20, Trouble::channel, 7, 22.0f, 4),
    say(holding, 30, Command::change_setpoint, 2, 3.0f), say(now, 60, Command::shut_down), set(now, 60, "flow.direct_drive", 1.0f)};

constexpr DrillLine zones_together[] = {
    say(soaking, 60, Command::start_auto_tune, 1), set(now, 5, "heat.interaction.1_by_2", 0.9f),
    hurt(soaking, 20, Trouble::status, 4, 0.0f, 30), set(now, 5, "cascade.hold", 1.0f), hurt(soaking, 20, Trouble::status, 4, 0.0f, 30),
    set(now, 40, "heat.cycle_time", 0.0f), set(now, 30, "heat.cycle_time", 0.05f), set(now, 30, "heat.cycle_time", 600.0f),
    set(now, 30, "heat.cycle_time", 3.0f), set(now, 30, "heat.on_time_min", 2.0f), set(now, 60, "heat.on_time_step", 0.0f),
    say(soaking, 10, Command::change_setpoint, 0, 900.0f), say(soaking, 60, Command::change_setpoint, 0, 50.0f),
    set(now, 30, "heat.steady.2.at", 500.0f), set(now, 5, "heat.steady.2.demand", 0.5f), set(now, 5, "heat.steady.3.at", 400.0f),
    set(now, 5, "heat.interpolate", 1.0f), set(now, 5, "heat.gains.2.at", 200.0f), set(now, 5, "heat.gains.3.at", 600.0f),
    set(now, 5, "heat.feed_forward", 0.02f), set(now, 5, "heat.feed_forward_slope", 0.001f), say(now, 5, Command::skip),
    set(heating, 10, "heat.gains.2.integral", 0.0f), set(now, 40, "heat.soft_start_below", 0.0f), set(now, 10, "cascade.on", 0.0f),
    set(now, 40, "heat.interaction.1_by_2", 0.0f), set(now, 10, "heat.current_limit", 0.0f), say(now, 40, Command::hold),
    say(now, 20, Command::resume)};

// One refusal after the other: each row of the interlock table alone.
constexpr DrillLine forces_outputs[] = {
    say(idle, 30, Command::force_output, 6, 1.0f), turn_key(2, true), say(now, 3, Command::release_outputs),
    say(now, 3, Command::force_output, 3, 0.5f), say(now, 3, Command::force_output, 12, 1.0f),
    say(now, 3, Command::force_output, 25, 1.0f), say(now, 3, Command::force_output, 20, 2.0f),
    say(now, 3, Command::force_output, 4, 1.0f), say(now, 3, Command::force_output, 4, 0.0f),
    hurt(now, 3, Trouble::channel, 4, 20.0f, 20), say(now, 3, Command::force_output, 5, 1.0f),
    say(now, 20, Command::force_output, 5, 0.0f), say(now, 3, Command::force_output, 7, 1.0f),
    say(now, 3, Command::force_output, 6, 1.0f), say(now, 30, Command::force_output, 2, 1.0f),
    say(now, 3, Command::force_output, 3, 1.0f), hurt(now, 3, Trouble::channel, 7, 12.0f, 20),
    say(now, 30, Command::force_output, 7, 0.0f), say(now, 3, Command::force_output, 1, 1.0f), say(now, 3, Command::force_output, 21, 2.5f),
    say(now, 3, Command::force_output, 21, 9.0f), say(now, 3, Command::force_output, 21, 5.0f),
    say(now, 5, Command::force_output, 21, 1.0f),
    say(now, 3, Command::force_output, 1, 0.0f), say(now, 3, Command::force_output, 21, 0.0f), say(now, 3, Command::force_output, 20, 0.3f),
    say(now, 3, Command::force_output, 16, 0.2f), say(now, 3, Command::force_output, 19, 0.2f), say(now, 8, Command::release_outputs),
    say(now, 3, Command::force_output, 9, 1.0f), turn_key(5, false), turn_key(5, true), say(now, 3, Command::force_output, 2, 1.0f),
    say(now, 5, Command::start), say(now, 10, Command::force_output, 2, 1.0f), say(now, 3, Command::stop),
    say(over, 30, Command::acknowledge), say(now, 3, Command::reset), say(idle, 3, Command::force_output, 2, 1.0f),
    force_input(now, 3, 1, false, 3), say(now, 10, Command::force_output, 2, 1.0f), say(now, 5, Command::acknowledge)};

constexpr DrillLine forgets_outputs[] = {   // until their time is over
    turn_key(20, true), say(idle, 3, Command::force_output, 2, 1.0f), say(now, 640, Command::release_outputs)};

constexpr DrillLine zeroes_pressure[] = {
    say(idle, 20, Command::zero_pressure, 0, 20000.0f), turn_key(2, true), say(now, 3, Command::zero_pressure, 0, 20000.0f),
    say(now, 3, Command::force_output, 2, 1.0f), say(now, 3, Command::force_output, 5, 1.0f),
    say(now, 140, Command::zero_pressure, 0, 20000.0f), say(now, 140, Command::zero_pressure, 0, -1.0f),
    say(now, 140, Command::zero_pressure, 0, 200000.0f), hurt(now, 3, Trouble::channel, 7, 8.5f, 140),
    say(now, 130, Command::zero_pressure, 0, 20001.0f), force_input(now, 30, 0, false, 150),
    say(now, 130, Command::zero_pressure, 0, 20002.0f), set(now, 3, "calibration.pressure.add_low", 1999.0f),
    set(now, 3, "calibration.load.add_high", 10.0f), set(now, 3, "instruments.zone_thermocouple", 66.0f),
    set(now, 3, "instruments.zone_thermocouple", 65.0f), set(now, 3, "limits.hot", 80.0f), set(now, 3, "unit.zones", 2.0f),
    set(now, 3, "combustible.leak", 0.2f), hurt(now, 3, Trouble::channel, 0, 20.0f, 10), set(now, 3, "unit.zones", 3.0f),
    turn_key(3, false), set(now, 3, "unit.zones", 4.0f), set(now, 3, "limits.hot", 90.0f), set(now, 3, "power_loss.policy", 1.0f),
    say(now, 3, Command::start), set(now, 5, "power_loss.policy", 2.0f)};

constexpr unsigned mains = fw::alarm::mains_low, welded = fw::alarm::contactor_welded;
constexpr DrillLine handles_alarms[] = {
    hurt(now, 30, Trouble::channel, 17, 10.0f, 900), say(now, 30, Command::acknowledge_alarm, mains),
    say(now, 2, Command::acknowledge_alarm, mains), say(now, 2, Command::shelve_alarm, mains, 0.5f),
    say(now, 2, Command::shelve_alarm, 99, 10.0f), say(now, 2, Command::shelve_alarm, 0, 10.0f),
    say(now, 2, Command::unshelve_alarm, mains), say(now, 2, Command::shelve_alarm, mains, 1000.0f), look(fw::alarm_state_address, 64),
    look(fw::alarm_shelf_address, 64), say(now, 2, Command::unshelve_alarm, mains), say(now, 2, Command::shelve_alarm, mains, 3.0f),
    look(fw::row_address, 14), say(now, 60, Command::alarm_out_of_service, mains), turn_key(2, true),
    say(now, 3, Command::alarm_out_of_service, mains), say(now, 2, Command::alarm_out_of_service, mains),
    say(now, 2, Command::alarm_out_of_service, 70), look(fw::alarm_state_address, 40), say(now, 2, Command::alarm_in_service, mains),
    say(now, 2, Command::alarm_in_service, mains), say(now, 2, Command::shelve_alarm, fw::alarm::pump_slow, 30000.0f),
    look(fw::alarm_shelf_address, 64), hurt(now, 2, Trouble::silent, 0, 0.0f, 20), look(fw::alarm_state_address, 64),
    say(now, 30, Command::acknowledge), say(now, 2, Command::reset), force_input(now, 30, 2, true, 40), look(fw::alarm_state_address, 64),
    say(now, 60, Command::reset_alarm, welded), look(fw::alarm_state_address, 64), say(now, 2, Command::acknowledge_alarm, welded),
    look(fw::alarm_state_address, 64), say(now, 2, Command::reset_alarm, welded), look(fw::command_address, 4),
    look(fw::setpoint_address, 6), look(0x0500, 58), look(0x053A, 80), look(0x0100, 90)};

constexpr DrillLine edits[] = {
    window(now, 30, 0, 0), say(now, 2, Command::edit_running, 3), say(now, 2, Command::start), say(soaking, 5, Command::edit_running, 0),
    say(now, 2, Command::edit_running, 3), say(now, 2, Command::edit_running, 3, 1.0f), say(now, 2, Command::edit_running, 5, 1.0f),
    say(now, 2, Command::edit_running, 200), window(now, 2, 0, 1), say(now, 2, Command::edit_running, 4), window(now, 2, 0, 2),
    say(now, 2, Command::edit_running, 4), window(now, 2, 1, 0), say(now, 2, Command::edit_running, 4),
    say(now, 2, Command::open_programme, 16), say(now, 2, Command::open_programme, 2), say(now, 2, Command::open_programme, 1),
    window(now, 2, 2, 0), say(now, 2, Command::write_segment, 0), say(now, 2, Command::write_segment, 1),
    say(now, 2, Command::write_segment, 200), say(now, 2, Command::close_programme), say(now, 2, Command::close_programme),
    say(now, 30, Command::write_segment, 1), window(now, 1, 2, 2), say(now, 8, Command::write_segment, 1),
    say(now, 12, Command::erase_programme, 2), say(now, 2, Command::read_segment, 0), window(now, 1, 1, 0),
    say(now, 2, Command::read_segment, 1), say(now, 2, Command::read_segment, 100), window(now, 1, 1, 1),
    say(now, 2, Command::write_segment, 0), window(now, 1, 3, 0), say(now, 2, Command::write_segment, 128),
    say(now, 2, Command::write_segment, 127), say(now, 40, Command::open_programme, 3), say(now, 2, Command::close_programme),
    window(now, 1, 4, 0), say(now, 2, Command::write_segment, 0), look(0x050A, 48), look(0x053E, 100), say(now, 2, Command::stop),
    say(over, 40, Command::reset), say(now, 2, Command::open_programme, 0), say(now, 2, Command::start),
    say(now, 2, Command::close_programme), say(idle, 20, Command::start_at_value), say(soaking, 5, Command::skip),
    say(heating, 120, Command::stop), say(over, 20, Command::reset), say(idle, 2, Command::start_at_value),
    say(heating, 20, Command::shut_down), say(over, 30, Command::reset), say(now, 2, Command::select_programme, 9),
    say(now, 2, Command::select_programme, 60000), say(now, 2, Command::erase_programme, 0), say(now, 2, Command::start)};

constexpr DrillLine loses_power[] = {
    cut(soaking, 60, 20.0f), cut(soaking, 30, 5.0f), say(heating, 15, Command::hold), cut(now, 30, 30.0f), say(now, 30, Command::resume),
    cut(heating, 20, 4.0f), cut(now, 6, 4.0f), cut(soaking, 40, 1.0e6f), say(over, 10, Command::reset), say(idle, 5, Command::start),
    set(soaking, 5, "heat.gains.1.gain", 0.01f), cut(soaking, 20, 3.0f), say(now, 60, Command::skip), cut(now, 40, 2.0f),
    set(now, 200, "power_loss.temperature_lost", 0.0f), cut(soaking, 40, 50.0f)};

constexpr DrillLine loses_power_with_gas[] = {
    cut(now, 40, 3.0f), cut(pumping, 20, 3.0f), cut(holding, 20, 9.0f), cut(pumping, 10, 2.0f), cut(soaking, 60, 9.0f),
    say(holding, 30, Command::shut_down), cut(now, 20, 4.0f), say(over, 30, Command::reset), say(idle, 5, Command::start),
    cut(soaking, 20, 20.0f), hurt(now, 1, Trouble::watchdog, 0, 0.0f, 30), say(now, 60, Command::resume)};

constexpr DrillLine runs_hydrogen[] = {
    cut(flowing, 40, 5.0f), say(flowing, 60, Command::hold), say(now, 10, Command::resume), say(flowing, 30, Command::stop),
    force_input(now, 60, 12, true, 80), hurt(flowing, 40, Trouble::plant, 8, 0.0f, 30), hurt(now, 60, Trouble::plant, 8, 0.0f, 450),
    say(flowing, 60, Command::shut_down), turn_key(2, true), hurt(flowing, 100, Trouble::channel, 11, 12.0f, 80),
    say(flowing, 30, Command::stop), turn_key(2, false), say(flowing, 200, Command::skip), say(flowing, 60, Command::skip),
    say(now, 60, Command::skip), say(over, 10, Command::reset)};

constexpr DrillLine gives_up[] = {
    say(idle, 5, Command::start), say(over, 10, Command::reset), hurt(idle, 5, Trouble::plant, 2, 0.0f, 100), say(now, 5, Command::start),
    say(over, 10, Command::reset), force_input(idle, 5, 3, false, 700), say(now, 3, Command::start), say(over, 10, Command::reset),
    say(idle, 3, Command::start), force_input(pumping, 10, 5, true, 120), say(over, 10, Command::reset), say(idle, 3, Command::start),
    hurt(now, 60, Trouble::channel, 14, 19.0f, 60), hurt(now, 80, Trouble::channel, 14, 3.0f, 60), force_input(leaking, 2, 5, true, 100),
    say(over, 10, Command::reset), say(idle, 3, Command::start), hurt(leaking, 60, Trouble::channel, 8, 5.0f, 60),
    say(over, 10, Command::reset), say(idle, 3, Command::start), hurt(leaking, 60, Trouble::channel, 8, 10.4f, 60),
    say(over, 10, Command::reset), say(idle, 3, Command::start), hurt(pumping, 40, Trouble::plant, 5, 0.0f, 100)};

constexpr DrillLine waits[] = {
    hurt(soaking, 20, Trouble::channel, 0, 10.0f, 40),
    hurt(soaking, 300, Trouble::channel, 5, 40.0f, 100), hurt(soaking, 300, Trouble::channel, 7, 3.0f, 200),
    force_input(now, 5, 7, true, 20), say(now, 200, Command::acknowledge), say(over, 10, Command::reset)};

constexpr DrillLine looks_on[] = {
    hurt(now, 40, Trouble::channel, 4, 20.0f, 60), say(over, 30, Command::reset), say(over, 30, Command::reset), look(0x0500, 58)};

constexpr DrillLine begins[] = {
    look(0x0500, 58)};

constexpr DrillLine stands_in_vacuum[] = {
    set(pumping, 40, "limits.vacuum_rise", 10.0f), hurt(pumping, 20, Trouble::channel, 8, 9.0f, 40), cut(pumping, 30, 3.0f),
    say(pumping, 60, Command::skip), say(now, 5, Command::hold), say(now, 5, Command::resume), force_input(pumping, 20, 3, false, 10)};

constexpr Drill all[] = {
    {"auto-tune of a zone", Unit::air, true, 100, 0, soak_in_air, alone, tunes_heat},
    {"auto-tune of the pressure", Unit::retort, true, 100, 0, soak_in_argon, alone, tunes_pressure},
    {"zones run together", Unit::air, true, 100, 0, soak_in_air, four_zones, zones_together},
    {"forced outputs", Unit::retort, false, 500, 0, soak_in_argon, titanium, forces_outputs},
    {"forced outputs with hydrogen", Unit::combustible, false, 100, 0, hydrogen, no_titanium, forces_outputs},
    {"forced outputs, forgotten", Unit::air, false, 1000, 0, soak_in_air, as_it_is, forgets_outputs},
    {"pressure zero", Unit::retort, false, 100, 0, soak_in_argon, as_it_is, zeroes_pressure},
    {"alarms one by one", Unit::air, true, 100, 0, soak_in_air, as_it_is, handles_alarms},
    {"edit ahead", Unit::air, false, 100, 0, steps, as_it_is, edits},
    {"power loss in air", Unit::air, true, 100, 0, loops, resumed, loses_power},
    {"power loss in gas", Unit::retort, true, 100, 0, soak_in_argon, resumed, loses_power_with_gas},
    {"power loss, held", Unit::retort, true, 100, 0, soak_in_argon, held_back, loses_power_with_gas},
    {"hydrogen and forming gas", Unit::combustible, true, 100, 0, hydrogen, no_titanium, runs_hydrogen},
    {"premixed forming gas", Unit::combustible, true, 100, 0, hydrogen, premixed, runs_hydrogen},
    {"hydrogen on titanium", Unit::combustible, true, 100, 0, hydrogen, titanium, looks_on},
    {"hydrogen, then the pump", Unit::combustible, true, 100, 0, hydrogen_then_pump, no_titanium, looks_on},
    {"hydrogen, then air", Unit::combustible, true, 100, 0, hydrogen_then_air, no_titanium, looks_on},
    {"air over what may hold hydrogen", Unit::combustible, true, 100, 0, air_at_rest, no_titanium, looks_on},
    {"air over titanium", Unit::retort, true, 100, 0, air_at_rest, titanium, looks_on},
    {"drying, leak test, vacuum cycles", Unit::retort, true, 100, 0, dry_out, as_it_is, gives_up},
    {"time-outs of the atmosphere", Unit::retort, true, 100, 0, dry_out, quick_to_give_up, gives_up},
    {"long soak", Unit::air, true, 1000, 0, soak_in_air, watchful, waits},
    {"long soak in gas", Unit::retort, true, 1000, 0, soak_in_argon, watchful, waits},
    {"heat in vacuum", Unit::retort, true, 100, 0, vacuum, as_it_is, stands_in_vacuum},
    {"troubles of heat", Unit::air, true, 100, 5000, soak_in_air, easy, begins},
    {"troubles of gas", Unit::retort, true, 100, 7000, soak_in_nitrogen, easy, begins},
    {"troubles of hydrogen", Unit::combustible, true, 100, 3500, hydrogen, no_titanium, begins},
};

}  // namespace

std::span<const Drill> drills() { return all; }

// What the scripts write into the programme window.
Segment drill_segment(unsigned number) {
  switch (number) {
    case 0: return soak(15.0, 0.0f);
    case 1: return ramp(300.0f, 0.0f);      // not valid
    default: {
      Segment by_load = ramp(350.0f, 10.0f);
      by_load.options = fw::count_on_load;
      by_load.power_limit = 0.8f;
      by_load.feed_forward = 0.5f;
      return by_load;
    }
  }
}

}  // namespace torture
