// A loop of the bench as a linear system at an operating point: the plant's equations (plant/equations.h) differentiated there, the
// instrument's lag behind them; with the delay of one period and the hold added exactly when it is sampled. Checked against a small step
// of the plant itself, whose integrator the equations do not share.
#pragma once

#include <complex>
#include <string>
#include <vector>

#include "sim/loop_judgement.h"
#include "sim/operating_point.h"
#include "sim/process_file.h"
#include "sim/state_space.h"

namespace sim {

// Of a heat loop: input the demand (0..1), output the zone's thermocouple in degC, as the station reads it.
struct LinearLoop {
  std::string loop;                               // "heat.1"
  StateSpace process;                             // reduced to what can be told from outside (model_reduction.h)
  Eigen::Index whole_states = 0;                  // before
  double lost = 0.0;                              // largest difference of the reduced one's step response, by its end
  Sampling sampling;                              // of the loop in the controller
  std::vector<std::complex<double>> poles_per_s;  // of `process`, slowest first
  double static_gain = 0.0;                       // K per full demand
};

struct StepCheck {
  std::vector<double> time_s, plant, linear;  // K per full demand, after a step of the demand
  double demand_step = 0.0;
  double largest_difference = 0.0;  // by the plant's largest response
};

// Throws std::domain_error for what the equations do not have (plant::inputs_of).
LinearLoop linearise(const OperatingPoint& point);

// Two copies of the plant go on from the point for for_s, one with the demand a little higher: their difference by the step.
StepCheck check_step(const OperatingPoint& point, const LinearLoop& loop, double demand_step, double for_s);

// Of one input and one output, by its poles, zeros and gain. Fast poles and zeros beyond fastest_per_s count as delay. Throws
// std::domain_error where zeros are complex.
Process factors_of(const StateSpace& system, double fastest_per_s);

// As the desk takes it: the loop's factors with its sampling, units 1 and K.
ProcessFile process_file_of(const LinearLoop& loop, const OperatingPoint& point);

}  // namespace sim
