#include "sim/furnace_fit.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <limits>
#include <mutex>
#include <numeric>

#include <fmt/format.h>
#include <Eigen/Dense>

#include "sim/input_error.h"
#include "sim/least_squares.h"

namespace sim {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double prior_usual = 0.3, prior_wide = 1.0;  // one sigma; leaks and what a surface holds are known to an order only
constexpr double lasts_s = 600.0;                      // errors of FitSettings::accuracy
constexpr double normal_95 = 1.959964;
constexpr double huber = 2.0;  // standard deviations
constexpr double mad_to_sigma = 1.0 / 0.6744898;
constexpr int passes_max = 8, passes_calm = 4;  // of finding scales anew
constexpr double weak = 3.0;                    // less information than this, in that of the prior, is next to nothing
constexpr double alone = 0.8;                   // share of the prior above which it alone speaks
constexpr double wants_more = 0.3;              // above it an experiment is named
constexpr double part_of_direction = 0.3;       // least weight that counts in words

bool is_scale(const Field& field) { return field.low > 0.0 || (field.low == 0.0 && field.unit != "degC"); }

double six_digits(double value) { return *number_of(fmt::format("{:.6g}", value)); }

double rms(const std::vector<double>& values) {
  double sum = 0.0;
  for (const double value : values) sum += value * value;
  return values.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(values.size()));
}

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// From second differences, which a smooth course does not move: their variance is six times that of a row.
double noise_of(const std::vector<double>& values) {
  std::vector<double> steps;
  for (std::size_t i = 2; i < values.size(); ++i) {
    const double step = std::fabs(values[i] - 2.0 * values[i - 1] + values[i - 2]);
    if (!std::isnan(step)) steps.push_back(step);
  }
  return median(steps) * mad_to_sigma / std::sqrt(6.0);
}

// The least by which two rows differ, if they do: what a logger rounds to.
double step_of(const std::vector<double>& values) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < values.size(); ++i) {
    const double step = std::fabs(values[i] - values[i - 1]);
    if (step > 1e-9 * std::fabs(values[i]) && step < least) least = step;
  }
  return std::isfinite(least) ? least : 0.0;
}

// Rows over which a misfit stays like itself: 1 + 2 x the sum of its autocorrelation, summed until the window is six times that
// (Sokal).
double alike(const std::vector<double>& misfit) {
  const std::size_t n = misfit.size();
  double power = 0.0;
  for (const double value : misfit) power += value * value;
  double sum = 1.0;
  if (power <= 0.0) return sum;
  for (std::size_t lag = 1; lag < n / 4 && static_cast<double>(lag) < 6.0 * sum; ++lag) {
    double product = 0.0;
    for (std::size_t i = lag; i < n; ++i) product += misfit[i] * misfit[i - lag];
    sum = std::max(1.0, sum + 2.0 * product / power);
  }
  return sum;
}

class Fit {
 public:
  Fit(const OpenLoop& loop, const FurnaceFile& file, const FitSettings& settings, const FitProgress& progress)
      : loop_(loop), file_(file), settings_(settings), progress_(progress), rows_(loop.times_s().size()) {}

  FurnaceFit run(const std::vector<FitRequest>& requests) {
    fit_.before = readings_of(file_.furnace);
    for (const FitRequest& request : requests.empty() ? usual_requests() : requests) add(request);
    find_noise();
    rescale(fit_.before, 0);
    start_ = VectorXd(count());
    for (Eigen::Index i = 0; i < count(); ++i) start_[i] = measure(parameter(i), parameter(i).before);
    if (requests.empty()) leave_out_what_moves_nothing();
    settle();
    conclude();
    return std::move(fit_);
  }

 private:
  Eigen::Index count() const { return static_cast<Eigen::Index>(fit_.parameters.size()); }
  const FittedParameter& parameter(Eigen::Index i) const { return fit_.parameters[static_cast<std::size_t>(i)]; }
  static double measure(const FittedParameter& p, double value) { return p.logarithmic ? std::log(value) : value; }
  static double value(const FittedParameter& p, double measured) { return p.logarithmic ? std::exp(measured) : measured; }

