// saggar report: makes report.html again from what a run has recorded.
#include <filesystem>
#include <memory>
#include <string>

#include <fmt/format.h>

#include "sim/report.h"
#include "tools/verbs.h"

namespace tools {

void add_report(CLI::App& app, Invocation& invocation) {
  auto folder = std::make_shared<std::string>();
  CLI::App* verb = app.add_subcommand("report", "make report.html of a run again");
  verb->add_option("DIR", *folder, "folder of a run")->required();
  verb->callback([folder, &invocation] {
    invocation.chosen = [folder] {
      sim::rebuild_report(*folder);
      fmt::print("{}\n", (std::filesystem::path(*folder) / "report.html").string());
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
