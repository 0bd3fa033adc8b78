// saggar faults: every fault kind with its parameters, from the table that the loader uses.
#include <fmt/format.h>

#include "sim/faults.h"
#include "sim/mistake_file.h"
#include "tools/verbs.h"

namespace tools {
namespace {

void print_csv() {
  fmt::print("kind,parameter,unit,preset,low,high\n");
  for (const sim::FaultKind& kind : sim::fault_table()) {
    if (kind.parameters.empty()) fmt::print("{},,,,,\n", kind.name);
    for (const sim::FaultParameter& parameter : kind.parameters) {
      fmt::print("{},{},{},{:g},{:g},{:g}\n", kind.name, parameter.name, parameter.unit, parameter.preset, parameter.low,
                 parameter.high);
    }
  }
}

}  // namespace

void add_faults(CLI::App& app, Invocation& invocation) {
  auto csv = std::make_shared<bool>(false);
  CLI::App* verb = app.add_subcommand("faults", "list every fault kind with its parameters");
  verb->add_flag("--csv", *csv, "as comma-separated values, a line per parameter");
  verb->callback([csv, &invocation] {
    invocation.chosen = [csv] {
      if (*csv) print_csv();
      else fmt::print("{}\nmistakes of the operator (`mistakes:` in a scenario)\n\n{}", sim::describe_faults(),
                      sim::describe_mistakes());
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
