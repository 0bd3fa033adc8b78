#include "sim/mistakes.h"

#include <bit>
#include <cmath>
#include <numbers>
#include <string_view>

#include <fmt/format.h>

#include "sim/mistake_file.h"

namespace sim {

namespace {

using Kind = MistakeSource::Kind;

const fw::ParameterInfo* find_parameter(std::string_view name, int& index) {
  const auto table = fw::parameter_table();
  for (index = 0; index < static_cast<int>(table.size()); ++index)
    if (name == table[static_cast<std::size_t>(index)].name) return &table[static_cast<std::size_t>(index)];
  return nullptr;
}

std::uint32_t slipped_bits(const fw::Parameters& parameters, const fw::ParameterInfo& info, double factor) {
  const std::uint32_t bits = fw::parameter_bits(parameters, info);
  if (info.integer) return std::bit_cast<std::uint32_t>(static_cast<std::int32_t>(std::lround(std::bit_cast<std::int32_t>(bits) * factor)));
  return std::bit_cast<std::uint32_t>(static_cast<float>(static_cast<double>(std::bit_cast<float>(bits)) * factor));
}

// A segment whose target is a temperature.
fw::Segment* warm_segment(ProgrammeSource& programme, const std::string& name) {
  for (std::size_t i = 0; i < programme.names.size(); ++i) {
    fw::Segment& segment = programme.segments[i];
    if (programme.names[i] == name && (segment.kind == fw::SegmentKind::ramp || segment.kind == fw::SegmentKind::cool)) return &segment;
  }
  return nullptr;
}

float misread(float degc, int reading) { return reading == 0 ? degc * 1.8f + 32.0f : (degc - 32.0f) / 1.8f; }

std::uint32_t letter_of(int type) {
  return static_cast<std::uint32_t>(plant::thermocouple_letter[static_cast<std::size_t>(type)]);
}

[[noreturn]] void refuse(const YamlNode& given, const char* key, const std::string& found, const std::string& expected,
                         const std::string& nearest = "") {
  const YamlNode* node = given.is_map() ? given.child(key) : nullptr;
  throw InputError(node ? node->place : given.place, found, expected, nearest);
}

void check_slip(const MistakeSource& mistake, const Scenario& scenario, const YamlNode& given) {
  int index = 0;
  const fw::ParameterInfo* info = find_parameter(mistake.parameter, index);
  if (!info) {
    std::vector<std::string> names;
    for (const fw::ParameterInfo& one : fw::parameter_table()) names.emplace_back(one.name);
    refuse(given, "parameter", "the unknown parameter `" + mistake.parameter + "`", "a key of the controller file",
           nearest_name(mistake.parameter, names));
  }
  const std::string_view unit = info->unit;
  if (unit == "letter" || unit == "yes/no") refuse(given, "parameter", "`" + mistake.parameter + "`, which is no number", "a number");
  if (fw::parameter_bits(scenario.parameters, *info) == slipped_bits(scenario.parameters, *info, mistake.factor))
    refuse(given, "factor", fmt::format("a factor {:g} that leaves `{}` as it is", mistake.factor, mistake.parameter), "another factor");
  if (!mistake.timed && !fw::parameter_accepts(*info, slipped_bits(scenario.parameters, *info, mistake.factor)))
    refuse(given, "factor", fmt::format("`{}` times {:g}, which the controller refuses", mistake.parameter, mistake.factor),
           fmt::format("within {:g} to {:g} {}; or a moment, to see it refused on the line", info->low, info->high, info->unit));
}

bool selects(const ProgrammeSource& programme, int gas) {
  for (const fw::Segment& segment : programme.segments)
    if (static_cast<int>(segment.gas) == gas) return true;
  return false;
}

void check_segment(const MistakeSource& mistake, const Scenario& scenario, const YamlNode& given) {
  ProgrammeSource programme = scenario.programme;
  fw::Segment* const segment = warm_segment(programme, mistake.segment);
  if (!segment)
    refuse(given, "segment", "`" + mistake.segment + "`", "a ramp or cool segment of the programme",
           nearest_name(mistake.segment, programme.names));
  segment->target = misread(segment->target, mistake.reading);
  if (!fw::segment_valid(*segment, static_cast<int>(segment - programme.segments.data())))
    refuse(given, "segment", fmt::format("{:g} degC in segment `{}`, which the controller refuses", segment->target, mistake.segment),
           "a temperature that can be mistaken for another");
}

void set_parameter(Scenario& scenario, std::string_view name, std::uint32_t bits) {
  int index = 0;
  if (const fw::ParameterInfo* info = find_parameter(name, index)) fw::set_parameter_bits(scenario.parameters, *info, bits);
}

void slip(const MistakeSource& mistake, Scenario& scenario) {
  int index = 0;
  const fw::ParameterInfo* info = find_parameter(mistake.parameter, index);
  if (!info) return;
  const std::uint32_t bits = slipped_bits(scenario.parameters, *info, mistake.factor);
  if (!mistake.timed) return fw::set_parameter_bits(scenario.parameters, *info, bits);
  OperatorAction action;
  action.when = mistake.when;
  action.parameter = index;
  action.bits = bits;
  action.text = "by mistake " + sentence(mistake);
  action.place = mistake.place;
  scenario.actions.push_back(action);
}

void leave_door(const MistakeSource& mistake, Scenario& scenario) {
  FaultSource fault;
  fault.kind = "door_opened";
  fault.from.at_s = 0.0;
  fault.for_s = mistake.for_s;
  fault.text = "the door is not shut";
  fault.place = mistake.place;
  scenario.faults.push_back(fault);
}

void lay_wire(const MistakeSource& mistake, plant::HandWork& hand) {
  plant::ThermocoupleWiring& wiring = hand.wiring[static_cast<std::size_t>(mistake.one)];
  wiring.wrong_wire = true;
  wiring.wire = static_cast<plant::ThermocoupleType>(mistake.type);
  wiring.head_degc = mistake.head_degc;
}

}  // namespace

void check_mistake(const MistakeSource& mistake, const Scenario& scenario, const YamlNode& given) {
  const plant::Instrumentation& field = scenario.furnace.instruments;
  const auto fitted = [&](int loop) { return loop == 0 ? field.zone_thermocouple : field.load_thermocouple; };
  const auto is = [](plant::ThermocoupleType there, int type) { return static_cast<int>(there) == type; };
  const int zones = scenario.parameters.zones;
  const auto check_couple = [&](const char* key, int couple) {
    if (couple < plant::zones_max && couple >= zones)
      refuse(given, key, "a zone that this furnace does not have", "one of its thermocouples");
  };
  switch (mistake.kind) {
    case Kind::wrong_bottle:
    case Kind::wrong_gas_selected:
      if (!mistake.carries.empty() && mistake.instead_of < 2) refuse(given, "instead_of", "air or none", "a gas that comes in cylinders");
      if (mistake.carries.empty() && (mistake.gas == 0 || mistake.instead_of == 0 || mistake.gas == mistake.instead_of))
        refuse(given, "gas", "the right gas, or none", "another gas than `instead_of`");
      if (mistake.kind == Kind::wrong_gas_selected && !selects(scenario.programme, mistake.instead_of))
        refuse(given, "instead_of", "a gas that no segment selects", "a gas of the programme");
      break;
    case Kind::wrong_thermocouple_type:
    case Kind::wrong_thermocouple_fitted:
      if (is(fitted(mistake.loop), mistake.type)) refuse(given, "type", "the type that is fitted", "another type");
      break;
    case Kind::wrong_extension_wire:
      check_couple("thermocouple", mistake.one);
      if (is(fitted(mistake.one < plant::zones_max ? 0 : 1), mistake.type)) refuse(given, "type", "wire of the right type", "another type");
      break;
    case Kind::thermocouples_swapped:
      check_couple("one", mistake.one);
      check_couple("other", mistake.other);
      if (mistake.one == mistake.other) refuse(given, "other", "the same thermocouple twice", "two thermocouples");
      break;
    case Kind::other_load:
      if (mistake.factor == 1.0) refuse(given, "factor", "the load planned", "another factor");
      break;
    case Kind::decimal_slip: check_slip(mistake, scenario, given); break;
    case Kind::units_mistaken: check_segment(mistake, scenario, given); break;
    case Kind::hand_valve_shut:
    case Kind::hand_vent_open:
    case Kind::door_not_shut: break;
  }
}

void make_mistake(const MistakeSource& mistake, Scenario& scenario) {
  plant::HandWork& hand = scenario.furnace.hand;
  const auto type = static_cast<plant::ThermocoupleType>(mistake.type);
  switch (mistake.kind) {
    case Kind::wrong_bottle:
      hand.carries[static_cast<std::size_t>(mistake.instead_of)] = mistake.carries;
      hand.bottle[static_cast<std::size_t>(mistake.instead_of)] = static_cast<plant::Gas>(mistake.gas);
      break;
    case Kind::wrong_gas_selected:
      for (fw::Segment& segment : scenario.programme.segments)
        if (static_cast<int>(segment.gas) == mistake.instead_of) segment.gas = static_cast<fw::Gas>(mistake.gas);
      break;
    case Kind::wrong_thermocouple_type:
      set_parameter(scenario, mistake.loop == 0 ? "instruments.zone_thermocouple" : "instruments.load_thermocouple",
                    letter_of(mistake.type));
      break;
    case Kind::wrong_thermocouple_fitted:
      (mistake.loop == 0 ? scenario.furnace.instruments.zone_thermocouple : scenario.furnace.instruments.load_thermocouple) = type;
      break;
    case Kind::wrong_extension_wire: lay_wire(mistake, hand); break;
    case Kind::thermocouples_swapped:
      std::swap(hand.wiring[static_cast<std::size_t>(mistake.one)], hand.wiring[static_cast<std::size_t>(mistake.other)]);
      break;
    case Kind::hand_valve_shut:
      (mistake.valve == 0 ? hand.supply_shut : mistake.valve == 1 ? hand.exhaust_shut : hand.pump_shut) = true;
      break;
    case Kind::hand_vent_open: hand.vent_m2 += 0.25 * std::numbers::pi * mistake.bore_m * mistake.bore_m; break;
    case Kind::door_not_shut: leave_door(mistake, scenario); break;
    case Kind::other_load: scenario.furnace.load.mass_kg *= mistake.factor; break;
    case Kind::decimal_slip: slip(mistake, scenario); break;
    case Kind::units_mistaken:
      if (fw::Segment* segment = warm_segment(scenario.programme, mistake.segment))
        segment->target = misread(segment->target, mistake.reading);
      break;
  }
}

Scenario with_mistakes(const Scenario& scenario) {
  Scenario runs = scenario;
  for (const MistakeSource& mistake : scenario.mistakes) make_mistake(mistake, runs);
  return runs;
}

}  // namespace sim
