#include "sim/bench.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <optional>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include "firmware/parameter_store.h"
#include "plant/step.h"
#include "sim/action_file.h"
#include "sim/clock.h"
#include "sim/controller_power.h"
#include "sim/event_watch.h"
#include "sim/fault_arrivals.h"
#include "sim/fault_bank.h"
#include "sim/fault_file.h"
#include "sim/furnace_file.h"
#include "sim/hash.h"
#include "sim/mistake_file.h"
#include "sim/moment_watch.h"
#include "sim/operator_station.h"
#include "sim/serial_line.h"
#include "sim/store_device.h"
#include "sim/supervisory_line.h"
#include "sim/tape.h"

namespace sim {

namespace {

constexpr double default_start_s = 1.0;         // of the programme, where the scenario has no `start`
constexpr int silent_ticks_max = 20;            // of a supervisory port without a fault, before the controller counts as gone
constexpr std::size_t answer_bytes_max = 256;

// Names of what a refused command gives back, as command.result numbers them.
constexpr std::array<const char*, 11> refusals{"accepted", "unknown command", "not in this state", "no such programme", "no such segment",
                                               "segment invalid", "store full", "value out of bounds", "a trip stands", "fault latched",
                                               "store damaged"};

// What is wanted of an action once it is under way.
struct SentAction {
  std::string text;
  std::string written;                        // where it says what is expected: as write_actions writes it
  void visit(Archive& archive) { archive(text, written); }
};

SentAction sent_action(const OperatorAction& action) {
  return {action.text, action.expect == OperatorAction::Expect::anything ? "" : write_actions({action}, 0)};
}

std::string why_refused(std::uint16_t result) {
  if (result < refusals.size()) return refusals[result];
  if (result == OperatorStation::not_kept) return "not kept as written";
  switch (result - OperatorStation::exceptions) {        // Modbus application protocol 1.1b3, section 7, as the register map uses them
    case 1: return "needs the key switch at commissioning";
    case 2: return "no such register";
    case 3: return "value out of bounds";
    case 6: return "not in this state";
    default: return fmt::format("Modbus exception {}", result - OperatorStation::exceptions);
  }
}

std::vector<std::uint8_t> store_image_of(const Scenario& scenario) {
  std::vector<std::uint8_t> image(fw::store_image_bytes);
  std::vector<fw::ProgrammeSourceEntry> programmes{{scenario.programme.title.c_str(), scenario.programme.segments}};
  for (const OtherProgramme& other : scenario.programmes)
    programmes.push_back({other.programme.title.c_str(), other.stored ? std::span<const fw::Segment>(other.programme.segments)
                                                                      : std::span<const fw::Segment>()});
  while (!programmes.empty() && programmes.back().segments.empty()) programmes.pop_back();
  if (fw::build_store_image(scenario.parameters, programmes, 0, image) == 0)
    throw std::invalid_argument(scenario.name + ": parameters and programme do not fit the controller's store");
  return image;
}

// resolved.yaml but for whether snapshots are kept, which changes nothing.
std::string course_of(const Scenario& scenario) {
  std::string text = scenario.resolved_yaml;
  const std::size_t at = text.find("snapshots: yes");
  return at == std::string::npos ? text : text.replace(at, 14, "snapshots: no");
}

std::vector<OperatorAction> actions_of(const Scenario& scenario) {
  std::vector<OperatorAction> actions = scenario.actions;
  const auto is_start = [](const OperatorAction& action) {
    return action.command == fw::Command::start || action.command == fw::Command::start_at_value;
  };
  const bool starts = std::any_of(actions.begin(), actions.end(), is_start);
  if (starts || scenario.programme.segments.empty()) return actions;
  OperatorAction start;
  start.when.at_s = default_start_s;
  start.command = fw::Command::start;
  start.text = "start";
  actions.push_back(start);
  return actions;
}

}  // namespace

struct Bench::Impl {
  // Ids of moments: actions, then faults that begin (those by chance: may come from now on), faults that end, faults that come by chance.
  Impl(const Scenario& scenario_, std::unique_ptr<Endpoint> controller_);
  Impl(const Scenario& scenario_, Impl& past);
  void check_fork(const Impl& past) const;    // throws InputError
  std::vector<std::uint32_t> take_over_moments(const Impl& past);   // and faults; the new id of each old one
  void take_over_core(Impl& past);

