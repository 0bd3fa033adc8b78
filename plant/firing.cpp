#include "plant/firing.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace plant {

namespace {

constexpr std::int32_t longest_run = 1 << 30;
constexpr double almost = 1e-9;      // of a cycle: rounding of the sums

std::int32_t cycles_in(double time_s, double per_s) { return static_cast<std::int32_t>(std::ceil(time_s * per_s - almost)); }

double fire_burst(const PowerSwitch& power_switch, FiringState& s, double demand, double period_s) {
  const double per_s = power_switch.mains_hz * (power_switch.full_cycles ? 1.0 : 2.0);
  const std::int32_t least_on = cycles_in(power_switch.least_on_s, per_s), least_off = cycles_in(power_switch.least_off_s, per_s);
  s.begun += per_s * period_s;
  const double whole = std::floor(s.begun + almost);
  s.begun -= whole;
  const auto cycles = static_cast<std::int32_t>(whole);
  std::int32_t fired = 0;
  for (std::int32_t k = 0; k < cycles; ++k) {
    s.owed += demand;
    const bool want = s.owed >= 1.0 - almost;
    if (want != s.on && s.run >= (s.on ? least_on : least_off)) {
      s.on = want;
      s.run = 0;
    }
    s.run = std::min(s.run + 1, longest_run);
    if (!s.on) continue;
    s.owed -= 1.0;
    ++fired;
  }
  return fired / (per_s * period_s);
}

}  // namespace

double phase_angle_share(double angle_rad) {
  constexpr double pi = std::numbers::pi;
  return 1.0 - angle_rad / pi + std::sin(2.0 * angle_rad) / (2.0 * pi);
}

double fire(const PowerSwitch& power_switch, FiringState& state, double demand, double period_s) {
  switch (power_switch.firing) {
    case Firing::burst: return fire_burst(power_switch, state, demand, period_s);
    case Firing::phase_angle: return std::max(0.0, phase_angle_share(std::numbers::pi * (1.0 - demand)));
    case Firing::averaged: break;
  }
  return demand;
}

}  // namespace plant
