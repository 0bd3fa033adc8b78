// Linear systems, the control core's law among them, and the judgement of a loop: against closed forms of textbooks (K. J. Astrom,
// B. Wittenmark, Computer-Controlled Systems; K. J. Astrom, R. M. Murray, Feedback Systems), the core's own PID in double, and each
// other.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "firmware/pid.h"
#include "sim/gain_search.h"
#include "sim/loop_judgement.h"
#include "sim/tuning_rules.h"

namespace {

using Eigen::MatrixXd;
using sim::LoopStep;
using sim::PidKind;
using sim::PidLaw;
using sim::Process;
using sim::SampledSystem;

Process first_order(double gain, double lag_s, double delay_s) { return {gain, {}, {lag_s}, {}, 0, delay_s}; }

PidLaw isa_law(double gain, double integral_s, double derivative_s, double filter_ratio, double weight = 1.0) {
  return {sim::parallel(sim::IsaGains{gain, integral_s, derivative_s}), filter_ratio > 0.0 ? derivative_s / filter_ratio : 0.0, weight};
}

TEST(Realisation, AnswersAsTheFactorsDo) {
  std::mt19937_64 random(3);
  const auto between = [&](double low, double high) { return low + (high - low) * static_cast<double>(random() >> 11) * 0x1p-53; };
  for (int i = 0; i < 200; ++i) {
    Process process;
    process.gain = between(-5, 5);
    for (int n = static_cast<int>(random() % 4); n > 0; --n) process.lags_s.push_back(std::pow(10, between(-2, 3)));
    for (int n = static_cast<int>(random() % 3); n > 0; --n) process.pairs.push_back({std::pow(10, between(-2, 2)), between(0.1, 2)});
    process.integrators = static_cast<int>(random() % 3);
    for (int n = static_cast<int>(random() % 4); n > 0 && process.excess() > 0; --n) process.zeros_s.push_back(between(-20, 20));
    const sim::StateSpace system = sim::realised(process);
    for (const double rad_s : {1e-3, 0.05, 1.0, 30.0}) {
      const std::complex<double> expected = process.at(rad_s);
      EXPECT_LT(std::abs(system.at(rad_s)(0, 0) - expected), 1e-8 * std::abs(expected) + 1e-12)
          << sim::formula(process) << " at " << rad_s;
    }
  }
}

TEST(Sampling, IsThatOfTheTextbook) {
  // 1 / (T s + 1): a = exp(-h / T), b = 1 - a. 1 / s^2: [1 h; 0 1], [h^2 / 2; h].
  const SampledSystem lag = sim::sampled(sim::realised(first_order(1, 2, 0)), 0, 0.5);
  EXPECT_NEAR(lag.a(0, 0), std::exp(-0.25), 1e-15);
  EXPECT_NEAR(lag.b(0, 0) * lag.c(0, 0), 1.0 - std::exp(-0.25), 1e-15);
  const SampledSystem twice = sim::sampled(sim::realised(Process{1, {}, {}, {}, 2, 0}), 0, 0.5);
  const double first = (twice.c * twice.b)(0, 0), second = (twice.c * twice.a * twice.b)(0, 0),
               third = (twice.c * twice.a * twice.a * twice.b)(0, 0);
  EXPECT_NEAR(first, 0.125, 1e-14);  // h^2 / 2, 3 h^2 / 2, 5 h^2 / 2
  EXPECT_NEAR(second, 0.375, 1e-14);
  EXPECT_NEAR(third, 0.625, 1e-14);
}

TEST(Sampling, CarriesADelayOfAnyFraction) {
  // Of 1 / (s + 1) behind a delay of (d - 1) h + t: b1 = 1 - exp(t - h) from the newer, b2 = exp(t - h) - exp(-h) from the older input.
  const double h = 1.0;
  for (const double delay : {0.25, 1.0, 1.7, 3.999999, 4.0}) {
    const SampledSystem system = sim::sampled(sim::realised(first_order(1, 1, 0)), delay, h);
    std::vector<double> impulse;
    Eigen::VectorXd x = system.b;
    for (int k = 1; k < 12; ++k, x = (system.a * x).eval()) impulse.push_back((system.c * x)(0, 0));  // y[1], y[2], ...
    for (int k = 1; k < 12; ++k) {
      const auto step = [&](double time_s) { return time_s > 0.0 ? 1.0 - std::exp(-time_s) : 0.0; };
      EXPECT_NEAR(impulse[static_cast<std::size_t>(k - 1)], step(k * h - delay) - step((k - 1) * h - delay), 1e-12) << delay << " " << k;
    }
  }
}

TEST(Sampling, HoldsTheInputOfAProcessThatAnswersAtOnce) {
  const sim::StateSpace lead = sim::realised(Process{1, {3}, {1}, {}, 0, 0});
  const SampledSystem system = sim::sampled(lead, 1.5, 1.0);
  // Input 1 from k = 0 on: the output jumps by 3 at 1.5, so it is first seen at k = 2: 1 + 2 exp(-0.5).
  Eigen::VectorXd x = Eigen::VectorXd::Zero(system.states());
  std::vector<double> y;
  for (int k = 0; k < 4; ++k, x = (system.a * x + system.b).eval()) y.push_back((system.c * x + system.d)(0, 0));
  EXPECT_NEAR(y[0], 0.0, 1e-15);
  EXPECT_NEAR(y[1], 0.0, 1e-15);
  EXPECT_NEAR(y[2], 1.0 + 2.0 * std::exp(-0.5), 1e-12);
  EXPECT_NEAR(y[3], 1.0 + 2.0 * std::exp(-1.5), 1e-12);
}

TEST(SampledLaw, IsTheCoresPidSampleForSample) {
  std::mt19937_64 random(11);
  const auto between = [&](double low, double high) { return low + (high - low) * static_cast<double>(random() >> 11) * 0x1p-53; };
  for (int round = 0; round < 20; ++round) {
    const double h = between(0.05, 2), gain = between(-3, 3), integral_s = between(1, 50),
                 derivative_s = round % 3 == 0 ? 0.0 : between(0.1, 5);
    const double weight = between(0, 1), filter = between(2, 20);
    const fw::PidSettings<double> settings{gain, integral_s, derivative_s, filter, weight, 0.0, h, -1e6, 1e6, 0.0};
    fw::BasicPid<double> pid;
    pid.set_process_value(0.0);
    const SampledSystem machine = sim::sampled(isa_law(gain, integral_s, derivative_s, filter, weight), h);
    Eigen::VectorXd state = Eigen::VectorXd::Zero(machine.states());
    for (int k = 0; k < 100; ++k) {
      const Eigen::Vector2d in(between(-1, 1), between(-1, 1));
      const double core = pid.automatic(settings, in(0), in(1));
      pid.applied(core);
      const double ours = (machine.c * state + machine.d * in)(0, 0);
      ASSERT_NEAR(core, ours, 1e-11 * (1.0 + std::abs(ours))) << round << " " << k;  // the core's integral counts in 2^-48
      state = (machine.a * state + machine.b * in).eval();
    }
  }
}

TEST(Law, AnswersToFrequenciesAsItsStatesDo) {
  const PidLaw law = isa_law(2, 5, 1, 8, 0.4);
  const sim::StateSpace machine = sim::realised(law);
  const SampledSystem fine = sim::sampled(law, 1e-5);
  for (const double rad_s : {0.01, 0.3, 4.0}) {
    EXPECT_LT(std::abs(-machine.at(rad_s)(0, 1) - sim::response(law, rad_s)), 1e-12);
    EXPECT_LT(std::abs(-fine.at(rad_s)(0, 1) - sim::response(law, rad_s)), 1e-3);  // the recurrence is the law as h goes to 0
  }
  EXPECT_THROW((void)sim::realised(isa_law(2, 5, 1, 0)), std::invalid_argument);
}

// Largest pole of the closed loop, from its matrix.
double spectral_radius(const SampledSystem& plant, const PidLaw& law) {
  const SampledSystem machine = sim::sampled(law, plant.period_s);
  const Eigen::Index n = plant.states(), m = machine.states();
  MatrixXd closed(n + m, n + m);
  closed << plant.a + plant.b * machine.d(0, 1) * plant.c, plant.b * machine.c, machine.b.col(1) * plant.c, machine.a;
  return closed.eigenvalues().cwiseAbs().maxCoeff();
}

TEST(Stability, OfASampledLoopIsThatOfItsPoles) {
  const std::vector<Process> processes{first_order(1, 10, 1),           {2, {}, {5, 1}, {}, 1, 0.7}, {1, {-2}, {1, 1, 1}, {}, 0, 0},
                                       {1, {}, {}, {{2, 0.1}}, 0, 0.3}, {-3, {1}, {4, 4}, {}, 0, 2}, {1, {}, {}, {}, 2, 0.2}};
  int stable = 0, unstable = 0;
  for (const Process& process : processes) {
    for (const double h : {0.1, 0.7}) {
      const SampledSystem plant = sim::sampled(sim::realised(process), process.delay_s + h, h);
      for (double gain = 0.01; gain < 50; gain *= 1.6) {
        const PidLaw law = isa_law(gain / process.gain, 6, 1.5, 10);
        const double radius = spectral_radius(plant, law);
        if (std::abs(radius - 1.0) < 1e-4) continue;
        const sim::LoopMargins margins = sim::judge(process, law, {h, h}, {false, 1e9}).margins;
        EXPECT_EQ(margins.stable, radius < 1.0) << sim::formula(process) << " gain " << gain << " h " << h << " radius " << radius;
        ++(radius < 1.0 ? stable : unstable);
      }
    }
  }
  EXPECT_GT(stable, 50);
  EXPECT_GT(unstable, 50);
}

TEST(GainMargin, IsWhereASampledLoopBeginsToSwing) {
  for (const double h : {0.05, 0.5}) {
    const Process process{1, {}, {8, 2}, {}, 0, 1};
    const SampledSystem plant = sim::sampled(sim::realised(process), process.delay_s + h, h);
    const PidLaw law = isa_law(1.2, 7, 1, 10);
    const sim::LoopMargins margins = sim::judge(process, law, {h, h}, {false, 1e9}).margins;
    const auto scaled = [&](double factor) {
      PidLaw other = law;
      other.gains = {law.gains.proportional * factor, law.gains.integral * factor, law.gains.derivative * factor};
      return spectral_radius(plant, other);
    };
    EXPECT_LT(scaled(margins.gain_margin * 0.999), 1.0);
    EXPECT_GT(scaled(margins.gain_margin * 1.001), 1.0);
    // Delay margin: as much more dead time, exactly.
    const auto later = [&](double more_s) {
      return spectral_radius(sim::sampled(sim::realised(process), process.delay_s + h + more_s, h), law);
    };
    EXPECT_LT(later(margins.delay_margin_s * 0.97), 1.0);
    EXPECT_GT(later(margins.delay_margin_s * 1.03), 1.0);
  }
}

TEST(Judgement, OfAFastSamplingIsThatOfTheContinuousLoop) {
  const Process process{1, {}, {10, 1}, {}, 0, 2};
  const PidLaw law = isa_law(2, 9, 1, 10);
  const sim::LoopJudgement fast = sim::judge(process, law, {0.002, 0.0}), continuous = sim::judge(process, law, {});
  EXPECT_NEAR(fast.margins.sensitivity_peak, continuous.margins.sensitivity_peak, 2e-3);
  EXPECT_NEAR(fast.margins.phase_margin_deg, continuous.margins.phase_margin_deg, 0.1);
  EXPECT_NEAR(fast.load.absolute_error, continuous.load.absolute_error, 0.002 * continuous.load.absolute_error);
  EXPECT_NEAR(fast.setpoint.absolute_error, continuous.setpoint.absolute_error, 0.002 * continuous.setpoint.absolute_error);
  EXPECT_NEAR(fast.setpoint.overshoot, continuous.setpoint.overshoot, 2e-3);
}

TEST(Judgement, OfStatesAndOfFactorsIsOne) {
  const Process process{3, {}, {10, 1}, {}, 0, 2};
  Process undelayed = process;
  undelayed.delay_s = 0.0;
  const PidLaw law = isa_law(0.7, 9, 1, 10);
  const sim::LoopJudgement factors = sim::judge(process, law, {0.3, 0.3}),
                           states = sim::judge(sim::realised(undelayed), 2.0, law, {0.3, 0.3});
  EXPECT_NEAR(factors.margins.sensitivity_peak, states.margins.sensitivity_peak, 1e-9);
  EXPECT_NEAR(factors.load.absolute_error, states.load.absolute_error, 1e-9);
}

// The integral of the error after a unit load step is Ti / K; IAE where nothing crosses (Astrom, Hagglund: Advanced PID Control).
TEST(LoadStep, LeavesTheIntegralTimeByTheGain) {
  const sim::LoopJudgement judgement = sim::judge(first_order(1, 10, 1), isa_law(2.5, 12, 0, 0), {0.1, 0.1});
  EXPECT_NEAR(judgement.load.absolute_error, 12 / 2.5, 1e-3);
  EXPECT_TRUE(judgement.load.settled);
}

TEST(Noise, OfAProportionalLawOnADeadProcessIsItsGain) {
  // Nothing of the output comes back within the horizon's gain of 1e-9: white noise through K.
  const sim::LoopJudgement judgement = sim::judge(first_order(1e-9, 10, 1), isa_law(3, 0, 0, 0), {0.1, 0.1});
  EXPECT_NEAR(judgement.noise_gain, 3.0, 1e-6);
  EXPECT_TRUE(std::isinf(sim::judge(first_order(1, 10, 1), isa_law(3, 10, 1, 0), {}, {false, 1e9}).noise_gain));
}

// Scaling of time and of units leaves every figure that has none.
TEST(Judgement, DoesNotKnowUnits) {
  const sim::LoopJudgement one = sim::judge(first_order(1, 10, 1), isa_law(3, 8, 0.4, 10), {0.1, 0.1});
  const sim::LoopJudgement other = sim::judge(first_order(-0.02, 600, 60), isa_law(-150, 480, 24, 10), {6, 6});
  EXPECT_NEAR(one.margins.sensitivity_peak, other.margins.sensitivity_peak, 1e-9);
  EXPECT_NEAR(one.margins.delay_margin_s * 60, other.margins.delay_margin_s, 1e-6);
  EXPECT_NEAR(one.setpoint.overshoot, other.setpoint.overshoot, 1e-9);
  EXPECT_NEAR(one.setpoint.absolute_error * 60, other.setpoint.absolute_error, 1e-6 * other.setpoint.absolute_error);
}

TEST(Search, KeepsItsLimitsAndBeatsItsStart) {
  const Process process = first_order(1, 10, 1);
  const sim::Sampling sampling{0.2, 0.2};
  const sim::RuleResult rule = sim::tuned(process, sim::TuningRule::amigo, {PidKind::pid, 0, 0.2});
  const PidLaw start{rule.parallel(), rule.gains.derivative_s / 10, rule.setpoint_weight};
  const auto judged = [&](const PidLaw& law) { return sim::judge(process, law, sampling); };
  sim::SearchWish wish;
  wish.kind = PidKind::pid;
  wish.sensitivity_max = 1.7;
  const sim::SearchResult free = sim::search_gains(judged, start, wish);
  const sim::LoopJudgement freely = judged(free.law);
  EXPECT_LE(freely.margins.sensitivity_peak, 1.7 * 1.0002);
  EXPECT_LT(free.cost, 1.0);
  EXPECT_THAT(free.bound_by, testing::HasSubstr("Ms"));
  wish.noise_gain_max = 0.5 * freely.noise_gain;
  const sim::SearchResult quiet = sim::search_gains(judged, start, wish);
  EXPECT_LE(judged(quiet.law).noise_gain, wish.noise_gain_max * 1.0002);
  EXPECT_GT(quiet.cost, free.cost);
  EXPECT_THAT(quiet.bound_by, testing::HasSubstr("noise"));
  wish.noise_gain_max = 0.0;
  wish.travel_max = 0.5 * freely.setpoint.travel;
  EXPECT_LE(judged(sim::search_gains(judged, start, wish).law).setpoint.travel, wish.travel_max * 1.0002);
  const PidLaw wild = isa_law(100, 1, 0, 0);
  EXPECT_THROW((void)sim::search_gains(judged, wild, wish), std::domain_error);
}

TEST(Search, TakesTheSameStepsEachTime) {
  const Process process = first_order(2, 30, 4);
  const auto judged = [&](const PidLaw& law) { return sim::judge(process, law, {1, 1}); };
  const PidLaw start = isa_law(1, 30, 0, 0);
  const sim::SearchResult one = sim::search_gains(judged, start, {}), other = sim::search_gains(judged, start, {});
  EXPECT_EQ(one.law.gains.proportional, other.law.gains.proportional);
  EXPECT_EQ(one.law.gains.integral, other.law.gains.integral);
  EXPECT_EQ(one.evaluations, other.evaluations);
}

// No other gains near it do better: a grid around what was found (PI, two parameters and the weight held).
TEST(Search, FindsTheLeastCost) {
  const Process process = first_order(1, 4, 1);
  const sim::Sampling sampling{0.1, 0.1};
  const auto judged = [&](const PidLaw& law) { return sim::judge(process, law, sampling); };
  const PidLaw start = isa_law(1.0, 4, 0, 0);
  const sim::SearchResult found = sim::search_gains(judged, start, {});
  const sim::LoopJudgement first = judged(start);
  const sim::IsaGains best = *sim::isa(found.law.gains);
  for (double gain = 0.7; gain < 1.4; gain += 0.05) {
    for (double time = 0.7; time < 1.4; time += 0.05) {
      const sim::LoopJudgement near = judged(isa_law(best.gain * gain, best.integral_s * time, 0, 0, found.law.setpoint_weight));
      if (!near.margins.stable || near.margins.sensitivity_peak > 1.6) continue;
      const double cost =
          0.7 * near.load.absolute_error / first.load.absolute_error + 0.3 * near.setpoint.absolute_error / first.setpoint.absolute_error;
      EXPECT_GT(cost, found.cost * 0.99) << gain << " " << time;
    }
  }
}

}  // namespace
