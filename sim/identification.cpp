#include "sim/identification.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "sim/identification_verdict.h"
#include "sim/identified_model.h"

namespace sim {
namespace {

constexpr double bare_mention = 2.0;   // of a difference in BIC
constexpr double strong = 6.0;         // "strong evidence": R. E. Kass, A. E. Raftery, as in the header

RecordUnits units_of(const TestRecord& record, const RecordQuality& quality) {
  double sum = 0.0;
  for (const double y : record.output) sum += std::isnan(y) ? 0.0 : y;
  return {quality.duration_s, quality.input_span, quality.output_span, sum / quality.readings};
}

PreparedRecord prepared(const TestRecord& record, const RecordQuality& quality, const RecordUnits& units) {
  PreparedRecord ready;
  ready.times.resize(quality.readings);
  ready.output.resize(quality.readings);
  Eigen::Index kept = 0;
  double level = record.input[0];
  for (std::size_t k = 0; k < record.times_s.size(); ++k) {
    const double time = (record.times_s[k] - record.times_s[0]) / units.time_s;
    if (!std::isnan(record.input[k]) && record.input[k] != level) {
      level = record.input[k];
      ready.input.push_back({time, (level - record.input[0]) / units.input});
    }
    if (std::isnan(record.output[k])) continue;
    ready.times[kept] = time;
    ready.output[kept++] = (record.output[k] - units.base) / units.output;
  }
  ready.period = quality.period_s / units.time_s;
  ready.end = ready.times[kept - 1];
  return ready;
}

// Squares below what the readings' quantum makes, or arithmetic, tell nothing more.
double telling_squares(double squares, double quantum, Eigen::Index count) {
  return std::max(squares, static_cast<double>(count) * std::max(quantum * quantum / 12.0, 1e-16));
}

struct Task {
  PreparedRecord record;
  NuisanceTerms terms;
  RecordUnits units;
  double quantum;   // in the record's units
};

// Of a straight line, which is what most outputs do that nothing moves.
double line_criterion(const Task& task, double effective) {
  const NuisanceTerms line{task.terms.drift, false};
  const Structure nothing = Structure::no_response;
  const OutputErrorFit fit = project(nothing, line, task.record, packed(nothing, {}));
  const Eigen::Index count = fit.residual.size();
  const double mean = telling_squares(fit.squares, task.quantum, count) / static_cast<double>(count);
  return effective * std::log(mean) + static_cast<double>(fit.linear.size()) * std::log(effective);
}

struct Tried {
  std::vector<JudgedFit> fits;   // of what was asked for
  double nothing = 0.0;          // criterion of the better of two that do not respond
};

Tried all_fits(const Task& task, const std::vector<Structure>& structures) {
  std::vector<JudgedFit> fits;
  std::vector<Structure> tried = structures;
  tried.push_back(Structure::no_response);
  for (const Structure structure : tried) fits.push_back({fit_structure(structure, task.terms, task.record), {}, {}, {}, 0.0});
  double effective = 0.0, least = std::numeric_limits<double>::infinity();
  for (JudgedFit& judged : fits) {
    const OutputErrorFit& fit = judged.fit;
    judged.colour = ResidualColour(fit.residual, fit.theta.size() + fit.linear.size());
    if (fit.squares >= least) continue;
    least = fit.squares;
    effective = judged.colour.effective_count();
  }
  for (JudgedFit& judged : fits) {
    const Eigen::Index count = judged.fit.residual.size();
    const auto parameters = static_cast<double>(judged.fit.theta.size() + judged.fit.linear.size());
    const double mean = telling_squares(judged.fit.squares, task.quantum, count) / static_cast<double>(count);
    judged.criterion = effective * std::log(mean) + parameters * std::log(effective);
  }
  const double nothing = std::min(fits.back().criterion, line_criterion(task, effective));
  fits.pop_back();
  return {fits, nothing};
}

// Best first, the rest kept in order.
std::size_t arranged(std::vector<JudgedFit>& fits) {
  std::stable_sort(fits.begin(), fits.end(), [](const JudgedFit& a, const JudgedFit& b) { return a.criterion < b.criterion; });
  const auto size = [](const JudgedFit& judged) { return judged.fit.theta.size() + judged.fit.linear.size(); };
  std::size_t chosen = 0;
  for (std::size_t i = 1; i < fits.size(); ++i) {
    if (fits[i].criterion < fits[0].criterion + bare_mention && size(fits[i]) < size(fits[chosen])) chosen = i;
  }
  return chosen;
}

std::vector<double> simulated_rows(const TestRecord& record, const JudgedFit& judged, const Task& task) {
  std::vector<double> rows;
  Eigen::Index k = 0;
  for (const double y : record.output) {
    const bool gap = std::isnan(y);
    rows.push_back(gap ? y : y - judged.fit.residual[k] * task.units.output);
    k += gap ? 0 : 1;
  }
  return rows;
}

std::vector<Verdict> judged_choice(const JudgedFit& judged, const IdentifiedModel& model, const Task& task, const RecordQuality& quality) {
  constexpr double none = std::numeric_limits<double>::infinity();
  const bool integrates = model.process.integrators > 0;
  const double share = integrates || !task.terms.drift ? none
                                                       : gain_share_without_drift(judged, task.terms, task.record, task.quantum);
  const double lag = integrates ? shortest_lag(judged, task.terms, task.record, task.quantum) * task.units.time_s : none;
  return verdicts_of({model, task.record.answering() * task.units.time_s, share, lag}, quality);
}

}  // namespace

Identification identify(const TestRecord& record, const IdentificationOptions& options) {
  const auto is_nothing = [](Structure s) { return s == Structure::no_response; };
  if (options.structures.empty() || std::any_of(options.structures.begin(), options.structures.end(), is_nothing)) {
    throw std::invalid_argument("identification wants at least one structure that responds");
  }
  Identification result;
  result.quality = quality(record);
  if (const std::optional<Verdict> verdict = verdict_before(result.quality)) {
    result.verdicts.push_back(*verdict);
    return result;
  }
  const RecordUnits units = units_of(record, result.quality);
  const Task task{prepared(record, result.quality, units), {options.estimate_drift, options.estimate_initial_state}, units,
                  result.quality.quantum / units.output};
  auto [fits, nothing] = all_fits(task, options.structures);
  const std::size_t chosen = arranged(fits);
  if (nothing - fits[0].criterion < strong) {
    result.verdicts.push_back(verdict_no_response(result.quality));
    return result;
  }
  for (JudgedFit& judged : fits) {
    judged.own = sensitivity(judged.fit, task.terms, task.record);
    judged.spread = spread_of(judged.own, judged.colour, task.record, task.quantum);
    result.models.push_back(identified_model(judged, task.terms, task.record, task.units));
    result.models.back().criterion -= fits[0].criterion;
    result.models.back().simulated = simulated_rows(record, judged, task);
  }
  result.chosen = chosen;
  result.verdicts = judged_choice(fits[result.chosen], result.model(), task, result.quality);
  return result;
}

}  // namespace sim
