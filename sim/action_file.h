// The operator's actions in a scenario: a list of maps, each with one key that says what is done, and when.
//
//   - hold:
//     segment: soak
//     after: 10 min
//   - set_flow: 1 slm
//     when: plant.load.core > 500 degC
//   - set_parameter: {name: heat.gains.1.gain, value: 0.3 1/K}
//     segment: soak
//     expect: accepted             # or refused: comes it otherwise, the run fails
#pragma once

#include <span>
#include <string>
#include <vector>

#include "sim/fields.h"
#include "sim/scenario.h"
#include "sim/vocabulary.h"

namespace sim {

struct ActionKind {
  const char* name;
  fw::Command command;
  std::uint16_t argument;
  const char* unit;            // of the value; "": there is none
  double low, high;
  const char* meaning;
};
std::span<const ActionKind> action_table();
const FieldTable& action_fields();                          // when it is done, and what is expected: on an OperatorAction
const FieldTable& parameter_write_fields();                 // of `set_parameter`: the value's type is its parameter's

std::vector<OperatorAction> read_actions(const YamlNode& list, const Vocabulary& vocabulary);   // throws InputError
std::string write_actions(const std::vector<OperatorAction>& actions, int indent);

}  // namespace sim
