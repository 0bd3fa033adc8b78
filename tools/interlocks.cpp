// saggar interlocks: the core's cause-and-effect table, its safe values and its alarms.
#include <fmt/format.h>

#include "sim/cause_effect.h"
#include "tools/verbs.h"

namespace tools {

void add_interlocks(CLI::App& app, Invocation& invocation) {
  CLI::App* verb = app.add_subcommand("interlocks", "print the cause-and-effect table, the safe values and the alarms, as Markdown");
  verb->callback([&invocation] {
    invocation.chosen = [] {
      for (const sim::PrintedTable& table : sim::cause_effect_tables()) fmt::print("{}\n", sim::markdown_of(table, 3));
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
