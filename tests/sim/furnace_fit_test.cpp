// saggar fit: hidden furnaces found again, what a log cannot tell, the new furnace file, what is refused.
#include "sim/furnace_fit.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>

#include "sim/bench.h"
#include "sim/furnace_fit_text.h"
#include "sim/input_error.h"
#include "sim/scenario.h"
#include "sim/yaml_edit.h"
#include "tests/checkout.h"
#include "tests/sim/short_run.h"

namespace {

using testing::HasSubstr;

const std::string furnace_path = std::string(source_folder) + "/configs/furnaces/retort_12l.yaml";

std::string contents(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

std::filesystem::path fresh(const std::string& name, const std::string& text) {
  const std::filesystem::path file = std::filesystem::path(testing::TempDir()) / ("fit_" + name);
  std::ofstream(file, std::ios::binary) << text;
  return file;
}

constexpr const char* heating = R"(
  - {name: evacuation, evacuate: {below: 100 Pa abs, timeout: 15 min}}
  - {name: backfill, backfill: {to: 4 kPa gauge, gas: argon, flow: 5 slm, timeout: 10 min}}
  - {name: purge, purge: {volumes: 1, to: 4 kPa gauge, gas: argon, flow: 5 slm, timeout: 30 min}}
  - {name: hold, wait: {for: 1 min, flow: 0.6 slm, back_pressure: 4 kPa gauge}}
  - {name: ramp, ramp: {to: 400 degC, rate: 30 K/min, gain_set: 1}}
  - {name: soak, wait: {for: 5 min}}
  - {name: cool, cool: {load_below: 100 degC, timeout: 3 h}}
  - {name: end, end: })";

sim::Scenario cycle(const std::string& name, const std::string& segments, int minutes,
                    const std::vector<std::string>& settings) {
  const std::string configs = std::string(source_folder) + "/configs";
  const std::string text = "title: hidden\nwhy: a log to fit\nseed: 1\nfurnace: " + furnace_path + "\ncontroller: " + configs +
                           "/controllers/one_zone_retort.yaml\nrun: {at_most: " + std::to_string(minutes) +
                           " min}\nrecord: {every: 1 s}\nprogramme:" + segments + "\n";
  return sim::load_scenario(fresh(name + ".yaml", text), settings);
}

// What a logger keeps of a run of the whole bench: a row every so many ticks, rounded to a step.
sim::FurnaceLog logged(const sim::Scenario& scenario, std::uint64_t every, double step_k, double step_pa) {
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  sim::FurnaceLog log;
  log.source = "hidden.csv";
  std::vector<std::size_t> slots;
  for (const sim::Signal& signal : sim::furnace_log_signals()) {
    const int slot = bench.table().find(signal.name);
    if (slot < 0 || signal.name.starts_with("plant.") || signal.name == "dew_point.pv" || signal.name == "oxygen.pv") continue;
    slots.push_back(static_cast<std::size_t>(slot));
    log.signals.push_back({signal, {}});
  }
  const auto rounded = [&](const sim::Signal& signal, double value) {
    const double step = signal.name.ends_with(".out")  ? 1e-4
                        : signal.unit == "degC"        ? step_k
                        : signal.name == "pressure.pv" ? step_pa
                                                       : 0.0;
    return step > 0.0 ? std::round(value / step) * step : value;
  };
  for (std::uint64_t tick = 0; bench.advance(); ++tick) {
    if (tick % every != 0) continue;
    log.times_s.push_back(bench.time_s());
    for (std::size_t i = 0; i < slots.size(); ++i)
      log.signals[i].values.push_back(rounded(log.signals[i].signal, bench.frame()[slots[i]]));
  }
  return log;
}

sim::FurnaceFit fit(const sim::FurnaceLog& log, const sim::FurnaceFile& file, const std::vector<std::string>& keys,
                    double accuracy = 5e-4) {
  std::vector<sim::FitRequest> requests;
  for (const std::string& key : keys) requests.push_back(sim::fit_request(key));
  return sim::fit_furnace(sim::OpenLoop(log, file.furnace, plant::Gas::none), file, requests, {2, accuracy});
}

const sim::FurnaceLog& heating_log() {
  static const sim::FurnaceLog log = logged(cycle("heating", heating, 55, {}), 50, 0.1, 1.0);
  return log;
}

sim::FurnaceFile shipped() { return sim::load_furnace(furnace_path); }

// What the open loop itself shows of another furnace, taken as the log: nothing but the search stands between.
TEST(FurnaceFit, FindsAHiddenFurnaceInALogWithoutNoise) {
  const sim::FurnaceFile file = shipped();
  plant::Furnace hidden = file.furnace;
  hidden.retort.material.c0_j_kgk *= 1.25;
  hidden.load.emissivity *= 0.8;
  hidden.back_pressure_valve.area_m2 *= 1.2;
  sim::FurnaceLog log = heating_log();
  const sim::OpenLoop loop(log, file.furnace, plant::Gas::none);
  const std::vector<double> shown = loop.readings(hidden);
  for (std::size_t k = 0; k < loop.judged().size(); ++k)
    for (sim::LoggedSignal& one : log.signals)
      for (std::size_t i = 0; i < one.values.size() && one.signal.name == loop.judged()[k].signal.name; ++i) {
        const double value = shown[k * log.times_s.size() + i];
        one.values[i] = loop.judged()[k].logarithmic ? std::exp(value) : value;
      }
  const sim::FurnaceFit found =
      fit(log, file, {"retort.material.heat_capacity", "load.emissivity", "back_pressure_valve.area"}, 1e-5);
  EXPECT_TRUE(found.passed);
  EXPECT_NEAR(found.parameters[0].after / hidden.retort.material.c0_j_kgk, 1.0, 2e-4);
  EXPECT_NEAR(found.parameters[1].after / hidden.load.emissivity, 1.0, 2e-3);
  EXPECT_NEAR(found.parameters[2].after / hidden.back_pressure_valve.area_m2, 1.0, 2e-4);
  for (const sim::FittedParameter& p : found.parameters) EXPECT_LT(p.prior_share, 0.01) << p.field->key;
}

// A few of the cases that tools/fit_recovery.py counts: the whole bench, noise of its instruments, rows every 5 s, rounded.
TEST(FurnaceFit, FindsHiddenFurnacesInsideItsIntervals) {
  const sim::FurnaceFile file = shipped();
  const std::vector<std::pair<std::string, double>> hidden{
      {"retort.material.heat_capacity", 780.0}, {"lining.material.conductivity", 0.055}, {"back_pressure_valve.area", 4e-6}};
  const std::vector<std::string> units{" J/(kg K)", " W/(m K)", " m2"};
  int inside = 0, cases = 0;
  std::mt19937 chance(1);
  std::uniform_real_distribution<double> spread(0.75, 1.25);
  for (int seed = 1; seed <= 4; ++seed) {
    std::vector<std::string> settings{"seed=" + std::to_string(seed)}, keys;
    std::vector<double> values;
    for (std::size_t i = 0; i < hidden.size(); ++i) {
      values.push_back(hidden[i].second * spread(chance));
      settings.push_back("furnace." + hidden[i].first + "=" + sim::text_of(values.back()) + units[i]);
      keys.push_back(hidden[i].first);
    }
    const sim::FurnaceFit found = fit(logged(cycle("hidden", heating, 55, settings), 50, 0.1, 1.0), file, keys);
    EXPECT_TRUE(found.passed) << seed;
    for (std::size_t i = 0; i < hidden.size(); ++i, ++cases) {
      const sim::FittedParameter& p = found.parameters[i];
      inside += p.low95 <= values[i] && values[i] <= p.high95;
      EXPECT_LT(std::fabs(p.after / values[i] - 1.0), 0.5 * std::fabs(p.before / values[i] - 1.0) + 0.01)
          << p.field->key << seed;
      EXPECT_LT(p.high95 / p.low95, 1.6) << p.field->key;  // intervals that say something
    }
  }
  EXPECT_GE(inside, 11) << "of " << cases;
}

// Shut and cold, the pressure rises by the leak alone: q = V dp/dt, the gas in the plug's pores counted at its own temperature,
// read off the log by a straight line.
TEST(FurnaceFit, FindsTheLeakThatThePressureRiseTells) {
  constexpr const char* rise = R"(
  - {name: evacuation, evacuate: {below: 30 Pa abs, timeout: 20 min}}
  - {name: leak test, leak_test: {for: 20 min, rise_below: 500 Pa/min}}
  - {name: end, end: })";
  std::vector<std::string> dry{"furnace.leak=4e-4 Pa m3/s"};
  for (const char* site : {"1", "2", "3", "4"}) dry.push_back(std::string("furnace.outgassing.sites.") + site + ".held=0 mol");
  const sim::FurnaceLog log = logged(cycle("rise", rise, 30, dry), 1, 0.0, 0.0);
  sim::FurnaceFile file = shipped();
  for (plant::Site& site : file.furnace.outgassing.site) site.held_mol = 0.0;
  const std::vector<double>& coils = log.find("controller.outputs")->values;
  const std::vector<double>& vacuum = log.find("vacuum.pv")->values;
  double n = 0.0, t = 0.0, p = 0.0, tt = 0.0, tp = 0.0;
  for (std::size_t i = 600; i < log.times_s.size(); ++i) {
    const auto isolated = [&](std::size_t row) {
      const auto bits = static_cast<unsigned>(coils[row]);
      return (bits & 1u << 7) == 0 && (bits & 1u << 2) != 0 && (bits & 1u << 3) != 0 && vacuum[row] < 1000.0;
    };
    if (!isolated(i) || !isolated(i - 600)) continue;
    n += 1.0;
    t += log.times_s[i];
    p += vacuum[i];
    tt += log.times_s[i] * log.times_s[i];
    tp += log.times_s[i] * vacuum[i];
  }
  ASSERT_GT(n, 6000.0);
  const double slope_pa_s = (n * tp - t * p) / (n * tt - t * t);
  const plant::Furnace& f = file.furnace;
  const double volume_m3 = f.retort.volume_m3 + f.plug.pore_m3 * (293.15 / (f.plug.pore_degc + 273.15));
  const double by_hand = slope_pa_s * volume_m3 * 101325.0 / f.surroundings.barometer_pa;
  EXPECT_NEAR(by_hand / 4e-4, 1.0, 0.01);
  const sim::FurnaceFit found = fit(log, file, {"leak"});
  EXPECT_NEAR(found.parameters[0].after / by_hand, 1.0, 0.02);
}

