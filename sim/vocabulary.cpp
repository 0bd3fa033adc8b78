#include "sim/vocabulary.h"

#include <algorithm>

#include "sim/expression.h"

namespace sim {

void Vocabulary::check_segment(const std::string& name, const SourcePlace& place) const {
  if (std::find(programme.names.begin(), programme.names.end(), name) != programme.names.end()) return;
  throw InputError(place, "the unknown segment `" + name + "`", "one of " + listed(programme.names),
                   nearest_name(name, programme.names));
}

void Vocabulary::check_phase(const std::string& name, const SourcePlace& place) const {
  const std::vector<std::string> phases(phase_names().begin(), phase_names().end());
  if (std::find(phases.begin(), phases.end(), name) != phases.end()) return;
  throw InputError(place, "the unknown atmosphere phase `" + name + "`", "one of " + listed(phases),
                   nearest_name(name, phases));
}

namespace {

void check_truth(const YamlNode& node, const SignalTable& signals, double period_s) {
  try {
    const Expression expression(node.text, signals, period_s);
  } catch (const ExpressionError& error) {
    SourcePlace place = node.place;
    if (place.line > 0) place.column += error.column - 1 + (node.quoted ? 1 : 0);
    throw input_error(error, place, node.text, error.column);
  }
}

}  // namespace

void Vocabulary::check_condition(const YamlNode& node) const { check_truth(node, signals, 0.0); }

void Vocabulary::check_judged(const YamlNode& node) const { check_truth(node, signals, period_s); }

}  // namespace sim
