// Each ready word, read from a file's text, on a course that keeps it and one that breaks it. One tick is one second; the margins
// are worked by hand from the course beside each.
#include "sim/ready_word.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <string>
#include <vector>

#include "sim/expectation_file.h"
#include "sim/expectation_sentence.h"
#include "sim/expectations.h"
#include "sim/input_error.h"

namespace {

using sim::ExpectationResult;
using sim::Signal;
using sim::SignalTable;
using testing::HasSubstr;

SignalTable table() {
  const auto core = Signal::Origin::controller;
  const auto plant = Signal::Origin::plant;
  return SignalTable({{"heat.1.pv", "degC", 2, core, "", "", {}},
                      {"interlock.trip", "1", 0, core, "", "", {}},
                      {"interlock.safe_row", "1", 0, core, "", "", {}},
                      {"plant.power", "W", 1, plant, "", "", {}},
                      {"plant.contactor", "1", 0, plant, "", "", {}},
                      {"plant.valve.pump", "1", 0, plant, "", "", {}},
                      {"plant.valve.process", "1", 0, plant, "", "", {}},
                      {"plant.valve.purge", "1", 0, plant, "", "", {}},
                      {"plant.valve.exhaust", "1", 0, plant, "", "", {}},
                      {"plant.valve.bypass", "1", 0, plant, "", "", {}},
                      {"plant.valve.air", "1", 0, plant, "", "", {}},
                      {"plant.valve.pressure", "1", 3, plant, "", "", {}}});
}
enum { pv, trip, safe_row, power, contactor, pump, process, purge, exhaust, bypass, air, back_pressure, count };

using Frame = std::vector<double>;

sim::ExpectationSource read(const std::string& word) {
  static const sim::ProgrammeSource programme;
  const sim::YamlNode list = sim::parse_yaml("- name: it\n  " + word + "\n", "words.yaml");
  return sim::read_expectations(list, {programme, table()}).front();
}

ExpectationResult judged(const std::string& word, const std::vector<Frame>& course) {
  sim::Expectations expectations({read(word)}, table(), {}, 1.0);
  double time_s = 0.0;
  for (const Frame& frame : course) expectations.tick(frame, time_s++, -1);
  expectations.finish();
  return expectations.results().front();
}

std::vector<Frame> of_pv(const std::vector<double>& degc) {
  std::vector<Frame> course;
  for (const double value : degc) {
    course.emplace_back(count, 0.0);
    course.back()[pv] = value;
  }
  return course;
}

void expect_margin(const std::string& word, const std::vector<double>& degc, double margin, const std::string& unit) {
  const ExpectationResult result = judged(word, of_pv(degc));
  EXPECT_TRUE(result.judged) << word;
  EXPECT_NEAR(result.margin, margin, 1e-9) << word;
  EXPECT_EQ(result.unit, unit) << word;
  EXPECT_EQ(result.pass, margin > 0.0) << word;
}

TEST(ReadyWord, TracksSettlesAndOvershoots) {
  const std::string tracks = "tracks: {signal: heat.1.pv, target: 500 degC, within: 5 K}";
  expect_margin(tracks, {498.0, 503.0, 501.0}, 2.0, "K");          // 5 - 3
  expect_margin(tracks, {498.0, 493.0, 501.0}, -2.0, "K");         // 5 - 7
  const std::string settles = "settles: {signal: heat.1.pv, to: 500 degC, within: 5 K, by: 2 s}";
  expect_margin(settles, {400.0, 520.0, 504.0, 501.0}, 1.0, "K");  // from 2 s on: 5 - 4
  expect_margin(settles, {400.0, 500.0, 500.0, 508.0}, -3.0, "K"); // left again: 5 - 8
  const std::string overshoots = "overshoots_at_most: {signal: heat.1.pv, over: 500 degC, by: 10 K}";
  expect_margin(overshoots, {480.0, 504.0, 499.0}, 6.0, "K");
  expect_margin(overshoots, {480.0, 512.0, 499.0}, -2.0, "K");
}

TEST(ReadyWord, IsNotJudgedBeforeItsTimeHasCome) {
  const ExpectationResult early = judged("settles: {signal: heat.1.pv, to: 500 degC, within: 5 K, by: 2 s}", of_pv({500.0, 500.0}));
  EXPECT_FALSE(early.judged);
  EXPECT_FALSE(early.pass);
}

TEST(ReadyWord, HoldsReachesAndStaysOff) {
  const std::string at_least = "holds_for: {condition: heat.1.pv > 500 degC, at_least: 3 s}";
  expect_margin(at_least, {490.0, 501.0, 501.0, 490.0, 501.0, 501.0}, 1.0, "s");   // 4 s in all
  expect_margin(at_least, {490.0, 501.0, 501.0, 490.0, 490.0, 490.0}, -1.0, "s");
  const std::string at_most = "holds_for: {condition: heat.1.pv > 500 degC, at_most: 3 s}";
  expect_margin(at_most, {490.0, 501.0, 501.0}, 1.0, "s");
  expect_margin(at_most, {490.0, 501.0, 501.0, 501.0, 501.0}, -1.0, "s");
  const std::string up = "reaches: {signal: heat.1.pv, at_least: 500 degC, by: 2 s}";
  expect_margin(up, {480.0, 490.0, 503.0, 530.0}, 3.0, "K");       // 3 s is too late
  expect_margin(up, {480.0, 490.0, 496.0, 530.0}, -4.0, "K");
  const std::string down = "reaches: {signal: heat.1.pv, at_most: 500 degC, by: 2 s}";
  expect_margin(down, {530.0, 510.0, 498.0, 400.0}, 2.0, "K");
  expect_margin(down, {530.0, 510.0, 507.0, 400.0}, -7.0, "K");
  const std::string off = "stays_off_until: {on: heat.1.pv > 500 degC, until: heat.1.pv < 100 degC}";
  expect_margin(off, {480.0, 492.0, 90.0, 600.0}, 8.0, "K");       // what comes after 90 degC does not matter
  expect_margin(off, {480.0, 509.0, 90.0, 600.0}, -9.0, "K");
}

TEST(ReadyWord, UsesTravelsAndTurnsAtMost) {
  const std::string uses = "uses_at_most: {total: heat.1.pv, amount: 10 K}";
  expect_margin(uses, {500.0, 504.0, 507.0}, 3.0, "K");
  expect_margin(uses, {500.0, 504.0, 512.0}, -2.0, "K");
  const std::string travels = "travels_at_most: {signal: heat.1.pv, amount: 10 K}";
  expect_margin(travels, {500.0, 503.0, 499.0}, 3.0, "K");         // 3 + 4
  expect_margin(travels, {500.0, 503.0, 495.0}, -1.0, "K");        // 3 + 8
  const std::string turns = "changes_direction_at_most: {signal: heat.1.pv, times: 2, dead_band: 2 K}";
  expect_margin(turns, {500.0, 504.0, 501.0, 502.0}, 1.0, "1");    // one turn, at 501
  expect_margin(turns, {500.0, 504.0, 501.0, 505.0, 500.0}, -1.0, "1");
}

// The trip at 1 s; the sign of it is that the reading falls below 400 degC.
TEST(ReadyWord, DetectsInTime) {
  std::vector<Frame> course = of_pv({500.0, 450.0, 410.0, 395.0, 300.0});
  for (std::size_t k = 1; k < course.size(); ++k) course[k][trip] = 3.0;
  EXPECT_DOUBLE_EQ(judged("detects: {cause: interlock.trip > 0, sign: heat.1.pv < 400 degC, within: 2 s}", course).margin, 5.0);
  EXPECT_DOUBLE_EQ(judged("detects: {cause: interlock.trip > 0, sign: heat.1.pv < 400 degC, within: 1 s}", course).margin, -10.0);
}

// Trip at 2 s of an inert cycle: contactor open at once, power off at 4 s, purge open at 5 s: last unsafe 2 s after the trip.
std::vector<Frame> tripped() {
  std::vector<Frame> course = of_pv(std::vector<double>(12, 500.0));
  for (std::size_t k = 0; k < course.size(); ++k) {
    course[k][safe_row] = 2.0;
    course[k][trip] = k >= 2 ? 3.0 : 0.0;
    course[k][contactor] = k >= 2 ? 0.0 : 1.0;
    course[k][power] = k >= 4 ? 0.0 : 2000.0;
    course[k][purge] = k >= 5 ? 1.0 : 0.0;
    course[k][exhaust] = course[k][back_pressure] = 1.0;
  }
  return course;
}

TEST(ReadyWord, ReturnsToSafeInSeconds) {
  const std::string word = "returns_to_safe: {after: interlock.trip > 0, within: 5 s}";
  const ExpectationResult in_time = judged(word, tripped());
  EXPECT_TRUE(in_time.pass);
  EXPECT_DOUBLE_EQ(in_time.margin, 3.0);
  EXPECT_EQ(in_time.unit, "s");
  EXPECT_DOUBLE_EQ(judged("returns_to_safe: {after: interlock.trip > 0, within: 1 s}", tripped()).margin, -1.0);
}

// Whatever of it is lost at the last tick, 9 s after the trip, breaks it by 4 s.
TEST(ReadyWord, ReturnsToSafeIsBrokenByEachOutput) {
  const std::string word = "returns_to_safe: {after: interlock.trip > 0, within: 5 s}";
  const std::vector<std::pair<int, double>> inert = {{power, 5.0},  {contactor, 1.0}, {pump, 1.0},   {process, 1.0},
                                                     {purge, 0.0}, {exhaust, 0.0},   {bypass, 1.0}, {air, 1.0}, {back_pressure, 0.5}};
  for (const auto& [slot, value] : inert) {
    std::vector<Frame> course = tripped();
    course.back()[static_cast<std::size_t>(slot)] = value;
    EXPECT_DOUBLE_EQ(judged(word, course).margin, -4.0) << slot;
  }
  std::vector<Frame> vent = tripped();      // over-pressure: bypass open and purge shut
  for (std::size_t k = 2; k < vent.size(); ++k) {
    vent[k][safe_row] = 5.0;
    vent[k][purge] = 0.0;
    vent[k][bypass] = 1.0;
  }
  EXPECT_DOUBLE_EQ(judged(word, vent).margin, 4.0);    // the power is on until 3 s, one second after the trip
  vent.back()[purge] = 1.0;
  EXPECT_DOUBLE_EQ(judged(word, vent).margin, -4.0);
  vent.back()[purge] = vent.back()[bypass] = 0.0;
  EXPECT_DOUBLE_EQ(judged(word, vent).margin, -4.0);
}

std::string refusal(const std::string& word) {
  try {
    read(word);
  } catch (const sim::InputError& error) {
    return error.what();
  }
  return "accepted";
}

TEST(ReadyWord, IsRefusedAtTheArgumentThatIsWrong) {
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pw, target: 500 degC, within: 5 K}"), HasSubstr("words.yaml:2:20"));
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pw, target: 500 degC, within: 5 K}"), HasSubstr("heat.1.pv"));
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pv, target: 500 degC, within: 5 Pa}"), HasSubstr("words.yaml:2:57"));
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pv, target: 500 degC}"), HasSubstr("signal, target, within"));
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pv, target: 500 degC, within: 5 K, by: 3 s}"), HasSubstr("tracks.by"));
  EXPECT_THAT(refusal("reaches: {signal: heat.1.pv, at_least: 500 degC, by: 3}"), HasSubstr("words.yaml:2:56"));
  EXPECT_THAT(refusal("changes_direction_at_most: {signal: heat.1.pv, times: 2.5, dead_band: 2 K}"), HasSubstr("a whole number"));
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pv, target: 500 degC, within: 5 K}\n  never: heat.1.pv < 4 degC"), HasSubstr("together"));
  EXPECT_THAT(refusal("tracks: {signal: heat.1.pv, target: 500 degC, within: 5 K}\n  within: 4 s"), HasSubstr("`eventually` only"));
  EXPECT_THAT(refusal("stays_off_until: {on: plant.power > 1 W, until: interlock.trip > 0}\n  until: interlock.trip > 1"),
              HasSubstr("`until` beside `stays_off_until`"));
}

