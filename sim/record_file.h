// Two columns of a CSV file as a record to identify a process from, and what was found in it, in words.
#pragma once

#include <filesystem>
#include <limits>
#include <string>

#include "sim/identification.h"
#include "sim/process_file.h"

namespace sim {

struct RecordColumns {
  std::string input, output;  // as the header names them, with or without their unit: "heat.1.out", "heat.1.out [1]"
  std::string time;           // empty: the first column. In s, where its unit does not say otherwise
  double from_s = -std::numeric_limits<double>::infinity();  // of the file's time
  double to_s = std::numeric_limits<double>::infinity();
};

struct FileRecord {
  std::string source, input, output;
  std::string input_unit = "1", output_unit = "1";
  TestRecord record;  // an empty field is a gap
};

// Throws InputError with line and column of the file.
FileRecord read_record(const std::filesystem::path& file, const RecordColumns& columns);

std::string identification_text(const FileRecord& file, const Identification& found);
// The process found, for the desk; sampled as asked. Of a record that supports a model.
ProcessFile process_file_of(const FileRecord& file, const IdentifiedModel& model, const Sampling& sampling);

}  // namespace sim