// Where the heat capacity does not go with temperature, only its product with the mass is in the plant's equations. A product
// known exactly leaves each of two, of one prior width, half of its prior's variance.
TEST(FurnaceFit, NamesWhatALogCannotTellApart) {
  const sim::FurnaceLog log =
      logged(cycle("pair", heating, 55, {"furnace.load.material.heat_capacity_slope=0 J/(kg K2)"}), 50, 0.1, 1.0);
  sim::FurnaceFile file = shipped();
  file.furnace.load.material.c1_j_kgk2 = 0.0;
  const sim::FurnaceFit found = fit(log, file, {"load.mass", "load.material.heat_capacity", "retort.emissivity_outside"});
  ASSERT_EQ(found.indistinct.size(), 1u);
  EXPECT_THAT(found.indistinct[0].words, HasSubstr("`load.mass`"));
  EXPECT_THAT(found.indistinct[0].words, HasSubstr("`load.material.heat_capacity`"));
  EXPECT_THAT(found.indistinct[0].words, HasSubstr("only together"));
  EXPECT_THAT(found.indistinct[0].words, HasSubstr("product"));
  EXPECT_LT(found.parameters[2].prior_share, 0.1);
  EXPECT_NEAR(found.parameters[0].prior_share, 0.5, 0.02);
  EXPECT_NEAR(found.parameters[1].prior_share, 0.5, 0.02);
  EXPECT_THAT(found.experiments, testing::Contains(HasSubstr("weigh")));
}

