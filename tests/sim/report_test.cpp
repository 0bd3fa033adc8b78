// The report: thinning, self-containment, and that it can be made again from the run's files.
#include "sim/report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <unistd.h>

#include <cmath>
#include <cstdio>
#include <fstream>
#include <iterator>

#include "sim/input_error.h"
#include "sim/recording.h"
#include "tests/checkout.h"
#include "tests/sim/synthetic_run.h"

namespace {

using testing::HasSubstr;
using testing::Not;

std::string contents(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

class Report : public testing::Test {
 protected:
  ~Report() override { std::filesystem::remove_all(folder_); }

  std::string run(double end_s, double period_s) {
    const sim::SignalTable table = synthetic::table();
    sim::Recorder recorder(synthetic::scenario(), table, folder_, period_s);
    for (int k = 0; period_s * k < end_s; ++k) {
      const double time_s = period_s * k;
      std::vector<sim::Event> events;
      if (k % 5000 == 17) events.push_back({time_s, "alarm", "raised", "oxygen <high> & more"});
      recorder.on_tick(time_s, synthetic::segment_at(time_s), synthetic::frame_at(time_s), events);
    }
    recorder.finish({});
    return contents(folder_ / "report.html");
  }

  std::filesystem::path folder_ = std::filesystem::path(build_folder) / "test_runs" / ("report_" + std::to_string(::getpid()));
};

TEST_F(Report, NeedsNothingFromOutside) {
  const std::string page = run(20000.0, 1.0);
  EXPECT_THAT(page, HasSubstr("default-src 'none'"));
  for (const char* fetch : {" src=", "<link", "<img", "@import", "url(http", "sourceMappingURL"}) EXPECT_THAT(page, Not(HasSubstr(fetch)));
  EXPECT_LT(page.size(), 3000000u);
}

TEST_F(Report, EscapesWhatTheScenarioSays) {
  const std::string page = run(100.0, 1.0);
  EXPECT_THAT(page, HasSubstr("A made-up cycle &lt;with &quot;marks&quot; &amp; signs&gt;"));
  EXPECT_THAT(page, HasSubstr("# &lt;/script&gt; &amp; &lt;b&gt;"));
  EXPECT_THAT(page, HasSubstr("oxygen &lt;high&gt; &amp; more"));
}

TEST_F(Report, SaysVerdictsInWordsAndGivesCautions) {
  const std::string page = run(3000.0, 1.0);
  EXPECT_THAT(page, HasSubstr("✓ pass"));
  EXPECT_THAT(page, HasSubstr("✕ fail"));
  EXPECT_THAT(page, HasSubstr("never judged"));
  EXPECT_THAT(page, HasSubstr("asphyxiating or flammable gas kill"));
  EXPECT_THAT(page, HasSubstr("Local codes and licensed practice decide"));
  EXPECT_THAT(page, HasSubstr("<th scope=\"col\" class=\"number\">load thermocouple [degC]</th>"));
}

TEST_F(Report, IsMadeAgainFromTheRunsFilesToTheByte) {
  const std::string page = run(20000.0, 0.5);
  std::filesystem::remove(folder_ / "report.html");
  sim::rebuild_report(folder_);
  EXPECT_EQ(contents(folder_ / "report.html"), page);
}

TEST_F(Report, NamesTheFileThatIsMissingOrWrong) {
  run(100.0, 1.0);
  std::ofstream(folder_ / "trace.csv", std::ios::app) << "100.0,oops\r\n";
  try {
    sim::rebuild_report(folder_);
    FAIL() << "accepted";
  } catch (const sim::InputError& error) {
    EXPECT_THAT(error.what(), HasSubstr("trace.csv:102:"));
  }
  std::filesystem::remove(folder_ / "summary.json");
  EXPECT_THROW(sim::rebuild_report(folder_), sim::InputError);
}

TEST(ChartData, KeepsEveryPeakWhileItThins) {
  const sim::SignalTable table = synthetic::table();
  sim::ChartData charts(table, 1.0);
  std::vector<double> frame = synthetic::frame_at(1000.0);
  constexpr int rows = 43200, peak = 31234, dip = 12345;
  for (int k = 0; k < rows; ++k) {
    frame[5] = k == peak ? 900.0 : k == dip ? -7.0 : 100.0 + k % 3;
    charts.add(k, frame);
  }
  EXPECT_LE(charts.intervals(), static_cast<std::size_t>(sim::chart_intervals_max));
  EXPECT_GE(charts.intervals(), static_cast<std::size_t>(sim::chart_intervals_max / 2));
  const auto column = static_cast<std::size_t>(charts.column("load.pv"));
  int peaks = 0, dips = 0;
  for (std::size_t i = 0; i < charts.intervals(); ++i) {
    const double from_s = charts.index(i) * charts.width_s(), to_s = from_s + charts.width_s();
    const sim::ChartData::Cell& cell = charts.cell(i, column);
    if (cell.high == 900.0) {
      ++peaks;
      EXPECT_TRUE(from_s <= peak && peak < to_s);
    }
    if (cell.low == -7.0) {
      ++dips;
      EXPECT_TRUE(from_s <= dip && dip < to_s);
    }
  }
  EXPECT_EQ(peaks, 1);
  EXPECT_EQ(dips, 1);
}

}  // namespace
