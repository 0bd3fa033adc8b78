// saggar tune: gains for a loop, from rules and by search, each judged on it.
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/process_file.h"
#include "sim/tuning_candidates.h"
#include "sim/units.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Options {
  std::string process, form = "isa", gains, closed_loop;
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

int tune_process(const Options& options) {
  const sim::ProcessFile file = sim::read_process_file(options.process);
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
  const sim::TuningDesk desk = options.gains.empty() ? sim::tune(file, wish) : judged_gains(file, options);
  fmt::print("{}", options.json ? sim::tuning_json(file, desk) : sim::tuning_text(file, desk));
  for (const sim::TuningCandidate& one : desk.candidates)
    if (one.usable()) return all_hold;
  return expectation_failed;
}

}  // namespace

void add_tune(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("tune", "gains for a loop by rules and by search, each judged on it");
  verb->add_option("--process", options->process, "YAML file of a process: gain, zeros, lags, integrators, delay, sampling")->required();
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
  verb->callback([options, &invocation] { invocation.chosen = [options] { return tune_process(*options); }; });
}

}  // namespace tools
