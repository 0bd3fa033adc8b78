#include "sim/mistake_file.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "sim/furnace_file.h"
#include "sim/mistakes.h"
#include "sim/moment.h"
#include "sim/moment_sentence.h"

namespace sim {

namespace {

using Kind = MistakeSource::Kind;

constexpr const char* to_store = "store image: programme or parameter, as typed before the run";
constexpr const char* to_plant = "plant: the furnace as it was left";
constexpr const char* to_either = "store image, or with a moment FC 16 on the supervisory line";

constexpr std::array<MistakeKind, 12> kinds{{
    {"wrong_bottle", Kind::wrong_bottle, to_plant, "a bottle of another gas hangs on the supply"},
    {"wrong_gas_selected", Kind::wrong_gas_selected, to_store, "another gas is written into the programme"},
    {"wrong_thermocouple_type", Kind::wrong_thermocouple_type, to_store, "the controller is told another type of thermocouple"},
    {"wrong_thermocouple_fitted", Kind::wrong_thermocouple_fitted, to_plant, "a thermocouple of another type is fitted"},
    {"wrong_extension_wire", Kind::wrong_extension_wire, to_plant, "extension wire of another type between head and terminal block"},
    {"thermocouples_swapped", Kind::thermocouples_swapped, to_plant, "two thermocouples in each other's sockets"},
    {"hand_valve_shut", Kind::hand_valve_shut, to_plant, "a hand valve is forgotten shut"},
    {"hand_vent_open", Kind::hand_vent_open, to_plant, "a hand vent of the retort is forgotten open"},
    {"door_not_shut", Kind::door_not_shut, to_plant, "the door stands open or the plug is out"},
    {"other_load", Kind::other_load, to_plant, "the load is not the one planned"},
    {"decimal_slip", Kind::decimal_slip, to_either, "a parameter is wrong by a factor"},
    {"units_mistaken", Kind::units_mistaken, to_store, "a temperature of the programme is typed in the wrong unit"},
}};

const std::vector<std::string> gases{"none", "air", "nitrogen", "argon", "helium", "hydrogen"};
const std::vector<std::string> loops{"heater", "load"};
const std::vector<std::string> types{"K", "N", "S", "R", "B", "J", "T", "E"};   // plant::ThermocoupleType
const std::vector<std::string> couples{"zone_1", "zone_2", "zone_3", "zone_4", "load", "load_2"};
const std::vector<std::string> valves{"supply", "exhaust", "pump"};
const std::vector<std::string> readings{"degF where degC is taken", "degC where degF is taken"};

#define SAGGAR_AT(member) [](auto& mistake) -> auto& { return mistake.member; }
using M = MistakeSource;

Field couple_field(const char* key, int M::* member, const char* preset, const char* meaning) {
  return choice_field<M>(key, [member](auto& mistake) -> auto& { return mistake.*member; }, couples, preset, meaning);
}

std::vector<Field> fields_of(Kind kind) {
  const Field gas = choice_field<M>("gas", SAGGAR_AT(gas), gases, "nitrogen", "what is there");
  const Field instead = choice_field<M>("instead_of", SAGGAR_AT(instead_of), gases, "argon", "what should be there");
  const Field loop = choice_field<M>("thermocouple", SAGGAR_AT(loop), loops, "heater", "which, all zones alike");
  const Field type = choice_field<M>("type", SAGGAR_AT(type), types, "K", "what it is taken for, or is");
  switch (kind) {
    case Kind::wrong_bottle: {
      Field carries = text_field<M>("carries", SAGGAR_AT(carries), false, "what is there, by a name of `saggar gases` or as percent "
                                    "by volume (95 N2 5 CH4); then `gas` is not looked at");
      carries.set = [set = carries.set](void* object, const FieldValue& value) {
        check_composition(value.text, value.place);
        set(object, value);
      };
      return {gas, instead, carries};
    }
    case Kind::wrong_gas_selected: return {gas, instead};
    case Kind::wrong_thermocouple_type:
    case Kind::wrong_thermocouple_fitted: return {loop, type};
    case Kind::wrong_extension_wire:
      return {couple_field("thermocouple", &M::one, "load", "which"), type,
              quantity_field<M>("head", "degC", SAGGAR_AT(head_degc), -20.0, 300.0, "60 degC", "temperature of the connection head")};
    case Kind::thermocouples_swapped:
      return {couple_field("one", &M::one, "zone_1", "one of the two"), couple_field("other", &M::other, "load", "the other")};
    case Kind::hand_valve_shut: return {choice_field<M>("valve", SAGGAR_AT(valve), valves, "supply", "where")};
    case Kind::hand_vent_open: return {quantity_field<M>("bore", "m", SAGGAR_AT(bore_m), 1e-4, 0.05, "0.003 m", "a sharp-edged hole")};
    case Kind::door_not_shut:
      return {optional<M>(quantity_field<M>("for", "s", SAGGAR_AT(for_s), 0.1, 30.0 * 86400.0, "", "until somebody sees it; to the end"),
                          [](const M& mistake) { return mistake.for_s > 0.0; })};
    case Kind::other_load: return {quantity_field<M>("factor", "1", SAGGAR_AT(factor), 0.01, 100.0, "3", "times the mass planned")};
    case Kind::decimal_slip:
      return {text_field<M>("parameter", SAGGAR_AT(parameter), true, "key of the controller file"),
              quantity_field<M>("factor", "1", SAGGAR_AT(factor), 1e-3, 1e3, "10", "what was meant times this was typed")};
    case Kind::units_mistaken:
      return {text_field<M>("segment", SAGGAR_AT(segment), true, "a ramp or cool segment"),
              choice_field<M>("typed", SAGGAR_AT(reading), readings, "degF where degC is taken", "the mistake")};
  }
  return {};
}

#undef SAGGAR_AT

const MistakeKind& row_of(Kind kind) {
  return *std::find_if(kinds.begin(), kinds.end(), [kind](const MistakeKind& row) { return row.kind == kind; });
}

MistakeSource read_mistake(const YamlNode& item, const Scenario& scenario, const Vocabulary& vocabulary) {
  std::vector<std::string> names;
  for (const MistakeKind& kind : kinds) names.emplace_back(kind.name);
  MistakeSource mistake;
  mistake.place = mistake.when.place = item.place;
  read_fields(item, {"mistake", "", moment_fields()}, &mistake.when, names);
  check_moment(item, mistake.when, vocabulary);
  const YamlNode* given = nullptr;
  for (std::size_t i = 0; i < item.keys.size(); ++i) {
    const auto found = std::find(names.begin(), names.end(), item.keys[i].text);
    if (found == names.end()) continue;
    if (given) throw InputError(item.keys[i].place, "`" + *found + "` beside another mistake", "one mistake in an item");
    const MistakeKind& kind = kinds[static_cast<std::size_t>(found - names.begin())];
    given = &item.items[i];
    YamlNode map = *given;
    if (map.is_text() && map.text.empty()) map.place = item.keys[i].place;
    mistake.kind = kind.kind;
    mistake.place = item.keys[i].place;
    read_fields(map, mistake_fields(kind), &mistake);
  }
  if (!given) throw InputError(item.place, "an item without a mistake", "one of " + listed(names));
  mistake.timed = item.keys.size() > 1;
  if (mistake.timed && mistake.kind != Kind::decimal_slip)
    throw InputError(item.place, std::string("a moment for `") + row_of(mistake.kind).name + "`",
                     "no moment: this mistake is made before the run");
  check_mistake(mistake, scenario, *given);
  return mistake;
}

std::string word(const std::vector<std::string>& words, int index) { return words[static_cast<std::size_t>(index)]; }

}  // namespace

std::span<const MistakeKind> mistake_table() { return kinds; }

FieldTable mistake_fields(const MistakeKind& kind) { return {kind.name, kind.meaning, fields_of(kind.kind)}; }

std::string describe_mistakes() {
  std::string text;
  for (const MistakeKind& kind : kinds) {
    text += fmt::format("{:<26} {}\n{:<26} reaches the bench by {}\n", kind.name, kind.meaning, "", kind.reaches);
    for (const Field& field : fields_of(kind.kind)) {
      const std::string preset = field.required ? "must be given" : field.preset.empty() ? "not given" : "default " + field.preset;
      text += fmt::format("  {:<16} {}{} ({})\n", field.key, field.meaning,
                          field.choices.empty() ? "" : ": " + listed(field.choices), preset);
    }
  }
  return text;
}

std::vector<MistakeSource> read_mistakes(const YamlNode& list, const Scenario& scenario, const Vocabulary& vocabulary) {
  if (!list.is_list()) throw InputError(list.place, list.found() + " for `mistakes`", "a list of mistakes");
  std::vector<MistakeSource> mistakes;
  for (const YamlNode& item : list.items) mistakes.push_back(read_mistake(item, scenario, vocabulary));
  return mistakes;
}

std::string write_mistakes(const std::vector<MistakeSource>& mistakes, int indent) {
  std::string text;
  for (const MistakeSource& mistake : mistakes) {
    const MistakeKind& kind = row_of(mistake.kind);
    text += std::string(static_cast<std::size_t>(indent), ' ') + "- " + kind.name + ":\n";
    text += write_fields(mistake_fields(kind), &mistake, indent + 4);
    if (mistake.timed) text += write_fields({"mistake", "", moment_fields()}, &mistake.when, indent + 2);
  }
  return text;
}

std::string sentence(const MistakeSource& m) {
  switch (m.kind) {
    case Kind::wrong_bottle:
      return fmt::format("hangs a bottle of {} where {} belongs", m.carries.empty() ? word(gases, m.gas) : m.carries,
                         word(gases, m.instead_of));
    case Kind::wrong_gas_selected:
      return fmt::format("writes {} into the programme where {} is meant", word(gases, m.gas), word(gases, m.instead_of));
    case Kind::wrong_thermocouple_type:
      return fmt::format("tells the controller that the {} thermocouple is of type {}", word(loops, m.loop), word(types, m.type));
    case Kind::wrong_thermocouple_fitted:
      return fmt::format("fits a thermocouple of type {} as the {} thermocouple", word(types, m.type), word(loops, m.loop));
    case Kind::wrong_extension_wire:
      return fmt::format("lays extension wire of type {} to the thermocouple {}, its head at {}", word(types, m.type), word(couples, m.one),
                         text_of(m.head_degc, "degC"));
    case Kind::thermocouples_swapped:
      return fmt::format("plugs the thermocouples {} and {} into each other's sockets", word(couples, m.one), word(couples, m.other));
    case Kind::hand_valve_shut: return fmt::format("forgets to open the hand valve of the {}", word(valves, m.valve));
    case Kind::hand_vent_open: return fmt::format("forgets to shut the hand vent, bore {:g} mm", m.bore_m * 1e3);
    case Kind::door_not_shut:
      return "forgets to shut the door" + (m.for_s > 0.0 ? ", for " + text_of(m.for_s, "s") : std::string());
    case Kind::other_load: return fmt::format("puts in a load {:g} times as heavy as planned", m.factor);
    case Kind::decimal_slip: {
      const std::string when = m.timed ? ", " + moment_sentence(m.when, {}) : "";
      return fmt::format("slips the decimal point of {}: {:g} times what was meant{}", m.parameter, m.factor, when);
    }
    case Kind::units_mistaken:
      return fmt::format("types the temperature of segment `{}` in {}", m.segment, word(readings, m.reading));
  }
  return "";
}

}  // namespace sim
