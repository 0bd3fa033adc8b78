// PID controller: 2-DOF ISA form, backward differences, derivative filtered and on the process value, tracking
// anti-windup on the output actually applied, bumpless changes of mode and gains.
//
//   U = K (b R - Y) + K / (Ti s) (R - Y) - K Td s / (1 + (Td / N) s) Y,   and (1 / Tt) (u - v) into the integral
//
// (K. J. Astrom, T. Hagglund, Advanced PID Control; K. J. Astrom, R. M. Murray, Feedback Systems, chapter on PID.)
// One sample of h seconds, in two halves because the interlocks have their say in between:
//   automatic():  P = K (b r - y);  D = ad D - bd (y - y_old);  v = P + I + D + F;  u = limits(v);  y_old = y
//   applied(u):   I = I + bi (r - y) + ao (u - v)
// with bi = K h / Ti, ad = Td / (Td + N h), bd = K N Td / (Td + N h), ao = h / Tt; F a feed-forward, 0 when unused.
// A direct-acting loop (more process value, more output) has a negative K.
//
// The code is a template only so that a test can run it in double against published sequences; firmware uses Pid (float).
// The integral is an int64 in units of 2^-50: sums of hours lose nothing, whatever the number type.
#pragma once

#include <cmath>
#include <cstdint>

namespace fw {

template <typename Real>
struct PidSettings {
  Real gain{};              // K, output per unit of process value; negative for direct action
  Real integral_s{};        // Ti; 0: no integral
  Real derivative_s{};      // Td; 0: no derivative
  Real derivative_filter{}; // N, 2..100 by use; at most 0: taken as 10
  Real setpoint_weight{};   // b, 0..1
  Real tracking_s{};        // Tt; 0: no tracking
  Real period_s{};          // h, above 0
  Real out_min{}, out_max{};
  Real out_rate_per_s{};    // largest change of the output, up or down, per second; 0: no limit

  bool operator==(const PidSettings&) const = default;
};

// Trivially copyable; zero-initialised it stands at output 0, integral 0, and takes its first process value as the old one.
template <typename Real>
class BasicPid {
 public:
  // Half one: the output for this sample, inside the limits and the rate limit counted from the output last applied.
  // Settings that differ from the ones before are taken over without a bump: v of this sample is what the old
  // settings give, only from the next sample on do the new ones act. Inputs must be finite.
  Real automatic(const PidSettings<Real>& settings, Real setpoint, Real process_value, Real feed_forward = Real(0));

  // Half two: what the actuator got after the interlocks. Integrates once per automatic(); further calls before the next
  // automatic() (ticks between two runs of a slow loop) only move the point the rate limit counts from.
  void applied(Real output);

  // One sample in manual: follows the given output so that the next automatic() continues from it without a bump.
  void manual(const PidSettings<Real>& settings, Real setpoint, Real process_value, Real output,
              Real feed_forward = Real(0));

  // Forgets everything.
  void reset() { *this = BasicPid{}; }

  // Sets the integral directly (output units); for starting from a known state.
  void set_integral(Real value);
  void set_process_value(Real value);

  Real integral() const;
  Real proportional() const { return proportional_; }
  Real derivative() const { return derivative_; }
  Real unlimited() const { return unlimited_; }   // v of the last sample
  Real output() const { return output_; }         // last applied, or given by manual
  bool at_limit() const { return at_limit_; }     // the last automatic() was cut by a limit or the rate limit

 private:
  void take_value(Real process_value);
  void add_to_integral(Real change);

  PidSettings<Real> settings_{};
  std::int64_t integral_ = 0;   // 2^-50 of an output unit
  Real derivative_{};
  Real proportional_{};
  Real value_old_{};
  Real error_{};                // r - y of the sample that applied() completes
  Real unlimited_{};
  Real output_{};
  bool has_settings_ = false;
  bool has_value_ = false;
  bool pending_ = false;
  bool at_limit_ = false;
};

using Pid = BasicPid<float>;

}  // namespace fw
