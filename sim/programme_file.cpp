#include "sim/programme_file.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include <fmt/format.h>

#include "sim/programme_sentence.h"

namespace sim {

namespace {

using fw::Segment;
using fw::SegmentKind;

constexpr double longest_s = 30.0 * 86400.0;      // fits a uint32 of milliseconds
constexpr double flow_max_slm = 1000.0, pressure_max_pa = 1e5;

#define SAGGAR_AT(member) [](auto& draft) -> auto& { return draft.segment.member; }
#define SAGGAR_GIVEN(condition) [](const SegmentDraft& draft) { return draft.segment.condition; }

template <class At>
Field quantity(const char* key, const char* unit, At at, double low, double high, const char* meaning) {
  return quantity_field<SegmentDraft>(key, unit, at, low, high, "", meaning);
}

// A time in the file, milliseconds in the segment.
Field time_field(const char* key, std::uint32_t Segment::*member, double low_s, const char* meaning) {
  Field field = quantity(key, "s", [member](auto& draft) -> auto& { return draft.segment.*member; }, low_s, longest_s, meaning);
  field.set = [member](void* object, const FieldValue& value) {
    static_cast<SegmentDraft*>(object)->segment.*member = static_cast<std::uint32_t>(std::llround(value.number * 1000.0));
  };
  field.get = [member](const void* object, FieldValue& value) {
    value.number = static_cast<double>(static_cast<const SegmentDraft*>(object)->segment.*member) / 1000.0;
    return true;
  };
  return field;
}

Field timeout_field() {
  return optional<SegmentDraft>(time_field("timeout", &Segment::timeout_ms, 1.0, "longer is a failure; the core's own if not given"),
                                SAGGAR_GIVEN(timeout_ms > 0));
}

// A bit of the options that the presence of a key sets.
Field with_option(Field field, std::uint8_t option) {
  field.set = [set = field.set, option](void* object, const FieldValue& value) {
    set(object, value);
    auto& options = static_cast<SegmentDraft*>(object)->segment.options;
    options = static_cast<std::uint8_t>(options | option);
  };
  return field;
}

void add_gas(std::vector<Field>& fields) {
  fields.push_back(optional<SegmentDraft>(choice_field<SegmentDraft>("gas", SAGGAR_AT(gas), 
      {"keep", "air", "nitrogen", "argon", "helium", "hydrogen", "forming_gas"},
                                                                     "", "process gas; as before if not given"),
                                          SAGGAR_GIVEN(gas != fw::Gas::keep)));
  fields.push_back(optional<SegmentDraft>(quantity("flow", "slm", SAGGAR_AT(flow_slm), 0.0, flow_max_slm,
                                                   "flow set point; as before if not given"),
                                          SAGGAR_GIVEN(flow_slm >= 0.0f)));
}

void add_atmosphere(std::vector<Field>& fields) {
  add_gas(fields);
  fields.push_back(optional<SegmentDraft>(quantity("back_pressure", "Pa gauge", SAGGAR_AT(back_pressure_pa), 0.0, pressure_max_pa,
                                                   "set point of the back-pressure loop; as before if not given"),
                                          SAGGAR_GIVEN(back_pressure_pa >= 0.0f)));
  fields.push_back(optional<SegmentDraft>(integer_field<SegmentDraft>("gain_set", SAGGAR_AT(gain_set), 1.0, fw::gain_set_count, "",
                                                                      "set of heat gains; as before if not given"),
                                          SAGGAR_GIVEN(gain_set > 0)));
}

Field counted_field() {
  Field counted = choice_field<SegmentDraft>("counted_on", SAGGAR_AT(options), {"heater", "load"}, "heater", "thermocouple that is judged");
  counted.set = [](void* object, const FieldValue& value) {
    if (value.number != 0.0) static_cast<SegmentDraft*>(object)->segment.options |= fw::count_on_load;
  };
  counted.get = [](const void* object, FieldValue& value) {
    value.number = (static_cast<const SegmentDraft*>(object)->segment.options & fw::count_on_load) ? 1.0 : 0.0;
    return true;
  };
  return counted;
}

// What the heat loops are allowed while the segment runs.
void add_heat(std::vector<Field>& fields) {
  fields.push_back(optional<SegmentDraft>(quantity("power_limit", "1", SAGGAR_AT(power_limit), 0.01, 1.0,
                                                   "highest demand of the heat loops; the controller's own if not given"),
                                          SAGGAR_GIVEN(power_limit > 0.0f)));
  Field ahead = yes_no_field<SegmentDraft>("feed_forward", SAGGAR_AT(options), "yes", "no: heat by feedback alone");
  ahead.set = [](void* object, const FieldValue& value) {
    auto& options = static_cast<SegmentDraft*>(object)->segment.options;
    if (value.number == 0.0) options = static_cast<std::uint8_t>(options | fw::no_feed_forward);
  };
  ahead.get = [](const void* object, FieldValue& value) {
    value.number = 0.0;
    return (static_cast<const SegmentDraft*>(object)->segment.options & fw::no_feed_forward) != 0;
  };
  fields.push_back(ahead);
  fields.push_back(optional<SegmentDraft>(quantity("feed_forward_share", "1", SAGGAR_AT(feed_forward), 0.01, fw::feed_forward_share_max,
                                                   "share of the feed-forward, steady part and ramp's; 1 if not given"),
                                          SAGGAR_GIVEN(feed_forward > 0.0f)));
}

FieldTable ramp_table() {
  FieldTable table{"ramp", "The set point moves to a temperature.", {}};
  table.fields.push_back(quantity("to", "degC", SAGGAR_AT(target), 0.0, 1800.0, "set point at the end"));
  table.fields.push_back(optional<SegmentDraft>(quantity("rate", "K/s", SAGGAR_AT(rate), 1e-5, 10.0, "rate (this or `in`)"),
                                                [](const SegmentDraft& draft) { return !(draft.segment.options & fw::ramp_by_time); }));
  table.fields.push_back(optional<SegmentDraft>(with_option(time_field("in", &Segment::duration_ms, 0.1, "time it takes (this or `rate`)"),
                                                            fw::ramp_by_time),
                                                [](const SegmentDraft& draft) { return (draft.segment.options & fw::ramp_by_time) != 0; }));
  table.fields.push_back(optional<SegmentDraft>(
      quantity("within", "K", SAGGAR_AT(tolerance_k), 0.1, 1000.0,
               "the set point waits while the thermocouple is farther behind; the controller's own if not given"),
      SAGGAR_GIVEN(tolerance_k > 0.0f)));
  Field counted = counted_field();
  counted.get = [get = counted.get](const void* object, FieldValue& value) { return get(object, value) && value.number != 0.0; };
  table.fields.push_back(counted);
  add_heat(table.fields);
  add_atmosphere(table.fields);
  return table;
}

FieldTable soak_table() {
  FieldTable table{"soak", "The set point stays; time counts only while the thermocouple is within tolerance.", {}};
  table.fields.push_back(time_field("for", &Segment::duration_ms, 0.1, "time that must count"));
  table.fields.push_back(quantity("within", "K", SAGGAR_AT(tolerance_k), 0.1, 1000.0, "half width of the band in which time counts"));
  table.fields.push_back(counted_field());
  table.fields.push_back(timeout_field());
  add_heat(table.fields);
  add_atmosphere(table.fields);
  return table;
}

FieldTable wait_table() {
  FieldTable table{"wait", "Everything stays as it is.", {}};
  table.fields.push_back(time_field("for", &Segment::duration_ms, 0.1, "time"));
  add_heat(table.fields);
  add_atmosphere(table.fields);
  return table;
}

FieldTable evacuate_table() {
  FieldTable table{"evacuate", "The pump is opened to the retort.", {}};
  table.fields.push_back(quantity("below", "Pa abs", SAGGAR_AT(target), 0.01, 1e5, "over when the pressure is below this"));
  table.fields.push_back(timeout_field());
  return table;
}

FieldTable backfill_table() {
  FieldTable table{"backfill", "Gas fills the retort from vacuum.", {}};
  table.fields.push_back(quantity("to", "Pa gauge", SAGGAR_AT(target), 0.0, pressure_max_pa, "over when the pressure is above this"));
  add_gas(table.fields);
  table.fields.push_back(timeout_field());
  return table;
}

FieldTable purge_table() {
  FieldTable table{"purge", "Gas is exchanged, by volume changes or by vacuum cycles.", {}};
  const auto by_cycles = [](const SegmentDraft& draft) { return (draft.segment.options & fw::by_vacuum_cycles) != 0; };
  Field volumes = quantity("volumes", "1", SAGGAR_AT(amount), 0.1, 1000.0, "volume changes (this, or `cycles` with `down_to`)");
  table.fields.push_back(optional<SegmentDraft>(std::move(volumes), [by_cycles](const SegmentDraft& draft) { return !by_cycles(draft); }));
  Field cycles = integer_field<SegmentDraft>("cycles", SAGGAR_AT(count), 1.0, 100.0, "", "vacuum cycles");
  table.fields.push_back(optional<SegmentDraft>(with_option(std::move(cycles), fw::by_vacuum_cycles), by_cycles));
  Field down_to = quantity("down_to", "Pa abs", SAGGAR_AT(amount), 0.01, 1e5, "pressure that each cycle evacuates to");
  table.fields.push_back(optional<SegmentDraft>(with_option(std::move(down_to), fw::by_vacuum_cycles), by_cycles));
  const auto dries = [](const SegmentDraft& draft) { return (draft.segment.options & fw::until_dry) != 0; };
  Field dew_point = quantity("until_dew_point", "degC", SAGGAR_AT(rate), -120.0, 60.0,
                             "goes on until the dew point has stayed below this (with `volumes` and `for`)");
  table.fields.push_back(optional<SegmentDraft>(with_option(std::move(dew_point), fw::until_dry), dries));
  Field stays = time_field("for", &Segment::duration_ms, 0.1, "how long it must have stayed there");
  table.fields.push_back(optional<SegmentDraft>(with_option(std::move(stays), fw::until_dry), dries));
  table.fields.push_back(quantity("to", "Pa gauge", SAGGAR_AT(target), 0.0, pressure_max_pa, "pressure held meanwhile, or filled to"));
  add_gas(table.fields);
  table.fields.push_back(timeout_field());
  return table;
}

FieldTable leak_test_table() {
  FieldTable table{"leak_test", "Everything shut under vacuum: how fast does the pressure rise?", {}};
  table.fields.push_back(time_field("for", &Segment::duration_ms, 1.0, "time"));
  table.fields.push_back(quantity("rise_below", "Pa/s", SAGGAR_AT(rate), 1e-6, 1e3, "highest rise accepted"));
  return table;
}

FieldTable cool_table() {
  FieldTable table{"cool", "Heat off, atmosphere held.", {}};
  table.fields.push_back(quantity("load_below", "degC", SAGGAR_AT(target), 0.0, 1800.0, "over when the load is below this"));
  table.fields.push_back(timeout_field());
  add_atmosphere(table.fields);
  return table;
}

FieldTable repeat_table() {
  FieldTable table{"repeat", "Back to an earlier segment.", {}};
  const auto back_to = [](auto& draft) -> auto& { return draft.back_to; };
  table.fields.push_back(text_field<SegmentDraft>("back_to", back_to, true, "name of that segment"));
  table.fields.push_back(integer_field<SegmentDraft>("times", SAGGAR_AT(count), 1.0, 9999.0, "", "times in all"));
  return table;
}

#undef SAGGAR_AT
#undef SAGGAR_GIVEN

const FieldTable& table_of(SegmentKind kind) { return segment_fields()[static_cast<std::size_t>(kind) - 1]; }

std::vector<std::string> kind_names() {
  std::vector<std::string> names;
  for (const FieldTable& table : segment_fields()) names.push_back(table.kind);
  return names;
}

// The one key of a segment's map that names its kind.
std::size_t kind_key(const YamlNode& item) {
  const std::vector<std::string> kinds = kind_names();
  std::vector<std::string> known = kinds;
  known.emplace_back("name");
  if (!item.is_map())
    throw InputError(item.place, item.found() + " for a segment", "a map with a kind of segment, such as `ramp: {to: ..., rate: ...}`");
  std::size_t found = item.keys.size();
  for (std::size_t i = 0; i < item.keys.size(); ++i) {
    const YamlNode& key = item.keys[i];
    if (key.text == "name") continue;
    if (std::find(kinds.begin(), kinds.end(), key.text) == kinds.end())
      throw InputError(key.place, "the unknown kind of segment `" + key.text + "`", "one of " + listed(known),
                       nearest_name(key.text, known));
    if (found < item.keys.size()) throw InputError(key.place, "a second kind in one segment, `" + key.text + "`", "one kind in a segment");
    found = i;
  }
  if (found == item.keys.size())
    throw InputError(item.place, "a segment without a kind", "one of " + listed(kinds));
  return found;
}

// What a segment's table alone cannot say.
void check_choice(const SegmentDraft& draft, const std::set<std::string>& given, const SourcePlace& place) {
  const SegmentKind kind = draft.segment.kind;
  const auto has = [&](const char* key) { return given.contains(key); };
  if (kind == SegmentKind::ramp && has("rate") == has("in"))
    throw InputError(place, has("in") ? "`rate` and `in` in one ramp" : "a ramp with neither `rate` nor `in`",
                     "one of `rate` (such as 5 K/min) and `in`");
  if (has("feed_forward_share") && (draft.segment.options & fw::no_feed_forward) != 0)
    throw InputError(place, "`feed_forward_share` beside `feed_forward: no`", "one of them");
  if (kind != SegmentKind::purge) return;
  if (has("volumes") == has("cycles"))
    throw InputError(place, has("cycles") ? "`volumes` and `cycles` in one purge" : "a purge with neither `volumes` nor `cycles`",
                     "one of `volumes` and `cycles`");
  if (has("until_dew_point") != has("for") || (has("until_dew_point") && has("cycles")))
    throw InputError(place, "a purge until dry without all it needs, or by cycles", "`volumes`, `until_dew_point` and `for`");
  if (has("cycles") != has("down_to")) throw InputError(place, "one of `cycles` and `down_to` without the other", "both, or `volumes`");
}

struct Item {
  SegmentDraft draft;
  SourcePlace place, back_to_place;
};

Item read_segment(const YamlNode& node) {
  const std::size_t index = kind_key(node);
  Item item;
  item.place = node.keys[index].place;
  const auto kinds = kind_names();
  const auto position = std::find(kinds.begin(), kinds.end(), node.keys[index].text) - kinds.begin();
  item.draft.segment.kind = static_cast<SegmentKind>(position + 1);
  YamlNode map = node.items[index];
  if (map.is_text() && map.text.empty()) map.place = item.place;      // `end:` has nothing below it
  const std::set<std::string> given = read_fields(map, table_of(item.draft.segment.kind), &item.draft);
  check_choice(item.draft, given, item.place);
  if (const YamlNode* back_to = map.child("back_to")) item.back_to_place = back_to->place;
  return item;
}

void find_back_to(Item& item, const std::vector<std::string>& earlier) {
  if (item.draft.segment.kind != SegmentKind::repeat) return;
  const auto target = std::find(earlier.begin(), earlier.end(), item.draft.back_to);
  if (target == earlier.end())
    throw InputError(item.back_to_place, "`" + item.draft.back_to + "` to go back to", "the name of an earlier segment",
                     nearest_name(item.draft.back_to, earlier));
  item.draft.segment.jump = static_cast<std::uint16_t>(target - earlier.begin());
}

void check_as_the_core(const Item& item, const std::vector<std::string>& names, std::size_t index) {
  if (fw::segment_valid(item.draft.segment, static_cast<int>(index))) return;
  throw InputError(item.place, "a segment that the core refuses: " + segment_sentence(item.draft.segment, names),
                   "one with everything it needs (a purge by cycles and a backfill need a flow)");
}

std::string segment_name(const YamlNode& node, const ProgrammeSource& programme, const Item& item) {
  const YamlNode* given = node.child("name");
  const SourcePlace place = given ? given->place : item.place;
  if (given && (!given->is_text() || given->text.empty())) throw InputError(place, given->found() + " for `name`", "a text");
  std::string name = given ? given->text : fmt::format("{} {}", name_of(item.draft.segment.kind), programme.names.size() + 1);
  if (std::find(programme.names.begin(), programme.names.end(), name) != programme.names.end())
    throw InputError(place, "a second segment named `" + name + "`", "a name of its own for each segment");
  return name;
}

}  // namespace

const std::vector<FieldTable>& segment_fields() {
  static const std::vector<FieldTable> tables = {ramp_table(),      soak_table(),  wait_table(),
                                                 evacuate_table(),  backfill_table(), purge_table(),
                                                 leak_test_table(), cool_table(),  repeat_table(),
                                                 {"end", "The programme is over: safe values stay in force.", {}}};
  return tables;
}

std::string_view name_of(SegmentKind kind) {
  return kind == SegmentKind::none ? std::string_view("none") : std::string_view(table_of(kind).kind);
}

ProgrammeSource read_programme(const YamlNode& list) {
  if (!list.is_list() || list.items.empty()) throw InputError(list.place, list.found() + " for the programme", "a list of segments");
  ProgrammeSource programme;
  for (const YamlNode& node : list.items) {
    Item item = read_segment(node);
    if (programme.segments.size() == static_cast<std::size_t>(fw::programme_segments_max))
      throw InputError(item.place, fmt::format("segment {} of {}", programme.segments.size() + 1, list.items.size()),
                       fmt::format("at most {} segments in a programme", fw::programme_segments_max));
    find_back_to(item, programme.names);
    check_as_the_core(item, programme.names, programme.segments.size());      // which has the last word
    programme.names.push_back(segment_name(node, programme, item));
    programme.segments.push_back(item.draft.segment);
    const bool last = &node == &list.items.back();
    if (last != (item.draft.segment.kind == SegmentKind::end))
      throw InputError(item.place, last ? "a programme that does not finish with `end`" : "`end` before the last segment",
                       "`end` as the last segment");
  }
  return programme;
}

SegmentDraft read_segment_alone(const YamlNode& map, const std::vector<std::string>& names, std::size_t index, bool bounded) {
  Item item = read_segment(map);
  if (const YamlNode* name = map.child("name")) throw InputError(name->place, "`name`", "none: the segment keeps the one it has");
  find_back_to(item, {names.begin(), names.begin() + static_cast<std::ptrdiff_t>(index)});
  if (bounded) check_as_the_core(item, names, index);
  return item.draft;
}

std::string write_segment_alone(const SegmentDraft& draft, int indent) {
  return std::string(static_cast<std::size_t>(indent), ' ') + std::string(name_of(draft.segment.kind)) + ":\n" +
         write_fields(table_of(draft.segment.kind), &draft, indent + 2);
}

std::string write_programme(const ProgrammeSource& programme, int indent) {
  const std::string blanks(static_cast<std::size_t>(indent), ' ');
  std::string text;
  for (std::size_t i = 0; i < programme.segments.size(); ++i) {
    SegmentDraft draft{programme.segments[i], ""};
    if (draft.segment.kind == SegmentKind::repeat) draft.back_to = programme.names[draft.segment.jump];
    text += blanks + "- name: " + yaml_text(programme.names[i]) + "\n";
    text += write_segment_alone(draft, indent + 2);
  }
  return text;
}

const FieldTable& other_programme_fields() {
  static const FieldTable table{
      "programme", "A programme that `load` brings in place of the one under `programme`.",
      {text_field<OtherProgramme>("name", [](auto& other) -> auto& { return other.name; }, true, "its own"),
       yes_no_field<OtherProgramme>("stored", [](auto& other) -> auto& { return other.stored; }, "yes",
                                    "in the controller's store; no: `load` writes it over the supervisory line")}};
  return table;
}

std::vector<OtherProgramme> read_other_programmes(const YamlNode& list) {
  if (!list.is_list()) throw InputError(list.place, list.found() + " for `programmes`", "a list of programmes");
  std::vector<OtherProgramme> programmes;
  for (const YamlNode& item : list.items) {
    if (programmes.size() + 1 == static_cast<std::size_t>(fw::programme_count))
      throw InputError(item.place, fmt::format("programme {}", programmes.size() + 2), fmt::format("at most {}", fw::programme_count));
    OtherProgramme& other = programmes.emplace_back();
    read_fields(item, other_programme_fields(), &other, {"segments"});
    const auto twice = [&](const OtherProgramme& one) { return &one != &other && one.name == other.name; };
    if (other.name == "programme" || std::any_of(programmes.begin(), programmes.end(), twice))
      throw InputError(item.child("name")->place, "a second programme named `" + other.name + "`", "a name of its own");
    if (other.name.size() >= sizeof(fw::ProgrammeEntry::title))
      throw InputError(item.child("name")->place, "the name `" + other.name + "`", "at most 23 bytes");
    const YamlNode* segments = item.child("segments");
    if (!segments) throw InputError(item.place, "a programme without `segments`", "`segments`: a list of segments");
    other.programme = read_programme(*segments);
    other.programme.title = other.name;
  }
  return programmes;
}

std::string write_other_programmes(const std::vector<OtherProgramme>& programmes, int indent) {
  const std::string blanks(static_cast<std::size_t>(indent), ' ');
  std::string text;
  for (const OtherProgramme& other : programmes) {
    text += write_fields(other_programme_fields(), &other, indent + 2, "- ");
    text += blanks + "  segments:\n" + write_programme(other.programme, indent + 4);
  }
  return text;
}

}  // namespace sim
