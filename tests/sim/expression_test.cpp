// The language of expectations: values, quantities, margins, messages. Expected margins are worked by hand beside each check.
#include "sim/expression.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace {

using sim::Expression;
using sim::ExpressionError;
using sim::Signal;
using sim::SignalTable;

SignalTable table() {
  const auto core = Signal::Origin::controller;
  const auto plant = Signal::Origin::plant;
  return SignalTable({{"programme.state", "1", 0, core, "", "", {}},
                      {"atmosphere.phase", "1", 0, core, "", "", {}},
                      {"interlock.heat_permissive", "1", 0, core, "", "", {}},
                      {"heat.1.pv", "degC", 2, core, "", "", {}},
                      {"heat.1.sp", "degC", 2, core, "", "", {}},
                      {"pressure.pv", "Pa gauge", 1, core, "", "", {}},
                      {"oxygen.pv", "ppm", 2, core, "", "", {}},
                      {"pressure.out", "1", 4, core, "", "", {}},
                      {"plant.gas.pressure", "Pa", 2, plant, "", "", {}},
                      {"plant.energy", "kWh", 3, plant, "", "", {}}});
}

enum { state, phase, permissive, pv, sp, gauge, oxygen, valve, absolute, energy, count };

std::vector<double> frame() {
  std::vector<double> values(count, 0.0);
  values[state] = 1.0;      // running
  values[phase] = 5.0;      // holding
  values[permissive] = 1.0;
  values[pv] = 400.0;
  values[sp] = 403.0;
  values[gauge] = 4000.0;
  values[oxygen] = 8.0;
  values[valve] = 0.5;
  values[absolute] = 105000.0;
  values[energy] = 5.0;
  return values;
}

double margin_of(const std::string& text, const std::vector<double>& values = frame()) {
  const SignalTable signals = table();
  Expression expression(text, signals);
  return sim::printed_margin(expression.evaluate(values, 0.0).value);
}

std::string unit_of(const std::string& text) {
  const SignalTable signals = table();
  Expression expression(text, signals);
  return expression.unit_name(expression.evaluate(frame(), 0.0).decided);
}

bool holds(const std::string& text, const std::vector<double>& values = frame()) {
  const SignalTable signals = table();
  return Expression(text, signals).holds(values, 0.0);
}

// Column and message of a text that must be refused.
std::pair<int, std::string> refusal(const std::string& text) {
  const SignalTable signals = table();
  try {
    Expression expression(text, signals);
  } catch (const ExpressionError& error) {
    return {error.column, error.what()};
  }
  return {0, "accepted"};
}

TEST(Expression, GivesTheMarginOfAComparisonInTheSignalsUnit) {
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv < 6 kPa"), 2000.0);        // 6000 - 4000 Pa
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv > 6 kPa"), -2000.0);
  EXPECT_DOUBLE_EQ(margin_of("6 kPa gauge > pressure.pv"), 2000.0);
  EXPECT_DOUBLE_EQ(margin_of("oxygen.pv < 20 ppm"), 12.0);
  EXPECT_NEAR(margin_of("oxygen.pv < 0.01 %"), 92.0, 1e-12);         // 0.01 % = 100 ppm
  EXPECT_DOUBLE_EQ(margin_of("heat.1.pv > -35 degC"), 435.0);
  EXPECT_NEAR(margin_of("plant.gas.pressure < 1.1 bar abs"), 5000.0, 1e-9);   // 1.1 * 1e5 rounds at 1e-11
  EXPECT_NEAR(margin_of("pressure.out >= 2 %"), 0.48, 1e-15);
  EXPECT_DOUBLE_EQ(margin_of("plant.energy < 36 MJ"), 5.0);          // 36 MJ = 10 kWh
  EXPECT_EQ(unit_of("pressure.pv < 6 kPa"), "Pa gauge");
  EXPECT_EQ(unit_of("oxygen.pv < 0.01 %"), "ppm");
  EXPECT_EQ(unit_of("heat.1.pv < 500 degC"), "K");                   // the distance of two temperatures is a difference
}