  std::vector<double> readings_of(const plant::Furnace& furnace) const {
    ++runs_;
    if (progress_) {
      const std::lock_guard<std::mutex> lock(mutex_);
      progress_(runs_);
    }
    return loop_.readings(furnace);
  }

  FurnaceFile with(const VectorXd& x) const {
    FurnaceFile file = file_;
    for (Eigen::Index i = 0; i < count(); ++i) {
      FieldValue given;
      given.number = std::clamp(value(parameter(i), x[i]), parameter(i).low, parameter(i).high);
      parameter(i).field->set(&file, given);
    }
    return file;
  }

  std::vector<FitRequest> usual_requests() {
    std::vector<FitRequest> requests;
    for (const std::string& key : usual_fit_keys()) {
      if (file_.furnace.boundary == plant::Boundary::vessel && key.starts_with("retort.")) continue;
      requests.push_back(fit_request(key));
      FieldValue now;
      (void)requests.back().field->get(&file_, now);
      if (now.number > 0.0) continue;
      fit_.notes.push_back(fmt::format("`{}` is 0 in the file and left so: ask for it by --fit to have it fitted", key));
      requests.pop_back();
    }
    return requests;
  }

  void add(const FitRequest& request) {
    FittedParameter p;
    p.field = request.field;
    for (const FittedParameter& other : fit_.parameters)
      if (other.field == p.field) throw InputError({"--fit", 0, 0}, "`" + p.field->key + "` twice", "each key once");
    FieldValue now;
    if (!p.field->get(&file_, now))
      throw InputError({"--fit", 0, 0}, "`" + p.field->key + "`, which the furnace file does not give",
                       "a key with a value to begin with");
    p.before = p.after = now.number;
    p.logarithmic = is_scale(*p.field) && !request.absolute && p.before > 0.0;
    p.low = request.low.value_or(p.field->low);
    p.high = request.high.value_or(p.field->high);
    if (p.logarithmic && p.low <= 0.0) p.low = std::min(1e-4 * p.before, p.high);
    if (!(p.low < p.high && p.before >= p.low && p.before <= p.high))
      throw InputError(
          {"--fit", 0, 0},
          fmt::format("`{}` between {} and {}", p.field->key, text_of(p.low, p.field->unit), text_of(p.high, p.field->unit)),
          "bounds about the file's value, " + text_of(p.before, p.field->unit));
    p.prior_width = prior_of(request, p);
    fit_.parameters.push_back(p);
  }

  static double prior_of(const FitRequest& request, const FittedParameter& p) {
    const std::string& key = p.field->key;
    const double usual = key == "leak" || key.starts_with("outgassing.sites") ? prior_wide : prior_usual;
    if (p.logarithmic) return std::log1p(request.prior.value_or(usual));
    if (request.absolute) return *request.prior;
    if (p.before != 0.0 && p.field->unit != "degC") return std::fabs(p.before) * request.prior.value_or(usual);
    throw InputError({"--fit", 0, 0},
                     fmt::format("`{}`, which is {}, without the width of its prior", key, text_of(p.before, p.field->unit)),
                     fmt::format("{}:prior=VALUE {}", key, p.field->unit == "degC" ? "K" : p.field->unit));
  }

  void find_noise() {
    for (const JudgedSignal& one : loop_.judged()) {
      SignalMisfit s;
      s.signal = one.signal;
      s.logarithmic = one.logarithmic;
      s.noise = noise_of(one.recorded);
      s.noise = std::max(s.noise, step_of(one.recorded) / std::sqrt(12.0));  // what rounding drops is spread evenly
      double low = std::numeric_limits<double>::infinity(), high = -low;
      for (const double value : one.recorded) {
        if (std::isnan(value)) continue;
        low = std::min(low, value);
        high = std::max(high, value);
      }
      s.span = high - low;
      s.accuracy = settings_.accuracy * s.span;
      fit_.signals.push_back(s);
    }
  }

