// Auto-tune by relay, for the loops of the heat zones and of the back-pressure: the loop's output switches between bias + d and
// bias - d whenever the process value leaves a band of +-hysteresis around the set point; from the limit cycle that comes of it follow
// ultimate gain and period, and from those gains of a named rule, which wait for the operator's acceptance.
//
//   describing function of the relay with hysteresis: |1/N(a)| = (pi / 4 d) sqrt(a^2 - eps^2), at phase -180 deg + asin(eps / a):
//   Ku = 4 d / (pi sqrt(a^2 - eps^2)), Tu = period of the cycle (K. J. Astrom, T. Hagglund, Automatica 20 (1984) 645-651)
//
// The describing function takes the cycle for a sine: on a first-order lag with delay Ku comes out 10 to 19 % low without hysteresis,
// on higher orders 2 %; hysteresis lowers it further and lengthens the period. Both make for more careful gains.
#pragma once

#include <cstdint>

namespace fw {

inline constexpr int tune_loops = 5;               // 0..3 heat zones, 4 back-pressure
inline constexpr int tune_pressure = 4;
inline constexpr int tune_cycles = 3;              // that must agree

enum class TuneState : std::uint8_t { idle = 0, running = 1, proposed = 2, ended = 3 };
enum class TuneEnd : std::uint8_t {
  none = 0, done = 1, timed_out = 2, ceiling = 3, operator_abort = 4, left_phase = 5, trip = 6, sensor = 7
};
enum class TuneRefusal : std::uint8_t {
  none = 0, no_such_loop = 1, busy = 2, not_in_phase = 3, not_settled = 4, output_at_limit = 5, loops_depend = 6
};
// simc_integrating_pi: the process taken for k' exp(-theta s) / s through the point found, theta = Tu / 4, k' = 2 pi / (Ku Tu), and
// SIMC with tau_c = theta: Kc = Ku / pi, Ti = 2 Tu. The others: Ziegler and Nichols, from the ultimate point.
enum class TuneRule : std::int32_t { simc_integrating_pi = 1, ziegler_nichols_pi = 2, ziegler_nichols_pid = 3 };

struct TunedGains {
  float gain, integral_s, derivative_s;   // ISA form
};
TunedGains tuned_gains(TuneRule rule, float ultimate_gain, float ultimate_period_s);

struct TuneSettings {
  float amplitude_share;          // of the bias, at most 0.5
  float hysteresis;               // half width, in units of the process value
  float ceiling;                  // above the set point: the end
  float settled_band;             // within which the process value must have stood
  std::uint32_t settled_ms;       // so long
  std::uint32_t timeout_ms;
  float out_max;
  bool direct;                    // more output, less process value
  TuneRule rule;
};

// One loop in a tick.
struct TuneView {
  bool in_phase = false;          // a standing set point, in charge, nothing in the way of the output
  bool tripped = false;
  bool sensor_good = false;
  float setpoint = 0.0f, process_value = 0.0f;
  float output = 0.0f;            // applied in the tick before
};

// Whether a loop stands settled, and at what output: the mean over the last whole stretch of settled_ms. Looked at once a second.
struct SettledWatch {
  std::int64_t sum = 0;           // of the output, 2^-24
  std::uint32_t count = 0;
  std::uint32_t stood_ms = 0;
  float setpoint = 0.0f;
  float mean_output = 0.0f;
  bool settled = false;
};

struct AutoTune {
  TuneState state = TuneState::idle;
  TuneEnd end = TuneEnd::none;
  TuneRefusal refusal = TuneRefusal::none;   // of the last start
  std::uint8_t loop = 0;                     // 1..5, 0 none yet
  TuneRule rule = TuneRule::simc_integrating_pi;
  bool high = false;                         // the relay asks for more process value
  float setpoint = 0.0f, bias = 0.0f, amplitude = 0.0f, hysteresis = 0.0f;
  float highest = 0.0f, lowest = 0.0f;       // of this cycle
  std::uint32_t elapsed_ms = 0;
  std::uint32_t cycle_ms = 0;                // since the relay last went high
  std::int32_t switches = 0;                 // to high
  std::int32_t cycles = 0;                   // whole ones after the first
  float period_s[tune_cycles] = {}, swing[tune_cycles] = {};   // last ones; swing: half peak to peak
  float ultimate_gain = 0.0f, ultimate_period_s = 0.0f, found_swing = 0.0f;
  TunedGains gains{};
  bool in_charge = false;                    // in this tick the loop gets `output`
  bool handing_back = false;                 // aborted between two ticks: the next one gives the bias once
  float output = 0.0f;
  std::uint32_t watch_ms = 0;
  SettledWatch watch[tune_loops];
};

// Once a second (the caller counts) for each loop in use.
void auto_tune_watch(SettledWatch& watch, const TuneSettings& settings, const TuneView& view, std::uint32_t since_ms);

// Starts on loop 0..4. Refused: another one runs or waits for its acceptance, the loop is not in the phase for it, has not stood
// settled for settled_ms on end, or its output leaves less than 1 % for the relay on either side.
TuneRefusal auto_tune_start(AutoTune& tune, int loop, const TuneSettings& settings, const TuneView& view);

// One tick of a running one. True: the loop gets `output`; the tick in which it ends gives the bias, from which the loop goes on.
bool auto_tune_step(AutoTune& tune, const TuneSettings& settings, const TuneView& view, std::uint32_t period_ms, float& output);

// The operator's: ends a running one.
void auto_tune_abort(AutoTune& tune);

}  // namespace fw