TEST(Expression, JoinsByMinimumAndMaximumAndNegates) {
  // margins: pressure 2000, oxygen 12, temperature 100
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv < 6 kPa and oxygen.pv < 20 ppm"), 12.0);
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv < 6 kPa or oxygen.pv < 20 ppm"), 2000.0);
  EXPECT_DOUBLE_EQ(margin_of("not pressure.pv < 6 kPa"), -2000.0);
  EXPECT_DOUBLE_EQ(margin_of("heat.1.pv < 500 degC implies oxygen.pv < 20 ppm"), 12.0);     // max(-100, 12)
  EXPECT_DOUBLE_EQ(margin_of("heat.1.pv < 500 degC implies oxygen.pv < 5 ppm"), -3.0);      // max(-100, -3)
  EXPECT_DOUBLE_EQ(margin_of("heat.1.pv < 390 degC implies oxygen.pv < 5 ppm"), 10.0);      // max(10, -3)
  EXPECT_EQ(unit_of("pressure.pv < 6 kPa and oxygen.pv < 20 ppm"), "ppm");
  EXPECT_EQ(unit_of("pressure.pv < 6 kPa or oxygen.pv < 20 ppm"), "Pa gauge");
}

TEST(Expression, BindsLikeArithmeticThenComparisonThenNotAndOrImplies) {
  EXPECT_TRUE(holds("1 + 2 * 3 == 7"));
  EXPECT_TRUE(holds("(1 + 2) * 3 == 9"));
  EXPECT_TRUE(holds("8 / 4 / 2 == 1"));
  EXPECT_TRUE(holds("5 - 3 - 1 == 1"));
  EXPECT_TRUE(holds("2 > 1 or 1 > 2 and 1 > 2"));
  EXPECT_FALSE(holds("(2 > 1 or 1 > 2) and 1 > 2"));
  EXPECT_TRUE(holds("not 1 > 2 and 2 > 1"));
  EXPECT_TRUE(holds("1 > 2 implies 1 > 2 implies 1 > 2"));           // to the right: false implies anything
  EXPECT_FALSE(holds("(1 > 2 implies 1 > 2) implies 1 > 2"));
  EXPECT_DOUBLE_EQ(margin_of("min(3, 1, 2) < max(4, 5)"), 4.0);
  EXPECT_DOUBLE_EQ(margin_of("abs(heat.1.pv - heat.1.sp) < 10 K"), 7.0);
  EXPECT_DOUBLE_EQ(margin_of("elapsed() + 120 min < 2 h 30 min"), 1800.0);
}

TEST(Expression, TakesTheBoundaryIntoLessEqualAndOutOfLess) {
  EXPECT_FALSE(holds("pressure.pv < 4 kPa"));
  EXPECT_TRUE(holds("pressure.pv <= 4 kPa"));
  EXPECT_TRUE(holds("not pressure.pv < 4 kPa"));
  EXPECT_FALSE(holds("not pressure.pv <= 4 kPa"));
  EXPECT_FALSE(holds("pressure.pv <= 4 kPa and pressure.pv < 4 kPa"));
  EXPECT_TRUE(holds("pressure.pv < 4 kPa or pressure.pv <= 4 kPa"));
  EXPECT_TRUE(holds("pressure.pv == 4 kPa"));
  EXPECT_FALSE(holds("pressure.pv != 4 kPa"));
  EXPECT_EQ(margin_of("pressure.pv < 4 kPa"), 0.0);
  EXPECT_EQ(margin_of("pressure.pv <= 4 kPa"), 0.0);
}

TEST(Expression, TreatsCodesAndCountsAsPlainlyTrueOrFalse) {
  EXPECT_EQ(margin_of("programme.state == running"), 1.0);
  EXPECT_EQ(margin_of("programme.state == held"), -1.0);
  EXPECT_EQ(margin_of("atmosphere.phase != holding"), -1.0);
  EXPECT_EQ(margin_of("interlock.heat_permissive == 1"), 1.0);
  EXPECT_EQ(margin_of("interlock.heat_permissive"), 1.0);
  EXPECT_EQ(margin_of("not interlock.heat_permissive"), -1.0);
  // the code decides nothing about how far the pressure is off
  EXPECT_DOUBLE_EQ(margin_of("atmosphere.phase == holding implies pressure.pv > 5 kPa"), -1000.0);
  EXPECT_DOUBLE_EQ(margin_of("programme.state == running and pressure.pv < 6 kPa"), 2000.0);
  EXPECT_EQ(unit_of("atmosphere.phase == holding implies pressure.pv > 5 kPa"), "Pa gauge");
}