  // Simulated less recorded, of the rows that have both.
  std::vector<double> misfit(const std::vector<double>& readings, std::size_t signal) const {
    std::vector<double> apart;
    for (std::size_t i = 0; i < rows_; ++i) {
      const double one = readings[signal * rows_ + i] - loop_.judged()[signal].recorded[i];
      if (!std::isnan(one)) apart.push_back(one);
    }
    return apart;
  }

  // Of the misfits of two signals, row by row, far ones brought in.
  double likeness(const std::vector<double>& readings, std::size_t a, std::size_t b) const {
    double product = 0.0, power_a = 0.0, power_b = 0.0;
    const auto near = [&](std::size_t k, std::size_t i) {
      const double reach = huber * fit_.signals[k].scale;
      return std::clamp(readings[k * rows_ + i] - loop_.judged()[k].recorded[i], -reach, reach);
    };
    for (std::size_t i = 0; i < rows_; ++i) {
      const double one = near(a, i), other = near(b, i);
      if (std::isnan(one) || std::isnan(other)) continue;
      product += one * other;
      power_a += one * one;
      power_b += other * other;
    }
    return power_a > 0.0 && power_b > 0.0 ? std::fabs(product) / std::sqrt(power_a * power_b) : 0.0;
  }

  // pass: 0 before anything is fitted: what is wrong with the file errs alike everywhere, which says nothing of the log.
  void rescale(const std::vector<double>& readings, int pass) {
    for (std::size_t k = 0; k < fit_.signals.size(); ++k) {
      SignalMisfit& s = fit_.signals[k];
      std::vector<double> apart = misfit(readings, k), size;
      for (const double one : apart) size.push_back(std::fabs(one));
      s.rows = apart.size();
      const double scale = std::max({s.noise, median(size) * mad_to_sigma, 1e-9});
      for (double& one : apart) one = std::clamp(one, -huber * scale, huber * scale);
      const double rows = pass == 0 ? 1.0 : alike(apart);
      // Late ones half-way, or the scales of two signals chase each other.
      const bool calm = pass >= passes_calm;
      s.scale = calm ? std::sqrt(s.scale * scale) : scale;
      s.alike_rows = calm ? std::sqrt(s.alike_rows * rows) : rows;
    }
    weigh(readings, pass);
  }

  // What errs together, from row to row or from signal to signal, is told once.
  void weigh(const std::vector<double>& readings, int pass) {
    weights_.assign(loop_.points(), 0.0);
    for (std::size_t k = 0; k < fit_.signals.size(); ++k) {
      SignalMisfit& s = fit_.signals[k];
      s.alike_signals = 1.0;
      for (std::size_t other = 0; pass > 0 && other < fit_.signals.size(); ++other)
        if (other != k) s.alike_signals += likeness(readings, k, other);
      const double lasting_rows = std::max(1.0, lasts_s * static_cast<double>(rows_) / loop_.times_s().back());
      const double variance = s.scale * s.scale * s.alike_rows + s.accuracy * s.accuracy * lasting_rows;
      for (std::size_t i = 0; i < rows_; ++i) {
        const double one = std::fabs(readings[k * rows_ + i] - loop_.judged()[k].recorded[i]);
        if (std::isnan(one)) continue;
        const double trust = one <= huber * s.scale ? 1.0 : huber * s.scale / one;
        weights_[k * rows_ + i] = std::sqrt(trust / (s.alike_signals * variance));
      }
    }
  }

