// The `saggar` program: reads the command line, does one verb, turns whatever went wrong into one message and an exit code.
#include <cstdio>
#include <exception>

#include "sim/cautions.h"
#include "sim/display_units.h"
#include "sim/input_error.h"
#include "tools/verbs.h"

CLI::Validator tools::controller_kind() {
  const auto check = [](const std::string& text) -> std::string {
    const bool known = text == "host" || text == "emulated" || text == "both" || text.starts_with("library:") ||
                       text.starts_with("process:");
    return known ? "" : "found controller '" + text + "', expected host, emulated, both or library:PATH";
  };
  return {check, "host|emulated|both|library:PATH"};
}

void tools::add_units(CLI::App& verb, std::string& text) {
  const auto check = [](const std::string& given) -> std::string {
    sim::DisplayUnits units;
    try {
      sim::choose_units(units, given);
    } catch (const sim::InputError& error) {
      return error.what();
    }
    return "";
  };
  verb.add_option("--units", text, "what people see, over `display` of the scenario: \"pressure=mmH2O gauge,flow=sL/h,temperature=degF\"")
      ->type_name("KEY=UNIT,...")->check(CLI::Validator(check, ""));
}

namespace {

int broke(const std::exception& error) {
  std::fprintf(stderr, "saggar: %s\n", error.what());
  return tools::run_broke;
}

int perform(const tools::Invocation& invocation) {
  try {
    return invocation.chosen();
  } catch (const sim::InputError& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return tools::bad_input;
  } catch (const tools::UsageError& error) {
    std::fprintf(stderr, "saggar: %s\n", error.what());
    return tools::bad_input;
  } catch (const std::exception& error) {  // EndpointError, NotFinite, a full disk, ...
    return broke(error);
  }
}

}  // namespace

int main(int argc, char** argv) {
  tools::Invocation invocation;
  invocation.begin = std::chrono::steady_clock::now();

  CLI::App app{"Saggar: a desk bench for the controller of a controlled-atmosphere furnace", "saggar"};
  app.footer(std::string(sim::short_caution));
  app.require_subcommand(1);
  app.set_version_flag("--version", "saggar " SAGGAR_VERSION);
  tools::add_run(app, invocation);
  tools::add_check(app, invocation);
  tools::add_compare(app, invocation);
  tools::add_fit(app, invocation);
  tools::add_report(app, invocation);
  tools::add_replay(app, invocation);
  tools::add_interlocks(app, invocation);
  tools::add_registers(app, invocation);
  tools::add_faults(app, invocation);
  tools::add_gases(app, invocation);
  tools::add_parameters(app, invocation);
  tools::add_prooftest(app, invocation);
  tools::add_tune(app, invocation);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? tools::all_hold : tools::bad_input;
  }
  return perform(invocation);
}
