// The operator's actions in a scenario: a list of maps, each with one key that says what is done, and when.
//
//   - hold:
//     segment: soak
//     after: 10 min
//   - set_flow: 1 slm
//     when: plant.load.core > 500 degC
//   - shelve_alarm: {alarm: deviation, for: 10 min}
//     after_event: {source: alarm, kind: raised, text: deviation}
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

// What stands behind the key of an action.
enum class ActionValue {
  nothing,
  number,            // whole; goes as the argument
  set_point,         // in `unit`, goes as the value; or many from a file
  programme,         // a name
  alarm,             // a name
  shelf,             // map: alarm and how long
  output,            // map: output of the station and its value
  gas,               // a name
  date,              // YYYY-MM-DD
  segment,           // map: which segment of the running programme, and `to`: what it is to be
  parameter          // map: name and value of a parameter
};

struct ActionKind {
  const char* name;
  fw::Command command;
  std::uint16_t argument;
  ActionValue takes;
  const char* unit;            // of a number or quantity
  double low, high;
  const char* meaning;
};
std::span<const ActionKind> action_table();
const FieldTable& action_fields();                          // when it is done, and what is expected: on an OperatorAction
const FieldTable* action_map_fields(ActionValue takes);     // where the value is a map or one of several words; null: it is neither

std::vector<OperatorAction> read_actions(const YamlNode& list, const Vocabulary& vocabulary);   // throws InputError
std::string write_actions(const std::vector<OperatorAction>& actions, int indent);

}  // namespace sim
