// The cause-and-effect table that people read is the one the core works by.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <regex>
#include <string>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"
#include "sim/cause_effect.h"
#include "sim/report.h"
#include "tests/checkout.h"
#include "tests/sim/shipped_files.h"

namespace {

TEST(CauseEffect, StandsInTheReadmeAsTheCoreHasIt) {
  const std::string readme = shipped::read(std::filesystem::path(source_folder) / "README.md");
  for (const sim::PrintedTable& table : sim::cause_effect_tables())
    EXPECT_NE(readme.find(sim::markdown_of(table, 3)), std::string::npos)
        << table.title << ": put what `saggar interlocks` prints into README.md";
}

TEST(CauseEffect, HasEveryRowWithItsCauseDelayAndEffect) {
  const auto tables = sim::cause_effect_tables();
  ASSERT_EQ(tables.size(), 3u);
  const auto rows = fw::interlock_table();
  ASSERT_EQ(tables[0].rows.size(), rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    EXPECT_EQ(tables[0].rows[i][1], rows[i].name);
    EXPECT_EQ(tables[0].rows[i][2], rows[i].cause);
    EXPECT_EQ(tables[0].rows[i][3] == "at once", rows[i].delay_ms == 0);
    const bool trips = rows[i].action == fw::InterlockAction::trip || rows[i].action == fw::InterlockAction::trip_over_pressure;
    EXPECT_EQ(tables[0].rows[i][4].starts_with("trip:"), trips) << rows[i].name;
  }
  EXPECT_EQ(tables[1].rows.size(), fw::safe_table().size());
  EXPECT_EQ(tables[2].rows.size(), fw::alarm_table().size());
}

// The design of the furnace's piping: see "Safe values" there, by atmosphere.
TEST(CauseEffect, PrintsTheSafeValuesOfTheDesign) {
  const std::vector<std::vector<std::string>> expected = {
      {"air", "shut", "shut", "open", "open", "shut", "shut", "isolated, then stopped"},
      {"inert gas", "shut", "open", "open", "open", "shut", "shut", "isolated, then stopped"},
      {"combustible gas", "shut", "open", "open", "open", "shut", "shut", "isolated, then stopped"},
      {"vacuum", "shut", "open", "open", "open", "shut", "shut", "isolated, then stopped"},
      {"over-pressure", "shut", "shut", "open", "open", "open", "shut", "isolated, then stopped"}};
  EXPECT_EQ(sim::cause_effect_tables()[1].rows, expected);
}

// interlock.trip and interlock.inhibit name the row. Row 22 is a check inside the core, which nothing outside can bring about.
TEST(CauseEffect, HasAScenarioForEveryRow) {
  std::string every;
  const auto folder = std::filesystem::path(source_folder) / "configs" / "scenarios";
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder))
    if (entry.path().extension() == ".yaml") every += shipped::read(entry.path());
  for (const fw::InterlockRow& row : fw::interlock_table()) {
    if (row.number == fw::row::internal_fault) continue;
    const bool trips = row.action == fw::InterlockAction::trip || row.action == fw::InterlockAction::trip_over_pressure;
    const std::regex named((trips ? "interlock\\.trip == " : "interlock\\.inhibit == ") + std::to_string(row.number) + "\\b");
    EXPECT_TRUE(std::regex_search(every, named)) << "row " << int{row.number} << " " << row.name << " has no scenario";
  }
}

TEST(CauseEffect, StandsInTheReport) {
  const std::string page = sim::report_html(sim::ReportData{});
  for (const sim::PrintedTable& table : sim::cause_effect_tables())
    EXPECT_THAT(page, testing::HasSubstr(sim::html_of(table))) << table.title;
}

}  // namespace
