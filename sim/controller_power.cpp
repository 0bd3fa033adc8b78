#include "sim/controller_power.h"

#include <utility>

namespace sim {

ControllerPower::Change ControllerPower::follow(std::uint64_t tick, const ControllerFault& fault) {
  State& s = state_;
  Change change;
  const bool was_up = s.up;
  if (fault.off) {
    if (!s.powerless) s.lost_tick = tick;
    s.powerless = true;
    s.up = false;
    s.boot_s = fault.boot_s;
  } else if (std::exchange(s.powerless, false)) {
    s.up_tick = tick + clock_.ticks(s.boot_s);
    s.cause = fw::ResetCause::power_on;
    s.outage_s = static_cast<std::uint32_t>(clock_.time_s(tick - s.lost_tick));
  } else if (fault.reset) {
    s.up = false;
    s.up_tick = tick + clock_.ticks(fault.boot_s);
    s.cause = fault.cause;
    s.outage_s = 0;
  }
  change.stops = was_up && !s.up;
  change.lost_power = s.powerless;
  if (s.up || s.powerless || tick < s.up_tick) return change;
  s.up = true;
  s.start_us = clock_.boundary_us(tick);
  change.starts = true;
  change.cause = s.cause;
  change.outage_s = s.outage_s;
  return change;
}

}  // namespace sim
