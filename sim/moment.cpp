#include "sim/moment.h"

#include <fmt/format.h>

namespace sim {

namespace {

constexpr double longest_s = 30.0 * 86400.0;

#define SAGGAR_AT(member) [](auto& moment) -> auto& { return moment.member; }

std::vector<Field> make_fields() {
  std::vector<Field> fields;
  fields.push_back(optional<Moment>(quantity_field<Moment>("at", "s", SAGGAR_AT(at_s), 0.0, longest_s, "", "simulated time"),
                                    [](const Moment& moment) { return moment.at_s >= 0.0; }));
  fields.push_back(text_field<Moment>("segment", SAGGAR_AT(segment), false, "when this segment of the programme begins"));
  fields.push_back(text_field<Moment>("phase", SAGGAR_AT(phase), false, "when this phase of the atmosphere begins"));
  fields.push_back(text_field<Moment>("when", SAGGAR_AT(condition), false, "the first tick at which this expression holds"));
  fields.push_back(optional<Moment>(quantity_field<Moment>("after", "s", SAGGAR_AT(after_s), 0.0, longest_s, "", "so much later"),
                                    [](const Moment& moment) { return moment.after_s > 0.0; }));
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
    if (node.text != "at" && node.text != "segment" && node.text != "phase" && node.text != "when") continue;
    if (first) throw InputError(node.place, "`" + first->text + "` and `" + node.text + "` together", "one of at, segment, phase, when");
    first = &node;
  }
  if (!moment.segment.empty()) vocabulary.check_segment(moment.segment, map.child("segment")->place);
  if (!moment.phase.empty()) vocabulary.check_phase(moment.phase, map.child("phase")->place);
  if (!moment.condition.empty()) vocabulary.check_condition(*map.child("when"));
}

std::string describe(const Moment& moment) {
  std::string text = "at the start";
  if (moment.at_s >= 0.0) text = fmt::format("at {:.6g} s", moment.at_s);
  if (!moment.segment.empty()) text = fmt::format("when segment `{}` begins", moment.segment);
  if (!moment.phase.empty()) text = fmt::format("when the atmosphere is {}", moment.phase);
  if (!moment.condition.empty()) text = fmt::format("as soon as {}", moment.condition);
  if (moment.after_s > 0.0) text = fmt::format("{:.6g} s after: {}", moment.after_s, text);
  return text;
}

}  // namespace sim
