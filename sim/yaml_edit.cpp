#include "sim/yaml_edit.h"

#include <algorithm>
#include <string_view>

#include "sim/yaml_tree.h"

namespace sim {

namespace {

struct Lines {
  std::vector<std::string> lines;
  bool ended = false;  // by a line end

  explicit Lines(const std::string& text) {
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = std::min(text.find('\n', at), text.size());
      lines.push_back(text.substr(at, end - at));
      ended = end < text.size();
      at = end + 1;
    }
  }
  std::string text() const {
    std::string all;
    for (std::size_t i = 0; i < lines.size(); ++i) all += lines[i] + (i + 1 < lines.size() || ended ? "\n" : "");
    return all;
  }
  std::string& at(const SourcePlace& place) { return lines.at(static_cast<std::size_t>(place.line) - 1); }
};

// Where the comment of a line begins, npos: it has none. A # within quotes is none.
std::size_t comment_of(const std::string& line) {
  char quote = '\0';
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (quote != '\0')
      quote = line[i] == quote ? '\0' : quote;
    else if (line[i] == '"' || line[i] == '\'')
      quote = line[i];
    else if (line[i] == '#' && (i == 0 || line[i - 1] == ' '))
      return i;
  }
  return std::string::npos;
}

void add_remark(std::string& line, const std::string& remark) {
  if (remark.empty()) return;
  const bool carriage = line.ends_with('\r');
  if (carriage) line.pop_back();
  line += (comment_of(line) == std::string::npos ? "   # " : "; ") + remark + (carriage ? "\r" : "");
}

// Length of the value's text in its line.
std::size_t length_of(const YamlNode& node, const std::string& line, const std::string& key) {
  const auto from = static_cast<std::size_t>(node.place.column) - 1;
  if (node.quoted) {
    const std::size_t end = line.find(line[from], from + 1);
    if (end != std::string::npos) return end - from + 1;
  } else if (line.compare(from, node.text.size(), node.text) == 0) {
    return node.text.size();
  }
  throw InputError(node.place, node.found() + " for `" + key + "`, over more than a line", "a value in one line");
}

void replace(Lines& lines, const YamlNode& node, const YamlEdit& edit) {
  std::string& line = lines.at(node.place);
  line.replace(static_cast<std::size_t>(node.place.column) - 1, length_of(node, line, edit.key), edit.value);
  add_remark(line, edit.remark);
}

// `path` below `map`, which has not got its first part.
void insert(Lines& lines, const YamlNode& map, std::string path, const YamlEdit& edit) {
  if (map.keys.empty())
    throw InputError(map.place, map.found(), "a map that has a key already, to put `" + edit.key + "` before it");
  const SourcePlace& first = map.keys.front().place;
  std::string& line = lines.at(first);
  const auto column = static_cast<std::size_t>(first.column) - 1;
  std::string flow, close;
  if (line.find_first_not_of(' ') == column) {  // a block: lines of its own, nested as they must be
    std::string indent(column, ' ');
    std::vector<std::string> added;
    for (std::size_t dot = path.find('.'); dot != std::string::npos; dot = path.find('.')) {
      added.push_back(indent + path.substr(0, dot) + ":");
      path.erase(0, dot + 1);
      indent += "  ";
    }
    added.push_back(indent + path + ": " + edit.value);
    add_remark(added.back(), edit.remark);
    lines.lines.insert(lines.lines.begin() + first.line - 1, added.begin(), added.end());
    return;
  }
  for (std::size_t dot = path.find('.'); dot != std::string::npos; dot = path.find('.')) {
    flow += path.substr(0, dot) + ": {";
    close += "}";
    path.erase(0, dot + 1);
  }
  line.insert(column, flow + path + ": " + edit.value + close + ", ");
  add_remark(line, edit.remark);
}

void apply(Lines& lines, const YamlNode& root, const YamlEdit& edit) {
  const YamlNode* map = &root;
  std::string path = edit.key;
  for (;;) {
    if (!map->is_map()) throw InputError(map->place, map->found() + " on the way to `" + edit.key + "`", "a map");
    const std::size_t dot = std::min(path.find('.'), path.size());
    const YamlNode* child = map->child(path.substr(0, dot));
    if (child == nullptr) return insert(lines, *map, path, edit);
    if (dot == path.size()) {
      if (!child->is_text()) throw InputError(child->place, child->found() + " for `" + edit.key + "`", "a single value");
      return replace(lines, *child, edit);
    }
    map = child;
    path.erase(0, dot + 1);
  }
}

}  // namespace

std::string edit_yaml(const std::string& text, const std::string& name, const std::vector<YamlEdit>& edits) {
  std::string now = text;
  for (const YamlEdit& edit : edits) {
    Lines lines(now);
    apply(lines, parse_yaml(now, name), edit);
    now = lines.text();
  }
  return now;
}

}  // namespace sim
