#include "sim/scenario.h"

#include <algorithm>

#include <fmt/format.h>

#include "sim/action_file.h"
#include "sim/controller_file.h"
#include "sim/expectation_file.h"
#include "sim/fault_file.h"
#include "sim/furnace_file.h"
#include "sim/mistake_file.h"
#include "sim/programme_file.h"
#include "sim/scenario_file.h"
#include "sim/serial_line.h"
#include "sim/vocabulary.h"

namespace sim {

namespace {

#define SAGGAR_AT(member) [](auto& scenario) -> auto& { return scenario.member; }

FieldTable make_table() {
  FieldTable table{"scenario", "One run: a furnace, a controller, a programme, what goes wrong and what is expected.", {}};
  std::vector<Field>& fields = table.fields;
  fields.push_back(text_field<Scenario>("name", SAGGAR_AT(name), false, "short name; the file's if not given"));
  fields.push_back(text_field<Scenario>("title", SAGGAR_AT(title), true, "what it is, in a few words"));
  fields.push_back(text_field<Scenario>("why", SAGGAR_AT(why), false, "what it is for"));
  fields.push_back(integer_field<Scenario>("seed", SAGGAR_AT(seed), 0.0, 9007199254740991.0, "1", "of all chance in the run"));
  fields.push_back(integer_field<Scenario>("line.baud", SAGGAR_AT(baud), 300.0, 4e6, "115200", "bits per second of both lines, 8E1"));
  fields.push_back(quantity_field<Scenario>("run.at_most", "s", SAGGAR_AT(run.at_most_s), 0.1, 30.0 * 86400.0, "86400 s", "longest run"));
  fields.push_back(quantity_field<Scenario>("run.settle", "s", SAGGAR_AT(run.settle_s), 0.0, 86400.0, "60 s",
                                            "goes on so long after the programme is over"));
  fields.push_back(yes_no_field<Scenario>("run.until_programme_ends", SAGGAR_AT(run.until_programme_ends), "yes",
                                          "no: goes on to `at_most`"));
  fields.push_back(quantity_field<Scenario>("record.every", "s", SAGGAR_AT(record.every_s), 1e-3, 86400.0, "1 s", "a row of the trace"));
  fields.push_back(yes_no_field<Scenario>("record.tape", SAGGAR_AT(record.tape), "yes", "keep the bytes of every tick"));
  fields.push_back(yes_no_field<Scenario>("record.snapshots", SAGGAR_AT(record.snapshots), "no",
                                          "keep the state every 10 min and at each segment, for forks of the run"));
  return table;
}

#undef SAGGAR_AT

std::string path_of(const std::string& assignment) { return assignment.substr(0, assignment.find('=')); }

bool names_a_file(const std::string& path) { return path == "furnace" || path == "controller"; }

// `furnace: path` becomes the furnace itself, so that every later step, and --set, sees one tree.
void take_in(YamlNode& root, const char* key, const std::filesystem::path& folder) {
  const int index = root.find(key);
  if (index < 0) return;
  YamlNode& node = root.items[static_cast<std::size_t>(index)];
  if (!node.is_text()) return;
  const std::string expected = fmt::format("the path of a {} file, relative to this one", key);
  if (node.text.empty()) throw InputError(node.place, "nothing for `" + std::string(key) + "`", expected);
  const std::filesystem::path file = (folder / node.text).lexically_normal();
  std::error_code error;
  if (!std::filesystem::is_regular_file(file, error)) throw InputError(node.place, "no file " + file.generic_string(), expected);
  node = read_yaml(file);
}

void apply_settings(YamlNode& root) {
  const int index = root.find("set");
  if (index < 0) return;
  const YamlNode settings = root.items[static_cast<std::size_t>(index)];
  root.keys.erase(root.keys.begin() + index);
  root.items.erase(root.items.begin() + index);
  if (!settings.is_map()) throw InputError(settings.place, settings.found() + " for `set`", "a map of path: value");
  for (std::size_t i = 0; i < settings.keys.size(); ++i) {
    if (!settings.items[i].is_text()) throw InputError(settings.items[i].place, settings.items[i].found(), "a single value");
    set_in_yaml(root, settings.keys[i].text, settings.items[i].text, settings.keys[i].place);
  }
}

YamlNode read_tree(const std::filesystem::path& file, const std::vector<std::string>& overrides, const std::filesystem::path& patch) {
  YamlNode root = read_yaml(file);
  if (!root.is_map())
    throw InputError(root.place, root.found() + " for the scenario", "a map with the keys title, furnace, controller, ...");
  for (const std::string& assignment : overrides) {
    if (!names_a_file(path_of(assignment)) || assignment.find('=') == std::string::npos) continue;
    const std::string path = path_of(assignment);
    const auto whole = std::filesystem::absolute(assignment.substr(path.size() + 1));
    set_in_yaml(root, path, whole.generic_string(), {"--set " + assignment, 0, 0});
  }
  take_in(root, "furnace", file.parent_path());
  take_in(root, "controller", file.parent_path());
  apply_settings(root);
  if (!patch.empty()) patch_yaml(root, read_yaml(patch));
  for (const std::string& assignment : overrides)
    if (!names_a_file(path_of(assignment))) set_in_yaml(root, assignment);
  return root;
}

const YamlNode& section(const YamlNode& root, const char* key, const char* what) {
  const YamlNode* node = root.child(key);
  if (!node) throw InputError(root.place, "no `" + std::string(key) + "` in the scenario", what);
  return *node;
}

// Where a value stands if the file gives it, else where the file begins.
SourcePlace place_of(const YamlNode& root, const char* section_key, const char* key) {
  const YamlNode* node = root.child(section_key);
  const YamlNode* value = node && node->is_map() ? node->child(key) : nullptr;
  return value ? value->place : node ? node->place : root.place;
}

void check_name(const std::string& name, const YamlNode& root) {
  const auto fit = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-' || c == '.';
  };
  const YamlNode* node = root.child("name");
  if (node && (!std::all_of(name.begin(), name.end(), fit) || name.size() > 100))
    throw InputError(node->place, node->found() + " for `name`", "letters, digits, `_`, `-` and `.`, at most 100");
}

void read_parts(const YamlNode& root, Scenario& scenario) {
  FurnaceFile furnace = read_furnace(section(root, "furnace", "`furnace`: the path of a furnace file, or a furnace"));
  scenario.furnace = furnace.furnace;
  scenario.furnace_title = std::move(furnace.title);
  ControllerFile controller = read_controller(section(root, "controller", "`controller`: the path of a controller file, or parameters"));
  scenario.parameters = controller.parameters;
  scenario.controller_title = std::move(controller.title);
  const SourcePlace place = root.child("line") ? place_of(root, "line", "baud") : place_of(*root.child("controller"), "unit", "period");
  check_exchange(scenario.baud, scenario.parameters.period_ms * 1e-3, place);
  if (const YamlNode* environment = root.child("environment")) scenario.environment = read_environment(*environment);
  scenario.programme = read_programme(section(root, "programme", "`programme`: a list of segments"));
  scenario.programme.title = scenario.title;
  if (const YamlNode* others = root.child("programmes")) scenario.programmes = read_other_programmes(*others);
  const ProgrammeSource all = with_others(scenario);
  Vocabulary vocabulary{all, SignalTable(scenario.parameters.zones), scenario.parameters.period_ms * 1e-3, {"programme"}};
  for (const OtherProgramme& other : scenario.programmes) vocabulary.programmes.push_back(other.name);
  if (const YamlNode* actions = root.child("actions")) scenario.actions = read_actions(*actions, vocabulary);
  if (const YamlNode* faults = root.child("faults")) scenario.faults = read_faults(*faults, vocabulary);
  scenario.display = display_of(root);
  plant::Environment around;
  around.barometer_pa = scenario.furnace.surroundings.barometer_pa;   // the furnace may be a file of its own
  scenario.display.barometer_pa = scenario.environment.at(0.0, around).barometer_pa;
  if (const YamlNode* mistakes = root.child("mistakes")) scenario.mistakes = read_mistakes(*mistakes, scenario, vocabulary);
  if (const YamlNode* compare = root.child("compare")) {
    scenario.compare = read_tolerance(*compare);
    check_tolerance(scenario.compare, vocabulary.signals);
  }
  if (const YamlNode* expectations = root.child("expectations")) scenario.expectations = read_expectations(*expectations, vocabulary);
}

}  // namespace

