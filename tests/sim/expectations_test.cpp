// Judging over time. The robustness values are worked by hand in tests/reference/stl_semantics.yaml (definitions after Donze
// and Maler, FORMATS 2010, and Fainekos and Pappas, TCS 410, 2009); the other margins are worked beside each check.
#include "sim/expectations.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <yaml-cpp/yaml.h>

#include <cstdio>
#include <string>
#include <vector>

#include "sim/input_error.h"
#include "tests/checkout.h"

namespace {

using sim::ExpectationResult;
using sim::Expectations;
using sim::ExpectationSource;
using sim::Signal;
using sim::SignalTable;
using Form = sim::ExpectationSource::Form;

SignalTable table() {
  const auto core = Signal::Origin::controller;
  return SignalTable({{"x", "1", 3, core, "", "", {}},
                      {"y", "1", 3, core, "", "", {}},
                      {"atmosphere.phase", "1", 0, core, "", "", {}},
                      {"pressure.pv", "Pa gauge", 1, core, "", "", {}}});
}

ExpectationSource source(Form form, const std::string& predicate) {
  ExpectationSource made;
  made.name = "it";
  made.form = form;
  made.predicate = predicate;
  return made;
}

struct Tick {
  double x = 0.0, y = 0.0;
  int phase = 0;
  double pressure = 0.0;
  int segment = 0;
};

const std::vector<std::string> segments = {"heat", "soak", "cool"};

// Every tick is one second.
ExpectationResult judged(const ExpectationSource& one, const std::vector<Tick>& ticks) {
  const SignalTable signals = table();
  Expectations expectations({one}, signals, segments, 1.0);
  double time_s = 0.0;
  for (const Tick& tick : ticks) {
    const double frame[] = {tick.x, tick.y, static_cast<double>(tick.phase), tick.pressure};
    expectations.tick(frame, time_s, tick.segment);
    time_s += 1.0;
  }
  expectations.finish();
  return expectations.results().front();
}

std::vector<Tick> of_x(const std::vector<double>& values) {
  std::vector<Tick> ticks;
  for (const double value : values) ticks.push_back({value, 0.0, 0, 0.0, 0});
  return ticks;
}

YAML::Node published(const std::string& id) {
  const YAML::Node file = YAML::LoadFile(std::string(source_folder) + "/tests/reference/stl_semantics.yaml");
  for (const YAML::Node& example : file["examples"]) {
    if (example["id"].as<std::string>() == id) return example;
  }
  throw std::runtime_error("no example " + id);
}

void expect_published(const std::string& id, const char* signal, ExpectationSource one) {
  const YAML::Node example = published(id);
  const ExpectationResult result = judged(one, of_x(example["signals"][signal].as<std::vector<double>>()));
  EXPECT_NEAR(result.margin, example["robustness"].as<double>(), 1e-12) << id;
  if (!example["satisfied"].IsNull()) {
    EXPECT_EQ(result.pass, example["satisfied"].as<bool>()) << id;
  }
}

TEST(Expectations, HaveThePublishedRobustnessOfAlwaysAndEventually) {
  ExpectationSource one = source(Form::always, "x < 5");
  one.to_s = 4.0;
  expect_published("STL-1", "x", one);
  one.to_s = 5.0;
  expect_published("STL-2", "x", one);
  one = source(Form::eventually, "x > 2.5");
  one.from_s = 1.0;
  one.to_s = 3.0;
  expect_published("STL-3", "x", one);
  one.to_s = -1.0;
  one.within_s = 2.0;
  expect_published("STL-3", "x", one);
  expect_published("STL-8", "x", source(Form::always, "x > 5"));
  expect_published("STL-9", "x", source(Form::never, "x > 3.5 and x < 4.5"));
}

TEST(Expectations, LeaveAStrictBoundaryUnsatisfied) {
  EXPECT_FALSE(judged(source(Form::always, "x > 5"), of_x({5, 5, 5})).pass);
  EXPECT_TRUE(judged(source(Form::always, "x >= 5"), of_x({5, 5, 5})).pass);
  EXPECT_TRUE(judged(source(Form::never, "x > 5"), of_x({5, 5, 5})).pass);
}

TEST(Expectations, SeeAGlitchOfOneTick) {
  for (const std::size_t at : {0u, 1u, 4711u, 9999u}) {
    std::vector<Tick> ticks(10000);
    for (Tick& tick : ticks) tick.pressure = 4000.0;
    ticks[at].pressure = 6500.0;
    const ExpectationResult result = judged(source(Form::never, "pressure.pv > 6 kPa"), ticks);
    EXPECT_FALSE(result.pass);
    EXPECT_DOUBLE_EQ(result.margin, -500.0);
    EXPECT_DOUBLE_EQ(result.at_s, static_cast<double>(at));
    EXPECT_DOUBLE_EQ(result.failed_s, static_cast<double>(at));
    EXPECT_EQ(result.unit, "Pa gauge");
    EXPECT_EQ(result.ticks, 10000u);
  }
}

TEST(Expectations, FindTheTightestInstant) {
  const ExpectationResult result = judged(source(Form::always, "x < 10"), of_x({1, 7, 9, 3, 9, 2}));
  EXPECT_TRUE(result.pass);
  EXPECT_DOUBLE_EQ(result.margin, 1.0);
  EXPECT_DOUBLE_EQ(result.at_s, 2.0);     // the first of two equal ones
  EXPECT_DOUBLE_EQ(result.failed_s, -1.0);
}

TEST(Expectations, JudgeOnlyInsideTheirWindow) {
  // x is 9 outside; phase 5 holding
  const std::vector<Tick> ticks = {{9, 0, 0, 0, -1}, {1, 0, 5, 0, 0}, {2, 0, 5, 0, 1}, {3, 1, 5, 0, 1}, {4, 1, 6, 0, 2}, {9, 0, 6, 0, -1}};
  ExpectationSource one = source(Form::always, "x < 5");
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, -4.0);
  one.segments = {"soak"};
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 2.0);        // x = 3
  EXPECT_EQ(judged(one, ticks).ticks, 2u);
  one.segments = {"soak", "cool"};
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 1.0);        // x = 4
  one.segments.clear();
  one.phases = {"holding"};
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 2.0);
  one.phases.clear();
  one.from_s = 1.0;
  one.to_s = 2.0;
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 3.0);        // x = 2, both ends in
  EXPECT_EQ(judged(one, ticks).ticks, 2u);
  one.from_s = one.to_s = -1.0;
  one.while_ = "y > 0.5";
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 1.0);
  EXPECT_EQ(judged(one, ticks).ticks, 2u);
  one.while_.clear();
  one.after = "y > 0.5";                                   // from 3 s on
  EXPECT_DOUBLE_EQ(judged(one, ticks).at_s, 5.0);
  EXPECT_EQ(judged(one, ticks).ticks, 3u);
  one.until = "x > 8";                                     // shut at 5 s
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 1.0);
  EXPECT_EQ(judged(one, ticks).ticks, 2u);
}

