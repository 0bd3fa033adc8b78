#include "sim/description.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

#include <fmt/format.h>

#include "plant/heating_circuit.h"
#include "sim/action_sentence.h"
#include "sim/expectation_sentence.h"
#include "sim/fault_sentence.h"
#include "sim/mistake_file.h"
#include "sim/moment_sentence.h"
#include "sim/programme_sentence.h"
#include "sim/signals.h"

namespace sim {

namespace {

constexpr int steps_max = 1'000'000;      // of a programme with nested repeats: then the answer is "longer than that"

double ramp_s(const fw::Segment& segment, double& setpoint_degc) {
  const double way_k = std::fabs(segment.target - setpoint_degc);
  setpoint_degc = segment.target;
  return (segment.options & fw::ramp_by_time) ? segment.duration_ms * 1e-3 : way_k / segment.rate;
}

// The signals whose names stand in the text, and what they are.
std::string names_used(const std::string& text, const SignalTable& table) {
  std::string list;
  for (const Signal& signal : table.signals()) {
    const auto part_of_name = [](char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_' || c == '.'; };
    bool used = false;
    for (std::size_t at = text.find(signal.name); at != std::string::npos && !used; at = text.find(signal.name, at + 1)) {
      const std::size_t end = at + signal.name.size();
      const bool ends = end == text.size() || !part_of_name(text[end]) || (text[end] == '.' && !part_of_name(text[end + 1]));
      used = (at == 0 || !part_of_name(text[at - 1])) && ends;
    }
    if (used) list += fmt::format("    {}: {}{}\n", signal.name, signal.meaning, signal.unit == "1" ? "" : " [" + signal.quantity + "]");
  }
  return list.empty() ? "" : "  names used above:\n" + list;
}

void compare(std::vector<std::string>& remarks, const char* what, double controller, double furnace, const char* unit) {
  if (std::fabs(controller - furnace) > 1e-6 * std::fabs(furnace))
    remarks.push_back(fmt::format("{}: the controller expects {:.6g}, the furnace has {:.6g} {}", what, controller, furnace, unit));
}

void add_programme(std::string& text, const ProgrammeSource& programme, double start_degc, const DisplayUnits& units) {
  const std::vector<std::string> sentences = programme_sentences(programme, start_degc, units);
  for (std::size_t i = 0; i < sentences.size(); ++i) text += fmt::format("    {:2} {}: {}\n", i + 1, programme.names[i], sentences[i]);
}

}  // namespace

double programme_s(const ProgrammeSource& programme, double start_degc) {
  double sum_s = 0.0, setpoint_degc = start_degc;
  std::vector<int> done(programme.segments.size(), 0);
  std::size_t index = 0;
  for (int step = 0; step < steps_max && index < programme.segments.size(); ++step) {
    const fw::Segment& segment = programme.segments[index];
    if (segment.kind == fw::SegmentKind::repeat) {
      const bool again = ++done[index] < segment.count;
      if (!again) done[index] = 0;
      index = again ? segment.jump : index + 1;
      continue;
    }
    sum_s += segment.kind == fw::SegmentKind::ramp ? ramp_s(segment, setpoint_degc) : segment.duration_ms * 1e-3;
    ++index;
  }
  return sum_s;
}

namespace {

// The programme against what the elements may have. To give off its power to surroundings at T a panel stands, by radiation alone, at
// (T^4 + P / (A eps sigma))^(1/4): the most it comes to, at full power.
void add_element_remark(std::vector<std::string>& remarks, const Scenario& scenario) {
  const plant::Furnace& f = scenario.furnace;
  double highest_degc = f.initial.furnace_degc;
  for (const fw::Segment& segment : scenario.programme.segments)
    if (segment.kind == fw::SegmentKind::ramp) highest_degc = std::max(highest_degc, static_cast<double>(segment.target));
  for (int z = 0; z < f.heaters.zones; ++z) {
    const double limit_degc = plant::element_limit_degc(f.electric, z);
    double hottest_w = 0.0;
    for (const plant::Panel& panel : f.heaters.panel)
      if (f.heaters.zones == 1 || panel.zone == z + 1) hottest_w = std::max(hottest_w, panel.power_w);
    const double around_k = highest_degc + 273.15;
    const double rise = hottest_w / (f.heaters.area_m2 * f.heaters.emissivity * 5.670374419e-8);   // CODATA 2018
    const double element_degc = std::sqrt(std::sqrt(around_k * around_k * around_k * around_k + rise)) - 273.15;
    if (limit_degc <= 0.0 || element_degc <= limit_degc) continue;
    remarks.push_back(fmt::format("programme to {:g} degC: at full power the elements of zone {} come to {:.0f} degC, "
                                  "they may have {:g} degC", highest_degc, z + 1, element_degc, limit_degc));
  }
}

}  // namespace

std::vector<std::string> mismatches(const Scenario& scenario) {
  const fw::Parameters& core = scenario.parameters;
  const plant::Instrumentation& field = scenario.furnace.instruments;
  std::vector<std::string> remarks;
  const auto type = [&](const char* what, int letter, plant::ThermocoupleType fitted) {
    const int there = plant::thermocouple_letter[static_cast<std::size_t>(fitted)];
    if (letter != there)
      remarks.push_back(fmt::format("{} thermocouple: the controller expects type {}, the furnace has type {}", what,
                                    static_cast<char>(letter), static_cast<char>(there)));
  };
  type("heater-side", core.zone_thermocouple, field.zone_thermocouple);
  type("load", core.load_thermocouple, field.load_thermocouple);
  compare(remarks, "heat zones", core.zones, scenario.furnace.heaters.zones, "");
  compare(remarks, "gauge pressure at 4 mA", core.gauge_low_pa, field.gauge_pressure_pa.low, "Pa gauge");
  compare(remarks, "gauge pressure at 20 mA", core.gauge_high_pa, field.gauge_pressure_pa.high, "Pa gauge");
  compare(remarks, "capacitance gauge at 10 V", core.capacitance_full_scale_pa, field.vacuum_full_scale_pa, "Pa abs");
  compare(remarks, "barometer at 4 mA", core.barometer_low_pa, field.barometer_pa.low, "Pa abs");
  compare(remarks, "barometer at 20 mA", core.barometer_high_pa, field.barometer_pa.high, "Pa abs");
  compare(remarks, "mass-flow controller at 20 mA", core.meter_full_scale_slm, scenario.furnace.meter.full_scale_slm, "slm");
  add_element_remark(remarks, scenario);
  compare(remarks, "argon conversion", core.gas_conversion[3], scenario.furnace.meter.conversion_argon, "");
  return remarks;
}

std::string describe(const Scenario& scenario) {
  const DisplayUnits& units = scenario.display;
  std::string text = fmt::format("{}\n", scenario.title);
  if (!scenario.why.empty()) text += fmt::format("  {}\n", scenario.why);
  text += fmt::format("  furnace: {}\n  controller: {}, period {} ms, {} heat zone{}\n", scenario.furnace_title, scenario.controller_title,
                      scenario.parameters.period_ms, scenario.parameters.zones, scenario.parameters.zones == 1 ? "" : "s");
  if (units.chosen()) text += fmt::format("  shown: {}; as written in parentheses\n", display_remark(units));
  for (const std::string& remark : mismatches(scenario)) text += "  remark: " + remark + "\n";
  for (const std::string& said : environment_sentences(scenario.environment))
    text += "  environment: " + in_display_units(said, units) + "\n";
  const double start_degc = scenario.furnace.initial.furnace_degc;
  text += fmt::format("  programme of {} segments, at least {}, the run at most {}:\n", scenario.programme.segments.size(),
                      about_time_sentence(programme_s(scenario.programme, start_degc)), time_sentence(scenario.run.at_most_s));
  add_programme(text, scenario.programme, start_degc, units);
  for (const OtherProgramme& other : scenario.programmes) {
    text += fmt::format("  programme `{}`, {}:\n", other.name, other.stored ? "in the store" : "to be written over the supervisory line");
    add_programme(text, other.programme, start_degc, units);
  }
  for (const OperatorAction& action : scenario.actions) text += fmt::format("  operator: {}\n", action_sentence(action, units));
  for (const MistakeSource& mistake : scenario.mistakes)
    text += fmt::format("  mistake: the operator {}\n", in_display_units(sentence(mistake), units));
  for (const FaultSource& fault : scenario.faults) text += fmt::format("  fault: {}\n", fault_sentence(fault, units));
  text += fmt::format("  {} expectations, judged at every tick{}\n", scenario.expectations.size(),
                      scenario.expectations.empty() ? ": the verdict can only be `fail`" : ":");
  for (const ExpectationSource& expectation : scenario.expectations) text += fmt::format("    {}\n", sentence(expectation, units));
  return text + names_used(text, SignalTable(scenario.parameters.zones));
}

}  // namespace sim
