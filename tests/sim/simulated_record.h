// Records of known processes: simulated by the matrix exponential of a canonical form, none of the code that identifies.
#pragma once

#include <cmath>
#include <limits>
#include <string>
#include <unsupported/Eigen/MatrixFunctions>
#include <vector>

#include <Eigen/Dense>

#include "plant/random.h"
#include "sim/process.h"
#include "sim/test_record.h"
#include "sim/test_signal.h"

namespace test_record {

struct Disturbance {
  double noise = 0.0;   // rms, white
  double colour = 0.0;  // of the noise: each reading's takes this share of the last one's
  double quantum = 0.0;
  double offset = 0.0, drift_per_s = 0.0;
  double input_rest = 0.0;  // level at which the process rests; an integrator stands still there
};

inline sim::Process process(double gain, const std::vector<double>& lags_s, double delay_s, const std::vector<double>& zeros_s = {},
                            int integrators = 0, const std::vector<sim::SecondOrderLag>& pairs = {}) {
  return {gain, zeros_s, lags_s, pairs, integrators, delay_s};
}

// Coefficients of (f[0] s + f[1]) (...): highest power first.
inline std::vector<double> times_factor(const std::vector<double>& p, const std::vector<double>& factor) {
  std::vector<double> product(p.size() + factor.size() - 1, 0.0);
  for (std::size_t i = 0; i < p.size(); ++i) {
    for (std::size_t j = 0; j < factor.size(); ++j) product[i + j] += p[i] * factor[j];
  }
  return product;
}

struct Canonical {
  Eigen::MatrixXd a;  // companion form
  Eigen::VectorXd b, c;
};

inline Canonical canonical(const sim::Process& process) {
  std::vector<double> below{1.0}, above{process.gain};
  for (const double lag : process.lags_s) below = times_factor(below, {lag, 1.0});
  for (const auto& pair : process.pairs) below = times_factor(below, {pair.time_s * pair.time_s, 2.0 * pair.damping * pair.time_s, 1.0});
  for (int i = 0; i < process.integrators; ++i) below.push_back(0.0);
  for (const double zero : process.zeros_s) above = times_factor(above, {zero, 1.0});
  const auto n = static_cast<Eigen::Index>(below.size()) - 1;
  Canonical form{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n), Eigen::VectorXd::Zero(n)};
  for (Eigen::Index i = 0; i < n; ++i) form.a(0, i) = -below[static_cast<std::size_t>(i) + 1] / below[0];
  for (Eigen::Index i = 1; i < n; ++i) form.a(i, i - 1) = 1.0;
  form.b[0] = 1.0 / below[0];
  for (std::size_t i = 0; i < above.size(); ++i) form.c[n - static_cast<Eigen::Index>(above.size() - i)] = above[i];
  return form;
}

// The process's output at `times_s` to the signal less `rest`, at rest before.
inline std::vector<double> output_of(const sim::Process& process, const sim::TestSignal& signal, double rest,
                                     const std::vector<double>& times_s) {
  const Canonical form = canonical(process);
  const Eigen::Index n = form.a.rows();
  Eigen::VectorXd x = Eigen::VectorXd::Zero(n);
  double now = -1e-9, level = signal.levels[0] - rest, cached_dt = -1.0;
  Eigen::MatrixXd step = Eigen::MatrixXd::Zero(n + 1, n + 1);
  const auto go_to = [&](double until) {
    if (std::fabs(until - now - cached_dt) > 1e-12) {
      Eigen::MatrixXd held = Eigen::MatrixXd::Zero(n + 1, n + 1);
      held.topLeftCorner(n, n) = form.a * (until - now);
      held.topRightCorner(n, 1) = form.b * (until - now);
      cached_dt = until - now;
      step = held.exp();
    }
    x = step.topLeftCorner(n, n) * x + step.topRightCorner(n, 1) * level;
    now = until;
  };
  std::vector<double> output;
  std::size_t next = 1;
  for (const double t : times_s) {
    while (next < signal.times_s.size() && signal.times_s[next] + process.delay_s <= t) {
      go_to(signal.times_s[next] + process.delay_s);
      level = signal.levels[next++] - rest;
    }
    go_to(t);
    output.push_back(form.c.dot(x));
  }
  return output;
}

inline std::vector<double> even_times(double period_s, double end_s) {
  std::vector<double> times;
  for (int k = 0; k * period_s <= end_s + 1e-9; ++k) times.push_back(k * period_s);
  return times;
}

// Rows also where the input moves (readings there are gaps), so that the record has the input's own times.
inline sim::TestRecord record_of(const sim::Process& process, const sim::TestSignal& signal, const std::vector<double>& times_s,
                                 const Disturbance& with, std::uint64_t seed) {
  const std::vector<double> pure = output_of(process, signal, with.input_rest, times_s);
  const plant::RandomStream chance(seed, "record.noise");
  sim::TestRecord record;
  std::size_t next = 1;
  double noise = with.noise * chance.normal(1'000'000);
  for (std::size_t k = 0; k < times_s.size(); ++k) {
    while (next < signal.times_s.size() && signal.times_s[next] <= times_s[k]) {
      if (signal.times_s[next] < times_s[k] - 1e-9) {
        record.times_s.push_back(signal.times_s[next]);
        record.input.push_back(signal.levels[next]);
        record.output.push_back(std::numeric_limits<double>::quiet_NaN());
      }
      ++next;
    }
    noise = with.colour * noise + std::sqrt(1.0 - with.colour * with.colour) * with.noise * chance.normal(k);
    double y = pure[k] + with.offset + with.drift_per_s * times_s[k] + noise;
    if (with.quantum > 0.0) y = with.quantum * std::round(y / with.quantum);
    record.times_s.push_back(times_s[k]);
    record.input.push_back(signal.at(times_s[k] + 1e-9));
    record.output.push_back(y);
  }
  return record;
}

}  // namespace test_record
