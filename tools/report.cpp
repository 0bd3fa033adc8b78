// saggar report: makes report.html again from what a run has recorded; or lays a recorded log over the run; or makes the operating
// sheet of one or several runs.
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/operating_sheet.h"
#include "sim/overlay.h"
#include "sim/report.h"
#include "sim/result_file.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Options {
  std::vector<std::string> folders;
  std::string folder, overlay, mapping, out, units;   // folder: the first
  bool sheet = false;
};

// report_overlay.html beside report.html, which stays as it is.
void write_overlay(const Options& options) {
  const sim::Baseline run = sim::read_baseline(options.folder);
  const sim::RecordedLog log = sim::read_log(options.overlay, sim::read_mapping_file(options.mapping), run);
  sim::Comparison comparison = sim::compare_runs(run, log.recorded, {}, true);
  comparison.display = sim::display_of_run(options.folder);
  if (!options.units.empty()) sim::choose_units(comparison.display, options.units);
  sim::ResultFile file(options.folder, "report_overlay.html");
  file.write(sim::recorded_page(comparison, run, log, sim::recorded_title(run)));
  file.close();
  file.name();
}

int sheet(const Options& options) {
  if (!options.overlay.empty() || !options.mapping.empty()) throw UsageError("--sheet and --overlay are two pages");
  const std::filesystem::path out = options.out.empty() ? options.folder : options.out;
  sim::write_sheet({options.folders.begin(), options.folders.end()}, out, options.units);
  fmt::print("{}\n", (out / "sheet.html").string());
  return all_hold;
}

int report(const Options& options) {
  if (options.sheet) return sheet(options);
  if (options.folders.size() > 1) throw UsageError("several runs go only into one --sheet");
  if (!options.out.empty()) throw UsageError("--out goes with --sheet");
  if (options.overlay.empty() != options.mapping.empty()) throw UsageError("--overlay LOG and --mapping MAP go together");
  const bool overlay = !options.overlay.empty();
  if (overlay) write_overlay(options);
  else sim::rebuild_report(options.folder, options.units);
  fmt::print("{}\n", (std::filesystem::path(options.folder) / (overlay ? "report_overlay.html" : "report.html")).string());
  return all_hold;
}

}  // namespace

void add_report(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("report", "make report.html of a run again");
  verb->add_option("DIR", options->folders, "folder of a run; several of one programme for a sheet with their spread")->required();
  verb->add_flag("--sheet", options->sheet, "make sheet.html instead: the operating sheet, one or two printed pages");
  verb->add_option("--out", options->out, "folder for the sheet; else that of the first run");
  verb->add_option("--overlay", options->overlay, "CSV file of a furnace's logger: drawn over the run in report_overlay.html");
  verb->add_option("--mapping", options->mapping, "how that file is to be read");
  add_units(*verb, options->units);
  verb->callback([options, &invocation] {
    options->folder = options->folders.front();
    invocation.chosen = [options] { return report(*options); };
  });
}

}  // namespace tools
