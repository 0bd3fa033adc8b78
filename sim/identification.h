// From a record of an input and an output to a process with confidence intervals, tests and a fit figure, or to plain words about why
// the record cannot give one and which test would.
//
// Method: the simulation error in least squares (output error), exact between uneven readings; offset, drift and the state the record
// begins in are estimated with the rest. Among structures the one with the least BIC, n_eff ln(squares / n) + parameters ln(n_eff), n_eff
// the readings' worth after the colour of the best residual; a simpler one within 2 of it is taken instead (R. E. Kass, A. E. Raftery, J.
// Am. Stat. Assoc. 90 (1995) 773-795: below 2 "not worth more than a bare mention"). L. Ljung, System Identification, 2nd ed., chapters
// 7, 9, 16 (from memory).
#pragma once

#include <string>
#include <vector>

#include "sim/candidate_model.h"
#include "sim/process.h"
#include "sim/record_quality.h"
#include "sim/residual_colour.h"
#include "sim/test_record.h"

namespace sim {

struct IdentificationOptions {
  // Any but no_response, at least one.
  std::vector<Structure> structures{Structure::integrator, Structure::first_order,  Structure::integrator_lag,
                                    Structure::equal_lags, Structure::second_order, Structure::second_order_zero};
  bool estimate_drift = true;          // false: known to be without; an integrator's input of rest is estimated always
  bool estimate_initial_state = true;  // false: the process was at rest at the first row, and before
};

// 95 % interval: Student's quantile times the standard error from the sensitivities of the simulation, J^+ R J^+T, R the residuals'
// covariance coloured as they are, and a quantum's error taken for one and the same while a reading repeats. Lags and damping on a
// logarithmic scale; two real lags by their extremes over the 95 % ellipse of time and damping; dead time not below 0.
struct Estimate {
  double value = 0.0, low = 0.0, high = 0.0;
  double half_width() const { return 0.5 * (high - low); }
  bool holds(double truth) const { return low <= truth && truth <= high; }
};

struct IdentifiedModel {
  Structure structure = Structure::first_order;
  Process process;
  Estimate gain;  // output unit per input unit, per s with an integrator
  Estimate delay_s;
  std::vector<Estimate> lags_s;   // longest first; none where a pair swings
  std::vector<Estimate> pair;     // where it swings: time T in s, damping
  std::vector<Estimate> zero_s;   // T0
  Estimate offset;                // of the output at the first row, its input as there
  Estimate drift_per_s;           // 0 where not estimated; with an integrator: of its input as at the first row
  double rms = 0.0;               // of the residual
  double fit_percent = 0.0;       // 100 (1 - |y - simulated| / |y - mean y|)
  double held_out_percent = 0.0;  // the same on the last third, from a fit to the rest; NaN: too few readings or moves
  double criterion = 0.0;         // BIC less that of the best
  int parameters = 0;
  WhitenessTest whiteness;
  ScoreTest input_test;           // residual against the input of now and before
  ScoreTest bend_test;            // residual against the square of the simulated response: a bent characteristic
  std::vector<double> simulated;  // one per row of the record, NaN at its gaps
};

enum class VerdictKind {
  too_few_readings,
  input_never_moves,
  output_stuck,
  input_follows_output,
  no_response,  // no model to be had
  lag_not_told_from_integrator,
  dead_time_not_resolved,
  drift_confused,         // some parameters not
  residuals_follow_input  // the structure does not do
};

struct Verdict {
  VerdictKind kind;
  std::string finding;  // a sentence with the record's numbers
  std::string test;     // a sentence: what to run instead
};

struct Identification {
  RecordQuality quality;
  std::vector<IdentifiedModel> models;  // best criterion first; none where the record speaks of no process at all
  std::size_t chosen = 0;               // index into it
  std::vector<Verdict> verdicts;

  // A model, and no verdict against it.
  bool supported() const { return !models.empty() && verdicts.empty(); }
  const IdentifiedModel& model() const { return models.at(chosen); }
};

// Throws std::invalid_argument where the record is no record (see quality()) or no structure is asked for. Deterministic.
Identification identify(const TestRecord& record, const IdentificationOptions& options = {});

}  // namespace sim
