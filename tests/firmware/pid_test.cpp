#include "firmware/pid.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <type_traits>
#include <vector>

#include "tests/csv_table.h"

namespace {

static_assert(std::is_trivially_copyable_v<fw::Pid>);

// The five published-recurrence sequences. Settings as their source states them.
template <typename Real>
fw::PidSettings<Real> sequence_settings(const std::string& name, int k) {
  const auto s = [](double gain, double ti, double td, double n, double b, double tt, double h, double low, double high) {
    fw::PidSettings<Real> settings;
    settings.gain = static_cast<Real>(gain);
    settings.integral_s = static_cast<Real>(ti);
    settings.derivative_s = static_cast<Real>(td);
    settings.derivative_filter = static_cast<Real>(n);
    settings.setpoint_weight = static_cast<Real>(b);
    settings.tracking_s = static_cast<Real>(tt);
    settings.period_s = static_cast<Real>(h);
    settings.out_min = static_cast<Real>(low);
    settings.out_max = static_cast<Real>(high);
    return settings;
  };
  if (name == "S1") return s(2, 10, 1, 8, 0.6, 3, 0.5, -100, 100);
  if (name == "S2_tracking") return s(8, 5, 0, 10, 1, 2.5, 0.5, 0, 1);
  if (name == "S2_no_antiwindup") return s(8, 5, 0, 10, 1, 0, 0.5, 0, 1);
  if (name.starts_with("S4") && k >= 6) return s(5, 12, 2, 10, 1, 5, 1, 0, 100);
  if (name.starts_with("S3") || name.starts_with("S4")) return s(3, 20, 2, 10, 0.5, 5, 1, 0, 100);
  return s(1, 0, 4, 10, 1, 0, 0.2, -100, 100);   // S5, derivative alone
}

struct Sample {
  std::string sequence;
  int k;
  double proportional, integral_before, derivative, unlimited, output, integral_after;
  double expected_proportional, expected_before, expected_derivative, expected_unlimited, expected_output, expected_after;
};

template <typename Real>
std::vector<Sample> run_sequences() {
  const CsvTable table("discrete_pid_sequences.csv");
  std::vector<Sample> samples;
  fw::BasicPid<Real> pid;
  std::string sequence;
  for (const auto& row : table.rows()) {
    if (row["sequence"] != sequence) {
      sequence = row["sequence"];
      pid.reset();
      const bool warm = sequence.starts_with("S3") || sequence.starts_with("S4");
      pid.set_process_value(static_cast<Real>(warm ? 20.0 : 0.0));
      if (sequence.starts_with("S4")) pid.set_integral(Real(30));
    }
    Sample sample{};
    sample.sequence = sequence;
    sample.k = static_cast<int>(row.number("k"));
    const auto settings = sequence_settings<Real>(sequence, sample.k);
    const Real r = static_cast<Real>(row.number("r"));
    const Real y = static_cast<Real>(row.number("y"));
    sample.integral_before = static_cast<double>(pid.integral());
    if (row["mode"] == "manual") {
      pid.manual(settings, r, y, static_cast<Real>(row.number("u")));
      sample.output = static_cast<double>(pid.output());
    } else {
      const Real output = pid.automatic(settings, r, y);
      // A change of gains moves the integral before the sample's own step.
      if (sequence.starts_with("S4") && sample.k == 6) sample.integral_before = static_cast<double>(pid.integral());
      pid.applied(output);
      sample.output = static_cast<double>(output);
    }
    sample.proportional = static_cast<double>(pid.proportional());
    sample.derivative = static_cast<double>(pid.derivative());
    sample.unlimited = static_cast<double>(pid.unlimited());
    sample.integral_after = static_cast<double>(pid.integral());
    sample.expected_proportional = row.number("P");
    sample.expected_before = row.number("I_before_update");
    sample.expected_derivative = row.number("D");
    sample.expected_unlimited = row.number("v_unsaturated");
    sample.expected_output = row.number("u");
    sample.expected_after = row.number("I_after_update");
    samples.push_back(sample);
  }
  return samples;
}

// Recurrence of K. J. Astrom and T. Hagglund, Advanced PID Control, computed in double: 1e-12 relative. v, u and the integral
// are sums of terms that cancel, so "relative" is to the largest term of the sum. The integral's quantum of 2^-48 (3.6e-15) is within it.
TEST(Pid, FollowsThePublishedSequencesInDouble) {
  const auto samples = run_sequences<double>();
  EXPECT_EQ(samples.size(), CsvTable("discrete_pid_sequences.csv").rows().size());
  for (const Sample& s : samples) {
    const double scale = std::max({std::fabs(s.expected_proportional), std::fabs(s.expected_before),
                                   std::fabs(s.expected_derivative), std::fabs(s.expected_after)});
    const double bound = 1e-12 * std::max(scale, 0.1);
    EXPECT_NEAR(s.proportional, s.expected_proportional, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.integral_before, s.expected_before, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.derivative, s.expected_derivative, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.unlimited, s.expected_unlimited, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.output, s.expected_output, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.integral_after, s.expected_after, bound) << s.sequence << ' ' << s.k;
  }
}

// The same code in float32, process values as listed. u = 2^-24; with R the largest of |r|, |y|, |P|, |I|, |D|, |v| so far:
//   P: inputs and b rounded, one product, one difference, one product times K:     <= 5 u K R, K <= 8
//   D: the difference of rounded y (2 u R) times bd <= K N, damped by ad < 1/(1 - ad) = at most 3 in these sequences
//   I: each sample adds the rounding of bi (r - y) + ao (u - v), at most 6 u (bi + ao) R (bi, ao <= 0.8), for the k samples gone
// so v and u stay within u R (5 K + 3 * 2 K N + 5 k) and everything else within the same.
TEST(Pid, FollowsThePublishedSequencesInFloatWithinTheDerivedBound) {
  double largest = 0.0;
  std::string sequence;
  for (const Sample& s : run_sequences<float>()) {
    if (s.sequence != sequence) largest = 60.0;   // set points and process values
    sequence = s.sequence;
    for (const double x : {s.expected_proportional, s.expected_before, s.expected_derivative, s.expected_unlimited,
                           s.expected_after}) {
      largest = std::max(largest, std::fabs(x));
    }
    const auto settings = sequence_settings<double>(s.sequence, s.k);
    const double n = settings.derivative_s > 0.0 ? settings.derivative_filter : 0.0;
    const double bound = 0x1p-24 * largest * (5.0 * settings.gain + 6.0 * settings.gain * n + 5.0 * (s.k + 1));
    EXPECT_NEAR(s.proportional, s.expected_proportional, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.derivative, s.expected_derivative, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.unlimited, s.expected_unlimited, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.output, s.expected_output, bound) << s.sequence << ' ' << s.k;
    EXPECT_NEAR(s.integral_after, s.expected_after, bound) << s.sequence << ' ' << s.k;
  }
}

// Derivative alone decays by exactly Td / (Td + N h) = 2/3 a sample after a step of the process value.
TEST(Pid, DerivativeDecaysGeometrically) {
  fw::BasicPid<double> pid;
  pid.set_process_value(0.0);
  const auto settings = sequence_settings<double>("S5", 0);
  pid.applied(pid.automatic(settings, 0.0, 1.0));
  double expected = -40.0 / 6.0;
  for (int k = 0; k < 20; ++k) {
    EXPECT_NEAR(pid.derivative(), expected, 1e-12 * std::fabs(expected));
    pid.applied(pid.automatic(settings, 0.0, 1.0));
    expected *= 2.0 / 3.0;
  }
}

fw::PidSettings<float> slow_loop() {
  fw::PidSettings<float> settings;
  settings.gain = 0.01f;
  settings.integral_s = 1200.0f;
  settings.setpoint_weight = 1.0f;
  settings.tracking_s = 60.0f;
  settings.period_s = 0.1f;
  settings.out_max = 1.0f;
  return settings;
}

// 10 h at 0.001 K of deviation and 10 samples a second: each increment is 8e-10, below half an ulp of 0.5 (3e-8): a plain
// float32 sum would not move at all. The sum of 360,000 must equal K e t / Ti = 3e-4.
TEST(Pid, IntegratesTenHoursOfIncrementsBelowFloatsResolution) {
  const auto settings = slow_loop();
  fw::Pid pid;
  pid.set_integral(0.5f);
  const float e = 0x1p-10f;
  for (int k = 0; k < 360'000; ++k) pid.applied(pid.automatic(settings, 100.0f + e, 100.0f));
  const double expected = 0.5 + 0.01 * 0x1p-10 * 36000.0 / 1200.0;
  // One increment is off by at most five roundings (5 u relative: 9e-11 over the sum) and half a quantum of 2^-48 (360,000
  // times: 6e-10); reading it as float32 rounds by 3e-8.
  EXPECT_NEAR(static_cast<double>(pid.integral()), expected, 6e-10 + 1e-10 + 0x1p-25);

  float plain = 0.5f;
  for (int k = 0; k < 360'000; ++k) plain += settings.gain * settings.period_s / settings.integral_s * e;
  EXPECT_EQ(plain, 0.5f);   // the reason for the fixed-point sum
}

// A 10 h ramp of 800 K in float32 and in double, same process: no drift apart. With the loop closed errors do not sum: the
// outputs differ by the rounding of the process value (u * 800 K * K of each sample) and of the set point.
TEST(Pid, FloatAndDoubleStayTogetherOverATenHourRamp) {
  const auto settings = slow_loop();
  fw::PidSettings<double> wide;
  wide.gain = static_cast<double>(settings.gain);
  wide.integral_s = static_cast<double>(settings.integral_s);
  wide.setpoint_weight = 1.0;
  wide.tracking_s = static_cast<double>(settings.tracking_s);
  wide.period_s = 0.1;
  wide.out_max = 1.0;
  fw::Pid narrow_pid;
  fw::BasicPid<double> wide_pid;
  double narrow_degc = 20.0;
  double wide_degc = 20.0;
  double worst_degc = 0.0;
  for (std::int64_t k = 0; k < 360'000; ++k) {
    const double setpoint = 20.0 + 800.0 * static_cast<double>(k) / 360'000.0;
    const float narrow_out = narrow_pid.automatic(settings, static_cast<float>(setpoint), static_cast<float>(narrow_degc));
    narrow_pid.applied(narrow_out);
    const double wide_out = wide_pid.automatic(wide, setpoint, wide_degc);
    wide_pid.applied(wide_out);
    narrow_degc += 0.1 * (static_cast<double>(narrow_out) * 0.25 - (narrow_degc - 20.0) / 8000.0);
    wide_degc += 0.1 * (wide_out * 0.25 - (wide_degc - 20.0) / 8000.0);
    worst_degc = std::max(worst_degc, std::fabs(narrow_degc - wide_degc));
  }
  // Set point and process value round by half an ulp of 800 (3e-5 each), the output by 3e-8 of full: 3e-8 / K = 3e-6 K more.
  EXPECT_LT(worst_degc, 7e-5);
  EXPECT_GT(wide_degc, 790.0);
}

TEST(Pid, ChangeOfModeIsBumpless) {
  auto settings = slow_loop();
  fw::Pid pid;
  pid.manual(settings, 500.0f, 470.0f, 0.37f);
  // Nothing has changed: the output stays but for the rounding of P, I and v (u of 0.37 and of K * 30 K, three times).
  EXPECT_NEAR(pid.automatic(settings, 500.0f, 470.0f), 0.37f, 4.0f * 0x1p-24f);
  // A change of the process value acts through the proportional part alone.
  pid.manual(settings, 500.0f, 470.0f, 0.37f);
  EXPECT_NEAR(pid.automatic(settings, 500.0f, 471.0f), 0.37f - 0.01f, 6.0f * 0x1p-24f);
}

TEST(Pid, ChangeOfGainsIsBumpless) {
  auto before = slow_loop();
  before.derivative_s = 20.0f;
  before.derivative_filter = 8.0f;
  auto after = before;
  after.gain = 0.04f;
  after.integral_s = 300.0f;
  after.derivative_s = 5.0f;
  after.setpoint_weight = 0.4f;
  fw::Pid changed;
  fw::Pid unchanged;
  for (int k = 0; k < 50; ++k) {
    const float y = 400.0f + 0.05f * static_cast<float>(k);
    changed.applied(changed.automatic(before, 440.0f, y));
    unchanged.applied(unchanged.automatic(before, 440.0f, y));
  }
  // v of the sample that brings the new gains equals the old law's. P with b = 0.4 is -10: a dozen roundings at that size.
  const float old_law = unchanged.automatic(before, 440.0f, 402.5f);
  const float new_law = changed.automatic(after, 440.0f, 402.5f);
  EXPECT_NEAR(new_law, old_law, 12.0f * 10.0f * 0x1p-24f);
}

TEST(Pid, TracksTheOutputActuallyApplied) {
  auto settings = slow_loop();
  settings.gain = 0.02f;
  fw::Pid pid;
  // An interlock holds the output at 0 for an hour with 300 K of deviation: v settles where K e h / Ti = h / Tt v, that is
  // v = K e Tt / Ti = 0.3, instead of running to 0.02 * 300 * (1 + 3600 / 1200) = 24.
  for (int k = 0; k < 36'000; ++k) {
    static_cast<void>(pid.automatic(settings, 800.0f, 500.0f));
    pid.applied(0.0f);
  }
  EXPECT_NEAR(pid.unlimited(), 0.3f, 1e-4f);
  EXPECT_NEAR(pid.automatic(settings, 800.0f, 500.0f), 0.3f, 1e-4f);
}

TEST(Pid, RateLimitCountsFromTheOutputApplied) {
  auto settings = slow_loop();
  settings.out_rate_per_s = 0.5f;   // 0.05 a sample
  fw::Pid pid;
  EXPECT_FLOAT_EQ(pid.automatic(settings, 500.0f, 100.0f), 0.05f);
  EXPECT_TRUE(pid.at_limit());
  pid.applied(0.05f);
  EXPECT_FLOAT_EQ(pid.automatic(settings, 500.0f, 100.0f), 0.10f);
  pid.applied(0.0f);   // interlock
  EXPECT_FLOAT_EQ(pid.automatic(settings, 500.0f, 100.0f), 0.05f);
  pid.applied(0.05f);
  pid.applied(0.02f);  // a tick between two runs of a slow loop
  EXPECT_FLOAT_EQ(pid.automatic(settings, 500.0f, 100.0f), 0.07f);
  // Limits that close in win over the rate.
  pid.applied(0.9f);
  settings.out_max = 0.2f;
  EXPECT_FLOAT_EQ(pid.automatic(settings, 500.0f, 100.0f), 0.2f);
}

TEST(Pid, DirectActionOpensOnMoreProcessValue) {
  auto settings = slow_loop();
  settings.gain = -1e-3f;
  settings.integral_s = 20.0f;
  fw::Pid pid;
  pid.manual(settings, 4000.0f, 4000.0f, 0.5f);
  EXPECT_NEAR(pid.automatic(settings, 4000.0f, 4100.0f), 0.6f, 1e-5f);
  pid.applied(0.6f);
  EXPECT_GT(pid.automatic(settings, 4000.0f, 4100.0f), 0.6f);
}

TEST(Pid, NeverEmitsANumberOutsideItsLimits) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  const float infinity = std::numeric_limits<float>::infinity();
  auto settings = slow_loop();
  settings.derivative_s = 30.0f;
  for (const float bad : {nan, infinity, -infinity, 3e38f, -3e38f}) {
    fw::Pid pid;
    for (int k = 0; k < 5; ++k) {
      const float out = pid.automatic(settings, 500.0f, bad);
      EXPECT_GE(out, 0.0f);
      EXPECT_LE(out, 1.0f);
      pid.applied(out);
      pid.applied(bad);
      EXPECT_TRUE(std::isfinite(pid.integral()));
      EXPECT_LE(std::fabs(pid.integral()), 16384.0f);
    }
  }
}

}  // namespace
