// saggar check: reads files, validates them and says in plain words what they are and would do. No run.
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/controller_file.h"
#include "sim/description.h"
#include "sim/expectations.h"
#include "sim/furnace_file.h"
#include "sim/log_mapping.h"
#include "sim/scenario.h"
#include "sim/yaml_tree.h"
#include "tools/verbs.h"

namespace tools {
namespace {

void check_scenario(const std::filesystem::path& file, const std::string& units) {
  sim::Scenario scenario = sim::load_scenario(file);
  if (!units.empty()) sim::choose_units(scenario.display, units);
  // Expectations are read by the judge itself, so that what check accepts, run accepts.
  const sim::Expectations judge(scenario.expectations, sim::SignalTable(scenario.parameters.zones), sim::with_others(scenario).names,
                                scenario.parameters.period_ms * 1e-3);
  fmt::print("{}:\n{}", file.string(), sim::describe(scenario));
  for (const std::string& remark : sim::mismatches(scenario)) fmt::print("remark: {}\n", remark);
}

void check_furnace(const std::filesystem::path& file) {
  const sim::FurnaceFile furnace = sim::load_furnace(file);
  fmt::print("{}: furnace `{}`; with everything it leaves out:\n{}", file.string(), furnace.title, sim::write_furnace(furnace, 2));
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

// A mapping has columns; a scenario names a furnace, a controller and a programme; a furnace file has a casing; what is left is a
// controller.
void check_file(const std::filesystem::path& file, const std::string& units) {
  const sim::YamlNode root = sim::read_yaml(file);
  if (root.child("columns") != nullptr) {
    check_mapping(file);
  } else if (root.child("programme") != nullptr || root.child("furnace") != nullptr || root.child("expectations") != nullptr) {
    check_scenario(file, units);
  } else if (root.child("retort") != nullptr || root.child("casing") != nullptr || root.child("lining") != nullptr) {
    check_furnace(file);
  } else if (root.child("unit") != nullptr || root.child("limits") != nullptr || root.child("heat") != nullptr) {
    check_controller(file);
  } else {
    check_scenario(file, units);
  }
}

}  // namespace

void add_check(CLI::App& app, Invocation& invocation) {
  auto files = std::make_shared<std::vector<std::string>>();
  auto units = std::make_shared<std::string>();
  CLI::App* verb = app.add_subcommand("check", "read and validate files, say what they are and would do; no run");
  verb->add_option("FILE", *files, "scenario, furnace, controller or mapping files")->required();
  add_units(*verb, *units);
  verb->callback([files, units, &invocation] {
    invocation.chosen = [files, units] {
      for (const std::string& file : *files) check_file(file, *units);
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