TEST(FurnaceFit, SaysWhatThePriorAloneTells) {
  const sim::FurnaceFit found = fit(heating_log(), shipped(), {"relief.area:prior=20%", "retort.material.heat_capacity"});
  const sim::FittedParameter& p = found.parameters[0];
  EXPECT_DOUBLE_EQ(p.prior_share, 1.0);
  EXPECT_NEAR(p.after / p.before, 1.0, 1e-9);
  EXPECT_NEAR(std::log(p.high95 / p.low95), 2.0 * 1.959964 * std::log(1.2), 1e-6);
  EXPECT_THAT(found.notes, testing::Contains(HasSubstr("`relief.area` has no influence on this log: prior only")));
}

TEST(FurnaceFit, StaysWithinTheBoundsThatAreGiven) {
  const sim::FurnaceLog log =
      logged(cycle("bounds", heating, 55, {"furnace.retort.material.heat_capacity=900 J/(kg K)"}), 50, 0.1, 1.0);
  const sim::FurnaceFit found = fit(log, shipped(), {"retort.material.heat_capacity:low=700 J/(kg K),high=820 J/(kg K)"});
  EXPECT_DOUBLE_EQ(found.parameters[0].after, 820.0);
  EXPECT_TRUE(found.parameters[0].at_bound);
  EXPECT_THAT(found.notes, testing::Contains(HasSubstr("at its bound")));
}

