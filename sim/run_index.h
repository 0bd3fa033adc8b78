// What the runs of a folder came to, in the three files that stand above their results: junit.xml, index.html, summary.json.
// Nothing in them depends on the clock or on how many ran at a time.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "sim/summary.h"

namespace sim {

// One scenario of the folder.
struct IndexEntry {
  std::string path;              // below the folder, without ".yaml": "cycles/air_cycle"; its results lie at the same path
  std::string refused;           // why there is no result: the file was refused, could not be run, or was not reached
  Summary summary;               // meaningless when refused
};

// The expectation that was tightest, held against its own scale. One that was never judged is tighter than any other.
struct Tightest {
  const ExpectationResult* result = nullptr;   // null: there is none
  double relative = 0.0;                       // margin over scale; the bare margin where there is no scale; -inf never judged
};
Tightest tightest_of(const Summary& summary);

class RunIndex {
 public:
  // Entries in any order; left_aside: files of the folder that are no scenarios.
  RunIndex(std::vector<IndexEntry> entries, std::vector<std::string> left_aside);

  // What does not pass first, then by the smallest relative margin, then by path.
  const std::vector<IndexEntry>& by_margin() const { return entries_; }
  std::string junit() const;     // a suite per scenario, by path
  std::string html() const;
  std::string json() const;
  // Writes the three files. Throws RecordingError.
  void write(const std::filesystem::path& folder) const;

 private:
  std::vector<IndexEntry> entries_;
  std::vector<std::string> left_aside_;
};

// pass, fail or broken, or refused where there is no result.
std::string verdict_of(const IndexEntry& entry);

}  // namespace sim
