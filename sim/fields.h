// One table per YAML kind: every key with its unit or type, preset, bounds and meaning, and how it gets into and out of the
// struct it describes. Loader, messages, resolved.yaml, documentation and JSON schema (schema.h) all come from these tables.
//
// Keys are dotted: "retort.volume" is the key `volume` in the map `retort`. Lists of maps (segments, faults, expectations)
// are tables of their own, read item by item.
#pragma once

#include <functional>
#include <set>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "sim/input_error.h"
#include "sim/units.h"
#include "sim/yaml_tree.h"

namespace sim {

enum class FieldType { quantity, integer, yes_no, choice, text, list };

// What stands behind one key, already checked: the member of it that the field's type says.
struct FieldValue {
  double number = 0.0;                 // quantity (in Field::unit), integer, yes_no (0 or 1), choice (its index)
  std::string text;                    // text; choice: the word
  std::vector<std::string> list;       // list of texts
  SourcePlace place;                   // of the value
};

struct Field {
  std::string key;                     // dotted
  FieldType type = FieldType::quantity;
  std::string unit;                    // quantity: unit of the member, and of resolved.yaml; "1" for a pure number
  bool required = false;
  std::string preset;                  // as a file would write it; empty: nothing stands there unless the file says so
  double low = 0.0, high = 0.0;        // quantity and integer, in `unit`, both inclusive
  bool single = false;                 // the member is a float: values are rounded to one before they are checked
  bool whole = false;                  // quantity: a whole number of `unit`
  bool bare = false;                   // text: may be a number without quotes
  std::vector<std::string> choices;    // choice
  std::string meaning;
  std::function<void(void*, const FieldValue&)> set;
  // false: leave the key out of resolved.yaml (an option that was not given)
  std::function<bool(const void*, FieldValue&)> get;
};

struct FieldTable {
  std::string kind;                    // "furnace", "controller", "soak segment", ...
  std::string meaning;
  std::vector<Field> fields;
};

// Reads every key of `map` into `object` by the table. `reserved`: top-level keys that the caller reads itself. Throws InputError
// for unknown keys, missing keys, wrong types, units, bounds. Returns the keys that the file gave.
std::set<std::string> read_fields(const YamlNode& map, const FieldTable& table, void* object,
                                  const std::vector<std::string>& reserved = {});
// The reverse: lines of YAML, each indented by `indent` blanks. `lead`: put before the first line instead of its indent ("- ").
std::string write_fields(const FieldTable& table, const void* object, int indent, std::string_view lead = "");
// A text in double quotes where YAML needs them.
std::string yaml_text(std::string_view text);

// --- building tables. `at` gives the member: [](auto& object) -> auto& { return object.member; } ---------------------------

template <class T, class At>
using MemberOf = std::remove_cvref_t<decltype(std::declval<At>()(std::declval<T&>()))>;

template <class T, class At>
Field field_at(FieldType type, std::string key, std::string unit, At at, std::string preset, std::string meaning) {
  using Member = MemberOf<T, At>;
  Field field;
  field.key = std::move(key);
  field.type = type;
  field.unit = std::move(unit);
  field.required = preset.empty();
  field.preset = std::move(preset);
  field.single = std::is_same_v<Member, float>;
  field.meaning = std::move(meaning);
  field.set = [at](void* object, const FieldValue& value) { at(*static_cast<T*>(object)) = static_cast<Member>(value.number); };
  field.get = [at](const void* object, FieldValue& value) {
    value.number = static_cast<double>(at(*static_cast<const T*>(object)));
    return true;
  };
  return field;
}

template <class T, class At>
Field quantity_field(std::string key, std::string unit, At at, double low, double high, std::string preset, std::string meaning) {
  Field field = field_at<T>(FieldType::quantity, std::move(key), std::move(unit), at, std::move(preset), std::move(meaning));
  field.low = low;
  field.high = high;
  return field;
}

template <class T, class At>
Field integer_field(std::string key, At at, double low, double high, std::string preset, std::string meaning) {
  Field field = field_at<T>(FieldType::integer, std::move(key), "1", at, std::move(preset), std::move(meaning));
  field.low = low;
  field.high = high;
  return field;
}

template <class T, class At>
Field yes_no_field(std::string key, At at, std::string preset, std::string meaning) {
  return field_at<T>(FieldType::yes_no, std::move(key), "", at, std::move(preset), std::move(meaning));
}

// The enumerators of the member are the places of the words in `choices`.
template <class T, class At>
Field choice_field(std::string key, At at, std::vector<std::string> choices, std::string preset, std::string meaning) {
  Field field = field_at<T>(FieldType::choice, std::move(key), "", at, std::move(preset), std::move(meaning));
  field.choices = std::move(choices);
  return field;
}

template <class T, class At>
Field text_field(std::string key, At at, bool required, std::string meaning) {
  Field field;
  field.key = std::move(key);
  field.type = FieldType::text;
  field.required = required;
  field.meaning = std::move(meaning);
  field.set = [at](void* object, const FieldValue& value) { at(*static_cast<T*>(object)) = value.text; };
  field.get = [at](const void* object, FieldValue& value) {
    value.text = at(*static_cast<const T*>(object));
    return !value.text.empty();
  };
  return field;
}

template <class T, class At>
Field list_field(std::string key, At at, std::string meaning) {
  Field field;
  field.key = std::move(key);
  field.type = FieldType::list;
  field.meaning = std::move(meaning);
  field.set = [at](void* object, const FieldValue& value) { at(*static_cast<T*>(object)) = value.list; };
  field.get = [at](const void* object, FieldValue& value) {
    value.list = at(*static_cast<const T*>(object));
    return !value.list.empty();
  };
  return field;
}

// An option that need not be given: it is, when `given` says so of the object. Only then it is written.
template <class T, class Given>
Field optional(Field field, Given given) {
  field.required = false;
  field.preset.clear();
  field.get = [get = field.get, given](const void* object, FieldValue& value) {
    return given(*static_cast<const T*>(object)) && get(object, value);
  };
  return field;
}

}  // namespace sim