  bool visit(Archive& archive);

  void send(const OperatorAction& action, std::uint32_t tag);
  void send_edited(const OperatorAction& action, std::uint32_t tag);
  void send_programme(const OtherProgramme& other, std::uint16_t number, std::uint32_t tag);
  void act(std::uint32_t id);                 // 1 what is due: faults, operator
  void begin_fault(std::uint32_t fault, std::uint64_t lasts_ticks);   // 0: to the end
  void await(std::uint32_t fault, std::optional<FaultArrivals::Arrival> arrival);
  void follow_power();                        // of the controller, and what its store does meanwhile
  void surround(std::uint64_t at_tick);       // the plant, by what there is then
  void exchange_with_core();                  // 2 bytes in, step, bytes out
  void tick_core(const Arrival& arrival);
  std::uint64_t core_us(std::uint64_t bench_us) const;      // on the core's clock
  Arrival as_received(const Arrival& arrival) const;        // by the core, on its clock
  void watch_readings(bool answered);
  void exchange_with_station();               // 3 request out, outputs applied, inputs latched
  void observe();                             // 4 every signal, hashes, tape, events
  void report_outcome();
  void end_of_run();

  Scenario scenario;
  ProgrammeSource programme;                  // all of them in a row
  std::vector<OperatorAction> actions;
  Clock clock;
  SignalTable table;
  std::unique_ptr<Endpoint> controller;
  StoreDevice store;
  ControllerPower power;
  plant::Model model;
  plant::Environment furnace_environment;     // where the scenario does not say another
  bool environment_moves = false;
  plant::State state;
  SerialLine line;
  SupervisoryLine supervisory_line;
  OperatorStation operator_station;
  FaultBank faults;
  FaultArrivals arrivals;
  MomentWatch moments;
  EventWatch watch;
  TapeWriter* tape = nullptr;

  plant::Disturbances disturbances;
  LineFault line_fault;
  TickIn in;
  TickOut out;
  std::array<std::uint8_t, answer_bytes_max> answer{};
  std::vector<double> frame;
  std::vector<Event> events;
  std::vector<ActionOutcome> outcomes;
  Hash controller_hash, trace_hash;
  LineStatistics statistics;

