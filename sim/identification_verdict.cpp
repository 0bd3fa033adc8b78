#include "sim/identification_verdict.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "sim/test_signal.h"

namespace sim {
namespace {

// Bounds, all common practice without a source: what a model may be unsure of and still be of use to a tuning rule.
constexpr double useful_gain_share = 0.25;  // half the interval of the gain
constexpr double useful_delay_share = 0.5;  // half the interval of the dead time, of all that makes the process slow
constexpr double integrator_like = 3.0;     // a lag of so many times the record is as good as an integrator
constexpr double explained_share = 0.02;    // of the output's span, that the input would still explain of the residual
constexpr double clear_of_noise = 20.0;     // a response should be so many times noise and quantum

template <class... Numbers>
std::string text(const char* format, Numbers... numbers) {
  char buffer[512];
  std::snprintf(buffer, sizeof buffer, format, numbers...);
  return buffer;
}

double grain(const RecordQuality& quality) { return std::max(quality.noise, quality.quantum); }

// The response wanted of a step, in the output's unit; where output and noise are both nothing, nothing can be said.
std::string step_of_a_size(const RecordQuality& quality) {
  if (grain(quality) <= 0.0) return "Step the input by as much as the process allows";
  return text("Step the input by enough to move the output by %.3g (%.0f times its noise and quantum)", clear_of_noise * grain(quality),
              clear_of_noise);
}

std::optional<Verdict> about_output(const RecordQuality& q) {
  if (q.output_span <= 2.0 * q.quantum || q.output_span <= 0.0) return verdict_no_response(q);
  if (q.longest_stuck_s <= 0.0) return std::nullopt;
  const char* where = q.stuck_at_limit ? "at the end of its range" : "in the middle of its range";
  const char* cure = q.stuck_at_limit
                         ? "Run an up-down step test half as large, or from another operating point, so that the output stays within"
                         : "See to the sensor and its line first, then run the same test again with the output alive to";
  return Verdict{VerdictKind::output_stuck, text("The output stands still for %.3g s %s: saturated or stuck.", q.longest_stuck_s, where),
                 text("%s its range throughout (%.3g s of readings).", cure, q.duration_s)};
}

}  // namespace

std::optional<Verdict> verdict_before(const RecordQuality& q) {
  const double after = q.duration_s - q.first_move_s;
  if (q.input_moves == 0) {
    return Verdict{
        VerdictKind::input_never_moves, text("The input never moves in %.3g s.", q.duration_s),
        step_of_a_size(q) + text(" after at least %.3g s of rest, and hold it until the output has settled.", 10.0 * q.period_s)};
  }
  if (q.readings < 20 || after < 8.0 * q.period_s) {
    return Verdict{VerdictKind::too_few_readings,
                   text("%d readings, %.3g s of them after the input's first move, are too few for any model.", q.readings, after),
                   text("Read on for at least %.3g s after the move at this spacing, or sample closer.", 30.0 * q.period_s)};
  }
  if (const std::optional<Verdict> output = about_output(q)) return output;
  if (q.moving_share > 0.3 && q.follows_share > 0.95) {
    return Verdict{
        VerdictKind::input_follows_output,
        text("%.1f %% of the input's moves follow from the output's readings: a controller at work without a test signal, whose "
             "own inverse would be found in place of the process.",
             100.0 * q.follows_share),
        text("Put the controller into manual and run a step or a pseudo-random binary test of at least %.3g up and down, or "
             "let a relay run the loop.",
             0.5 * q.input_span)};
  }
  return std::nullopt;
}

Verdict verdict_no_response(const RecordQuality& q) {
  return {VerdictKind::no_response,
          text("The output does nothing that the input, moved by %.3g, explains beyond noise (%.3g rms), quantum (%.3g) and a drift.",
               q.input_span, q.noise, q.quantum),
          step_of_a_size(q) +
              text(": more than the %.3g of this record. If it still does nothing, actuator and wiring come first.", q.input_span)};
}

namespace {

double lag_sum(const IdentifiedModel& model) {
  double sum = 0.0;
  for (const Estimate& lag : model.lags_s) sum += lag.value;
  if (!model.pair.empty()) sum += model.pair[0].value;
  return sum;
}

void judge_lag(const ChosenModel& chosen, std::vector<Verdict>& found) {
  const IdentifiedModel& m = chosen.model;
  const double seen = chosen.answering_s;
  if (m.process.integrators > 0) {
    if (chosen.shortest_lag_s >= integrator_like * seen) return;
    found.push_back({VerdictKind::lag_not_told_from_integrator,
                     text("It looks like an integrator, but a lag of %.3g s or more would look the same in %.3g s of answer.",
                          chosen.shortest_lag_s, seen),
                     text("Step and wait for %.3g s, or run a relay test, which needs neither.", 3.0 * chosen.shortest_lag_s)});
    return;
  }
  const Estimate slow = m.lags_s.empty() ? m.pair[0] : m.lags_s[0];
  const bool open = slow.high > integrator_like * seen;
  const bool vague = slow.value > 0.5 * seen && m.gain.half_width() > useful_gain_share * std::fabs(m.gain.value);
  if (!open && !vague) return;
  found.push_back(
      {VerdictKind::lag_not_told_from_integrator,
       text("The record (%.3g s of answer) is too short for its lag, %.3g s (%.3g to %.3g): it is not told from an integrator.", seen,
            slow.value, slow.low, slow.high),
       text("Step up, hold for %.3g s, step down and hold as long, or run a relay test.", 3.0 * std::max(slow.value, seen))});
}

void judge_delay(const ChosenModel& chosen, const RecordQuality& q, std::vector<Verdict>& found) {
  const IdentifiedModel& m = chosen.model;
  const double slowness = m.delay_s.value + lag_sum(m);
  const bool lag_lost = m.process.integrators == 0 && lag_sum(m) < 0.5 * q.period_s;
  const double scale = std::max(slowness, m.process.integrators > 0 ? 2.0 * q.period_s : 0.0);
  if (!lag_lost && m.delay_s.half_width() <= useful_delay_share * scale) return;
  const double closer = std::max(m.delay_s.value, 0.2 * slowness) / 4.0;
  std::string test = text("Sample every %.3g s or closer", std::min(closer, 0.2 * q.period_s));
  if (!lag_lost && q.period_s <= 0.3 * slowness) {
    test = text("Step %.1f times as far (the input moved by %.3g here), or as often, with a pseudo-random binary test",
                m.delay_s.half_width() / (0.2 * scale), q.input_span);
  }
  found.push_back({VerdictKind::dead_time_not_resolved,
                   text("The dead time, %.3g s (%.3g to %.3g), is not resolved beside lags of %.3g s, read every %.3g s.",
                        m.delay_s.value, m.delay_s.low, m.delay_s.high, lag_sum(m), q.period_s),
                   test + "."});
}

void judge_drift(const ChosenModel& chosen, std::vector<Verdict>& found) {
  const IdentifiedModel& m = chosen.model;
  const double share = m.gain.half_width() / std::fabs(m.gain.value);
  if (m.process.integrators > 0 || share <= useful_gain_share || chosen.gain_share_without_drift > 0.5 * share) return;
  const double hold = 4.0 * (lag_sum(m) + m.delay_s.value);
  found.push_back(
      {VerdictKind::drift_confused,
       text("A drift of the output passes for its response: gain %.3g (%.3g to %.3g), but within %.0f %% were there none.", m.gain.value,
            m.gain.low, m.gain.high, 100.0 * chosen.gain_share_without_drift),
       text("Run an up-down step test, %.3g s at each level: its mean is rest, so that a drift cannot pass for gain.", hold)});
}

void judge_residual(const ChosenModel& chosen, const RecordQuality& q, std::vector<Verdict>& found) {
  const IdentifiedModel& m = chosen.model;
  const auto matters = [&](const ScoreTest& test) { return !test.independent() && test.explained > explained_share * q.output_span; };
  const bool bent = matters(m.bend_test), more = matters(m.input_test);
  if (!bent && !more) return;
  const double slow = std::max(lag_sum(m) + m.delay_s.value, 2.0 * q.period_s), bit = std::max(q.period_s, 0.5 * slow);
  const int order = order_for(3.0 * slow, bit);  // 6 bits: 63 of them in 32 times what makes the process slow
  const double rms = std::max(m.bend_test.explained, m.input_test.explained);
  std::string test = text("Run a pseudo-random binary test of %.3g up and down, bit time %.3g s, register of %d bits (%.3g s)",
                          0.5 * q.input_span, bit, order, bit * ((1 << order) - 1));
  if (bent) test = text("Run up-down steps of %.3g and of half of it at this operating point and at another", 0.3 * q.input_span);
  found.push_back({VerdictKind::residuals_follow_input,
                   text("What the model leaves (%.3g rms, %.3g of it) still follows the input: ", m.rms, rms) +
                       (bent ? "the characteristic is bent." : "the structure is too simple."),
                   test + (bent ? ": one model for each." : ", and ask for more structures.")});
}

}  // namespace

std::vector<Verdict> verdicts_of(const ChosenModel& chosen, const RecordQuality& quality) {
  std::vector<Verdict> found;
  judge_lag(chosen, found);
  judge_delay(chosen, quality, found);
  judge_drift(chosen, found);
  judge_residual(chosen, quality, found);
  return found;
}

}  // namespace sim
