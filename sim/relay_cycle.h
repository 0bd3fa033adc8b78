// The limit cycle that a relay makes with a process: exact, from the process sampled by its own half period.
#pragma once

#include <optional>

#include "sim/process.h"

namespace sim {

struct RelayCycle {
  double amplitude = 0.0;  // half of the process value's swing from peak to peak
  double period_s = 0.0;
  // By the describing function of a relay without and with hysteresis; the second is at a phase of -180 deg + asin(hysteresis /
  // amplitude).
  double gain_plain = 0.0, gain = 0.0;
};

// The relay's output is +-height (above 0), switched where the error crosses -+hysteresis (at least 0). None: no cycle of two equal
// halves. Source: Ya. Z. Tsypkin, Relay Control Systems: at the switching instants y[k] = H(-1) u[k], H the process sampled by half a
// period; K. J. Astrom, T. Hagglund, Automatica 20 (1984) 645-651 (both from memory).
std::optional<RelayCycle> relay_cycle(const Process& process, double height, double hysteresis);

}  // namespace sim
