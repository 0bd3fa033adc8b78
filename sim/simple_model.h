// A process brought down to what tuning rules are written for: gain, up to two lags or integrators, dead time.
#pragma once

#include "sim/process.h"

namespace sim {

// gain e^(-delay s) / (s^integrators (lag s + 1) (second_lag s + 1))
struct SimpleModel {
  double gain = 1.0;
  int integrators = 0;        // 0..2
  double lag_s = 0.0;         // 0: none; with an integrator: the lag beside it
  double second_lag_s = 0.0;  // 0: none; at most lag_s
  double delay_s = 0.0;
};

// The half rule: of the largest lag that is left out one half counts as lag, one half as delay; smaller ones, inverse responses and half
// a sampling period (0: continuous) as delay. Zeros are taken off against lags first; an underdamped pair counts as two lags of its time.
// order: lags (of an integrating process: lags beside the integrator plus one) that are kept, 1 or 2. closed_loop_s: the closed-loop time
// wished for, which decides how some zeros count; 0: the delay that comes out. Source: S. Skogestad, J. Process Control 13 (2003)
// 291-309, sections 2 and 2.2.
SimpleModel half_rule(const Process& process, int order, double period_s = 0.0, double closed_loop_s = 0.0);

// Read from the step response as on paper: the tangent where it is steepest meets the start after delay_s, and 63.2 % of the end are
// reached lag_s later. Of an integrating process: the line it comes to follow. Throws std::domain_error of a process with two
// integrators, or one that answers at once. Source: K. J. Astrom, T. Hagglund, J. Process Control 14 (2004) 635-650 (from memory).
SimpleModel reaction_curve(const Process& process);

}  // namespace sim
