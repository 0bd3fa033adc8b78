// Scenarios, furnaces and controllers as files: what is read, what is written, what is refused.
#include "sim/scenario.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstring>

#include "sim/description.h"
#include "sim/mistake_file.h"
#include "sim/programme_file.h"
#include "sim/schema.h"
#include "tests/checkout.h"
#include "tests/sim/shipped_files.h"

namespace {

using sim::InputError;
using sim::Scenario;

const std::filesystem::path configs = std::filesystem::path(source_folder) / "configs";

const char* const small = R"(title: small
furnace: furnace.yaml
controller: controller.yaml
line: {baud: 115200}
run: {at_most: 2 h}
programme:
  - name: empty
    evacuate: {below: 15 Pa abs, timeout: 15 min}
  - name: fill
    backfill: {to: 4 kPa gauge, gas: argon, flow: 5 slm}
  - name: up
    ramp: {to: 500 degC, rate: 8 K/min, flow: 0.6 slm}
  - name: soak
    soak: {for: 30 min, within: 10 K, counted_on: load}
  - repeat: {back_to: up, times: 2}
  - end:
programmes:
  - name: short
    stored: no
    segments:
      - name: stay
        wait: {for: 1 min}
      - end:
actions:
  - hold:
    segment: soak
    after: 10 min
  - load: short
    segment: "short: stay"
    expect: refused
  - set_flow: 1 slm
    when: plant.load.core > 400 degC
  - acknowledge:
    event: {source: alarm, kind: raised, text: oxygen high}
    after: 30 s
    every: 10 min
    times: 5
faults:
  - thermocouple_open: {channel: load}
    segment: up
    for: 5 min
  - mains_dip: {scale: 0.7}
    segment: soak
    random: {rate: 3 /h, shortest: 0.2 s, longest: 5 s}
mistakes:
  - wrong_bottle: {gas: nitrogen, instead_of: argon}
  - decimal_slip: {parameter: heat.gains.1.gain, factor: 10}
    at: 10 min
expectations:
  - name: gauge
    never: plant.gas.gauge > 6 kPa
    during_segment: [up, soak]
  - name: vacuum
    eventually: vacuum.pv < 15 Pa abs
    within: 15 min
    during_phase: evacuating
)";
const char* const small_furnace = R"(title: small
boundary: retort
retort:
  volume: 12 L
  inner_diameter: 200 mm
leak: 1e-4 Pa m3/s
)";
const char* const small_controller = R"(title: small
unit:
  period: 100 ms
  retort_ceramic: yes
  chamber_volume: 12 L
heat:
  gains:
    1: {gain: 0.02 1/K, integral: 600 s}
)";

struct Files {
  std::filesystem::path folder;
  explicit Files(const std::string& name) : folder(shipped::scratch(name)) {
    shipped::write(folder / "scenario.yaml", small);
    shipped::write(folder / "furnace.yaml", small_furnace);
    shipped::write(folder / "controller.yaml", small_controller);
  }
  Scenario load(const std::vector<std::string>& overrides = {}) const { return sim::load_scenario(folder / "scenario.yaml", overrides); }
};

void expect_same(const Scenario& a, const Scenario& b) {
  EXPECT_EQ(a.name, b.name);
  EXPECT_EQ(a.title, b.title);
  EXPECT_EQ(a.why, b.why);
  EXPECT_EQ(a.seed, b.seed);
  EXPECT_EQ(a.baud, b.baud);
  EXPECT_EQ(a.furnace_title, b.furnace_title);
  EXPECT_EQ(a.controller_title, b.controller_title);
  EXPECT_EQ(std::memcmp(&a.parameters, &b.parameters, sizeof a.parameters), 0);
  EXPECT_EQ(sim::write_furnace({"", a.furnace}, 0), sim::write_furnace({"", b.furnace}, 0));
  EXPECT_EQ(a.programme.names, b.programme.names);
  ASSERT_EQ(a.programme.segments.size(), b.programme.segments.size());
  for (std::size_t i = 0; i < a.programme.segments.size(); ++i)
    EXPECT_EQ(std::memcmp(&a.programme.segments[i], &b.programme.segments[i], sizeof(fw::Segment)), 0) << a.programme.names[i];
  ASSERT_EQ(a.programmes.size(), b.programmes.size());
  for (std::size_t i = 0; i < a.programmes.size(); ++i) {
    EXPECT_EQ(a.programmes[i].name, b.programmes[i].name);
    EXPECT_EQ(a.programmes[i].stored, b.programmes[i].stored);
    EXPECT_EQ(sim::write_programme(a.programmes[i].programme, 0), sim::write_programme(b.programmes[i].programme, 0));
  }
  EXPECT_EQ(sim::write_mistakes(a.mistakes, 0), sim::write_mistakes(b.mistakes, 0));
  ASSERT_EQ(a.actions.size(), b.actions.size());
  for (std::size_t i = 0; i < a.actions.size(); ++i) {
    EXPECT_EQ(a.actions[i].command, b.actions[i].command);
    EXPECT_EQ(a.actions[i].argument, b.actions[i].argument);
    EXPECT_EQ(a.actions[i].value, b.actions[i].value);
    EXPECT_EQ(a.actions[i].when.condition, b.actions[i].when.condition);
    EXPECT_EQ(a.actions[i].when.after_s, b.actions[i].when.after_s);
    EXPECT_EQ(a.actions[i].when.event.text, b.actions[i].when.event.text);
    EXPECT_EQ(a.actions[i].when.every_s, b.actions[i].when.every_s);
    EXPECT_EQ(a.actions[i].when.times, b.actions[i].when.times);
    EXPECT_EQ(a.actions[i].expect, b.actions[i].expect);
    EXPECT_EQ(a.actions[i].programme, b.actions[i].programme);
  }
  ASSERT_EQ(a.faults.size(), b.faults.size());
  for (std::size_t i = 0; i < a.faults.size(); ++i) {
    EXPECT_EQ(a.faults[i].kind, b.faults[i].kind);
    EXPECT_EQ(a.faults[i].values, b.faults[i].values);
    EXPECT_EQ(a.faults[i].for_s, b.faults[i].for_s);
    EXPECT_EQ(a.faults[i].text, b.faults[i].text);
    EXPECT_EQ(a.faults[i].chance.rate_per_s, b.faults[i].chance.rate_per_s);
    EXPECT_EQ(a.faults[i].chance.shortest_s, b.faults[i].chance.shortest_s);
    EXPECT_EQ(a.faults[i].chance.longest_s, b.faults[i].chance.longest_s);
    EXPECT_EQ(a.faults[i].from.segment, b.faults[i].from.segment);
  }
  ASSERT_EQ(a.expectations.size(), b.expectations.size());
  for (std::size_t i = 0; i < a.expectations.size(); ++i) {
    EXPECT_EQ(a.expectations[i].name, b.expectations[i].name);
    EXPECT_EQ(a.expectations[i].form, b.expectations[i].form);
    EXPECT_EQ(a.expectations[i].predicate, b.expectations[i].predicate);
    EXPECT_EQ(a.expectations[i].within_s, b.expectations[i].within_s);
    EXPECT_EQ(a.expectations[i].segments, b.expectations[i].segments);
    EXPECT_EQ(a.expectations[i].phases, b.expectations[i].phases);
    EXPECT_EQ(a.expectations[i].while_, b.expectations[i].while_);
    EXPECT_EQ(a.expectations[i].after, b.expectations[i].after);
    EXPECT_EQ(a.expectations[i].until, b.expectations[i].until);
  }
  EXPECT_EQ(a.record.every_s, b.record.every_s);
  EXPECT_EQ(a.run.at_most_s, b.run.at_most_s);
  EXPECT_EQ(a.run.settle_s, b.run.settle_s);
}