  std::uint64_t tick = 0;                     // the next one
  std::uint64_t ticks_max = 0;
  std::uint64_t settle_ticks = 0;
  std::uint64_t ended_ticks = 0;              // since the programme ended
  double time_s = 0.0;                        // of the tick just done
  std::size_t segment_slot = 0, number_slot = 0, state_slot = 0;
  std::vector<SentAction> sent_before;        // a fork's: actions of the past that are not of this scenario
  bool forked = false, adopted = false;       // the next tick is the first after a fork
  bool over = false;
  std::uint64_t missed_readings = 0;
  int silent_ticks = 0;                       // since the controller's last reading, whatever the reason
  int unexcused_ticks = 0;                    // of these, without a fault that explains it
};

Bench::Impl::Impl(const Scenario& scenario_, std::unique_ptr<Endpoint> controller_)
    : scenario(with_mistakes(scenario_)), programme(with_others(scenario)), actions(actions_of(scenario)),
      clock{std::int64_t{scenario.parameters.period_ms} * 1'000'000}, table(scenario.parameters.zones), controller(std::move(controller_)),
      store(store_image_of(scenario), clock), power(clock), model(plant::build(scenario.furnace)),
      furnace_environment(plant::environment_of(model)), environment_moves(scenario.environment.moves()),
      state(plant::initial_state(model, scenario.seed, scenario.environment.at(0.0, furnace_environment))),
      line(scenario.baud, clock, scenario.seed), supervisory_line(scenario.seed), operator_station(table, scenario.parameters.zones),
      faults(scenario.faults), arrivals(scenario.faults, scenario.seed), moments(table, programme, clock), watch(table, programme),
      frame(static_cast<std::size_t>(table.size())) {
  std::uint32_t id = 0;
  for (const OperatorAction& action : actions) moments.add(action.when, id++);
  for (const FaultSource& fault : scenario.faults) moments.add(fault.from, id++);
  ticks_max = clock.ticks(scenario.run.at_most_s);
  settle_ticks = clock.ticks(scenario.run.settle_s);
  segment_slot = static_cast<std::size_t>(table.find("programme.segment"));
  number_slot = static_cast<std::size_t>(table.find("programme.number"));
  state_slot = static_cast<std::size_t>(table.find("programme.state"));
  frame[segment_slot] = -1.0;
}

void Bench::Impl::check_fork(const Impl& past) const {
  const SourcePlace place{scenario.file.generic_string(), 0, 0};
  const auto refuse = [&](const std::string& found, const std::string& expected) {
    throw InputError(place, found, expected + ": a fork can't alter its past");
  };
  const Scenario& old = past.scenario;
  if (past.over) refuse(fmt::format("a fork at {:g} s of a run that ended before", clock.time_s(past.tick)), "an earlier time");
  if (scenario.seed != old.seed) refuse(fmt::format("seed {}", scenario.seed), fmt::format("{}, the seed of the run", old.seed));
  if (scenario.parameters.period_ms != old.parameters.period_ms)
    refuse(fmt::format("a period of {} ms", scenario.parameters.period_ms), fmt::format("{} ms, as in the run", old.parameters.period_ms));
  if (scenario.baud != old.baud) refuse(fmt::format("{} baud", scenario.baud), fmt::format("{}, as in the run", old.baud));
  if (scenario.parameters.zones != old.parameters.zones || scenario.furnace.boundary != old.furnace.boundary)
    refuse("a furnace with another boundary or another number of zones", "the run's");
  const double segment = past.programme.place(past.frame[number_slot], past.frame[segment_slot]);
  for (std::size_t i = 0; static_cast<double>(i) <= segment && i < past.programme.names.size(); ++i) {
    const std::string found = i < programme.names.size() ? "segment `" + programme.names[i] + "`" : "no segment";
    if (found != "segment `" + past.programme.names[i] + "`")
      refuse(fmt::format("{} as number {} of the programme", found, i + 1), "`" + past.programme.names[i] + "`, which has begun");
  }
}

std::vector<std::uint32_t> Bench::Impl::take_over_moments(const Impl& past) {
  const auto old_actions = static_cast<std::uint32_t>(past.actions.size()), old_faults = static_cast<std::uint32_t>(past.faults.size());
  const auto fault_count = static_cast<std::uint32_t>(faults.size());
  std::vector<bool> action_known(actions.size()), fault_known(fault_count);
  const auto find = [](const auto& items, std::vector<bool>& known, const auto& text) {
    for (std::uint32_t i = 0; i < items.size(); ++i) {
      if (known[i] || !text(items[i])) continue;
      known[i] = true;
      return i;
    }
    return MomentWatch::none;
  };
  std::vector<std::uint32_t> new_action, new_fault, tags, ids;
  for (const OperatorAction& old : past.actions)
    new_action.push_back(
        find(actions, action_known, [&](const auto& other) { return write_actions({old}, 0) == write_actions({other}, 0); }));
  for (const FaultSource& old : past.scenario.faults)
    new_fault.push_back(
        find(scenario.faults, fault_known, [&](const auto& other) { return write_faults({old}, 0) == write_faults({other}, 0); }));

  const auto check_new = [&](const Moment& moment, bool known) {
    if (known || !moment.timed() || clock.ticks(std::max(moment.at_s, 0.0) + moment.after_s) >= past.tick) return;
    throw InputError(moment.place, fmt::format("something new at {:g} s", std::max(moment.at_s, 0.0) + moment.after_s),
                     fmt::format("a time after the fork at {:g} s", clock.time_s(past.tick)));
  };
  for (std::size_t i = 0; i < action_known.size(); ++i) check_new(actions[i].when, action_known[i]);
  for (std::size_t i = 0; i < fault_known.size(); ++i) check_new(scenario.faults[i].from, fault_known[i]);

  const auto armed = static_cast<std::uint32_t>(actions.size());
  for (std::uint32_t i = 0; i < old_actions; ++i) {
    ids.push_back(new_action[i]);
    tags.push_back(new_action[i]);
    if (new_action[i] != MomentWatch::none) continue;
    tags.back() = static_cast<std::uint32_t>(actions.size() + sent_before.size());   // it may be on its way: its text is still wanted
    sent_before.push_back(sent_action(past.actions[i]));
  }
  for (const SentAction& action : past.sent_before) {   // the past is a fork too
    tags.push_back(static_cast<std::uint32_t>(actions.size() + sent_before.size()));
    sent_before.push_back(action);
  }
  for (std::uint32_t third = 0; third < 3; ++third)
    for (std::uint32_t i = 0; i < old_faults; ++i)
      ids.push_back(new_fault[i] == MomentWatch::none ? MomentWatch::none : armed + third * fault_count + new_fault[i]);
  for (std::uint32_t i = 0; i < old_faults; ++i)
    if (new_fault[i] != MomentWatch::none) {
      faults.take_over(new_fault[i], past.faults, i);
      arrivals.take_over(new_fault[i], past.arrivals, i);
    }
  faults.renew();                             // what has ended with the past's scenario too
  moments.take_over(past.moments, ids);
  return tags;
}

void Bench::Impl::take_over_core(Impl& past) {
  const std::span<std::uint8_t> image = store.image();
  const std::span<const std::uint8_t> before = past.store.image();
  const bool same = std::ranges::equal(store_image_of(past.scenario), image);
  constexpr std::size_t history = std::size_t{fw::history_page_first} * fw::store_write_bytes;
  const std::size_t kept = same ? 0 : history;
  std::ranges::copy(before.subspan(kept), image.begin() + static_cast<std::ptrdiff_t>(kept));
  store.take_over(past.store);
  power.take_over(past.power);
  if (!same && power.up() && !past.controller->adopt(image))
    throw EndpointError("the controller can't take over other parameters or another programme while it runs (only `host` can, and only a "
                        "programme that does not end before the segment in force)");
  adopted = !same && power.up();               // without power, it finds the image in its store
  controller = std::move(past.controller);
}

Bench::Impl::Impl(const Scenario& scenario_, Impl& past) : Impl(scenario_, std::unique_ptr<Endpoint>()) {
  check_fork(past);
  operator_station.take_over(past.operator_station, take_over_moments(past));
  take_over_core(past);
  state = past.state;
  surround(past.tick);                        // from the next step on; nothing new where both scenarios say the same
  if (write_furnace({"", scenario.furnace}, 0) != write_furnace({"", past.scenario.furnace}, 0)) {
    plant::renew_thermal(state.thermal);      // what is kept from the old constants is computed anew
    state.gas.fresh_age_s = 1e9;
    state.gas.desorption_age_s = 1e9;
  }
  line.take_over(past.line);
  watch.take_over(past.watch);
  disturbances = past.disturbances;
  line_fault = past.line_fault;
  out = past.out;
  tape = past.tape;
  frame = past.frame;
  controller_hash = past.controller_hash;
  trace_hash = past.trace_hash;
  statistics = past.statistics;
  tick = past.tick;
  time_s = past.time_s;
  ended_ticks = past.ended_ticks;
  missed_readings = past.missed_readings;
  silent_ticks = past.silent_ticks;
  unexcused_ticks = past.unexcused_ticks;
  forked = course_of(scenario) != course_of(past.scenario);
}

bool Bench::Impl::visit(Archive& archive) {
  if (!controller->visit(archive)) return false;
  archive.part("bench");
  archive(tick, time_s, over, forked, adopted, ended_ticks, missed_readings, silent_ticks, unexcused_ticks);
  archive.part("plant");
  archive(store, power, state, disturbances, line_fault);
  archive.part("lines");
  archive(line, operator_station, out);
  archive.part("events");
  archive(faults, arrivals, moments, watch, sent_before);
  archive.part("record");
  archive(frame, controller_hash, trace_hash, statistics);
  return true;
}

// Segment by segment through the window of the register map; a refusal ends it.
void Bench::Impl::send_programme(const OtherProgramme& other, std::uint16_t number, std::uint32_t tag) {
  for (std::size_t i = 0; i < other.programme.segments.size(); ++i) {
    OperatorCommand window, write;
    window.form = OperatorCommand::Form::window;
    window.window = window_of(number, other.programme.segments[i], other.name);
    write.command = fw::Command::write_segment;
    write.argument = static_cast<std::uint16_t>(i);
    for (OperatorCommand* command : {&window, &write}) {
      command->tag = tag;
      command->more = true;
      operator_station.send(*command);
    }
  }
}

// What stands in the window goes with the command that takes it.
void Bench::Impl::send_edited(const OperatorAction& action, std::uint32_t tag) {
  const std::size_t number = action.edited_programme;
  const std::string& title = number == 0 ? scenario.programme.title : scenario.programmes[number - 1].programme.title;
  OperatorCommand window;
  window.form = OperatorCommand::Form::window;
  window.window = window_of(action.edited_programme, action.segment, title);
  window.tag = tag;
  window.more = true;
  operator_station.send(window);
}

void Bench::Impl::send(const OperatorAction& action, std::uint32_t tag) {
  OperatorCommand command{action.command, action.argument, action.value, tag};
  if (action.parameter >= 0) {
    command.form = OperatorCommand::Form::parameter;
    command.address = static_cast<std::uint16_t>(fw::parameter_address + 2 * action.parameter);
    command.bits = action.bits;
  }
  if (!action.programme.empty() && action.argument > 0) {
    const OtherProgramme& other = scenario.programmes[action.argument - 1u];
    if (!other.stored) send_programme(other, action.argument, tag);
  }
  if (!action.edited.empty()) send_edited(action, tag);
  operator_station.send(command);
}

void Bench::Impl::act(std::uint32_t id) {
  const auto action_count = static_cast<std::uint32_t>(actions.size());
  const auto fault_count = static_cast<std::uint32_t>(faults.size());
  if (id < action_count) {
    const OperatorAction& action = actions[id];
    send(action, id);
    events.push_back({clock.time_s(tick), "operator", "sent", action.text});
    return;
  }
  const std::uint32_t fault = (id - action_count) % fault_count;
  const FaultSource& source = scenario.faults[fault];
  switch ((id - action_count) / fault_count) {
    case 0:
      if (source.chance.given()) await(fault, arrivals.open(fault, tick, clock));
      else begin_fault(fault, source.for_s < 0.0 ? 0 : std::max<std::uint64_t>(1, clock.ticks(source.for_s)));
      break;
    case 1:
      events.push_back({clock.time_s(tick), "fault", "ends", source.text.empty() ? source.kind : source.text});
      faults.end(fault);
      break;
    default:
      begin_fault(fault, arrivals.last(fault).lasts_ticks);
      await(fault, arrivals.next(fault, clock));
      break;
  }
}

void Bench::Impl::begin_fault(std::uint32_t fault, std::uint64_t lasts_ticks) {
  const FaultSource& source = scenario.faults[fault];
  events.push_back({clock.time_s(tick), "fault", "begins", source.text.empty() ? source.kind : source.text});
  faults.begin(fault);
  if (faults.one_tick(fault)) lasts_ticks = 1;
  const auto ends = static_cast<std::uint32_t>(actions.size() + scenario.faults.size()) + fault;
  if (lasts_ticks > 0) moments.add_at(tick + lasts_ticks, ends);
}

// What comes within this tick has come.
void Bench::Impl::await(std::uint32_t fault, std::optional<FaultArrivals::Arrival> arrival) {
  for (; arrival && arrival->tick <= tick; arrival = arrivals.next(fault, clock)) begin_fault(fault, arrival->lasts_ticks);
  const auto comes = static_cast<std::uint32_t>(actions.size() + 2 * scenario.faults.size()) + fault;
  if (arrival) moments.add_at(arrival->tick, comes);
}

void Bench::Impl::surround(std::uint64_t at_tick) {
  plant::set_environment(model, state, scenario.environment.at(clock.time_s(at_tick), furnace_environment));
}

void Bench::Impl::follow_power() {
  const ControllerFault& fault = faults.controller();
  if (!store.idle(fault)) store.settle(tick, fault);
  if (power.idle(fault)) return;
  const ControllerPower::Change change = power.follow(tick, fault);
  const double now_s = clock.time_s(tick);
  if (change.stops) {
    events.push_back({now_s, "controller", "stops", change.lost_power ? "without power" : "reset"});
    if (change.lost_power || fault.cause == fw::ResetCause::brown_out) store.lose_pending();
  }
  if (!change.starts) return;
  operator_station.controller_started();
  controller->start(store.image(), change.cause, change.outage_s);
  if (tape != nullptr) tape->restart(store.image(), change.cause, change.outage_s);
  events.push_back({now_s, "controller", "starts", fmt::format("from its store, {} s without power", change.outage_s)});
}

std::uint64_t Bench::Impl::core_us(std::uint64_t bench_us) const {
  return bench_us - power.start_us() + faults.controller().clock_ahead_us;
}

Arrival Bench::Impl::as_received(const Arrival& arrival) const {
  if (arrival.last_us <= power.start_us()) return {};      // what came before it started is lost
  return {arrival.data, arrival.size, core_us(arrival.last_us)};
}

void Bench::Impl::tick_core(const Arrival& arrival) {
  const ControllerFault& fault = faults.controller();
  const Arrival received = as_received(arrival);
  in.now_us = core_us(clock.boundary_us(tick));
  in.field = received.bytes();
  in.field_arrival_us = received.last_us;
  const std::span<const std::uint8_t> request = operator_station.request();
  in.supervisory = fault.any_line ? supervisory_line.to_core(tick, request, fault) : request;
  in.supervisory_arrival_us = in.now_us;
  controller->tick(in, out);
  if (out.latched)
    throw EndpointError(fmt::format("the core has latched a failed check of its own (FW_CHECK) at {:.1f} s", clock.time_s(tick)));
  if (out.store_size > 0 && !store.write(tick, out.store_offset, std::span(out.store).first(out.store_size), fault))
    throw EndpointError(fmt::format("the core wants {} bytes written at {} of its store of {}", out.store_size, out.store_offset,
                                    store.image().size()));
}

void Bench::Impl::exchange_with_core() {
  const Arrival arrival = line.take(tick);
  const ControllerFault& fault = faults.controller();
  if (power.up()) {
    tick_core(arrival);
  } else {
    static_cast<void>(operator_station.request());   // nobody hears it
    out.field_size = out.supervisory_size = out.store_size = 0;
  }
  const std::span<const std::uint8_t> sent{out.supervisory.data(), out.supervisory_size};
  watch_readings(operator_station.answer(fault.any_line ? supervisory_line.to_operator(tick, sent, fault) : sent, frame));
}

// A fault may keep the readings away; a controller that is silent without one is gone.
void Bench::Impl::watch_readings(bool answered) {
  if (answered) {
    silent_ticks = unexcused_ticks = 0;
    return;
  }
  ++missed_readings;
  ++silent_ticks;
  const bool excused = !power.up() || faults.controller().any_line;
  unexcused_ticks = excused ? 0 : unexcused_ticks + 1;
  if (unexcused_ticks > silent_ticks_max)
    throw EndpointError(fmt::format("the controller has not answered on the supervisory line for {} periods", unexcused_ticks));
}

void Bench::Impl::exchange_with_station() {
  if (out.field_size == 0) return;
  const std::span<const std::uint8_t> heard = line.request(tick, {out.field.data(), out.field_size}, line_fault);
  const std::size_t size = heard.empty() ? 0 : plant::exchange(model, state, disturbances, heard, answer);
  line.answer(tick, {answer.data(), size}, line_fault);
}

void Bench::Impl::observe() {
  time_s = clock.time_s(tick);
  const auto controller_count = static_cast<std::size_t>(table.controller_count());
  const auto plant_count = static_cast<std::size_t>(table.plant_count());
  plant::observe(model, state, std::span(frame).subspan(controller_count, plant_count));
  const std::uint64_t errors = line.count().errors;
  frame[controller_count + plant_count] = static_cast<double>(errors);
  frame[controller_count + plant_count + 1] = silent_ticks * clock.period_s();

  if (out.field_size > 0) {
    controller_hash.add(2 * tick);
    controller_hash.add(std::span<const std::uint8_t>(out.field.data(), out.field_size));
  }
  if (out.supervisory_size > 0) {
    controller_hash.add(2 * tick + 1);
    controller_hash.add(std::span<const std::uint8_t>(out.supervisory.data(), out.supervisory_size));
  }
  trace_hash.add(std::span<const double>(frame));
  if (tape != nullptr) power.up() ? tape->add(in, out) : tape->add_idle();

  report_outcome();
  watch.observe(frame, time_s, errors, missed_readings, clock.period_s(), events);
  moments.observe(tick, frame, time_s, events);
}

void Bench::Impl::report_outcome() {
  const auto outcome = operator_station.outcome();
  if (!outcome) return;
  const std::size_t known = actions.size();
  const SentAction action = outcome->tag < known ? sent_action(actions[outcome->tag]) : sent_before[outcome->tag - known];
  using Answer = ActionOutcome::Answer;
  const Answer came = outcome->result == 0                             ? Answer::accepted
                        : outcome->result == OperatorStation::unanswered ? Answer::none : Answer::refused;
  if (!action.written.empty()) outcomes.push_back({action.written, came});
  if (came == Answer::accepted) events.push_back({time_s, "operator", "accepted", action.text});
  else if (came == Answer::none) events.push_back({time_s, "operator", "unanswered", action.text});
  else events.push_back({time_s, "operator", "refused", fmt::format("{}: {}", action.text, why_refused(outcome->result))});
}

void Bench::Impl::end_of_run() {
  // As programme.state numbers them: 4 stopped, 6 aborted, 7 complete.
  const double programme_state = frame[state_slot];
  const bool ended = programme_state == 4.0 || programme_state == 6.0 || programme_state == 7.0;
  ended_ticks = ended ? ended_ticks + 1 : 0;
  const bool settled = scenario.run.until_programme_ends && ended_ticks > settle_ticks;
  over = settled || tick >= ticks_max;
  if (over) events.push_back({time_s, "bench", "ends", settled ? "the programme has ended" : "the longest time of the run has passed"});
}

Bench::Bench(const Scenario& scenario, std::unique_ptr<Endpoint> controller)
    : impl_(std::make_unique<Impl>(scenario, std::move(controller))) {
  impl_->controller->start(impl_->store.image(), fw::ResetCause::power_on, 0);
}
Bench::Bench(const Scenario& scenario, Bench&& past) : impl_(std::make_unique<Impl>(scenario, *past.impl_)) {}
Bench::~Bench() = default;
Bench::Bench(Bench&&) noexcept = default;
Bench& Bench::operator=(Bench&&) noexcept = default;

bool Bench::advance() {
  Impl& bench = *impl_;
  if (bench.over) return false;
  bench.events.clear();
  bench.outcomes.clear();
  if (bench.tick == 0) bench.events.push_back({0.0, "bench", "begins", bench.scenario.title});
  if (bench.tick == 0)
    for (const MistakeSource& mistake : bench.scenario.mistakes)
      bench.events.push_back({0.0, "operator", "mistake", "the operator " + sentence(mistake)});
  if (std::exchange(bench.forked, false))
    bench.events.push_back({bench.clock.time_s(bench.tick), "bench", "forks", "from here on as " + bench.scenario.name + " says now"});
  if (std::exchange(bench.adopted, false) && bench.tape != nullptr) bench.tape->adopt(bench.store.image());
  for (const std::uint32_t id : bench.moments.due(bench.tick)) bench.act(id);
  bench.faults.apply(bench.clock.period_s(), bench.disturbances, bench.line_fault);
  bench.follow_power();
  bench.exchange_with_core();
  bench.exchange_with_station();
  bench.observe();
  if (bench.environment_moves) bench.surround(bench.tick + 1);     // what instruments see at the next boundary is of that instant
  plant::step(bench.model, bench.state, bench.disturbances, bench.clock.period_s());
  ++bench.statistics.evaluations;
  ++bench.tick;
  bench.end_of_run();
  return true;
}

bool Bench::visit(Archive& archive) { return impl_->visit(archive); }
void Bench::set_tape(TapeWriter* tape) { impl_->tape = tape; }
std::span<const std::uint8_t> Bench::store_image() const { return std::as_const(impl_->store).image(); }
double Bench::time_s() const { return impl_->time_s; }
double Bench::next_s() const { return impl_->clock.time_s(impl_->tick); }
std::uint64_t Bench::ticks() const { return impl_->tick; }
std::span<const double> Bench::frame() const { return impl_->frame; }
const SignalTable& Bench::table() const { return impl_->table; }
std::span<const Event> Bench::events() const { return impl_->events; }
std::span<const ActionOutcome> Bench::outcomes() const { return impl_->outcomes; }
int Bench::segment() const {
  return static_cast<int>(impl_->programme.place(impl_->frame[impl_->number_slot], impl_->frame[impl_->segment_slot]));
}
std::uint64_t Bench::controller_hash() const { return impl_->controller_hash.value(); }
std::uint64_t Bench::trace_hash() const { return impl_->trace_hash.value(); }
// Line and furnace go on as copies: the run has ended as it is.
ControllerHistory Bench::history() {
  Impl& bench = *impl_;
  if (!bench.power.up()) return {};
  SerialLine line = bench.line;
  plant::State state = bench.state;
  std::uint64_t tick = bench.tick;
  std::array<std::uint8_t, answer_bytes_max> answer{};
  const auto field = [&](std::span<const std::uint8_t> request) {
    if (!request.empty()) {
      const std::span<const std::uint8_t> heard = line.request(tick, request, bench.line_fault);
      const std::size_t size = heard.empty() ? 0 : plant::exchange(bench.model, state, bench.disturbances, heard, answer);
      line.answer(tick, {answer.data(), size}, bench.line_fault);
    }
    plant::step(bench.model, state, bench.disturbances, bench.clock.period_s());
    return bench.as_received(line.take(++tick));
  };
  const Arrival arrival = bench.as_received(line.take(tick));
  TickIn first;
  first.now_us = bench.core_us(bench.clock.boundary_us(tick));
  first.field = arrival.bytes();
  first.field_arrival_us = arrival.last_us;
  return read_history(*bench.controller, first, bench.clock.boundary_us(1), field);
}
const plant::Model& Bench::plant_model() const { return impl_->model; }
const plant::State& Bench::plant_state() const { return impl_->state; }

const LineStatistics& Bench::line() const {
  const SerialLine::Count& count = impl_->line.count();
  LineStatistics& statistics = impl_->statistics;
  statistics.frames = count.exchanges;
  statistics.errors = count.errors;
  statistics.retries = count.retries;
  const double exchanges = static_cast<double>(count.exchanges);
  statistics.latency_mean_us = count.exchanges == 0 ? 0.0 : static_cast<double>(count.latency_sum_ns) / exchanges * 1e-3;
  statistics.latency_max_us = static_cast<double>(count.latency_max_ns) * 1e-3;
  const double run_ns = static_cast<double>(impl_->clock.boundary_ns(impl_->tick));
  statistics.utilisation = run_ns > 0.0 ? static_cast<double>(count.busy_ns) / run_ns : 0.0;
  return statistics;
}

}  // namespace sim
