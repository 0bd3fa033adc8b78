// How far a loop is from instability, read from its open-loop response L to frequencies: sensitivities, margins, bandwidth.
//
//   S = 1 / (1 + L), T = L / (1 + L); Ms, Mt their peaks: 1 / Ms is how near the Nyquist curve comes to -1.
// Source: K. J. Astrom, R. M. Murray, Feedback Systems, chapter "Frequency Domain Analysis".
#pragma once

#include <complex>
#include <functional>

namespace sim {

// An open loop, the controller's sign turned so that negative feedback closes it. Its poles lie in the left half plane or at the origin
// (of a sampled one: inside the unit circle or at 1).
struct OpenLoop {
  std::function<std::complex<double>(double rad_s)> at;
  int integrators = 0;      // poles at the origin (at 1)
  double low_rad_s = 1e-6;  // below it nothing but the integrators moves
  double high_rad_s = 1e6;  // continuous: nothing above it but the delay and the limit; sampled: pi / period, a real value
  double delay_s = 0.0;     // of a continuous loop; the curve turns with it for ever
  double limit = 0.0;       // continuous: what L tends to without its delay, with its sign; 0 for most
  bool sampled = false;
};

struct LoopMargins {
  bool stable = false;                  // closed; what follows is of use only then
  double sensitivity_peak = 0.0;        // Ms; where L keeps a size for ever, the limit counts that is not attained
  double sensitivity_peak_rad_s = 0.0;  // infinite for such a limit
  double complementary_peak = 0.0;      // Mt
  double gain_margin = 0.0;             // factor up to which the gain may grow; infinite: any
  double gain_reduction = 0.0;          // factor down to which it may sink; 0: any
  double phase_margin_deg = 0.0;        // the smallest at any gain crossover; infinite: |L| is nowhere 1
  double delay_margin_s = 0.0;          // more dead time than this and it swings; infinite as above
  double crossover_rad_s = 0.0;         // where |L| is 1, the highest; 0: nowhere
  double phase_crossover_rad_s = 0.0;   // where L is real and negative, the one of gain_margin; 0: nowhere
  double bandwidth_rad_s = 0.0;         // up to here |S| < 1 / sqrt(2); 0: from the start above it
};

LoopMargins margins_of(const OpenLoop& loop);

}  // namespace sim
