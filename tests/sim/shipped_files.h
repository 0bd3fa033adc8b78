// A copy of configs/ in a scratch folder, in which a test may spoil one file at a time.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <functional>
#include <sstream>
#include <string>
#include <vector>

#include "sim/controller_file.h"
#include "sim/furnace_file.h"
#include "sim/log_mapping.h"
#include "sim/process_file.h"
#include "sim/scenario.h"
#include "sim/yaml_tree.h"
#include "tests/checkout.h"

namespace shipped {

inline std::string read(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

inline void write(const std::filesystem::path& file, const std::string& text) {
  std::filesystem::create_directories(file.parent_path());
  std::ofstream(file, std::ios::binary) << text;
}

inline std::filesystem::path scratch(const std::string& name) {
  // Of this build alone: two checkouts may be tested at once.
  const std::string build = std::to_string(std::hash<std::string>{}(build_folder));
  const std::filesystem::path folder = std::filesystem::path(testing::TempDir()) / ("saggar_" + name + "_" + build);
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  return folder;
}

inline std::filesystem::path copy_of_configs(const std::string& name) {
  const std::filesystem::path folder = scratch(name);
  std::filesystem::copy(std::filesystem::path(source_folder) / "configs", folder / "configs", std::filesystem::copy_options::recursive);
  return folder / "configs";
}

// Every YAML file below, furnaces, controllers, scenarios, mappings and processes.
inline std::vector<std::filesystem::path> yaml_files(const std::filesystem::path& configs) {
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(configs))
    if (entry.path().extension() == ".yaml") files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  return files;
}

// Loads by the folder it lies in.
inline void load(const std::filesystem::path& file) {
  const std::string path = file.generic_string();
  if (path.find("/furnaces/") != std::string::npos) (void)sim::load_furnace(file);
  else if (path.find("/controllers/") != std::string::npos) (void)sim::load_controller(file);
  else if (path.find("/mappings/") != std::string::npos) (void)sim::read_mapping_file(file);
  else if (path.find("/processes/") != std::string::npos) (void)sim::read_process_file(file);
  else (void)sim::load_scenario(file);
}

// Byte offset of a 1-based line and column.
inline std::size_t offset_of(const std::string& text, const sim::SourcePlace& place) {
  std::size_t at = 0;
  for (int line = 1; line < place.line; ++line) at = text.find('\n', at) + 1;
  return at + static_cast<std::size_t>(place.column) - 1;
}

}  // namespace shipped
