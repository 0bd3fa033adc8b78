// A process with one input and one output, as the papers on tuning write it:
//
//   G(s) = gain * prod(T0 s + 1) / (s^integrators * prod(T s + 1) * prod(T^2 s^2 + 2 zeta T s + 1)) * exp(-delay s)
//
// Its response to a frequency is exact, the delay with it.
#pragma once

#include <complex>
#include <string>
#include <vector>

namespace sim {

// T^2 s^2 + 2 zeta T s + 1
struct SecondOrderLag {
  double time_s = 1.0;   // T, above 0
  double damping = 1.0;  // zeta, above 0
};

struct Process {
  double gain = 1.0;            // not 0: output unit per input unit, per s^integrators; negative where more input lowers the output
  std::vector<double> zeros_s;  // T0 of each, not 0; negative: the response begins the wrong way
  std::vector<double> lags_s;   // T of each, above 0
  std::vector<SecondOrderLag> pairs;
  int integrators = 0;   // 0..2
  double delay_s = 0.0;  // at least 0

  // Poles less zeros; negative: not a process that can be.
  int excess() const;
  // G(j w), w in rad/s, above 0.
  std::complex<double> at(double rad_s) const;
  // Limit of |G(j w)| for high frequencies: 0 where excess() is above 0.
  double high_frequency_gain() const;
};

// "2 (15 s + 1) e^(-0.3 s) / (s (20 s + 1) (s + 1))", numbers with up to 6 digits.
std::string formula(const Process& process);

}  // namespace sim
