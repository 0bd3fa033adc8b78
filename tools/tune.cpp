// saggar tune: gains for a loop, from rules and by search, each judged on it.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/cautions.h"
#include "sim/linearisation.h"
#include "sim/process_file.h"
#include "sim/record_file.h"
#include "sim/scenario.h"
#include "sim/tuning_candidates.h"
#include "sim/units.h"
#include "tools/progress.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Options {
  std::string record, input, output, from, to, period;
  std::string process, scenario, loop, at, settle = "2 h", form = "isa", gains, closed_loop;
  std::vector<std::string> sets;
  std::chrono::steady_clock::time_point begin;
  std::vector<std::string> rules, kinds;
  double filter = 0.0, sensitivity = 1.6, travel = 0.0, noise = 0.0, hysteresis = 0.0, weight = 1.0;
  bool json = false;
};

CLI::Validator rule_name() {
  const auto check = [](const std::string& text) -> std::string {
    if (sim::is_rule(text)) return "";
    const std::string nearest = sim::nearest_name(text, sim::rule_names());
    return "found rule '" + text + "', expected one of " + sim::listed(sim::rule_names()) +
           (nearest.empty() ? "" : " (nearest: " + nearest + ")");
  };
  return {check, ""};
}

double seconds_of(const std::string& text, const std::string& option) {
  try {
    return sim::value_in(text, sim::unit_of("s"));
  } catch (const sim::UnitError& error) {
    throw UsageError(option + ": " + error.what());
  }
}

// "0.5, 8 s, 4 s": gain, integral, derivative in the form asked for; an integral left out or 0 s: none. Of the parallel form "0.5, 0.1
// 1/s, 2 s".
sim::ParallelGains gains_of(const Options& options) {
  std::vector<std::string> parts;
  for (std::size_t from = 0; from <= options.gains.size();) {
    const std::size_t to = std::min(options.gains.find(',', from), options.gains.size());
    parts.push_back(options.gains.substr(from, to - from));
    from = to + 1;
  }
  if (parts.size() > 3)
    throw UsageError("--gains: found " + std::to_string(parts.size()) + " values, expected gain, integral, derivative");
  const std::optional<double> gain = sim::number_of(parts[0]);
  if (!gain) throw UsageError("--gains: found '" + parts[0] + "', expected a number first");
  const auto second = [&](std::size_t i) { return i < parts.size() ? seconds_of(parts[i], "--gains") : 0.0; };
  if (options.form == "isa") return sim::parallel(sim::IsaGains{*gain, second(1), second(2)});
  if (options.form == "series") return sim::parallel(sim::SeriesGains{*gain, second(1), second(2)});
  double integral = 0.0;
  try {
    if (parts.size() > 1) integral = sim::value_in(parts[1], sim::unit_of("1/s"));
  } catch (const sim::UnitError& error) {
    throw UsageError(std::string("--gains: ") + error.what());
  }
  return {*gain, integral, second(2)};
}

sim::TuningDesk judged_gains(const sim::ProcessFile& file, const Options& options) {
  sim::PidLaw law{gains_of(options), 0.0, options.weight};
  const double ratio = options.filter > 0.0 ? options.filter : file.sampling.period_s > 0.0 ? 10.0 : 0.0;
  if (ratio > 0.0 && law.gains.proportional != 0.0) law.filter_s = std::abs(law.gains.derivative / law.gains.proportional) / ratio;
  sim::TuningDesk desk;
  desk.candidates.push_back(sim::judged(file, law));
  sim::recommend(desk, options.sensitivity);
  return desk;
}

sim::TuningWish wish_of(const Options& options) {
  sim::TuningWish wish;
  wish.rules = options.rules;
  if (!options.kinds.empty()) {
    wish.kinds.clear();
    for (const sim::PidKind kind : {sim::PidKind::p, sim::PidKind::pi, sim::PidKind::pid})
      if (std::find(options.kinds.begin(), options.kinds.end(), sim::name_of(kind)) != options.kinds.end()) wish.kinds.push_back(kind);
  }
  if (!options.closed_loop.empty()) wish.closed_loop_s = seconds_of(options.closed_loop, "--closed-loop");
  wish.hysteresis = options.hysteresis;
  wish.filter_ratio = options.filter;
  wish.sensitivity_max = options.sensitivity;
  wish.travel_max = options.travel;
  wish.noise_gain_max = options.noise;
  return wish;
}

// The gains that are asked after, or those that rules and search propose.
sim::TuningDesk desk_of(const sim::ProcessFile& file, const Options& options) {
  return options.gains.empty() ? sim::tune(file, wish_of(options)) : judged_gains(file, options);
}

