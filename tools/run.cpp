// saggar run: one scenario, or every scenario below a folder, judged and recorded.
#include <algorithm>
#include <atomic>
#include <exception>
#include <filesystem>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <fmt/format.h>
#include <unistd.h>

#include "sim/input_error.h"
#include "sim/summary.h"
#include "tools/scenario_run.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

struct Options {
  std::string what, out;
  unsigned jobs = 1;
  std::vector<std::string> changes;
  std::uint64_t seed = 0;
  bool seed_given = false;
  std::string controller = "host";
  bool json = false, quiet = false;
};

ScenarioRun run_of(const Options& options, const fs::path& file, const fs::path& folder, std::chrono::steady_clock::time_point begin) {
  ScenarioRun run;
  run.file = file;
  run.folder = folder;
  run.overrides = options.changes;
  if (options.seed_given) run.overrides.push_back(fmt::format("seed={}", options.seed));
  run.controller.kind = options.controller;
  run.quiet = options.quiet;
  run.begin = begin;
  return run;
}

int run_one(const Options& options, std::chrono::steady_clock::time_point begin) {
  const ScenarioResult result = perform(run_of(options, options.what, options.out, begin));
  if (options.json) {
    fmt::print("{}", sim::summary_json(result.summary));
  } else if (!options.quiet) {
    fmt::print("{}results: {}\n", expectation_table(result.summary, may_colour(STDOUT_FILENO)), result.folder.string());
  }
  if (result.code >= run_broke) fmt::print(stderr, "saggar: {}: {}\n", result.summary.scenario, result.summary.broken_by);
  return result.code;
}

// Scenarios below a folder by name, so that any number of jobs meets them in the same order.
std::map<std::string, fs::path> scenarios_below(const std::string& folder) {
  std::map<std::string, fs::path> found;
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file() || entry.path().extension() != ".yaml") continue;
    const auto [place, is_new] = found.emplace(entry.path().stem().string(), entry.path());
    if (!is_new) throw UsageError(fmt::format("{} and {} have one name", place->second.string(), entry.path().string()));
  }
  if (found.empty()) throw UsageError(fmt::format("{}: no scenario (*.yaml) below this folder", folder));
  return found;
}

struct Outcome {
  ExitCode code = all_hold;
  std::string line;
  std::string summary;
};

Outcome outcome_of(const ScenarioRun& run, const std::string& name) {
  try {
    const ScenarioResult result = perform(run);
    const auto& all = result.summary.expectations;
    const auto held = std::count_if(all.begin(), all.end(), [](const auto& r) { return r.pass; });
    return {result.code,
            fmt::format("{:7} {}  {} of {} expectations hold, simulated {}{}", result.summary.verdict, name, held, all.size(),
                        duration_text(result.summary.simulated_s),
                        result.summary.broken_by.empty() ? "" : ": " + result.summary.broken_by),
            sim::summary_json(result.summary)};
  } catch (const sim::InputError& error) {
    return {bad_input, fmt::format("refused {}  {}", name, error.what()), ""};
  } catch (const std::exception& error) {
    return {run_broke, fmt::format("broken  {}  {}", name, error.what()), ""};
  }
}

int worst_of(const std::vector<Outcome>& outcomes) {
  int worst = all_hold;
  for (const Outcome& outcome : outcomes) worst = std::max(worst, static_cast<int>(outcome.code));
  return worst;
}

int run_folder(const Options& options) {
  const std::map<std::string, fs::path> scenarios = scenarios_below(options.what);
  std::vector<ScenarioRun> runs;
  std::vector<std::string> names;
  for (const auto& [name, file] : scenarios) {
    runs.push_back(run_of(options, file, fs::path(options.out.empty() ? "runs" : options.out) / name, {}));
    names.push_back(name);
  }
  std::vector<Outcome> outcomes(runs.size());
  std::atomic<std::size_t> next{0};
  std::mutex speaking;
  std::size_t done = 0;
  const auto work = [&] {
    for (std::size_t i = next++; i < runs.size() && !interrupt_asked; i = next++) {
      runs[i].begin = std::chrono::steady_clock::now();
      runs[i].quiet = options.quiet || options.jobs > 1;
      outcomes[i] = outcome_of(runs[i], names[i]);
      const std::lock_guard lock(speaking);
      ++done;
      if (!options.quiet && isatty(STDERR_FILENO) == 1) fmt::print(stderr, "{} of {} done: {}\n", done, runs.size(), names[i]);
    }
  };
  std::vector<std::thread> threads;
  for (unsigned job = 1; job < options.jobs; ++job) threads.emplace_back(work);
  work();
  for (std::thread& thread : threads) thread.join();

  if (options.json) {
    std::string text;
    for (const Outcome& outcome : outcomes) {
      if (!outcome.summary.empty()) text += (text.empty() ? "" : ",\n") + outcome.summary;
    }
    fmt::print("[\n{}]\n", text);
  } else {
    for (const Outcome& outcome : outcomes) fmt::print("{}\n", outcome.line.empty() ? "not run" : outcome.line);
  }
  return interrupt_asked ? static_cast<int>(interrupted) : worst_of(outcomes);
}

}  // namespace

void add_run(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("run", "run a scenario, or every scenario below a folder, and judge it");
  verb->add_option("SCENARIO", options->what, "scenario file, or a folder of them")->required();
  verb->add_option("--out", options->out, "folder for the results (default: runs/<name>); for a folder of scenarios, one below it each");
  verb->add_option("--jobs", options->jobs, "scenarios of a folder that run at a time (default: 1)")->check(CLI::Range(1u, 256u));
  verb->add_option("--set", options->changes, "PATH=VALUE: change a value of the scenario or of the files it names; may be repeated")
      ->type_name("PATH=VALUE")->expected(1)->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  CLI::Option* seed = verb->add_option("--seed", options->seed, "of everything that is left to chance");
  verb->add_option("--controller", options->controller, "who sits at the controller's end (default: host)")->check(controller_kind());
  verb->add_flag("--json", options->json, "print summary.json instead of the table");
  verb->add_flag("--quiet", options->quiet, "no progress, no table");
  verb->callback([options, seed, &invocation] {
    options->seed_given = seed->count() > 0;
    invocation.chosen = [options, &invocation] {
      listen_for_interrupt();
      return fs::is_directory(options->what) ? run_folder(*options) : run_one(*options, invocation.begin);
    };
  });
}

}  // namespace tools
