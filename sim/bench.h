// The bench: core, line and plant in lockstep, one call per control period. READ FIRST.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "sim/action_verdicts.h"
#include "sim/archive.h"
#include "sim/controller_history.h"
#include "sim/endpoint.h"
#include "sim/event.h"
#include "sim/scenario.h"
#include "sim/signals.h"

namespace plant {
struct Model;
struct State;
}  // namespace plant

namespace sim {

class TapeWriter;

struct LineStatistics {
  std::uint64_t frames = 0;         // complete exchanges on the field line: request heard whole, answer sent whole
  std::uint64_t errors = 0;         // answers missing, late or damaged, as the bench injected or saw them
  std::uint64_t retries = 0;
  std::uint64_t evaluations = 0;    // plant steps
  double latency_mean_us = 0.0;     // request start to last answer byte
  double latency_max_us = 0.0;
  double utilisation = 0.0;         // share of the period the field line is busy
};

class Bench {
 public:
  // Starts the core from a store image that holds the scenario's parameters and programme. Throws EndpointError;
  // InputError or std::invalid_argument for what a loaded scenario cannot contain. The scenario is copied.
  Bench(const Scenario& scenario, std::unique_ptr<Endpoint> controller);
  // A fork: goes on where `past` stands, from its next tick on under this scenario, with its core and tape. past is used up. Carried over:
  // the core's state, the plant's state, what is on the lines, the hashes and counts. Actions and faults that both scenarios have
  // stand as they stood (done, waiting or at work); others of the past end, new ones are armed. Other parameters or another
  // programme reach the core as a store image (fw::adopt). Throws InputError for what would alter the past (seed, period, zones,
  // what stands on the line, moments gone by, segments done), EndpointError when the core can't take the image.
  Bench(const Scenario& scenario, Bench&& past);
  ~Bench();
  Bench(Bench&&) noexcept;
  Bench& operator=(Bench&&) noexcept;

  // Between two ticks: everything that changes, to a snapshot or from one into a bench made of the same scenario. false: nothing was
  // done, the controller's state is out of reach (Endpoint::visit). Throws ArchiveError; the bench is then of no use.
  bool visit(Archive& archive);

  void set_tape(TapeWriter* tape);           // not owned; may be null
  std::span<const std::uint8_t> store_image() const;   // as it stands; before the first tick, what the core started from

  // One tick; false, without one, once the run is over (programme ended and settled, or at_most reached). After it, frame()
  // holds every signal as of this tick, events() what happened in it. In n ticks the field line carries n requests and the
  // plant makes n steps; the frames counted are those n less the ones a line fault damaged. The answer to the last request is
  // counted but never read. Throws EndpointError; throws plant::NotFinite.
  bool advance();

  double time_s() const;                     // of the tick just done
  std::uint64_t ticks() const;
  double next_s() const;                     // of the tick to come
  std::span<const double> frame() const;     // in SignalTable order
  const SignalTable& table() const;
  std::span<const Event> events() const;     // of the tick just done
  std::span<const ActionOutcome> outcomes() const;   // in it, of actions that say what is expected
  int segment() const;                       // segment running, by its place in with_others(scenario).names, -1 none
  const LineStatistics& line() const;
  std::uint64_t controller_hash() const;     // every transmitted byte with tick and port
  std::uint64_t trace_hash() const;          // every signal at every tick
  // What the controller has written down of itself, once the run is over: the core goes on by some ticks that are no part of the run.
  // Empty where it has no power.
  ControllerHistory history();
  const plant::Model& plant_model() const;   // for judging the plant itself: balances
  const plant::State& plant_state() const;   // after the tick just done, one period on

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace sim
