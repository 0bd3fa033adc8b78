// The YAML kind of a process, and the desk's answer on the shipped ones.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <filesystem>
#include <map>
#include <string>

#include <nlohmann/json.hpp>

#include "sim/process_file.h"
#include "sim/tuning_candidates.h"
#include "sim/yaml_tree.h"
#include "tests/checkout.h"
#include "tests/csv_table.h"

namespace {

sim::ProcessFile read(const std::string& text) { return sim::read_process(sim::parse_yaml(text, "loop.yaml")); }

std::string refusal(const std::string& text) {
  try {
    (void)read(text);
  } catch (const sim::InputError& error) {
    return error.what();
  }
  return "nothing refused";
}

TEST(ProcessFile, HoldsWhatItSays) {
  const sim::ProcessFile file = read(
      "title: a loop\ngain: -2.5\nzeros: [-3 s, 0.5 min]\nlags: [20 s]\npairs:\n  - {time: 2 s, damping: 0.3}\nintegrators: 1\ndelay: "
      "1.5 s\n"
      "sampling: {period: 200 ms}\ninput_unit: \"%\"\noutput_unit: kPa\n");
  EXPECT_EQ(file.process.gain, -2.5);
  EXPECT_THAT(file.process.zeros_s, testing::ElementsAre(-3.0, 30.0));
  EXPECT_THAT(file.process.lags_s, testing::ElementsAre(20.0));
  ASSERT_EQ(file.process.pairs.size(), 1u);
  EXPECT_EQ(file.process.pairs[0].damping, 0.3);
  EXPECT_EQ(file.process.integrators, 1);
  EXPECT_EQ(file.process.delay_s, 1.5);
  EXPECT_EQ(file.sampling.period_s, 0.2);
  EXPECT_EQ(file.sampling.latency_s, 0.2);  // the bench's: one period
  EXPECT_EQ(file.gain_unit(), "%/kPa");
  EXPECT_EQ(sim::formula(file.process), "-2.5 (1 - 3 s) (30 s + 1) e^(-1.5 s) / (s (20 s + 1) (4 s^2 + 1.2 s + 1))");
  EXPECT_EQ(read("lags: [1 s]\nsampling: {period: 1 s, latency: 0 s}\n").sampling.latency_s, 0.0);
}

TEST(ProcessFile, RefusesWithThePlace) {
  EXPECT_THAT(refusal("lags: [20 s, 3]\n"), testing::AllOf(testing::HasSubstr("loop.yaml:1:14"), testing::HasSubstr("lags")));
  EXPECT_THAT(refusal("lags: [20 s, -3 s]\n"), testing::AllOf(testing::HasSubstr("loop.yaml:1:14"), testing::HasSubstr("above 0")));
  EXPECT_THAT(refusal("lags: [20 s]\nzeros: [0 s]\n"), testing::HasSubstr("loop.yaml:2:9"));
  EXPECT_THAT(refusal("lags: [20 s]\nzeros: [1 s, 2 s]\n"), testing::HasSubstr("2 zeros and 1 poles"));
  EXPECT_THAT(refusal("gain: 0\nlags: [1 s]\n"), testing::HasSubstr("a gain of 0"));
  EXPECT_THAT(refusal("lag: [1 s]\n"), testing::AllOf(testing::HasSubstr("unknown key `lag`"), testing::HasSubstr("lags")));
  EXPECT_THAT(refusal("integrators: 3\n"), testing::HasSubstr("0 to 2"));
  EXPECT_THAT(refusal("lags: [1 s]\nsampling: {latency: 1 s}\n"), testing::HasSubstr("period"));
  EXPECT_THAT(refusal("pairs:\n  - {time: 2 s}\n"), testing::HasSubstr("damping"));
}

// The shipped files by the rows of tests/reference that they stand for.
const std::map<std::string, std::string> paper_files{
    {"simc_t3_1.yaml", "T3-1"}, {"simc_t3_2.yaml", "T3-2"}, {"simc_t3_3.yaml", "T3-3"}, {"simc_t3_4.yaml", "T3-4"},
    {"simc_t3_5.yaml", "T3-5"}, {"simc_e1.yaml", "E1"},     {"simc_e2.yaml", "E2"},     {"simc_e3.yaml", "E3"},
    {"simc_e4.yaml", "E4"},     {"simc_e5.yaml", "E5"},     {"simc_e6.yaml", "E6"},     {"simc_e7.yaml", "E7"},
    {"simc_e8.yaml", "E8"},     {"simc_e9.yaml", "E9"},     {"simc_e10.yaml", "E10"},   {"simc_e11.yaml", "E11"},
    {"simc_e12.yaml", "E12"},   {"simc_e13.yaml", "E13"},   {"simc_e14.yaml", "E14"},   {"simc_e15.yaml", "E15"}};
const std::map<std::string, std::array<const char*, 3>> first_order_files{
    {"first_order_1_1_1.yaml", {"1", "1", "1"}},       {"first_order_1_2_1.yaml", {"1", "2", "1"}},
    {"first_order_1_10_1.yaml", {"1", "10", "1"}},     {"first_order_1_0_5_1.yaml", {"1", "0.5", "1"}},
    {"first_order_2_100_10.yaml", {"2", "100", "10"}}, {"first_order_0_5_600_60.yaml", {"0.5", "600", "60"}},
    {"first_order_1_50_1.yaml", {"1", "50", "1"}}};

sim::ProcessFile shipped(const std::string& name) {
  return sim::read_process_file(std::string(source_folder) + "/configs/processes/" + name);
}

TEST(ProcessFiles, OfThePaperHaveTheMsThatIsPublished) {
  const CsvTable table("simc_examples.csv");
  int rows = 0;
  for (const auto& [name, id] : paper_files) {
    const sim::ProcessFile file = shipped(name);
    for (const CsvTable::Row& row : table.rows()) {
      if (row["id"] != id && !row["id"].starts_with(id + "-")) continue;
      if (row["reproducible"] != "yes") continue;
      sim::PidLaw law{{0.0, row["Kc"].empty() ? row.number("KI_if_pure_integral") : 0.0, 0.0}, 0.0, 1.0};
      if (!row["Kc"].empty())
        law.gains = sim::parallel(sim::SeriesGains{row.number("Kc"), row.number("tauI"), row.number("tauD_series")});
      EXPECT_NEAR(sim::judged(file, law).judgement.margins.sensitivity_peak, row.number("Ms_published"), 0.006)
          << name << " " << row["id"];
      ++rows;
    }
  }
  EXPECT_EQ(rows, 28);
}

TEST(ProcessFiles, OfOneLagAndDelayGiveTheTablesGains) {
  const CsvTable table("pid_tuning_rule_values.csv");
  int rows = 0;
  for (const auto& [name, values] : first_order_files) {
    const sim::ProcessFile file = shipped(name);
    for (const CsvTable::Row& row : table.rows()) {
      if (row["rule"] != "AMIGO" || row["K"] != values[0] || row["T"] != values[1] || row["L"] != values[2]) continue;
      const sim::PidKind kind = row["controller"] == "PI" ? sim::PidKind::pi : sim::PidKind::pid;
      const sim::RuleResult result = sim::tuned(file.process, sim::TuningRule::amigo, {kind});
      EXPECT_NEAR(result.gains.gain, row.number("Kc_ideal_form"), 1e-4 * row.number("Kc_ideal_form")) << name;
      EXPECT_NEAR(result.gains.integral_s, row.number("Ti"), 1e-4 * row.number("Ti")) << name;
      ++rows;
    }
  }
  EXPECT_EQ(rows, 14);
  EXPECT_NEAR(sim::relay_cycle(shipped("relay_three_lags.yaml").process, 1.0, 0.0)->amplitude, 0.163061483, 1e-8);  // relay_autotune.csv
}

TEST(ProcessFiles, AreAllNamedHereAndSayTheirSource) {
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(std::string(source_folder) + "/configs/processes")) {
    EXPECT_FALSE(sim::read_process_file(entry.path()).source.empty()) << entry.path();
    ++files;
  }
  EXPECT_EQ(files, static_cast<int>(paper_files.size() + first_order_files.size() + 1));
}

