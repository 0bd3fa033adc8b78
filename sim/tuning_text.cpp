// What the tuning desk says: a table for people, JSON for programs.
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "sim/tuning_candidates.h"

namespace sim {

namespace {

using Json = nlohmann::ordered_json;

Json number(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }

Json with_unit(double value, const std::string& unit) { return {{"value", number(value)}, {"unit", unit}}; }

std::string per_second(const std::string& unit) { return unit == "1" ? "1/s" : unit + "/s"; }
std::string times_second(const std::string& unit) { return unit == "1" ? "s" : unit + " s"; }

Json gains_json(const TuningCandidate& one, const std::string& unit) {
  Json gains;
  gains["form"] = "isa";
  const std::optional<IsaGains> form = isa(one.law.gains);
  if (form) {
    gains["gain"] = with_unit(form->gain, unit);
    gains["integral"] = form->integral_s > 0.0 ? with_unit(form->integral_s, "s") : Json(nullptr);
    gains["derivative"] = with_unit(form->derivative_s, "s");
    const std::optional<SeriesGains> chained = series(*form);
    if (chained) {
      gains["series"] = {{"gain", with_unit(chained->gain, unit)},
                         {"integral", chained->integral_s > 0.0 ? with_unit(chained->integral_s, "s") : Json(nullptr)},
                         {"derivative", with_unit(chained->derivative_s, "s")}};
    }
  } else {
    gains["gain"] = with_unit(0.0, unit);
    gains["integral"] = nullptr;
    gains["derivative"] = with_unit(0.0, "s");
  }
  gains["parallel"] = {{"proportional", with_unit(one.law.gains.proportional, unit)},
                       {"integral", with_unit(one.law.gains.integral, per_second(unit))},
                       {"derivative", with_unit(one.law.gains.derivative, times_second(unit))}};
  gains["derivative_filter"] = with_unit(one.law.filter_s, "s");
  gains["setpoint_weight"] = one.law.setpoint_weight;
  return gains;
}

Json margins_json(const LoopMargins& margins) {
  return {{"stable", margins.stable},
          {"Ms", number(margins.sensitivity_peak)},
          {"Mt", number(margins.complementary_peak)},
          {"gain_margin", number(margins.gain_margin)},
          {"gain_reduction", number(margins.gain_reduction)},
          {"phase_margin_deg", number(margins.phase_margin_deg)},
          {"delay_margin_s", number(margins.delay_margin_s)},
          {"crossover_rad_s", number(margins.crossover_rad_s)},
          {"phase_crossover_rad_s", number(margins.phase_crossover_rad_s)},
          {"bandwidth_rad_s", number(margins.bandwidth_rad_s)}};
}

Json figures_json(const LoopFigures& figures, bool setpoint) {
  Json json{{"iae", number(figures.absolute_error)},
            {"settled", figures.settled},
            {"settling_s", number(figures.settling_s)},
            {"travel", number(figures.travel)}};
  json[setpoint ? "overshoot" : "largest_error"] = number(setpoint ? figures.overshoot : figures.largest_error);
  return json;
}

Json basis_json(const RuleResult& basis) {
  Json json = Json::object();
  if (basis.model)
    json["model"] = {{"gain", basis.model->gain},
                     {"integrators", basis.model->integrators},
                     {"lag_s", basis.model->lag_s},
                     {"second_lag_s", basis.model->second_lag_s},
                     {"delay_s", basis.model->delay_s}};
  if (basis.cycle)
    json["relay"] = {{"amplitude", basis.cycle->amplitude},
                     {"period_s", basis.cycle->period_s},
                     {"gain_plain", basis.cycle->gain_plain},
                     {"gain", basis.cycle->gain}};
  if (basis.ultimate_gain != 0.0) json["ultimate"] = {{"gain", basis.ultimate_gain}, {"period_s", basis.ultimate_period_s}};
  if (basis.closed_loop_s > 0.0) json["closed_loop_s"] = basis.closed_loop_s;
  return json;
}

Json candidate_json(const TuningCandidate& one, const std::string& unit) {
  Json json{{"rule", one.rule}, {"controller", name_of(one.kind)}};
  if (!one.refusal.empty()) {
    json["refused"] = one.refusal;
    return json;
  }
  json["gains"] = gains_json(one, unit);
  json["margins"] = margins_json(one.judgement.margins);
  const bool courses = !one.judgement.setpoint_course.value.empty();
  json["setpoint"] = courses ? figures_json(one.judgement.setpoint, true) : Json(nullptr);
  json["load"] = courses ? figures_json(one.judgement.load, false) : Json(nullptr);
  json["noise_gain"] = number(one.judgement.noise_gain);
  if (one.basis) json["basis"] = basis_json(*one.basis);
  if (!one.bound_by.empty()) json["bound_by"] = one.bound_by;
  return json;
}

std::string figure(double value, int digits = 3) {
  if (std::isinf(value)) return "any";
  return fmt::format("{:.{}g}", value, digits);
}

std::string line_of(const TuningCandidate& one, bool recommended) {
  const std::string name = fmt::format("{}{:<12}{:<5}", recommended ? "> " : "  ", one.rule, name_of(one.kind));
  if (!one.refusal.empty()) return name + one.refusal + "\n";
  const IsaGains gains = isa(one.law.gains).value_or(IsaGains{});
  const LoopMargins& margins = one.judgement.margins;
  std::string line =
      name + fmt::format("{:>10}{:>10}{:>10}{:>7}", figure(gains.gain, 4), gains.integral_s > 0.0 ? figure(gains.integral_s, 4) : "-",
                         gains.derivative_s > 0.0 ? figure(gains.derivative_s, 4) : "-", figure(one.law.setpoint_weight, 2));
  if (one.law.gains.proportional == 0.0) line += fmt::format("  integral alone, {} a second;", figure(one.law.gains.integral, 4));
  if (!margins.stable) return line + "  unstable\n";
  line += fmt::format("{:>8.3f}{:>8.3f}{:>10}{:>8}{:>10}", margins.sensitivity_peak, margins.complementary_peak,
                      figure(margins.gain_margin), figure(margins.phase_margin_deg), figure(margins.delay_margin_s));
  if (one.judgement.setpoint_course.value.empty()) return line + "\n";
  const LoopFigures& setpoint = one.judgement.setpoint;
  const auto settled = [](const LoopFigures& figures, double value) { return figures.settled ? figure(value, 4) : std::string("never"); };
  return line + fmt::format("{:>11}{:>8.1f} %{:>10}{:>11}{:>10}\n", settled(setpoint, setpoint.absolute_error), 100.0 * setpoint.overshoot,
                            settled(setpoint, setpoint.settling_s), settled(one.judgement.load, one.judgement.load.absolute_error),
                            figure(one.judgement.noise_gain));
}

}  // namespace

std::string tuning_text(const ProcessFile& file, const TuningDesk& desk) {
  std::string text = file.title.empty() ? "" : file.title + "\n";
  text += "G(s) = " + formula(file.process) + "\n";
  if (file.sampling.period_s > 0.0)
    text += fmt::format("sampled every {:.6g} s, {:.6g} s from sample to actuator\n", file.sampling.period_s, file.sampling.latency_s);
  text += fmt::format("\n  {:<12}{:<5}{:>10}{:>10}{:>10}{:>7}{:>8}{:>8}{:>10}{:>8}{:>10}{:>11}{:>10}{:>10}{:>11}{:>10}\n", "rule", "",
                      "gain",
                      "Ti [s]", "Td [s]", "b", "Ms", "Mt", "GM", "PM deg", "delay s", "IAE set", "over", "settles", "IAE load", "noise");
  for (std::size_t i = 0; i < desk.candidates.size(); ++i) text += line_of(desk.candidates[i], static_cast<int>(i) == desk.recommended);
  text += "\nGains of the ISA form, " + file.gain_unit() +
          "; IAE of unit steps; noise: standard deviation of the output by the process value's.\n";
  if (desk.recommended >= 0) {
    const TuningCandidate& one = desk.candidates[static_cast<std::size_t>(desk.recommended)];
    text += fmt::format("recommended: {} {}: {}\n", one.rule, name_of(one.kind), desk.reason);
  } else if (desk.candidates.size() != 1) {
    text += "recommended: none: " + desk.reason + "\n";
  }
  return text;
}

std::string tuning_json(const ProcessFile& file, const TuningDesk& desk) {
  Json root{{"schema", 1}, {"title", file.title}, {"process", formula(file.process)}};
  root["sampling"] =
      file.sampling.period_s > 0.0 ? Json{{"period_s", file.sampling.period_s}, {"latency_s", file.sampling.latency_s}} : Json(nullptr);
  root["candidates"] = Json::array();
  for (const TuningCandidate& one : desk.candidates) root["candidates"].push_back(candidate_json(one, file.gain_unit()));
  root["recommended"] = desk.recommended >= 0 ? Json(desk.recommended) : Json(nullptr);
  root["reason"] = desk.reason;
  return root.dump(2) + "\n";
}

}  // namespace sim
