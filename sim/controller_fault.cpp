#include "sim/controller_fault.h"

#include <algorithm>
#include <cmath>

#include "sim/faults.h"

namespace sim {

void apply_to_power(FaultAction action, std::span<const double> values, ControllerFault& controller) {
  if (action == FaultAction::controller_clock_ahead) {
    controller.clock_ahead_us += static_cast<std::uint64_t>(std::llround(values[0] * 1e6));
    return;
  }
  controller.any_power = true;
  controller.boot_s = std::max(controller.boot_s, values[0]);
  if (action == FaultAction::controller_power_lost || action == FaultAction::power_lost) {
    controller.off = true;
    return;
  }
  controller.reset = true;
  controller.cause = action == FaultAction::controller_brown_out ? fw::ResetCause::brown_out : fw::ResetCause::watchdog;
}

void apply_to_supervisory(FaultAction action, std::span<const double> values, ControllerFault& controller) {
  controller.any_line = true;
  switch (action) {
    case FaultAction::supervisory_silent: controller.line_silent = true; break;
    case FaultAction::supervisory_write_doubled: controller.write_doubled = true; break;
    case FaultAction::supervisory_corrupt:
      controller.corrupt_rate += values[0] - controller.corrupt_rate * values[0];
      break;
    case FaultAction::supervisory_noise: controller.noise_bytes += static_cast<std::uint32_t>(values[0]); break;
    case FaultAction::supervisory_foreign:
      if (controller.foreign_unit != 0 && controller.foreign_unit < values[0]) break;
      controller.foreign_unit = static_cast<std::uint8_t>(values[0]);
      break;
    default: break;
  }
}

void apply_to_store(FaultAction action, std::span<const double> values, ControllerFault& controller) {
  controller.any_store = true;
  switch (action) {
    case FaultAction::store_write_lost: controller.write_lost = true; break;
    case FaultAction::store_write_torn:
      if (controller.torn_bytes < 0 || values[0] < controller.torn_bytes) controller.torn_bytes = static_cast<std::int32_t>(values[0]);
      break;
    case FaultAction::store_slow: controller.write_delay_s += values[0]; break;
    case FaultAction::store_bit_flipped:
      controller.bit_flipped = true;
      controller.flip_byte = static_cast<std::uint32_t>(values[0]);
      controller.flip_bit = static_cast<std::uint8_t>(values[1]);
      break;
    default: break;
  }
}

}  // namespace sim
