#include "sim/proof_test.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <string_view>

#include <fmt/format.h>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"
#include "sim/injector.h"
#include "sim/proof_stimuli.h"

namespace sim {

namespace {

using Verdict = ProofResult::Verdict;

const Stimulus* stimulus_of(const ProofTable& table, int number) {
  const auto at = std::find_if(table.stimuli.begin(), table.stimuli.end(), [&](const Stimulus& s) { return s.number == number; });
  return at != table.stimuli.end() ? &*at : nullptr;
}

const char* proof_elsewhere(const ProofTable& table, int number) {
  const auto at = std::find_if(table.elsewhere.begin(), table.elsewhere.end(), [&](const Elsewhere& e) { return e.number == number; });
  return at != table.elsewhere.end() ? at->why : nullptr;
}

// What is proved: how it shows itself, and what must not be there before it is provoked.
struct Subject {
  double delay_s = 0.0;                                                        // of its table
  std::function<bool(const Injector&, std::string& wrong)> acted;              // wrong: with something that makes it no pass
  std::function<std::string(const Injector&)> before;                          // why it cannot be provoked now, empty: it can
  std::function<std::string(const Injector&)> told = [](const Injector&) { return std::string(); };
};

// --- Rows --------------------------------------------------------------------------------------------------------------

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
bool row_acted(const Injector& injector, const fw::InterlockRow& row, std::string& wrong) {
  const double shown = injector.value(trips(row.action) ? "interlock.trip" : "interlock.inhibit");
  if (shown == 0.0 || (!trips(row.action) && shown != row.number)) return false;
  const std::uint16_t denied = coils_denied(row.action);
  const auto on = static_cast<std::uint16_t>(injector.coils() & denied);
  if (shown != row.number) wrong = fmt::format("row {:.0f} tripped instead", shown);
  else if (on != 0) wrong = fmt::format("{} still energised", coil_name(on));
  return true;
}

Subject subject_of(const fw::InterlockRow& row) {
  Subject subject;
  subject.delay_s = row.delay_ms * 1e-3;
  subject.acted = [&row](const Injector& injector, std::string& wrong) { return row_acted(injector, row, wrong); };
  subject.before = [&row](const Injector& injector) {
    const double trip = injector.value("interlock.trip");
    return trips(row.action) && trip != 0.0 ? fmt::format("row {:.0f} tripped before it was provoked", trip) : std::string();
  };
  return subject;
}

// --- Alarms ------------------------------------------------------------------------------------------------------------

fw::AlarmSet alarms_of(const Injector& injector) {
  const auto low = static_cast<fw::AlarmSet>(injector.value("alarms.bits"));
  return low | static_cast<fw::AlarmSet>(injector.value("alarms.bits_2")) << 32;
}

bool is_told(const Injector& injector, int number) { return ((alarms_of(injector) >> number) & 1u) != 0; }

std::string alarm_names(const Injector& injector) {
  std::string names;
  for (std::size_t n = 0; n < fw::alarm_table().size(); ++n) {
    if (!is_told(injector, static_cast<int>(n))) continue;
    names += fmt::format("{}{}", names.empty() ? "" : ", ", fw::alarm_table()[n].name);
    if (n == fw::alarm::trip) names += fmt::format(" of row {:.0f}", injector.value("interlock.trip"));
  }
  return names;
}

Subject subject_of(int alarm) {
  Subject subject;
  subject.delay_s = fw::alarm_table()[static_cast<std::size_t>(alarm)].on_delay_ms * 1e-3;
  subject.acted = [alarm](const Injector& injector, std::string&) { return is_told(injector, alarm); };
  subject.before = [alarm](const Injector& injector) {
    return is_told(injector, alarm) ? std::string("told before it was provoked") : std::string();
  };
  subject.told = alarm_names;
  return subject;
}

const char* priority_text(const fw::AlarmInfo& alarm) {
  switch (alarm.priority) {
    case fw::AlarmPriority::low: return "low";
    case fw::AlarmPriority::medium: return "medium";
    default: return alarm.latching ? "high, latching" : "high";
  }
}

// --- Both --------------------------------------------------------------------------------------------------------------

// Cause at once: the delay from the first period that carries it.
void step_test(Injector& injector, const Stimulus& stimulus, const Subject& subject, ProofResult& result) {
  std::string wrong;
  const double value = stimulus.unit != nullptr ? result.set + 3.0 * stimulus.step : 0.0;
  stimulus.apply(injector, value);
  double delay_s = 0.0;
  const double give_up_s = result.set_delay_s + 10.0;
  bool shown = stimulus.unit == nullptr && subject.acted(injector, wrong);   // a command took its periods already
  while (!shown && delay_s <= give_up_s) {
    injector.tick();
    delay_s += injector.period_s();
    shown = subject.acted(injector, wrong);
  }
  result.alarms = subject.told(injector);
  if (shown) result.delay_s = delay_s;
  if (!shown) result.reason = fmt::format("nothing within {:.1f} s", give_up_s);
  else if (!wrong.empty()) result.reason = wrong;
  else if (delay_s > result.set_delay_s + 2.001 * injector.period_s()) result.reason = "too late";
  else if (delay_s + 1.001 * injector.period_s() < result.set_delay_s) result.reason = "too early";
  else result.verdict = Verdict::pass;
}

// The signal in steps across its limit, each held for longer than the delay.
void stair_test(Injector& injector, const Stimulus& stimulus, const Subject& subject, ProofResult& result) {
  std::string wrong;
  const int first = result.set_delay_s > 30.0 ? 0 : -4;   // a long delay must not outlast the rule of no response
  for (int stair = first; stair <= 4; ++stair) {
    const double value = result.set + stair * stimulus.step;
    stimulus.apply(injector, value);
    bool shown = false;
    for (double left = result.set_delay_s + 3.0 * injector.period_s(); left > 0.0 && !shown; left -= injector.period_s()) {
      injector.tick();
      shown = subject.acted(injector, wrong);
    }
    if (!shown) continue;
    result.observed = value;
    if (!wrong.empty()) result.reason = wrong;
    else if (std::fabs(stair) > 1.0) result.reason = "acts at another value than is set";
    return;
  }
  result.reason = "does not act at its limit";
  result.alarms = subject.told(injector);
}

void test(Injector& injector, const Stimulus& stimulus, const Subject& subject, ProofResult& result) {
  result.set_delay_s = subject.delay_s + (stimulus.delay_s != nullptr ? stimulus.delay_s(injector.parameters()) : 0.0);
  const auto prepared = [&] {
    if (!stimulus.prepare(injector)) result.reason = "the situation it needs was not reached";
    else result.reason = subject.before(injector);
    return result.reason.empty();
  };
  if (stimulus.unit != nullptr) {
    result.unit = stimulus.unit;
    result.set = stimulus.limit(injector.parameters());
    result.resolution = std::fabs(stimulus.step);
    if (!prepared()) return;
    stair_test(injector, stimulus, subject, result);
    if (!result.reason.empty()) return;
  }
  if (prepared()) step_test(injector, stimulus, subject, result);
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
void prove(Injector& injector, const ProofTable& table, const Stimulus* stimulus, const Subject& subject, ProofResult& result) {
  const char* const other = proof_elsewhere(table, result.number);
  const char* const unfit = stimulus != nullptr && stimulus->unfit != nullptr ? stimulus->unfit(injector.parameters()) : nullptr;
  if (other != nullptr) {
    result.verdict = Verdict::not_from_terminals;
    result.reason = other;
  } else if (stimulus == nullptr) {
    result.reason = "the proof test has no stimulus for it";
  } else if (unfit != nullptr) {
    result.verdict = Verdict::not_fitted;
    result.reason = unfit;
  } else {
    result.stimulus = words_of(*stimulus, injector.zone());
    test(injector, *stimulus, subject, result);
  }
}

// Every line of one that may have a line for each zone; head: what stands on each of them.
void prove_zones(Injector& injector, const ProofTable& table, const Subject& subject, const ProofResult& head,
                 std::vector<ProofResult>& results) {
  const Stimulus* stimulus = stimulus_of(table, head.number);
  const int zones = for_each_zone(stimulus) ? injector.parameters().zones : 1;
  for (int zone = 0; zone < zones; ++zone) {
    injector.choose_zone(zone);
    ProofResult& result = results.emplace_back(head);
    prove(injector, table, stimulus, subject, result);
    if (zones > 1) result.zone = zone + 1;
  }
  injector.choose_zone(0);
}

}  // namespace

Proof proof_test(Endpoint& core, const fw::Parameters& parameters) {
  Proof proof;
  Injector injector(core, parameters);
  for (const fw::InterlockRow& row : fw::interlock_table()) {
    ProofResult head;
    head.number = row.number;
    head.name = row.name;
    head.cause = row.cause;
    head.effect = effect_of(row.action);
    prove_zones(injector, proof_rows(), subject_of(row), head, proof.rows);
  }
  for (int n = 0; n < static_cast<int>(fw::alarm_table().size()); ++n) {
    const fw::AlarmInfo& alarm = fw::alarm_table()[static_cast<std::size_t>(n)];
    ProofResult head;
    head.number = n;
    head.name = alarm.name;
    head.cause = alarm.meaning;
    head.effect = priority_text(alarm);
    prove_zones(injector, proof_alarms(), subject_of(n), head, proof.alarms);
  }
  return proof;
}

int proof_count(const std::vector<ProofResult>& results, Verdict verdict) {
  return static_cast<int>(std::count_if(results.begin(), results.end(), [&](const ProofResult& r) { return r.verdict == verdict; }));
}

bool proof_passed(const Proof& proof) {
  const bool failed = proof_count(proof.rows, Verdict::fail) > 0 || proof_count(proof.alarms, Verdict::fail) > 0;
  return !failed && proof_count(proof.rows, Verdict::pass) > 0 && proof_count(proof.alarms, Verdict::pass) > 0;
}

std::string proof_count(const std::vector<ProofResult>& results, const char* what) {
  using enum ProofResult::Verdict;
  const bool zones = std::any_of(results.begin(), results.end(), [](const ProofResult& r) { return r.zone > 0; });
  return fmt::format("{} of {} {}{} passed, {} failed, {} not fitted, {} not from the terminals", proof_count(results, pass),
                     results.size(), what, zones ? ", each zone counted," : "", proof_count(results, fail),
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