TEST(Scenario, HoldsWhatTheFileSays) {
  const Scenario scenario = Files("holds").load();
  EXPECT_EQ(scenario.name, "scenario");
  EXPECT_DOUBLE_EQ(scenario.run.at_most_s, 7200.0);
  EXPECT_DOUBLE_EQ(scenario.furnace.retort.volume_m3, 0.012);
  EXPECT_FLOAT_EQ(scenario.parameters.heat_gains[0].gain_per_k, 0.02f);
  ASSERT_EQ(scenario.programme.segments.size(), 6u);
  const fw::Segment& up = scenario.programme.segments[2];
  EXPECT_EQ(up.kind, fw::SegmentKind::ramp);
  EXPECT_FLOAT_EQ(up.target, 500.0f);
  EXPECT_FLOAT_EQ(up.rate, 8.0f / 60.0f);
  EXPECT_FLOAT_EQ(up.flow_slm, 0.6f);
  EXPECT_LT(up.back_pressure_pa, 0.0f);
  EXPECT_EQ(scenario.programme.segments[0].timeout_ms, 900000u);
  EXPECT_EQ(scenario.programme.segments[3].options, fw::count_on_load);
  EXPECT_EQ(scenario.programme.segments[3].duration_ms, 1800000u);
  EXPECT_EQ(scenario.programme.segments[4].jump, 2);
  EXPECT_EQ(scenario.programme.names[4], "repeat 5");
  ASSERT_EQ(scenario.actions.size(), 4u);
  EXPECT_EQ(scenario.actions[0].command, fw::Command::hold);
  EXPECT_DOUBLE_EQ(scenario.actions[0].when.after_s, 600.0);
  EXPECT_EQ(scenario.actions[1].programme, "short");
  EXPECT_EQ(scenario.actions[2].argument, 2);
  EXPECT_FLOAT_EQ(scenario.actions[2].value, 1.0f);
  ASSERT_EQ(scenario.faults.size(), 2u);
  EXPECT_EQ(scenario.faults[0].values, std::vector<double>{4.0});
  EXPECT_DOUBLE_EQ(scenario.faults[0].for_s, 300.0);
  EXPECT_FALSE(scenario.faults[0].chance.given());
  EXPECT_DOUBLE_EQ(scenario.faults[1].chance.rate_per_s, 3.0 / 3600.0);
  EXPECT_DOUBLE_EQ(scenario.faults[1].chance.shortest_s, 0.2);
  EXPECT_DOUBLE_EQ(scenario.faults[1].chance.longest_s, 5.0);
  ASSERT_EQ(scenario.expectations.size(), 2u);
  EXPECT_EQ(scenario.expectations[0].segments, (std::vector<std::string>{"up", "soak"}));
  EXPECT_EQ(scenario.expectations[1].phases, std::vector<std::string>{"evacuating"});
}

