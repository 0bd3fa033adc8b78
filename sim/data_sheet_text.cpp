#include "sim/data_sheet_text.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "sim/cautions.h"
#include "sim/description.h"

namespace sim {

namespace {

using Json = nlohmann::ordered_json;

std::string duration(double s) {
  if (s < 99.5) return fmt::format("{:.0f} s", s);
  if (s < 5970.0) return fmt::format("{:.1f} min", s / 60.0);
  return fmt::format("{:.1f} h", s / 3600.0);
}
std::string duration(const Maybe& s) { return s ? duration(*s) : "not reached"; }

std::string cell(const Maybe& value, const char* format) { return value ? fmt::format(fmt::runtime(format), *value) : "-"; }

std::string temperature(double degc, const DisplayUnits& units) { return shown_fixed(degc, 0, "degC", units); }

void add_levels(std::string& text, const DataSheet& sheet, const DisplayUnits& units) {
  text += fmt::format("\nHeat ({:.0f} W installed at nominal mains; chamber holds {}, nothing flows)\n", sheet.installed_w,
                      sheet.hold_gas);
  text += fmt::format("  {:>12} {:>10} {:>9} {:>12} {:>10} {:>12} {:>16} {:>14} {:>12}\n", "heater side", "holds with",
                      "of power", "mains -10 %", "headroom", "load, steady", "casing, steady", "full power", "mains -10 %");
  for (const HoldLevel& level : sheet.levels) {
    text += fmt::format("  {:>12} ", temperature(level.degc, units));
    if (level.power_w) {
      text += fmt::format("{:>8.0f} W {:>7.0f} % {:>10.0f} W {:>8.0f} % {:>12} {:>16} ", *level.power_w,
                          100.0 * *level.power_w / sheet.installed_w, level.low_mains_w,
                          100.0 * (level.low_mains_w / *level.power_w - 1.0), temperature(level.load_degc, units),
                          temperature(level.casing_degc, units));
    } else {
      text += fmt::format("{:<71} ", level.limiter ? "the over-temperature limiter opens first" : "not held by full power");
    }
    text += fmt::format("{:>14} {:>12}\n", cell(level.heating_k_min, "{:.1f} K/min"),
                        cell(level.heating_low_mains_k_min, "{:.1f} K/min"));
  }
  text +=
      "  headroom: what full power leaves above the steady power with the mains 10 % low. Full power: heating rate of the "
      "heater side "
      "in\n  passing, from cold.\n";
  for (const HoldLevel& level : sheet.levels)
    if (level.reach_s)
      text += fmt::format("  {} from cold at full power: {}\n", temperature(level.degc, units), duration(*level.reach_s));
  for (const StepResponse& step : sheet.steps) {
    text += fmt::format(
        "  time constants at {} (63 % of the change after a tenth less power): heater side {}, load {}, casing {}\n",
        temperature(step.at_degc, units), duration(step.heater_s), duration(step.load_s), duration(step.casing_s));
  }
  if (sheet.cooling.empty()) return;
  text +=
      fmt::format("  cooling, heat off, inert purge open, load's core from {}:", temperature(sheet.cooling_from_degc, units));
  for (const Cooling& one : sheet.cooling) text += fmt::format(" {} {},", temperature(one.degc, units), duration(one.time_s));
  text += fmt::format(" casing at most {}\n", temperature(sheet.cooling_casing_degc, units));
}

// A rise needs no word that says of what it is a difference.
std::string rise(double pa, const DisplayUnits& units) {
  std::string text = shown(pa, "Pa diff", units);
  if (text.ends_with(" diff")) text.resize(text.size() - 5);
  return text;
}

void add_elements(std::string& text, const DataSheet& sheet, const DisplayUnits& units) {
  for (const ElementSheet& one : sheet.elements) {
    text += fmt::format("  elements of zone {}: {}, {} at most; cold {:.0f} % of the resistance rated, {:.2f} times that of new ones\n",
                        one.zone, one.material, temperature(one.limit_degc, units), 100.0 * one.cold_share, one.age);
    if (one.load_w_cm2 > 0.0)
      text += fmt::format("    surface load at rated power {:.1f} W/cm2, usual {:g} to {:g} W/cm2\n", one.load_w_cm2, one.low_w_cm2,
                          one.high_w_cm2);
  }
  double limit_degc = 1e9;
  for (const ElementSheet& one : sheet.elements) limit_degc = std::min(limit_degc, one.limit_degc);
  for (const HoldLevel& level : sheet.levels) {
    if (sheet.elements.empty() || !level.power_w) continue;
    text += fmt::format("    holding {} the hottest is at {}{}\n", temperature(level.degc, units), temperature(level.element_degc, units),
                        level.element_degc > limit_degc ? ": more than it may have" : "");
  }
}

std::string pressure_rate(double pa_s, const DisplayUnits& units) {
  return "by " + rise(pa_s, units) + "/s (" + rise(60.0 * pa_s, units) + "/min)";
}

void add_blocked(std::string& text, const char* when, const Blocked& blocked, const DisplayUnits& units) {
  text += fmt::format(
      "  exhaust blocked, {}, gas at {}: pressure rises {} with the mass-flow controller at full scale, {} with the inert purge "
      "alone; relief valve after {}\n",
      when, temperature(blocked.gas_degc, units), pressure_rate(blocked.meter_pa_s, units),
      pressure_rate(blocked.restrictor_pa_s, units), duration(blocked.relief_s));
}

void add_gas(std::string& text, const DataSheet& sheet, const DisplayUnits& units) {
  text += "\nVacuum and gas, cold\n  pump-down from the barometer:";
  const PumpDown& pump = sheet.pump_down;
  for (std::size_t i = 0; i < pump.limit_pa.size(); ++i)
    text += fmt::format(" {} {},", shown(pump.limit_pa[i], "Pa abs", units, Digits::written), duration(pump.time_s[i]));
  text += fmt::format(" {} after {}\n", shown(pump.after_pa, "Pa abs", units), duration(pump.after_s));
  const OxygenTimes& oxygen = sheet.oxygen;
  const auto row = [&](const std::string& how, const std::array<Maybe, 3>& times, double end_ppm) {
    text += fmt::format("  oxygen from room air, {}:", how);
    for (std::size_t i = 0; i < times.size(); ++i)
      text += fmt::format(" {:g} ppm {}{}", oxygen.limit_ppm[i], duration(times[i]), i + 1 < times.size() ? "," : "");
    text += times.back() ? "\n" : fmt::format("; {:.3g} ppm in the end\n", end_ppm);
  };
  const plant::Furnace& f = sheet.furnace;
  row(fmt::format("purge by the mass-flow controller at full scale ({:g} slm of nitrogen)", f.meter.full_scale_slm),
      oxygen.meter_s, oxygen.meter_ppm);
  row(fmt::format("inert purge alone ({:g} slm)", f.purge.flow_slm), oxygen.restrictor_s, oxygen.restrictor_ppm);
  if (oxygen.low_pa > 0.0) {
    text += fmt::format("  oxygen from room air, vacuum cycles to {}:", shown(oxygen.low_pa, "Pa abs", units, Digits::written));
    for (std::size_t i = 0; i < oxygen.limit_ppm.size(); ++i) {
      text += oxygen.cycles_s[i]
                  ? fmt::format(" {:g} ppm {} in {},", oxygen.limit_ppm[i], duration(oxygen.cycles_s[i]), oxygen.cycles[i])
                  : fmt::format(" {:g} ppm not reached,", oxygen.limit_ppm[i]);
    }
    text += fmt::format(" {:.3g} ppm after the first\n", oxygen.first_cycle_ppm);
  } else {
    text += "  vacuum cycles: the pump does not get low enough\n";
  }
  add_blocked(text, "cold", sheet.blocked_cold, units);
  if (sheet.blocked_hot) add_blocked(text, "hot", *sheet.blocked_hot, units);
}

void add_stress(std::string& text, const WallStress& s, const DisplayUnits& units) {
  const auto mpa = [](double pa) { return fmt::format("{:.2f} MPa", pa * 1e-6); };
  text += fmt::format("\nRetort's wall under vacuum ({} inside, {} outside; {:.0f} mm inside, wall {:.1f} mm)\n",
                      shown(s.vacuum_pa, "Pa abs", units), shown(s.outside_pa, "Pa abs", units), 2e3 * s.wall.inner_radius_m,
                      1e3 * s.wall.wall_m);
  text += fmt::format("  barrel, hoop: {} at the inner surface (thick wall; {} by the thin-wall formula)\n", mpa(s.hoop_pa),
                      mpa(s.thin_hoop_pa));
  text += fmt::format("  closed end if flat: tension of {} clamped, {} simply supported\n", mpa(s.clamped_end_pa),
                      mpa(s.supported_end_pa));
  text += fmt::format("  a long tube of an elastic modulus below {:.2f} GPa would collapse\n", s.collapse_modulus_pa * 1e-9);
  text += fmt::format("  relief valve wide open ({}): hoop {}, flat end {}\n", shown(s.relief_pa, "Pa gauge", units),
                      mpa(s.relief_hoop_pa), mpa(s.relief_supported_end_pa));
  text +=
      "  Caution: elastic stress at one temperature, no more. A ceramic breaks from flaws, at supports and seals, by thermal "
      "shock and\n"
      "  creep, at a fraction of its bending strength. Its maker and the pressure-equipment code decide what it may bear.\n";
}

Json number(const Maybe& value) { return value ? Json(*value) : Json(nullptr); }

template <std::size_t N>
Json numbers(const std::array<Maybe, N>& values) {
  Json list = Json::array();
  for (const Maybe& value : values) list.push_back(number(value));
  return list;
}

Json blocked_json(const Blocked& b) {
  return {{"gas_degc", b.gas_degc},
          {"meter_pa_s", b.meter_pa_s},
          {"purge_pa_s", b.restrictor_pa_s},
          {"relief_s", number(b.relief_s)}};
}

Json heat_json(const DataSheet& sheet) {
  Json json;
  json["installed_w"] = sheet.installed_w;
  json["gas"] = sheet.hold_gas;
  json["levels"] = Json::array();
  for (const HoldLevel& level : sheet.levels) {
    Json one{{"heater_side_degc", level.degc}, {"power_w", number(level.power_w)}, {"limiter", level.limiter}};
    if (level.power_w) {
      one["low_mains_w"] = level.low_mains_w;
      one["headroom"] = level.low_mains_w / *level.power_w - 1.0;
      one["load_degc"] = level.load_degc;
      one["casing_degc"] = level.casing_degc;
      one["element_degc"] = level.element_degc;
    }
    one["heating_k_min"] = number(level.heating_k_min);
    one["heating_low_mains_k_min"] = number(level.heating_low_mains_k_min);
    one["reach_s"] = number(level.reach_s);
    json["levels"].push_back(one);
  }
  json["elements"] = Json::array();
  for (const ElementSheet& one : sheet.elements)
    json["elements"].push_back({{"zone", one.zone},
                                {"material", one.material},
                                {"limit_degc", one.limit_degc},
                                {"surface_load_w_cm2", one.load_w_cm2 > 0.0 ? Json(one.load_w_cm2) : Json(nullptr)},
                                {"usual_w_cm2", {one.low_w_cm2, one.high_w_cm2}},
                                {"cold_resistance", one.cold_share},
                                {"age", one.age}});
  json["time_constants"] = Json::array();
  for (const StepResponse& step : sheet.steps)
    json["time_constants"].push_back({{"at_degc", step.at_degc},
                                      {"heater_side_s", number(step.heater_s)},
                                      {"load_s", number(step.load_s)},
                                      {"casing_s", number(step.casing_s)}});
  json["cooling"] = {
      {"from_degc", sheet.cooling_from_degc}, {"casing_at_most_degc", sheet.cooling_casing_degc}, {"to", Json::array()}};
  for (const Cooling& one : sheet.cooling)
    json["cooling"]["to"].push_back({{"degc", one.degc}, {"time_s", number(one.time_s)}});
  return json;
}

Json gas_json(const DataSheet& sheet) {
  const PumpDown& pump = sheet.pump_down;
  const OxygenTimes& oxygen = sheet.oxygen;
  Json json;
  json["pump_down"] = {
      {"to_pa", pump.limit_pa}, {"time_s", numbers(pump.time_s)}, {"after_s", pump.after_s}, {"after_pa", pump.after_pa}};
  json["oxygen"] = {{"to_ppm", oxygen.limit_ppm},
                    {"meter_s", numbers(oxygen.meter_s)},
                    {"meter_end_ppm", oxygen.meter_ppm},
                    {"purge_s", numbers(oxygen.restrictor_s)},
                    {"purge_end_ppm", oxygen.restrictor_ppm},
                    {"cycles_low_pa", oxygen.low_pa},
                    {"cycles_s", numbers(oxygen.cycles_s)},
                    {"cycles", oxygen.cycles},
                    {"first_cycle_ppm", oxygen.first_cycle_ppm}};
  json["blocked_cold"] = blocked_json(sheet.blocked_cold);
  json["blocked_hot"] = sheet.blocked_hot ? blocked_json(*sheet.blocked_hot) : Json(nullptr);
  return json;
}

Json stress_json(const WallStress& s) {
  return {{"outside_pa", s.outside_pa},
          {"vacuum_pa", s.vacuum_pa},
          {"hoop_pa", s.hoop_pa},
          {"thin_hoop_pa", s.thin_hoop_pa},
          {"clamped_end_pa", s.clamped_end_pa},
          {"supported_end_pa", s.supported_end_pa},
          {"collapse_modulus_pa", s.collapse_modulus_pa},
          {"relief_gauge_pa", s.relief_pa},
          {"relief_hoop_pa", s.relief_hoop_pa},
          {"relief_supported_end_pa", s.relief_supported_end_pa}};
}

}  // namespace

std::string data_sheet_text(const DataSheet& sheet, const DisplayUnits& units) {
  std::string text = fmt::format("Data sheet of `{}`, from experiments on its model ({} simulated)\n", sheet.title,
                                 duration(sheet.simulated_s));
  add_levels(text, sheet, units);
  add_elements(text, sheet, units);
  add_gas(text, sheet, units);
  if (sheet.stress) add_stress(text, *sheet.stress, units);
  return text + fmt::format("\n{}\n", short_caution);
}

std::string data_sheet_json(const DataSheet& sheet, const std::vector<HandbookRemark>& remarks) {
  Json json{{"schema", 1}, {"title", sheet.title}, {"simulated_s", sheet.simulated_s}};
  json["heat"] = heat_json(sheet);
  json["gas"] = gas_json(sheet);
  json["stress"] = sheet.stress ? stress_json(*sheet.stress) : Json(nullptr);
  json["remarks"] = Json::array();
  for (const HandbookRemark& one : remarks)
    json["remarks"].push_back({{"line", one.place.line},
                               {"column", one.place.column},
                               {"key", one.key},
                               {"value", one.value},
                               {"low", one.low},
                               {"high", one.high},
                               {"unit", one.unit},
                               {"source", one.source}});
  return json.dump(2) + "\n";
}

}  // namespace sim
