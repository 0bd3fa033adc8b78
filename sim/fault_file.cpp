#include "sim/fault_file.h"

#include <algorithm>

#include <fmt/format.h>

#include "sim/moment.h"

namespace sim {

namespace {

using Values = std::vector<double>;

std::vector<std::string> words_of(std::string_view family) {
  const auto words = fault_words(family);
  return {words.begin(), words.end()};
}

std::vector<std::string> kind_names() {
  std::vector<std::string> names;
  for (const FaultKind& kind : fault_table()) names.emplace_back(kind.name);
  return names;
}

// "channel unit/s" of a pressure is Pa/s; a plain pressure is a difference.
std::string unit_for(std::string_view unit, int channel) {
  if (!unit.starts_with("channel unit")) return std::string(unit);
  const std::string own = channel < 0 ? "K" : channel_unit(channel);
  if (unit.ends_with("/s")) return own + "/s";
  return own == "Pa" ? "Pa diff" : own;
}

Field parameter_field(const FaultParameter& parameter, std::size_t index, int channel) {
  const auto at = [index](auto& values) -> auto& { return values[index]; };
  const std::string_view unit = parameter.unit;
  const std::vector<std::string> words = words_of(unit);
  if (!words.empty())
    return choice_field<Values>(parameter.name, at, words, words[static_cast<std::size_t>(parameter.preset)], parameter.meaning);
  if (unit == "zone" || unit == "count")
    return integer_field<Values>(parameter.name, at, parameter.low, parameter.high, text_of(parameter.preset), parameter.meaning);
  const std::string own = unit_for(unit, channel);
  return quantity_field<Values>(parameter.name, own, at, parameter.low, parameter.high, text_of(parameter.preset, own), parameter.meaning);
}

int channel_of(const FaultKind& kind, const Values& values) {
  for (std::size_t i = 0; i < kind.parameters.size(); ++i)
    if (std::string_view(kind.parameters[i].unit) == "channel") return static_cast<int>(values[i]);
  return -1;
}

// The channel stands first in the file's meaning: the units of the other parameters are its.
Values read_values(const FaultKind& kind, const YamlNode& map) {
  Values values(kind.parameters.size(), 0.0);
  int channel = -1;
  for (const FaultParameter& parameter : kind.parameters) {
    if (std::string_view(parameter.unit) != "channel") continue;
    const YamlNode* given = map.child("channel");
    const std::vector<std::string> names = words_of("channel");
    channel = static_cast<int>(parameter.preset);
    const auto found = given ? std::find(names.begin(), names.end(), given->text) : names.end();
    if (found != names.end()) channel = static_cast<int>(found - names.begin());
  }
  read_fields(map, fault_fields(kind, channel), &values);
  return values;
}

// "sensor_drift, channel: load, rate: 0.05 K/s"
std::string sentence_of(const FaultKind& kind, const Values& values) {
  std::string text = std::string(kind.name) + "\n" + write_fields(fault_fields(kind, channel_of(kind, values)), &values, 0);
  while (text.ends_with('\n')) text.pop_back();
  for (std::size_t at = text.find('\n'); at != std::string::npos; at = text.find('\n')) text.replace(at, 1, ", ");
  return text;
}

FieldTable make_time_table() {
  FieldTable table{"fault", "When a fault begins, and how long it stays.", {}};
  for (Field field : moment_fields()) {
    field.set = [set = field.set](void* fault, const FieldValue& value) { set(&static_cast<FaultSource*>(fault)->from, value); };
    field.get = [get = field.get](const void* fault, FieldValue& value) {
      return get(&static_cast<const FaultSource*>(fault)->from, value);
    };
    table.fields.push_back(std::move(field));
  }
  Field stays = quantity_field<FaultSource>("for", "s", [](auto& fault) -> auto& { return fault.for_s; }, 0.001, 30.0 * 86400.0, "",
                                            "how long it stays, with `random`: how long it may come; to the end if not given");
  table.fields.push_back(optional<FaultSource>(std::move(stays), [](const FaultSource& fault) { return fault.for_s >= 0.0; }));
  const auto by_chance = [&](const char* key, const char* unit, auto at, double low, double high, const char* meaning) {
    table.fields.push_back(optional<FaultSource>(quantity_field<FaultSource>(key, unit, at, low, high, "", meaning),
                                                 [](const FaultSource& fault) { return fault.chance.given(); }));
  };
  by_chance("random.rate", "1/s", [](auto& fault) -> auto& { return fault.chance.rate_per_s; }, 1e-6, 1.0,
            "arrivals by chance, without memory, so many in a time: `3 /h`");
  by_chance("random.shortest", "s", [](auto& fault) -> auto& { return fault.chance.shortest_s; }, 0.0, 86400.0,
            "each stays for a time drawn evenly between this");
  by_chance("random.longest", "s", [](auto& fault) -> auto& { return fault.chance.longest_s; }, 0.0, 86400.0, "and this");
  return table;
}

// All three of its keys, the bounds in order, and nothing beside it that says otherwise when it comes.
void check_chance(const YamlNode& item, const FaultSource& fault) {
  const YamlNode* random = item.child("random");
  if (!random) return;
  for (const char* key : {"rate", "shortest", "longest"})
    if (!random->child(key))
      throw InputError(random->place, fmt::format("`random` without `{}`", key), "rate, shortest and longest");
  if (fault.chance.longest_s < fault.chance.shortest_s)
    throw InputError(random->child("longest")->place, fmt::format("`longest` of {:g} s", fault.chance.longest_s),
                     fmt::format("at least `shortest`, {:g} s", fault.chance.shortest_s));
  for (const char* key : {"every", "times"})
    if (const YamlNode* other = item.child(key))
      throw InputError(other->place, fmt::format("`random` and `{}` together", key), "one of them");
}

FaultSource read_fault(const YamlNode& item, const Vocabulary& vocabulary) {
  const std::vector<std::string> names = kind_names();
  FaultSource fault;
  fault.place = item.place;
  fault.from.place = item.place;
  read_fields(item, fault_time_fields(), &fault, names);
  check_moment(item, fault.from, vocabulary);
  check_chance(item, fault);
  for (std::size_t i = 0; i < item.keys.size(); ++i) {
    const FaultKind* kind = find_fault(item.keys[i].text);
    if (!kind) continue;
    if (!fault.kind.empty())
      throw InputError(item.keys[i].place, "`" + item.keys[i].text + "` beside `" + fault.kind + "`", "one fault in an item");
    YamlNode map = item.items[i];
    if (map.is_text() && map.text.empty()) map.place = item.keys[i].place;
    fault.kind = kind->name;
    fault.place = item.keys[i].place;
    fault.values = read_values(*kind, map);
    fault.text = sentence_of(*kind, fault.values);
  }
  if (fault.kind.empty()) throw InputError(item.place, "a fault without a kind", "one of " + listed(names));
  return fault;
}

}  // namespace

FieldTable fault_fields(const FaultKind& kind, int channel) {
  FieldTable table{std::string(kind.name), kind.meaning, {}};
  for (std::size_t i = 0; i < kind.parameters.size(); ++i) table.fields.push_back(parameter_field(kind.parameters[i], i, channel));
  return table;
}

const FieldTable& fault_time_fields() {
  static const FieldTable table = make_time_table();
  return table;
}

std::vector<FaultSource> read_faults(const YamlNode& list, const Vocabulary& vocabulary) {
  if (!list.is_list()) throw InputError(list.place, list.found() + " for `faults`", "a list of faults");
  std::vector<FaultSource> faults;
  for (const YamlNode& item : list.items) {
    if (faults.size() == faults_max)
      throw InputError(item.place, fmt::format("fault {}", faults.size() + 1), fmt::format("at most {} faults", faults_max));
    faults.push_back(read_fault(item, vocabulary));
  }
  return faults;
}

std::string write_faults(const std::vector<FaultSource>& faults, int indent) {
  const std::string blanks(static_cast<std::size_t>(indent), ' ');
  std::string text;
  for (const FaultSource& fault : faults) {
    const FaultKind& kind = *find_fault(fault.kind);
    text += blanks + "- " + fault.kind + ":\n";
    text += write_fields(fault_fields(kind, channel_of(kind, fault.values)), &fault.values, indent + 4);
    text += write_fields(fault_time_fields(), &fault, indent + 2);
  }
  return text;
}

}  // namespace sim
