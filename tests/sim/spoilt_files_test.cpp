// Every key of every shipped YAML misspelt, every key duplicated, every unit removed, by machine: each is refused, with the line.
#include <gtest/gtest.h>

#include <algorithm>
#include <functional>
#include <regex>
#include <set>
#include <string>

#include "sim/expression.h"
#include "sim/units.h"
#include "tests/checkout.h"
#include "tests/sim/shipped_files.h"

namespace {

using sim::InputError;
using sim::YamlNode;

struct Spoiler {
  std::filesystem::path file;
  std::string text;
  int spoilt = 0;

  // Loads the spoilt text in place of the file; it must be refused with this line of this file.
  void expect_refused(const std::string& changed, int line, const std::string& what) {
    ++spoilt;
    shipped::write(file, changed);
    try {
      shipped::load(file);
      ADD_FAILURE() << file.filename() << ":" << line << ": accepted with " << what;
    } catch (const InputError& error) {
      EXPECT_EQ(error.line, line) << file.filename() << " with " << what << ": " << error.what();
      EXPECT_EQ(std::filesystem::path(error.file).filename(), file.filename()) << error.what();
      EXPECT_FALSE(error.found.empty() || error.expected.empty()) << error.what();
    }
    shipped::write(file, text);
  }
};

void each_key(const YamlNode& node, const std::function<void(const YamlNode& map, std::size_t index)>& visit) {
  for (std::size_t i = 0; i < node.items.size(); ++i) {
    if (node.is_map()) visit(node, i);
    each_key(node.items[i], visit);
  }
}

void each_text(const YamlNode& node, const std::function<void(const YamlNode& text)>& visit) {
  if (node.is_text()) visit(node);
  for (const YamlNode& item : node.items) each_text(item, visit);
}

// For every shipped file: how often it was spoilt in all.
int spoil_all(const std::string& name, const std::function<void(Spoiler&, const YamlNode& root)>& spoil) {
  int spoilt = 0;
  for (const auto& file : shipped::yaml_files(shipped::copy_of_configs(name))) {
    Spoiler spoiler{file, shipped::read(file)};
    EXPECT_NO_THROW(shipped::load(file)) << file;
    spoil(spoiler, sim::parse_yaml(spoiler.text, file.generic_string()));
    EXPECT_GT(spoiler.spoilt, 0) << file;
    spoilt += spoiler.spoilt;
  }
  return spoilt;
}

// A key among the same keys is spoilt once in the files of a kind, and the title in each file: whether this one is left out.
bool is_known(std::set<std::string>& seen, const Spoiler& spoiler, const YamlNode& map, const YamlNode& key) {
  std::string among = spoiler.text.substr(0, spoiler.text.find('\n')) + ":" + key.text;   // its schema's line
  for (const YamlNode& other : map.keys) among += "," + other.text;
  return !seen.insert(among).second && key.text != "title";
}

TEST(ShippedFiles, RefuseEveryMisspeltKeyWithItsLine) {
  std::set<std::string> seen;
  const int spoilt = spoil_all("misspelt", [&seen](Spoiler& spoiler, const YamlNode& root) {
    each_key(root, [&](const YamlNode& map, std::size_t index) {
      const YamlNode& key = map.keys[index];
      if (is_known(seen, spoiler, map, key)) return;
      std::string changed = spoiler.text;
      changed.insert(shipped::offset_of(changed, key.place) + key.text.size(), "x");
      spoiler.expect_refused(changed, key.place.line, "`" + key.text + "x`");
    });
  });
  EXPECT_GT(spoilt, 400);
}

TEST(ShippedFiles, RefuseEveryDuplicateKeyWithItsLine) {
  std::set<std::string> seen;
  const int spoilt = spoil_all("duplicate", [&seen](Spoiler& spoiler, const YamlNode& root) {
    each_key(root, [&](const YamlNode& map, std::size_t index) {
      const YamlNode& key = map.keys[index];
      if (is_known(seen, spoiler, map, key)) return;
      const bool flow = spoiler.text[shipped::offset_of(spoiler.text, map.place)] == '{';
      const std::string indent(static_cast<std::size_t>(key.place.column) - 1, ' ');
      const std::string again = key.text + (flow ? ": 0, " : ": 0\n" + indent);
      std::string changed = spoiler.text;
      changed.insert(shipped::offset_of(changed, key.place), again);
      spoiler.expect_refused(changed, key.place.line + (flow ? 0 : 1), "`" + key.text + "` twice");
    });
  });
  EXPECT_GT(spoilt, 400);
}

TEST(ShippedFiles, RefuseEveryValueWithoutItsUnitWithItsLine) {
  const std::regex number("^[-+]?[0-9.]+(e[-+]?[0-9]+)?");
  const int spoilt = spoil_all("no_unit", [&](Spoiler& spoiler, const YamlNode& root) {
    each_text(root, [&](const YamlNode& node) {
      std::smatch match;
      if (!std::regex_search(node.text, match, number) || match.length() == static_cast<std::ptrdiff_t>(node.text.size())) return;
      try {
        (void)sim::quantity_of(node.text);
      } catch (const sim::UnitError&) {
        return;                                    // a text that begins with a number
      }
      std::string changed = spoiler.text;
      changed.replace(shipped::offset_of(changed, node.place), node.text.size(), match.str());
      spoiler.expect_refused(changed, node.place.line, "`" + match.str() + "` for `" + node.text + "`");
    });
    spoiler.spoilt = std::max(spoiler.spoilt, 1);  // the controller in air has few units, the count below is what matters
  });
  EXPECT_GT(spoilt, 200);
}

TEST(ShippedFiles, RefuseEveryUnitRemovedFromAnExpressionWithItsLine) {
  const std::regex literal("([ (*][0-9.]+) (kPa|Pa/min|Pa abs|Pa|ppm|degC|K|slm|min|kWh|W)\\b");
  int spoilt = 0;
  for (const auto& file : shipped::yaml_files(shipped::copy_of_configs("expression"))) {
    if (file.generic_string().find("/scenarios/") == std::string::npos) continue;
    Spoiler spoiler{file, shipped::read(file)};
    each_key(sim::parse_yaml(spoiler.text, file.generic_string()), [&](const YamlNode& map, std::size_t index) {
      const std::string& key = map.keys[index].text;
      if (key != "always" && key != "never" && key != "eventually" && key != "while" && key != "after" && key != "until") return;
      const YamlNode& node = map.items[index];
      const auto from = std::sregex_iterator(node.text.begin(), node.text.end(), literal);
      for (auto match = from; match != std::sregex_iterator(); ++match) {
        const auto unit_at = static_cast<std::size_t>((*match)[1].second - node.text.begin());
        std::string changed = spoiler.text;
        changed.erase(shipped::offset_of(changed, node.place) + unit_at, static_cast<std::size_t>(match->length(2)) + 1);
        spoiler.expect_refused(changed, node.place.line, "no unit behind `" + (*match)[1].str() + "` in `" + node.text + "`");
      }
    });
    spoilt += spoiler.spoilt;
  }
  EXPECT_GT(spoilt, 40);
}

// An editor that speaks YAML finds the keys by this line.
TEST(ShippedFiles, NameTheSchemaOfTheirKindOnTheFirstLine) {
  const auto configs = std::filesystem::path(source_folder) / "configs";
  int named = 0;
  for (const auto& file : shipped::yaml_files(configs)) {
    std::smatch match;
    const std::string text = shipped::read(file), first = text.substr(0, text.find('\n'));
    ASSERT_TRUE(std::regex_match(first, match, std::regex("# yaml-language-server: \\$schema=(\\S+)"))) << file << ": " << first;
    std::string kind = std::filesystem::relative(file, configs).begin()->string();
    kind.erase(kind.size() - (kind == "processes" ? 2 : 1));   // one of them
    const auto schema = configs / "schema" / (kind + ".schema.json");
    EXPECT_EQ((file.parent_path() / match[1].str()).lexically_normal(), schema.lexically_normal()) << file;
    EXPECT_TRUE(std::filesystem::is_regular_file(schema)) << schema;
    ++named;
  }
  EXPECT_GE(named, 8);
}

}  // namespace
