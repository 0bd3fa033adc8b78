// Gains of a PID controller in the three forms in use, the ways between them, and the law they stand for.
//
//   ISA       u = K (e + 1 / (Ti s) e + Td s e)
//   series    u = K (1 + 1 / (Ti s)) (1 + Td s) e
//   parallel  u = (kp + ki / s + kd s) e
//
// Times in s; gains in output per process value (ki per s more, kd by s more). In all three the derivative is filtered and acts on the
// process value, and the set point counts with a weight in the proportional part (PidLaw).
// Source of the conversions: algebra; K. J. Astrom, T. Hagglund, Advanced PID Control, chapter 3 (from memory).
#pragma once

#include <complex>
#include <optional>

#include "sim/state_space.h"

namespace sim {

struct IsaGains {
  double gain = 0.0;          // K; negative for a process whose gain is
  double integral_s = 0.0;    // Ti; 0: no integral
  double derivative_s = 0.0;  // Td; 0: no derivative
};

struct SeriesGains {
  double gain = 0.0;
  double integral_s = 0.0;
  double derivative_s = 0.0;
};

struct ParallelGains {
  double proportional = 0.0;
  double integral = 0.0;    // per s
  double derivative = 0.0;  // s
};

IsaGains isa(const SeriesGains& series);
ParallelGains parallel(const IsaGains& isa);
ParallelGains parallel(const SeriesGains& series);
// None where there is no such form: of an integral without a proportional part; of Ti < 4 Td (the series form has real zeros only).
std::optional<IsaGains> isa(const ParallelGains& parallel);
std::optional<SeriesGains> series(const IsaGains& isa);

// The whole law: U = (b kp + ki / s) R - (kp + ki / s + kd s / (1 + Tf s)) Y.
struct PidLaw {
  ParallelGains gains;
  double filter_s = 0.0;         // Tf = Td / N of the derivative; 0: none, an ideal derivative
  double setpoint_weight = 1.0;  // b
};

// From the process value to the output with the sign turned, so that the loop is this times the process.
std::complex<double> response(const PidLaw& law, double rad_s);
// As a state machine with inputs set point and process value and output u. Throws std::invalid_argument where the derivative is ideal.
StateSpace realised(const PidLaw& law);
// The recurrence of the control core (backward differences; the integral's share of a sample counts from the next one on), inputs and
// output as above: firmware/pid.h in double, without limits.
SampledSystem sampled(const PidLaw& law, double period_s);

}  // namespace sim
