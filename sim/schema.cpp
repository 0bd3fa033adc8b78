#include "sim/schema.h"

#include <stdexcept>

#include <nlohmann/json.hpp>

#include "sim/action_file.h"
#include "sim/controller_file.h"
#include "sim/display_units.h"
#include "sim/environment.h"
#include "sim/expectation_file.h"
#include "sim/fault_file.h"
#include "sim/fields.h"
#include "sim/furnace_file.h"
#include "sim/log_mapping.h"
#include "sim/mistake_file.h"
#include "sim/moment.h"
#include "sim/process_file.h"
#include "sim/programme_file.h"
#include "sim/scenario_file.h"
#include "sim/set_point_file.h"
#include "sim/tolerance.h"

namespace sim {

namespace {

using Json = nlohmann::ordered_json;

std::string bounds_of(const Field& field) {
  const auto limit = [&](double value) {
    return field.single ? text_of(static_cast<float>(value), field.unit) : text_of(value, field.unit);
  };
  return limit(field.low) + " to " + limit(field.high);
}

std::string type_of(const Field& field) {
  switch (field.type) {
    case FieldType::quantity: return field.unit == "1" ? "number" : "value in " + field.unit + " or another unit of its kind";
    case FieldType::integer: return "whole number";
    case FieldType::yes_no: return "yes or no";
    case FieldType::choice: return "one of " + listed(field.choices);
    case FieldType::text: return "text";
    case FieldType::list: return "text or list of texts";
  }
  return "";
}

bool has_bounds(const Field& field) { return field.type == FieldType::quantity || field.type == FieldType::integer; }

Json field_schema(const Field& field) {
  Json schema;
  switch (field.type) {
    case FieldType::quantity:
      if (field.unit == "1") {
        schema["type"] = {"number", "string"};
        schema["minimum"] = field.low;
        schema["maximum"] = field.high;
      } else {
        schema["type"] = "string";
        schema["pattern"] = "^ *[-+]?[0-9.]+.*[A-Za-z%]";
      }
      break;
    case FieldType::integer:
      schema = {{"type", "integer"}, {"minimum", field.low}, {"maximum", field.high}};
      break;
    case FieldType::yes_no: schema["enum"] = {"yes", "no", true, false}; break;
    case FieldType::choice: schema["enum"] = field.choices; break;
    case FieldType::text:
      if (field.bare) schema["type"] = {"string", "number"};
      else schema["type"] = "string";
      break;
    case FieldType::list:
      schema["anyOf"] = {{{"type", "string"}}, {{"type", "array"}, {"items", {{"type", "string"}}}, {"minItems", 1}}};
      break;
  }
  schema["description"] = field.meaning + (has_bounds(field) ? " (" + bounds_of(field) + ")" : "");
  if (!field.preset.empty()) schema["default"] = field.preset;
  return schema;
}

Json open_map(const std::string& meaning) {
  Json map{{"type", "object"}};
  if (!meaning.empty()) map["description"] = meaning;
  map["additionalProperties"] = false;
  map["properties"] = Json::object();
  return map;
}

Json table_schema(const FieldTable& table) {
  Json root = open_map(table.meaning);
  for (const Field& field : table.fields) {
    Json* map = &root;
    std::string_view rest = field.key;
    for (std::size_t dot = rest.find('.'); dot != std::string_view::npos; dot = rest.find('.')) {
      Json& below = (*map)["properties"][std::string(rest.substr(0, dot))];
      if (below.is_null()) below = open_map("");
      map = &below;
      rest.remove_prefix(dot + 1);
    }
    (*map)["properties"][std::string(rest)] = field_schema(field);
    if (field.required) (*map)["required"].push_back(std::string(rest));
  }
  if (table.fields.empty()) root["type"] = {"object", "null"};
  return root;
}

// A list whose items have one key that names their kind, beside those of `beside`.
Json kinds_list(const Json& beside, const Json& kinds) {
  Json item = beside;
  for (const auto& [name, schema] : kinds.items()) item["properties"][name] = schema;
  return {{"type", "array"}, {"items", item}};
}

Json segment_kinds() {
  Json kinds = Json::object();
  for (const FieldTable& table : segment_fields()) kinds[table.kind] = table_schema(table);
  return kinds;
}

Json programme_schema() {
  Json beside = open_map("a segment: one key names its kind");
  beside["properties"]["name"] = {{"type", "string"}, {"description", "name of the segment, its own in the programme"}};
  return kinds_list(beside, segment_kinds());
}

Json edit_schema(const FieldTable& fields) {
  Json edit = table_schema(fields), to = open_map("the segment as it is to be: one key names its kind");
  to["properties"] = segment_kinds();
  to["minProperties"] = to["maxProperties"] = 1;
  edit["properties"]["to"] = to;
  edit["required"].push_back("to");
  return edit;
}

Json actions_schema() {
  Json kinds = Json::object();
  for (const ActionKind& kind : action_table()) {
    kinds[kind.name] = {{"description", kind.meaning}};
    if (const FieldTable* const fields = action_map_fields(kind.takes)) {
      if (kind.takes == ActionValue::alarm || kind.takes == ActionValue::gas) kinds[kind.name].update(field_schema(fields->fields.front()));
      else if (kind.takes == ActionValue::segment) kinds[kind.name] = edit_schema(*fields);
      else kinds[kind.name] = table_schema(*fields);
      continue;
    }
    kinds[kind.name]["type"] = kind.takes == ActionValue::nothing ? "null" : kind.takes == ActionValue::number ? "integer" : "string";
    if (kind.takes == ActionValue::set_point)
      kinds[kind.name] = {{"anyOf", {kinds[kind.name], table_schema(set_point_fields())}}};
  }
  return kinds_list(table_schema(action_fields()), kinds);
}

Json faults_schema() {
  Json kinds = Json::object();
  for (const FaultKind& kind : fault_table()) kinds[kind.name] = table_schema(fault_fields(kind, -1));
  return kinds_list(table_schema(fault_time_fields()), kinds);
}

Json environment_schema() {
  Json environment = open_map("what surrounds the furnace, where it is not as the furnace file says");
  for (const EnvironmentSignal& signal : environment_table()) {
    const FieldTable points = environment_point_fields(signal);
    Json profile = table_schema(environment_profile_fields());
    profile["properties"]["points"] = {{"type", "array"}, {"minItems", 1}, {"items", table_schema(points)}};
    profile["required"].push_back("points");
    environment["properties"][signal.range.name] = {
        {"description", signal.meaning}, {"anyOf", {field_schema(points.fields.back()), table_schema(environment_file_fields()), profile}}};
  }
  return environment;
}

Json mistakes_schema() {
  Json kinds = Json::object();
  for (const MistakeKind& kind : mistake_table()) kinds[kind.name] = table_schema(mistake_fields(kind));
  return kinds_list(table_schema({"mistake", "what the operator gets wrong: one key names it", moment_fields()}), kinds);
}

Json compare_schema() {
  Json compare = table_schema(tolerance_fields());
  compare["properties"]["signals"] = {{"type", "array"}, {"items", table_schema(tolerance_rule_fields())}};
  return compare;
}

Json mapping_schema() {
  Json mapping = table_schema(mapping_fields());
  mapping["properties"]["columns"] = {{"type", "array"}, {"minItems", 1}, {"items", table_schema(mapping_column_fields())}};
  mapping["required"].push_back("columns");
  return mapping;
}

Json process_schema() {
  Json process = table_schema(process_fields());
  process["properties"]["pairs"] = {{"type", "array"}, {"items", table_schema(second_order_fields())}};
  return process;
}

Json scenario_schema() {
  Json root = table_schema(scenario_fields());
  Json& keys = root["properties"];
  const auto file_or = [](const FieldTable& table) {
    return Json{{"anyOf", {{{"type", "string"}, {"description", "path of a file, relative to this one"}}, table_schema(table)}}};
  };
  keys["furnace"] = file_or(furnace_fields());
  keys["controller"] = file_or(controller_fields());
  keys["set"] = {{"type", "object"}, {"description", "path: value, such as furnace.leak: 1e-3 Pa m3/s"}};
  keys["environment"] = environment_schema();
  keys["programme"] = programme_schema();
  Json other = table_schema(other_programme_fields());
  other["properties"]["segments"] = programme_schema();
  other["required"].push_back("segments");
  keys["programmes"] = {{"type", "array"}, {"items", other}};
  keys["actions"] = actions_schema();
  keys["faults"] = faults_schema();
  keys["mistakes"] = mistakes_schema();
  keys["expectations"] = {{"type", "array"}, {"items", table_schema(expectation_fields())}};
  keys["compare"] = compare_schema();
  keys["display"] = table_schema(display_fields());
  for (const char* key : {"furnace", "controller", "programme"}) root["required"].push_back(key);
  return root;
}

std::string cell(std::string text) {
  for (std::size_t at = text.find('|'); at != std::string::npos; at = text.find('|', at + 2)) text.insert(at, "\\");
  return text;
}

void add_table(std::string& text, const std::string& title, const FieldTable& table) {
  text += "\n## " + title + "\n\n" + table.meaning + "\n";
  if (table.fields.empty()) return;
  text += "\n| key | takes | preset | bounds | meaning |\n| --- | --- | --- | --- | --- |\n";
  for (const Field& field : table.fields) {
    const std::string preset = field.required ? "must be given" : field.preset;
    text += "| " + field.key + " | " + cell(type_of(field)) + " | " + preset + " | " + (has_bounds(field) ? bounds_of(field) : "") + " | " +
            cell(field.meaning) + " |\n";
  }
}

}  // namespace

std::vector<std::string> schema_kinds() { return {"furnace", "controller", "scenario", "mapping", "process"}; }

std::string json_schema(std::string_view kind) {
  Json schema;
  if (kind == "furnace") schema = table_schema(furnace_fields());
  else if (kind == "controller") schema = table_schema(controller_fields());
  else if (kind == "scenario") schema = scenario_schema();
  else if (kind == "mapping") schema = mapping_schema();
  else if (kind == "process") schema = process_schema();
  else throw std::invalid_argument("no schema of this kind: " + std::string(kind));
  Json root{{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"title", kind}};
  root.update(schema);
  return root.dump(1) + "\n";
}

std::string fields_markdown() {
  std::string text =
      "# What the files of configs/ may say\n\n"
      "Written from the field tables of the program (target `schema`). A value that has a dimension is text with its unit;\n"
      "a pressure says gauge, abs or diff; a temperature is in degC, a difference in K; standard volumes are at 0 degC and\n"
      "101.325 kPa unless the unit says otherwise (`slm(20 degC)`). Dots in a key stand for nested maps.\n"
      "`set` and `--set` take the same dotted paths.\n";
  add_table(text, "Scenario", scenario_fields());
  for (const FieldTable& table : segment_fields()) add_table(text, "Segment: " + table.kind, table);
  add_table(text, "Programmes: an item, beside its `segments`", other_programme_fields());
  FieldTable actions = action_fields();
  for (const ActionKind& kind : action_table()) {
    const bool named = kind.takes == ActionValue::programme || kind.takes == ActionValue::alarm || kind.takes == ActionValue::gas;
    const std::string takes = named ? "name" : kind.takes == ActionValue::date ? "date" : kind.unit;
    const std::string unit = takes.empty() ? "" : " [" + takes + "]";
    actions.meaning += "\n- `" + std::string(kind.name) + "`" + unit + ": " + kind.meaning;
  }
  add_table(text, "Action", actions);
  add_table(text, "Action: set points from a file", set_point_fields());
  FieldTable environment{"environment", "Each of these is a value, a profile from a file, or a profile of `points`:", {}};
  for (const EnvironmentSignal& signal : environment_table()) {
    Field value = environment_point_fields(signal).fields.back();
    value.key = signal.range.name;
    value.required = false;
    environment.fields.push_back(std::move(value));
  }
  add_table(text, "Environment", environment);
  add_table(text, "Environment: a profile from a file", environment_file_fields());
  add_table(text, "Environment: a profile of `points`", environment_profile_fields());
  add_table(text, "Environment: an item of `points`", environment_point_fields(environment_table().front()));
  for (const ActionValue takes : {ActionValue::parameter, ActionValue::shelf, ActionValue::output, ActionValue::segment}) {
    const FieldTable& fields = *action_map_fields(takes);
    add_table(text, "Action: " + fields.kind, fields);
  }
  add_table(text, "Fault", fault_time_fields());
  for (const FaultKind& kind : fault_table()) add_table(text, "Fault: " + std::string(kind.name), fault_fields(kind, -1));
  for (const MistakeKind& kind : mistake_table())
    add_table(text, "Mistake: " + std::string(kind.name) + " (" + kind.reaches + ")", mistake_fields(kind));
  add_table(text, "Expectation", expectation_fields());
  add_table(text, "Compare", tolerance_fields());
  add_table(text, "Compare: an item of `signals`", tolerance_rule_fields());
  add_table(text, "Display", display_fields());
  add_table(text, "Furnace", furnace_fields());
  add_table(text, "Controller", controller_fields());
  add_table(text, "Mapping of a recorded log", mapping_fields());
  add_table(text, "Mapping: an item of `columns`", mapping_column_fields());
  add_table(text, "Process", process_fields());
  add_table(text, "Process: an item of `pairs`", second_order_fields());
  return text;
}

}  // namespace sim
