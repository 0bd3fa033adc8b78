// Which events a moment or a window waits for: `event: {source: alarm, kind: raised, text: oxygen high}`. One table of sources
// and kinds; who makes a new kind of event adds it there.
#pragma once

#include <string>
#include <vector>

#include "sim/event.h"
#include "sim/fields.h"
#include "sim/scenario.h"

namespace sim {

// The source is the pattern's; kind and text, where given: the same kind, and the text within the event's.
bool matches(const EventPattern& pattern, const Event& event);
bool known_event(const Event& event);        // its source and kind are in the table

// `map`: what stands behind the key, for the places of messages. A source or kind that does not exist, or an alarm, interlock row,
// segment, phase or state that no event of the kind can name, throws InputError with the nearest name.
void check_event(const YamlNode& map, const EventPattern& pattern, const std::vector<std::string>& segments);

// "the alarm is raised: oxygen high"
std::string describe(const EventPattern& pattern);

// The keys `KEY.source`, `KEY.kind`, `KEY.text`. at: gives the pattern within a T, as the other builders of fields.h.
template <class T, class At>
std::vector<Field> event_fields(const std::string& key, At at, const std::string& meaning) {
  std::vector<Field> fields;
  fields.push_back(text_field<T>(key + ".source", [at](auto& object) -> auto& { return at(object).source; }, false,
                                 meaning + ": alarm, interlock, operator, programme, ..."));
  fields.push_back(text_field<T>(key + ".kind", [at](auto& object) -> auto& { return at(object).kind; }, false,
                                 "raised, trips, refused, begins, ...; any if not given"));
  fields.push_back(text_field<T>(key + ".text", [at](auto& object) -> auto& { return at(object).text; }, false,
                                 "part of its text, such as the alarm's name; any if not given"));
  return fields;
}

}  // namespace sim
