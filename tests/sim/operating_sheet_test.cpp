// The operating sheet: what it refuses, and that its tables speak of everything the controller can do.
#include "sim/operating_sheet.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "firmware/interlocks.h"
#include "sim/input_error.h"
#include "sim/sheet_figure.h"
#include "sim/sheet_guide.h"
#include "tests/checkout.h"

namespace {

using testing::HasSubstr;

const std::filesystem::path cycles = std::filesystem::path(source_folder) / "configs" / "scenarios" / "cycles";

// A run without its rows: what the sheet has to say then comes from the scenario alone.
sim::SheetRun unrun(const std::string& scenario, const std::vector<std::string>& changes = {}) {
  sim::SheetRun run;
  run.scenario = sim::load_scenario(cycles / scenario, changes);
  run.resolved = sim::parse_yaml(run.scenario.resolved_yaml, "resolved.yaml");
  run.folder = "runs/made_up";
  return run;
}

TEST(OperatingSheet, RefusesRunsOfAnotherProgrammeAndNamesTheSegment) {
  const std::vector<sim::SheetRun> runs{unrun("titanium_stress_relief.yaml"),
                                        unrun("titanium_stress_relief.yaml", {"programme.leak test.leak_test.rise_below=21 Pa/min"})};
  try {
    sim::check_same_programme(runs);
    FAIL() << "two programmes passed for one";
  } catch (const sim::InputError& error) {
    EXPECT_THAT(error.what(), HasSubstr("as segment 4 `leak test`"));
    EXPECT_THAT(error.what(), HasSubstr("at most 21 Pa/min"));
    EXPECT_THAT(error.what(), HasSubstr("at most 20 Pa/min"));
  }
  EXPECT_THROW(sim::check_same_programme({unrun("titanium_stress_relief.yaml"), unrun("air_cycle.yaml")}), sim::InputError);
}

TEST(OperatingSheet, TakesRunsOfOneProgrammeWithAnotherSeedAndFurnace) {
  EXPECT_NO_THROW(sim::check_same_programme(
      {unrun("titanium_stress_relief.yaml"), unrun("titanium_stress_relief.yaml", {"seed=2", "furnace.load.mass=0.7 kg"})}));
}

TEST(OperatingSheet, WarnsOfARunThatDidNotPass) {
  sim::SheetRun run = unrun("air_cycle.yaml");
  run.summary.verdict = "fail";
  EXPECT_THAT(sim::sheet_html({run}, {}), HasSubstr("Not to be used at a furnace"));
}

TEST(SheetGuide, EveryRuleCanBeSaidOfTheShippedFurnaces) {
  const std::vector<sim::SheetRun> runs{unrun("titanium_stress_relief.yaml")};
  const sim::SheetFigures figures(runs, {});
  for (const sim::GuideRule& rule : sim::guide_rules()) EXPECT_NE(figures.sentence(rule.text), "") << rule.text;
}

TEST(SheetGuide, LeavesGasAndVacuumOutWhereThereIsNone) {
  const sim::Scenario air = sim::load_scenario(cycles / "air_cycle.yaml");
  std::uint32_t rows = 0;
  for (const sim::GuideRule& rule : sim::guide_rules())
    if (sim::applies(rule.scope, air, ~0u, true) || sim::applies(rule.scope, air, 0, false)) rows |= rule.rows;
  EXPECT_NE(rows & (1u << fw::row::limiter), 0u);
  for (const int row : {fw::row::over_pressure, fw::row::supply_lost, fw::row::pump_lost, fw::row::oxygen, fw::row::low_pressure})
    EXPECT_EQ(rows & (1u << row), 0u) << row;
}

TEST(SheetFigures, SayWhereSetValuesOfTheRunsDiffer) {
  const std::vector<sim::SheetRun> runs{unrun("titanium_stress_relief.yaml"),
                                        unrun("titanium_stress_relief.yaml", {"controller.limits.zone_trip=860 degC"})};
  const sim::SheetFigures figures(runs, {});
  EXPECT_THAT(figures.value("scenario/controller.limits.zone_trip"), HasSubstr(">850 degC</data> to <data"));
  EXPECT_THAT(figures.value("scenario/controller.limits.zone_trip"), HasSubstr(">860 degC</data>"));
  EXPECT_THAT(figures.value("scenario/controller.limits.zone_alarm"), HasSubstr(">830 degC</data>"));
  EXPECT_EQ(figures.value("scenario/controller.limits.nonsense"), "");
}

}  // namespace