TEST(FurnaceFit, WritesAFurnaceFileThatMakesTheSameRun) {
  const sim::FurnaceLog& log = heating_log();
  const sim::FurnaceFile file = shipped();
  const sim::FurnaceFit found =
      fit(log, file, {"retort.material.heat_capacity", "meter.conversion.argon", "leak", "relief.area"});
  const std::string text = contents(furnace_path);
  const std::string made = sim::fitted_furnace_yaml(found, {"logs/hidden.csv", furnace_path, file.title, {}}, text);
  const sim::FurnaceFile again = sim::read_furnace(sim::parse_yaml(made, "made.yaml"));
  EXPECT_NEAR(again.furnace.retort.material.c0_j_kgk / found.parameters[0].after, 1.0, 1e-5);
  EXPECT_NEAR(again.furnace.meter.conversion_argon / found.parameters[1].after, 1.0, 1e-5);
  EXPECT_EQ(again.furnace.relief.area_m2, file.furnace.relief.area_m2);  // the prior's value is the file's
  EXPECT_EQ(again.furnace.load.material.c0_j_kgk, file.furnace.load.material.c0_j_kgk);
  EXPECT_THAT(made, HasSubstr("fitted to hidden.csv, 95 % "));
  // Without what was put in, it is the old text: every comment and every other value stands.
  std::size_t differing = 0, from = 0;
  for (std::size_t at = 0, end = 0; at < text.size(); at = end + 1) {
    end = std::min(text.find('\n', at), text.size());
    const std::size_t line_end = std::min(made.find('\n', from), made.size());
    const std::string was = text.substr(at, end - at), is = made.substr(from, line_end - from);
    from = line_end + 1;
    if (was == is) continue;
    ++differing;
    const std::size_t comment = was.find('#');
    if (comment != std::string::npos) {
      EXPECT_THAT(is, HasSubstr(was.substr(comment)));
    }
  }
  EXPECT_LE(differing, 3u);
  EXPECT_GE(differing, 2u);
  const sim::OpenLoop loop(log, file.furnace, plant::Gas::none);
  const std::vector<double> shown = loop.readings(again.furnace);
  for (std::size_t i = 0; i < shown.size(); ++i)
    if (!std::isnan(shown[i])) {
      ASSERT_EQ(shown[i], found.after[i]);
    }
  EXPECT_THAT(sim::fit_page(found, {"logs/hidden.csv", furnace_path, file.title, {}}, loop), HasSubstr("\"label\":\"after\""));
}

TEST(YamlEdit, ReplacesInPlaceAndAddsWhatIsNotThere) {
  const std::string text = "# top\na: {b: 1 m, c: \"2\"}   # both\nd:\n  e: 3 Pa abs # three\n";
  EXPECT_EQ(sim::edit_yaml(text, "x", {{"a.c", "5", "new"}}),
            "# top\na: {b: 1 m, c: 5}   # both; new\nd:\n  e: 3 Pa abs # three\n");
  EXPECT_EQ(sim::edit_yaml(text, "x", {{"d.e", "4 Pa abs", ""}, {"d.f.g", "6", "put"}}),
            "# top\na: {b: 1 m, c: \"2\"}   # both\nd:\n  f:\n    g: 6   # put\n  e: 4 Pa abs # three\n");
  EXPECT_EQ(sim::edit_yaml(text, "x", {{"a.x.y", "7", ""}}),
            "# top\na: {x: {y: 7}, b: 1 m, c: \"2\"}   # both\nd:\n  e: 3 Pa abs # three\n");
  EXPECT_THROW((void)sim::edit_yaml(text, "x", {{"d.e.f", "1", ""}}), sim::InputError);
}