// Exit 1 where nothing keeps the loop stable.
int say(const Options& options, const std::string& before, const sim::ProcessFile& file, const sim::TuningDesk& desk) {
  if (options.json)
    fmt::print("{}", sim::tuning_json(file, desk));
  else
    fmt::print("{}{}{}\n", before, sim::tuning_text(file, desk), sim::short_caution);
  for (const sim::TuningCandidate& one : desk.candidates)
    if (one.usable()) return all_hold;
  return expectation_failed;
}

int tune_process(const Options& options) {
  const sim::ProcessFile file = sim::read_process_file(options.process);
  return say(options, "", file, desk_of(file, options));
}

// A record that bears no model says why, and ends with 1.
int tune_record(const Options& options) {
  if (options.input.empty() || options.output.empty())
    throw UsageError("--input and --output are wanted with --record: names of its columns");
  sim::RecordColumns columns{options.input, options.output, ""};
  if (!options.from.empty()) columns.from_s = seconds_of(options.from, "--from");
  if (!options.to.empty()) columns.to_s = seconds_of(options.to, "--to");
  const sim::FileRecord file = sim::read_record(options.record, columns);
  const sim::Identification found = sim::identify(file.record);
  const std::string text = sim::identification_text(file, found);
  if (!found.supported()) {
    fmt::print(options.json ? stderr : stdout, "{}", text);  // no JSON without a process
    return expectation_failed;
  }
  const double period_s = options.period.empty() ? 0.0 : seconds_of(options.period, "--period");
  const sim::ProcessFile process = sim::process_file_of(file, found.model(), {period_s, period_s});
  return say(options, text + "\n", process, desk_of(process, options));
}

// "heat.1" to "heat.4", from 0.
int zone_of(const std::string& loop) {
  if (loop.size() == 6 && loop.starts_with("heat.") && loop[5] >= '1' && loop[5] <= '4') return loop[5] - '1';
  throw UsageError("--loop: found '" + loop + "', expected heat.1, heat.2, heat.3 or heat.4");
}

double degc_of(const std::string& text) {
  try {
    return sim::value_in(text, sim::unit_of("degC"));
  } catch (const sim::UnitError& error) {
    throw UsageError(std::string("--at: ") + error.what());
  }
}

// A gain set of the controller's file.
sim::PidLaw law_of(const fw::Parameters& p, const fw::HeatGains& gains) {
  sim::PidLaw law{sim::parallel(sim::IsaGains{gains.gain_per_k, gains.integral_s, gains.derivative_s}), 0.0, gains.setpoint_weight};
  law.filter_s = gains.derivative_s / (p.heat_derivative_filter > 0.0f ? p.heat_derivative_filter : 10.0f);
  return law;
}

// The controller's own gain sets, each judged here, before what rules and search propose.
void add_gain_sets(const sim::ProcessFile& file, const fw::Parameters& p, sim::TuningDesk& desk) {
  std::vector<sim::TuningCandidate> sets;
  for (int i = 0; i < fw::gain_set_count; ++i) {
    const fw::HeatGains& gains = p.heat_gains[i];
    const auto same = [&](const fw::HeatGains& one) {
      return one.gain_per_k == gains.gain_per_k && one.integral_s == gains.integral_s && one.derivative_s == gains.derivative_s;
    };
    if (gains.gain_per_k == 0.0f || std::any_of(p.heat_gains, p.heat_gains + i, same)) continue;
    sets.push_back(sim::judged(file, law_of(p, gains)));
    sets.back().rule = fmt::format("set {}", i + 1);
  }
  desk.candidates.insert(desk.candidates.begin(), sets.begin(), sets.end());
}

std::string point_text(const sim::OperatingPoint& point, const sim::LinearLoop& loop, const sim::StepCheck& check) {
  std::string text = fmt::format("{} held at {:.1f} degC since {:.0f} s: demand {:.2f} %, moving by {:+.2f} % an hour\n", loop.loop,
                                 point.set_degc, point.held_s, 100.0 * point.demand, 100.0 * point.demand_per_h);
  text += fmt::format("linear: {} states, {} of which are seen from outside; {:.4g} K for the whole demand in the end\n",
                      loop.whole_states, loop.process.states(), loop.static_gain);
  text += "time constants [s]:";
  for (const std::complex<double>& pole : loop.poles_per_s) {
    text += fmt::format(" {:.4g}", 1.0 / std::abs(pole));
    if (pole.imag() != 0.0) text += "*";
  }
  text += fmt::format("\nagainst a step of the demand by {:.2g} % on the plant itself, {:.0f} s: {:.2g} % apart at most\n\n",
                      100.0 * check.demand_step, check.time_s.back(), 100.0 * check.largest_difference);
  return text;
}

