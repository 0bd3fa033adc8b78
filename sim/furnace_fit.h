// A furnace file fitted to a log: the plant alone is driven by the recorded commands, and chosen numbers of the file are moved
// until its instruments show what was recorded, as far as the file's own values, taken as prior knowledge, let them.
//
// What is estimated is the most probable value (maximum a posteriori) under: readings that err normally, with a scale found
// from the misfit itself, rows further out than twice that counting less (Huber); priors that are normal, of a positive
// quantity in its logarithm. Rows that err alike are no news: a signal's variance is taken times the number of rows over which
// its misfit stays correlated, and of signals whose misfits go together, so that intervals do not shrink with every row.
// Intervals are those of the linear approximation at the optimum. They hold as far as the model does. Seber and Wild, Nonlinear
// Regression (1989); Huber, Ann. Math. Statist. 35 (1964) 73; Sokal on integrated autocorrelation times (Cargese lectures,
// 1996): all from memory.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "sim/furnace_file.h"
#include "sim/open_loop.h"

namespace sim {

// One number of the furnace file, as asked for.
struct FitRequest {
  const Field* field = nullptr;  // of furnace_fields(), a quantity
  std::optional<double> prior;   // relative one-sigma width (0.3: 30 %), or with `absolute` in the field's unit
  bool absolute = false;
  std::optional<double> low, high;  // in the field's unit, within the field's own
};

// "lining.material.conductivity", "leak:prior=100%,low=0 Pa m3/s,high=1e-3 Pa m3/s", "surroundings.ambient:prior=3 K". Throws
// InputError, whose place is `--fit` and the column in the text.
FitRequest fit_request(const std::string& text);

// What an estimate of an ordinary furnace is about, where nothing is asked for.
const std::vector<std::string>& usual_fit_keys();

struct FittedParameter {
  const Field* field = nullptr;
  double before = 0.0, after = 0.0;  // in field->unit
  double low95 = 0.0, high95 = 0.0;  // between them with 95 %, given model, priors and scales
  double low = 0.0, high = 0.0;      // it was held between these
  bool logarithmic = false;
  double prior_width = 0.0;  // one sigma: of the logarithm, else in the unit
  double deviation = 0.0;    // one sigma after the fit, in the same measure
  double prior_share = 0.0;  // of what is known: 0 the log alone, 1 the prior alone
  double influence = 0.0;    // what one prior width of it moves the readings, in their standard deviations (norm)
  bool at_bound = false;
};

struct SignalMisfit {
  Signal signal;
  bool logarithmic = false;  // the numbers are of the natural logarithm
  std::size_t rows = 0;
  double before = 0.0, after = 0.0;  // root mean square of simulated less recorded
  double noise = 0.0;                // from row to row in the log
  double scale = 0.0;                // standard deviation taken for a row
  double alike_rows = 1.0;           // so many rows err alike,
  double alike_signals = 1.0;        // and so many signals
  double span = 0.0;                 // of the recorded values
  double accuracy = 0.0;             // FitSettings::accuracy, of that
  bool explained = true;             // see FurnaceFit::passed
};

// A combination the log says next to nothing about.
struct Indistinct {
  std::vector<std::size_t> parameters;  // of FurnaceFit::parameters, the weightiest first
  std::vector<double> weights;          // of its direction, in prior widths; the same order
  double information = 0.0;             // of the log, in that of the prior: below 1 the prior says more
  std::string words;
};

struct FurnaceFit {
  std::vector<FittedParameter> parameters;
  std::vector<std::vector<double>> correlation;
  std::vector<SignalMisfit> signals;
  std::vector<Indistinct> indistinct;
  std::vector<std::string> notes;        // in words: left out, doubts
  std::vector<std::string> experiments;  // in words: what would tell
  std::vector<double> before, after;     // readings, as OpenLoop gives them
  plant::Furnace furnace{};              // fitted
  int iterations = 0;
  bool converged = false;
  // Converged, and every signal explained: its misfit within three times its own noise, or 2 % of what it spans.
  bool passed = false;
};

// Runs done so far.
using FitProgress = std::function<void(int runs)>;

struct FitSettings {
  int threads = 1;
  // What the misfit cannot show, as a fit bends the furnace to it: errors of sensors, linearising and model that stay for ten
  // minutes, one sigma, as a share of what a signal spans in the log. The preset is that of a good chain of instruments, common
  // practice, no source; a thermocouple as bought is some ten times worse.
  double accuracy = 5e-4;
};

// Throws InputError for a value that cannot be fitted, plant::NotFinite or std::invalid_argument where the file's furnace
// fails.
FurnaceFit fit_furnace(const OpenLoop& loop, const FurnaceFile& file, const std::vector<FitRequest>& requests,
                       const FitSettings& settings, const FitProgress& progress = {});

}  // namespace sim
