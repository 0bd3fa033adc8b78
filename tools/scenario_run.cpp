#include "tools/scenario_run.h"

#include <algorithm>
#include <cmath>
#include <csignal>
#include <exception>
#include <memory>

#include <fmt/format.h>

#include "plant/step.h"
#include "sim/bench.h"
#include "sim/clock.h"
#include "sim/recording.h"
#include "sim/scenario.h"
#include "sim/snapshot.h"
#include "sim/tape.h"
#include "tools/fork.h"

namespace tools {

std::atomic<bool> interrupt_asked{false};

namespace {

static_assert(std::atomic<bool>::is_always_lock_free, "set in a signal handler");

void ask_interrupt(int) { interrupt_asked.store(true, std::memory_order_relaxed); }

// What ended the ticks, if it was not the programme.
struct Break {
  std::string why;
  ExitCode code = all_hold;
};

// The state to the file, if it is time. `snapshots` is dropped, and said why, when the controller can't give its state.
void keep_snapshot(std::unique_ptr<sim::SnapshotWriter>& snapshots, const Course& course, const ScenarioRun& run) {
  sim::Archive archive;
  if (save(archive, course)) {
    snapshots->add(course.bench.ticks(), course.bench.next_s(), archive.bytes());
    return;
  }
  fmt::print(stderr, "saggar: no snapshots: the state of the controller `{}` is out of reach\n", run.controller.kind);
  snapshots.reset();
}

Break advance_to_the_end(const Course& course, std::unique_ptr<sim::SnapshotWriter>& snapshots, ProgrammeShare& share,
                         Progress& progress, const ScenarioRun& run) {
  sim::Bench& bench = course.bench;
  constexpr std::uint64_t ticks_between_looks = 512;
  try {
    while (bench.advance()) {
      course.recorder.on_tick(bench);
      if (snapshots && snapshots->due(bench.ticks(), bench.segment())) keep_snapshot(snapshots, course, run);
      if (interrupt_asked.load(std::memory_order_relaxed)) return {"interrupted", interrupted};
      if ((progress.shown() || run.watch) && bench.ticks() % ticks_between_looks == 0) {
        const double done = share.done(bench.segment(), bench.time_s());
        progress.show(done, bench.time_s());
        if (run.watch) run.watch(done, bench.time_s());
      }
    }
  } catch (const sim::EndpointDifference& error) {
    return {error.what(), differs};
  } catch (const sim::EndpointError& error) {
    return {error.what(), run_broke};
  } catch (const plant::NotFinite& error) {
    return {fmt::format("the plant's state is not finite: {} at {:.1f} s", error.what(), error.at_s), run_broke};
  }
  return {};
}

// The past under the parent's scenario, then the change.
Break advance_to_the_fork(const Course& course, const sim::Scenario& scenario, const Fork& fork) {
  sim::Bench& bench = course.bench;
  const sim::Clock clock{std::int64_t{fork.parent.parameters.period_ms} * 1'000'000};
  const std::uint64_t ticks = clock.ticks(fork.record.at_s);
  try {
    while (bench.ticks() < ticks && bench.advance()) {
      course.recorder.on_tick(bench);
      if (interrupt_asked.load(std::memory_order_relaxed)) return {"interrupted", interrupted};
    }
  } catch (const sim::EndpointDifference& error) {
    return {error.what(), differs};
  } catch (const sim::EndpointError& error) {
    return {error.what(), run_broke};
  }
  bench = sim::Bench(scenario, std::move(bench));
  course.recorder.fork(scenario, fork.record);
  return {};
}

// Until the fork the run is what it was, but for what is kept of it.
sim::Scenario past_of(const Fork& fork, const sim::Scenario& scenario) {
  sim::Scenario past = fork.parent;
  past.record = scenario.record;
  past.display = scenario.display;
  return past;
}

Break go_to_the_fork(Fork& fork, const sim::Scenario& scenario, const Course& course, bool quiet) {
  go_to_snapshot(fork, scenario, course);
  if (!fork.from_start_because.empty())
    fmt::print(stderr, "saggar: the past is computed from its start, not from a snapshot: {}\n", fork.from_start_because);
  else if (!quiet && fork.snapshot)
    fmt::print(stderr, "saggar: the past is computed from the snapshot at {}\n", duration_text(fork.record.replayed_from_s));
  return advance_to_the_fork(course, scenario, fork);
}

sim::TapeHeader tape_header(const sim::Scenario& scenario, const sim::Bench& bench, const std::string& controller) {
  sim::TapeHeader header;
  header.scenario = scenario.name;
  header.saggar = SAGGAR_VERSION;
  header.controller = controller;
  header.seed = scenario.seed;
  header.period_ns = static_cast<std::int64_t>(scenario.parameters.period_ms) * 1'000'000;
  const std::span<const std::uint8_t> image = bench.store_image();
  header.store_image.assign(image.begin(), image.end());
  return header;
}

std::string margin_text(const sim::ExpectationResult& result, const sim::DisplayUnits& units) {
  const std::string from = result.judged_from_s < 0.0 ? "" : fmt::format("; new, judged from {} on", duration_text(result.judged_from_s));
  if (!result.judged) return "never judged: " + result.unjudged + from;
  const std::string at = fmt::format("at {}{}", duration_text(result.at_s), from);
  if (result.unit == "1" && std::abs(result.margin) == 1.0) return result.pass ? from.empty() ? from : from.substr(2) : at;
  const std::string quantity = sim::quantity_in(result.statement, result.unit);
  return fmt::format("{} {}, {}", sim::shown_margin(std::abs(result.margin), result.unit, quantity, units),
                     result.pass ? "to spare" : "too far", at);
}

}  // namespace

void listen_for_interrupt() {
  struct sigaction action {};
  action.sa_handler = ask_interrupt;
  action.sa_flags = static_cast<int>(SA_RESETHAND);
  sigaction(SIGINT, &action, nullptr);
}

ScenarioResult perform(const ScenarioRun& run) {
  sim::Scenario scenario = sim::load_scenario(run.file, run.overrides, run.patch);
  if (!run.units.empty()) sim::choose_units(scenario.display, run.units);
  std::optional<Fork> fork;
  if (!run.from.empty()) fork = find_fork(run.from);
  ScenarioResult result;
  result.folder = run.folder.empty() ? std::filesystem::path("runs") / (scenario.name + (fork ? "-fork" : "")) : run.folder;
  if (fork && std::filesystem::weakly_canonical(result.folder) == std::filesystem::weakly_canonical(fork->folder))
    throw UsageError(fmt::format("--out {}: this is the run that is forked; give the fork a folder of its own", result.folder.string()));

  if (fork && fork->parent.parameters.zones != scenario.parameters.zones)
    throw sim::InputError({run.file.generic_string(), 0, 0}, fmt::format("{} zones", scenario.parameters.zones),
                          fmt::format("{}, as in the run that is forked", fork->parent.parameters.zones));

  std::unique_ptr<sim::Endpoint> core = sim::open_endpoint(run.controller);
  if (fork) core = watched_endpoint(std::move(core), *fork);
  sim::Bench bench(fork ? fork->parent : scenario, std::move(core));
  const double period_s = scenario.parameters.period_ms * 1e-3;
  const sim::SignalTable table(scenario.parameters.zones);
  sim::Recorder recorder(fork ? past_of(*fork, scenario) : scenario, table, result.folder, period_s, run.controller.kind);
  std::unique_ptr<sim::TapeWriter> tape;
  if (scenario.record.tape) {
    tape = std::make_unique<sim::TapeWriter>(result.folder / "tape", tape_header(scenario, bench, run.controller.kind));
    bench.set_tape(tape.get());
  }

  ProgrammeShare share(scenario);
  Progress progress(scenario.name, run.quiet, run.begin);
  const Course course{bench, recorder, tape.get()};
  Break broken;
  if (fork) broken = go_to_the_fork(*fork, scenario, course, run.quiet);
  std::unique_ptr<sim::SnapshotWriter> snapshots;
  if (scenario.record.snapshots && broken.code == all_hold) {
    snapshots = std::make_unique<sim::SnapshotWriter>(result.folder, recorder.resolved_yaml(), period_s);
    if (fork) keep_snapshot(snapshots, course, run);
  }
  if (broken.code == all_hold) broken = advance_to_the_end(course, snapshots, share, progress, run);
  progress.clear();
  if (snapshots) snapshots->finish();

  if (tape) tape->finish(bench.controller_hash());
  sim::Ending ending;
  ending.broken_by = broken.why;
  ending.line = bench.line();
  ending.controller_hash = bench.controller_hash();
  ending.trace_hash = bench.trace_hash();
  if (broken.code == all_hold) ending.history = bench.history();
  ending.begin = run.begin;
  result.summary = recorder.finish(ending);
  result.code = broken.code != all_hold ? broken.code : result.summary.verdict == "pass" ? all_hold : expectation_failed;
  return result;
}

std::string expectation_table(const sim::Summary& summary, bool colour) {
  const auto marked = [colour](bool pass, const char* word) {
    return colour ? fmt::format("\033[{}m{}\033[0m", pass ? 32 : 31, word) : std::string(word);
  };
  std::size_t width = 0;
  for (const sim::ExpectationResult& result : summary.expectations) width = std::max(width, result.name.size());
  const auto failed = std::count_if(summary.expectations.begin(), summary.expectations.end(), [](const auto& r) { return !r.pass; });
  const bool broken = summary.verdict == "broken";
  std::string text = fmt::format("{} (simulated {}, {:.0f} times real time)\n", summary.title.empty() ? summary.scenario : summary.title,
                                 duration_text(summary.simulated_s), summary.wall_s > 0.0 ? summary.simulated_s / summary.wall_s : 0.0);
  for (const sim::ExpectationResult& result : summary.expectations) {
    std::string line = fmt::format("  {}  {:{}}  {}", marked(result.pass, result.pass ? "holds" : "FAILS"), result.name, width,
                                   margin_text(result, summary.display));
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + "\n";
  }
  if (broken) text += fmt::format("{}: {}\n", marked(false, "broken"), summary.broken_by);
  if (summary.expectations.empty()) return text + "no expectation: nothing was judged\n";
  if (failed == 0) return text + fmt::format("all {} expectations hold{}\n", summary.expectations.size(), broken ? " so far" : "");
  return text + fmt::format("{} of {} expectations fail\n", failed, summary.expectations.size());
}

}  // namespace tools
