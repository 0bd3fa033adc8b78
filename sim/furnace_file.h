// Furnace files (configs/furnaces): plant::Furnace as YAML.
#pragma once

#include <filesystem>
#include <string>

#include "plant/furnace.h"
#include "sim/fields.h"

namespace sim {

struct FurnaceFile {
  std::string title;
  plant::Furnace furnace{};
};

const FieldTable& furnace_fields();

// Both throw InputError. What no single field can show (a retort that does not fit the heater chamber) is checked too.
FurnaceFile read_furnace(const YamlNode& map);
FurnaceFile load_furnace(const std::filesystem::path& file);

// InputError at the place for a text that is no composition of gases the plant can hold (plant/meter_gas.h).
void check_composition(const std::string& text, const SourcePlace& place);

// Every key, so that it reads back to the same furnace.
std::string write_furnace(const FurnaceFile& file, int indent);

}  // namespace sim
