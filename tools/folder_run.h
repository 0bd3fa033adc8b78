// Every scenario below a folder, some at a time: each with results of its own, and an index over all.
#pragma once

#include <filesystem>

#include "tools/scenario_run.h"

namespace tools {

struct FolderRun {
  std::filesystem::path folder;  // looked through with what lies below it
  ScenarioRun each;              // file is not used; folder: results of a/b.yaml go to folder/a/b, the index to folder itself
  unsigned jobs = 1;             // threads, at most as many as there are scenarios
  bool json = false;             // print the folder's summary.json instead of the table
};

// Returns the exit code. One scenario that is refused or breaks does not stop the others. What left something unjudged outranks
// what was judged: 130 interrupted, 3 a run broke, 2 a file was refused, 4 endpoints differ, 1 an expectation failed, 0.
// Throws UsageError when the folder holds no scenario, RecordingError when the index cannot be written.
int perform(const FolderRun& run);

}  // namespace tools
