#include "sim/moment.h"

#include <fmt/format.h>

#include "sim/event_match.h"

namespace sim {

namespace {

constexpr double longest_s = 30.0 * 86400.0;
constexpr double times_max = 1e6;

#define SAGGAR_AT(member) [](auto& moment) -> auto& { return moment.member; }

std::vector<Field> make_fields() {
  std::vector<Field> fields;
  fields.push_back(optional<Moment>(quantity_field<Moment>("at", "s", SAGGAR_AT(at_s), 0.0, longest_s, "", "simulated time"),
                                    [](const Moment& moment) { return moment.at_s >= 0.0; }));
  fields.push_back(text_field<Moment>("segment", SAGGAR_AT(segment), false, "when this segment of the programme begins"));
  fields.push_back(text_field<Moment>("phase", SAGGAR_AT(phase), false, "when this phase of the atmosphere begins"));
  fields.push_back(text_field<Moment>("when", SAGGAR_AT(condition), false, "the first tick at which this expression holds"));
  for (Field& field : event_fields<Moment>("event", SAGGAR_AT(event), "when something happens")) fields.push_back(std::move(field));
  fields.push_back(optional<Moment>(quantity_field<Moment>("after", "s", SAGGAR_AT(after_s), 0.0, longest_s, "", "so much later"),
                                    [](const Moment& moment) { return moment.after_s > 0.0; }));
  fields.push_back(optional<Moment>(quantity_field<Moment>("every", "s", SAGGAR_AT(every_s), 0.01, longest_s, "",
                                                           "again and again at this distance from the first time"),
                                    [](const Moment& moment) { return moment.every_s > 0.0; }));
  fields.push_back(optional<Moment>(integer_field<Moment>("times", SAGGAR_AT(times), 1.0, times_max, "",
                                                          "so often in all; without `every`, each time it begins, holds or happens anew"),
                                    [](const Moment& moment) { return moment.times > 0; }));
  return fields;
}

#undef SAGGAR_AT

}  // namespace

const std::vector<Field>& moment_fields() {
  static const std::vector<Field> fields = make_fields();
  return fields;
}

void check_moment(const YamlNode& map, const Moment& moment, const Vocabulary& vocabulary) {
  const YamlNode* first = nullptr;
  for (const YamlNode& node : map.keys) {
    if (node.text != "at" && node.text != "segment" && node.text != "phase" && node.text != "when" && node.text != "event") continue;
    if (first)
      throw InputError(node.place, "`" + first->text + "` and `" + node.text + "` together", "one of at, segment, phase, when, event");
    first = &node;
  }
  if (!moment.segment.empty()) vocabulary.check_segment(moment.segment, map.child("segment")->place);
  if (!moment.phase.empty()) vocabulary.check_phase(moment.phase, map.child("phase")->place);
  if (!moment.condition.empty()) vocabulary.check_condition(*map.child("when"));
  if (moment.event.given()) check_event(*map.child("event"), moment.event, vocabulary.programme.names);
  if (moment.times > 0 && moment.every_s <= 0.0 && moment.timed())
    throw InputError(map.child("times")->place, "`times` of something that comes at one time",
                     "`every` beside it, or a moment that can come again: segment, phase, when, event");
}

}  // namespace sim
