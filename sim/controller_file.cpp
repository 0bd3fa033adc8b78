#include "sim/controller_file.h"

#include <bit>
#include <cmath>
#include <cstdint>
#include <string_view>

#include "firmware/thermocouple.h"

namespace sim {

namespace {

constexpr std::string_view letters = fw::thermocouple_letters;

double stored(const void* object, const fw::ParameterInfo& info) {
  const std::uint32_t bits = fw::parameter_bits(static_cast<const ControllerFile*>(object)->parameters, info);
  return info.integer ? static_cast<double>(std::bit_cast<std::int32_t>(bits)) : static_cast<double>(std::bit_cast<float>(bits));
}

void put(void* object, const fw::ParameterInfo& info, double value) {
  const std::uint32_t bits = info.integer ? std::bit_cast<std::uint32_t>(static_cast<std::int32_t>(std::lround(value)))
                                          : std::bit_cast<std::uint32_t>(static_cast<float>(value));
  fw::set_parameter_bits(static_cast<ControllerFile*>(object)->parameters, info, bits);
}

// Field type and unit of an entry. A plain `Pa` in the core's table is a distance between pressures.
void set_type(Field& field, const fw::ParameterInfo& info) {
  const std::string_view unit = info.unit;
  if (unit == "yes/no") {
    field.type = FieldType::yes_no;
  } else if (unit == "letter") {
    field.type = FieldType::choice;
    for (const char letter : letters) field.choices.emplace_back(1, letter);
  } else if (info.integer && unit.empty()) {
    field.type = FieldType::integer;
    field.unit = "1";
  } else {
    field.type = FieldType::quantity;
    field.unit = unit.empty() ? "1" : unit == "Pa" ? "Pa diff" : std::string(unit);
    field.whole = info.integer;
    field.single = !info.integer;
  }
}

std::string preset_text(const Field& field, const fw::ParameterInfo& info) {
  switch (field.type) {
    case FieldType::yes_no: return info.preset != 0.0f ? "yes" : "no";
    case FieldType::choice: return {static_cast<char>(info.preset)};
    default: return text_of(info.preset, field.unit);
  }
}

Field parameter_field(const fw::ParameterInfo& info) {
  Field field;
  field.key = info.name;
  field.meaning = info.meaning;
  field.low = static_cast<double>(info.low);
  field.high = static_cast<double>(info.high);
  set_type(field, info);
  field.preset = preset_text(field, info);
  const bool letter = field.type == FieldType::choice;
  field.set = [info, letter](void* object, const FieldValue& value) {
    put(object, info, letter ? static_cast<double>(value.text.front()) : value.number);
  };
  field.get = [info, letter](const void* object, FieldValue& value) {
    const double number = stored(object, info);
    value.number = letter ? static_cast<double>(letters.find(static_cast<char>(number))) : number;
    return true;
  };
  return field;
}

FieldTable make_table() {
  FieldTable table{"controller", "The core's parameters. What is not given has the core's preset.", {}};
  table.fields.push_back(
      text_field<ControllerFile>("title", [](auto& file) -> auto& { return file.title; }, true, "what it is for, in a few words"));
  for (const fw::ParameterInfo& info : fw::parameter_table()) table.fields.push_back(parameter_field(info));
  return table;
}

}  // namespace

const FieldTable& controller_fields() {
  static const FieldTable table = make_table();
  return table;
}

ControllerFile read_controller(const YamlNode& map) {
  ControllerFile file;
  read_fields(map, controller_fields(), &file);
  const int bad = fw::first_bad_parameter(file.parameters);
  if (bad >= 0)      // the core's own check has the last word
    throw InputError(map.place, "a value of `" + std::string(fw::parameter_table()[static_cast<std::size_t>(bad)].name) +
                     "` that the core refuses", "a value within its bounds");
  return file;
}

ControllerFile load_controller(const std::filesystem::path& file) { return read_controller(read_yaml(file)); }

std::string write_controller(const ControllerFile& file, int indent) { return write_fields(controller_fields(), &file, indent); }

}  // namespace sim
