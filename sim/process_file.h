// The YAML file of a process: gain, zeros, lags, integrators, delay, and how it is sampled. For loops of any kind, and the examples of
// papers.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "sim/fields.h"
#include "sim/loop_judgement.h"
#include "sim/process.h"

namespace sim {

struct ProcessFile {
  std::string title, source;
  Process process;
  Sampling sampling;
  std::string input_unit = "1", output_unit = "1";  // "K", "kPa": of the gain, in words only
  std::vector<std::string> zero_texts, lag_texts;   // as written

  std::string gain_unit() const;  // of the controller's gain: "1/K", "%/kPa"
};

const FieldTable& process_fields();       // on a ProcessFile, without `pairs`
const FieldTable& second_order_fields();  // on a SecondOrderLag: an item of `pairs`

// Throw InputError.
ProcessFile read_process(const YamlNode& map);
ProcessFile read_process_file(const std::filesystem::path& file);

}  // namespace sim
