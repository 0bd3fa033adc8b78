#include "sim/action_sentence.h"

#include <fmt/format.h>

#include "sim/action_file.h"
#include "sim/moment_sentence.h"
#include "sim/units.h"

namespace sim {

namespace {

// The row it was written by: its text begins with the row's name.
const ActionKind* kind_of(const OperatorAction& action) {
  const std::string name = action.text.substr(0, action.text.find(' '));
  for (const ActionKind& kind : action_table())
    if (name == kind.name) return &kind;
  return nullptr;
}

std::string deed_sentence(const OperatorAction& action, const DisplayUnits& units) {
  const std::string when = moment_sentence(action.when, units);
  const ActionKind* kind = kind_of(action);
  if (!kind) return fmt::format("{}: {}", when, in_display_units(action.text, units));
  switch (kind->takes) {
    case ActionValue::nothing:
      return fmt::format("{}: {}", when, kind->meaning);
    case ActionValue::number:
      return fmt::format("{}: {}: {}", when, kind->meaning, action.argument);
    case ActionValue::set_point:
      return fmt::format("{}: {} to {}", when, kind->meaning,
                         shown(static_cast<double>(action.value), kind->unit, units, Digits::written));
    default:
      return fmt::format("{}: {}: {}", when, kind->meaning, in_display_units(action.text.substr(action.text.find(' ') + 1), units));
  }
}

}  // namespace

std::string action_sentence(const OperatorAction& action, const DisplayUnits& units) {
  const char* const expected = action.expect == OperatorAction::Expect::accepted  ? ", to be accepted"
                               : action.expect == OperatorAction::Expect::refused ? ", to be refused" : "";
  return deed_sentence(action, units) + expected;
}

}  // namespace sim
