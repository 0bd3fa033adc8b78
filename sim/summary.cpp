#include "sim/summary.h"

#include <charconv>
#include <cstdio>
#include <fstream>
#include <utility>

#include <nlohmann/json.hpp>

#include "sim/input_error.h"

namespace sim {

namespace {

using Json = nlohmann::ordered_json;

std::string hash_text(std::uint64_t hash) {
  char text[17];
  std::snprintf(text, sizeof text, "%016llx", static_cast<unsigned long long>(hash));
  return text;
}

std::uint64_t hash_of(const std::string& text) {
  std::uint64_t hash = 0;
  std::from_chars(text.data(), text.data() + text.size(), hash, 16);
  return hash;
}

Json expectations_json(const std::vector<ExpectationResult>& results) {
  Json list = Json::array();
  for (const ExpectationResult& result : results) {
    Json one;
    one["name"] = result.name;
    one["verdict"] = result.pass ? "pass" : "fail";
    one["margin"] = result.judged ? Json(result.margin) : Json(nullptr);
    one["unit"] = result.unit;
    one["at_s"] = result.judged ? Json(result.at_s) : Json(nullptr);
    one["failed_s"] = result.failed_s >= 0.0 ? Json(result.failed_s) : Json(nullptr);
    if (result.took_s >= 0.0) one["took_s"] = result.took_s;
    one["scale"] = result.scale;
    one["judged_s"] = result.judged_s;
    one["ticks"] = result.ticks;
    if (result.judged_from_s >= 0.0) one["judged_from_s"] = result.judged_from_s;
    one["statement"] = result.statement;
    if (!result.judged) one["note"] = "never judged: " + result.unjudged;
    list.push_back(std::move(one));
  }
  return list;
}

Json stretches_json(const std::vector<Stretch>& stretches) {
  Json list = Json::array();
  for (const Stretch& stretch : stretches) list.push_back({{"name", stretch.name}, {"from_s", stretch.from_s}, {"to_s", stretch.to_s}});
  return list;
}

double number_or(const Json& json, double otherwise) { return json.is_number() ? json.get<double>() : otherwise; }

std::vector<ExpectationResult> expectations_of(const Json& list) {
  std::vector<ExpectationResult> results;
  for (const Json& one : list) {
    ExpectationResult result;
    result.name = one.at("name");
    result.statement = one.at("statement");
    result.pass = one.at("verdict") == "pass";
    result.judged = one.at("margin").is_number();
    if (const std::string note = one.value("note", ""); note.starts_with("never judged: ")) result.unjudged = note.substr(14);
    result.margin = number_or(one.at("margin"), 0.0);
    result.unit = one.at("unit");
    result.at_s = number_or(one.at("at_s"), 0.0);
    result.failed_s = number_or(one.at("failed_s"), -1.0);
    result.took_s = one.value("took_s", -1.0);
    result.scale = one.at("scale");
    result.judged_s = one.at("judged_s");
    result.ticks = one.at("ticks");
    result.judged_from_s = one.value("judged_from_s", -1.0);
    results.push_back(std::move(result));
  }
  return results;
}

std::vector<Stretch> stretches_of(const Json& list) {
  std::vector<Stretch> stretches;
  for (const Json& one : list) stretches.push_back({one.at("name"), one.at("from_s"), one.at("to_s")});
  return stretches;
}

// Totals are stored by name alone; unit, decimals and meaning stand in the table below.
struct TotalInfo {
  const char *name, *unit;
  int decimals;
  const char* meaning;
};
constexpr TotalInfo total_table[] = {
    {"energy_kwh", "kWh", 3, "electrical energy into the heaters"},
    {"gas_used_sl", "sL", 2, "gas let in, at 0 degC and 101.325 kPa"},
    {"gas_metered_sl", "sL", 2, "the same, as the controller's totaliser counts it"},
    {"peak_gauge_pa", "Pa", 0, "greatest gauge pressure in the retort"},
    {"lowest_pressure_pa", "Pa", 2, "least absolute pressure in the retort"},
    {"peak_zone_1_degc", "degC", 1, "greatest heater-side temperature of zone 1"},
    {"peak_zone_2_degc", "degC", 1, "greatest heater-side temperature of zone 2"},
    {"peak_zone_3_degc", "degC", 1, "greatest heater-side temperature of zone 3"},
    {"peak_zone_4_degc", "degC", 1, "greatest heater-side temperature of zone 4"},
    {"peak_load_core_degc", "degC", 1, "greatest temperature of the load's core"},
    {"peak_casing_degc", "degC", 1, "greatest temperature of the casing"},
    {"peak_power_w", "W", 0, "greatest heater power"},
    {"time_in_trip_s", "s", 1, "time a trip stood"},
    {"time_in_alarm_s", "s", 1, "time at least one alarm was active"},
    {"time_held_s", "s", 1, "time the programme was held"},
};

Total total_of(const std::string& name, double value) {
  for (const TotalInfo& info : total_table) {
    if (name == info.name) return {name, value, info.unit, info.decimals, info.meaning};
  }
  return {name, value, "1", 3, ""};
}

void read_line(const Json& json, LineStatistics& line) {
  line.frames = json.at("frames");
  line.errors = json.at("errors");
  line.retries = json.at("retries");
  line.evaluations = json.at("plant_steps");
  line.utilisation = json.at("utilisation");
  line.latency_mean_us = json.at("latency").at("mean_us");
  line.latency_max_us = json.at("latency").at("max_us");
}

}  // namespace

std::string summary_json(const Summary& summary) {
  Json json;
  json["schema"] = 1;
  json["saggar"] = summary.saggar;
  json["scenario"] = summary.scenario;
  json["title"] = summary.title;
  json["why"] = summary.why;
  json["controller"] = summary.controller;
  json["seed"] = summary.seed;
  json["verdict"] = summary.verdict;
  if (!summary.broken_by.empty()) json["broken_by"] = summary.broken_by;
  json["simulated_s"] = summary.simulated_s;
  json["wall_s"] = summary.wall_s;
  json["speed"] = summary.wall_s > 0.0 ? Json(summary.simulated_s / summary.wall_s) : Json(nullptr);
  json["ticks"] = summary.ticks;
  json["evaluations"] = summary.evaluations;
  json["record_every_s"] = summary.record_every_s;
  json["expectations"] = expectations_json(summary.expectations);
  json["totals"] = Json::object();
  for (const Total& total : summary.totals) json["totals"][total.name] = total.value;
  json["line"] = {{"frames", summary.line.frames},
                  {"errors", summary.line.errors},
                  {"retries", summary.line.retries},
                  {"plant_steps", summary.line.evaluations},
                  {"utilisation", summary.line.utilisation},
                  {"latency", {{"mean_us", summary.line.latency_mean_us}, {"max_us", summary.line.latency_max_us}}}};
  json["hash"] = {{"controller", hash_text(summary.controller_hash)}, {"trace", hash_text(summary.trace_hash)}};
  json["segments"] = stretches_json(summary.segments);
  json["phases"] = stretches_json(summary.phases);
  if (summary.fork.at_s >= 0.0)
    json["fork"] = {{"run", summary.fork.run}, {"hash_trace", hash_text(summary.fork.trace_hash)}, {"at_s", summary.fork.at_s},
                    {"replayed_from_s", summary.fork.replayed_from_s}};
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Summary read_summary(const std::filesystem::path& file) {
  std::ifstream stream(file);
  if (!stream) throw InputError({file.string(), 0, 0}, "no such file", "the summary.json of a run");
  try {
    const Json json = Json::parse(stream);
    Summary summary;
    summary.saggar = json.at("saggar");
    summary.scenario = json.at("scenario");
    summary.title = json.at("title");
    summary.why = json.at("why");
    summary.controller = json.at("controller");
    summary.seed = json.at("seed");
    summary.verdict = json.at("verdict");
    summary.broken_by = json.value("broken_by", "");
    summary.simulated_s = json.at("simulated_s");
    summary.wall_s = json.at("wall_s");
    summary.ticks = json.at("ticks");
    summary.evaluations = json.at("evaluations");
    summary.record_every_s = json.at("record_every_s");
    summary.expectations = expectations_of(json.at("expectations"));
    for (const auto& [name, value] : json.at("totals").items()) summary.totals.push_back(total_of(name, number_or(value, 0.0)));
    read_line(json.at("line"), summary.line);
    summary.controller_hash = hash_of(json.at("hash").at("controller"));
    summary.trace_hash = hash_of(json.at("hash").at("trace"));
    summary.segments = stretches_of(json.at("segments"));
    summary.phases = stretches_of(json.at("phases"));
    if (json.contains("fork")) {
      const Json& fork = json.at("fork");
      summary.fork = {fork.at("run"), hash_of(fork.at("hash_trace")), fork.at("at_s"), fork.value("replayed_from_s", 0.0)};
    }
    return summary;
  } catch (const nlohmann::json::exception& error) {
    throw InputError({file.string(), 0, 0}, error.what(), "the summary.json of a run");
  }
}

Totals::Totals(const SignalTable& table, double period_s) : period_s_(period_s) {
  const auto find_code = [](std::span<const std::string_view> names, std::string_view name) {
    double value = 0.0;
    while (names[static_cast<std::size_t>(value)] != name) value += 1.0;
    return value;
  };
  add(table, "plant.energy", Way::last, 0.0, total_of("energy_kwh", 0.0));
  add(table, "plant.gas_used", Way::last, 0.0, total_of("gas_used_sl", 0.0));
  add(table, "flow.total", Way::last, 0.0, total_of("gas_metered_sl", 0.0));
  add(table, "plant.gas.gauge", Way::highest, 0.0, total_of("peak_gauge_pa", 0.0));
  add(table, "plant.gas.pressure", Way::lowest, 0.0, total_of("lowest_pressure_pa", 0.0));
  for (const char* zone : {"1", "2", "3", "4"}) {
    add(table, std::string("heat.") + zone + ".pv", Way::highest, 0.0, total_of(std::string("peak_zone_") + zone + "_degc", 0.0));
  }
  add(table, "plant.load.core", Way::highest, 0.0, total_of("peak_load_core_degc", 0.0));
  add(table, "plant.casing", Way::highest, 0.0, total_of("peak_casing_degc", 0.0));
  add(table, "plant.power", Way::highest, 0.0, total_of("peak_power_w", 0.0));
  add(table, "interlock.trip", Way::time_not_zero, 0.0, total_of("time_in_trip_s", 0.0));
  add(table, "alarms.active", Way::time_not_zero, 0.0, total_of("time_in_alarm_s", 0.0));
  add(table, "programme.state", Way::time_is, find_code(state_names(), "held"), total_of("time_held_s", 0.0));
}

void Totals::add(const SignalTable& table, const std::string& signal, Way way, double argument, Total total) {
  const int slot = table.find(signal);
  if (slot >= 0) figures_.push_back({way, static_cast<std::size_t>(slot), argument, std::move(total)});
}

void Totals::tick(std::span<const double> frame) {
  for (Figure& figure : figures_) {
    const double now = frame[figure.slot];
    double& value = figure.total.value;
    switch (figure.way) {
      case Way::last: value = now; break;
      case Way::highest: value = !started_ || now > value ? now : value; break;
      case Way::lowest: value = !started_ || now < value ? now : value; break;
      case Way::time_not_zero: value += now != 0.0 ? 1.0 : 0.0; break;   // ticks, until results
      case Way::time_is: value += now == figure.argument ? 1.0 : 0.0; break;
    }
  }
  started_ = true;
}

void Totals::visit(Archive& archive) {
  archive.each(figures_);
  archive(started_);
}

std::vector<Total> Totals::results() const {
  std::vector<Total> results;
  for (const Figure& figure : figures_) {
    results.push_back(figure.total);
    if (figure.way == Way::time_not_zero || figure.way == Way::time_is) results.back().value *= period_s_;
  }
  return results;
}

}  // namespace sim