TEST(Scenario, ComesBackFromItsResolvedFile) {
  const std::filesystem::path folder = shipped::scratch("resolved");
  std::vector<Scenario> scenarios{Files("small").load()};
  for (const auto& file : shipped::yaml_files(configs / "scenarios")) scenarios.push_back(sim::load_scenario(file));
  ASSERT_GE(scenarios.size(), 4u);
  for (const Scenario& scenario : scenarios) {
    const std::filesystem::path file = folder / "resolved.yaml";
    shipped::write(file, scenario.resolved_yaml);
    const Scenario again = sim::load_scenario(file);
    expect_same(scenario, again);
    EXPECT_EQ(again.resolved_yaml, scenario.resolved_yaml) << scenario.name;
  }
}

TEST(Scenario, TakesOverrides) {
  const Files files("overrides");
  const Scenario scenario = files.load({"furnace.retort.volume=10 L", "controller.heat.gains.1.gain=0.03 1/K",
      "programme.up.ramp.rate=4 K/min",
                                        "programme.3.soak.for=1 h", "seed=7", "expectations.gauge.never=plant.gas.gauge > 5 kPa"});
  EXPECT_DOUBLE_EQ(scenario.furnace.retort.volume_m3, 0.010);
  EXPECT_FLOAT_EQ(scenario.parameters.heat_gains[0].gain_per_k, 0.03f);
  EXPECT_FLOAT_EQ(scenario.programme.segments[2].rate, 4.0f / 60.0f);
  EXPECT_EQ(scenario.programme.segments[3].duration_ms, 3600000u);
  EXPECT_EQ(scenario.seed, 7u);
  EXPECT_EQ(scenario.expectations[0].predicate, "plant.gas.gauge > 5 kPa");
  for (const char* bad : {"furnace.retort.volum=10 L", "furnace.retort.volume=10", "furnace.retort=10 L", "seed", "=1",
      "programme.9.soak.for=1 h",
                          "programme.upp.ramp.rate=4 K/min", "a..b=1"}) {
    try {
      (void)files.load({bad});
      ADD_FAILURE() << "accepted " << bad;
    } catch (const InputError& error) {
      EXPECT_NE(std::string(error.what()).find(bad), std::string::npos) << error.what();
    }
  }
}

TEST(Scenario, AppliesItsOwnSettings) {
  const Files files("settings");
  shipped::write(files.folder / "scenario.yaml", std::string(small) + "set:\n  furnace.leak: 1e-3 Pa m3/s\n");
  EXPECT_DOUBLE_EQ(files.load().furnace.leak.flow_pa_m3_s, 1e-3);
  shipped::write(files.folder / "scenario.yaml", std::string(small) + "set:\n  furnace.leek: 1e-3 Pa m3/s\n");
  try {
    (void)files.load();
    FAIL();
  } catch (const InputError& error) {
    EXPECT_EQ(error.nearest, "leak");
    EXPECT_EQ(error.line, std::count(small, small + std::strlen(small), '\n') + 2);
  }
}

struct Broken {
  const char* what;
  const char* file;        // which of the three is spoilt
  const char* from;        // a piece of it; the error is expected in the line in which it stands
  const char* to;
  const char* message;     // part of the message
};

