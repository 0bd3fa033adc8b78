#include "sim/action_file.h"

#include <algorithm>
#include <array>

#include "firmware/alarms.h"
#include "firmware/commissioning.h"
#include "sim/controller_file.h"
#include "sim/local_time.h"
#include "sim/moment.h"
#include "sim/programme_file.h"
#include "sim/set_point_file.h"

namespace sim {

namespace {

using Takes = ActionValue;

constexpr std::array<ActionKind, 30> kinds{{
    {"start", fw::Command::start, 0, Takes::nothing, "", 0, 0, "start the programme"},
    {"start_at_value", fw::Command::start_at_value, 0, Takes::nothing, "", 0, 0,
     "start, but in the first ramp whose way holds the process value"},
    {"hold", fw::Command::hold, 0, Takes::nothing, "", 0, 0, "hold the programme"},
    {"resume", fw::Command::resume, 0, Takes::nothing, "", 0, 0, "go on"},
    {"skip", fw::Command::skip, 0, Takes::nothing, "", 0, 0, "to the next segment"},
    {"stop", fw::Command::stop, 0, Takes::nothing, "", 0, 0, "ordered stop to the safe values"},
    {"acknowledge", fw::Command::acknowledge, 0, Takes::nothing, "", 0, 0, "all alarms; re-arms a trip whose cause has gone"},
    {"acknowledge_alarm", fw::Command::acknowledge_alarm, 0, Takes::alarm, "", 0, 0, "acknowledge one alarm"},
    {"shelve_alarm", fw::Command::shelve_alarm, 0, Takes::shelf, "", 0, 0, "not told for a time, then it comes back by itself"},
    {"unshelve_alarm", fw::Command::unshelve_alarm, 0, Takes::alarm, "", 0, 0, "told again before its time is over"},
    {"reset_alarm", fw::Command::reset_alarm, 0, Takes::alarm, "", 0, 0, "let go of an alarm that has latched, its condition gone"},
    {"alarm_out_of_service", fw::Command::alarm_out_of_service, 0, Takes::alarm, "", 0, 0,
     "not told until it is put back; key switch at commissioning"},
    {"alarm_in_service", fw::Command::alarm_in_service, 0, Takes::alarm, "", 0, 0, "told again; key switch at commissioning"},
    {"reset", fw::Command::reset, 0, Takes::nothing, "", 0, 0, "back to idle when stopped, aborted or complete"},
    {"select_programme", fw::Command::select_programme, 0, Takes::number, "1", 0, fw::programme_count - 1,
     "choose a programme of the store"},
    {"load", fw::Command::select_programme, 0, Takes::programme, "", 0, 0,
     "choose a programme of `programmes` by its name (`programme` for the first), written over the line first where it is not stored"},
    {"edit_segment", fw::Command::edit_running, 0, Takes::segment, "", 0, 0,
     "change a segment of the running programme that has not begun yet"},
    {"set_heat", fw::Command::change_setpoint, 0, Takes::set_point, "degC", 0, 1800, "heat set point"},
    {"set_back_pressure", fw::Command::change_setpoint, 1, Takes::set_point, "Pa gauge", 0, 1e5, "back-pressure set point"},
    {"set_flow", fw::Command::change_setpoint, 2, Takes::set_point, "slm", 0, 1000, "flow set point"},
    {"start_auto_tune", fw::Command::start_auto_tune, 0, Takes::number, "1", 1, 5, "by relay: 1 to 4 a heat zone, 5 the back-pressure"},
    {"abort_auto_tune", fw::Command::abort_auto_tune, 0, Takes::nothing, "", 0, 0, "the loop goes on with its gains from where it stood"},
    {"accept_auto_tune", fw::Command::accept_auto_tune, 0, Takes::number, "1", 1, fw::gain_set_count,
     "write the gains proposed, those of a heat loop into this set"},
    {"reject_auto_tune", fw::Command::reject_auto_tune, 0, Takes::nothing, "", 0, 0, "drop the gains proposed"},
    {"shut_down", fw::Command::shut_down, 0, Takes::nothing, "", 0, 0,
     "leave the programme: purge combustible gas out, cool under purge, end"},
    {"force_output", fw::Command::force_output, 0, Takes::output, "", 0, 0,
     "hold one output where it is put, ten minutes at most; key switch at commissioning, interlocks stay live"},
    {"force_gas", fw::Command::force_output, fw::forced_gas, Takes::gas, "", 0, 0,
     "select what a process valve held open lets in, without flow; as force_output"},
    {"release_outputs", fw::Command::release_outputs, 0, Takes::nothing, "", 0, 0, "end all forcing"},
    {"zero_pressure", fw::Command::zero_pressure, 0, Takes::date, "", 0, 0,
     "take the gauge-pressure reading of the vented chamber for zero, found on this date; key switch at commissioning"},
    {"set_parameter", fw::Command::none, 0, Takes::parameter, "", 0, 0,
     "write a parameter of the controller (FC 16) and read it back (FC 03)"},
}};

// Outputs that can be forced (firmware/commissioning.h), by the words that faults have for them.
struct ForcedName {
  const char* word;
  std::uint16_t number;
};
constexpr std::array<ForcedName, 15> forced_names{{
    {"contactor", 0}, {"process", 1}, {"purge", 2}, {"exhaust", 3}, {"bypass", 4}, {"air", 5}, {"pump", 6}, {"isolation", 7},
    {"inlet_vent", 8}, {"pilot", 9}, {"demand_1", 16}, {"demand_2", 17}, {"demand_3", 18}, {"demand_4", 19}, {"valve", fw::forced_valve},
}};

// What the map behind shelve_alarm, force_output or the name of an alarm says.
struct NamedPlace {
  int place = 0;
  double number = 0.0;
};

std::vector<std::string> alarm_words() {
  std::vector<std::string> words;
  for (const fw::AlarmInfo& alarm : fw::alarm_table()) words.emplace_back(alarm.name);
  return words;
}

Field alarm_field() {
  return choice_field<NamedPlace>("alarm", [](auto& named) -> auto& { return named.place; }, alarm_words(), "", "by its name");
}

// In the order of fw::Gas.
Field gas_field() {
  return choice_field<NamedPlace>("gas", [](auto& named) -> auto& { return named.place; },
                                  {"none", "air", "nitrogen", "argon", "helium", "hydrogen", "forming_gas"}, "", "by its name");
}

FieldTable make_shelf_fields() {
  return {"shelve_alarm", "Which alarm is not told, and how long.",
          {alarm_field(), quantity_field<NamedPlace>("for", "s", [](auto& named) -> auto& { return named.number; }, 1.0, 86400.0, "",
                                                     "at most alarms.shelve_longest")}};
}

FieldTable make_output_fields() {
  std::vector<std::string> words;
  for (const ForcedName& name : forced_names) words.emplace_back(name.word);
  return {"force_output", "Which output of the station is held, and where.",
          {choice_field<NamedPlace>("output", [](auto& named) -> auto& { return named.place; }, words, "", "of the station"),
           quantity_field<NamedPlace>("value", "1", [](auto& named) -> auto& { return named.number; }, 0.0, 1.0, "",
                                      "0 shut or off, 1 open or on; between them for demand and back-pressure valve")}};
}

std::vector<std::string> kind_names() {
  std::vector<std::string> names;
  for (const ActionKind& kind : kinds) names.emplace_back(kind.name);
  return names;
}

struct SegmentEdit {
  std::string which;
  bool stored = false;
};

FieldTable make_edit_fields() {
  return {"edit_segment", "Which segment is changed; beside these `to`, a map with one kind of segment and its keys.",
          {text_field<SegmentEdit>("which", [](auto& edit) -> auto& { return edit.which; }, true, "name of the segment"),
           yes_no_field<SegmentEdit>("stored", [](auto& edit) -> auto& { return edit.stored; }, "no",
                                     "yes: in the controller's store too; else in this run alone")}};
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
  read_fields(map, *action_map_fields(Takes::parameter), &write);
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

// Its programme and place, by the name that moments have for it ("OTHER: SEGMENT" for one of `programmes`).
struct SegmentPlace {
  std::size_t programme = 0, index = 0;
  std::vector<std::string> names;      // of its programme
};

SegmentPlace place_of(const YamlNode& which, const Vocabulary& vocabulary) {
  vocabulary.check_segment(which.text, which.place);
  const ProgrammeSource& all = vocabulary.programme;
  const auto at = static_cast<std::size_t>(std::find(all.names.begin(), all.names.end(), which.text) - all.names.begin());
  SegmentPlace place;
  for (std::size_t n = 1; n < all.first.size(); ++n)
    if (at >= all.first[n]) place.programme = n;
  const bool other = place.programme > 0;
  const std::size_t first = other ? all.first[place.programme] : 0, cut = other ? vocabulary.programmes[place.programme].size() + 2 : 0;
  const std::size_t end = place.programme + 1 < all.first.size() ? all.first[place.programme + 1] : all.names.size();
  place.index = at - first;
  for (std::size_t i = first; i < end; ++i) place.names.push_back(all.names[i].substr(cut));
  return place;
}

// "soak: for: 1200 s, within: 10 K"
std::string in_one_line(const std::string& yaml) {
  std::string text;
  for (std::size_t at = 0; at < yaml.size();) {
    const std::size_t end = std::min(yaml.find('\n', at), yaml.size());
    const std::size_t word = std::min(yaml.find_first_not_of(' ', at), end);
    if (!text.empty()) text += text.back() == ':' ? " " : ", ";
    text += yaml.substr(word, end - word);
    at = end + 1;
  }
  return text;
}

void read_edit(const YamlNode& map, const Vocabulary& vocabulary, OperatorAction& action) {
  SegmentEdit edit;
  read_fields(map, *action_map_fields(Takes::segment), &edit, {"to"});
  const YamlNode* const to = map.child("to");
  if (!to)
    throw InputError(map.place, "`edit_segment` without `to`", "`to`: the segment as it is to be, such as `soak: {for: ..., within: ...}`");
  const SegmentPlace place = place_of(*map.child("which"), vocabulary);
  const SegmentDraft draft = read_segment_alone(*to, place.names, place.index, action.expect != OperatorAction::Expect::refused);
  action.edited = edit.which;
  action.edited_programme = static_cast<std::uint16_t>(place.programme);
  action.segment = draft.segment;
  action.back_to = draft.back_to;
  action.argument = static_cast<std::uint16_t>(place.index);
  action.value = edit.stored ? 1.0f : 0.0f;
  action.text = "edit_segment " + edit.which + ": " + in_one_line(write_segment_alone(draft, 0));
  if (edit.stored) action.text += ", in the store too";
}

std::string written_edit(const OperatorAction& action, int indent) {
  const SegmentEdit edit{action.edited, action.value != 0.0f};
  return write_fields(*action_map_fields(Takes::segment), &edit, indent) + std::string(static_cast<std::size_t>(indent), ' ') + "to:\n" +
         write_segment_alone({action.segment, action.back_to}, indent + 2);
}

std::string written_parameter(const OperatorAction& action, int indent) {
  const auto index = static_cast<std::size_t>(action.parameter);
  ControllerFile file;
  fw::set_parameter_bits(file.parameters, fw::parameter_table()[index], action.bits);
  return std::string(static_cast<std::size_t>(indent), ' ') + "name: " + fw::parameter_table()[index].name + "\n" +
         write_fields({"set_parameter", "", {value_field(index, true)}}, &file, indent);
}

// One value, checked by a field made for the occasion, so that its messages are those of every other field.
template <class T>
void read_one(const char* key, Field field, const YamlNode& node, T& object) {
  YamlNode map;
  map.kind = YamlNode::Kind::map;
  map.place = node.place;
  map.keys.emplace_back().text = key;
  map.items.push_back(node);
  field.key = key;
  read_fields(map, {"action", "", {field}}, &object);
}

double read_value(const ActionKind& kind, const YamlNode& node) {
  double value = 0.0;
  const auto at = [](auto& number) -> auto& { return number; };
  Field field = quantity_field<double>(kind.name, kind.unit, at, kind.low, kind.high, "", kind.meaning);
  field.whole = kind.takes == Takes::number;
  read_one(kind.name, field, node, value);
  return value;
}

double read_date(const ActionKind& kind, const YamlNode& node) {
  const auto stamp_s = node.is_text() ? stamp_of(node.text, "YYYY-MM-DD") : std::nullopt;
  if (!stamp_s || *stamp_s < 0.0) throw InputError(node.place, node.found() + " for `" + kind.name + "`", "a date as 2026-03-31");
  return *stamp_s / 86400.0;
}

void read_gas(const ActionKind& kind, const YamlNode& node, OperatorAction& action) {
  NamedPlace named;
  read_one(kind.name, gas_field(), node, named);
  action.value = static_cast<float>(named.place);
  action.text += " " + node.text;
}

void read_named(const ActionKind& kind, const YamlNode& node, OperatorAction& action) {
  NamedPlace named;
  if (kind.takes == Takes::alarm) read_one(kind.name, alarm_field(), node, named);
  else read_fields(node, *action_map_fields(kind.takes), &named);
  const bool output = kind.takes == Takes::output;
  action.argument = output ? forced_names[static_cast<std::size_t>(named.place)].number : static_cast<std::uint16_t>(named.place);
  action.value = static_cast<float>(named.number);
  const std::string name = output ? forced_names[static_cast<std::size_t>(named.place)].word
                                  : fw::alarm_table()[static_cast<std::size_t>(named.place)].name;
  action.text += kind.takes == Takes::shelf ? " " + name + " for " + text_of(action.value, "s")
                 : output                   ? " " + name + " to " + text_of(action.value, "1") : " " + name;
}

// Everything but its moment. True: `many` set points from a file.
bool read_deed(const ActionKind& kind, const YamlNode& value, const Vocabulary& vocabulary, OperatorAction& action) {
  if (kind.takes == Takes::parameter) return read_parameter_write(value, action), false;
  if (kind.takes == Takes::programme) return read_load(value, vocabulary, action), false;
  action.command = kind.command;
  if (kind.takes == Takes::segment) return read_edit(value, vocabulary, action), false;
  action.argument = kind.argument;
  action.text = kind.name;
  switch (kind.takes) {
    case Takes::nothing:
      if (!value.is_text() || !value.text.empty())
        throw InputError(value.place, value.found() + " for `" + kind.name + "`", "nothing: this action has no value");
      return false;
    case Takes::alarm:
    case Takes::shelf:
    case Takes::output:
      read_named(kind, value, action);
      return false;
    case Takes::gas:
      read_gas(kind, value, action);
      return false;
    case Takes::date:
      action.value = static_cast<float>(read_date(kind, value));
      break;
    case Takes::number:
      action.argument = static_cast<std::uint16_t>(read_value(kind, value));
      break;
    default:
      if (value.is_map()) return true;
      action.value = static_cast<float>(read_value(kind, value));
  }
  action.text += " " + value.text;
  return false;
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
    if (read_deed(*kind, item.items[i], vocabulary, action)) many = &item.items[i];
  }
  if (!kind) throw InputError(item.place, "an action that does nothing", "one of start, hold, resume, skip, stop, set_heat, ...");
  if (many) return each_of(action, *kind, *many);
  return {action};
}

// What stands behind the key, the end of the line included.
std::string written_deed(const ActionKind& kind, const OperatorAction& action, int indent) {
  NamedPlace named{action.argument, static_cast<double>(action.value)};
  switch (kind.takes) {
    case Takes::parameter:
      return "\n" + written_parameter(action, indent);
    case Takes::segment:
      return "\n" + written_edit(action, indent);
    case Takes::alarm:
      return std::string(" ") + fw::alarm_table()[action.argument].name + "\n";
    case Takes::gas:
      return " " + gas_field().choices[static_cast<std::size_t>(action.value)] + "\n";
    case Takes::output:
      named.place = static_cast<int>(std::find_if(forced_names.begin(), forced_names.end(), [&](const ForcedName& name) {
                                       return name.number == action.argument;
                                     }) - forced_names.begin());
      [[fallthrough]];
    case Takes::shelf:
      return "\n" + write_fields(*action_map_fields(kind.takes), &named, indent);
    default: {
      const std::size_t blank = action.text.find(' ');
      return (blank == std::string::npos ? "" : action.text.substr(blank)) + "\n";
    }
  }
}

}  // namespace

std::span<const ActionKind> action_table() { return kinds; }

const FieldTable& action_fields() {
  static const FieldTable table{"action", "One key says what is done, with a value where it has one; these say when, and what is expected.",
                                make_action_fields()};
  return table;
}

const FieldTable* action_map_fields(ActionValue takes) {
  static const FieldTable parameter{"set_parameter", "Which parameter is written while the controller runs, and what.",
                                    make_parameter_fields()};
  static const FieldTable shelf = make_shelf_fields(), output = make_output_fields(), edit = make_edit_fields(),
                          alarm{"alarm", "", {alarm_field()}},
                          gas{"gas", "", {gas_field()}};
  switch (takes) {
    case Takes::parameter: return &parameter;
    case Takes::shelf: return &shelf;
    case Takes::output: return &output;
    case Takes::segment: return &edit;
    case Takes::alarm: return &alarm;
    case Takes::gas: return &gas;
    default: return nullptr;
  }
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
      if ((k.takes == Takes::programme) != !action.programme.empty()) return false;
      if (k.command == fw::Command::force_output && (k.takes == Takes::gas) != (action.argument == fw::forced_gas)) return false;
      return k.command == action.command && (action.command != fw::Command::change_setpoint || k.argument == action.argument);
    });
    text += blanks + "- " + kind->name + ":" + written_deed(*kind, action, indent + 4);
    text += write_fields(action_fields(), &action, indent + 2);
  }
  return text;
}

}  // namespace sim