// A bit map is a number by accident: bit 23 is no larger a margin than bit 0, and what is not set is no distance away.
TEST(Expression, GivesBitsNoDistanceAndNoOrderButNoneOrSome) {
  const SignalTable signals(4);
  std::vector<double> values(static_cast<std::size_t>(signals.size()), 0.0);
  double& bits = values[static_cast<std::size_t>(signals.find("alarms.unacknowledged"))];
  const auto margin = [&](const std::string& text) {
    return sim::printed_margin(Expression(text, signals).evaluate(values, 0.0).value);
  };
  for (const double set : {1.0, 8388608.0, 4294967295.0}) {
    bits = set;
    EXPECT_EQ(margin("alarms.unacknowledged > 0"), 1.0) << set;
    EXPECT_EQ(margin("0 < alarms.unacknowledged"), 1.0) << set;
    EXPECT_EQ(margin("not alarms.unacknowledged > 0"), -1.0) << set;
    EXPECT_EQ(margin("alarms.unacknowledged == 0"), -1.0) << set;
  }
  bits = 0.0;
  EXPECT_EQ(margin("alarms.unacknowledged > 0"), -1.0);
  EXPECT_EQ(margin("alarms.unacknowledged == alarms.withheld"), 1.0);
  for (const char* text : {"alarms.unacknowledged > 4", "alarms.unacknowledged < 4", "alarms.bits >= 1", "travel(alarms.bits) < 3",
                           "alarms.bits + 1 > 0", "abs(controller.outputs - 1024) < 1", "alarms.bits == alarms.low"}) {
    EXPECT_THROW(Expression(text, signals), ExpressionError) << text;
  }
}

// What the core's register table calls bits is judged as bits.
TEST(Expression, KnowsEverySignalOfBits) {
  const SignalTable signals(4);
  int maps = 0;
  for (const Signal& signal : signals.signals()) {
    const bool map = signal.meaning.find("bit n: ") == 0 || signal.meaning == "the same of alarm 32 + n" ||
                     signal.meaning == "coils as sent to the station" || signal.meaning == "discrete inputs as read";
    EXPECT_EQ(signal.bits, map) << signal.name;
    maps += map ? 1 : 0;
  }
  EXPECT_EQ(maps, 8);
}

TEST(Expression, TakesWhatIsUndefinedAsNotHolding) {
  std::vector<double> values = frame();
  values[gauge] = std::numeric_limits<double>::quiet_NaN();
  EXPECT_FALSE(holds("pressure.pv < 6 kPa", values));
  EXPECT_FALSE(holds("pressure.pv > 6 kPa", values));
  EXPECT_FALSE(holds("oxygen.pv < 20 ppm and pressure.pv < 6 kPa", values));
  EXPECT_TRUE(holds("(oxygen.pv - 8 ppm) / elapsed() < 1 ppm/s"));   // 0/0 is 0
}

TEST(Expression, RemembersSinceTheWindowOpened) {
  const SignalTable signals = table();
  Expression rise("rise(pressure.pv) < 100 Pa", signals), travel("travel(pressure.out) < 4", signals);
  Expression elapsed("elapsed() < 60 s", signals), when("time_when(pressure.pv > 4050 Pa) < 30 s", signals);
  Expression held("held_for(pressure.pv > 4050 Pa) < 30 s", signals);
  const double pressures[] = {4000.0, 4060.0, 4030.0, 4080.0};
  const double valves[] = {0.5, 0.75, 0.25, 0.5};
  const double rises[] = {0.0, 60.0, 30.0, 80.0};
  const double travels[] = {0.0, 0.25, 0.75, 1.0};
  const double whens[] = {0.0, 10.0, 10.0, 10.0};
  const double helds[] = {0.0, 10.0, 10.0, 20.0};
  for (int round = 0; round < 2; ++round) {
    for (Expression* expression : {&rise, &travel, &elapsed, &when, &held}) expression->reset();
    for (int k = 0; k < 4; ++k) {
      std::vector<double> values = frame();
      values[gauge] = pressures[k];
      values[valve] = valves[k];
      const double time_s = 1000.0 * round + 10.0 * k;
      EXPECT_DOUBLE_EQ(rise.evaluate(values, time_s).value, 100.0 - rises[k]);
      EXPECT_DOUBLE_EQ(travel.evaluate(values, time_s).value, 4.0 - travels[k]);
      EXPECT_DOUBLE_EQ(elapsed.evaluate(values, time_s).value, 60.0 - 10.0 * k);
      EXPECT_DOUBLE_EQ(when.evaluate(values, time_s).value, 30.0 - whens[k]);
      EXPECT_DOUBLE_EQ(held.evaluate(values, time_s).value, 30.0 - helds[k]);
    }
  }
}

