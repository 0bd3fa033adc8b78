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
// The integral is an int64 in units of 2^-48 of the output's, -16384..16384: sums of hours lose nothing, whatever the number type.
#pragma once

#include <cmath>
#include <cstdint>

#include "firmware/fixed_point.h"

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
  // settings give, only from the next sample on do the new ones act. Inputs must be finite. Once in automatic, settings
  // that leave the feed-forward's share out of v are the caller's: a step of F is a step of v.
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
  // Moves it by so much: what a caller takes out of its feed-forward, so that v stays.
  void shift_integral(Real change) { add_to_integral(change); }
  void set_process_value(Real value);

  Real integral() const;
  Real proportional() const { return proportional_; }
  Real derivative() const { return derivative_; }
  Real unlimited() const { return unlimited_; }   // v of the last sample
  Real output() const { return output_; }         // last applied, or given by manual
  bool at_limit() const { return at_limit_; }     // the last automatic() was cut by a limit or the rate limit

 private:
  struct Parts {
    Real proportional, derivative;
  };
  Parts parts(const PidSettings<Real>& settings, Real setpoint, Real process_value) const;
  Real take_sample(const PidSettings<Real>& settings, Real setpoint, Real process_value);
  Real limited(const PidSettings<Real>& settings, Real unlimited) const;
  void add_to_integral(Real change);
  static std::int64_t whole(Real value) {
    if constexpr (sizeof(Real) == sizeof(float)) return to_int64(value);
    else return static_cast<std::int64_t>(value);
  }

  static constexpr Real units_per_one = Real(281474976710656.0);   // 2^48
  static constexpr Real integral_max = Real(16384);                // so that the sum stays below 2^62

  PidSettings<Real> settings_{};
  std::int64_t integral_ = 0;   // 2^-48 of an output unit
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

template <typename Real>
typename BasicPid<Real>::Parts BasicPid<Real>::parts(const PidSettings<Real>& settings, Real setpoint,
                                                     Real process_value) const {
  const Real proportional = settings.gain * (settings.setpoint_weight * setpoint - process_value);
  if (!(settings.derivative_s > Real(0))) return {proportional, Real(0)};
  const Real filter = settings.derivative_filter > Real(0) ? settings.derivative_filter : Real(10);
  const Real divisor = settings.derivative_s + filter * settings.period_s;
  const Real ad = settings.derivative_s / divisor;
  const Real bd = settings.gain * filter * settings.derivative_s / divisor;
  const Real value_old = has_value_ ? value_old_ : process_value;
  return {proportional, ad * derivative_ - bd * (process_value - value_old)};
}

// P and D of this sample with the integral as it stands: v without feed-forward. Takes new settings over without a bump.
template <typename Real>
Real BasicPid<Real>::take_sample(const PidSettings<Real>& settings, Real setpoint, Real process_value) {
  const Parts now = parts(settings, setpoint, process_value);
  const bool same_law = settings.gain == settings_.gain && settings.derivative_s == settings_.derivative_s &&
                        settings.derivative_filter == settings_.derivative_filter &&
                        settings.setpoint_weight == settings_.setpoint_weight && settings.period_s == settings_.period_s;
  if (has_settings_ && !same_law) {
    const Parts before = parts(settings_, setpoint, process_value);
    set_integral(before.proportional + integral() + before.derivative - now.proportional - now.derivative);
  }
  settings_ = settings;
  has_settings_ = true;
  proportional_ = now.proportional;
  derivative_ = now.derivative;
  value_old_ = process_value;
  has_value_ = true;
  error_ = setpoint - process_value;
  return proportional_ + integral() + derivative_;
}

template <typename Real>
Real BasicPid<Real>::limited(const PidSettings<Real>& settings, Real unlimited) const {
  Real low = settings.out_min;
  Real high = settings.out_max;
  if (settings.out_rate_per_s > Real(0)) {
    const Real step = settings.out_rate_per_s * settings.period_s;
    // The limits themselves win: an output outside them (limits just narrowed) comes back at once.
    if (output_ - step > low) low = output_ - step;
    if (output_ + step < high) high = output_ + step;
    if (low > settings.out_max) low = settings.out_max;
    if (high < settings.out_min) high = settings.out_min;
  }
  if (!(unlimited > low)) return low;  // also a NaN
  return unlimited < high ? unlimited : high;
}

template <typename Real>
Real BasicPid<Real>::automatic(const PidSettings<Real>& settings, Real setpoint, Real process_value, Real feed_forward) {
  unlimited_ = take_sample(settings, setpoint, process_value) + feed_forward;
  const Real output = limited(settings, unlimited_);
  at_limit_ = output != unlimited_;
  pending_ = true;
  return output;
}

template <typename Real>
void BasicPid<Real>::applied(Real output) {
  if (!std::isfinite(output)) return;
  output_ = output;
  if (!pending_) return;
  pending_ = false;
  Real change = Real(0);
  if (settings_.integral_s > Real(0)) change = settings_.gain * settings_.period_s / settings_.integral_s * error_;
  if (settings_.tracking_s > Real(0)) change += settings_.period_s / settings_.tracking_s * (output - unlimited_);
  add_to_integral(change);
}

template <typename Real>
void BasicPid<Real>::manual(const PidSettings<Real>& settings, Real setpoint, Real process_value, Real output,
                            Real feed_forward) {
  take_sample(settings, setpoint, process_value);
  set_integral(output - proportional_ - derivative_ - feed_forward);
  unlimited_ = output;
  output_ = output;
  pending_ = false;
  at_limit_ = false;
}

template <typename Real>
void BasicPid<Real>::set_integral(Real value) {
  integral_ = 0;
  add_to_integral(value);
}

template <typename Real>
void BasicPid<Real>::set_process_value(Real value) {
  value_old_ = value;
  has_value_ = true;
}

template <typename Real>
Real BasicPid<Real>::integral() const {
  return static_cast<Real>(integral_) / units_per_one;  // a division by a power of two is exact
}

template <typename Real>
void BasicPid<Real>::add_to_integral(Real change) {
  if (!(change > -integral_max)) change = std::isfinite(change) ? -integral_max : Real(0);  // a NaN adds nothing
  if (change > integral_max) change = integral_max;
  constexpr std::int64_t sum_max = (std::int64_t{1} << 62) - 1;  // plus the largest change, 2^62, still fits
  std::int64_t sum = integral_ + whole(std::round(change * units_per_one));
  if (sum > sum_max) sum = sum_max;
  if (sum < -sum_max) sum = -sum_max;
  integral_ = sum;
}

using Pid = BasicPid<float>;

}  // namespace fw
