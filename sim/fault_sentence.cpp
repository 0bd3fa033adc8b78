#include "sim/fault_sentence.h"

#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>

#include "sim/fault_file.h"
#include "sim/moment_sentence.h"
#include "sim/units.h"

namespace sim {

namespace {

std::string value_text(const Field& field, double value, const DisplayUnits& units) {
  if (field.type == FieldType::choice) return field.choices.at(static_cast<std::size_t>(value));
  if (field.type == FieldType::quantity) return shown(value, field.unit, units, Digits::written);
  return text_of(value);
}

// "channel: load, rate: 0.05 K/s"; the unit of an error is that of the instrument it is in.
std::string values_text(const FaultKind& kind, const FaultSource& fault, const DisplayUnits& units) {
  int channel = -1;
  for (std::size_t i = 0; i < kind.parameters.size() && i < fault.values.size(); ++i)
    if (std::string_view(kind.parameters[i].unit) == "channel") channel = static_cast<int>(fault.values[i]);
  std::string text;
  for (const Field& field : fault_fields(kind, channel).fields) {
    FieldValue value;
    if (field.get(&fault.values, value))
      text += fmt::format("{}{}: {}", text.empty() ? "" : ", ", field.key, value_text(field, value.number, units));
  }
  return text.empty() ? "" : " (" + text + ")";
}

// How long it stays; of one that comes by chance, how long it may come, how often, and how long it then stays.
std::string stays_text(const FaultKind& kind, const FaultSource& fault) {
  const std::string given = fault.for_s < 0.0 ? "to the end" : "for " + time_sentence(fault.for_s);
  const std::string stays = for_one_tick(kind.action) ? "for one tick" : given;
  if (!fault.chance.given()) return stays;
  return fmt::format("{}, by chance about {:.4g} times an hour, each time for {} to {}", stays, fault.chance.rate_per_s * 3600.0,
                     time_sentence(fault.chance.shortest_s), time_sentence(fault.chance.longest_s));
}

}  // namespace

std::string fault_sentence(const FaultSource& fault, const DisplayUnits& units) {
  const FaultKind* kind = find_fault(fault.kind);
  if (!kind) throw std::logic_error("no fault of the kind " + fault.kind);
  return fmt::format("{}, {}: {}{}", moment_sentence(fault.from, units), stays_text(*kind, fault), kind->meaning,
                     values_text(*kind, fault, units));
}

}  // namespace sim