int tune_scenario(const Options& options) {
  if (options.loop.empty() || options.at.empty())
    throw UsageError("--loop and --at are wanted with a scenario: --loop heat.1 --at '650 degC'");
  const int zone = zone_of(options.loop);
  const double at_degc = degc_of(options.at), settle_s = seconds_of(options.settle, "--settle");
  const sim::Scenario scenario = sim::load_scenario(options.scenario, options.sets);
  Progress progress("to the operating point", false, options.begin);
  try {
    const sim::OperatingPoint point =
        sim::find_operating_point(scenario, zone, at_degc, settle_s, [&](double simulated_s) { progress.show(0.0, simulated_s); });
    const sim::LinearLoop loop = sim::linearise(point);
    const double step = point.demand < 0.9 ? 0.01 : -0.01;
    const sim::StepCheck check = sim::check_step(point, loop, step, 3600.0);
    const sim::ProcessFile file = sim::process_file_of(loop, point);
    sim::TuningDesk desk = desk_of(file, options);
    add_gain_sets(file, point.parameters, desk);
    sim::recommend(desk, options.sensitivity);
    return say(options, point_text(point, loop, check), file, desk);
  } catch (const std::domain_error& error) {
    throw UsageError(options.scenario + ": " + options.loop + " at " + options.at + ": " + error.what());
  }
}

}  // namespace

void add_tune(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  options->begin = invocation.begin;
  CLI::App* verb = app.add_subcommand("tune", "gains for a loop by rules and by search, each judged on it");
  CLI::Option* scenario = verb->add_option("SCENARIO", options->scenario, "the bench's own loop, on this scenario's way");
  CLI::Option* process =
      verb->add_option("--process", options->process, "YAML file of a process instead: gain, zeros, lags, integrators, delay, sampling")
          ->excludes(scenario);
  CLI::Option* record =
      verb->add_option("--record", options->record, "CSV file of a test, or any log: the process is identified from it");
  record->excludes(scenario)->excludes(process);
  verb->add_option("--input", options->input, "of --record: column of what was moved")->needs(record);
  verb->add_option("--output", options->output, "of --record: column of what answered")->needs(record);
  verb->add_option("--from", options->from, "of --record: from this time on, 40 min")->needs(record);
  verb->add_option("--to", options->to, "of --record: up to this time")->needs(record);
  verb->add_option("--period", options->period, "of --record: the controller's sampling period (default: a continuous one)")
      ->needs(record);
  verb->add_option("--loop", options->loop, "of the scenario: heat.1 to heat.4")->needs(scenario);
  verb->add_option("--at", options->at, "set point at which the programme is held and the loop looked at: '650 degC'")->needs(scenario);
  verb->add_option("--settle", options->settle, "how long it is held before (default: 2 h)")->needs(scenario);
  verb->add_option("--set", options->sets,
                   "PATH=VALUE: change a value of the scenario or of the files it names->needs(scenario); may be repeated");
  verb->add_option("--rule", options->rules, fmt::format("one or several of {} (default: all)", sim::listed(sim::rule_names())))
      ->check(rule_name());
  verb->add_option("--controller", options->kinds, "p, pi, pid: one or several (default: pi and pid)")
      ->check(CLI::IsMember({"p", "pi", "pid"}));
  verb->add_option("--gains", options->gains, "judge these instead: \"gain, integral, derivative\", such as \"0.5, 8 s, 4 s\"");
  verb->add_option("--form", options->form, "of --gains (default: isa)")->check(CLI::IsMember({"isa", "series", "parallel"}));
  verb->add_option("--weight", options->weight, "of --gains: how much of the set point counts in the proportional part")
      ->check(CLI::Range(0.0, 1.0));
  verb->add_option("--closed-loop", options->closed_loop, "closed-loop time wished for, of rules that have one: 20 s");
  verb->add_option("--filter", options->filter, "N = Td / Tf of the derivative (default: 10 sampled, none continuous)")
      ->check(CLI::Range(1.0, 1000.0));
  verb->add_option("--sensitivity", options->sensitivity, "largest Ms of the search and of what is recommended (default: 1.6)")
      ->check(CLI::Range(1.05, 4.0));
  verb->add_option("--travel", options->travel, "search: largest travel of the output at a unit step of the set point")
      ->check(CLI::PositiveNumber);
  verb->add_option("--noise", options->noise, "search: largest standard deviation of the output by the process value's")
      ->check(CLI::PositiveNumber);
  verb->add_option("--hysteresis", options->hysteresis, "of the relay, by its height")->check(CLI::Range(0.0, 10.0));
  verb->add_flag("--json", options->json, "as JSON, gains of the ISA form with their units");
  verb->callback([options, &invocation] {
    invocation.chosen = [options] {
      if (!options->record.empty()) return tune_record(*options);
      if (options->process.empty() && options->scenario.empty()) throw UsageError("tune: a scenario, --process or --record is wanted");
      return options->process.empty() ? tune_scenario(*options) : tune_process(*options);
    };
  });
}

}  // namespace tools