  bool residuals(const VectorXd& x, VectorXd& r) const {
    std::vector<double> readings;
    try {
      readings = readings_of(with(x).furnace);
    } catch (const plant::NotFinite&) {
      return false;
    } catch (const std::invalid_argument&) {
      return false;
    }
    const auto points = static_cast<Eigen::Index>(loop_.points());
    r.resize(points + count());
    for (std::size_t k = 0; k < fit_.signals.size(); ++k) {
      for (std::size_t i = 0; i < rows_; ++i) {
        const std::size_t at = k * rows_ + i;
        const double one = weights_[at] * (readings[at] - loop_.judged()[k].recorded[i]);
        r[static_cast<Eigen::Index>(at)] = std::isnan(one) ? 0.0 : one;
      }
    }
    for (Eigen::Index i = 0; i < count(); ++i) r[points + i] = (x[i] - start_[i]) / parameter(i).prior_width;
    return true;
  }

  LeastSquaresProblem problem(const VectorXd& from) const {
    LeastSquaresProblem p;
    p.residuals = [this](const VectorXd& x, VectorXd& r) { return residuals(x, r); };
    p.start = from;
    p.low = p.high = p.difference = VectorXd(count());
    for (Eigen::Index i = 0; i < count(); ++i) {
      p.low[i] = measure(parameter(i), parameter(i).low);
      p.high[i] = measure(parameter(i), parameter(i).high);
      p.difference[i] = std::min(0.02 * parameter(i).prior_width, 0.4 * (p.high[i] - p.low[i]));
    }
    p.threads = settings_.threads;
    p.cost_tolerance = 0.0;
    p.cost_enough = 0.01;  // a tenth of a standard deviation and less is no news
    p.iterations_max = 12;
    return p;
  }

  void leave_out_what_moves_nothing() {
    LeastSquaresProblem p = problem(start_);
    p.iterations_max = 0;
    const LeastSquaresResult at = solve_least_squares(p);
    std::vector<FittedParameter> kept;
    std::vector<double> start;
    for (Eigen::Index i = 0; i < count(); ++i) {
      const double moved = at.jacobian.col(i).head(static_cast<Eigen::Index>(loop_.points())).norm() * parameter(i).prior_width;
      if (moved >= 1.0) {
        kept.push_back(parameter(i));
        start.push_back(start_[i]);
      } else {
        fit_.notes.push_back(fmt::format("`{}` is left out: the log does not move with it", parameter(i).field->key));
      }
    }
    if (kept.empty())
      throw InputError({"--fit", 0, 0}, "a log that moves with none of the usual parameters", "a log of a furnace at work");
    fit_.parameters = kept;
    start_ = Eigen::Map<VectorXd>(start.data(), static_cast<Eigen::Index>(start.size()));
  }

  // Solved, scales found anew from what is left over, and solved again until neither moves the other.
  void settle() {
    x_ = start_;
    for (int pass = 0; pass < passes_max; ++pass) {
      const LeastSquaresResult at = solve_least_squares(problem(x_));
      fit_.iterations += at.iterations;
      const VectorXd moved = at.x - x_;
      x_ = at.x;
      fit_.after = readings_of(with(x_).furnace);
      jacobian_ = at.jacobian;
      residuals_ = at.residuals;
      normal_ = jacobian_.transpose() * jacobian_;
      const double in_deviations = std::sqrt(std::max(0.0, moved.dot(normal_ * moved)));
      fit_.converged = at.converged && pass > 0 && in_deviations < 1.0;
      if (pass > 2 && in_deviations < 0.3) break;
      if (pass + 1 < passes_max) rescale(fit_.after, pass + 1);
    }
  }

