// A YAML file as a plain tree in which every node knows its place. It is the part of YAML that a person can read without
// surprises: maps, lists and texts. Anchors, aliases, merge keys, tags, tabs, duplicate keys and more than one document are
// refused, as are bytes that are not UTF-8 and files larger than 1 MiB (before parsing).
#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "sim/input_error.h"

namespace sim {

inline constexpr std::size_t yaml_bytes_max = 1u << 20;
inline constexpr int yaml_depth_max = 16;

struct YamlNode {
  enum class Kind { text, list, map };
  Kind kind = Kind::text;
  std::string text;                    // Kind::text; an empty value is an empty plain text
  bool quoted = false;
  SourcePlace place;                   // of the value's first character
  std::vector<YamlNode> items;         // list; map: the values
  std::vector<YamlNode> keys;          // map: the keys, in the same order, all Kind::text

  bool is_map() const { return kind == Kind::map; }
  bool is_list() const { return kind == Kind::list; }
  bool is_text() const { return kind == Kind::text; }
  // Index of a key in a map, -1 if there is none.
  int find(std::string_view key) const;
  const YamlNode* child(std::string_view key) const;
  std::string found() const;           // for messages: "a list", "a map", "the text `4 kPa`", "nothing"
};

// Throws InputError. `name` stands for the file in messages.
YamlNode parse_yaml(std::string_view text, const std::string& name);
YamlNode read_yaml(const std::filesystem::path& file);

// Sets the value at a dotted path (items of a list by number from 0 or by their `name`), adding a key where there is none.
// `place` becomes that of what is set. Throws InputError.
void set_in_yaml(YamlNode& root, const std::string& path, const std::string& value, const SourcePlace& place);
// The same from "path=value", as a command line gives it.
void set_in_yaml(YamlNode& root, const std::string& assignment);

// A file of changes: every single value in it is set at its path, keys nested or dotted; a list replaces what stands at its
// path. Throws InputError with the place in the file.
void patch_yaml(YamlNode& root, const YamlNode& changes);

}  // namespace sim
