// Controller files (configs/controllers): the core's parameters as YAML. The keys are the names in fw::parameter_table.
#pragma once

#include <filesystem>
#include <string>

#include "firmware/parameters.h"
#include "sim/fields.h"

namespace sim {

struct ControllerFile {
  std::string title;
  fw::Parameters parameters = fw::default_parameters();
};

const FieldTable& controller_fields();

// Both throw InputError. A parameter that the file does not give has the core's preset.
ControllerFile read_controller(const YamlNode& map);
ControllerFile load_controller(const std::filesystem::path& file);

std::string write_controller(const ControllerFile& file, int indent);

}  // namespace sim
