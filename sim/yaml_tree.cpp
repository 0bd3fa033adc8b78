#include "sim/yaml_tree.h"

#include <yaml-cpp/anchor.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <algorithm>
#include <charconv>
#include <fstream>
#include <sstream>
#include <utility>

namespace sim {

namespace {

// Length of the UTF-8 sequence at `i`, 0 if it is not one (overlong, surrogate, beyond U+10FFFF, cut short).
std::size_t utf8_length(std::string_view text, std::size_t i) {
  const auto byte = [&](std::size_t k) { return k < text.size() ? static_cast<unsigned char>(text[k]) : 0u; };
  const unsigned first = byte(i);
  if (first < 0x80) return 1;
  if (first < 0xC2 || first > 0xF4) return 0;
  const std::size_t length = first <= 0xDF ? 2 : first <= 0xEF ? 3 : 4;
  unsigned code = first & (0xFFu >> (length + 1));
  for (std::size_t k = 1; k < length; ++k) {
    if ((byte(i + k) & 0xC0u) != 0x80u) return 0;
    code = code << 6 | (byte(i + k) & 0x3Fu);
  }
  const unsigned least = length == 2 ? 0x80 : length == 3 ? 0x800 : 0x10000;
  if (code < least || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return 0;
  return length;
}

std::string hex(unsigned char byte) {
  constexpr char digits[] = "0123456789ABCDEF";
  return {digits[byte >> 4], digits[byte & 15]};
}

// Before the parser sees it: size, encoding, tabs and control characters, with line and column.
void check_bytes(std::string_view text, const std::string& name) {
  if (text.size() > yaml_bytes_max)
    throw InputError({name, 0, 0}, std::to_string(text.size()) + " bytes", "at most 1 MiB (1048576 bytes)");
  int line = 1, column = 1;
  for (std::size_t i = 0; i < text.size();) {
    const auto c = static_cast<unsigned char>(text[i]);
    const std::size_t length = utf8_length(text, i);
    const SourcePlace place{name, line, column};
    if (length == 0) throw InputError(place, "the byte 0x" + hex(c) + ", which is not UTF-8", "a text file in UTF-8");
    if (c == '\t') throw InputError(place, "a tab", "blanks");
    if ((c < 0x20 && c != '\n' && c != '\r') || c == 0x7F)
      throw InputError(place, "the control character 0x" + hex(c), "a text file in UTF-8");
    column = c == '\n' ? 1 : column + static_cast<int>(length);
    line += c == '\n' ? 1 : 0;
    i += length;
  }
}

// Builds the tree from the parser's events: these show what the parser's own nodes hide (duplicates, anchors, tags).
class TreeBuilder : public YAML::EventHandler {
 public:
  explicit TreeBuilder(std::string name) : name_(std::move(name)) {}
  bool complete() const { return have_root_; }
  YamlNode take() { return std::move(root_); }

  void OnDocumentStart(const YAML::Mark&) override {}
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override { OnScalar(mark, "?", anchor, ""); }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    throw InputError(place(mark), "an alias (*name)", "the value itself: anchors and aliases are not accepted");
  }
  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor, const std::string& value) override {
    check(mark, tag, anchor);
    YamlNode node;
    node.text = value;
    node.quoted = tag == "!";
    node.place = place(mark);
    put(std::move(node));
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor, YAML::EmitterStyle::value) override {
    open(mark, tag, anchor, YamlNode::Kind::list);
  }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor, YAML::EmitterStyle::value) override {
    open(mark, tag, anchor, YamlNode::Kind::map);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapEnd() override { close(); }

 private:
  SourcePlace place(const YAML::Mark& mark) const { return {name_, mark.line + 1, mark.column + 1}; }

  void check(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor) const {
    if (anchor != YAML::NullAnchor) throw InputError(place(mark), "an anchor (&name)",
        "a plain value: anchors and aliases are not accepted");
    if (!tag.empty() && tag != "?" && tag != "!") throw InputError(place(mark), "the tag " + tag, "a plain value: tags are not accepted");
  }

  void open(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor, YamlNode::Kind kind) {
    check(mark, tag, anchor);
    if (static_cast<int>(stack_.size()) >= yaml_depth_max)
      throw InputError(place(mark), "more than " + std::to_string(yaml_depth_max) + " levels", "a flatter file");
    if (key_expected()) throw InputError(place(mark), "a map or list as a key", "a plain text as a key");
    YamlNode node;
    node.kind = kind;
    node.place = place(mark);
    stack_.push_back(std::move(node));
  }

  void close() {
    YamlNode node = std::move(stack_.back());
    stack_.pop_back();
    put(std::move(node));
  }

  bool key_expected() const {
    return !stack_.empty() && stack_.back().is_map() && stack_.back().keys.size() == stack_.back().items.size();
  }

  void put(YamlNode node) {
    if (stack_.empty()) {
      root_ = std::move(node);
      have_root_ = true;
      return;
    }
    YamlNode& top = stack_.back();
    if (!key_expected()) {
      const bool nothing = node.is_text() && node.text.empty() && !node.quoted;
      if (nothing && top.is_map()) node.place = top.keys.back().place;      // the parser puts it at whatever comes next
      top.items.push_back(std::move(node));
      return;
    }
    if (node.text == "<<") throw InputError(node.place, "a merge key (<<)", "the keys themselves: merge keys are not accepted");
    const int earlier = top.find(node.text);
    if (earlier >= 0)
      throw InputError(node.place, "the key `" + node.text + "` a second time",
                       "each key once; the first stands in line " + std::to_string(top.keys[static_cast<std::size_t>(earlier)].place.line));
    top.keys.push_back(std::move(node));
  }

  std::string name_;
  std::vector<YamlNode> stack_;
  YamlNode root_;
  bool have_root_ = false;
};

// The node one step of a dotted path leads to; a missing key of a map is added.
YamlNode& step_into(YamlNode& node, const std::string& step, const SourcePlace& place) {
  if (node.is_text() && node.text.empty()) node.kind = YamlNode::Kind::map;
  if (node.is_map()) {
    const int index = node.find(step);
    if (index >= 0) return node.items[static_cast<std::size_t>(index)];
    YamlNode key, value;
    key.text = step;
    key.place = value.place = place;
    node.keys.push_back(std::move(key));
    node.items.push_back(std::move(value));
    return node.items.back();
  }
  if (!node.is_list()) throw InputError(place, "`" + step + "` below " + node.found(), "a path that ends there");
  std::vector<std::string> names;
  for (YamlNode& item : node.items) {
    const YamlNode* name = item.is_map() ? item.child("name") : nullptr;
    if (name && name->text == step) return item;
    if (name) names.push_back(name->text);
  }
  std::size_t index = 0;
  const auto [end, error] = std::from_chars(step.data(), step.data() + step.size(), index);
  if (error == std::errc() && end == step.data() + step.size() && index < node.items.size()) return node.items[index];
  throw InputError(place, "`" + step + "`",
      "the name of an item of the list, or its number from 0 to " + std::to_string(node.items.size()) + " - 1",
                   nearest_name(step, names));
}

}  // namespace

