// Parameters of a furnace file that lie outside what handbooks and published lists give. Outside is not wrong: it is a remark that
// somebody should be able to answer.
#pragma once

#include <string>
#include <vector>

#include "plant/furnace.h"
#include "sim/input_error.h"
#include "sim/yaml_tree.h"

namespace sim {

struct HandbookRemark {
  SourcePlace place;                   // of the value in the file
  std::string key;                     // "lining.material.conductivity"
  double value = 0.0;                  // what was looked at, in `unit`
  double low = 0.0, high = 0.0;        // the range, its tolerance included
  std::string unit;
  std::string at;                      // "at 800 degC" where the value depends on temperature
  std::string source;
};

// Only keys that the file gives are looked at: presets are the demo furnace's, whose sources stand in its file.
std::vector<HandbookRemark> handbook_remarks(const plant::Furnace& furnace, const YamlNode& root);
std::string sentence(const HandbookRemark& remark);          // "file:line:column: ..."

}  // namespace sim