TEST(Expectations, RemainShutOnceUntilHasHeld) {
  std::vector<Tick> ticks = of_x({1, 1, 3, 9, 9});
  ticks[2].y = 1.0;
  ExpectationSource one = source(Form::always, "x < 5");
  one.until = "y > 0.5";
  const ExpectationResult result = judged(one, ticks);
  EXPECT_TRUE(result.pass);
  EXPECT_EQ(result.ticks, 2u);
}

TEST(Expectations, FailWhenTheirWindowNeverOpened) {
  ExpectationSource one = source(Form::always, "x < 5");
  one.phases = {"purging"};
  const ExpectationResult result = judged(one, of_x({1, 2, 3}));
  EXPECT_FALSE(result.judged);
  EXPECT_FALSE(result.pass);
  EXPECT_EQ(result.ticks, 0u);
}

// By hand: x is 1 2 3 4 5 6 7; an alarm is raised at 2 s and 4 s, another cleared at 5 s, so that 5 - x is least where the window ends.
TEST(Expectations, OpenAndShutAtAnEvent) {
  const auto run = [](const ExpectationSource& one) {
    Expectations expectations({one}, table(), segments, 1.0);
    for (int k = 0; k < 7; ++k) {
      std::vector<sim::Event> events;
      if (k == 1) events.push_back({1.0, "alarm", "cleared", "oxygen high (high priority)"});
      if (k == 2 || k == 4) events.push_back({2.0, "alarm", "raised", "oxygen high (high priority)"});
      if (k == 5) events.push_back({5.0, "alarm", "cleared", "load high (high priority)"});
      const double frame[] = {k + 1.0, 0.0, 0.0, 0.0};
      expectations.tick(frame, k, 0, events);
    }
    expectations.finish();
    return expectations.results().front();
  };
  ExpectationSource one = source(Form::always, "x < 5");
  one.after_event = {"alarm", "raised", "oxygen"};
  EXPECT_EQ(run(one).ticks, 5u);                           // 2 s to 6 s
  EXPECT_DOUBLE_EQ(run(one).margin, -2.0);
  one.until_event = {"alarm", "cleared", ""};
  EXPECT_EQ(run(one).ticks, 3u);                           // 2 s to 4 s; what was cleared before the window opened ends nothing
  EXPECT_DOUBLE_EQ(run(one).margin, 0.0);
  one.until_event.kind = "raised";
  EXPECT_EQ(run(one).ticks, 2u);                           // 2 s and 3 s: the event that opens the window does not shut it
  one.after = "x > 3.5";
  EXPECT_EQ(run(one).ticks, 1u);                           // both have come at 3 s, where the window opens; the alarm at 4 s shuts it
}

