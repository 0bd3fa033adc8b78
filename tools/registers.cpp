// saggar registers: both register maps, from the tables the code itself uses.
#include <cstdio>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "firmware/parameters.h"
#include "firmware/registers.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Row {
  std::string line, access, name, unit, type, meaning;
  unsigned address;
};

const char* name_of(fw::RegisterType type) {
  switch (type) {
    case fw::RegisterType::u16: return "u16";
    case fw::RegisterType::u32: return "u32";
    case fw::RegisterType::f32: return "f32";
  }
  return "";
}

void add(std::vector<Row>& rows, std::span<const fw::RegisterInfo> table) {
  for (const fw::RegisterInfo& info : table) {
    rows.push_back({"supervisory", info.writable ? "read/write" : "read", info.name, info.unit, name_of(info.type), info.meaning,
                    info.address});
  }
}

std::string bounds(const fw::ParameterInfo& info) {
  return fmt::format("{} ({:g} to {:g}, preset {:g})", info.meaning, info.low, info.high, info.preset);
}

std::vector<Row> all_rows() {
  std::vector<Row> rows;
  add(rows, fw::monitor_table());
  add(rows, fw::command_table());
  unsigned address = fw::parameter_address;
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    rows.push_back({"supervisory", "read/write", info.name, info.unit, info.integer ? "i32" : "f32", bounds(info), address});
    address += 2;
  }
  return rows;
}

std::string quoted(const std::string& text) {
  if (text.find_first_of(",\"\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

void print_csv(const std::vector<Row>& rows) {
  fmt::print("line,address,type,access,name,unit,meaning\n");
  for (const Row& row : rows) {
    fmt::print("{},0x{:04X},{},{},{},{},{}\n", row.line, row.address, row.type, row.access, quoted(row.name), quoted(row.unit),
               quoted(row.meaning));
  }
}

void print_markdown(const std::vector<Row>& rows) {
  std::string line;
  for (const Row& row : rows) {
    if (row.line != line) {
      line = row.line;
      fmt::print("\n## {} line\n\n| address | type | access | name | unit | meaning |\n| --- | --- | --- | --- | --- | --- |\n", line);
    }
    fmt::print("| 0x{:04X} | {} | {} | {} | {} | {} |\n", row.address, row.type, row.access, row.name, row.unit, row.meaning);
  }
}

void print_plain(const std::vector<Row>& rows) {
  std::string line;
  for (const Row& row : rows) {
    if (row.line != line) {
      line = row.line;
      fmt::print("{} line\n", line);
    }
    fmt::print("  0x{:04X} {:4} {:10} {:34} {:10} {}\n", row.address, row.type, row.access, row.name, row.unit, row.meaning);
  }
}

}  // namespace

void add_registers(CLI::App& app, Invocation& invocation) {
  struct Options {
    bool markdown = false, csv = false;
  };
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("registers", "print both register maps");
  CLI::Option* markdown = verb->add_flag("--markdown", options->markdown, "as Markdown tables");
  verb->add_flag("--csv", options->csv, "as comma-separated values")->excludes(markdown);
  verb->callback([options, &invocation] {
    invocation.chosen = [options] {
      const std::vector<Row> rows = all_rows();
      if (options->markdown) print_markdown(rows);
      else if (options->csv) print_csv(rows);
      else print_plain(rows);
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
