// Published values in tests/reference/, read as RFC 4180 text.
#pragma once

#include <cstdlib>
#include <fstream>
#include <map>
#include <sstream>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "tests/checkout.h"

class CsvTable {
 public:
  struct Row {
    const CsvTable* table;
    std::size_t index;
    const std::string& operator[](const std::string& column) const { return table->cell(index, column); }
    // Throws std::runtime_error when the cell is blank or no number ("inf" and "0x4B37" are numbers).
    double number(const std::string& column) const;
  };

  // File of tests/reference/ by name; throws std::runtime_error when it is missing, empty or ragged.
  explicit CsvTable(const std::string& name) : name_(name) {
    std::ifstream file(std::string(source_folder) + "/tests/reference/" + name, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    parse(text.str());
    if (!file || records_.size() < 2) throw std::runtime_error(name + ": missing or without rows");
    for (std::size_t i = 0; i < records_[0].size(); ++i) columns_[records_[0][i]] = i;
    for (const auto& record : records_) {
      if (record.size() != records_[0].size()) throw std::runtime_error(name + ": ragged row " + record[0]);
    }
    for (std::size_t i = 1; i < records_.size(); ++i) rows_.push_back({this, i});
  }
  CsvTable(const CsvTable&) = delete;
  CsvTable& operator=(const CsvTable&) = delete;

  const std::vector<Row>& rows() const { return rows_; }

 private:
  const std::string& cell(std::size_t index, const std::string& column) const {
    const auto found = columns_.find(column);
    if (found == columns_.end()) throw std::runtime_error(name_ + ": no column " + column);
    return records_[index][found->second];
  }

  void parse(const std::string& text) {
    std::vector<std::string> record;
    std::string field;
    bool quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
      const char c = text[i];
      if (quoted) {
        if (c != '"') field += c;
        else if (i + 1 < text.size() && text[i + 1] == '"') field += text[++i];
        else quoted = false;
      } else if (c == '"') {
        quoted = true;
      } else if (c == ',' || c == '\n') {
        record.push_back(std::exchange(field, {}));
        if (c == '\n') records_.push_back(std::exchange(record, {}));
      } else if (c != '\r') {
        field += c;
      }
    }
  }

  std::string name_;
  std::vector<std::vector<std::string>> records_;
  std::map<std::string, std::size_t> columns_;
  std::vector<Row> rows_;
};

inline double CsvTable::Row::number(const std::string& column) const {
  const std::string& text = (*this)[column];
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  if (text.empty() || *end != '\0') throw std::runtime_error(column + ": no number: '" + text + "'");
  return value;
}