const FieldTable& scenario_fields() {
  static const FieldTable table = make_table();
  return table;
}

const std::vector<std::string>& scenario_sections() {
  static const std::vector<std::string> sections = {"furnace", "controller", "set", "environment", "programme", "programmes", "actions",
                                                    "faults", "mistakes", "expectations", "compare", "display"};
  return sections;
}

void check_exchange(double baud, double period_s, const SourcePlace& place) {
  const double share = exchange_share(baud, period_s);
  if (share <= exchange_share_max) return;
  throw InputError(place,
                   fmt::format("an exchange of {} bytes that takes {:.1f} ms at {:.6g} baud, {:.0f} % of the {:.6g} ms period",
                               field_request_bytes + field_answer_bytes, exchange_s(baud) * 1e3, baud, share * 100.0, period_s * 1e3),
                   fmt::format("at most {:.0f} %: a faster line or a longer period", exchange_share_max * 100.0));
}

ProgrammeSource with_others(const Scenario& scenario) {
  ProgrammeSource all{scenario.programme.title, {}, scenario.programme.names, {0}};
  for (const OtherProgramme& other : scenario.programmes) {
    all.first.push_back(all.names.size());
    for (const std::string& name : other.programme.names) all.names.push_back(other.name + ": " + name);
  }
  return all;
}