  void conclude() {
    const MatrixXd covariance = normal_.ldlt().solve(MatrixXd::Identity(count(), count()));
    const auto points = static_cast<Eigen::Index>(loop_.points());
    fit_.correlation.assign(static_cast<std::size_t>(count()), std::vector<double>(static_cast<std::size_t>(count()), 0.0));
    for (Eigen::Index i = 0; i < count(); ++i) {
      FittedParameter& p = fit_.parameters[static_cast<std::size_t>(i)];
      p.after = std::clamp(six_digits(value(p, x_[i])), p.low, p.high);
      p.deviation = std::sqrt(covariance(i, i));
      p.low95 = value(p, x_[i] - normal_95 * p.deviation);
      p.high95 = value(p, x_[i] + normal_95 * p.deviation);
      p.prior_share = std::clamp(covariance(i, i) / (p.prior_width * p.prior_width), 0.0, 1.0);
      p.influence = jacobian_.col(i).head(points).norm() * p.prior_width;
      const double edge = 1e-6 * p.prior_width;
      p.at_bound = x_[i] <= measure(p, p.low) + edge || x_[i] >= measure(p, p.high) - edge;
      for (Eigen::Index j = 0; j < count(); ++j)
        fit_.correlation[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)] =
            covariance(i, j) / std::sqrt(covariance(i, i) * covariance(j, j));
    }
    round_off();
    find_indistinct(points);
    judge();
    remark();
  }

  // What is told and written is what was run: the same to the bit when it is read back.
  void round_off() {
    FurnaceFile file = file_;
    for (const FittedParameter& p : fit_.parameters) {
      FieldValue given;
      given.number = p.after;
      p.field->set(&file, given);
    }
    fit_.furnace = file.furnace;
    fit_.after = readings_of(fit_.furnace);
  }

  // Directions in prior widths, by how much the log says of them.
  void find_indistinct(Eigen::Index points) {
    MatrixXd scaled = jacobian_.topRows(points);
    for (Eigen::Index i = 0; i < count(); ++i) scaled.col(i) *= parameter(i).prior_width;
    const Eigen::SelfAdjointEigenSolver<MatrixXd> directions(scaled.transpose() * scaled);
    for (Eigen::Index k = 0; k < count(); ++k) {
      Indistinct one;
      one.information = std::max(0.0, directions.eigenvalues()[k]);
      if (one.information >= weak) break;  // they rise
      const VectorXd direction = directions.eigenvectors().col(k);
      for (Eigen::Index i = 0; i < count(); ++i)
        if (std::fabs(direction[i]) >= part_of_direction) one.parameters.push_back(static_cast<std::size_t>(i));
      std::sort(one.parameters.begin(), one.parameters.end(), [&](std::size_t a, std::size_t b) {
        return std::fabs(direction[static_cast<Eigen::Index>(a)]) > std::fabs(direction[static_cast<Eigen::Index>(b)]);
      });
      for (const std::size_t i : one.parameters) one.weights.push_back(direction[static_cast<Eigen::Index>(i)]);
      one.words = words_of(one);
      fit_.indistinct.push_back(one);
    }
  }

  std::string key(std::size_t i) const { return "`" + fit_.parameters[i].field->key + "`"; }

  std::string words_of(const Indistinct& one) const {
    if (one.parameters.size() == 1)
      return fmt::format("the log says next to nothing of {}: its prior stands", key(one.parameters[0]));
    bool logarithmic = true;
    std::string names, same, other;
    for (std::size_t k = 0; k < one.parameters.size(); ++k) {
      const std::size_t i = one.parameters[k];
      logarithmic = logarithmic && fit_.parameters[i].logarithmic;
      names += (k == 0 ? "" : k + 1 == one.parameters.size() ? " and " : ", ") + key(i);
      std::string& side = (one.weights[k] > 0.0) == (one.weights[0] > 0.0) ? same : other;
      side += (side.empty() ? "" : ", ") + key(i);
    }
    if (one.parameters.size() == 2 && logarithmic) {
      // What changes nothing is one of them up by as much as the other goes down (product known) or up (ratio known), in prior
      // widths.
      const double a = std::fabs(one.weights[0]) * fit_.parameters[one.parameters[0]].prior_width;
      const double b = std::fabs(one.weights[1]) * fit_.parameters[one.parameters[1]].prior_width;
      const std::string form =
          std::fabs(std::log(a / b)) < 0.25 ? "" : fmt::format(" (about {}^{:.2f})", key(one.parameters[1]), a / b);
      return fmt::format("the log tells {} only together: their {}{}", names, other.empty() ? "ratio" : "product", form);
    }
    return fmt::format("the log tells {} only together: {} up{} changes next to nothing in it", names, same,
                       other.empty() ? std::string() : " with " + other + " down");
  }

  void judge() {
    fit_.passed = fit_.converged;
    for (std::size_t k = 0; k < fit_.signals.size(); ++k) {
      SignalMisfit& s = fit_.signals[k];
      s.before = rms(misfit(fit_.before, k));
      s.after = rms(misfit(fit_.after, k));
      s.explained = s.scale <= std::max(3.0 * s.noise, 0.02 * s.span);
      fit_.passed = fit_.passed && s.explained;
      if (!s.explained)
        fit_.notes.push_back(
            fmt::format("{} is not explained: what is left over is {:.0f} times its noise; something is missing in the "
                        "model, or the log is of another furnace",
                        s.signal.name, s.scale / s.noise));
    }
    if (!fit_.converged) fit_.notes.emplace_back("the search did not come to rest: take none of the values");
  }

  void remark() {
    for (std::size_t i = 0; i < fit_.parameters.size(); ++i) {
      const FittedParameter& p = fit_.parameters[i];
      const double moved = std::fabs(measure(p, p.after) - measure(p, p.before)) / p.prior_width;
      if (p.at_bound) fit_.notes.push_back(fmt::format("{} stands at its bound: its interval means nothing", key(i)));
      if (moved > 3.0)
        fit_.notes.push_back(fmt::format(
            "{} lies {:.1f} prior widths from the file's value: the prior is too narrow, or the model errs", key(i), moved));
      if (p.prior_share > alone)
        fit_.notes.push_back(p.influence < 1.0 ? fmt::format("{} has no influence on this log: prior only", key(i))
                                               : fmt::format("{} is told by its prior more than by the log", key(i)));
      if (p.prior_share > wants_more) suggest(p.field->key);
      for (std::size_t j = 0; j < i; ++j)
        if (std::fabs(fit_.correlation[i][j]) > 0.95)
          fit_.notes.push_back(
              fmt::format("{} and {} are hardly told apart: correlation {:+.3f}", key(j), key(i), fit_.correlation[i][j]));
    }
  }

  void suggest(const std::string& of) {
    struct Experiment {
      const char* part;
      const char* words;
    };
    static constexpr Experiment experiments[] = {
        {"leak", "a pressure-rise test: evacuate, isolate, wait an hour, cold"},
        {"outgassing",
         "a pressure-rise test hot and again cold: what the surfaces give goes with temperature, a leak does not"},
        {"heat_capacity",
         "a heating at full power and a cooling without power from the same temperature, with and without the load weighed"},
        {"mass", "weigh it"},
        {"density", "a heating at full power and a cooling without power; the product with the heat capacity is all they tell"},
        {"conductivity", "a soak of several hours: the power that holds it is what the lining loses"},
        {"thickness", "measure it with a rule"},
        {"emissivity",
         "steps of the power at low and at high temperature: radiation goes with the fourth power, conduction does not"},
        {"exchange", "a step of the power below 200 degC, where radiation is weak"},
        {"thermocouples", "a step of the power with rows of one second: the sensor's own lag shows in the first minutes only"},
        {"back_pressure_valve", "steps of the valve with a constant flow, held until the pressure rests"},
        {"pump", "an evacuation from the barometer to its end"},
        {"power", "a heating at full power with the current measured"}};
    for (const Experiment& one : experiments) {
      if (of.find(one.part) == std::string::npos) continue;
      const std::string words = fmt::format("for `{}`: {}", of, one.words);
      if (std::find(fit_.experiments.begin(), fit_.experiments.end(), words) == fit_.experiments.end())
        fit_.experiments.push_back(words);
      return;
    }
  }

  const OpenLoop& loop_;
  const FurnaceFile& file_;
  const FitSettings& settings_;
  const FitProgress& progress_;
  std::size_t rows_;
  mutable std::atomic<int> runs_{0};
  mutable std::mutex mutex_;
  FurnaceFit fit_;
  std::vector<double> weights_;  // as OpenLoop's readings
  VectorXd start_, x_, residuals_;
  MatrixXd jacobian_, normal_;
};

