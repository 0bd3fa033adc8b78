#include "firmware/flow.h"

#include <cmath>

#include "firmware/fixed_point.h"

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

float mixture_conversion(float share, float first_conversion, float second_conversion) {
  const float x = share > 0.0f ? (share < 1.0f ? share : 1.0f) : 0.0f;
  const float first = first_conversion > 0.0f ? first_conversion : 1.0f, second = second_conversion > 0.0f ? second_conversion : 1.0f;
  return 1.0f / (x / first + (1.0f - x) / second);
}

float flow_slm(const FlowMeter& meter, float current_ma) { return span_value(current_ma, 0.0f, range_slm(meter)); }

float flow_current_ma(const FlowMeter& meter, float flow_slm) { return span_current(flow_slm, 0.0f, range_slm(meter)); }

namespace {

void ramp_to(FlowLoop& loop, float range, float target_slm, float ramp_slm_per_s, float period_s) {
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
}

}  // namespace

float flow_automatic(FlowLoop& loop, const FlowMeter& meter, float target_slm, float ramp_slm_per_s, float period_s) {
  ramp_to(loop, range_slm(meter), target_slm, ramp_slm_per_s, period_s);
  return flow_current_ma(meter, loop.setpoint_slm);
}

void flow_blended(FlowLoop& loop, const FlowMeter& first, const FlowMeter& second, float share, float target_slm,
                  float ramp_slm_per_s, float period_s, float (&ma)[2]) {
  if (!(share > 0.0f && share < 1.0f)) {
    ma[0] = flow_automatic(loop, first, target_slm, ramp_slm_per_s, period_s);
    return;
  }
  const float by_first = range_slm(first) / share, by_second = range_slm(second) / (1.0f - share);
  ramp_to(loop, by_first < by_second ? by_first : by_second, target_slm, ramp_slm_per_s, period_s);
  ma[0] = flow_current_ma(first, loop.setpoint_slm * share);
  ma[1] = flow_current_ma(second, loop.setpoint_slm * (1.0f - share));
}

float flow_driven_ma(Pid& pid, const FlowDrive& drive, float setpoint_share, float measured_share) {
  if (!std::isfinite(setpoint_share) || !std::isfinite(measured_share)) return 4.0f;
  PidSettings<float> settings;
  settings.gain = drive.gain;
  settings.integral_s = drive.integral_s;
  settings.setpoint_weight = 1.0f;
  settings.tracking_s = drive.integral_s;
  settings.period_s = drive.period_s;
  settings.out_max = 1.0f;
  const float open = pid.automatic(settings, setpoint_share, measured_share);
  pid.applied(open);   // what an interlock takes away shuts the process valve too, and the loop begins anew
  return span_current(open, 0.0f, 1.0f);
}

void flow_shut(FlowLoop& loop) {
  loop.setpoint_slm = 0.0f;
  for (Pid& pid : loop.drive) pid.reset();
}

void totaliser_add(FlowTotaliser& totaliser, float flow_slm, std::uint32_t period_ms) {
  float flow = flow_slm;
  if (!(flow > -10000.0f)) flow = std::isnan(flow) ? 0.0f : -10000.0f;
  if (flow > 10000.0f) flow = 10000.0f;
  const auto units = to_int64(std::round(flow * units_per_slm));
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