std::string write_scenario(const Scenario& scenario) {
  std::string text = write_fields(scenario_fields(), &scenario, 0);
  text += "furnace:\n" + write_furnace({scenario.furnace_title, scenario.furnace}, 2);
  text += "controller:\n" + write_controller({scenario.controller_title, scenario.parameters}, 2);
  const std::string environment = write_environment(scenario.environment, 2);
  if (!environment.empty()) text += "environment:\n" + environment;
  text += "programme:\n" + write_programme(scenario.programme, 2);
  if (!scenario.programmes.empty()) text += "programmes:\n" + write_other_programmes(scenario.programmes, 2);
  if (!scenario.actions.empty()) text += "actions:\n" + write_actions(scenario.actions, 2);
  if (!scenario.faults.empty()) text += "faults:\n" + write_faults(scenario.faults, 2);
  if (!scenario.mistakes.empty()) text += "mistakes:\n" + write_mistakes(scenario.mistakes, 2);
  if (!scenario.expectations.empty()) text += "expectations:\n" + write_expectations(scenario.expectations, 2);
  text += "compare:\n" + write_tolerance(scenario.compare, 2);
  if (scenario.display.chosen()) text += "display:\n" + write_fields(display_fields(), &scenario.display, 2);
  return text;
}

Scenario load_scenario(const std::filesystem::path& file, const std::vector<std::string>& overrides, const std::filesystem::path& patch) {
  const YamlNode root = read_tree(file, overrides, patch);
  Scenario scenario;
  scenario.file = file;
  read_fields(root, scenario_fields(), &scenario, scenario_sections());
  check_name(scenario.name, root);
  if (scenario.name.empty()) scenario.name = file.stem().string();
  read_parts(root, scenario);
  scenario.resolved_yaml = write_scenario(scenario);
  return scenario;
}

}  // namespace sim
