// What the field tables say, for people and for editors: JSON schema per kind of file, and the tables as Markdown.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace sim {

std::vector<std::string> schema_kinds();                  // "furnace", "controller", "scenario", "mapping", "process"
// Draft 2020-12, indented. Throws std::invalid_argument for another kind. Kept in configs/schema; a test compares.
std::string json_schema(std::string_view kind);
// Every table: key, what it takes, preset, bounds, meaning.
std::string fields_markdown();

}  // namespace sim
