// The section `environment`: what is read, what is refused where, what a run makes of it, and that resolved.yaml stands alone.
#include "sim/environment.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "plant/state.h"
#include "sim/description.h"
#include "tests/sim/shipped_files.h"
#include "tests/sim/short_run.h"

namespace {

using sim::Between;
using sim::Environment;
using sim::InputError;

Environment read(const std::string& yaml) { return sim::read_environment(sim::parse_yaml(yaml, "environment.yaml")); }

const char* const front = "hour,pressure,unused\n0,1013.0,x\n1,1003.0,y\n3,983.0,z\n";

// A folder with front.csv and the shipped furnace, controller and cycle, to which `environment` is added.
struct Place {
  explicit Place(const std::string& name) : folder(shipped::copy_of_configs("environment_" + name)) {
    shipped::write(folder / "scenarios/cycles/front.csv", front);
  }
  std::filesystem::path scenario(const std::string& environment, const std::string& name = "weather") const {
    std::string text = shipped::read(folder / "scenarios/cycles/air_cycle.yaml");
    text.insert(text.find("programme:"), environment);
    const std::filesystem::path file = folder / "scenarios/cycles" / (name + ".yaml");
    shipped::write(file, text);
    return file;
  }
  std::filesystem::path folder;
};

const char* const by_file = "barometer: {file: front.csv, time: hour, time_unit: h, column: pressure, unit: hPa abs, between: ";

std::string refusal(const Place& place, const std::string& environment) {
  try {
    (void)sim::load_scenario(place.scenario(environment));
  } catch (const InputError& error) {
    return error.what();
  }
  return "";
}

std::size_t truth(const sim::Bench& bench, const char* name) { return static_cast<std::size_t>(bench.table().find(name)); }

// By hand: half way from 1013 to 1003 hPa at 30 min, a quarter of the way from 1003 to 983 at 1.5 h.
TEST(Profile, HoldsOrGoesStraightBetweenItsPoints) {
  const Environment linear = read("barometer:\n  between: linear\n  points:\n    - {at: 0 s, value: 1013 hPa abs}\n"
                                  "    - {at: 1 h, value: 1003 hPa abs}\n    - {at: 3 h, value: 983 hPa abs}\n");
  const sim::Profile& profile = linear.profile[0];
  EXPECT_DOUBLE_EQ(profile.at(0.0), 101300.0);
  EXPECT_DOUBLE_EQ(profile.at(1800.0), 100800.0);
  EXPECT_DOUBLE_EQ(profile.at(3600.0), 100300.0);
  EXPECT_DOUBLE_EQ(profile.at(5400.0), 99800.0);
  EXPECT_DOUBLE_EQ(profile.at(10800.0), 98300.0);
  EXPECT_DOUBLE_EQ(profile.at(1e6), 98300.0);
  sim::Profile held = profile;
  held.between = Between::hold;
  EXPECT_DOUBLE_EQ(held.at(1800.0), 101300.0);
  EXPECT_DOUBLE_EQ(held.at(3599.9), 101300.0);
  EXPECT_DOUBLE_EQ(held.at(3600.0), 100300.0);
  EXPECT_DOUBLE_EQ(held.at(10799.0), 100300.0);
  held.points.erase(held.points.begin());
  EXPECT_DOUBLE_EQ(held.at(0.0), 100300.0);        // before the first point: its value
}

TEST(Environment, LeavesToTheFurnaceFileWhatItDoesNotName) {
  const plant::Environment furnace{99e3, 17.0, 228.0, 45e3};
  const Environment environment = read("mains: 207 V\nambient: 60 degF\n");
  const plant::Environment at = environment.at(1234.0, furnace);
  EXPECT_EQ(at.barometer_pa, 99e3);
  EXPECT_EQ(at.supply_pa, 45e3);
  EXPECT_DOUBLE_EQ(at.mains_v, 207.0);
  EXPECT_NEAR(at.ambient_degc, (60.0 - 32.0) / 1.8, 1e-9);
  EXPECT_FALSE(environment.moves());
}

TEST(Environment, ResolvedYamlStandsAloneToTheBit) {
  const Place place("resolved");
  const sim::Scenario scenario = sim::load_scenario(
      place.scenario(std::string("environment:\n  mains: 207 V\n  supply: 0.3 bar gauge\n  ambient: {between: hold, points: "
                                 "[{at: 0 s, value: 12 degC}, {at: 1 min, value: 71.3 degF}]}\n  ") + by_file + "linear}\n"));
  std::filesystem::remove(place.folder / "scenarios/cycles/front.csv");
  shipped::write(place.folder / "resolved.yaml", scenario.resolved_yaml);
  const sim::Scenario again = sim::load_scenario(place.folder / "resolved.yaml");
  const auto but_the_name = [](const std::string& yaml) { return yaml.substr(yaml.find("title")); };
  EXPECT_EQ(but_the_name(again.resolved_yaml), but_the_name(scenario.resolved_yaml));
  const plant::Environment furnace;
  for (double time_s = 0.0; time_s < 12000.0; time_s += 7.3) {
    const plant::Environment a = scenario.environment.at(time_s, furnace), b = again.environment.at(time_s, furnace);
    ASSERT_TRUE(a.barometer_pa == b.barometer_pa && a.ambient_degc == b.ambient_degc && a.mains_v == b.mains_v &&
                a.supply_pa == b.supply_pa) << time_s;
  }
  EXPECT_EQ(scenario.environment.profile[0].points.size(), 3u);
}

TEST(Environment, RefusesWithFileLineAndColumn) {
  struct Bad { const char *csv, *environment, *says; };
  const std::string hold = std::string("environment:\n  ") + by_file + "hold}\n";
  const Bad bad[] = {
      {"hour,pressure\n0,1013\n1,l003\n", hold.c_str(), "front.csv:3:3: found `l003`"},
      {"hour,pressure\n0,1013\n1,\n2,1000\n", hold.c_str(), "front.csv:3:3: found `` in the column `pressure`; expected a number"},
      {"hour,pressure\n0,1013\n10,1003\n10,983\n", hold.c_str(), "front.csv:4:1: found the time 10 h"},
      {"hour,pressure\n-1,1013\n", hold.c_str(), "front.csv:2:1"},
      {"hour,pressure\n0,1013\n721,1013\n", hold.c_str(), "front.csv:3:1: found the time 721 h"},
      {"hour,\"a\nb\",pressure\n0,1,1013\n1,\"x\ny\",2003\n", hold.c_str(), "front.csv:4:"},
      {"hour,pressure\n0,1013\n1,10130\n", hold.c_str(), 
       "front.csv:3:3: found 10130 hPa abs for `barometer`; expected 60000 Pa abs to 110000 Pa abs"},
      {"hour,presure\n0,1013\n", hold.c_str(), 
       "front.csv:1:1: found no column `pressure`; expected one of hour, presure; nearest: presure"},
      {"hour,pressure\n", hold.c_str(), "no rows"},
      {"hour,pressure\n0,1013,5\n", hold.c_str(), "front.csv:2:1"},
      {front, "environment:\n  barometer: {file: frond.csv, time: hour, column: pressure, unit: hPa abs, between: hold}\n", "no file"},
      {front, "environment:\n  barometer: {file: front.csv, time: hour, column: pressure, unit: hPa abs}\n", "no `between`"},
      {front, "environment:\n  barometer: {file: front.csv, time: hour, column: pressure, unit: hPa abs, between: steps}\n",
       "one of hold, linear"},
      {front, "environment:\n  barometer: {file: front.csv, time: hour, column: pressure, unit: hPa gauge, between: hold}\n",
       "for `unit`"},
      {front, "environment:\n  barometer: {file: front.csv, time: hour, column: pressure, unit: V, between: hold}\n", "for `unit`"},
      {front, "environment:\n  barometer: 99.3 kPa\n", "abs"},
      {front, "environment:\n  barometer: 99.3 bar abs\n", "60000 Pa abs to 110000 Pa abs"},
      {front, "environment:\n  mains: 207\n", "the bare number `207` for `mains`"},
      {front, "environment:\n  ambiemt: 12 degC\n", "nearest: ambient"},
      {front, "environment:\n  ambient: 12 K\n", "degC"},
      {front, "environment:\n  ambient: {points: [{at: 0 s, value: 12 degC}]}\n", "no `between`"},
      {front, "environment:\n  ambient: {between: hold, points: []}\n", "for `points`"},
      {front, "environment:\n  ambient: {between: hold, pionts: [{at: 0 s, value: 12 degC}]}\n", "nearest: points"},
      {front, "environment:\n  ambient: {between: hold, points: [{at: 0 s, value: 12 degC}, {at: 0 s, value: 13 degC}]}\n",
       "after that of the point before"},
      {front, "environment:\n  ambient: {between: hold, points: [{at: 0 s, value: 12 degC}, {at: 1, value: 13 degC}]}\n", "for `at`"},
      {front, "environment:\n  ambient: {between: hold, points: [{at: 0 s}]}\n", "no `value`"},
      {front, "environment:\n  ambient: [12 degC]\n", "for `ambient`"},
      {front, "environment: windy\n", "for the environment"},
  };
  const Place place("bad");
  for (const Bad& one : bad) {
    shipped::write(place.folder / "scenarios/cycles/front.csv", one.csv);
    const std::string said = refusal(place, one.environment);
    EXPECT_NE(said.find(one.says), std::string::npos) << one.csv << one.environment << said;
  }
}

TEST(Environment, RefusesMorePointsThanResolvedYamlCanHold) {
  const Place place("many");
  std::string csv = "hour,pressure\n";
  for (std::size_t i = 0; i < sim::environment_points_max; ++i) csv += std::to_string(i) + ",1000.1\n";
  const std::string environment =
      "environment:\n  barometer: {file: front.csv, time: hour, time_unit: min, column: pressure, unit: hPa abs, between: linear}\n";
  shipped::write(place.folder / "scenarios/cycles/front.csv", csv);
  const sim::Scenario most = sim::load_scenario(place.scenario(environment));
  shipped::write(place.folder / "resolved.yaml", most.resolved_yaml);
  EXPECT_NO_THROW((void)sim::load_scenario(place.folder / "resolved.yaml"));
  shipped::write(place.folder / "scenarios/cycles/front.csv", csv + "9999,1000.1\n");
  EXPECT_NE(refusal(place, environment).find("at most"), std::string::npos);
}

TEST(Environment, IsSaidInWords) {
  const Place place("words");
  const std::string words =
      sim::describe(sim::load_scenario(place.scenario(std::string("environment:\n  mains: 207 V\n  ") + by_file + "linear}\n")));
  EXPECT_NE(words.find("environment: mains 207 V throughout"), std::string::npos) << words;
  EXPECT_NE(words.find("environment: barometer by 3 points from 0 s"), std::string::npos) << words;
  EXPECT_NE(words.find("a straight line, at most 2 h apart"), std::string::npos) << words;
}

// What the bench makes of it, tick by tick: signals as of the instant they are seen.
TEST(Environment, IsWhatARunSeesAtEveryTick) {
  sim::Scenario scenario = sim_test::short_run(90.0);
  scenario.environment = read("barometer: {between: linear, points: [{at: 10 s, value: 101 kPa abs}, {at: 50 s, value: 99 kPa abs}]}\n"
                              "mains: {between: hold, points: [{at: 0 s, value: 230 V}, {at: 30 s, value: 207 V}]}\n");
  scenario.faults.push_back(sim_test::fault("mains_dip", {0.5}, 60.0, 10.0));
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  const std::size_t barometer = truth(bench, "plant.barometer"), mains = truth(bench, "plant.mains"), room = truth(bench, "plant.ambient");
  while (bench.advance()) {
    const double t = bench.time_s();
    const double expected_pa = t <= 10.0 ? 101e3 : t >= 50.0 ? 99e3 : 101e3 - 2e3 * (t - 10.0) / 40.0;
    ASSERT_NEAR(bench.frame()[barometer], expected_pa, 1e-6) << t;
    const double dip = t > 60.0 && t <= 70.0 ? 0.5 : 1.0;      // a fault works from its tick on, seen at the next
    ASSERT_DOUBLE_EQ(bench.frame()[mains], (t < 30.0 ? 230.0 : 207.0) * dip) << t;
    ASSERT_DOUBLE_EQ(bench.frame()[room], 20.0);
  }
}

TEST(Environment, OfTheFurnaceFileChangesNoBit) {
  const sim_test::Hashes plain = sim_test::run(sim_test::short_run(120.0));
  sim::Scenario told = sim_test::short_run(120.0);
  told.environment = read("barometer: 100.8 kPa abs\nmains: 230 V\nambient: 20 degC\nsupply: 40 kPa gauge\n");
  EXPECT_EQ(sim_test::run(told), plain);
  told.environment = read("barometer: {between: linear, points: [{at: 0 s, value: 100.8 kPa abs}, {at: 60 s, value: 100.8 kPa abs}]}\n");
  EXPECT_EQ(sim_test::run(told), plain);
  told.environment = read("barometer: 100.7 kPa abs\n");
  EXPECT_NE(sim_test::run(told).trace, plain.trace);
}

// A fork of the same scenario is the whole run; a fork with another weather has it from its first step on.
TEST(Environment, GoesOnInAFork) {
  sim::Scenario scenario = sim_test::short_run(80.0);
  scenario.environment = read("barometer: {between: linear, points: [{at: 0 s, value: 101 kPa abs}, {at: 60 s, value: 99 kPa abs}]}\n"
                              "ambient: 14 degC\n");
  const sim_test::Hashes whole = sim_test::run(scenario);
  const auto past = [&] {
    sim::Bench bench(scenario, sim_test::endpoint("host"));
    while (bench.ticks() < 300) (void)bench.advance();
    return bench;
  };
  sim::Bench same(scenario, past());
  while (same.advance()) {
  }
  EXPECT_EQ(same.controller_hash(), whole.controller);
  EXPECT_EQ(same.trace_hash(), whole.trace);

  sim::Scenario other = scenario;
  other.environment = read("barometer: 98 kPa abs\n");     // and the room as the furnace file has it
  sim::Bench forked(other, past());
  ASSERT_TRUE(forked.advance());
  ASSERT_TRUE(forked.advance());
  EXPECT_DOUBLE_EQ(forked.frame()[truth(forked, "plant.barometer")], 98e3);
  EXPECT_DOUBLE_EQ(forked.frame()[truth(forked, "plant.ambient")], 20.0);
}

// The core sees its gauge against the barometer of the moment, through bytes: with everything shut the weather alone moves it.
TEST(Environment, MovesTheGaugeTheCoreReads) {
  sim::Scenario scenario = sim_test::short_run(60.0);
  scenario.run.at_most_s = 60.0;
  scenario.programme = {};
  scenario.faults = {sim_test::fault("exhaust_blocked", {}, 0.0), sim_test::fault("supply_exhausted", {}, 0.0)};
  scenario.furnace.leak.flow_pa_m3_s = 0.0;
  scenario.environment = read("supply: 0 Pa gauge\n"
                              "barometer: {between: hold, points: [{at: 0 s, value: 100.8 kPa abs}, {at: 30 s, value: 102.8 kPa abs}]}\n");
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  const std::size_t gauge = truth(bench, "pressure.pv"), pressure = truth(bench, "plant.gas.pressure");
  double before_pa = 0.0, held_pa = 0.0, last_pa = 0.0;
  while (bench.advance()) {
    if (bench.ticks() == 290) before_pa = bench.frame()[gauge], held_pa = bench.frame()[pressure];
    last_pa = bench.frame()[gauge];
  }
  const double gained_pa = bench.frame()[pressure] - held_pa;      // what the open purge let in: little
  EXPECT_LT(std::fabs(gained_pa), 2000.0);
  EXPECT_NEAR(last_pa - before_pa, gained_pa - 2000.0, 10.0);
}

}  // namespace
