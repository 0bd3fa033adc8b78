// saggar check: reads files, validates them and says in plain words what they are and would do. No run; of a furnace its data sheet,
// from experiments on the plant alone.
#include <chrono>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/controller_file.h"
#include "sim/data_sheet_text.h"
#include "sim/description.h"
#include "sim/expectations.h"
#include "sim/furnace_file.h"
#include "sim/handbook.h"
#include "sim/log_mapping.h"
#include "sim/process_file.h"
#include "sim/scenario.h"
#include "sim/yaml_tree.h"
#include "tools/progress.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Asked {
  std::string units;
  bool json = false;                   // furnaces only
  std::chrono::steady_clock::time_point begin;
};

void check_scenario(const std::filesystem::path& file, const std::string& units) {
  sim::Scenario scenario = sim::load_scenario(file);
  if (!units.empty()) sim::choose_units(scenario.display, units);
  // Expectations are read by the judge itself, so that what check accepts, run accepts.
  const sim::Expectations judge(scenario.expectations, sim::SignalTable(scenario.parameters.zones), sim::with_others(scenario).names,
                                scenario.parameters.period_ms * 1e-3);
  fmt::print("{}:\n{}", file.string(), sim::describe(scenario));
  for (const std::string& remark : sim::mismatches(scenario)) fmt::print("remark: {}\n", remark);
}

sim::DataSheet sheet_of(const sim::FurnaceFile& furnace, std::chrono::steady_clock::time_point begin) {
  Progress progress("data sheet", false, begin);
  return sim::make_data_sheet(furnace.title, furnace.furnace, [&](double done, double simulated_s) { progress.show(done, simulated_s); });
}

void check_furnace(const std::filesystem::path& file, const sim::YamlNode& root, const Asked& asked) {
  const sim::FurnaceFile furnace = sim::read_furnace(root);
  const std::vector<sim::HandbookRemark> remarks = sim::handbook_remarks(furnace.furnace, root);
  for (const sim::HandbookRemark& remark : remarks) fmt::print(stderr, "warning: {}\n", sim::sentence(remark));
  const sim::DataSheet sheet = sheet_of(furnace, asked.begin);
  if (asked.json) {
    fmt::print("{}", sim::data_sheet_json(sheet, remarks));
    return;
  }
  sim::DisplayUnits units;
  units.barometer_pa = furnace.furnace.surroundings.barometer_pa;
  if (!asked.units.empty()) sim::choose_units(units, asked.units);
  fmt::print("{}: furnace `{}`\n\n{}\nWith everything that the file leaves out:\n{}", file.string(), furnace.title,
             sim::data_sheet_text(sheet, units), sim::write_furnace(furnace, 2));
}

void check_controller(const std::filesystem::path& file) {
  const sim::ControllerFile controller = sim::load_controller(file);
  fmt::print("{}: controller `{}`; with everything it leaves out:\n{}", file.string(), controller.title,
             sim::write_controller(controller, 2));
}

void check_mapping(const std::filesystem::path& file) {
  const sim::LogMapping mapping = sim::read_mapping_file(file);
  fmt::print("{}: mapping of a recorded log{}\n", file.string(), mapping.title.empty() ? "" : ", " + mapping.title);
  for (const sim::LogColumn& one : mapping.columns) fmt::print("  {} is {} in {}\n", one.column, one.signal, one.unit);
}

void check_process(const std::filesystem::path& file) {
  const sim::ProcessFile process = sim::read_process_file(file);
  const std::string title = process.title.empty() ? "" : ", " + process.title;
  fmt::print("{}: process{}\n  G(s) = {}\n", file.string(), title, sim::formula(process.process));
  if (process.sampling.period_s > 0.0)
    fmt::print("  sampled every {:.6g} s, {:.6g} s from sample to actuator\n", process.sampling.period_s, process.sampling.latency_s);
}

// A mapping has columns; a process a gain or lags; a scenario names a furnace, a controller and a programme; a furnace file has a casing;
// what is left is a controller.
void check_file(const std::filesystem::path& file, const Asked& asked) {
  const sim::YamlNode root = sim::read_yaml(file);
  const std::string& units = asked.units;
  const bool furnace = root.child("retort") != nullptr || root.child("casing") != nullptr || root.child("lining") != nullptr ||
                       root.child("boundary") != nullptr;
  const bool scenario = root.child("programme") != nullptr || root.child("furnace") != nullptr || root.child("expectations") != nullptr;
  if (asked.json && (scenario || !furnace)) throw UsageError("--json is for furnace files: " + file.string() + " is none");
  if (root.child("columns") != nullptr) {
    check_mapping(file);
  } else if (root.child("gain") != nullptr || root.child("lags") != nullptr || root.child("integrators") != nullptr) {
    check_process(file);
  } else if (scenario) {
    check_scenario(file, units);
  } else if (furnace) {
    check_furnace(file, root, asked);
  } else if (root.child("unit") != nullptr || root.child("limits") != nullptr || root.child("heat") != nullptr) {
    check_controller(file);
  } else {
    check_scenario(file, units);
  }
}

}  // namespace

void add_check(CLI::App& app, Invocation& invocation) {
  auto files = std::make_shared<std::vector<std::string>>();
  auto asked = std::make_shared<Asked>();
  asked->begin = invocation.begin;
  CLI::App* verb = app.add_subcommand("check", "read and validate files, say what they are and would do; of a furnace its data sheet");
  verb->add_option("FILE", *files, "scenario, furnace, controller, mapping or process files")->required();
  verb->add_flag("--json", asked->json, "the data sheet of a furnace as JSON, SI units");
  add_units(*verb, asked->units);
  verb->callback([files, asked, &invocation] {
    invocation.chosen = [files, asked] {
      for (const std::string& file : *files) check_file(file, *asked);
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
