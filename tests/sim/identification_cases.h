// Processes and records on which the intervals of identification are counted.
#pragma once

#include <map>
#include <ostream>
#include <string>
#include <vector>

#include "sim/identification.h"
#include "tests/sim/simulated_record.h"

namespace identification_cases {

struct Case {
  friend void PrintTo(const Case& what, std::ostream* out) { *out << what.name; }
  std::string name;
  sim::Structure structure;
  sim::Process process;
  sim::TestSignal signal;
  double period_s, end_s;
  test_record::Disturbance with;
  double jitter = 0.0;    // of each reading's time, share of the period
  double missing = 0.0;   // share of the readings that are gaps; beside them one gap of 15 periods
};

inline sim::TestRecord record_of(const Case& what, std::uint64_t seed) {
  const plant::RandomStream chance(seed, "record.times");
  std::vector<double> times = test_record::even_times(what.period_s, what.end_s);
  for (std::size_t k = 1; k < times.size(); ++k) times[k] += what.jitter * what.period_s * (chance.uniform(k) - 0.5);
  sim::TestRecord record = test_record::record_of(what.process, what.signal, times, what.with, seed);
  for (std::size_t k = 0; k < record.times_s.size() && what.missing > 0.0; ++k) {
    const bool gap = record.times_s[k] > 130.0 && record.times_s[k] < 130.0 + 15.0 * what.period_s;
    if (gap || chance.uniform(100'000 + k) < what.missing) record.output[k] = std::nan("");
  }
  return record;
}

inline std::vector<Case> cases() {
  using sim::Structure;
  using test_record::process;
  const sim::TestSignal steps = sim::double_step_test(0.0, 1.0, 20.5, 70.0), binary = sim::binary_test(0.0, 1.0, 10.25, 5, 8.0, 1);
  const sim::Process lag = process(2.0, {20.0}, 5.3);
  const test_record::Disturbance noise{.noise = 0.03};
  std::vector<Case> all{
      {"one lag", Structure::first_order, lag, steps, 1.0, 240.0, noise},
      {"one lag, binary", Structure::first_order, lag, binary, 1.0, 258.0, noise},
      {"negative gain", Structure::first_order, process(-0.7, {15.0}, 4.0), steps, 1.0, 240.0, noise},
      {"equal lags", Structure::equal_lags, process(2.0, {10.0, 10.0}, 3.2), steps, 1.0, 240.0, noise},
      {"two lags", Structure::second_order, process(2.0, {20.0, 5.0}, 5.3), binary, 1.0, 258.0, noise},
      {"pair", Structure::second_order, process(2.0, {}, 3.7, {}, 0, {{8.0, 0.4}}), steps, 1.0, 240.0, noise},
      {"inverse response", Structure::second_order_zero, process(2.0, {20.0, 8.0}, 3.4, {-8.0}),
       binary, 1.0, 258.0, noise},
      {"overshoot", Structure::second_order_zero, process(2.0, {20.0, 5.0}, 3.4, {30.0}), binary, 1.0,
       258.0, noise},
      {"integrator", Structure::integrator, process(0.05, {}, 4.3, {}, 1), steps, 1.0, 240.0, noise},
      {"integrator and lag", Structure::integrator_lag, process(0.05, {10.0}, 4.3, {}, 1), steps, 1.0,
       240.0, noise},
  };
  all.push_back({"offset and drift", Structure::first_order, lag, steps, 1.0, 240.0,
                 {.noise = 0.03, .offset = 500.0, .drift_per_s = 0.02, .input_rest = 0.0}});
  all.push_back({"quantum 1/200 of the span", Structure::first_order, lag, steps, 1.0, 240.0, {.noise = 0.002, .quantum = 0.02}});
  all.push_back({"quantum with noise", Structure::first_order, lag, steps, 1.0, 240.0, {.noise = 0.02, .quantum = 0.02}});
  all.push_back({"uneven with gaps", Structure::first_order, lag, steps, 1.0, 240.0, noise, 0.8, 0.15});
  all.push_back({"two lags, uneven with gaps", Structure::second_order, process(2.0, {20.0, 5.0}, 5.3), binary,
                 1.0, 258.0, noise, 0.8, 0.15});
  all.push_back({"coloured noise", Structure::first_order, lag, steps, 0.5, 240.0, {.noise = 0.03, .colour = 0.8}});
  return all;
}

// By parameter, in how many of `runs` the truth lies in the 95 % interval.
inline std::map<std::string, int> held(const Case& what, int runs) {
  std::map<std::string, int> count;
  const sim::Process& truth = what.process;
  for (int run = 0; run < runs; ++run) {
    const sim::Identification found = sim::identify(record_of(what, static_cast<std::uint64_t>(run) + 1), {.structures = {what.structure}});
    const bool any = !found.models.empty();
    const auto note = [&](const std::string& parameter, double value, const std::vector<sim::Estimate>& from, std::size_t i) {
      count[parameter] += any && i < from.size() && from[i].holds(value) ? 1 : 0;
    };
    const sim::IdentifiedModel model = any ? found.model() : sim::IdentifiedModel{};
    note("gain", truth.gain, {model.gain}, 0);
    note("dead time", truth.delay_s, {model.delay_s}, 0);
    for (std::size_t i = 0; i < truth.lags_s.size(); ++i) note("lag " + std::to_string(i + 1), truth.lags_s[i], model.lags_s, i);
    for (const double zero : truth.zeros_s) note("zero", zero, model.zero_s, 0);
    if (!truth.pairs.empty()) note("pair time", truth.pairs[0].time_s, model.pair, 0);
    if (!truth.pairs.empty()) note("pair damping", truth.pairs[0].damping, model.pair, 1);
    if (truth.integrators == 0) note("drift", what.with.drift_per_s, {model.drift_per_s}, 0);
  }
  return count;
}

}  // namespace identification_cases
