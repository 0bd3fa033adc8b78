// Whether the controller runs. Without power, or after a reset, its memory is lost; it comes up again from the store as it stands
// (fw::start), once it has booted. Its clock counts from then.
#pragma once

#include <cstdint>

#include "firmware/controller.h"
#include "sim/archive.h"
#include "sim/clock.h"
#include "sim/controller_fault.h"

namespace sim {

class ControllerPower {
 public:
  struct Change {
    bool stops = false, starts = false;       // both: a reset with no time to boot
    bool lost_power = false;                  // with stops
    fw::ResetCause cause = fw::ResetCause::power_on;   // with starts: what to tell fw::start
    std::uint32_t outage_s = 0;               // whole seconds without power
  };

  explicit ControllerPower(Clock clock) : clock_(clock) {}

  bool up() const { return state_.up; }
  bool idle(const ControllerFault& fault) const { return state_.up && !fault.any_power; }   // nothing to follow
  Change follow(std::uint64_t tick, const ControllerFault& fault);
  std::uint64_t start_us() const { return state_.start_us; }   // of its last start, on the bench's clock

  void visit(Archive& archive) { archive(state_); }            // everything of it that changes
  void take_over(const ControllerPower& past) { state_ = past.state_; }   // go on where `past` stands

 private:
  struct State {                              // plain data
    bool up = true;
    bool powerless = false;
    std::uint64_t lost_tick = 0;              // of the power
    std::uint64_t up_tick = 0;                // when it has booted
    std::uint64_t start_us = 0;
    fw::ResetCause cause = fw::ResetCause::power_on;
    std::uint32_t outage_s = 0;
    double boot_s = 0.0;
  };

  Clock clock_;
  State state_;
};

}  // namespace sim
