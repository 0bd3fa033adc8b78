#include "sim/action_verdicts.h"

#include <algorithm>

#include <fmt/format.h>

#include "sim/action_file.h"
#include "sim/moment_sentence.h"

namespace sim {

ActionVerdicts::ActionVerdicts(const std::vector<OperatorAction>& actions) {
  for (const OperatorAction& action : actions) {
    if (action.expect == OperatorAction::Expect::anything) continue;
    const bool accepted = action.expect == OperatorAction::Expect::accepted;
    actions_.push_back(write_actions({action}, 0));
    expected_.push_back(accepted ? ActionOutcome::Answer::accepted : ActionOutcome::Answer::refused);
    ExpectationResult& result = results_.emplace_back();
    result.name = fmt::format("operator: {} is {}, {}", action.text, accepted ? "accepted" : "refused", moment_sentence(action.when, {}));
    result.statement = result.name;
    result.scale = 1.0;
  }
}

bool ActionVerdicts::pass() const {
  return std::all_of(results_.begin(), results_.end(), [](const ExpectationResult& result) { return result.pass; });
}

std::vector<std::string> ActionVerdicts::add(std::span<const ActionOutcome> outcomes, double time_s) {
  std::vector<std::string> violated;
  for (const ActionOutcome& outcome : outcomes) {
    const auto found = std::find(actions_.begin(), actions_.end(), outcome.action);
    if (found == actions_.end()) continue;
    const auto index = static_cast<std::size_t>(found - actions_.begin());
    ExpectationResult& result = results_[index];
    ++result.ticks;
    const bool good = outcome.answer == expected_[index];
    const bool worst = result.judged && !result.pass;
    result.judged = true;
    if (worst) continue;
    result.pass = good;
    result.margin = good ? 1.0 : -1.0;
    result.at_s = time_s;
    if (good) continue;
    result.failed_s = time_s;
    violated.push_back(result.name);
  }
  return violated;
}

void ActionVerdicts::take_over(const ActionVerdicts& past) {
  for (std::size_t i = 0; i < actions_.size(); ++i) {
    const auto found = std::find(past.actions_.begin(), past.actions_.end(), actions_[i]);
    if (found != past.actions_.end()) results_[i] = past.results_[static_cast<std::size_t>(found - past.actions_.begin())];
  }
}

void ActionVerdicts::visit(Archive& archive) {
  for (ExpectationResult& result : results_) archive(result.pass, result.judged, result.margin, result.at_s, result.failed_s, result.ticks);
}

}  // namespace sim
