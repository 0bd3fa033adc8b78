#include "sim/action_file.h"

#include <algorithm>
#include <array>

#include "sim/moment.h"
#include "sim/set_point_file.h"

namespace sim {

namespace {

constexpr std::array<ActionKind, 11> kinds{{
    {"start", fw::Command::start, 0, "", 0, 0, "start the programme"},
    {"hold", fw::Command::hold, 0, "", 0, 0, "hold the programme"},
    {"resume", fw::Command::resume, 0, "", 0, 0, "go on"},
    {"skip", fw::Command::skip, 0, "", 0, 0, "to the next segment"},
    {"stop", fw::Command::stop, 0, "", 0, 0, "ordered stop to the safe values"},
    {"acknowledge", fw::Command::acknowledge, 0, "", 0, 0, "all alarms; re-arms a trip whose cause has gone"},
    {"reset", fw::Command::reset, 0, "", 0, 0, "back to idle when stopped, aborted or complete"},
    {"select_programme", fw::Command::select_programme, 0, "1", 0, fw::programme_count - 1, "choose a programme of the store"},
    {"set_heat", fw::Command::change_setpoint, 0, "degC", 0, 1800, "heat set point"},
    {"set_back_pressure", fw::Command::change_setpoint, 1, "Pa gauge", 0, 1e5, "back-pressure set point"},
    {"set_flow", fw::Command::change_setpoint, 2, "slm", 0, 1000, "flow set point"},
}};

std::vector<std::string> kind_names() {
  std::vector<std::string> names;
  for (const ActionKind& kind : kinds) names.emplace_back(kind.name);
  return names;
}

FieldTable moment_table() { return {"action", "When something happens.", moment_fields()}; }

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
  read_fields(item, moment_table(), &action.when, names);
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
    const bool bare = value.is_text() && value.text.empty();
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
    if (kind->command == fw::Command::select_programme) action.argument = static_cast<std::uint16_t>(number);
    else action.value = static_cast<float>(number);
    action.text += " " + value.text;
  }
  if (!kind) throw InputError(item.place, "an action that does nothing", "one of start, hold, resume, skip, stop, set_heat, ...");
  if (many) return each_of(action, *kind, *many);
  return {action};
}

}  // namespace

std::span<const ActionKind> action_table() { return kinds; }

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
      return k.command == action.command && (action.command != fw::Command::change_setpoint || k.argument == action.argument);
    });
    const std::size_t blank = action.text.find(' ');
    text += blanks + "- " + kind->name + ":" + (blank == std::string::npos ? "" : action.text.substr(blank)) + "\n";
    text += write_fields(moment_table(), &action.when, indent + 2);
  }
  return text;
}

}  // namespace sim
