// What the operator gets wrong: `mistakes:` in a scenario, a list of maps, each with one key that names the mistake. The file says what
// was meant and, here, what was done instead; with_mistakes gives what then really runs.
//
//   - wrong_bottle: {gas: nitrogen, instead_of: argon}
//   - decimal_slip: {parameter: heat.gains.1.gain, factor: 10}
//     segment: soak                # at this moment, over the supervisory line; without a moment, before the run
#pragma once

#include <span>
#include <string>
#include <vector>

#include "sim/fields.h"
#include "sim/scenario.h"
#include "sim/vocabulary.h"

namespace sim {

struct MistakeKind {
  const char* name;
  MistakeSource::Kind kind;
  const char* reaches;         // how it comes to the bench
  const char* meaning;
};
std::span<const MistakeKind> mistake_table();
FieldTable mistake_fields(const MistakeKind& kind);          // on a MistakeSource
std::string describe_mistakes();                             // the table as plain text, for people

// Throws InputError, also for what changes nothing or what a controller's store could not hold. scenario: all but the mistakes.
std::vector<MistakeSource> read_mistakes(const YamlNode& list, const Scenario& scenario, const Vocabulary& vocabulary);
std::string write_mistakes(const std::vector<MistakeSource>& mistakes, int indent);
std::string sentence(const MistakeSource& mistake);          // of the operator: "hangs a bottle of nitrogen where argon belongs"

// The scenario as it runs: parameters, programme, furnace, faults and actions as the mistakes leave them.
Scenario with_mistakes(const Scenario& scenario);

}  // namespace sim
