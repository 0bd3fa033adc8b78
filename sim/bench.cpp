#include "sim/bench.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <stdexcept>

#include <fmt/format.h>

#include "firmware/parameter_store.h"
#include "plant/step.h"
#include "sim/clock.h"
#include "sim/event_watch.h"
#include "sim/faults.h"
#include "sim/hash.h"
#include "sim/moment_watch.h"
#include "sim/operator_station.h"
#include "sim/serial_line.h"
#include "sim/tape.h"

namespace sim {

namespace {

constexpr double default_start_s = 1.0;         // of the programme, where the scenario has no `start`
constexpr int silent_ticks_max = 20;            // of the supervisory port, before the controller counts as gone
constexpr std::size_t answer_bytes_max = 256;

// Names of what a refused command gives back, as command.result numbers them.
constexpr std::array<const char*, 11> refusals{"accepted", "unknown command", "not in this state", "no such programme", "no such segment",
                                               "segment invalid", "store full", "value out of bounds", "a trip stands", "fault latched",
                                               "store damaged"};

std::vector<std::uint8_t> store_image_of(const Scenario& scenario) {
  std::vector<std::uint8_t> image(fw::store_image_bytes);
  const fw::ProgrammeSourceEntry programme{scenario.programme.title.c_str(), scenario.programme.segments};
  const std::span<const fw::ProgrammeSourceEntry> programmes(&programme, scenario.programme.segments.empty() ? 0u : 1u);
  if (fw::build_store_image(scenario.parameters, programmes, 0, image) == 0)
    throw std::invalid_argument(scenario.name + ": parameters and programme do not fit the controller's store");
  return image;
}

std::vector<OperatorAction> actions_of(const Scenario& scenario) {
  std::vector<OperatorAction> actions = scenario.actions;
  const auto is_start = [](const OperatorAction& action) { return action.command == fw::Command::start; };
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
  // Ids of moments: actions, then faults that begin, then faults that end.
  Impl(const Scenario& scenario_, std::unique_ptr<Endpoint> controller_);

  void act(std::uint32_t id);                 // 1 what is due: faults, operator
  void exchange_with_core();                  // 2 bytes in, step, bytes out
  void exchange_with_station();               // 3 request out, outputs applied, inputs latched
  void observe();                             // 4 every signal, hashes, tape, events
  void report_outcome();
  void end_of_run();

  Scenario scenario;
  std::vector<OperatorAction> actions;
  Clock clock;
  SignalTable table;
  std::unique_ptr<Endpoint> controller;
  std::vector<std::uint8_t> store;
  plant::Model model;
  plant::State state;
  SerialLine line;
  OperatorStation operator_station;
  FaultBank faults;
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
  Hash controller_hash, trace_hash;
  LineStatistics statistics;

  std::uint64_t tick = 0;                     // the next one
  std::uint64_t ticks_max = 0;
  std::uint64_t settle_ticks = 0;
  std::uint64_t ended_ticks = 0;              // since the programme ended
  double time_s = 0.0;                        // of the tick just done
  std::size_t segment_slot = 0, state_slot = 0;
  bool programme_ran = false;
  bool over = false;
  int silent_ticks = 0;
};

Bench::Impl::Impl(const Scenario& scenario_, std::unique_ptr<Endpoint> controller_)
    : scenario(scenario_), actions(actions_of(scenario)), clock{std::int64_t{scenario.parameters.period_ms} * 1'000'000},
      table(scenario.parameters.zones), controller(std::move(controller_)), store(store_image_of(scenario)),
      model(plant::build(scenario.furnace)), state(plant::initial_state(model, scenario.seed)), line(scenario.baud, clock, scenario.seed),
      operator_station(table, scenario.parameters.zones), faults(scenario.faults), moments(table, scenario.programme, clock),
      watch(table, scenario.programme), frame(static_cast<std::size_t>(table.size())) {
  std::uint32_t id = 0;
  for (const OperatorAction& action : actions) moments.add(action.when, id++);
  for (const FaultSource& fault : scenario.faults) moments.add(fault.from, id++);
  ticks_max = clock.ticks(scenario.run.at_most_s);
  settle_ticks = clock.ticks(scenario.run.settle_s);
  segment_slot = static_cast<std::size_t>(table.find("programme.segment"));
  state_slot = static_cast<std::size_t>(table.find("programme.state"));
  frame[segment_slot] = -1.0;
  controller->start(store, fw::ResetCause::power_on, 0);
}

void Bench::Impl::act(std::uint32_t id) {
  const auto action_count = static_cast<std::uint32_t>(actions.size());
  const auto fault_count = static_cast<std::uint32_t>(faults.size());
  if (id < action_count) {
    const OperatorAction& action = actions[id];
    operator_station.send({action.command, action.argument, action.value, id});
    events.push_back({clock.time_s(tick), "operator", "sent", action.text});
    return;
  }
  const std::uint32_t fault = (id - action_count) % fault_count;
  const FaultSource& source = scenario.faults[fault];
  const bool begins = id < action_count + fault_count;
  events.push_back({clock.time_s(tick), "fault", begins ? "begins" : "ends", source.text.empty() ? source.kind : source.text});
  if (!begins) {
    faults.end(fault);
    return;
  }
  faults.begin(fault);
  const std::uint64_t lasts = faults.one_tick(fault) ? 1 : source.for_s < 0.0 ? 0 : std::max<std::uint64_t>(1, clock.ticks(source.for_s));
  if (lasts > 0) moments.add_at(tick + lasts, id + fault_count);
}

void Bench::Impl::exchange_with_core() {
  in.now_us = clock.boundary_us(tick);
  const Arrival arrival = line.take(tick);
  in.field = arrival.bytes;
  in.field_arrival_us = arrival.last_us;
  in.supervisory = operator_station.request();
  in.supervisory_arrival_us = in.now_us;
  controller->tick(in, out);
  if (out.latched)
    throw EndpointError(fmt::format("the core has latched a failed check of its own (FW_CHECK) at {:.1f} s", clock.time_s(tick)));

  if (out.store_size > 0) {
    if (out.store_size > out.store.size() || out.store_offset > store.size() - out.store_size)
      throw EndpointError(fmt::format("the core wants {} bytes written at {} of its store of {}", out.store_size, out.store_offset,
                                      store.size()));
    std::memcpy(store.data() + out.store_offset, out.store.data(), out.store_size);
  }
  const bool answered = operator_station.answer({out.supervisory.data(), out.supervisory_size}, frame);
  silent_ticks = answered ? 0 : silent_ticks + 1;
  if (silent_ticks > silent_ticks_max)
    throw EndpointError(fmt::format("the controller has not answered on the supervisory line for {} periods", silent_ticks));
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

  if (out.field_size > 0) {
    controller_hash.add(2 * tick);
    controller_hash.add(std::span<const std::uint8_t>(out.field.data(), out.field_size));
  }
  if (out.supervisory_size > 0) {
    controller_hash.add(2 * tick + 1);
    controller_hash.add(std::span<const std::uint8_t>(out.supervisory.data(), out.supervisory_size));
  }
  trace_hash.add(std::span<const double>(frame));
  if (tape != nullptr) tape->add(in, out);

  report_outcome();
  watch.observe(frame, time_s, errors, clock.period_s(), events);
  moments.observe(tick, frame, time_s);
}

void Bench::Impl::report_outcome() {
  const auto outcome = operator_station.outcome();
  if (!outcome) return;
  const std::string& text = actions[outcome->tag].text;
  if (outcome->result == 0) {
    events.push_back({time_s, "operator", "accepted", text});
  } else {
    const char* why = outcome->result < refusals.size() ? refusals[outcome->result] : "not answered";
    events.push_back({time_s, "operator", "refused", fmt::format("{}: {}", text, why)});
  }
}

void Bench::Impl::end_of_run() {
  // As programme.state numbers them: 4 stopped, 6 aborted, 7 complete.
  const double programme_state = frame[state_slot];
  const bool ended = programme_state == 4.0 || programme_state == 6.0 || programme_state == 7.0;
  programme_ran |= programme_state != 0.0;
  ended_ticks = ended && programme_ran ? ended_ticks + 1 : 0;
  const bool settled = scenario.run.until_programme_ends && ended_ticks > settle_ticks;
  over = settled || tick >= ticks_max;
  if (over) events.push_back({time_s, "bench", "ends", settled ? "the programme has ended" : "the longest time of the run has passed"});
}

Bench::Bench(const Scenario& scenario, std::unique_ptr<Endpoint> controller)
    : impl_(std::make_unique<Impl>(scenario, std::move(controller))) {}
Bench::~Bench() = default;

bool Bench::advance() {
  Impl& bench = *impl_;
  if (bench.over) return false;
  bench.events.clear();
  if (bench.tick == 0) bench.events.push_back({0.0, "bench", "begins", bench.scenario.title});
  for (const std::uint32_t id : bench.moments.due(bench.tick)) bench.act(id);
  bench.faults.apply(bench.clock.period_s(), bench.disturbances, bench.line_fault);
  bench.exchange_with_core();
  bench.exchange_with_station();
  bench.observe();
  plant::step(bench.model, bench.state, bench.disturbances, bench.clock.period_s());
  ++bench.statistics.evaluations;
  ++bench.tick;
  bench.end_of_run();
  return true;
}

void Bench::set_tape(TapeWriter* tape) { impl_->tape = tape; }
std::span<const std::uint8_t> Bench::store_image() const { return impl_->store; }
double Bench::time_s() const { return impl_->time_s; }
std::uint64_t Bench::ticks() const { return impl_->tick; }
std::span<const double> Bench::frame() const { return impl_->frame; }
const SignalTable& Bench::table() const { return impl_->table; }
std::span<const Event> Bench::events() const { return impl_->events; }
int Bench::segment() const { return static_cast<int>(impl_->frame[impl_->segment_slot]); }
std::uint64_t Bench::controller_hash() const { return impl_->controller_hash.value(); }
std::uint64_t Bench::trace_hash() const { return impl_->trace_hash.value(); }
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
