// Operators over windows. Published: tests/reference/stl_semantics.yaml, worked by hand there (definitions after Donze and Maler,
// FORMATS 2010, and Fainekos and Pappas, TCS 410, 2009). Beside it a second evaluator, straight from the definitions, over random formulas.
#include "sim/temporal_formula.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <yaml-cpp/yaml.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <map>
#include <new>
#include <random>
#include <string>
#include <vector>

#include "sim/expectations.h"
#include "tests/checkout.h"

namespace {
std::size_t allocations = 0;
}
// Not inlined, or the compiler takes new and free for a mismatched pair.
[[gnu::noinline]] void* operator new(std::size_t size) {
  ++allocations;
  if (void* memory = std::malloc(size ? size : 1)) return memory;
  throw std::bad_alloc();
}
[[gnu::noinline]] void operator delete(void* memory) noexcept { std::free(memory); }
[[gnu::noinline]] void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }

namespace {

using sim::Expression;
using sim::TemporalFormula;
using Kind = TemporalFormula::Kind;
using Samples = std::map<std::string, std::vector<double>>;

sim::SignalTable table() {
  std::vector<sim::Signal> signals;
  for (const char* name : {"x", "y", "T", "p", "v", "speed", "rpm"})
    signals.push_back({name, "1", 3, sim::Signal::Origin::controller, "", "", {}});
  return sim::SignalTable(signals);
}

// Margins of the ticks in order, as far as known; the samples are one second apart.
std::vector<double> margins(const std::string& text, const Samples& samples) {
  const sim::SignalTable signals = table();
  Expression formula(text, signals, 1.0);
  std::vector<double> known;
  Expression::Margin margin;
  for (std::size_t tick = 0; tick < samples.begin()->second.size(); ++tick) {
    std::vector<double> frame;
    for (const sim::Signal& signal : signals.signals())
      frame.push_back(samples.count(signal.name) ? samples.at(signal.name)[tick] : 0.0);
    if (formula.look(frame, static_cast<double>(tick), margin)) known.push_back(margin.value);
  }
  while (formula.conclude(margin)) known.push_back(margin.value);
  return known;
}

TEST(TemporalFormula, GivesThePublishedRobustness) {
  // Published. STL-4b is the other convention of until, which this language does not take.
  const std::map<std::string, std::string> formulas = {
      {"STL-1", "always[0 s, 4 s] (x < 5)"},
      {"STL-2", "always[0 s, 5 s] (x < 5)"},
      {"STL-3", "eventually[1 s, 3 s] (x > 2.5)"},
      {"STL-4", "x > 0 until[1 s, 4 s] y > 0"},
      {"STL-5", "eventually[0 s, 6 s] always[0 s, 4 s] (T > 395 and T < 405)"},
      {"STL-6", "always[0 s, 5 s] (p > 1 implies eventually[0 s, 2 s] v > 0.5)"},
      {"STL-7", "always[0 s, 5 s] (p > 1 implies eventually[0 s, 2 s] v > 0.5)"},
      {"STL-8", "always[0 s, 2 s] (x > 5)"},
      {"STL-9", "not eventually[0 s, 3 s] (x > 3.5 and x < 4.5)"}};
  const YAML::Node file = YAML::LoadFile(std::string(source_folder) + "/tests/reference/stl_semantics.yaml");
  std::size_t checked = 0;
  for (const YAML::Node& example : file["examples"]) {
    const auto found = formulas.find(example["id"].as<std::string>());
    if (found == formulas.end()) continue;
    const std::vector<double> known = margins(found->second, example["signals"].as<Samples>());
    ASSERT_FALSE(known.empty()) << found->first;
    EXPECT_NEAR(sim::printed_margin(known.front()), example["robustness"].as<double>(), 1e-12) << found->first;
    const bool satisfied = !example["satisfied"].IsNull() && example["satisfied"].as<bool>();   // STL-8: a strict > at 0 does not hold
    EXPECT_EQ(known.front() > 0.0, satisfied) << found->first;
    ++checked;
  }
  EXPECT_EQ(checked, formulas.size());
}

// --- a second evaluator ---

struct Tree {
  Kind kind = Kind::atom;
  std::size_t signal = 0, from = 0, to = 0;
  bool open = false;                 // to the end
  std::vector<Tree> operands;
};
constexpr double infinite = std::numeric_limits<double>::infinity();

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

std::size_t first_unknown(const std::vector<double>& values) {
  std::size_t count = 0;
  while (count < values.size() && !std::isnan(values[count])) ++count;
  return count;
}

template <class Of>
std::vector<double> each(std::vector<double> values, Of of) {
  for (double& value : values) value = of(value);
  return values;
}

// Kleene: one alone decides where it is violated (and), where it holds (or).
std::vector<double> joined(const std::vector<double>& f, const std::vector<double>& g, bool all) {
  std::vector<double> values;
  for (std::size_t t = 0; t < std::max(f.size(), g.size()); ++t) {
    const double left = t < f.size() ? f[t] : unknown, right = t < g.size() ? g[t] : unknown;
    const double known = all ? std::fmin(left, right) : std::fmax(left, right);
    const bool decides = (!std::isnan(left) && !std::isnan(right)) || (all ? known < 0.0 : known > 0.0);
    values.push_back(decides ? known : unknown);
  }
  return values;
}

// To the end, or to before the next tick at which an operand is not known.
std::vector<double> open_until(const std::vector<double>& f, const std::vector<double>& g) {
  std::vector<double> values;
  for (std::size_t t = 0; t < std::min(f.size(), g.size()); ++t) {
    double value = unknown, before = infinite;
    for (std::size_t at = t; at < std::min(f.size(), g.size()) && !std::isnan(f[at]) && !std::isnan(g[at]); ++at) {
      value = std::fmax(value, std::min(g[at], before));
      before = std::min(before, f[at]);
    }
    values.push_back(value);
  }
  return values;
}

// The definitions, tick by tick, over stored samples.
std::vector<double> by_definition(const Tree& tree, const std::vector<std::vector<double>>& signals) {
  if (tree.kind == Kind::atom) return signals[tree.signal];
  const std::vector<double> f = by_definition(tree.operands[0], signals);
  const std::vector<double> g = tree.operands.size() > 1 ? by_definition(tree.operands[1], signals) : f;
  if (tree.kind == Kind::negation) return each(f, [](double value) { return -value; });
  if (tree.kind == Kind::conjunction || tree.kind == Kind::disjunction) return joined(f, g, tree.kind == Kind::conjunction);
  if (tree.kind == Kind::until && tree.open) return open_until(f, g);
  std::size_t length = std::min(f.size(), g.size());
  if (tree.kind == Kind::until) length = std::min(first_unknown(f), first_unknown(g));
  std::vector<double> values;
  for (std::size_t t = 0; t + tree.from < length; ++t) {
    const std::size_t last = tree.open ? length - 1 : std::min(t + tree.to, length - 1);
    double value = unknown;
    for (std::size_t at = t + tree.from; at <= last; ++at) {
      if (tree.kind == Kind::always) value = std::fmin(value, f[at]);        // fmin and fmax take what is known of the two
      if (tree.kind == Kind::eventually) value = std::fmax(value, f[at]);
      if (tree.kind != Kind::until) continue;
      double reached = g[at];
      for (std::size_t before = t; before < at; ++before) reached = std::min(reached, f[before]);
      value = std::fmax(value, reached);
    }
    values.push_back(value);
  }
  return values;
}

using Chance = std::mt19937;
std::size_t one_of(Chance& chance, std::size_t count) { return chance() % count; }

Tree random_tree(Chance& chance, int depth) {
  Tree tree;
  tree.kind = depth == 0 ? Kind::atom : static_cast<Kind>(one_of(chance, 7));
  tree.signal = one_of(chance, 3);
  if (tree.kind == Kind::atom) return tree;
  if (tree.kind >= Kind::always) {
    tree.from = one_of(chance, 5);
    tree.to = tree.from + one_of(chance, 7);
  }
  const bool two = tree.kind == Kind::conjunction || tree.kind == Kind::disjunction || tree.kind == Kind::until;
  for (int i = 0; i < (two ? 2 : 1); ++i) tree.operands.push_back(random_tree(chance, depth - 1));
  return tree;
}

int add(TemporalFormula& formula, const Tree& tree) {
  if (tree.kind == Kind::atom) return formula.add(Kind::atom, static_cast<int>(tree.signal));
  const int left = add(formula, tree.operands[0]);
  const int right = tree.operands.size() > 1 ? add(formula, tree.operands[1]) : -1;
  return formula.add(tree.kind, left, right, tree.from, tree.to);
}

std::vector<double> streamed(TemporalFormula& formula, const std::vector<std::vector<double>>& signals) {
  std::vector<double> values;
  TemporalFormula::Value known;
  formula.reset();
  values.reserve(signals[0].size());
  const std::size_t before = allocations;
  for (std::size_t tick = 0; tick < signals[0].size(); ++tick) {
    const TemporalFormula::Value atoms[] = {{signals[0][tick], 0}, {signals[1][tick], 1}, {signals[2][tick], 2}};
    const bool got = formula.push(atoms, known);
    EXPECT_EQ(got, tick >= formula.horizon());
    if (got) values.push_back(known.margin);
  }
  while (formula.conclude(known)) values.push_back(known.margin);
  EXPECT_EQ(allocations, before);
  return values;
}

TEST(TemporalFormula, AgreesWithTheDefinitionsOnRandomFormulas) {
  Chance chance(20100905);
  for (int round = 0; round < 10000; ++round) {
    const Tree tree = random_tree(chance, 4);
    TemporalFormula formula;
    add(formula, tree);
    formula.ready();
    for (int run = 0; run < 2; ++run) {   // the second after a reset
      std::vector<std::vector<double>> signals(3, std::vector<double>(1 + one_of(chance, 50)));
      for (auto& signal : signals) {
        signal.resize(signals[0].size());
        for (double& sample : signal) sample = static_cast<double>(one_of(chance, 19)) - 9.0;
      }
      ASSERT_THAT(streamed(formula, signals), testing::Pointwise(testing::NanSensitiveDoubleEq(), by_definition(tree, signals)))
          << "formula " << round;
    }
  }
}

// Operators to the end of the window stand outside of those with an end.
Tree random_open_tree(Chance& chance, int depth, int& operators) {
  Tree tree;
  tree.kind = static_cast<Kind>(1 + one_of(chance, 6));
  if (depth == 0 || (tree.kind >= Kind::always && operators == 0)) return random_tree(chance, 2);
  const bool two = tree.kind == Kind::conjunction || tree.kind == Kind::disjunction || tree.kind == Kind::until;
  if (tree.kind >= Kind::always) {
    tree.open = true;
    --operators;
    if (!two && one_of(chance, 3) == 0) tree.from = one_of(chance, 5);
  }
  for (int i = 0; i < (two ? 2 : 1); ++i)
    tree.operands.push_back(tree.from > 0 ? random_tree(chance, 2) : random_open_tree(chance, depth - 1, operators));
  return tree;
}

std::string text_of(const Tree& tree) {
  static const char* const atoms[] = {"x > 0", "y > 0", "T > 0"};
  if (tree.kind == Kind::atom) return atoms[tree.signal];
  const std::string left = "(" + text_of(tree.operands[0]) + ")";
  const std::string right = tree.operands.size() > 1 ? "(" + text_of(tree.operands[1]) + ")" : "";
  const std::string to = tree.open ? "end" : std::to_string(tree.to) + " s";
  const std::string window = tree.open && tree.from == 0 ? " " : "[" + std::to_string(tree.from) + " s, " + to + "] ";
  switch (tree.kind) {
    case Kind::negation: return "not " + left;
    case Kind::conjunction: return left + " and " + right;
    case Kind::disjunction: return left + " or " + right;
    case Kind::always: return "always" + window + left;
    case Kind::eventually: return "eventually" + window + left;
    default: return left + " until" + window + right;
  }
}

// The margin of each form from the values of all ticks; NaN: nothing is known.
double gathered(sim::ExpectationSource::Form form, const std::vector<double>& values) {
  using Form = sim::ExpectationSource::Form;
  if (form == Form::at_opening) return values.empty() ? unknown : values.front();
  double margin = unknown;
  for (const double value : values) {
    if (form == Form::always) margin = std::fmin(margin, value);
    if (form == Form::never) margin = std::fmin(margin, -value);
    if (form == Form::eventually) margin = std::fmax(margin, value);
  }
  return margin;
}

TEST(TemporalFormula, SpeaksToTheEndOfTheWindowAsTheDefinitionsDo) {
  Chance chance(20040907);
  const sim::SignalTable signals = table();
  std::size_t known = 0;
  for (int round = 0; round < 10000 && !testing::Test::HasFailure(); ++round) {
    int operators = 3;
    const Tree tree = random_open_tree(chance, 4, operators);
    std::vector<std::vector<double>> samples(3, std::vector<double>(1 + one_of(chance, 40)));
    for (auto& signal : samples) {
      signal.resize(samples[0].size());
      for (double& sample : signal) sample = 2.0 * static_cast<double>(one_of(chance, 10)) - 9.0;   // never on the boundary
    }
    sim::ExpectationSource source;
    source.form = static_cast<sim::ExpectationSource::Form>(one_of(chance, 4));
    source.name = source.predicate = text_of(tree);
    sim::Expectations expectations({source}, signals, {}, 1.0);
    std::vector<double> frame(signals.signals().size(), 0.0);
    const std::size_t before = allocations;
    for (std::size_t tick = 0; tick < samples[0].size(); ++tick) {
      for (std::size_t i = 0; i < 3; ++i) frame[i] = samples[i][tick];
      expectations.tick(frame, static_cast<double>(tick), 0);
    }
    expectations.finish();
    EXPECT_EQ(allocations, before);
    const double margin = gathered(source.form, by_definition(tree, samples));
    const sim::ExpectationResult result = expectations.results().front();
    ASSERT_EQ(result.judged, !std::isnan(margin)) << source.predicate;
    if (!result.judged) continue;
    ASSERT_DOUBLE_EQ(result.margin, margin) << source.predicate << " form " << static_cast<int>(source.form);
    ++known;
  }
  EXPECT_GT(known, 5000u);
}

// By hand. Latched: whenever x passes 5, y is on from then to the end. x passes at 2 s; y goes off at 5 s: violated by 0.5 - 0 from
// then on, which is settled there, not at the end.
TEST(TemporalFormula, TellsAtOnceWhatNoFutureCanMend) {
  using Form = sim::ExpectationSource::Form;
  const sim::SignalTable signals = table();
  sim::ExpectationSource source;
  source.name = "latched";
  source.form = Form::always;
  source.predicate = "x > 5 implies always y > 0.5";
  sim::Expectations expectations({source}, signals, {}, 1.0);
  const double x[] = {1, 1, 9, 1, 1, 1, 1, 1}, y[] = {0, 0, 1, 1, 1, 0, 1, 1};
  std::vector<double> frame(signals.signals().size(), 0.0);
  for (int tick = 0; tick < 8; ++tick) {
    frame[0] = x[tick];
    frame[1] = y[tick];
    expectations.tick(frame, tick, 0);
    EXPECT_EQ(expectations.violated().size(), tick == 5 ? 1u : 0u) << tick;
  }
  expectations.finish();
  const sim::ExpectationResult result = expectations.results().front();
  EXPECT_DOUBLE_EQ(result.margin, -0.5);
  EXPECT_DOUBLE_EQ(result.failed_s, 5.0);
  EXPECT_DOUBLE_EQ(result.at_s, 2.0);
  EXPECT_EQ(result.ticks, 8u);
}

TEST(TemporalFormula, TakesTheFormulasOfTheFalsificationBenchmarks) {
  // From memory: the automatic transmission of the ARCH friendly competition. Signals made by hand, margins by hand.
  std::vector<double> speed, rpm;
  for (int t = 0; t <= 30; ++t) {
    speed.push_back(4.0 * t);           // 4 s: 16, 8 s: 32, 20 s: 80
    rpm.push_back(1000.0 + 60.0 * t);   // 10 s: 1600, 30 s: 2800
  }
  const Samples samples = {{"rpm", rpm}, {"speed", speed}};
  EXPECT_DOUBLE_EQ(margins("always[0 s, 20 s] speed < 120", samples).front(), 40.0);
  EXPECT_DOUBLE_EQ(margins("always[0 s, 10 s] rpm < 4750", samples).front(), 3150.0);
  const std::string slow = "(always[0 s, 30 s] rpm < 3000) implies (always[0 s, ";
  EXPECT_DOUBLE_EQ(margins(slow + "4 s] speed < 35)", samples).front(), 19.0);    // max(-200, 35 - 16)
  EXPECT_DOUBLE_EQ(margins(slow + "8 s] speed < 50)", samples).front(), 18.0);    // max(-200, 50 - 32)
  EXPECT_DOUBLE_EQ(margins(slow + "20 s] speed < 65)", samples).front(), -15.0);  // max(-200, 65 - 80)
}

std::string refusal(const std::string& text, double period_s) {
  try {
    const sim::SignalTable signals = table();
    Expression formula(text, signals, period_s);
  } catch (const sim::ExpressionError& error) {
    return error.what();
  }
  return "";
}

TEST(TemporalFormula, RefusesWindowsItCannotTake) {
  EXPECT_THAT(refusal("always[0 s, 25 h] x < 1", 0.1), testing::HasSubstr("900000 ticks together; expected at most 864000"));
  EXPECT_THAT(refusal("always[2 s, 1 s] x < 1", 0.1), testing::HasSubstr("ends before it begins"));
  EXPECT_THAT(refusal("always[0.3 s, 0.4 s] x < 1", 1.0), testing::HasSubstr("holds no tick"));
  EXPECT_THAT(refusal("always[0 s, 1 Pa] x < 1", 1.0), testing::HasSubstr("no time"));
  EXPECT_THAT(refusal("always[0 s, 1 s] x < 1", 0.0), testing::HasSubstr("past and present"));
  EXPECT_THAT(refusal("held_for(always[0 s, 1 s] x < 1) < 2 s", 1.0), testing::HasSubstr("inside a"));
  EXPECT_EQ(refusal("x < 1 until[0 s, 24 h] y > 1", 0.1), "");
  EXPECT_THAT(refusal("always[0 s, 5 s] eventually x < 1", 1.0), testing::HasSubstr("inside one with an end"));
  EXPECT_THAT(refusal("x < 1 until[5 s, end] y > 1", 1.0), testing::HasSubstr("other than 0 s"));
  EXPECT_THAT(refusal("always eventually always eventually always x < 1", 1.0), testing::HasSubstr("more than 4"));
  EXPECT_THAT(refusal("always x < 1", 0.0), testing::HasSubstr("past and present"));
}

sim::ExpectationResult judged(sim::ExpectationSource::Form form, const std::string& predicate, const std::vector<double>& x,
                              double to_s = -1.0) {
  sim::ExpectationSource source;
  source.name = "it";
  source.form = form;
  source.predicate = predicate;
  source.to_s = to_s;
  const sim::SignalTable signals = table();
  sim::Expectations expectations({source}, signals, {}, 1.0);
  std::vector<double> frame(signals.signals().size(), 0.0);
  const std::size_t before = allocations;
  for (std::size_t tick = 0; tick < x.size(); ++tick) {
    frame[0] = x[tick];
    expectations.tick(frame, static_cast<double>(tick), 0);
  }
  expectations.finish();
  EXPECT_EQ(allocations, before);
  return expectations.results().front();
}

TEST(TemporalFormula, IsJudgedAtTheTickItSpeaksOf) {
  using Form = sim::ExpectationSource::Form;
  // By hand: a value above 5 must be below 2 two ticks later. Violated by the tick 2 (9, then 3, 4): margin max(5-9, 2-4) = -2.
  sim::ExpectationResult result = judged(Form::always, "x > 5 implies always[2 s, 2 s] x < 2", {1, 1, 9, 3, 4, 1, 1});
  EXPECT_DOUBLE_EQ(result.margin, -2.0);
  EXPECT_DOUBLE_EQ(result.failed_s, 2.0);
  EXPECT_DOUBLE_EQ(result.at_s, 2.0);
  EXPECT_EQ(result.ticks, 7u);   // the last two have nothing two ticks later, but with 1 there is nothing to be met
  // The window of the item ends at 3 s: what comes after it counts for nothing. Ticks 0, 1: margins 4 and 4.
  result = judged(Form::always, "x > 5 implies always[2 s, 2 s] x < 2", {1, 1, 1, 1, 9, 9, 9}, 3.0);
  EXPECT_TRUE(result.pass);
  EXPECT_DOUBLE_EQ(result.margin, 4.0);
  EXPECT_EQ(result.ticks, 4u);
  // Kleene. A conjunction whose left operand is violated (x = 9: 5-9 = -4) at the last tick is violated, whatever would have come; where
  // the left one holds it is not judged: of 1 1 1 9 the ticks 0, 1 (margin 4 and 5-9 = -4) and the last.
  result = judged(Form::always, "x < 5 and always[2 s, 2 s] x < 20", {1, 1, 1, 9});
  EXPECT_DOUBLE_EQ(result.margin, -4.0);
  EXPECT_DOUBLE_EQ(result.failed_s, 3.0);
  EXPECT_EQ(result.ticks, 3u);
  result = judged(Form::at_opening, "x < 5 and always[2 s, 2 s] x < 20", {1, 1});   // the opening is not known: nothing is judged
  EXPECT_FALSE(result.judged);
  // Cut short: over what there is. Least of 5-x over 1, 2, 3: 2.
  result = judged(Form::at_opening, "always[0 s, 10 s] x < 5", {1, 2, 3});
  EXPECT_DOUBLE_EQ(result.margin, 2.0);
  EXPECT_EQ(result.ticks, 1u);
  result = judged(Form::at_opening, "x < 5", {1, 7, 7});
  EXPECT_DOUBLE_EQ(result.margin, 4.0);
  // Greatest over starts of the least over three ticks: 5-x is 1 -2 2 3 4 0: windows -2 -2 2 0 0 0.
  result = judged(Form::eventually, "always[0 s, 2 s] x < 5", {4, 7, 3, 2, 1, 5});
  EXPECT_DOUBLE_EQ(result.margin, 2.0);
  EXPECT_DOUBLE_EQ(result.at_s, 2.0);
}

TEST(TemporalFormula, CountsNothingAfterItsWindowHasEndedBeforeItsFirstValueWasKnown) {
  sim::ExpectationSource source;
  source.name = "to the first y";
  source.predicate = "always[0 s, 3 s] x < 5";
  source.until = "y > 0.5";
  const sim::SignalTable signals = table();
  sim::Expectations expectations({source}, signals, {}, 1.0);
  std::vector<double> frame(signals.signals().size(), 0.0);
  for (int tick = 0; tick < 12; ++tick) {
    frame[0] = tick == 5 ? 9.0 : 1.0;   // long after the end
    frame[1] = tick == 1 ? 1.0 : 0.0;   // ends the window at the second tick
    expectations.tick(frame, tick, 0);
  }
  expectations.finish();
  const sim::ExpectationResult result = expectations.results().front();
  EXPECT_TRUE(result.pass);
  EXPECT_DOUBLE_EQ(result.margin, 4.0);
  EXPECT_EQ(result.ticks, 1u);
}

}  // namespace
