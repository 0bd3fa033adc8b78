#include "sim/proof_test.h"

#include <algorithm>
#include <cmath>
#include <string_view>

#include <fmt/format.h>

#include "sim/injector.h"
#include "sim/proof_stimuli.h"

namespace sim {

namespace {

using Verdict = ProofResult::Verdict;

const Stimulus* stimulus_of(int row) {
  for (const Stimulus& stimulus : proof_stimuli()) {
    if (stimulus.row == row) return &stimulus;
  }
  return nullptr;
}

const char* proof_elsewhere(int row) {
  for (const Elsewhere& other : proved_elsewhere()) {
    if (other.row == row) return other.why;
  }
  return nullptr;
}

bool trips(fw::InterlockAction action) {
  return action == fw::InterlockAction::trip || action == fw::InterlockAction::trip_over_pressure;
}

const char* effect_of(fw::InterlockAction action) {
  switch (action) {
    case fw::InterlockAction::trip: return "trip: safe values";
    case fw::InterlockAction::trip_over_pressure: return "trip: inlets shut, bypass open";
    case fw::InterlockAction::refuse_heat: return "no heat";
    case fw::InterlockAction::refuse_air: return "no air admittance";
    case fw::InterlockAction::refuse_bypass: return "no bypass";
    case fw::InterlockAction::refuse_isolation: return "no pump isolation";
    case fw::InterlockAction::refuse_process_gas: return "no process gas";
    default: return "refused";
  }
}

// What must not be energised in the period in which a row acts.
std::uint16_t coils_denied(fw::InterlockAction action) {
  switch (action) {
    case fw::InterlockAction::refuse_heat: return fw::coil::contactor;
    case fw::InterlockAction::refuse_air: return fw::coil::air_open;
    case fw::InterlockAction::refuse_bypass: return fw::coil::bypass_open;
    case fw::InterlockAction::refuse_isolation: return fw::coil::isolation_open;
    case fw::InterlockAction::refuse_process_gas: return fw::coil::process_open;
    default: return fw::coil::contactor | fw::coil::process_open | fw::coil::air_open | fw::coil::isolation_open;
  }
}

const char* coil_name(std::uint16_t mask) {
  return mask & fw::coil::contactor      ? "contactor"
         : mask & fw::coil::process_open ? "process valve"
         : mask & fw::coil::air_open     ? "air admittance"
         : mask & fw::coil::bypass_open  ? "bypass"
                                         : "pump isolation";
}

// The row shows itself, and in the same period what it denies is off.
bool acted(const Injector& injector, const fw::InterlockRow& row, std::string& wrong) {
  const double shown = injector.value(trips(row.action) ? "interlock.trip" : "interlock.inhibit");
  if (shown == 0.0 || (!trips(row.action) && shown != row.number)) return false;
  const std::uint16_t denied = coils_denied(row.action);
  const auto on = static_cast<std::uint16_t>(injector.coils() & denied);
  if (shown != row.number) wrong = fmt::format("row {:.0f} tripped instead", shown);
  else if (on != 0) wrong = fmt::format("{} still energised", coil_name(on));
  return true;
}

// Cause at once: the delay from the first period that carries it.
void step_test(Injector& injector, const Stimulus& stimulus, const fw::InterlockRow& row, ProofResult& result) {
  std::string wrong;
  const double value = stimulus.unit != nullptr ? result.set + 3.0 * stimulus.step : 0.0;
  stimulus.apply(injector, value);
  double delay_s = 0.0;
  const double give_up_s = result.set_delay_s + 10.0;
  bool shown = stimulus.unit == nullptr && acted(injector, row, wrong);   // a command took its periods already
  while (!shown && delay_s <= give_up_s) {
    injector.tick();
    delay_s += injector.period_s();
    shown = acted(injector, row, wrong);
  }
  if (shown) result.delay_s = delay_s;
  if (!shown) result.reason = fmt::format("nothing within {:.1f} s", give_up_s);
  else if (!wrong.empty()) result.reason = wrong;
  else if (delay_s > result.set_delay_s + 2.001 * injector.period_s()) result.reason = "too late";
  else if (delay_s + 1.001 * injector.period_s() < result.set_delay_s) result.reason = "too early";
  else result.verdict = Verdict::pass;
}

// The signal in steps across its limit, each held for longer than the delay.
void stair_test(Injector& injector, const Stimulus& stimulus, const fw::InterlockRow& row, ProofResult& result) {
  std::string wrong;
  const int first = result.set_delay_s > 30.0 ? 0 : -4;   // a long delay must not outlast the rule of no response
  for (int stair = first; stair <= 4; ++stair) {
    const double value = result.set + stair * stimulus.step;
    stimulus.apply(injector, value);
    bool shown = false;
    for (double left = result.set_delay_s + 3.0 * injector.period_s(); left > 0.0 && !shown; left -= injector.period_s()) {
      injector.tick();
      shown = acted(injector, row, wrong);
    }
    if (!shown) continue;
    result.observed = value;
    if (!wrong.empty()) result.reason = wrong;
    else if (std::fabs(stair) > 1.0) result.reason = "trips at another value than is set";
    return;
  }
  result.reason = "does not act at its limit";
}

void test_row(Injector& injector, const Stimulus& stimulus, const fw::InterlockRow& row, ProofResult& result) {
  result.set_delay_s = row.delay_ms * 1e-3 + (stimulus.delay_s != nullptr ? stimulus.delay_s(injector.parameters()) : 0.0);
  if (stimulus.unit != nullptr) {
    result.unit = stimulus.unit;
    result.set = stimulus.limit(injector.parameters());
    result.resolution = std::fabs(stimulus.step);
    if (!stimulus.prepare(injector)) {
      result.reason = "the situation it needs was not reached";
      return;
    }
    stair_test(injector, stimulus, row, result);
    if (!result.reason.empty()) return;
  }
  if (!stimulus.prepare(injector)) {
    result.reason = "the situation it needs was not reached";
    return;
  }
  if (trips(row.action) && injector.value("interlock.trip") != 0.0) {
    result.reason = fmt::format("row {:.0f} tripped before it was provoked", injector.value("interlock.trip"));
    return;
  }
  step_test(injector, stimulus, row, result);
}

bool for_each_zone(const Stimulus* stimulus) {
  return stimulus != nullptr && std::string_view(stimulus->words).find("{}") != std::string_view::npos;
}

std::string words_of(const Stimulus& stimulus, int zone) {
  std::string words = stimulus.words;
  if (const std::size_t at = words.find("{}"); at != std::string::npos) words.replace(at, 2, std::to_string(zone + 1));
  return words;
}

// One line of the sheet.
ProofResult prove_row(Injector& injector, const Stimulus* stimulus, const fw::InterlockRow& row) {
  ProofResult result;
  result.row = row.number;
  result.name = row.name;
  result.cause = row.cause;
  result.effect = effect_of(row.action);
  const char* const other = proof_elsewhere(row.number);
  const char* const unfit = stimulus != nullptr && stimulus->unfit != nullptr ? stimulus->unfit(injector.parameters()) : nullptr;
  if (other != nullptr) {
    result.verdict = Verdict::not_from_terminals;
    result.reason = other;
  } else if (stimulus == nullptr) {
    result.reason = "the proof test has no stimulus for this row";
  } else if (unfit != nullptr) {
    result.verdict = Verdict::not_fitted;
    result.reason = unfit;
  } else {
    result.stimulus = words_of(*stimulus, injector.zone());
    test_row(injector, *stimulus, row, result);
  }
  return result;
}

}  // namespace

std::vector<ProofResult> proof_test(Endpoint& core, const fw::Parameters& parameters) {
  std::vector<ProofResult> results;
  Injector injector(core, parameters);
  for (const fw::InterlockRow& row : fw::interlock_table()) {
    const Stimulus* stimulus = stimulus_of(row.number);
    const int zones = for_each_zone(stimulus) ? parameters.zones : 1;
    for (int zone = 0; zone < zones; ++zone) {
      injector.choose_zone(zone);
      ProofResult& result = results.emplace_back(prove_row(injector, stimulus, row));
      if (zones > 1) result.zone = zone + 1;
    }
    injector.choose_zone(0);
  }
  return results;
}

int proof_count(const std::vector<ProofResult>& results, Verdict verdict) {
  return static_cast<int>(std::count_if(results.begin(), results.end(), [&](const ProofResult& r) { return r.verdict == verdict; }));
}

std::string proof_count(const std::vector<ProofResult>& results) {
  using enum ProofResult::Verdict;
  const bool zones = std::any_of(results.begin(), results.end(), [](const ProofResult& r) { return r.zone > 0; });
  return fmt::format("{} of {} {} passed, {} failed, {} not fitted, {} not from the terminals", proof_count(results, pass),
                     results.size(), zones ? "rows, each zone counted," : "rows", proof_count(results, fail),
                     proof_count(results, not_fitted), proof_count(results, not_from_terminals));
}

std::string proof_name(const ProofResult& result) {
  return result.zone > 0 ? fmt::format("{}, zone {}", result.name, result.zone) : result.name;
}

const char* verdict_text(ProofResult::Verdict verdict) {
  switch (verdict) {
    case Verdict::pass: return "pass";
    case Verdict::fail: return "FAIL";
    case Verdict::not_fitted: return "not fitted";
    case Verdict::not_from_terminals: return "not from the terminals";
  }
  return "";
}

}  // namespace sim
