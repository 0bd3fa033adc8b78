// The judge that runs at every tick against the plain one (plain_judge.h): random expectations over random signals, and the shipped
// scenarios whole. Verdict, margin, instants, counts and the tick of each violation must be the same to the bit.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <random>
#include <string>
#include <vector>

#include "plain_judge.h"
#include "sim/bench.h"
#include "sim/ready_word.h"
#include "sim/scenario.h"
#include "tests/checkout.h"

namespace {

namespace fs = std::filesystem;
using sim::ExpectationSource;
using Form = ExpectationSource::Form;
using Chance = std::mt19937;

std::size_t one_of(Chance& chance, std::size_t count) { return chance() % count; }
bool one_in(Chance& chance, std::size_t count) { return one_of(chance, count) == 0; }

const std::vector<std::string> segments = {"heat", "soak", "cool"};

sim::SignalTable table() {
  const auto core = sim::Signal::Origin::controller;
  return sim::SignalTable({{"x", "1", 3, core, "", "", {}},
                           {"y", "1", 3, core, "", "", {}},
                           {"z", "1", 3, core, "", "", {}},
                           {"n", "1", 0, core, "", "", {}},
                           {"t", "degC", 2, core, "", "", {}},
                           {"u", "degC", 2, core, "", "", {}},
                           {"atmosphere.phase", "1", 0, core, "", "", {}}});
}
enum { x, y, z, n, t, u, phase, signal_count };

std::string number(Chance& chance) { return std::to_string(one_of(chance, 9)); }

std::string comparison(Chance& chance, bool memory) {
  static const char* const order[] = {" < ", " <= ", " > ", " >= ", " == ", " != "};
  static const char* const signals[] = {"x", "y", "z"};
  const std::string op = order[one_of(chance, 6)], a = signals[one_of(chance, 3)], b = signals[one_of(chance, 3)], c = number(chance);
  switch (one_of(chance, memory ? 16 : 11)) {
    case 0: return a + op + c;
    case 1: return c + op + a;
    case 2: return a + op + b;
    case 3: return "abs(" + a + " - " + b + ")" + op + c;
    case 4: return "abs(" + a + " - " + c + ")" + op + number(chance);
    case 5: return "abs(" + c + " - " + a + ")" + op + number(chance);
    case 6: return one_in(chance, 2) ? "atmosphere.phase == holding" : "n != " + c;
    case 7: return a + " - " + b + op + c;
    case 8: return "abs(t - u)" + op + c + " K";
    case 9: return a + " * 0.5" + op + b + " + " + c;
    case 10: return "t" + op + "u";
    case 11: return "rise(" + a + ")" + op + c;
    case 12: return "travel(" + a + ")" + op + c;
    case 13: return "held_for(" + a + " > 4)" + op + c + " s";
    case 14: return "time_when(" + a + " > 4) < " + c + " s";
    default: return "past(" + c + " s) implies " + a + op + b;
  }
}

std::string truth(Chance& chance, int depth, bool memory, bool windows) {
  if (depth == 0 || one_in(chance, 3)) return comparison(chance, memory);
  const auto part = [&] { return "(" + truth(chance, depth - 1, memory, windows) + ")"; };
  const std::string window = "[" + std::to_string(one_of(chance, 3)) + " s, " + std::to_string(3 + one_of(chance, 4)) + " s] ";
  switch (one_of(chance, windows ? 7 : 4)) {
    case 0: return part() + " and " + part();
    case 1: return part() + " or " + part();
    case 2: return part() + " implies " + part();
    case 3: return "not " + part();
    case 4: return "always" + window + part();
    case 5: return "eventually" + window + part();
    default: return part() + " until" + window + part();
  }
}

ExpectationSource random_expectation(Chance& chance) {
  static const char* const conditions[] = {"x > 4", "abs(x - y) < 3", "atmosphere.phase == purging or z >= 5", "rise(x) > 1", "n == 3"};
  const auto condition = [&] { return std::string(conditions[one_of(chance, 5)]); };
  ExpectationSource made;
  made.form = static_cast<Form>(one_of(chance, 4));
  made.predicate = truth(chance, static_cast<int>(one_of(chance, 4)), one_in(chance, 3), one_in(chance, 4));
  made.name = made.predicate;
  if (made.form == Form::eventually && one_in(chance, 2)) made.within_s = static_cast<double>(one_of(chance, 12));
  if (one_in(chance, 5)) made.due_s = static_cast<double>(1 + one_of(chance, 20));
  if (one_in(chance, 4)) made.from_s = static_cast<double>(one_of(chance, 30));
  if (one_in(chance, 4)) made.to_s = std::max(made.from_s, 0.0) + static_cast<double>(1 + one_of(chance, 30));
  if (one_in(chance, 4)) made.segments = {segments[one_of(chance, 3)]};
  if (one_in(chance, 4)) made.phases = {"holding", "purging"};
  if (one_in(chance, 3)) made.while_ = condition();
  if (one_in(chance, 4)) made.after = condition();
  if (one_in(chance, 4)) made.until = condition();
  if (one_in(chance, 8)) made.after_event = {"alarm", one_in(chance, 2) ? "raised" : "", one_in(chance, 2) ? "load" : ""};
  if (one_in(chance, 8)) made.until_event = {"alarm", "cleared", ""};
  return made;
}

struct Pair {
  Pair(std::vector<ExpectationSource> sources, const sim::SignalTable& signals, const std::vector<std::string>& names, double period_s)
      : quick(sources, signals, names, period_s) {
    for (const ExpectationSource& source : sources) plain.emplace_back(sim::expanded(source), signals, names, period_s);
  }
  void tick(std::span<const double> frame, double time_s, int segment, std::span<const sim::Event> events) {
    quick.tick(frame, time_s, segment, events);
    std::vector<std::uint16_t> violated;
    for (std::uint16_t i = 0; i < plain.size(); ++i)
      if (plain[i].tick(frame, time_s, segment, events)) violated.push_back(i);
    same = same && std::equal(violated.begin(), violated.end(), quick.violated().begin(), quick.violated().end());
  }
  void finish() {
    quick.finish();
    EXPECT_TRUE(same) << "violated at different ticks";
    const std::vector<sim::ExpectationResult> results = quick.results();
    for (std::size_t i = 0; i < plain.size(); ++i) {
      plain[i].finish();
      const sim::ExpectationResult &one = results[i], &other = plain[i].result;
      EXPECT_EQ(one.judged, other.judged) << one.statement;
      EXPECT_EQ(one.pass, other.pass) << one.statement;
      EXPECT_EQ(one.ticks, other.ticks) << one.statement;
      EXPECT_EQ(one.failed_s, other.failed_s) << one.statement;
      EXPECT_EQ(one.took_s, other.took_s) << one.statement;
      if (!other.judged) continue;
      EXPECT_EQ(one.margin, other.margin) << one.statement;
      EXPECT_EQ(one.unit, other.unit) << one.statement;
      EXPECT_EQ(one.scale, other.scale) << one.statement;
      EXPECT_EQ(one.at_s, other.at_s) << one.statement;
    }
  }
  sim::Expectations quick;
  std::vector<PlainJudge> plain;
  bool same = true;
};

// Whole numbers, so that boundaries are touched; signals that stand still and that drift; now and then one that is undefined.
std::vector<double> next_frame(Chance& chance, std::vector<double> frame) {
  for (double& value : frame) {
    if (one_in(chance, 3)) value = static_cast<double>(one_of(chance, 9));
    else if (one_in(chance, 2)) value = std::fmin(value + 1.0, 8.0);
    else if (one_in(chance, 300)) value = std::numeric_limits<double>::quiet_NaN();
  }
  if (!one_in(chance, 8)) frame[phase] = 5.0;
  if (!(frame[phase] >= 0.0)) frame[phase] = 4.0;
  return frame;
}

TEST(Judging, AgreesWithThePlainJudgeOnRandomExpectations) {
  const sim::SignalTable signals = table();
  Chance chance(20261126);
  std::size_t expectations = 0;
  while (expectations < 10000 && !testing::Test::HasFailure()) {
    std::vector<ExpectationSource> sources(1 + one_of(chance, 8));
    for (ExpectationSource& source : sources) source = random_expectation(chance);
    expectations += sources.size();
    Pair pair(sources, signals, segments, 1.0);
    std::vector<double> frame(signal_count, 4.0);
    const std::size_t ticks = 5 + one_of(chance, 60);
    int segment = -1;
    for (std::size_t tick = 0; tick < ticks; ++tick) {
      frame = next_frame(chance, frame);
      if (one_in(chance, 10)) segment = static_cast<int>(one_of(chance, 5)) - 1;
      std::vector<sim::Event> events;
      if (one_in(chance, 6)) {
        const char *const kind = one_in(chance, 2) ? "raised" : "cleared", *const text = one_in(chance, 2) ? "load low" : "door";
        events.push_back({0.0, "alarm", kind, text});
      }
      if (one_in(chance, 6)) events.push_back({0.0, "line", "disturbed", "load"});
      pair.tick(frame, static_cast<double>(tick), segment, events);
    }
    pair.finish();
  }
  EXPECT_GE(expectations, 10000u);
}

TEST(Judging, AgreesWithThePlainJudgeOnTheShippedScenarios) {
  std::size_t scenarios = 0;
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(std::string(source_folder) + "/configs/scenarios")) {
    if (entry.path().extension() != ".yaml") continue;
    const sim::Scenario scenario = sim::load_scenario(entry.path());
    if (scenario.expectations.empty()) continue;
    SCOPED_TRACE(entry.path().string());
    sim::Bench bench(scenario, sim::open_endpoint({}));
    Pair pair(scenario.expectations, bench.table(), scenario.programme.names, scenario.parameters.period_ms * 1e-3);
    while (bench.advance()) pair.tick(bench.frame(), bench.time_s(), bench.segment(), bench.events());
    pair.finish();
    ++scenarios;
  }
  EXPECT_GE(scenarios, 3u);
}

}  // namespace