int YamlNode::find(std::string_view key) const {
  for (std::size_t i = 0; i < keys.size(); ++i)
    if (keys[i].text == key) return static_cast<int>(i);
  return -1;
}

const YamlNode* YamlNode::child(std::string_view key) const {
  const int index = find(key);
  return index < 0 ? nullptr : &items[static_cast<std::size_t>(index)];
}

std::string YamlNode::found() const {
  if (is_list()) return items.empty() ? "an empty list" : "a list";
  if (is_map()) return items.empty() ? "an empty map" : "a map";
  if (text.empty()) return "nothing";
  return "`" + (text.size() > 60 ? text.substr(0, 60) + "..." : text) + "`";
}

YamlNode parse_yaml(std::string_view text, const std::string& name) {
  check_bytes(text, name);
  std::istringstream stream{std::string(text)};
  TreeBuilder builder(name);
  try {
    YAML::Parser parser(stream);
    if (!parser.HandleNextDocument(builder) || !builder.complete()) throw InputError({name, 1, 1}, "an empty file", "a YAML map");
    YamlNode root = builder.take();
    TreeBuilder second(name);
    if (parser.HandleNextDocument(second) && second.complete()) {
      const YamlNode extra = second.take();
      throw InputError(extra.place, "a second document", "one document in a file");
    }
    return root;
  } catch (const YAML::Exception& error) {
    throw InputError({name, std::max(error.mark.line, 0) + 1, std::max(error.mark.column, 0) + 1},
        "text that is not YAML (" + error.msg + ")", "YAML");
  }
}