// Each is one edit of a file that is good.
const Broken broken[] = {
    {"no gauge or abs", "scenario", "4 kPa gauge", "4 kPa", "gauge, abs or diff"},
    {"abs for gauge", "scenario", "4 kPa gauge", "4 kPa abs", "`gauge`"},
    {"gauge for abs", "scenario", "15 Pa abs, ", "15 Pa gauge, ", "`abs`"},
    {"bare number", "scenario", "5 slm", "5", "slm, sccm"},
    {"unknown unit", "scenario", "30 min", "30 minutes", "unknown unit"},
    {"length for time", "scenario", "30 min", "30 m", "length"},
    {"decimal comma", "scenario", "0.6 slm", "'0,6 slm'", "decimal point"},
    {"kelvin for a temperature", "scenario", "500 degC", "500 K", "degC"},
    {"degC for a difference", "scenario", "10 K", "10 degC", "difference in K"},
    {"not a number", "scenario", "500 degC", "nan degC", "finite"},
    {"infinite", "scenario", "500 degC", "inf degC", "finite"},
    {"absurd temperature", "scenario", "500 degC", "50000 degC", "1800 degC"},
    {"rate zero", "scenario", "8 K/min", "0 K/min", "for `rate`"},
    {"rate negative", "scenario", "8 K/min", "-8 K/min", "for `rate`"},
    {"neither rate nor time", "scenario", "rate: 8 K/min, ", "", "neither"},
    {"rate and time", "scenario", "rate: 8 K/min", "rate: 8 K/min, in: 1 h", "`in`"},
    {"unknown gas", "scenario", "argon", "argonn", "nearest: argon"},
    {"unknown kind of segment", "scenario", "    soak:", "    soack:", "nearest: soak"},
    {"two kinds in one segment", "scenario", "    soak: {for", "    wait: {for: 1 min}\n    soak: {for", "second kind"},
    {"segment named twice", "scenario", "name: soak", "name: up", "second segment named `up`"},
    {"repeat to nowhere", "scenario", "back_to: up", "back_to: upp", "nearest: up"},
    {"repeat no times", "scenario", "times: 2", "times: 0", "1 to 9999"},
    {"half a repeat", "scenario", "times: 2", "times: 2.5", "whole number"},
    {"no end", "scenario", "  - end:", "  - wait: {for: 1 min}", "`end`"},
    {"end too soon", "scenario", "  - name: up", "  - end:\n  - name: up", "before the last"},
    {"list for a map", "scenario", "line: {baud: 115200}", "line: [115200]", "a map"},
    {"map for a value", "scenario", "baud: 115200", "baud: {a: 1}", "whole number"},
    {"line too slow", "scenario", "115200", "19200", "period"},
    {"line half as slow", "scenario", "115200", "20000", "% of the 100 ms period"},
    {"unknown fault", "scenario", "thermocouple_open", "thermocouple_opens", "nearest: thermocouple_open"},
    {"unknown channel", "scenario", "channel: load", "channel: lode", "nearest: load"},
    {"fault in no segment", "scenario", "segment: up", "segment: down", "unknown segment"},
    {"half of a chance", "scenario", "rate: 3 /h, shortest: 0.2 s, longest: 5 s", "rate: 3 /h, longest: 5 s", "without `shortest`"},
    {"bounds the wrong way round", "scenario", "shortest: 0.2 s", "shortest: 20 s", "at least `shortest`, 20 s"},
    {"a chance too often", "scenario", "rate: 3 /h", "rate: 3 /s", "for `random.rate`"},
    {"unknown signal", "scenario", "never: plant.gas.gauge", "never: plant.gas.gage", "plant.gas.gauge"},
    {"wrong dimension in an expectation", "scenario", "> 6 kPa", "> 6 K", "6 K"},
    {"no truth", "scenario", "never: plant.gas.gauge > 6 kPa", "never: plant.gas.gauge", "expected a truth"},
    {"a window that looks ahead", "scenario", "    during_phase: evacuating", "    while: always[0 s, 1 s] pressure.pv < 1 kPa",
     "past and present"},
    {"a look ahead that ends before it begins", "scenario", "never: plant.gas.gauge >", "never: always[2 s, 1 s] plant.gas.gauge >",
     "before it"},
    {"expectation in no segment", "scenario", "[up, soak]", "[up, soke]", "nearest: soak"},
    {"expectation in no phase", "scenario", "during_phase: evacuating", "during_phase: evacuated", "nearest: evacuating"},
    {"expectation named twice", "scenario", "name: vacuum", "name: gauge", "second expectation"},
    {"within beside never", "scenario", "never: plant", "within: 1 min\n    never: plant", "`within` beside"},
    {"two statements", "scenario", "    within: 15 min", "    always: vacuum.pv < 1 kPa abs", "together"},
    {"action with a value it has not", "scenario", "hold:", "hold: 3", "no value"},
    {"action without its value", "scenario", "set_flow: 1 slm", "set_flow:", "nothing"},
    {"two moments", "scenario", "    when: plant.load.core > 400 degC", "    at: 5 s\n    phase: holding", "together"},
    {"a programme that does not exist", "scenario", "load: short", "load: shrt", "nearest: short"},
    {"a segment of no programme", "scenario", "short: stay", "short: stya", "nearest: short: stay"},
    {"a programme without its name", "scenario", "  - name: short\n    stored", "  - stored", "no `name`"},
    {"a programme without segments", "scenario", "    stored: no\n    segments:", "    stored: no\n    segmets:", "nearest: segments"},
    {"neither accepted nor refused", "scenario", "expect: refused", "expect: refuse", "nearest: refused"},
    {"a mistake that changes nothing", "scenario", "gas: nitrogen", "gas: argon", "the right gas"},
    {"an alarm that does not exist", "scenario", "text: oxygen high", "text: oxigen high", "nearest: oxygen high"},
    {"an event of no source", "scenario", "source: alarm, kind", "kind", "without `source`"},
    {"an event and a time", "scenario", "    every: 10 min", "    at: 5 s", "together"},
    {"times of what comes once", "scenario", "    when: plant.load.core > 400 degC", "    times: 3", "can come again"},
    {"no times at all", "scenario", "times: 5", "times: 0", "1 to"},
    {"no such furnace", "scenario", "furnace.yaml", "furness.yaml", "relative to this one"},
    {"an alias", "scenario", "title: small", "title: *small", "anchor is not defined"},
    {"an anchor", "scenario", "title: small", "title: &a small", "anchor"},
    {"a tag", "scenario", "title: small", "title: !!str small", "tag"},
    {"a merge key", "scenario", "line: {baud: 115200}", "line: {<<: 1}", "merge key"},
    {"a tab", "scenario", "  - name: up", "\t- name: up", "a tab"},
    {"not UTF-8", "scenario", "title: small", "title: \xff small", "UTF-8"},
    {"Latin-1", "scenario", "title: small", "title: 20 \xb0 C", "UTF-8"},
    {"a control character", "scenario", "title: small", "title: \x01 small", "control character"},
    {"not YAML", "scenario", "[up, soak]", "[up, soak", "YAML"},
    {"negative volume", "furnace", "12 L", "-12 L", "0.0001 m3"},
    {"unknown boundary", "furnace", "boundary: retort", "boundary: retorte", "nearest: retort"},
    {"wrong unit in the furnace", "furnace", "200 mm", "200 kg", "length"},
    {"unknown parameter", "controller", "chamber_volume", "chambre_volume", "nearest: chamber_volume"},
    {"gain without unit", "controller", "0.02 1/K", "0.02", "1/K"},
    {"period in half milliseconds", "controller", "100 ms", "100.5 ms", "whole number of ms"},
    {"period out of bounds", "controller", "100 ms", "5 s", "1000 ms"},
    {"neither yes nor no", "controller", "retort_ceramic: yes", "retort_ceramic: maybe", "yes or no"},
};