const Field* field_named(const std::string& key) {
  std::vector<std::string> names;
  for (const Field& field : furnace_fields().fields) {
    if (field.key == key && field.type == FieldType::quantity) return &field;
    if (field.type == FieldType::quantity) names.push_back(field.key);
  }
  throw InputError({"--fit", 1, 1}, "`" + key + "`", "the key of a quantity in a furnace file", nearest_name(key, names));
}

// One option of a request. at: column of its value.
void take_option(FitRequest& request, const std::string& name, const std::string& text, int at) {
  const SourcePlace place{"--fit", 1, at};
  const std::string& unit = request.field->unit;
  const auto quantity = [&](const std::string& wanted) {
    try {
      return value_in(text, unit_of(wanted));
    } catch (const UnitError& error) {
      throw InputError(place, error.found + " for " + name, error.expected, error.nearest);
    }
  };
  if (name == "prior" && text.ends_with('%')) {
    const std::optional<double> number = number_of(text.substr(0, text.size() - 1));
    if (!number || !(*number > 0.0 && *number <= 1000.0))
      throw InputError(place, "`" + text + "` for prior", "above 0 % up to 1000 %");
    request.prior = *number / 100.0;
  } else if (name == "prior") {
    std::string difference = unit == "degC" ? "K" : unit;
    for (const char* reference : {" gauge", " abs"})
      if (difference.ends_with(reference)) difference = difference.substr(0, difference.rfind(' ')) + " diff";
    request.prior = quantity(difference);
    request.absolute = true;
    if (!(*request.prior > 0.0)) throw InputError(place, "`" + text + "` for prior", "a width above 0");
  } else if (name == "low" || name == "high") {
    const double limit = quantity(unit);
    if (limit < request.field->low || limit > request.field->high)
      throw InputError(place, "`" + text + "` for " + name,
                       text_of(request.field->low, unit) + " to " + text_of(request.field->high, unit));
    (name == "low" ? request.low : request.high) = limit;
  } else {
    throw InputError({"--fit", 1, at - static_cast<int>(name.size()) - 1}, "`" + name + "`", "one of prior, low, high",
                     nearest_name(name, {"prior", "low", "high"}));
  }
}

}  // namespace