YamlNode read_yaml(const std::filesystem::path& file) {
  const std::string name = file.generic_string();
  std::error_code error;
  if (std::filesystem::is_directory(file, error)) throw InputError({name, 0, 0}, "a directory", "a YAML file");
  std::ifstream stream(file, std::ios::binary);
  if (!stream) throw InputError({name, 0, 0}, "no readable file of this name", "a YAML file");
  std::string text(yaml_bytes_max + 1, '\0');
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(stream.gcount()));
  if (text.size() > yaml_bytes_max) {
    const auto size = std::filesystem::file_size(file, error);
    throw InputError({name, 0, 0}, error ? "more than 1 MiB" : std::to_string(size) + " bytes", "at most 1 MiB (1048576 bytes)");
  }
  return parse_yaml(text, name);
}

void set_in_yaml(YamlNode& root, const std::string& path, const std::string& value, const SourcePlace& place) {
  YamlNode* node = &root;
  for (std::size_t begin = 0; begin <= path.size();) {
    const std::size_t end = std::min(path.find('.', begin), path.size());
    const std::string step = path.substr(begin, end - begin);
    if (step.empty()) throw InputError(place, "an empty step in the path `" + path + "`", "key.key");
    node = &step_into(*node, step, place);
    begin = end + 1;
  }
  if (!node->is_text()) throw InputError(place, node->found() + " at `" + path + "`", "a path to a single value");
  node->text = value;
  node->quoted = false;
  node->place = place;
}

void set_in_yaml(YamlNode& root, const std::string& assignment) {
  const SourcePlace place{"--set " + assignment, 0, 0};
  const std::size_t equals = assignment.find('=');
  if (equals == std::string::npos || equals == 0) throw InputError(place, "no `path=value`",
      "for example `furnace.surroundings.barometer=98 kPa abs`");
  set_in_yaml(root, assignment.substr(0, equals), assignment.substr(equals + 1), place);
}

namespace {

void patch_below(YamlNode& root, const YamlNode& changes, const std::string& path) {
  if (!changes.is_map()) throw InputError(changes.place, changes.found(), "a map of path: value");
  for (std::size_t i = 0; i < changes.keys.size(); ++i) {
    const YamlNode& value = changes.items[i];
    const std::string below = path + changes.keys[i].text;
    if (value.is_map()) {
      patch_below(root, value, below + ".");
    } else if (value.is_text()) {
      set_in_yaml(root, below, value.text, value.place);
    } else if (root.find(below) >= 0) {
      root.items[static_cast<std::size_t>(root.find(below))] = value;
    } else if (below.find('.') == std::string::npos) {
      root.keys.push_back(changes.keys[i]);
      root.items.push_back(value);
    } else {
      throw InputError(value.place, "a list at `" + below + "`", "single values, or a list for a whole section such as `faults`");
    }
  }
}

}  // namespace

void patch_yaml(YamlNode& root, const YamlNode& changes) { patch_below(root, changes, ""); }

}  // namespace sim
