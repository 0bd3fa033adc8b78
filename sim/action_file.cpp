#include "sim/action_file.h"

#include <algorithm>
#include <array>

#include "sim/controller_file.h"
#include "sim/moment.h"
#include "sim/set_point_file.h"

namespace sim {

namespace {

constexpr std::array<ActionKind, 18> kinds{{
    {"start", fw::Command::start, 0, "", 0, 0, "start the programme"},
    {"hold", fw::Command::hold, 0, "", 0, 0, "hold the programme"},
    {"resume", fw::Command::resume, 0, "", 0, 0, "go on"},
    {"skip", fw::Command::skip, 0, "", 0, 0, "to the next segment"},
    {"stop", fw::Command::stop, 0, "", 0, 0, "ordered stop to the safe values"},
    {"acknowledge", fw::Command::acknowledge, 0, "", 0, 0, "all alarms; re-arms a trip whose cause has gone"},
    {"reset", fw::Command::reset, 0, "", 0, 0, "back to idle when stopped, aborted or complete"},
    {"select_programme", fw::Command::select_programme, 0, "1", 0, fw::programme_count - 1, "choose a programme of the store"},
    {"load", fw::Command::select_programme, 0, "name", 0, 0,
     "choose a programme of `programmes` by its name (`programme` for the first), written over the line first where it is not stored"},
    {"set_heat", fw::Command::change_setpoint, 0, "degC", 0, 1800, "heat set point"},
    {"set_back_pressure", fw::Command::change_setpoint, 1, "Pa gauge", 0, 1e5, "back-pressure set point"},
    {"set_flow", fw::Command::change_setpoint, 2, "slm", 0, 1000, "flow set point"},
    {"start_auto_tune", fw::Command::start_auto_tune, 0, "1", 1, 5, "by relay: 1 to 4 a heat zone, 5 the back-pressure"},
    {"abort_auto_tune", fw::Command::abort_auto_tune, 0, "", 0, 0, "the loop goes on with its gains from where it stood"},
    {"accept_auto_tune", fw::Command::accept_auto_tune, 0, "1", 1, fw::gain_set_count,
     "write the gains proposed, those of a heat loop into this set"},
    {"reject_auto_tune", fw::Command::reject_auto_tune, 0, "", 0, 0, "drop the gains proposed"},
    {"shut_down", fw::Command::shut_down, 0, "", 0, 0, "leave the programme: purge combustible gas out, cool under purge, end"},
    {"set_parameter", fw::Command::none, 0, "", 0, 0, "write a parameter of the controller (FC 16) and read it back (FC 03)"},
}};

std::vector<std::string> kind_names() {
  std::vector<std::string> names;
  for (const ActionKind& kind : kinds) names.emplace_back(kind.name);
  return names;
}

struct ParameterWrite {
  std::string name, value;
};

std::vector<Field> make_parameter_fields() {
  Field value = text_field<ParameterWrite>("value", [](auto& write) -> auto& { return write.value; }, true, "in its unit");
  value.bare = true;
  return {text_field<ParameterWrite>("name", [](auto& write) -> auto& { return write.name; }, true, "a key of the controller file"),
          value};
}

std::vector<Field> make_action_fields() {
  std::vector<Field> fields;
  for (Field field : moment_fields()) {
    field.set = [set = field.set](void* action, const FieldValue& value) { set(&static_cast<OperatorAction*>(action)->when, value); };
    field.get = [get = field.get](const void* action, FieldValue& value) {
      return get(&static_cast<const OperatorAction*>(action)->when, value);
    };
    fields.push_back(std::move(field));
  }
  Field expect = choice_field<OperatorAction>("expect", [](auto& action) -> auto& { return action.expect; },
                                              {"anything", "accepted", "refused"}, "anything",
                                              "of the controller; comes it otherwise, the run fails");
  fields.push_back(optional<OperatorAction>(std::move(expect), [](const OperatorAction& action) {
    return action.expect != OperatorAction::Expect::anything;
  }));
  return fields;
}

// The field of a parameter as the controller file has it, under the key `value`.
Field value_field(std::size_t parameter, bool any_size) {
  const auto& fields = controller_fields().fields;
  const std::string_view name = fw::parameter_table()[parameter].name;
  Field field = *std::find_if(fields.begin(), fields.end(), [&](const Field& one) { return one.key == name; });
  field.key = "value";
  field.required = true;
  if (any_size && field.type != FieldType::choice && field.type != FieldType::yes_no) {
    field.low = -1e30;
    field.high = 1e30;
  }
  return field;
}

// One to be refused may be of any size, or it would never come to the controller.
void read_parameter_write(const YamlNode& map, OperatorAction& action) {
  ParameterWrite write;
  read_fields(map, parameter_write_fields(), &write);
  const auto table = fw::parameter_table();
  std::vector<std::string> names;
  for (const fw::ParameterInfo& info : table) names.emplace_back(info.name);
  const auto found = std::find(names.begin(), names.end(), write.name);
  if (found == names.end())
    throw InputError(map.child("name")->place, "the unknown parameter `" + write.name + "`", "a key of the controller file",
                     nearest_name(write.name, names));
  const auto index = static_cast<std::size_t>(found - names.begin());
  ControllerFile file;
  const bool any_size = action.expect == OperatorAction::Expect::refused;
  read_fields(map, {"set_parameter", "", {value_field(index, any_size)}}, &file, {"name"});
  action.parameter = static_cast<int>(index);
  action.bits = fw::parameter_bits(file.parameters, table[index]);
  action.text = "set_parameter " + write.name + " " + write.value;
}

void read_load(const YamlNode& value, const Vocabulary& vocabulary, OperatorAction& action) {
  const std::vector<std::string>& names = vocabulary.programmes;
  const auto found = value.is_text() ? std::find(names.begin(), names.end(), value.text) : names.end();
  if (found == names.end())
    throw InputError(value.place, value.found() + " for `load`", "one of " + listed(names), nearest_name(value.text, names));
  action.command = fw::Command::select_programme;
  action.argument = static_cast<std::uint16_t>(found - names.begin());
  action.programme = value.text;
  action.text = "load " + yaml_text(value.text);
}

std::string written_parameter(const OperatorAction& action, int indent) {
  const auto index = static_cast<std::size_t>(action.parameter);
  ControllerFile file;
  fw::set_parameter_bits(file.parameters, fw::parameter_table()[index], action.bits);
  return std::string(static_cast<std::size_t>(indent), ' ') + "name: " + fw::parameter_table()[index].name + "\n" +
         write_fields({"set_parameter", "", {value_field(index, true)}}, &file, indent);
}

// The value, checked by a field made for the occasion, so that its messages are those of every other field.
double read_value(const ActionKind& kind, const YamlNode& node) {
  double value = 0.0;
  const auto at = [](auto& number) -> auto& { return number; };
  Field field = quantity_field<double>(kind.name, kind.unit, at, kind.low, kind.high, "", kind.meaning);
  field.whole = std::string_view(kind.unit) == "1";
  YamlNode map;
  map.kind = YamlNode::Kind::map;
  map.place = node.place;
  map.keys.emplace_back().text = kind.name;
  map.items.push_back(node);
  read_fields(map, {"action", "", {field}}, &value);
  return value;
}

// `set_heat: {file: ...}`: one action for each set point, so much after the moment of the item.
std::vector<OperatorAction> each_of(const OperatorAction& first, const ActionKind& kind, const YamlNode& map) {
  std::vector<OperatorAction> actions;
  for (const SetPoint& point : read_set_points(map, kind)) {
    OperatorAction& action = actions.emplace_back(first);
    const bool timed = action.when.timed();
    if (timed) action.when.at_s = std::max(action.when.at_s, 0.0);
    (timed ? action.when.at_s : action.when.after_s) += point.time_s;
    action.value = static_cast<float>(point.value);
    action.text = std::string(kind.name) + " " + text_of(action.value, kind.unit);
    action.place = point.place;
  }
  return actions;
}

std::vector<OperatorAction> read_action(const YamlNode& item, const Vocabulary& vocabulary) {
  const std::vector<std::string> names = kind_names();
  OperatorAction action;
  action.place = item.place;
  action.when.place = item.place;
  read_fields(item, action_fields(), &action, names);
  check_moment(item, action.when, vocabulary);
  const ActionKind* kind = nullptr;
  const YamlNode* many = nullptr;
  for (std::size_t i = 0; i < item.keys.size(); ++i) {
    const auto found = std::find(names.begin(), names.end(), item.keys[i].text);
    if (found == names.end()) continue;
    if (kind) throw InputError(item.keys[i].place, "`" + item.keys[i].text + "` beside `" + kind->name + "`", "one action in an item");
    kind = &kinds[static_cast<std::size_t>(found - names.begin())];
    action.place = item.keys[i].place;
    const YamlNode& value = item.items[i];
    if (kind->command == fw::Command::none) {
      read_parameter_write(value, action);
      continue;
    }
    const bool bare = value.is_text() && value.text.empty();
    if (std::string_view(kind->unit) == "name") {
      read_load(value, vocabulary, action);
      continue;
    }
    if (!*kind->unit && !bare)
      throw InputError(value.place, value.found() + " for `" + kind->name + "`", "nothing: this action has no value");
    action.command = kind->command;
    action.argument = kind->argument;
    action.text = kind->name;
    if (!*kind->unit) continue;
    if (value.is_map() && kind->command == fw::Command::change_setpoint) {
      many = &value;
      continue;
    }
    const double number = read_value(*kind, value);
    if (std::string_view(kind->unit) == "1") action.argument = static_cast<std::uint16_t>(number);
    else action.value = static_cast<float>(number);
    action.text += " " + value.text;
  }
  if (!kind) throw InputError(item.place, "an action that does nothing", "one of start, hold, resume, skip, stop, set_heat, ...");
  if (many) return each_of(action, *kind, *many);
  return {action};
}

}  // namespace

std::span<const ActionKind> action_table() { return kinds; }

const FieldTable& action_fields() {
  static const FieldTable table{"action", "One key says what is done, with a value where it has one; these say when, and what is expected.",
                                make_action_fields()};
  return table;
}

const FieldTable& parameter_write_fields() {
  static const FieldTable table{"set_parameter", "Which parameter is written while the controller runs, and what.",
                                make_parameter_fields()};
  return table;
}

std::vector<OperatorAction> read_actions(const YamlNode& list, const Vocabulary& vocabulary) {
  if (!list.is_list()) throw InputError(list.place, list.found() + " for `actions`", "a list of actions");
  std::vector<OperatorAction> actions;
  for (const YamlNode& item : list.items)
    for (OperatorAction& action : read_action(item, vocabulary)) actions.push_back(std::move(action));
  return actions;
}

std::string write_actions(const std::vector<OperatorAction>& actions, int indent) {
  const std::string blanks(static_cast<std::size_t>(indent), ' ');
  std::string text;
  for (const OperatorAction& action : actions) {
    const auto kind = std::find_if(kinds.begin(), kinds.end(), [&](const ActionKind& k) {
      if ((std::string_view(k.unit) == "name") != !action.programme.empty()) return false;
      return k.command == action.command && (action.command != fw::Command::change_setpoint || k.argument == action.argument);
    });
    const std::size_t blank = action.text.find(' ');
    if (action.parameter >= 0) text += blanks + "- set_parameter:\n" + written_parameter(action, indent + 4);
    else text += blanks + "- " + kind->name + ":" + (blank == std::string::npos ? "" : action.text.substr(blank)) + "\n";
    text += write_fields(action_fields(), &action, indent + 2);
  }
  return text;
}

}  // namespace sim
