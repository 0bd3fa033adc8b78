// Gas flow: set point to the mass-flow controller (which closes its own loop), process value and totaliser. Standard
// litres are at 0 degC and 101.325 kPa. Flow of the process gas = meter reading * gas conversion factor relative to the
// calibration gas.
#pragma once

#include <cstdint>

#include "firmware/pid.h"

namespace fw {

struct FlowMeter {
  float full_scale_slm;      // at 20 mA in the calibration gas, above 0
  float gas_conversion;      // of the process gas relative to the calibration gas, above 0; not positive: taken as 1
};

// Of a mixture of two gases in a thermal meter: 1 / (x1 / c1 + x2 / c2), x1 = share (published by makers of such meters; the
// conductances of the gases' heat capacities add). Factors not above 0 are taken as 1, share is clamped to 0..1.
float mixture_conversion(float share, float first_conversion, float second_conversion);

// Flow of the process gas in slm at a meter current (spans and clamps as span_value: about -1.25 % to 103 % of full scale).
float flow_slm(const FlowMeter& meter, float current_ma);
// Current that asks for a flow of the process gas, 4..20 mA; not a number gives 4 mA.
float flow_current_ma(const FlowMeter& meter, float flow_slm);

// The set point on its way to the meter. Trivially copyable; zero-initialised = no flow.
struct FlowLoop {
  float setpoint_slm = 0.0f;   // ramped
  Pid drive[2];                // of the meters' valves, where the core drives them
};

// The loop of a meter whose valve the core drives, in shares of full scale.
struct FlowDrive {
  float gain, integral_s, period_s;
};
// Current that drives a meter's valve, 4..20 mA for shut..open, from the share of full scale asked for and the one measured.
float flow_driven_ma(Pid& pid, const FlowDrive& drive, float setpoint_share, float measured_share);

// Call every tick: moves the set point towards target_slm by at most ramp_slm_per_s * period and returns the meter's current,
// 4..20 mA. A target below 0 or not a number is 0, above the meter's range the range. ramp_slm_per_s 0: no ramp.
float flow_automatic(FlowLoop& loop, const FlowMeter& meter, float target_slm, float ramp_slm_per_s, float period_s);
// The same for a gas blended from two meters, which carry share and 1 - share of the flow: ma[0] and ma[1]. The range is what both
// can give at that share. share 1: the first alone, and ma[1] stays as it is. Both follow one ramped set point, so that the ratio
// stands at every instant.
void flow_blended(FlowLoop& loop, const FlowMeter& first, const FlowMeter& second, float share, float target_slm,
                  float ramp_slm_per_s, float period_s, float (&ma)[2]);
// Process valve shut by an interlock: the next ramp starts from 0.
void flow_shut(FlowLoop& loop);

// Exact sum of flow over integer time, in 2^-24 slm * ms. Readings below zero (noise at no flow) count too, so that
// noise does not add up. Holds 9 million standard litres either way, then stops.
struct FlowTotaliser {
  std::int64_t sum = 0;
};
// Adds a flow that stood for period_ms. Not a number adds nothing; flows are clamped to +-10,000 slm.
void totaliser_add(FlowTotaliser& totaliser, float flow_slm, std::uint32_t period_ms);
// Standard litres, never below 0, correctly rounded to float32 to within one unit in the last place.
float totaliser_sl(const FlowTotaliser& totaliser);
// Whole millilitres (standard), exact: for registers and counters.
std::uint32_t totaliser_sml(const FlowTotaliser& totaliser);

}  // namespace fw