template <class Read>
std::string refusal(Read&& read) {
  try {
    read();
  } catch (const sim::InputError& error) {
    return error.what();
  }
  return "accepted";
}

TEST(FurnaceFit, RefusesWithThePlace) {
  const auto request = [](const char* text) { return refusal([&] { (void)sim::fit_request(text); }); };
  EXPECT_THAT(request("lining.material.conductivty"), HasSubstr("lining.material.conductivity"));
  EXPECT_THAT(request("leak:prior=0%"), HasSubstr("--fit:1:12"));
  EXPECT_THAT(request("leak:pior=10%"), HasSubstr("nearest: prior"));
  EXPECT_THAT(request("leak:low=3 K"), HasSubstr("--fit:1:10"));
  EXPECT_THAT(refusal([] { (void)fit(heating_log(), shipped(), {"surroundings.ambient"}); }),
              HasSubstr("surroundings.ambient:prior="));
  const auto file = [](const char* text) { return refusal([&] { (void)sim::read_furnace_log(fresh("bad.csv", text), {}); }); };
  EXPECT_THAT(file("time [s],heat.1.pv\n0,1\n"), HasSubstr("bad.csv:1:10"));
  EXPECT_THAT(file("Zeit,Ofen\n0,1\n"), HasSubstr("--map"));
  EXPECT_THAT(file("time [s],heat.1.pv [degC],heat.1.out [1]\n0,20,0\n1,2x,0\n2,20,0\n"), HasSubstr("bad.csv:3:3"));
  EXPECT_THAT(file("time [s],heat.1.pv [degC]\n0,20\n1,20\n1,20\n"), HasSubstr("bad.csv:4:1"));
}

// A capacitance gauge at 10.2 V (1.02 of its full scale) says only that there is more: no reading to be held against.
TEST(OpenLoop, TakesNoReadingOfAnInstrumentAtItsEnd) {
  const sim::FurnaceFile file = shipped();
  const sim::OpenLoop loop(heating_log(), file.furnace, plant::Gas::none);
  const std::vector<double>& logged_pa = heating_log().find("vacuum.pv")->values;
  for (const sim::JudgedSignal& one : loop.judged()) {
    if (one.signal.name != "vacuum.pv") continue;
    std::size_t left_out = 0;
    for (std::size_t i = 1; i < logged_pa.size(); ++i) {
      const bool at_end = logged_pa[i] > 1.018 * file.furnace.instruments.vacuum_full_scale_pa;
      left_out += at_end;
      EXPECT_EQ(std::isnan(one.recorded[i]), at_end) << i;
    }
    EXPECT_GT(left_out, 100u);
    return;
  }
  FAIL() << "no vacuum.pv";
}

// A log's own header and a mapping say the same.
TEST(FurnaceLog, IsReadByItsHeaderOrByAMapping) {
  const auto own = fresh("own.csv", "time [s],heat.1.pv [degC],heat.1.out [1],other [K]\n10,20,0,1\n15,21,0.5,1\n20,,1,1\n");
  const auto foreign = fresh("foreign.csv", "t;Ofen;Steller\n10;68,0;0\n15;69,8;50\n20;;100\n");
  const auto mapping = fresh("mapping.yaml",
                             "separator: semicolon\ndecimal: comma\ntime: {column: t, format: seconds}\ncolumns:\n"
                             "  - {column: Ofen, signal: heat.1.pv, unit: degF}\n"
                             "  - {column: Steller, signal: heat.1.out, unit: \"%\"}\n");
  const sim::FurnaceLog a = sim::read_furnace_log(own, {}), b = sim::read_furnace_log(foreign, sim::read_mapping_file(mapping));
  ASSERT_EQ(a.times_s, (std::vector<double>{0.0, 5.0, 10.0}));
  ASSERT_EQ(b.times_s, a.times_s);
  for (const char* name : {"heat.1.pv", "heat.1.out"}) {
    for (std::size_t i = 0; i < 2; ++i) EXPECT_NEAR(a.find(name)->values[i], b.find(name)->values[i], 1e-9);
  }
  EXPECT_EQ(a.find("heat.1.pv")->values[1], 21.0);
  EXPECT_TRUE(std::isnan(b.find("heat.1.pv")->values[2]));
}

}  // namespace