TEST(TuningJson, HasGainsWithUnitsAndNullWhereThereIsNothing) {
  const sim::ProcessFile file = read("lags: [4 s]\ndelay: 1 s\ninput_unit: W\noutput_unit: K\n");
  sim::TuningWish wish;
  wish.rules = {"simc", "zn-step"};
  wish.kinds = {sim::PidKind::p, sim::PidKind::pi};
  const nlohmann::json root = nlohmann::json::parse(sim::tuning_json(file, sim::tune(file, wish)));
  ASSERT_EQ(root["candidates"].size(), 3u);  // simc has no P controller
  const nlohmann::json& simc = root["candidates"][0];
  EXPECT_EQ(simc["rule"], "simc");
  EXPECT_EQ(simc["gains"]["form"], "isa");
  EXPECT_NEAR(simc["gains"]["gain"]["value"].get<double>(), 2.0, 1e-12);
  EXPECT_EQ(simc["gains"]["gain"]["unit"], "W/K");
  EXPECT_NEAR(simc["gains"]["integral"]["value"].get<double>(), 4.0, 1e-12);
  EXPECT_EQ(simc["gains"]["integral"]["unit"], "s");
  EXPECT_NEAR(simc["margins"]["Ms"].get<double>(), 1.5905, 1e-3);
  EXPECT_NEAR(simc["load"]["iae"].get<double>(), 2.0, 0.01);
  const nlohmann::json& proportional = root["candidates"][1];
  EXPECT_EQ(proportional["controller"], "p");
  EXPECT_TRUE(proportional["gains"]["integral"].is_null());
  EXPECT_TRUE(proportional["setpoint"]["iae"].is_null());  // never on the set point
  EXPECT_EQ(root["recommended"], 0);
}

