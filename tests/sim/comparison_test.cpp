// Deviations of each kind, planted one at a time: each is found, named and nothing else is.
#include "sim/comparison.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <unistd.h>

#include <cmath>
#include <fstream>
#include <functional>
#include <limits>

#include "sim/input_error.h"

namespace {

using sim::Baseline;
using sim::Comparison;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();

sim::RecordedSignal signal(const char* name, const char* unit, int decimals, const std::function<double(double)>& value, double end_s) {
  sim::Signal made;
  made.name = name;
  made.unit = unit;
  made.decimals = decimals;
  made.origin = made.name.starts_with("plant.") ? sim::Signal::Origin::plant : sim::Signal::Origin::controller;
  sim::RecordedSignal one{sim::SignalTable({made}).signals()[0], {}, 0.0, 0.0};
  one.line.hold = sim::tube_of(one.signal, {}).code;
  for (double time_s = 0; time_s <= end_s; time_s += 1.0) one.line.add(time_s, value(time_s));
  return one;
}

double heat(double time_s) { return time_s < 600 ? 20 + 0.5 * time_s : 320; }

// Two thousand seconds of a ramp and a soak.
Baseline made_run(double end_s = 2000) {
  Baseline run;
  run.source = "run";
  run.whole = true;
  run.end_s = end_s;
  run.signals = {signal("programme.segment", "1", 0, [](double t) { return t < 600 ? 0 : 1; }, end_s),
                 signal("heat.1.pv", "degC", 2, heat, end_s),
                 signal("heat.1.out", "1", 4, [](double t) { return 0.4 + 0.1 * std::sin(t / 100); }, end_s),
                 signal("plant.power", "W", 1, [](double t) { return 1200 + 300 * std::sin(t / 100); }, end_s)};
  run.summary.scenario = "made_up";
  run.summary.title = "A made-up run: \"quoted\"";
  run.summary.saggar = "0";
  run.summary.verdict = "pass";
  run.summary.simulated_s = end_s;
  run.summary.controller_hash = 0xc4bc2b8045abd89bull;
  sim::ExpectationResult tracks;
  tracks.name = "tracks within 8 K";
  tracks.pass = tracks.judged = true;
  tracks.margin = 3.0;
  tracks.unit = "K";
  tracks.scale = 8.0;
  run.summary.expectations = {tracks};
  run.summary.totals = {{"energy_kwh", 4.6, "kWh", 3, ""}};
  run.summary.segments = {{"ramp", 0, 600}, {"soak", 600, end_s}};
  run.events = {{0, "programme", "begins", "ramp"}, {600, "programme", "begins", "soak"}, {700, "alarm", "raised", "waits"}};
  return run;
}

sim::RecordedSignal& of(Baseline& run, const std::string& name) {
  for (sim::RecordedSignal& one : run.signals) {
    if (one.signal.name == name) return one;
  }
  throw std::out_of_range(name);
}

void change(Baseline& run, const std::string& name, const std::function<double(double time_s, double value)>& to) {
  sim::Polyline& line = of(run, name).line;
  for (std::size_t i = 0; i < line.size(); ++i) line.values[i] = to(line.times_s[i], line.values[i]);
}

std::vector<std::string> named(const Comparison& comparison) {
  std::vector<std::string> names;
  for (const std::size_t index : comparison.deviating) names.push_back(comparison.signals[index].signal.name);
  return names;
}

const sim::SignalComparison& first(const Comparison& comparison) { return comparison.signals.at(comparison.deviating.at(0)); }

Comparison compared(const Baseline& run) { return sim::compare_runs(run, made_run(), {}); }

TEST(Comparison, FindsARunTheSameAsItself) {
  const Comparison result = compared(made_run());
  EXPECT_FALSE(result.differs);
  EXPECT_TRUE(result.deviating.empty());
  EXPECT_TRUE(result.expectations.empty() && result.events.empty() && result.totals.empty());
}

TEST(Comparison, NamesAnOffsetWhereItBeginsAndHowDeepItIs) {
  Baseline run = made_run();
  change(run, "heat.1.pv", [](double t, double v) { return t < 1000 ? v : v + 3.0; });   // the tube: 2 K
  const Comparison result = compared(run);
  EXPECT_TRUE(result.differs);
  EXPECT_THAT(named(result), ElementsAre("heat.1.pv"));
  EXPECT_DOUBLE_EQ(first(result).first.time_s, 1000);
  EXPECT_DOUBLE_EQ(first(result).first.run, 323);
  EXPECT_DOUBLE_EQ(first(result).first.baseline, 320);
  EXPECT_NEAR(first(result).worst.depth, 1.5, 1e-9);
  EXPECT_NEAR(first(result).mean, 3.0 * 1000.5 / 2000, 3e-3);
  change(run, "heat.1.pv", [](double t, double v) { return t < 1000 ? v : v - 1.1; });   // 1.9 K are left
  EXPECT_FALSE(compared(run).differs);
}

TEST(Comparison, NamesAScale) {
  Baseline run = made_run();
  change(run, "heat.1.out", [](double, double v) { return v * 1.02; });                  // 0.008 at most, the tube 0.005
  const Comparison result = compared(run);
  EXPECT_THAT(named(result), ElementsAre("heat.1.out"));
  EXPECT_GT(first(result).first.run, 0.25 / 1.02);
}

TEST(Comparison, AllowsADelayWithinTheShiftAndNamesALongerOne) {
  Baseline run = made_run();
  change(run, "heat.1.pv", [](double t, double v) { return t == 900 || t == 901 ? v + 200 : v; });
  Baseline late = made_run();
  change(late, "heat.1.pv", [](double t, double v) { return t == 902 || t == 903 ? v + 200 : v; });
  EXPECT_FALSE(sim::compare_runs(late, run, {}).differs) << "two seconds late, as the shift allows";
  Baseline later = made_run();
  change(later, "heat.1.pv", [](double t, double v) { return t == 905 || t == 906 ? v + 200 : v; });
  EXPECT_THAT(named(sim::compare_runs(later, run, {})), ElementsAre("heat.1.pv"));
  sim::Tolerance wide;
  wide.shift_s = 5.0;
  EXPECT_FALSE(sim::compare_runs(later, run, wide).differs);
}

TEST(Comparison, NamesAGlitchOfOneRowOnEitherSide) {
  Baseline run = made_run();
  change(run, "heat.1.pv", [](double t, double v) { return t == 1234 ? v + 10 : v; });
  const Comparison result = compared(run);
  EXPECT_THAT(named(result), ElementsAre("heat.1.pv"));
  EXPECT_DOUBLE_EQ(first(result).first.time_s, 1234);
  ASSERT_EQ(first(result).outside.size(), 1u);
  const Comparison vanished = sim::compare_runs(made_run(), run, {});
  EXPECT_THAT(named(vanished), ElementsAre("heat.1.pv"));
  EXPECT_DOUBLE_EQ(first(vanished).first.time_s, 1234);
}

TEST(Comparison, NamesAMissingSignalAndANewOne) {
  Baseline run = made_run();
  run.signals.erase(run.signals.begin() + 1);
  const Comparison lost = compared(run);
  EXPECT_TRUE(lost.differs);
  EXPECT_THAT(sim::comparison_text(lost), HasSubstr("only in the baseline: heat.1.pv"));
  const Comparison added = sim::compare_runs(made_run(), run, {});
  EXPECT_FALSE(added.differs) << "what the baseline could not know is named, no more";
  EXPECT_THAT(sim::comparison_text(added), HasSubstr("only in the run: heat.1.pv"));
}

TEST(Comparison, NamesAValueThatIsNone) {
  Baseline run = made_run();
  change(run, "heat.1.pv", [](double t, double v) { return t >= 800 && t <= 805 ? nothing : v; });
  const Comparison result = compared(run);
  EXPECT_THAT(named(result), ElementsAre("heat.1.pv"));
  EXPECT_TRUE(std::isinf(first(result).worst.depth));
  EXPECT_THAT(sim::comparison_text(result), HasSubstr("no value"));
  EXPECT_THAT(sim::comparison_json(result), testing::Not(HasSubstr("nan")));
  EXPECT_FALSE(sim::compare_runs(run, run, {}).differs) << "none on both sides is the same";
}

TEST(Comparison, NamesAShorterRun) {
  const Comparison result = compared(made_run(1500));
  EXPECT_TRUE(result.length_differs);
  EXPECT_TRUE(result.differs);
  EXPECT_TRUE(result.deviating.empty()) << "what both have is the same";
  EXPECT_THAT(sim::comparison_text(result), HasSubstr("the run ends at 1500.0 s, the baseline at 2000.0 s"));
}

TEST(Comparison, NamesACodeThatChangesAtAnotherTime) {
  Baseline run = made_run();
  change(run, "programme.segment", [](double t, double) { return t < 610 ? 0 : 1; });
  EXPECT_THAT(named(compared(run)), ElementsAre("programme.segment"));
  change(run, "programme.segment", [](double t, double) { return t < 602 ? 0 : 1; });
  EXPECT_FALSE(compared(run).differs);
}

TEST(Comparison, NamesExpectationsThatFlipMoveAndVanish) {
  Baseline run = made_run();
  sim::ExpectationResult& tracks = run.summary.expectations[0];
  tracks.margin = 2.9;                                             // 0.1 of 8 K is within 5 %
  Comparison result = compared(run);
  EXPECT_FALSE(result.differs);
  ASSERT_EQ(result.expectations.size(), 1u) << "said all the same";
  tracks.margin = 2.5;
  EXPECT_TRUE(compared(run).expectations.at(0).beyond);
  EXPECT_TRUE(compared(run).differs);
  tracks.margin = -0.1;
  tracks.pass = false;
  result = compared(run);
  EXPECT_TRUE(result.expectations.at(0).flipped);
  EXPECT_THAT(sim::comparison_text(result), HasSubstr("FLIPPED tracks within 8 K: pass 3 K -> fail -0.1 K"));
  run.summary.expectations.clear();
  EXPECT_TRUE(compared(run).differs);
}

TEST(Comparison, NamesEventsThatAppearVanishAndMove) {
  Baseline run = made_run();
  run.events[1].time_s = 611;
  run.events[2] = {900, "alarm", "raised", "over-pressure"};
  const std::string text = sim::comparison_text(compared(run));
  EXPECT_THAT(text, HasSubstr("moved at 611.0 s: programme begins soak, before at 600.0 s (+11.0 s)"));
  EXPECT_THAT(text, HasSubstr("appeared at 900.0 s: alarm raised over-pressure"));
  EXPECT_THAT(text, HasSubstr("vanished at 700.0 s: alarm raised waits"));
}

TEST(Comparison, NamesATotalBeyondItsTolerance) {
  Baseline run = made_run();
  run.summary.totals[0].value = 4.63;
  EXPECT_FALSE(compared(run).differs);
  run.summary.totals[0].value = 4.66;
  EXPECT_TRUE(compared(run).differs);
}

// Power follows demand: both leave their tubes at once and as deep. The controller's side is the cause.
TEST(Comparison, NamesTheEarliestThenTheDeepestThenTheControllers) {
  Baseline run = made_run();
  change(run, "plant.power", [](double t, double v) { return t < 500 ? v : v + 60; });       // twice its tube of 30 W
  change(run, "heat.1.out", [](double t, double v) { return t < 500 ? v : v + 0.0097; });    // 1.94 times its tube
  EXPECT_THAT(named(compared(run)), ElementsAre("heat.1.out", "plant.power"));
  change(run, "plant.power", [](double t, double v) { return t < 500 ? v : v + 60; });
  EXPECT_THAT(named(compared(run)), ElementsAre("plant.power", "heat.1.out")) << "four times its tube";
  change(run, "heat.1.pv", [](double t, double v) { return t < 499 ? v : v + 4.0; });
  EXPECT_THAT(named(compared(run)), ElementsAre("heat.1.pv", "plant.power", "heat.1.out"));
}

TEST(BaselineFile, ReadsBackTheSame) {
  const Baseline run = made_run();
  const std::filesystem::path file = std::filesystem::path(testing::TempDir()) / ("baseline_" + std::to_string(::getpid()) + ".yaml");
  const std::string text = sim::write_baseline(run, {});
  std::ofstream(file, std::ios::binary) << text;
  const Baseline back = sim::read_baseline(file);
  EXPECT_EQ(back.summary.title, run.summary.title);
  EXPECT_EQ(back.summary.controller_hash, run.summary.controller_hash);
  EXPECT_LT(back.find("heat.1.pv")->line.size(), 12u) << "a ramp and a soak need few points";
  const Comparison result = sim::compare_runs(run, back, {});
  EXPECT_FALSE(result.differs) << sim::comparison_text(result);
  EXPECT_EQ(sim::write_baseline(run, {}), text);

  Baseline off = made_run();                                       // a deviation twice the tube is found through the thinning
  change(off, "heat.1.pv", [](double t, double v) { return t < 1000 ? v : v + 4.0; });
  EXPECT_THAT(named(sim::compare_runs(off, back, {})), ElementsAre("heat.1.pv"));

  std::string spoilt = text;
  spoilt.replace(spoilt.find("320.00"), 6, "32O.00");
  std::ofstream(file, std::ios::binary) << spoilt;
  EXPECT_THROW((void)sim::read_baseline(file), sim::InputError);
  std::filesystem::remove(file);
}

TEST(Tolerance, IsChangedByNameAndPatternAndRefusesUnits) {
  const sim::YamlNode node = sim::parse_yaml(
      "shift: 5 s\nsignals:\n  - {match: heat.*, absolute: 3 K}\n  - {match: heat.1.pv, relative: 0.01, shift: 1 min}\n"
      "  - {match: pressure.pv, share: 0.02, range: 10 kPa diff}\n  - {match: plant.*, ignore: yes}\n", "tolerance.yaml");
  const sim::Tolerance tolerance = sim::read_tolerance(node);
  const auto tube = [&](const char* name, const char* unit) { return sim::tube_of(signal(name, unit, 2, heat, 1).signal, tolerance); };
  EXPECT_DOUBLE_EQ(tube("heat.1.pv", "degC").half_width(200), 5.0);
  EXPECT_DOUBLE_EQ(tube("heat.1.pv", "degC").shift_s, 60);
  EXPECT_DOUBLE_EQ(tube("heat.2.pv", "degC").half_width(200), 3.0);
  EXPECT_DOUBLE_EQ(tube("pressure.pv", "Pa gauge").half_width(4000), 200.0);
  EXPECT_DOUBLE_EQ(tube("pressure.pv", "Pa gauge").shift_s, 5);
  EXPECT_TRUE(tube("plant.power", "W").ignored);
  EXPECT_THROW((void)tube("heat.1.out", "1"), sim::InputError) << "3 K for a pure number";
  const sim::Tolerance again = sim::read_tolerance(sim::parse_yaml(sim::write_tolerance(tolerance, 0), "again.yaml"));
  EXPECT_EQ(sim::write_tolerance(again, 0), sim::write_tolerance(tolerance, 0));
  const sim::SignalTable table({signal("heat.1.pv", "degC", 2, heat, 1).signal});
  sim::Tolerance unknown;
  unknown.rules.push_back({"heat.9.pv", "", "", -1, -1, -1, false, {}});
  EXPECT_THROW(sim::check_tolerance(unknown, table), sim::InputError);
}

}  // namespace