// By hand, dead band 2 K: 400 403 (up) 401.5 (back by 1.5: within the band) 404 401 (down: 1) 402.5 (up by 1.5: no) 398 401 (up: 2)
// 399 (back by exactly 2: no). Starting afresh, the first way down counts nothing.
TEST(Expression, CountsReversalsLargerThanTheDeadBand) {
  const SignalTable signals = table();
  Expression turns("reversals(heat.1.pv, 2 K) <= 5", signals);
  const double degc[] = {400.0, 403.0, 401.5, 404.0, 401.0, 402.5, 398.0, 401.0, 399.0};
  const double counts[] = {0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 2.0, 2.0};
  for (int round = 0; round < 2; ++round) {
    turns.reset();
    for (int k = 0; k < 9; ++k) {
      std::vector<double> values = frame();
      values[pv] = round == 0 ? degc[k] : 800.0 - degc[k];   // the mirrored course turns as often
      EXPECT_DOUBLE_EQ(turns.evaluate(values, 100.0 * round + k).value, 5.0 - counts[k]) << k;
    }
  }
}

// Every tick 10 s. The band is left at 10 s and 30 s: last 30 s after the opening. The gate opens at 20 s and leaves the margin in K.
TEST(Expression, TellsWhenSomethingLastHeldAndGatesByTime) {
  const SignalTable signals = table();
  Expression last("last_when(heat.1.pv > 410 degC) <= 60 s", signals), gate("past(20 s) implies heat.1.pv < 410 degC", signals);
  const double degc[] = {400.0, 412.0, 405.0, 413.0, 406.0};
  const double lasts[] = {0.0, 10.0, 10.0, 30.0, 30.0};
  const double infinite = std::numeric_limits<double>::infinity();
  const double gates[] = {infinite, infinite, 5.0, -3.0, 4.0};
  for (int k = 0; k < 5; ++k) {
    std::vector<double> values = frame();
    values[pv] = degc[k];
    EXPECT_DOUBLE_EQ(last.evaluate(values, 500.0 + 10.0 * k).value, 60.0 - lasts[k]);
    const Expression::Margin gated = gate.evaluate(values, 500.0 + 10.0 * k);
    EXPECT_DOUBLE_EQ(gated.value, gates[k]);
    if (k >= 2) { EXPECT_EQ(gate.unit_name(gated.decided), "K"); }
  }
}

TEST(Expression, ComparesARateWithOnePerMinute) {
  const SignalTable signals = table();
  Expression rate("rise(plant.gas.pressure) / elapsed() < 20 Pa/min", signals);
  std::vector<double> values = frame();
  rate.evaluate(values, 0.0);
  values[absolute] += 30.0;                                           // 30 Pa in 5 min: 6 Pa/min
  const Expression::Margin margin = rate.evaluate(values, 300.0);
  EXPECT_NEAR(margin.value, 14.0, 1e-9);
  EXPECT_EQ(rate.unit_name(margin.decided), "Pa/min");
}

TEST(Expression, KeepsTemperaturesAndDifferencesApart) {
  EXPECT_DOUBLE_EQ(margin_of("heat.1.sp - heat.1.pv < 10 K"), 7.0);
  EXPECT_DOUBLE_EQ(margin_of("heat.1.pv + 10 K > heat.1.sp"), 7.0);
  EXPECT_DOUBLE_EQ(margin_of("10 K + heat.1.pv > heat.1.sp"), 7.0);
  EXPECT_DOUBLE_EQ(margin_of("heat.1.sp - 10 K < heat.1.pv"), 7.0);
  for (const char* wrong : {"heat.1.pv < 10 K", "heat.1.sp - heat.1.pv < 10 degC", "heat.1.pv + heat.1.sp > 10 degC",
                            "2 * heat.1.pv < 900 degC", "abs(heat.1.pv) < 900 degC", "10 K - heat.1.pv < 3 K"}) {
    EXPECT_GT(refusal(wrong).first, 0) << wrong;
  }
}

