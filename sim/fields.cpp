#include "sim/fields.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace sim {

namespace {

using Rows = std::vector<const Field*>;

std::string head_of(std::string_view key) { return std::string(key.substr(0, key.find('.'))); }

// The keys that may stand directly in the map at `prefix`.
std::vector<std::string> keys_below(const FieldTable& table, const std::string& prefix) {
  std::vector<std::string> keys;
  for (const Field& field : table.fields) {
    if (!field.key.starts_with(prefix)) continue;
    const std::string key = head_of(std::string_view(field.key).substr(prefix.size()));
    if (std::find(keys.begin(), keys.end(), key) == keys.end()) keys.push_back(key);
  }
  return keys;
}

std::string limit_text(const Field& field, double limit) {
  return field.single ? text_of(static_cast<float>(limit), field.unit) : text_of(limit, field.unit);
}

std::string what_is(const Field& field) {
  switch (field.type) {
    case FieldType::quantity: return field.unit == "1" ? "a number" : "a value with its unit (" + field.unit + ")";
    case FieldType::integer: return "a whole number";
    case FieldType::yes_no: return "yes or no";
    case FieldType::choice: return "one of " + listed(field.choices);
    case FieldType::text: return "a text";
    case FieldType::list: return "a text or a list of texts";
  }
  return "";
}

double checked_number(const Field& field, const YamlNode& node) {
  double value = 0.0;
  if (field.type == FieldType::integer) {
    const std::optional<double> number = number_of(node.text);
    if (!number || *number != std::floor(*number))
      throw InputError(node.place, node.found() + " for `" + field.key + "`",
          "a whole number, " + text_of(field.low) + " to " + text_of(field.high));
    value = *number;
  } else {
    try {
      value = value_in(node.text, unit_of(field.unit));
    } catch (const UnitError& error) {
      throw InputError(node.place, error.found + " for `" + field.key + "`", error.expected, error.nearest);
    }
  }
  if (field.single) value = static_cast<double>(static_cast<float>(value));
  if (field.whole && std::fabs(value - std::round(value)) > 1e-9)
    throw InputError(node.place, node.found() + " for `" + field.key + "`", "a whole number of " + field.unit);
  if (!(value >= field.low && value <= field.high))
    throw InputError(node.place, node.found() + " for `" + field.key + "`", limit_text(field, field.low) + " to " + limit_text(field,
        field.high));
  return value;
}

std::string stripped(std::string text) {
  while (!text.empty() && (text.back() == '\n' || text.back() == ' ')) text.pop_back();
  return text;
}

FieldValue read_value(const Field& field, const YamlNode& node) {
  FieldValue value;
  value.place = node.place;
  if (field.type == FieldType::list && node.is_list()) {
    for (const YamlNode& item : node.items) {
      if (!item.is_text() || item.text.empty()) throw InputError(item.place, item.found() + " in the list `" + field.key + "`", "a text");
      value.list.push_back(item.text);
    }
    if (value.list.empty()) throw InputError(node.place, "an empty list for `" + field.key + "`", "at least one entry");
    return value;
  }
  if (!node.is_text() || (node.text.empty() && !node.quoted))
    throw InputError(node.place, node.found() + " for `" + field.key + "`", what_is(field));
  switch (field.type) {
    case FieldType::quantity:
    case FieldType::integer: value.number = checked_number(field, node); break;
    case FieldType::yes_no:
      if (node.text != "yes" && node.text != "no" && node.text != "true" && node.text != "false")
        throw InputError(node.place, node.found() + " for `" + field.key + "`", "yes or no", nearest_name(node.text, {"yes", "no"}));
      value.number = node.text == "yes" || node.text == "true" ? 1.0 : 0.0;
      break;
    case FieldType::choice: {
      const auto found = std::find(field.choices.begin(), field.choices.end(), node.text);
      if (found == field.choices.end())
        throw InputError(node.place, node.found() + " for `" + field.key + "`", what_is(field), nearest_name(node.text, field.choices));
      value.number = static_cast<double>(found - field.choices.begin());
      value.text = node.text;
      break;
    }
    case FieldType::text: value.text = stripped(node.text); break;
    case FieldType::list: value.list.push_back(node.text); break;
  }
  return value;
}

struct Reader {
  const FieldTable& table;
  void* object;
  const std::vector<std::string>& reserved;
  std::set<std::string> given{};

  const Field* find(const std::string& key) const {
    for (const Field& field : table.fields)
      if (field.key == key) return &field;
    return nullptr;
  }

