#include "sim/tuning_candidates.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

namespace sim {

namespace {

constexpr double inf = std::numeric_limits<double>::infinity();

double filter_ratio(const TuningWish& wish, const Sampling& sampling) {
  return wish.filter_ratio > 0.0 ? wish.filter_ratio : sampling.period_s > 0.0 ? 10.0 : 0.0;
}

PidLaw law_of(const RuleResult& result, double ratio) {
  const double derivative_s = result.gains.derivative_s;
  return {result.parallel(), ratio > 0.0 ? derivative_s / ratio : 0.0, result.setpoint_weight};
}

bool asked(const TuningWish& wish, std::string_view name) {
  return wish.rules.empty() || std::find(wish.rules.begin(), wish.rules.end(), name) != wish.rules.end();
}

TuningCandidate by_rule(const ProcessFile& file, const RuleName& rule, PidKind kind, const TuningWish& wish) {
  TuningCandidate candidate;
  candidate.rule = rule.name;
  candidate.kind = kind;
  try {
    Process late = file.process;                 // as the controller meets it
    late.delay_s += file.sampling.latency_s;
    candidate.basis = tuned(late, rule.rule, {kind, wish.closed_loop_s, file.sampling.period_s, wish.hysteresis});
    candidate.law = law_of(*candidate.basis, filter_ratio(wish, file.sampling));
    candidate.judgement = judge(file.process, candidate.law, file.sampling);
  } catch (const std::domain_error& error) {
    candidate.refusal = error.what();
  }
  return candidate;
}

// From the best start that any rule gives within the limit, or the gentlest one with its gain taken down until it is.
std::optional<PidLaw> start_of(const ProcessFile& file, const std::vector<TuningCandidate>& candidates, PidKind kind,
                               double sensitivity_max) {
  const TuningCandidate* gentlest = nullptr;
  for (const TuningCandidate& one : candidates) {
    if (one.kind != kind || !one.usable() || !one.judgement.load.settled || !one.judgement.setpoint.settled ||
        one.law.gains.proportional == 0.0)
      continue;
    if (!gentlest || one.judgement.margins.sensitivity_peak < gentlest->judgement.margins.sensitivity_peak) gentlest = &one;
  }
  if (!gentlest) return std::nullopt;
  PidLaw law = gentlest->law;
  for (int i = 0; i < 20 && judge(file.process, law, file.sampling, {false, 1e9}).margins.sensitivity_peak > sensitivity_max; ++i) {
    law.gains.proportional *= 0.8;
    law.gains.integral *= 0.8;
    law.gains.derivative *= 0.8;
  }
  return law;
}

TuningCandidate by_search(const ProcessFile& file, const std::vector<TuningCandidate>& starts, PidKind kind, const TuningWish& wish) {
  TuningCandidate candidate;
  candidate.rule = "search";
  candidate.kind = kind;
  try {
    const std::optional<PidLaw> start = start_of(file, starts, kind, wish.sensitivity_max);
    if (!start) throw std::domain_error("no rule gives a stable loop to start from");
    SearchWish search;
    search.kind = kind;
    search.sensitivity_max = wish.sensitivity_max;
    search.travel_max = wish.travel_max;
    search.noise_gain_max = wish.noise_gain_max;
    const double ratio = filter_ratio(wish, file.sampling);
    search.filter_ratio = ratio > 0.0 ? ratio : 10.0;
    const SearchResult result = search_gains([&](const PidLaw& law) { return judge(file.process, law, file.sampling); }, *start, search);
    candidate.law = result.law;
    candidate.bound_by = result.bound_by;
    candidate.judgement = judge(file.process, result.law, file.sampling);
  } catch (const std::domain_error& error) {
    candidate.refusal = error.what();
  }
  return candidate;
}

}  // namespace

bool is_rule(const std::string& name) {
  const std::vector<std::string> names = rule_names();
  return std::find(names.begin(), names.end(), name) != names.end();
}

std::vector<std::string> rule_names() {
  std::vector<std::string> names;
  for (const RuleName& rule : tuning_rules()) names.emplace_back(rule.name);
  names.emplace_back("search");
  return names;
}

TuningCandidate judged(const ProcessFile& file, const PidLaw& law) {
  TuningCandidate candidate;
  candidate.rule = "given";
  candidate.kind = law.gains.derivative != 0.0 ? PidKind::pid : law.gains.integral != 0.0 ? PidKind::pi : PidKind::p;
  candidate.law = law;
  try {
    candidate.judgement = judge(file.process, law, file.sampling);
  } catch (const std::domain_error& error) {
    candidate.refusal = error.what();
  }
  return candidate;
}

TuningDesk tune(const ProcessFile& file, const TuningWish& wish) {
  TuningDesk desk;
  std::vector<TuningCandidate> all;
  for (const RuleName& rule : tuning_rules()) {
    for (const PidKind kind : wish.kinds) {
      if (!rule.kinds[static_cast<std::size_t>(kind)]) continue;
      if (!asked(wish, rule.name) && !asked(wish, "search")) continue;
      all.push_back(by_rule(file, rule, kind, wish));
      if (asked(wish, rule.name)) desk.candidates.push_back(all.back());
    }
  }
  if (asked(wish, "search"))
    for (const PidKind kind : wish.kinds) desk.candidates.push_back(by_search(file, all, kind, wish));
  recommend(desk, wish.sensitivity_max);
  return desk;
}

namespace {

struct Least {
  double load = inf, setpoint = inf;
};

bool comparable(const TuningCandidate& one) { return one.usable() && one.judgement.load.settled && one.judgement.setpoint.settled; }

double cost(const TuningCandidate& one, const Least& least) {
  const auto by = [](double value, double unit) { return unit > 0.0 ? value / unit : 1.0; };
  return 0.7 * by(one.judgement.load.absolute_error, least.load) + 0.3 * by(one.judgement.setpoint.absolute_error, least.setpoint);
}

}  // namespace

void recommend(TuningDesk& desk, double sensitivity_max) {
  constexpr double allowance = 1e-3;  // the search goes up to the limit
  Least least;
  for (const TuningCandidate& one : desk.candidates) {
    if (!comparable(one) || one.judgement.margins.sensitivity_peak > sensitivity_max * (1.0 + allowance)) continue;
    least.load = std::min(least.load, one.judgement.load.absolute_error);
    least.setpoint = std::min(least.setpoint, one.judgement.setpoint.absolute_error);
  }
  desk.recommended = -1;
  double best = inf;
  std::size_t within = 0;
  for (std::size_t i = 0; i < desk.candidates.size(); ++i) {
    const TuningCandidate& one = desk.candidates[i];
    if (!comparable(one) || one.judgement.margins.sensitivity_peak > sensitivity_max * (1.0 + allowance)) continue;
    ++within;
    if (cost(one, least) >= best) continue;
    best = cost(one, least);
    desk.recommended = static_cast<int>(i);
  }
  if (desk.recommended < 0)
    desk.reason = "no candidate is stable, settles and keeps Ms within the limit";
  else if (within == 1)
    desk.reason = "the only candidate that keeps Ms within the limit";
  else
    desk.reason = "of the " + std::to_string(within) +
                  " candidates that keep Ms within the limit the one with the least error after disturbance and set-point steps (7 to 3)";
}

}  // namespace sim