TEST(ReadyWord, IsWrittenAsItWasRead) {
  const sim::ExpectationSource source = read("settles: {signal: heat.1.pv, to: 500 degC, within: 5 K, by: 1 h 30 min}");
  const std::string text = sim::write_expectations({source}, 0);
  EXPECT_THAT(text, HasSubstr("settles:"));
  EXPECT_THAT(text, testing::Not(HasSubstr("always")));
  static const sim::ProgrammeSource programme;
  const std::vector<sim::ExpectationSource> again = sim::read_expectations(sim::parse_yaml(text, "again"), {programme, table()});
  EXPECT_EQ(sim::write_expectations(again, 0), text);
  EXPECT_EQ(again.front().arguments, source.arguments);
}

TEST(ReadyWord, ShowsWhatItIsShortFor) {
  const std::string word = "tracks: {signal: heat.1.pv, target: 500 degC - 2 K, within: 5 K}\n  to: 90 min";
  EXPECT_EQ(judged(word, of_pv({498.0})).statement,
            "heat.1.pv stays within 5 K of 500 degC - 2 K: always abs(heat.1.pv - (500 degC - 2 K)) <= 5 K, to 5400 s");
  EXPECT_EQ(sim::sentence(read(word)),
            "it: heat.1.pv stays within 5 K of 500 degC - 2 K, to 1 h 30 min after the start "
            "(at every moment the size of (heat.1.pv - (500 degC - 2 K)) is at most 5 K)");
  EXPECT_EQ(sim::sentence(read("reaches: {signal: heat.1.pv, at_least: 500 degC, by: 90 s}\n  after: interlock.trip > 0")),
            "it: heat.1.pv reaches 500 degC from below by 90 s, from the first moment at which interlock.trip is above 0 "
            "(at some moment heat.1.pv is at least 500 degC, at most 1 min 30 s after the window opens)");
  EXPECT_EQ(sim::sentence(read("never: heat.1.pv > 800 degC")), "it: at no moment heat.1.pv is above 800 degC, over the whole run");
}

TEST(ExpectationFile, TakesEventsThatCanHappen) {
  const auto refusal = [](const std::string& window) -> std::string {
    try {
      const sim::ExpectationSource made = read("always: heat.1.pv < 900 degC\n  " + window);
      return sim::sentence(made);
    } catch (const sim::InputError& error) {
      return error.what();
    }
  };
  EXPECT_THAT(refusal("after_event: {source: interlock, kind: trips}"), HasSubstr("from the moment at which an interlock trips"));
  EXPECT_THAT(refusal("until_event: {source: alarm, kind: raised}"), HasSubstr("until an alarm is raised"));
  EXPECT_THAT(refusal("after_event: {source: alrm}"), HasSubstr("words.yaml:3:25"));
  EXPECT_THAT(refusal("after_event: {source: alarm, kind: rised}"), HasSubstr("nearest: raised"));
  EXPECT_THAT(refusal("until_event: {kind: raised}"), HasSubstr("without `source`"));
}

}  // namespace
