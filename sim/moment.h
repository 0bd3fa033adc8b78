// When something happens: the keys `at`, `segment`, `phase`, `when`, `event`, `after`, `every` and `times` of actions and faults.
#pragma once

#include "sim/fields.h"
#include "sim/scenario.h"
#include "sim/vocabulary.h"

namespace sim {

const std::vector<Field>& moment_fields();   // on a Moment

// At most one of `at`, `segment`, `phase`, `when`, `event`; names and expression against the vocabulary. Throws InputError.
void check_moment(const YamlNode& map, const Moment& moment, const Vocabulary& vocabulary);

}  // namespace sim