// Dead time 1 s, a period of 0.4 s and as much latency: 1.6 s to SIMC, which takes 10 / (2 * 1.6) for its gain.
TEST(TuningDesk, CountsLatencyAndHalfAPeriodAsDeadTime) {
  const sim::ProcessFile file = read("lags: [10 s]\ndelay: 1 s\nsampling: {period: 400 ms}\n");
  sim::TuningWish wish;
  wish.rules = {"simc"};
  const sim::TuningDesk desk = sim::tune(file, wish);
  ASSERT_TRUE(desk.candidates[0].basis.has_value());
  EXPECT_NEAR(desk.candidates[0].basis->model->delay_s, 1.6, 1e-12);
  EXPECT_NEAR(desk.candidates[0].basis->gains.gain, 10.0 / 3.2, 1e-12);
  // what the rule promises of a loop without sampling: 1.59
  EXPECT_NEAR(desk.candidates[0].judgement.margins.sensitivity_peak, 1.6, 0.05);
}

TEST(Recommendation, KeepsTheLimitAndSaysWhy) {
  const sim::ProcessFile file = read("lags: [10 s]\ndelay: 1 s\nsampling: {period: 200 ms}\n");
  sim::TuningWish wish;
  wish.sensitivity_max = 1.5;
  const sim::TuningDesk desk = sim::tune(file, wish);
  ASSERT_GE(desk.recommended, 0);
  const sim::TuningCandidate& best = desk.candidates[static_cast<std::size_t>(desk.recommended)];
  EXPECT_LE(best.judgement.margins.sensitivity_peak, 1.5 * 1.001);
  EXPECT_EQ(best.rule, "search");  // which also sees the sampling
  EXPECT_THAT(desk.reason, testing::HasSubstr("least error"));
  EXPECT_THAT(sim::tuning_text(file, desk), testing::HasSubstr("recommended: search"));
}

}  // namespace
