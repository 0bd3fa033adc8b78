#include "sim/identified_model.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace sim {
namespace {

Estimate about(double value, double half_width) { return {value, value - half_width, value + half_width}; }
// Beyond a factor of a million nothing is known of it.
Estimate logarithmic(double log_value, double half_width, double unit) {
  if (!(half_width < std::log(1e6))) return {unit * std::exp(log_value), 0.0, std::numeric_limits<double>::infinity()};
  return {unit * std::exp(log_value), unit * std::exp(log_value - half_width), unit * std::exp(log_value + half_width)};
}

struct TwoLags {
  double longer, shorter;
};

TwoLags two_lags(double log_time, double log_damping) {
  const double time = std::exp(log_time), damping = std::max(1.0, std::exp(log_damping));
  const double longer = time * (damping + std::sqrt(damping * damping - 1.0));
  return {longer, time * time / longer};
}

// Extremes over the 95 % ellipse: near equal lags their slopes are infinite, the ellipse's picture is not.
void report_two_lags(const OutputErrorFit& fit, const ParameterSpread& spread, double unit, IdentifiedModel& model) {
  const TwoLags best = two_lags(fit.theta[0], fit.theta[1]);
  Estimate longer{best.longer, best.longer, best.longer}, shorter{best.shorter, best.shorter, best.shorter};
  if (std::max(spread.half_width(0), spread.half_width(1)) > std::log(1e6)) {   // nothing known
    model.lags_s = {longer, shorter};
    for (Estimate& lag : model.lags_s) lag = {lag.value * unit, 0.0, std::numeric_limits<double>::infinity()};
    return;
  }
  const Eigen::Matrix2d root = spread.covariance.topLeftCorner<2, 2>().llt().matrixL();
  for (int i = 0; i < 180; ++i) {
    const double angle = 2.0 * std::numbers::pi * i / 180.0;
    const Eigen::Vector2d away = spread.quantile * root * Eigen::Vector2d(std::cos(angle), std::sin(angle));
    const TwoLags there = two_lags(fit.theta[0] + away[0], fit.theta[1] + away[1]);
    longer.low = std::min(longer.low, there.longer);
    longer.high = std::max(longer.high, there.longer);
    shorter.low = std::min(shorter.low, there.shorter);
    shorter.high = std::max(shorter.high, there.shorter);
  }
  for (Estimate* lag : {&longer, &shorter}) *lag = {lag->value * unit, lag->low * unit, lag->high * unit};
  model.lags_s = {longer, shorter};
}

void report_lags(const JudgedFit& judged, const RecordUnits& units, IdentifiedModel& model) {
  const OutputErrorFit& fit = judged.fit;
  const Shape s = shape(fit.structure);
  if (!s.lag) return;
  const Estimate time = logarithmic(fit.theta[0], judged.spread.half_width(0), units.time_s);
  if (!s.damping) {
    model.lags_s.assign(static_cast<std::size_t>(s.order), time);
  } else if (fit.theta[1] >= 0.0) {
    report_two_lags(fit, judged.spread, units.time_s, model);
  } else {
    model.pair = {time, logarithmic(fit.theta[1], judged.spread.half_width(1), 1.0)};
    model.process.pairs = {{model.pair[0].value, model.pair[1].value}};
  }
  for (const Estimate& lag : model.lags_s) model.process.lags_s.push_back(lag.value);
}

void report_linear(const JudgedFit& judged, const NuisanceTerms& terms, const RecordUnits& units, IdentifiedModel& model) {
  const Eigen::VectorXd& linear = judged.fit.linear;
  const Columns at = columns(judged.fit.structure, terms);
  const Eigen::Index first = judged.fit.theta.size();
  const auto estimate = [&](Eigen::Index column, double unit) {
    return about(linear[column] * unit, judged.spread.half_width(first + column) * unit);
  };
  const double per_s = shape(judged.fit.structure).integrators > 0 ? 1.0 / units.time_s : 1.0;
  model.gain = estimate(at.gain, units.output / units.input * per_s);
  model.offset = estimate(at.offset, units.output);
  for (double* v : {&model.offset.value, &model.offset.low, &model.offset.high}) *v += units.base;
  if (at.drift >= 0) model.drift_per_s = estimate(at.drift, units.output / units.time_s);
  if (at.zero >= 0) {
    const double gain = linear[at.gain], zero = linear[at.zero] / gain;
    const Eigen::MatrixXd& c = judged.spread.covariance;
    const Eigen::Index g = first + at.gain, z = first + at.zero;
    const double variance = (c(z, z) + zero * zero * c(g, g) - 2.0 * zero * c(g, z)) / (gain * gain);
    model.zero_s = {about(zero * units.time_s, judged.spread.quantile * std::sqrt(std::max(0.0, variance)) * units.time_s)};
    model.process.zeros_s = {model.zero_s[0].value};
  }
  model.process.gain = model.gain.value;
}

double fit_percent(const Eigen::VectorXd& residual, const Eigen::VectorXd& output) {
  const double spread = (output.array() - output.mean()).matrix().norm();
  return spread > 0.0 ? 100.0 * (1.0 - residual.norm() / spread) : std::numeric_limits<double>::quiet_NaN();
}

double held_out_percent(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record) {
  const Eigen::Index n = record.times.size(), head = 2 * n / 3;
  const double nothing = std::numeric_limits<double>::quiet_NaN();
  if (n < 60) return nothing;
  const double border = record.times[head];
  const bool moves_before = record.input.front().time_s < record.times[head / 2], moves_after = record.input.back().time_s > border;
  if (!moves_before || !moves_after) return nothing;
  const Structure structure = judged.fit.structure;
  const OutputErrorFit fit = fit_from(structure, terms, record.part(0, head), judged.fit.theta);
  const PreparedRecord tail = record.part(head, n - head);
  const Eigen::VectorXd simulated = regressors(structure, unpacked(structure, fit.theta), terms, tail) * fit.linear;
  return fit_percent(tail.output - simulated, tail.output);
}

// The input as it stood `before` each reading.
Eigen::VectorXd input_before(const PreparedRecord& record, double before) {
  Eigen::VectorXd levels(record.times.size());
  std::size_t next = 0;
  double level = 0.0;
  for (Eigen::Index k = 0; k < levels.size(); ++k) {
    while (next < record.input.size() && record.input[next].time_s + before <= record.times[k]) level = record.input[next++].level;
    levels[k] = level;
  }
  return levels;
}

// Over ten distances, as far back as the model remembers.
ScoreTest input_test(const JudgedFit& judged, const PreparedRecord& record) {
  const NonLinear values = unpacked(judged.fit.structure, judged.fit.theta);
  const Shape s = shape(judged.fit.structure);
  const double memory = values.delay + (s.lag ? 4.0 * values.lag * std::max(1.0, values.damping) : 0.0);
  const double reach = std::clamp(memory, 10.0 * record.period, std::max(10.0 * record.period, 0.5 * record.answering()));
  Eigen::MatrixXd before(record.times.size(), 10);
  for (Eigen::Index i = 0; i < 10; ++i) before.col(i) = input_before(record, reach * static_cast<double>(i) / 10.0);
  return score_test(before, judged.own, judged.fit.residual, judged.colour);
}

ScoreTest bend_test(const JudgedFit& judged, const NuisanceTerms& terms) {
  const Columns at = columns(judged.fit.structure, terms);
  const Eigen::Index first = judged.fit.theta.size();
  Eigen::VectorXd response = judged.own.col(first + at.gain) * judged.fit.linear[at.gain];
  if (at.zero >= 0) response += judged.own.col(first + at.zero) * judged.fit.linear[at.zero];
  return score_test(response.array().square().matrix(), judged.own, judged.fit.residual, judged.colour);
}

}  // namespace

