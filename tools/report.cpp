// saggar report: makes report.html again from what a run has recorded; or lays a recorded log over the run.
#include <filesystem>
#include <memory>
#include <string>

#include <fmt/format.h>

#include "sim/overlay.h"
#include "sim/report.h"
#include "sim/result_file.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Options {
  std::string folder, overlay, mapping;
};

// report_overlay.html beside report.html, which stays as it is.
void write_overlay(const Options& options) {
  const sim::Baseline run = sim::read_baseline(options.folder);
  const sim::RecordedLog log = sim::read_log(options.overlay, sim::read_mapping_file(options.mapping), run);
  const sim::Comparison comparison = sim::compare_runs(run, log.recorded, {}, true);
  sim::ResultFile file(options.folder, "report_overlay.html");
  file.write(sim::recorded_page(comparison, run, log, sim::recorded_title(run)));
  file.close();
  file.name();
}

int report(const Options& options) {
  if (options.overlay.empty() != options.mapping.empty()) throw UsageError("--overlay LOG and --mapping MAP go together");
  const bool overlay = !options.overlay.empty();
  if (overlay) write_overlay(options);
  else sim::rebuild_report(options.folder);
  fmt::print("{}\n", (std::filesystem::path(options.folder) / (overlay ? "report_overlay.html" : "report.html")).string());
  return all_hold;
}

}  // namespace

void add_report(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("report", "make report.html of a run again");
  verb->add_option("DIR", options->folder, "folder of a run")->required();
  verb->add_option("--overlay", options->overlay, "CSV file of a furnace's logger: drawn over the run in report_overlay.html");
  verb->add_option("--mapping", options->mapping, "how that file is to be read");
  verb->callback([options, &invocation] {
    invocation.chosen = [options] { return report(*options); };
  });
}

}  // namespace tools
