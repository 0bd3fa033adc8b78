// saggar run: one scenario, or every scenario below a folder, judged and recorded.
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <unistd.h>

#include "sim/summary.h"
#include "tools/folder_run.h"
#include "tools/scenario_run.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

struct Options {
  std::string what, out;
  unsigned jobs = 1;
  std::vector<std::string> changes;
  std::string patch, from, units;
  std::uint64_t seed = 0;
  bool seed_given = false;
  std::string controller = "host";
  bool json = false, quiet = false, snapshots = false;
};

ScenarioRun run_of(const Options& options, const fs::path& file, const fs::path& folder, std::chrono::steady_clock::time_point begin) {
  ScenarioRun run;
  run.file = file;
  run.folder = folder;
  run.overrides = options.changes;
  run.patch = options.patch;
  run.from = options.from;
  run.units = options.units;
  if (options.seed_given) run.overrides.push_back(fmt::format("seed={}", options.seed));
  if (options.snapshots) run.overrides.push_back("record.snapshots=yes");
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

int run_folder(const Options& options) {
  FolderRun run;
  run.folder = options.what;
  run.each = run_of(options, {}, options.out.empty() ? "runs" : options.out, {});
  run.jobs = options.jobs;
  run.json = options.json;
  return perform(run);
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
  verb->add_option("--patch", options->patch, "YAML file of PATH: VALUE, changes as with --set");
  verb->add_option("--from", options->from, "fork a run: its past up to TIME, then this scenario; TIME: 2h30m, 9000s, `segment soak`")
      ->type_name("RUN@TIME");
  verb->add_flag("--snapshots", options->snapshots,
                 "keep the state every 10 min and at each segment, so that --from this run replays at most 10 min of its past");
  CLI::Option* seed = verb->add_option("--seed", options->seed, "of everything that is left to chance");
  verb->add_option("--controller", options->controller, "who sits at the controller's end (default: host)")->check(controller_kind());
  add_units(*verb, options->units);
  verb->add_flag("--json", options->json, "print summary.json (of a folder: its own) instead of the table");
  verb->add_flag("--quiet", options->quiet, "no progress, no table");
  verb->callback([options, seed, &invocation] {
    options->seed_given = seed->count() > 0;
    invocation.chosen = [options, &invocation] {
      listen_for_interrupt();
      if (!options->from.empty() && fs::is_directory(options->what)) throw UsageError("--from: one scenario, not a folder of them");
      return fs::is_directory(options->what) ? run_folder(*options) : run_one(*options, invocation.begin);
    };
  });
}

}  // namespace tools
