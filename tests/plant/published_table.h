// A table of published values from tests/reference (RFC 4180, header row first), read by column name.
#pragma once

#include <cstdint>
#include <fstream>
#include <iterator>
#include <map>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "tests/checkout.h"

class PublishedTable {
 public:
  using Row = std::map<std::string, std::string>;

  explicit PublishedTable(const std::string& name) {
    const std::string path = std::string(source_folder) + "/tests/reference/" + name;
    std::ifstream file(path, std::ios::binary);
    if (!file) throw std::runtime_error("cannot read " + path);
    const std::string text{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
    const auto records = split(text);
    for (std::size_t i = 1; i < records.size(); ++i) {
      Row row;
      for (std::size_t c = 0; c < records[0].size(); ++c) row[records[0][c]] = c < records[i].size() ? records[i][c] : "";
      rows_.push_back(row);
    }
  }

  // By value, so that a loop over a temporary table is sound.
  std::vector<Row> rows() const { return rows_; }

  static double number(const Row& row, const std::string& column) { return std::stod(row.at(column)); }

  // "11 03 00 6B" to bytes.
  static std::vector<std::uint8_t> bytes(const std::string& hex) {
    std::vector<std::uint8_t> out;
    std::istringstream words(hex);
    for (std::string word; words >> word;) out.push_back(static_cast<std::uint8_t>(std::stoul(word, nullptr, 16)));
    return out;
  }

 private:
  static std::vector<std::vector<std::string>> split(const std::string& text) {
    std::vector<std::vector<std::string>> records;
    std::vector<std::string> record;
    std::string cell;
    bool quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
      const char letter = text[i];
      if (quoted) {
        if (letter == '"' && i + 1 < text.size() && text[i + 1] == '"') cell += text[i++];
        else if (letter == '"') quoted = false;
        else cell += letter;
      } else if (letter == '"') {
        quoted = true;
      } else if (letter == ',' || letter == '\n') {
        record.push_back(cell);
        cell.clear();
        if (letter == '\n') {
          records.push_back(record);
          record.clear();
        }
      } else if (letter != '\r') {
        cell += letter;
      }
    }
    return records;
  }

  std::vector<Row> rows_;
};
