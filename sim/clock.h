// Virtual time. Ticks are counted; every instant is computed from the count, never summed, so that it does not drift.
#pragma once

#include <cmath>
#include <cstdint>

namespace sim {

struct Clock {
  std::int64_t period_ns = 100'000'000;

  std::int64_t boundary_ns(std::uint64_t tick) const { return static_cast<std::int64_t>(tick) * period_ns; }
  std::uint64_t boundary_us(std::uint64_t tick) const { return static_cast<std::uint64_t>(boundary_ns(tick) / 1000); }
  double time_s(std::uint64_t tick) const { return static_cast<double>(boundary_ns(tick)) / 1e9; }  // the nearest double
  double period_s() const { return static_cast<double>(period_ns) / 1e9; }

  // Ticks in a duration, rounded up: after that many, at least duration_s has passed. A duration that is a whole number of
  // periods but for its binary rounding counts as whole.
  std::uint64_t ticks(double duration_s) const {
    const double exact = duration_s * 1e9 / static_cast<double>(period_ns);
    return exact <= 0.0 ? 0 : static_cast<std::uint64_t>(std::ceil(exact * (1.0 - 1e-12) - 1e-9));
  }
};

}  // namespace sim
