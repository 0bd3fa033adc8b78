// The cause-and-effect table as people read it: the rows of the core's own table (firmware/interlocks), the safe values of each
// atmosphere and the alarms. README, report and `saggar interlocks` print this and nothing else.
#pragma once

#include <string>
#include <vector>

namespace sim {

struct PrintedTable {
  std::string title;
  std::vector<std::string> heads;
  std::vector<std::vector<std::string>> rows;
};

std::vector<PrintedTable> cause_effect_tables();   // rows, safe values, alarms
std::string markdown_of(const PrintedTable& table, int level);
std::string html_of(const PrintedTable& table);    // a table that can be folded away

}  // namespace sim
