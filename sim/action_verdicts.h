// Expectations that an action makes by itself: `expect: accepted` or `expect: refused` beside it. Judged when the controller has
// answered, every time the action comes; one that never came was not judged, which is a failure.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "sim/archive.h"
#include "sim/expectations.h"
#include "sim/scenario.h"

namespace sim {

// What became of an action in a tick.
struct ActionOutcome {
  enum class Answer { accepted, refused, none };   // none: no answer, or the controller never counted it
  std::string action;            // as write_actions writes it: forks and repeats know it by this
  Answer answer = Answer::none;
};

class ActionVerdicts {
 public:
  explicit ActionVerdicts(const std::vector<OperatorAction>& actions);

  std::size_t size() const { return results_.size(); }
  bool pass() const;
  // Names of those that this violates for the first time.
  std::vector<std::string> add(std::span<const ActionOutcome> outcomes, double time_s);
  const std::vector<ExpectationResult>& results() const { return results_; }
  void take_over(const ActionVerdicts& past);  // of the actions that both have
  void visit(Archive& archive);

 private:
  std::vector<std::string> actions_;
  std::vector<ActionOutcome::Answer> expected_;
  std::vector<ExpectationResult> results_;
};

}  // namespace sim
