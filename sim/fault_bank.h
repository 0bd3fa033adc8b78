// The faults of a scenario at work: which are, and what they come to together in a tick, as the plant (plant::Disturbances), the
// line (LineFault) and the controller's surroundings (ControllerFault) are told. Its state is plain data, part of the bench's state.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "plant/process_values.h"
#include "sim/archive.h"
#include "sim/controller_fault.h"
#include "sim/faults.h"
#include "sim/line_fault.h"
#include "sim/scenario.h"

namespace sim {

// The bench says when each begins and ends; apply() gives what holds in a tick.
class FaultBank {
 public:
  // Throws std::invalid_argument when a kind is unknown, a value missing or out of bounds, or there are more than
  // faults_max.
  explicit FaultBank(const std::vector<FaultSource>& sources);

  std::size_t size() const { return count_; }
  bool active(std::size_t fault) const { return state_.active[fault] > 0; }
  bool one_tick(std::size_t fault) const;           // it lasts one tick, whatever its interval
  Seam seam(std::size_t fault) const { return entries_[fault].seam; }
  // One that begins again before it has ended goes on until it has ended as often as it began.
  void begin(std::size_t fault);
  void end(std::size_t fault);

  void visit(Archive& archive) { archive(state_, controller_); }   // everything of it that changes
  // Fault `fault` goes on where fault `other` of `past` stands.
  void take_over(std::size_t fault, const FaultBank& past, std::size_t other);
  void renew() { state_.changed = true; }           // the next apply() gives what holds, whatever was told before

  // True if something changed since the last call or moves on its own (drift), so that an undisturbed tick costs nothing.
  // Then all three structs are rebuilt from the active faults, composed as the table says (Together).
  bool apply(double period_s, plant::Disturbances& disturbances, LineFault& line);
  const ControllerFault& controller() const { return controller_; }   // as apply() left it

 private:
  using Values = std::array<double, fault_parameters_max>;
  struct Entry {
    FaultAction action = FaultAction::glitch;
    Seam seam = Seam::plant;
    Values values{};
  };
  struct State {                                    // plain data: a copy is a snapshot
    std::array<std::uint32_t, faults_max> active{}; // begun and not ended, so often
    std::array<std::uint64_t, faults_max> ticks{};  // since it began
    bool changed = false;
    bool moving = false;
  };

  std::array<Entry, faults_max> entries_{};
  std::size_t count_ = 0;
  State state_;
  ControllerFault controller_;                      // what the active ones come down to
};

}  // namespace sim
