// Published rules that give a controller's gains from a process. Each works on what it was written for: a simple model, a reaction curve,
// the ultimate point or a relay's cycle; what the rule saw of the process comes back with the gains.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "sim/pid_law.h"
#include "sim/process.h"
#include "sim/relay_cycle.h"
#include "sim/simple_model.h"

namespace sim {

enum class TuningRule : std::uint8_t { simc, lambda, imc, amigo, zn_step, zn_ultimate, cohen_coon, relay };
enum class PidKind : std::uint8_t { p, pi, pid };

struct RuleName {
  TuningRule rule;
  std::string_view name;  // of the command line
  std::string_view title, source;
  bool kinds[3];  // p, pi, pid
};
std::span<const RuleName> tuning_rules();
std::string_view name_of(TuningRule rule);
std::string_view name_of(PidKind kind);

struct RuleOptions {
  PidKind kind = PidKind::pi;
  // simc: tauc, the effective delay if 0; lambda: the closed loop's lag, the process's if 0; imc: lambda, the larger of 0.8 delay and 0.1
  // lag if 0.
  double closed_loop_s = 0.0;
  double period_s = 0.0;    // of the sampling; half of it counts as delay
  double hysteresis = 0.0;  // relay: by its height
};

struct RuleResult {
  IsaGains gains;                     // of the ISA form; of a pure integral see `integral`
  double integral = 0.0;              // 1/s times the gain's unit: kp is 0 and the controller integrates only
  std::optional<SeriesGains> series;  // of a rule that is written in the series form
  double setpoint_weight = 1.0;
  double closed_loop_s = 0.0;        // that was used; 0: the rule has none
  std::optional<SimpleModel> model;  // what the rule saw
  std::optional<RelayCycle> cycle;
  double ultimate_gain = 0.0, ultimate_period_s = 0.0;  // of the rules that use them

  ParallelGains parallel() const;
};

// Throws std::domain_error with the reason where the rule says nothing about such a process.
RuleResult tuned(const Process& process, TuningRule rule, const RuleOptions& options);

// Gain with which a proportional controller lets the loop swing for ever, and that swing's period. None: it never does.
struct UltimatePoint {
  double gain = 0.0, period_s = 0.0;
};
std::optional<UltimatePoint> ultimate_point(const Process& process);

}  // namespace sim
