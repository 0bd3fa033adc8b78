// Single values of a YAML file replaced in its text: everything else, comments above all, stays as it was.
#pragma once

#include <string>
#include <vector>

namespace sim {

struct YamlEdit {
  std::string key;     // dotted: lining.material.conductivity
  std::string value;   // as YAML has it
  std::string remark;  // comment behind it, after what stands there already; one line
};

// The text with its edits. A key that it does not have is put at the beginning of the deepest map that it has of the path.
// Throws InputError where the text is no map or a value is one.
std::string edit_yaml(const std::string& text, const std::string& name, const std::vector<YamlEdit>& edits);

}  // namespace sim