FitRequest fit_request(const std::string& text) {
  FitRequest request;
  const std::size_t colon = std::min(text.find(':'), text.size());
  request.field = field_named(text.substr(0, colon));
  for (std::size_t at = colon + 1; at < text.size();) {
    const std::size_t end = std::min(text.find(',', at), text.size()), equals = text.find('=', at);
    if (equals == std::string::npos || equals > end)
      throw InputError({"--fit", 1, static_cast<int>(at) + 1}, "`" + text.substr(at, end - at) + "`",
                       "prior=, low= or high= with a value");
    take_option(request, text.substr(at, equals - at), text.substr(equals + 1, end - equals - 1), static_cast<int>(equals) + 2);
    at = end + 1;
  }
  return request;
}

const std::vector<std::string>& usual_fit_keys() {
  static const std::vector<std::string> keys{"lining.material.conductivity",
                                             "lining.material.heat_capacity",
                                             "retort.material.heat_capacity",
                                             "retort.emissivity_outside",
                                             "load.material.heat_capacity",
                                             "load.emissivity",
                                             "thermocouples.heater.heat_capacity",
                                             "leak",
                                             "outgassing.sites.1.held",
                                             "back_pressure_valve.area"};
  return keys;
}

FurnaceFit fit_furnace(const OpenLoop& loop, const FurnaceFile& file, const std::vector<FitRequest>& requests,
                       const FitSettings& settings, const FitProgress& progress) {
  return Fit(loop, file, settings, progress).run(requests);
}

}  // namespace sim
