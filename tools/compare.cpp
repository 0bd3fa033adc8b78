// saggar compare: a run against a baseline or a recorded log, with tolerance tubes; --accept writes the baseline anew.
#include <filesystem>
#include <memory>
#include <string>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "sim/baseline.h"
#include "sim/comparison.h"
#include "sim/input_error.h"
#include "sim/log_mapping.h"
#include "sim/overlay.h"
#include "sim/recorded_log.h"
#include "sim/result_file.h"
#include "sim/yaml_tree.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

struct Options {
  std::string run, baseline, tolerance, report, recorded, mapping, units;
  bool accept = false, accept_broken = false, json = false, quiet = false;
};

// What --tolerance names, else `compare:` of the run's scenario.
sim::Tolerance tolerance_for(const Options& options, const sim::Baseline& run) {
  const fs::path path(options.run), folder = fs::is_directory(path) ? path : path.parent_path();
  sim::Tolerance tolerance;
  if (!options.tolerance.empty()) {
    tolerance = sim::read_tolerance_file(options.tolerance);
  } else if (fs::exists(folder / "resolved.yaml")) {
    const sim::YamlNode root = sim::read_yaml(folder / "resolved.yaml");
    if (const sim::YamlNode* node = root.child("compare")) tolerance = sim::read_tolerance(*node);
  }
  std::vector<sim::Signal> signals;
  for (const sim::RecordedSignal& one : run.signals) signals.push_back(one.signal);
  sim::check_tolerance(tolerance, sim::SignalTable(signals));
  return tolerance;
}

void write_file(const fs::path& path, const std::string& text) {
  const fs::path folder = path.parent_path().empty() ? fs::path(".") : path.parent_path();
  sim::make_folder(folder);
  sim::ResultFile file(folder, path.filename().string());
  file.write(text);
  file.close();
  file.name();
}

// What people see: the run's `display`, then --units.
sim::DisplayUnits display_for(const Options& options) {
  const fs::path path(options.run);
  sim::DisplayUnits units = sim::display_of_run(fs::is_directory(path) ? path : path.parent_path());
  if (!options.units.empty()) sim::choose_units(units, options.units);
  return units;
}

int accept(const Options& options, const sim::Baseline& run, const sim::Tolerance& tolerance) {
  const fs::path path(options.baseline);
  if (fs::is_directory(path)) throw UsageError(fmt::format("{}: a folder; --accept writes a baseline file", path.string()));
  if (!run.whole) throw UsageError(fmt::format("{}: no summary.json and events.csv beside the trace; nothing to accept", run.source));
  if (run.summary.verdict == "broken" && !options.accept_broken) {
    throw UsageError(fmt::format("{}: the run is broken ({}); --accept-broken accepts it all the same", run.source, run.summary.broken_by));
  }
  std::string said = fmt::format("{}: new baseline\n", path.string());
  if (fs::exists(path)) {
    sim::Comparison comparison = sim::compare_runs(run, sim::read_baseline(path), tolerance);
    comparison.display = display_for(options);
    said = sim::comparison_text(comparison);
  }
  write_file(path, sim::write_baseline(run, tolerance));
  if (!options.quiet) fmt::print("{}accepted: {}\n", said, path.string());
  return all_hold;
}

int compare_recorded(const Options& options, const sim::Baseline& run, const sim::Tolerance& tolerance) {
  const sim::RecordedLog log = sim::read_log(options.recorded, sim::read_mapping_file(options.mapping), run);
  sim::Comparison comparison = sim::compare_runs(run, log.recorded, tolerance, true);
  comparison.display = display_for(options);
  if (!options.report.empty()) {
    write_file(options.report, sim::recorded_page(comparison, run, log, sim::recorded_title(run)));
  }
  if (options.json) {
    nlohmann::ordered_json json = nlohmann::ordered_json::parse(sim::comparison_json(comparison));
    json["log"] = {{"rows", log.rows}, {"shift_s", log.shift_s}, {"ignored", log.ignored}, {"notes", log.notes}};
    fmt::print("{}\n", json.dump(2));
  } else if (!options.quiet) {
    fmt::print("{}{}", sim::comparison_text(comparison), sim::recorded_text(comparison, log));
  }
  return comparison.differs ? differs : all_hold;
}

int compare(const Options& options) {
  if (options.baseline.empty() == options.recorded.empty()) throw UsageError("found both or neither; expected BASELINE or --recorded LOG");
  if (options.recorded.empty() != options.mapping.empty()) throw UsageError("--recorded LOG and --mapping MAP go together");
  if (options.accept && !options.recorded.empty()) throw UsageError("--accept keeps a run; a recorded log is none");
  const sim::Baseline run = sim::read_baseline(options.run);
  const sim::Tolerance tolerance = tolerance_for(options, run);
  if (!options.recorded.empty()) return compare_recorded(options, run, tolerance);
  if (options.accept) return accept(options, run, tolerance);
  const sim::Baseline baseline = sim::read_baseline(options.baseline);
  sim::Comparison comparison = sim::compare_runs(run, baseline, tolerance);
  comparison.display = display_for(options);
  if (!options.report.empty()) write_file(options.report, sim::comparison_page(comparison, run, baseline));
  if (options.json) fmt::print("{}", sim::comparison_json(comparison));
  else if (!options.quiet) fmt::print("{}", sim::comparison_text(comparison));
  return comparison.differs ? differs : all_hold;
}

}  // namespace

void add_compare(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("compare", "hold a run against a baseline; name what differs first and most");
  verb->add_option("RUN", options->run, "folder of a run, or its trace.csv")->required();
  verb->add_option("BASELINE", options->baseline, "folder of a run, or a baseline file");
  verb->add_option("--recorded", options->recorded, "instead of BASELINE: CSV file of a furnace's logger");
  verb->add_option("--mapping", options->mapping, "how that file is to be read");
  verb->add_option("--report", options->report, "write both into one HTML file, overlaid");
  verb->add_option("--tolerance", options->tolerance, "file with tolerances, instead of `compare` of the run's scenario");
  add_units(*verb, options->units);
  verb->add_flag("--accept", options->accept, "write BASELINE anew from the run, and say what changes");
  verb->add_flag("--accept-broken", options->accept_broken, "accept a run that broke as well");
  verb->add_flag("--json", options->json, "print the comparison as JSON");
  verb->add_flag("--quiet", options->quiet, "print nothing");
  verb->callback([options, &invocation] {
    invocation.chosen = [options] { return compare(*options); };
  });
}

}  // namespace tools