TEST(Expectations, SayWhyTheyWereNeverJudged) {
  ExpectationSource one = source(Form::always, "x < 5");
  one.after_event = {"alarm", "raised", ""};
  EXPECT_EQ(judged(one, of_x({1, 2, 3})).unjudged, "its window never opened");
  one.after_event = {};
  one.due_s = 90.0;
  EXPECT_EQ(judged(one, of_x({1, 2, 3})).unjudged, "its window was never open for the 1 min 30 s it needs, at most for 2 s");
  one.due_s = 0.0;
  one.predicate = "always[5 s, 6 s] x < 5";
  EXPECT_EQ(judged(one, of_x({1, 2, 3})).unjudged, "its window shut before anything was known");
}

// STL without a window of its own, hand-worked: the segment ends because x has come true.
TEST(Expectations, LookAtTheTickThatShutsTheWindowOfEventuallyThatLooksAhead) {
  const std::vector<Tick> ticks = {{0, 0, 0, 0, 1}, {1, 0, 0, 0, 1}, {5, 0, 0, 0, 2}, {9, 0, 0, 0, 2}};
  ExpectationSource one = source(Form::eventually, "eventually[0 s, 1 s] x > 4");
  one.segments = {"soak"};
  EXPECT_TRUE(judged(one, ticks).pass);
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 1.0);        // 5 at the tick that shuts it, not the 9 after it
}

TEST(Expectations, TakeBoundedMemoryForWhatLooksAhead) {
  std::vector<ExpectationSource> sources(3, source(Form::always, "x < 9 until[0 s, 6 h] x > 5"));
  EXPECT_NO_THROW(Expectations(sources, table(), segments, 0.1));
  sources.resize(60, sources.front());
  try {
    Expectations wrong(sources, table(), segments, 0.1);
    FAIL() << "accepted";
  } catch (const sim::InputError& error) {
    EXPECT_THAT(error.what(), testing::HasSubstr("at most 134217728 bytes (128 MiB) in all"));
  }
}

TEST(Expectations, FailWhenThereAreNone) {
  const SignalTable signals = table();
  Expectations none({}, signals, segments, 1.0);
  none.finish();
  EXPECT_FALSE(none.pass());
}