TEST(Scenario, RefusesBrokenFilesWithLineAndReason) {
  const Files files("broken");
  EXPECT_GE(std::size(broken), 30u);
  for (const Broken& item : broken) {
    const std::filesystem::path file = files.folder / (std::string(item.file) + ".yaml");
    const std::string good = shipped::read(file);
    const std::size_t at = good.find(item.from);
    ASSERT_NE(at, std::string::npos) << item.what;
    std::string text = good;
    text.replace(at, std::string(item.from).size(), item.to);
    const int first = 1 + static_cast<int>(std::count(good.begin(), good.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
    const int lines = 1 + static_cast<int>(std::count(item.to, item.to + std::string(item.to).size(), '\n'));
    shipped::write(file, text);
    try {
      (void)files.load();
      ADD_FAILURE() << "accepted: " << item.what;
    } catch (const InputError& error) {
      const std::string message = error.what();
      EXPECT_NE(message.find(item.message), std::string::npos) << item.what << ": " << message;
      EXPECT_TRUE(error.line >= first && error.line < first + lines + (item.message == std::string("YAML") ? 1 : 0))
          << item.what << ", line " << first << ": " << message;
      EXPECT_EQ(std::filesystem::path(error.file).filename(), file.filename()) << message;
    }
    shipped::write(file, good);
  }
  EXPECT_NO_THROW((void)files.load());
}

std::string refusal(const std::filesystem::path& file) {
  try {
    (void)sim::load_scenario(file);
  } catch (const InputError& error) {
    return error.what();
  }
  return "";
}

struct BadExpression {
  const char* text;
  int character;               // at which it is wrong
  const char *found, *expected, *nearest;
};

// One of each kind: of the parser, of units, of names, codes and bits, of quantities that do not belong together, of windows.
const BadExpression bad_expressions[] = {
    {"pressure.pv <", 14, "the end of the expression", "a number with its unit, a signal, a function or `(`", ""},
    {"pressure.pv = 6 kPa", 13, "`=`", "`==`, `<=` or `>=`", ""},
    {"pressure.pv < 6 kpa", 17, "the unknown unit `kpa`", "a unit", "kPa"},
    {"presure.pv < 6 kPa", 1, "`presure.pv`, which is no signal", "a signal", "pressure.pv"},
    {"zzzzzzzzzz < 6 kPa", 1, "`zzzzzzzzzz`, which is no signal", "a signal", ""},
    {"travell(pressure.out) < 4", 1, "the function `travell`",
     "abs, min, max, rise, travel, reversals, elapsed, past, time_when, last_when or held_for", "travel"},
    {"abs(pressure.out, 1) < 4", 1, "2 arguments of `abs`", "1", ""},
    {"min(pressure.out) < 4", 1, "1 argument of `min`", "two or more", ""},
    {"elapsed(3) < 4 s", 1, "1 argument of `elapsed`", "none", ""},
    {"programme.state == runing", 20, "`runing`",
     "idle, running, held, stopping, stopped, aborting, aborted or complete", "running"},
    {"held", 1, "`held` by itself", "a comparison with its signal, such as programme.state == held", ""},
    {"programme.state + 1 > 2", 1, "`programme.state`, which is a code", "a quantity (a code stands only beside == or !=)", ""},
    {"alarms.bits + 1 > 2", 1, "`alarms.bits`, which is bits, as a quantity",
     "`> 0` (some bit is set), or == or != and a value of all bits", ""},
    {"pressure.pv", 1, "a gauge pressure",
     "a truth: a comparison (<, <=, >, >=, ==, !=), or such joined by and, or, not, implies", ""},
    {"pressure.pv < 6", 13, "a gauge pressure beside a pure number", "the same quantity on both sides", ""},
    {"pressure.pv < 6 kPa abs", 13, "a gauge pressure beside an abs pressure",
     "pressures with the same reference: gauge, abs or diff", ""},
    {"heat.1.pv < 10 K", 11, "a temperature (degC) beside a temperature difference (K)", "degC beside degC, or K beside K", ""},
    {"plant.power < 10 kWh", 13, "power (W) beside energy (kWh)", "the same quantity on both sides", ""},
    {"always[0 s, 1 s] elapsed() < 3 s", 1, "an operator over a window to come",
     "a condition on past and present (windows stand only in what is judged)", ""},
};

// The file's text with one piece of it replaced by key and expression, quoted or not; what the message must be.
void expect_said_once(const Files& files, const std::string& piece, const std::string& before, const std::string& after,
                      const BadExpression& bad) {
  std::string text = small;
  const std::size_t at = text.find(piece);
  ASSERT_NE(at, std::string::npos) << piece;
  text.replace(at, piece.size(), before + bad.text + after);
  const std::size_t wrong = at + before.size() + static_cast<std::size_t>(bad.character) - 1;
  const std::size_t line_begins = text.rfind('\n', wrong - 1) + 1;
  const auto line = 1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(line_begins), '\n');
  const std::filesystem::path file = files.folder / "scenario.yaml";
  shipped::write(file, text);
  std::string expected = file.generic_string() + ":" + std::to_string(line) + ":" + std::to_string(wrong - line_begins + 1);
  expected += std::string(": found ") + bad.found + " (character " + std::to_string(bad.character) + " of `" + bad.text + "`)";
  expected += std::string("; expected ") + bad.expected;
  if (*bad.nearest != 0) expected += std::string("; nearest: ") + bad.nearest;
  EXPECT_EQ(refusal(file), expected);
}

TEST(Scenario, SaysOnceWhatAnExpressionHasWrongWhereverItStands) {
  const Files files("expressions");
  for (const BadExpression& bad : bad_expressions) {
    const bool ahead = std::string(bad.text).find('[') != std::string::npos;   // what is judged may look ahead
    if (!ahead) expect_said_once(files, "never: plant.gas.gauge > 6 kPa", "never: ", "", bad);
    if (!ahead) expect_said_once(files, "never: plant.gas.gauge > 6 kPa", "never: '", "'", bad);
    expect_said_once(files, "when: plant.load.core > 400 degC", "when: ", "", bad);
    expect_said_once(files, "during_phase: evacuating", "while: ", "", bad);
    expect_said_once(files, "during_phase: evacuating", "after: \"", "\"", bad);
    expect_said_once(files, "never: plant.gas.gauge > 6 kPa", "holds_for: {at_least: 3 s, condition: \"", "\"}", bad);
  }
  expect_said_once(files, "never: plant.gas.gauge > 6 kPa", "never: ", "",
                   {"always[2 s, 1 s] elapsed() < 3 s", 1, "a window that ends before it begins",
                    "its earlier end first, as in [0 s, 4 min]", ""});
}

// A ready word's arguments: each by itself, then what they come to together, in the words it stands for.
TEST(Scenario, SaysOnceWhatAReadyWordsArgumentHasWrong) {
  const Files files("words");
  const std::string piece = "never: plant.gas.gauge > 6 kPa";
  for (const BadExpression& bad : {BadExpression{"heat.1.pw", 1, "`heat.1.pw`, which is no signal", "a signal", "heat.1.pv"},
                                   BadExpression{"heat.1.pv +", 12, "`)`",
                                                 "a number with its unit, a signal, a function or `(`", ""},
                                   BadExpression{"programme.state", 1, "`programme.state`, which is a code",
                                                 "a quantity (a code stands only beside == or !=)", ""},
                                   BadExpression{"1 > 2", 3, "a truth", "a quantity", ""}})
    expect_said_once(files, piece, "tracks: {target: 500 degC, within: 5 K, signal: ", "}", bad);
  std::string text = small;
  text.replace(text.find(piece), piece.size(), "tracks: {signal: heat.1.pv, target: 500 degC, within: 5 Pa}");
  shipped::write(files.folder / "scenario.yaml", text);
  EXPECT_NE(refusal(files.folder / "scenario.yaml")
                .find("found a temperature difference (K) beside a pressure in what `tracks` stands for (character 27 of "
                      "`abs(heat.1.pv - 500 degC) <= 5 Pa`); expected the same quantity on both sides"),
            std::string::npos)
      << refusal(files.folder / "scenario.yaml");
}

TEST(Scenario, RefusesFilesThatAreNoneAtAll) {
  const Files files("none");
  const std::filesystem::path file = files.folder / "other.yaml";
  EXPECT_NE(refusal(file).find("no readable file"), std::string::npos);
  EXPECT_NE(refusal(files.folder).find("a directory"), std::string::npos);
  shipped::write(file, "");
  EXPECT_NE(refusal(file).find("empty"), std::string::npos);
  shipped::write(file, "# nothing but a comment\n");
  EXPECT_NE(refusal(file).find("other.yaml"), std::string::npos);
  shipped::write(file, "- a\n- list\n");
  EXPECT_NE(refusal(file).find("a map"), std::string::npos);
  shipped::write(file, std::string(small) + "---\n" + small);
  EXPECT_NE(refusal(file).find("second document"), std::string::npos);
  shipped::write(file, "title: " + std::string(10u << 20, 'x') + "\n");
  EXPECT_NE(refusal(file).find("at most 1 MiB"), std::string::npos);
  shipped::write(file, "title: " + std::string(10000, '[') + "\n");
  EXPECT_NE(refusal(file), "");
  for (const char* key : {"title", "furnace", "controller", "programme"}) {
    std::string text = small;
    text.replace(text.find(std::string(key) + ":"), std::string(key).size() + 1, "# ");
    if (key == std::string("programme")) text = text.substr(0, text.find("# \n"));
    shipped::write(file, text);
    EXPECT_NE(refusal(file).find("no `" + std::string(key) + "`"), std::string::npos) << refusal(file);
  }
}

TEST(Scenario, RefusesAProgrammeTooLong) {
  const Files files("long");
  std::string text = "title: long\nfurnace: furnace.yaml\ncontroller: controller.yaml\nprogramme:\n";
  for (int i = 0; i < 127; ++i) text += "  - wait: {for: 1 min}\n";
  shipped::write(files.folder / "scenario.yaml", text + "  - end:\n");
  EXPECT_EQ(files.load().programme.segments.size(), 128u);
  shipped::write(files.folder / "scenario.yaml", text + "  - wait: {for: 1 min}\n  - end:\n");
  try {
    (void)files.load();
    FAIL();
  } catch (const InputError& error) {
    EXPECT_EQ(error.line, 4 + 129);
    EXPECT_NE(std::string(error.what()).find("128"), std::string::npos);
  }
}

TEST(Scenario, TakesStatementsThatLookAhead) {
  const Files files("ahead");
  const std::string statement =
      "eventually[0 s, 1 h] plant.gas.gauge < 6 kPa implies plant.gas.gauge > 0 kPa until[0 s, 2 min] heat.1.pv > 20 degC";
  std::string text = small;
  text += "  - name: soon\n    always: " + statement + "\n";
  shipped::write(files.folder / "scenario.yaml", text);
  const sim::Scenario scenario = files.load();
  ASSERT_FALSE(scenario.expectations.empty());
  EXPECT_EQ(scenario.expectations.back().predicate, statement);
  shipped::write(files.folder / "again.yaml", scenario.resolved_yaml);
  EXPECT_EQ(sim::load_scenario(files.folder / "again.yaml").resolved_yaml, scenario.resolved_yaml);
}

TEST(Scenario, LoadsWithoutExpectations) {
  const Files files("unexpecting");
  const std::string text = small;
  shipped::write(files.folder / "scenario.yaml", text.substr(0, text.find("expectations:")));
  EXPECT_TRUE(files.load().expectations.empty());
}

// A scenario of the small one with `set_heat` from week.csv; `map` is what stands behind file, time and column.
Files with_set_points(const std::string& name, const std::string& csv, const std::string& map) {
  Files files(name);
  const std::string item = "  - set_heat: {file: week.csv, time: t, column: heat, " + map + "}\n    segment: up\n    after: 1 min\n";
  std::string text = small;
  text.insert(text.find("faults:"), item);
  shipped::write(files.folder / "scenario.yaml", text);
  shipped::write(files.folder / "week.csv", csv);
  return files;
}

TEST(Scenario, TakesSetPointsFromAFile) {
  // by hand: on the line from 100 degC at 0 s to 160 degC at 60 s stands 125 at 25 s and 150 at 50 s
  const Files files = with_set_points("set_points", "t,heat\n0,100\n60,160\n", "unit: degC, between: linear, step: 25 s");
  const Scenario scenario = files.load();
  ASSERT_EQ(scenario.actions.size(), 4u + 4u);
  const double after_s[] = {60.0, 85.0, 110.0, 120.0};
  const float degc[] = {100.0f, 125.0f, 150.0f, 160.0f};
  for (std::size_t i = 0; i < 4; ++i) {
    EXPECT_DOUBLE_EQ(scenario.actions[4 + i].when.after_s, after_s[i]);
    EXPECT_EQ(scenario.actions[4 + i].when.segment, "up");
    EXPECT_FLOAT_EQ(scenario.actions[4 + i].value, degc[i]);
    EXPECT_EQ(scenario.actions[4 + i].command, fw::Command::change_setpoint);
  }
  // the values are in resolved.yaml: it needs the CSV file no more
  const std::filesystem::path resolved = files.folder / "resolved.yaml";
  shipped::write(resolved, scenario.resolved_yaml);
  std::filesystem::remove(files.folder / "week.csv");
  const Scenario again = sim::load_scenario(resolved);
  expect_same(again, scenario);
  EXPECT_EQ(again.actions[4].text, scenario.actions[4].text);

  const Scenario held = with_set_points("set_points", "t,heat\n0,100\n60,160\n", "unit: degC, between: hold").load();
  ASSERT_EQ(held.actions.size(), 4u + 2u);
  EXPECT_FLOAT_EQ(held.actions[5].value, 160.0f);
}

TEST(Scenario, RefusesSetPointsWithFileAndLine) {
  struct Bad { const char *csv, *map, *says; };
  const Bad bad[] = {
      {"t,heat\n0,100\n60,x\n", "unit: degC, between: hold", "week.csv:3:4: found `x`"},
      {"t,heat\n0,100\n60,110\n60,120\n", "unit: degC, between: hold", "week.csv:4:1: found the time 60 s"},
      {"t,heet\n0,100\n", "unit: degC, between: hold", "nearest: heet"},
      {"t,heat\n-5,100\n", "unit: degC, between: hold", "week.csv:2:1"},
      {"t,heat\n0,1900\n", "unit: degC, between: hold", "0 degC to 1800 degC"},
      {"t,heat\n0\n", "unit: degC, between: hold", "week.csv:2:1"},
      {"t,heat\n", "unit: degC, between: hold", "no rows"},
      {"t,heat\n0,100\n", "unit: kPa abs, between: hold", "for `unit`"},
      {"t,heat\n0,100\n", "unit: degC", "no `between`"},
      {"t,heat\n0,100\n", "unit: degC, between: linear", "without `step`"},
      {"t,heat\n0,100\n9000,110\n", "unit: degC, between: linear, step: 1 s", "at most 2000"},
  };
  for (const Bad& one : bad) {
    try {
      (void)with_set_points("bad_set_points", one.csv, one.map).load();
      ADD_FAILURE() << "not refused: " << one.csv << one.map;
    } catch (const InputError& error) {
      EXPECT_NE(std::string(error.what()).find(one.says), std::string::npos) << error.what();
    }
  }
}

TEST(Scenario, SaysInPlainWordsWhatItWouldDo) {
  const std::string text = sim::describe(sim::load_scenario(configs / "scenarios/cycles/titanium_stress_relief.yaml"));
  for (const char* part : {"Stress relief", "at 8 K/min to 792 degC", "Hold 792 degC for 2 h", "Exchange the gas 3 times over",
                           "expectations, judged at every tick", "12 L"})
    EXPECT_NE(text.find(part), std::string::npos) << part << " in:\n" << text;
}

// A factor that the file gives stays; one that it leaves out is that of the table.
TEST(FurnaceFile, ComputesTheConversionFactorsThatAreNotGiven) {
  const std::string head = "title: t\nboundary: retort\nmeter: {conversion: {argon: 1.39}}\n";
  const plant::Meter meter = sim::read_furnace(sim::parse_yaml(head, "f")).furnace.meter;
  EXPECT_EQ(meter.conversion_argon, 1.39);
  EXPECT_NEAR(meter.conversion_helium, 1.03 * 29.1156 / 20.7863, 1e-4);      // heat capacities of mfc_gas_factors.csv
  EXPECT_NEAR(meter.conversion_hydrogen, 29.1156 / 28.6262, 1e-4);
  EXPECT_NEAR(meter.conversion_air, 1.0015, 3.5e-4);
}

TEST(FurnaceFile, WritesOutTheDemoFurnaceInFull) {
  const sim::FurnaceFile file = sim::load_furnace(configs / "furnaces/retort_12l.yaml");
  const sim::FurnaceFile presets{file.title, {}};
  const sim::YamlNode root = sim::read_yaml(configs / "furnaces/retort_12l.yaml");
  for (const sim::Field& field : sim::furnace_fields().fields) {
    sim::FieldValue given, preset;
    const bool there = field.get(&file, given);
    ASSERT_EQ(there, field.get(&presets, preset));
    if (!there) continue;                                           // an option that neither gives
    EXPECT_NEAR(given.number, preset.number, 1e-12 * std::fabs(preset.number)) << field.key;
    const sim::YamlNode* node = &root;                              // every key stands in the file
    for (std::size_t at = 0; node && at <= field.key.size();) {
      const std::size_t dot = std::min(field.key.find('.', at), field.key.size());
      node = node->child(field.key.substr(at, dot - at));
      at = dot + 1;
    }
    EXPECT_NE(node, nullptr) << field.key << " is not in the file";
  }
}

TEST(FurnaceFile, RefusesACylinderThatThePlantCannotHoldAtItsPlace) {
  const auto problem = [](const std::string& carries) -> std::string {
    try {
      const std::string text = "title: t\nboundary: retort\nsupply:\n  argon:\n    carries: " + carries + "\n";
      const sim::FurnaceFile file = sim::read_furnace(sim::parse_yaml(text, "f"));
      const std::string again = sim::write_furnace(file, 0);
      return sim::write_furnace(sim::read_furnace(sim::parse_yaml(again, "g")), 0) == again ? "comes back" : "does not come back";
    } catch (const InputError& error) {
      return error.what();
    }
  };
  EXPECT_EQ(problem("95 N2 5 CH4"), "comes back");
  EXPECT_EQ(problem("argon with 4 % hydrogen"), "comes back");
  const std::string ammonia = problem("80 N2 20 NH3");
  EXPECT_NE(ammonia.find("f:5:14: "), std::string::npos) << ammonia;
  EXPECT_NE(ammonia.find("`NH3`, which the plant's gas cannot hold"), std::string::npos) << ammonia;
  EXPECT_NE(problem("methan").find("nearest: methane"), std::string::npos) << problem("methan");
  EXPECT_NE(problem("80 N2 21 H2").find("sum to 101 %"), std::string::npos);
}

TEST(FurnaceFile, RefusesARetortThatDoesNotFit) {
  const Files files("fit");
  shipped::write(files.folder / "furnace.yaml", "title: t\nboundary: retort\nretort:\n  inner_diameter: 300 mm\n");
  EXPECT_NE(refusal(files.folder / "scenario.yaml").find("cannot be built"), std::string::npos);
}

TEST(ControllerFile, ReadsEveryParameterOfTheCoresTable) {
  const sim::ControllerFile presets;
  const std::string text = sim::write_controller({"all", presets.parameters}, 0);
  const sim::ControllerFile again = sim::read_controller(sim::parse_yaml(text, "all"));
  EXPECT_EQ(std::memcmp(&again.parameters, &presets.parameters, sizeof again.parameters), 0);
  EXPECT_EQ(sim::controller_fields().fields.size(), fw::parameter_table().size() + 1);
}

TEST(Fields, HaveTheirSchemaAndDocumentationWrittenOut) {
  for (const std::string& kind : sim::schema_kinds())
    EXPECT_EQ(shipped::read(configs / "schema" / (kind + ".schema.json")), sim::json_schema(kind)) << "ninja schema writes it anew";
  EXPECT_EQ(shipped::read(configs / "schema" / "README.md"), sim::fields_markdown()) << "ninja schema writes it anew";
}

// A panel of 2400 W, 0.13 m2, emissivity 0.7 in a chamber at 1250 degC: (1523.15^4 + 2400 / (0.13 * 0.7 * 5.670e-8))^(1/4) K = 1282 degC.
TEST(Scenario, is_remarked_on_when_its_programme_asks_the_elements_too_much) {
  sim::Scenario scenario = sim::load_scenario(std::string(source_folder) + "/configs/scenarios/temperature/brick_1250.yaml");
  EXPECT_EQ(sim::mismatches(scenario).size(), 0u);
  scenario.furnace.electric.element.material = plant::ElementMaterial::fecral;              // published: 1250 degC at most
  const std::vector<std::string> remarks = sim::mismatches(scenario);
  ASSERT_EQ(remarks.size(), 3u) << "one a zone";
  EXPECT_NE(remarks[0].find("1282 degC, they may have 1250 degC"), std::string::npos) << remarks[0];
  scenario.furnace.electric.element.material = plant::ElementMaterial::fecral_molybdenum;   // 1400 degC
  EXPECT_EQ(sim::mismatches(scenario).size(), 0u);
}

}  // namespace