TEST(Expression, KeepsGaugeAndAbsoluteApart) {
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv < 6 kPa"), 2000.0);
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv + 1 kPa diff < 6 kPa gauge"), 1000.0);
  EXPECT_DOUBLE_EQ(margin_of("pressure.pv - 3 kPa gauge < 2 kPa diff"), 1000.0);
  for (const char* wrong : {"pressure.pv < 6 kPa abs", "plant.gas.pressure < 6 kPa gauge", "pressure.pv < plant.gas.pressure",
                            "pressure.pv + pressure.pv < 6 kPa"}) {
    EXPECT_GT(refusal(wrong).first, 0) << wrong;
  }
}

TEST(Expression, SaysWhereAndWhatIsWrong) {
  using testing::HasSubstr;
  const struct { const char* text; int column; const char* part; } cases[] = {
      {"pressure.pv < 6", 13, "a pure number"},
      {"pressure.pv < 20 ppm", 13, "a pure number"},
      {"presure.pv < 6 kPa", 1, "nearest: pressure.pv"},
      {"pressure.pv < 6 kpa", 17, "kpa"},
      {"pressure.pv <", 14, "the end of the expression"},
      {"pressure.pv < 6 kPa and", 24, "the end of the expression"},
      {"(pressure.pv < 6 kPa", 21, "`)`"},
      {"pressure.pv < 6 kPa)", 20, "`)`"},
      {"pressure.pv = 6 kPa", 13, "`==`"},
      {"1 kPa < pressure.pv < 6 kPa", 21, "`and` between"},
      {"pressure.pv", 1, "a truth"},
      {"pressure.pv < 6 kPa + (oxygen.pv < 3 ppm)", 34, "a truth"},
      {"programme.state == holding", 20, "idle, running"},
      {"programme.state == runing", 20, "nearest: running"},
      {"programme.state < held", 17, "== or !="},
      {"programme.state == 1", 20, "idle, running"},
      {"held", 1, "programme.state == held"},
      {"travell(pressure.out) < 4", 1, "nearest: travel"},
      {"min(pressure.pv) < 4 kPa", 1, "two or more"},
      {"elapsed(3) < 4 s", 1, "none"},
      {"reversals(heat.1.pv, 2 Pa) < 4", 1, "same quantity"},
      {"reversals(heat.1.pv, heat.1.pv - heat.1.sp) < 4", 32, "constant"},
      {"past(5 K) implies heat.1.pv < 4 degC", 6, "a constant time"},
      {"1 / 0 < 1", 3, "division by zero"},
      {"", 1, "the end of the expression"},
      {"pressure.pv < 6 kPa & 1 > 0", 21, "`&`"},
  };
  for (const auto& one : cases) {
    const auto [column, message] = refusal(one.text);
    EXPECT_EQ(column, one.column) << one.text << ": " << message;
    EXPECT_THAT(message, HasSubstr(one.part)) << one.text;
    EXPECT_EQ(message.find("found ", 1), std::string::npos) << message;
    EXPECT_EQ(message.find("expected "), message.rfind("expected ")) << message;
  }
}

TEST(Expression, RefusesWhatWouldOverrunTheStack) {
  EXPECT_GT(refusal(std::string(100000, '(')).first, 0);
  std::string nots;
  for (int i = 0; i < 1000; ++i) nots += "not ";
  EXPECT_GT(refusal(nots + "1 > 2").first, 0);
  EXPECT_GT(refusal(std::string(100000, '-') + "1 > 2").first, 0);
  std::string sum = "1";
  for (int i = 0; i < 100000; ++i) sum += " + 1";
  EXPECT_GT(refusal(sum + " > 2").first, 0);
  std::string nested = "1";
  for (int i = 0; i < 40; ++i) nested = "max(1, min(1, " + nested + "))";
  EXPECT_GT(refusal(nested + " > 2").first, 0);
}

}  // namespace