IdentifiedModel identified_model(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record,
                                 const RecordUnits& units) {
  const OutputErrorFit& fit = judged.fit;
  IdentifiedModel model;
  model.structure = fit.structure;
  report_lags(judged, units, model);
  report_linear(judged, terms, units, model);
  const Eigen::Index at_delay = fit.theta.size() - 1;
  model.delay_s = about(fit.theta[at_delay] * units.time_s, judged.spread.half_width(at_delay) * units.time_s);
  model.delay_s.low = std::max(0.0, model.delay_s.low);
  model.process.delay_s = model.delay_s.value;
  model.process.integrators = shape(fit.structure).integrators;
  model.rms = std::sqrt(fit.squares / static_cast<double>(fit.residual.size())) * units.output;
  model.fit_percent = fit_percent(fit.residual, record.output);
  model.held_out_percent = held_out_percent(judged, terms, record);
  model.criterion = judged.criterion;
  model.parameters = static_cast<int>(fit.theta.size() + fit.linear.size());
  model.whiteness = whiteness(fit.residual, static_cast<int>(fit.theta.size()) + 1);
  model.input_test = input_test(judged, record);
  model.bend_test = bend_test(judged, terms);
  for (ScoreTest* test : {&model.input_test, &model.bend_test}) test->explained *= units.output;
  return model;
}

double gain_share_without_drift(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record, double quantum) {
  const Columns at = columns(judged.fit.structure, terms);
  const Eigen::Index drift = judged.fit.theta.size() + at.drift, all = judged.own.cols();
  Eigen::MatrixXd without(judged.own.rows(), all - 1);
  without << judged.own.leftCols(drift), judged.own.rightCols(all - drift - 1);
  const ParameterSpread spread = spread_of(without, judged.colour, record, quantum);
  return spread.half_width(judged.fit.theta.size() + at.gain) / std::fabs(judged.fit.linear[at.gain]);
}

double shortest_lag(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record, double quantum) {
  const Columns at = columns(judged.fit.structure, terms);
  const Eigen::Index first = judged.fit.theta.size(), n = record.times.size(), all = judged.own.cols();
  // 1 / (s + k) is 1 / s - k / s^2: what a pole off 0 adds is the integral of all that the integrator has given so far.
  const Eigen::VectorXd given = judged.own.col(first + at.gain) * judged.fit.linear[at.gain] +
                                judged.own.col(first + at.drift) * judged.fit.linear[at.drift];
  Eigen::MatrixXd wider(n, all + 1);
  wider.leftCols(all) = judged.own;
  wider(0, all) = 0.0;
  for (Eigen::Index k = 1; k < n; ++k) {
    wider(k, all) = wider(k - 1, all) - 0.5 * (given[k] + given[k - 1]) * (record.times[k] - record.times[k - 1]);
  }
  const ParameterSpread spread = spread_of(wider, judged.colour, record, quantum);
  Eigen::VectorXd scale = wider.colwise().norm().cwiseMax(1e-300).cwiseInverse();
  const Eigen::VectorXd more = scale.asDiagonal() *
                               (wider * scale.asDiagonal()).completeOrthogonalDecomposition().solve(judged.fit.residual);
  const double pole = more[all] + spread.half_width(all);
  return pole > 0.0 ? 1.0 / pole : std::numeric_limits<double>::infinity();
}

}  // namespace sim