  void read(const YamlNode& map, const std::string& prefix) {
    std::vector<std::string> known = keys_below(table, prefix);
    if (prefix.empty()) known.insert(known.end(), reserved.begin(), reserved.end());
    if (!map.is_map() && !(map.is_text() && map.text.empty())) {
      const std::string what = prefix.empty() ? "the " + table.kind : "`" + prefix.substr(0, prefix.size() - 1) + "`";
      throw InputError(map.place, map.found() + " for " + what, "a map with the keys " + listed(known));
    }
    for (const YamlNode& key : map.keys)
      if (std::find(known.begin(), known.end(), key.text) == known.end())
        throw InputError(key.place, "the unknown key `" + prefix + key.text + "` in the " + table.kind, "one of " + listed(known),
                         nearest_name(key.text, known));
    for (std::size_t i = 0; i < map.keys.size(); ++i) {
      const std::string key = prefix + map.keys[i].text;
      if (const Field* field = find(key)) {
        field->set(object, read_value(*field, map.items[i]));
        given.insert(key);
      } else if (!prefix.empty() || std::find(reserved.begin(), reserved.end(), key) == reserved.end()) {
        read(map.items[i], key + ".");
      }
    }
  }

  void complete(const SourcePlace& place) {
    for (const Field& field : table.fields) {
      if (given.contains(field.key)) continue;
      if (field.required)
        throw InputError(place, "no `" + field.key + "` in the " + table.kind,
            "`" + field.key + "`: " + what_is(field) + " (" + field.meaning + ")");
      if (field.preset.empty()) continue;
      YamlNode preset;
      preset.text = field.preset;
      preset.place = {"preset of " + field.key, 0, 0};
      field.set(object, read_value(field, preset));
    }
  }
};

std::string value_text(const Field& field, const FieldValue& value) {
  switch (field.type) {
    case FieldType::quantity: {
      return field.single ? text_of(static_cast<float>(value.number), field.unit) : text_of(value.number, field.unit);
    }
    case FieldType::integer: return text_of(value.number);
    case FieldType::yes_no: return value.number != 0.0 ? "yes" : "no";
    case FieldType::choice: return field.choices[static_cast<std::size_t>(value.number)];
    case FieldType::text: return yaml_text(value.text);
    case FieldType::list: {
      std::string text;
      for (const std::string& item : value.list) text += (text.empty() ? "" : ", ") + yaml_text(item);
      return "[" + text + "]";
    }
  }
  return "";
}

// Writes the fields below `prefix`, one level of the map.
void write_level(const FieldTable& table, const void* object, const std::string& prefix, int indent, std::string& out) {
  for (const std::string& key : keys_below(table, prefix)) {
    const std::string whole = prefix + key;
    const std::string blanks(static_cast<std::size_t>(indent), ' ');
    const auto field = std::find_if(table.fields.begin(), table.fields.end(), [&](const Field& f) { return f.key == whole; });
    if (field != table.fields.end()) {
      FieldValue value;
      if (field->get(object, value)) out += blanks + key + ": " + value_text(*field, value) + "\n";
      continue;
    }
    std::string below;
    write_level(table, object, whole + ".", indent + 2, below);
    if (!below.empty()) out += blanks + key + ":\n" + below;
  }
}

}  // namespace

std::set<std::string> read_fields(const YamlNode& map, const FieldTable& table, void* object,
                                  const std::vector<std::string>& reserved) {
  Reader reader{table, object, reserved};
  reader.read(map, "");
  reader.complete(map.place);
  return reader.given;
}

std::string write_fields(const FieldTable& table, const void* object, int indent, std::string_view lead) {
  std::string text;
  write_level(table, object, "", indent, text);
  if (!lead.empty() && text.size() >= lead.size()) text.replace(static_cast<std::size_t>(indent) - lead.size(), lead.size(), lead);
  return text;
}

std::string yaml_text(std::string_view text) {
  const auto plain_char = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || std::string_view(" _.-/").find(c) < 5;
  };
  const auto letter = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); };
  if (!text.empty() && letter(text.front()) && text.back() != ' ' && std::all_of(text.begin(), text.end(), plain_char) &&
      text != "null" && text != "Null" && text != "NULL")
    return std::string(text);
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') quoted += '\\';
    if (c == '\n') quoted += "\\n";
    else if (c != '\r') quoted += c;
  }
  return quoted + "\"";
}

}  // namespace sim
