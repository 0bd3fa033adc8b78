// One table per YAML kind: every key with its unit or type, preset, bounds and meaning, and how it gets into and out of the
// struct it describes. Loader, messages, resolved.yaml, documentation and JSON schema all come from these tables.
//
// Keys are dotted: "retort.volume" is the key `volume` in the map `retort`. Lists of maps (segments, faults, expectations)
// are tables of their own, read item by item.
#pragma once

#include <cstdint>
#include <functional>
#include <limits>
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

// --- building tables ------------------------------------------------------------------------------------------------------

template <class T, class Member>
Field quantity_field(std::string key, std::string unit, Member T::*member, double low, double high, std::string preset,
                     std::string meaning) {
  Field field{std::move(key), FieldType::quantity, std::move(unit), preset.empty(), std::move(preset), low, high, {}, std::move(meaning), {}, {}};
  field.set = [member](void* object, const FieldValue& value) {
    static_cast<T*>(object)->*member = static_cast<Member>(value.number);
  };
  field.get = [member](const void* object, FieldValue& value) {
    const Member stored = static_cast<const T*>(object)->*member;
    if constexpr (std::is_same_v<Member, float>) value.text = text_of(stored);
    value.number = static_cast<double>(stored);
    return true;
  };
  return field;
}

template <class T, class Member>
Field integer_field(std::string key, Member T::*member, double low, double high, std::string preset, std::string meaning) {
  Field field = quantity_field<T, Member>(std::move(key), "1", member, low, high, std::move(preset), std::move(meaning));
  field.type = FieldType::integer;
  return field;
}

template <class T>
Field yes_no_field(std::string key, bool T::*member, std::string preset, std::string meaning) {
  Field field{std::move(key), FieldType::yes_no, "", preset.empty(), std::move(preset), 0.0, 1.0, {}, std::move(meaning), {}, {}};
  field.set = [member](void* object, const FieldValue& value) { static_cast<T*>(object)->*member = value.number != 0.0; };
  field.get = [member](const void* object, FieldValue& value) {
    value.number = static_cast<const T*>(object)->*member ? 1.0 : 0.0;
    return true;
  };
  return field;
}

template <class T, class Member>
Field choice_field(std::string key, Member T::*member, std::vector<std::string> choices, std::string preset, std::string meaning) {
  Field field{std::move(key), FieldType::choice, "", preset.empty(), std::move(preset), 0.0, 0.0, std::move(choices), std::move(meaning), {}, {}};
  field.set = [member](void* object, const FieldValue& value) {
    static_cast<T*>(object)->*member = static_cast<Member>(static_cast<int>(value.number));
  };
  field.get = [member](const void* object, FieldValue& value) {
    value.number = static_cast<double>(static_cast<int>(static_cast<const T*>(object)->*member));
    return true;
  };
  return field;
}

template <class T>
Field text_field(std::string key, std::string T::*member, bool required, std::string meaning) {
  Field field{std::move(key), FieldType::text, "", required, "", 0.0, 0.0, {}, std::move(meaning), {}, {}};
  field.set = [member](void* object, const FieldValue& value) { static_cast<T*>(object)->*member = value.text; };
  field.get = [member](const void* object, FieldValue& value) {
    value.text = static_cast<const T*>(object)->*member;
    return !value.text.empty();
  };
  return field;
}

// --- what else comes from the tables --------------------------------------------------------------------------------------

const FieldTable& furnace_fields();
const FieldTable& controller_fields();
const FieldTable& scenario_fields();
std::vector<FieldTable> segment_fields();      // one per segment kind
const FieldTable& action_fields();
const FieldTable& fault_fields();              // what every fault has; the parameters come from the fault table
const FieldTable& expectation_fields();

// JSON schema (draft 2020-12) of one kind of file: "furnace", "controller" or "scenario".
std::string json_schema(std::string_view kind);
// The tables as Markdown: key, unit or type, preset, bounds, meaning.
std::string fields_markdown();

}  // namespace sim