TEST(Expectations, HoldEventuallyEachTimeItsWindowOpens) {
  // segment soak twice: in the first x reaches 4, in the second only 3
  std::vector<Tick> ticks = {{0, 0, 0, 0, 1}, {4, 0, 0, 0, 1}, {0, 0, 0, 0, 0}, {1, 0, 0, 0, 1}, {3, 0, 0, 0, 1}, {0, 0, 0, 0, 0}};
  ExpectationSource one = source(Form::eventually, "x > 3.5");
  one.segments = {"soak"};
  one.within_s = 10.0;
  ExpectationResult result = judged(one, ticks);
  EXPECT_FALSE(result.pass);
  EXPECT_DOUBLE_EQ(result.margin, -0.5);
  EXPECT_DOUBLE_EQ(result.at_s, 4.0);
  EXPECT_DOUBLE_EQ(result.failed_s, 5.0);                  // known when the window shuts
  ticks[4].x = 6.0;
  result = judged(one, ticks);
  EXPECT_TRUE(result.pass);
  EXPECT_DOUBLE_EQ(result.margin, 0.5);                    // of the first opening
  EXPECT_DOUBLE_EQ(result.took_s, 1.0);                    // one second in either
  EXPECT_DOUBLE_EQ(result.at_s, 1.0);
}

TEST(Expectations, LookAtTheTickThatShutsTheWindowOfEventually) {
  const std::vector<Tick> ticks = {{0, 0, 0, 0, 1}, {1, 0, 0, 0, 1}, {5, 0, 0, 0, 2}};
  ExpectationSource one = source(Form::eventually, "x > 4");
  one.segments = {"soak"};
  EXPECT_TRUE(judged(one, ticks).pass);
  one.form = Form::always;                                 // which always does not
  one.predicate = "x < 4";
  EXPECT_TRUE(judged(one, ticks).pass);
}

TEST(Expectations, CountWithinFromTheOpeningBothEndsIn) {
  ExpectationSource one = source(Form::eventually, "x > 4");
  one.from_s = 2.0;
  one.within_s = 2.0;
  EXPECT_TRUE(judged(one, of_x({0, 0, 0, 0, 5, 0})).pass);
  EXPECT_FALSE(judged(one, of_x({0, 0, 0, 0, 0, 5})).pass);
  EXPECT_DOUBLE_EQ(judged(one, of_x({9, 9, 0, 1, 0, 9})).margin, -3.0);
}

TEST(Expectations, JudgeWhatIsStillOpenAtTheEnd) {
  EXPECT_TRUE(judged(source(Form::eventually, "x > 4"), of_x({0, 5})).pass);
  const ExpectationResult result = judged(source(Form::eventually, "x > 4"), of_x({0, 3, 1}));
  EXPECT_FALSE(result.pass);
  EXPECT_DOUBLE_EQ(result.margin, -1.0);
  EXPECT_DOUBLE_EQ(result.failed_s, 2.0);
}

TEST(Expectations, StartTheMemoryOfFunctionsAtEachOpening) {
  std::vector<Tick> ticks = {{0, 0, 0, 0, 1}, {2, 0, 0, 0, 1}, {9, 0, 0, 0, 0}, {5, 0, 0, 0, 1}, {6, 0, 0, 0, 1}};
  ExpectationSource one = source(Form::always, "travel(x) < 3");
  one.segments = {"soak"};
  EXPECT_DOUBLE_EQ(judged(one, ticks).margin, 1.0);        // 2 in the first, 1 in the second
}

TEST(Expectations, SayWhereTheyCannotBeRead) {
  const SignalTable signals = table();
  ExpectationSource one = source(Form::always, "pressure.pv < 6 kpa");
  one.place = {"cycle.yaml", 12, 5};
  try {
    Expectations wrong({one}, signals, segments, 1.0);
    FAIL() << "accepted";
  } catch (const sim::InputError& error) {
    EXPECT_EQ(error.what(), "cycle.yaml:12:5: found the unknown unit `kpa` in `predicate` of `" + one.name +
                                "` (character 17 of `pressure.pv < 6 kpa`); expected a unit; nearest: kPa");
  }
  one = source(Form::always, "x < 5");
  one.segments = {"sook"};
  EXPECT_THROW(Expectations({one}, signals, segments, 1.0), sim::InputError);
  one.segments.clear();
  one.phases = {"hold"};
  EXPECT_THROW(Expectations({one}, signals, segments, 1.0), sim::InputError);
}

}  // namespace
