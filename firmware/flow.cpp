#include "firmware/flow.h"

#include <cmath>

#include "firmware/current_loop.h"

namespace fw {

namespace {

float range_slm(const FlowMeter& meter) {
  const float conversion = meter.gas_conversion > 0.0f ? meter.gas_conversion : 1.0f;
  return meter.full_scale_slm * conversion;
}

constexpr float units_per_slm = 16777216.0f;               // 2^24
constexpr std::int64_t units_per_sl = 16777216LL * 60000;  // 2^-24 slm ms in a standard litre
constexpr std::int64_t sum_max = std::int64_t{1} << 62;

}  // namespace

float flow_slm(const FlowMeter& meter, float current_ma) { return span_value(current_ma, 0.0f, range_slm(meter)); }

float flow_current_ma(const FlowMeter& meter, float flow_slm) { return span_current(flow_slm, 0.0f, range_slm(meter)); }

float flow_automatic(FlowLoop& loop, const FlowMeter& meter, float target_slm, float ramp_slm_per_s, float period_s) {
  const float range = range_slm(meter);
  float target = target_slm > 0.0f ? target_slm : 0.0f;
  if (target > range) target = range;
  const float step = ramp_slm_per_s * period_s;
  if (step > 0.0f && target > loop.setpoint_slm + step) {
    loop.setpoint_slm += step;
  } else if (step > 0.0f && target < loop.setpoint_slm - step) {
    loop.setpoint_slm -= step;
  } else {
    loop.setpoint_slm = target;
  }
  return flow_current_ma(meter, loop.setpoint_slm);
}

void flow_shut(FlowLoop& loop) { loop.setpoint_slm = 0.0f; }

void totaliser_add(FlowTotaliser& totaliser, float flow_slm, std::uint32_t period_ms) {
  float flow = flow_slm;
  if (!(flow > -10000.0f)) flow = std::isnan(flow) ? 0.0f : -10000.0f;
  if (flow > 10000.0f) flow = 10000.0f;
  const auto units = static_cast<std::int64_t>(std::round(flow * units_per_slm));
  std::int64_t sum = totaliser.sum + units * static_cast<std::int64_t>(period_ms & 0xFFFFFu);
  if (sum > sum_max) sum = sum_max;
  if (sum < -sum_max) sum = -sum_max;
  totaliser.sum = sum;
}

float totaliser_sl(const FlowTotaliser& totaliser) {
  if (totaliser.sum <= 0) return 0.0f;
  // One rounding to float, one of the division; the divisor is exact.
  return static_cast<float>(totaliser.sum) / static_cast<float>(units_per_sl);
}

std::uint32_t totaliser_sml(const FlowTotaliser& totaliser) {
  if (totaliser.sum <= 0) return 0;
  const std::int64_t sml = totaliser.sum / (units_per_sl / 1000);
  return static_cast<std::uint32_t>(sml < 0xFFFFFFFFLL ? sml : 0xFFFFFFFFLL);
}

}  // namespace fw
