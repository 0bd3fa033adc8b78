// What a run leaves in its folder.
#include "sim/recording.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <pugixml.hpp>

#include <sys/resource.h>
#include <unistd.h>

#include <cmath>
#include <fstream>
#include <iterator>
#include <limits>

#include "sim/fixed_decimal.h"
#include "sim/junit.h"
#include "sim/report.h"
#include "sim/trace.h"
#include "tests/checkout.h"
#include "tests/sim/synthetic_run.h"

namespace {

using testing::HasSubstr;
using testing::Not;

std::string contents(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find("\r\n", at);
    if (end == std::string::npos) break;
    lines.push_back(text.substr(at, end - at));
    at = end + 2;
  }
  return lines;
}

std::string fixed(double value, int decimals) {
  char text[sim::fixed_decimal_bytes];
  return {text, static_cast<std::size_t>(sim::write_fixed(text, value, decimals) - text)};
}

class Recording : public testing::Test {
 protected:
  Recording() {
    std::filesystem::remove_all(folder_);
    std::filesystem::create_directories(folder_.parent_path());
  }
  ~Recording() override { std::filesystem::remove_all(folder_); }

  // Runs the made-up cycle to end_s and finishes it.
  sim::Summary run(double end_s, const sim::Ending& ending = {}, const sim::Scenario& scenario = synthetic::scenario(),
                   double glitch_s = -1.0) {
    const sim::SignalTable table = synthetic::table();
    sim::Recorder recorder(scenario, table, folder_, 0.1);
    for (int k = 0; 0.1 * k < end_s; ++k) {
      const double time_s = 0.1 * k;
      std::vector<double> frame = synthetic::frame_at(time_s);
      if (std::fabs(time_s - glitch_s) < 1e-6) frame[6] = 6100.0;
      std::vector<sim::Event> events;
      if (k == 1234) events.push_back({time_s, "operator", "sent", "hold, \"now\""});
      recorder.on_tick(time_s, synthetic::segment_at(time_s), frame, events);
    }
    return recorder.finish(ending);
  }

  std::filesystem::path folder_ = std::filesystem::path(build_folder) / "test_runs" / ("recording_" + std::to_string(::getpid()));
};

TEST_F(Recording, LeavesEveryFileUnderItsOwnName) {
  run(100.0);
  std::vector<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator(folder_)) names.push_back(entry.path().filename().string());
  EXPECT_THAT(names, testing::UnorderedElementsAre("summary.json", "trace.csv", "events.csv", "moments.csv", "junit.xml", "resolved.yaml",
                                                   "controller_log.csv", "run_record.csv",
                                                   "report.html"));
}

TEST_F(Recording, WritesARowPerIntervalAndAtEveryEvent) {
  run(200.0);
  const std::vector<std::string> lines = lines_of(contents(folder_ / "trace.csv"));
  EXPECT_THAT(lines[0], testing::StartsWith("time [s],programme.state [1],programme.segment [1],"));
  EXPECT_THAT(lines[0], HasSubstr(",pressure.pv [Pa gauge],"));
  EXPECT_THAT(lines[1], testing::StartsWith("0.0,1,0,1,0,0,16.00,"));
  EXPECT_EQ(lines.size(), 1u + 200u + 1u + 1u);             // head, seconds 0..199, the event at 123.4, the last tick
  EXPECT_THAT(lines[1 + 124], testing::StartsWith("123.4,"));
  EXPECT_THAT(lines.back(), testing::StartsWith("199.9,"));
  const std::size_t commas = static_cast<std::size_t>(std::count(lines[0].begin(), lines[0].end(), ','));
  for (const std::string& line : lines) EXPECT_EQ(static_cast<std::size_t>(std::count(line.begin(), line.end(), ',')), commas);
}

TEST_F(Recording, QuotesEventsAsRfc4180Says) {
  run(200.0);
  const std::vector<std::string> lines = lines_of(contents(folder_ / "events.csv"));
  ASSERT_GE(lines.size(), 2u);
  EXPECT_EQ(lines[0], "time [s],source,kind,text");
  EXPECT_EQ(lines[1], "123.4,operator,sent,\"hold, \"\"now\"\"\"");
  const sim::CsvTable table = sim::read_csv(folder_ / "events.csv");
  EXPECT_EQ(table.rows[0][3], "hold, \"now\"");
}

TEST_F(Recording, SummarisesTheRun) {
  sim::Ending ending;
  ending.line.frames = 150000;
  ending.controller_hash = 0x0123456789abcdefULL;
  ending.begin = std::chrono::steady_clock::now();
  const sim::Summary summary = run(15000.0, ending);
  const auto json = nlohmann::json::parse(contents(folder_ / "summary.json"));
  EXPECT_EQ(json.at("verdict"), "fail");                    // `purged` was never judged
  EXPECT_EQ(json.at("scenario"), "made_up");
  EXPECT_EQ(json.at("seed"), 7);
  EXPECT_EQ(json.at("ticks"), 150000);
  EXPECT_EQ(json.at("evaluations"), 150000);
  EXPECT_DOUBLE_EQ(json.at("simulated_s"), 15000.0);
  EXPECT_GT(json.at("wall_s"), 0.0);
  EXPECT_EQ(json.at("hash").at("controller"), "0123456789abcdef");
  EXPECT_EQ(json.at("line").at("frames"), 150000);
  EXPECT_EQ(json.at("expectations").size(), 5u);
  EXPECT_EQ(json.at("expectations")[0].at("verdict"), "pass");
  EXPECT_NEAR(json.at("expectations")[0].at("margin"), 1835.0, 1e-9);   // greatest gauge at 899.9 s: 105000 * 299.9 / 300 - 100800 = 4165
  EXPECT_EQ(json.at("expectations")[0].at("unit"), "Pa gauge");
  EXPECT_EQ(json.at("expectations")[3].at("margin"), 1.0);
  EXPECT_TRUE(json.at("expectations")[4].at("margin").is_null());
  EXPECT_THAT(json.at("expectations")[4].at("note").get<std::string>(), HasSubstr("never judged"));
  EXPECT_NEAR(json.at("totals").at("energy_kwh"), 14999.9 * 3e-4, 1e-9);
  EXPECT_EQ(json.at("totals").at("time_in_trip_s"), 0.0);
  EXPECT_EQ(json.at("segments").size(), 5u);
  EXPECT_EQ(json.at("segments")[3].at("name"), "soak");
  EXPECT_DOUBLE_EQ(json.at("segments")[3].at("from_s"), 6900.0);
  EXPECT_THAT(contents(folder_ / "summary.json"), Not(HasSubstr("nan")));
}

TEST_F(Recording, SeesAGlitchOfOneTickBetweenTwoRows) {
  const sim::Summary summary = run(2000.0, {}, synthetic::scenario(), 1500.3);
  EXPECT_FALSE(summary.expectations[0].pass);
  EXPECT_DOUBLE_EQ(summary.expectations[0].at_s, 1500.3);
  EXPECT_THAT(contents(folder_ / "trace.csv"), HasSubstr("\r\n1500.3,"));          // a row of its own
  EXPECT_THAT(contents(folder_ / "events.csv"), HasSubstr("1500.3,expectation,violated,the gauge stays below 6 kPa\r\n"));
}

TEST_F(Recording, RepeatsToTheByteButForTheWallClock) {
  run(1000.0);
  const std::string report = contents(folder_ / "report.html"), trace = contents(folder_ / "trace.csv"),
                    junit = contents(folder_ / "junit.xml");
  run(1000.0);
  EXPECT_EQ(contents(folder_ / "report.html"), report);
  EXPECT_EQ(contents(folder_ / "trace.csv"), trace);
  EXPECT_EQ(contents(folder_ / "junit.xml"), junit);
}

TEST_F(Recording, IsValidWhenTheRunWasBroken) {
  sim::Ending ending;
  ending.broken_by = "interrupted";
  run(50.0, ending);
  const auto json = nlohmann::json::parse(contents(folder_ / "summary.json"));
  EXPECT_EQ(json.at("verdict"), "broken");
  EXPECT_EQ(json.at("ticks"), 500);
  pugi::xml_document document;
  ASSERT_TRUE(document.load_file((folder_ / "junit.xml").c_str()));
  EXPECT_EQ(document.select_node("//testcase[@name='run']/error/@message").attribute().value(), std::string("interrupted"));
}

TEST_F(Recording, LeavesNothingWhenItIsDropped) {
  {
    const sim::SignalTable table = synthetic::table();
    sim::Recorder recorder(synthetic::scenario(), table, folder_, 0.1);
    recorder.on_tick(0.0, 0, synthetic::frame_at(0.0), {});
  }
  EXPECT_TRUE(std::filesystem::is_empty(folder_));
}

TEST_F(Recording, LeavesNothingHalfWrittenWhenTheDiskIsFull) {
  rlimit before{};
  ASSERT_EQ(getrlimit(RLIMIT_FSIZE, &before), 0);
  rlimit small = before;
  small.rlim_cur = 300000;                                  // less than the trace or the report need
  ASSERT_EQ(setrlimit(RLIMIT_FSIZE, &small), 0);
  std::string message;
  try {
    run(3000.0);
  } catch (const sim::RecordingError& error) {
    message = error.what();
  }
  setrlimit(RLIMIT_FSIZE, &before);
  EXPECT_THAT(message, HasSubstr("trace.csv"));
  EXPECT_THAT(message, HasSubstr("larger than allowed"));
  EXPECT_TRUE(std::filesystem::is_empty(folder_));
}

TEST_F(Recording, SaysWhyAFolderCannotBeUsed) {
  std::ofstream(folder_) << "a file where the folder should be";
  const sim::SignalTable table = synthetic::table();
  try {
    sim::Recorder recorder(synthetic::scenario(), table, folder_ / "run", 0.1);
    FAIL() << "accepted";
  } catch (const sim::RecordingError& error) {
    EXPECT_THAT(error.what(), HasSubstr((folder_ / "run").string()));
    EXPECT_THAT(error.what(), HasSubstr("can't make this folder"));
  }
}

TEST(FixedDecimal, WritesWhatPrintfWouldButForHalves) {
  EXPECT_EQ(fixed(0.0, 0), "0");
  EXPECT_EQ(fixed(-0.0, 2), "0.00");
  EXPECT_EQ(fixed(-0.004, 2), "0.00");
  EXPECT_EQ(fixed(-0.005, 2), "-0.01");
  EXPECT_EQ(fixed(3.14159, 3), "3.142");
  EXPECT_EQ(fixed(100800.0, 2), "100800.00");
  EXPECT_EQ(fixed(9.999, 2), "10.00");
  EXPECT_EQ(fixed(0.05, 3), "0.050");
  EXPECT_EQ(fixed(1e18, 2), "1000000000000000000.00");
  EXPECT_EQ(fixed(std::numeric_limits<double>::quiet_NaN(), 2), "");
  EXPECT_EQ(fixed(std::numeric_limits<double>::infinity(), 2), "");
  std::uint64_t state = 1;
  for (int i = 0; i < 20000; ++i) {
    state = state * 6364136223846793005ULL + 1442695040888963407ULL;
    const double value = (static_cast<double>(state >> 11) / 9007199254740992.0 - 0.5) * std::pow(10.0, static_cast<double>(i % 9));
    const int decimals = i % 5;
    char expected[64];
    std::snprintf(expected, sizeof expected, "%.*f", decimals, value);
    if (expected[0] == '-' && std::string(expected).find_first_not_of("-0.") == std::string::npos) continue;   // printf's -0
    EXPECT_EQ(fixed(value, decimals), expected);
    EXPECT_EQ(sim::rounded_fixed(value, decimals), std::strtod(expected, nullptr));
  }
}

TEST(Junit, HoldsOnlyWhatXmlCan) {
  EXPECT_EQ(sim::xml_text("a\x01\x1b[31mb\x7f\tc\n"), "a[31mb\tc\n");
  EXPECT_EQ(sim::xml_text("\xff k\xc3\xbchl \xed\xa0\x80"), "\xEF\xBF\xBD k\xc3\xbchl \xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");
  sim::Summary summary;
  summary.scenario = "a & b";
  summary.simulated_s = 12.5;
  sim::ExpectationResult result;
  result.name = "x \x02<y>";
  result.statement = "always x < 5";
  result.judged = true;
  result.margin = -1.5;
  result.unit = "K";
  result.judged_s = 3.25;
  summary.expectations = {result};
  pugi::xml_document document;
  ASSERT_TRUE(document.load_string(sim::junit_xml(summary).c_str()));
  const pugi::xml_node suite = document.child("testsuites").child("testsuite");
  EXPECT_STREQ(suite.attribute("name").value(), "a & b");
  EXPECT_EQ(suite.attribute("tests").as_int(), 1);
  EXPECT_EQ(suite.attribute("failures").as_int(), 1);
  EXPECT_DOUBLE_EQ(suite.attribute("time").as_double(), 12.5);
  const pugi::xml_node one = suite.child("testcase");
  EXPECT_STREQ(one.attribute("name").value(), "x <y>");
  EXPECT_DOUBLE_EQ(one.attribute("time").as_double(), 3.25);
  EXPECT_THAT(one.child("failure").attribute("message").value(), HasSubstr("-1.5 K"));
}

TEST(Junit, FailsARunWithoutExpectations) {
  sim::Summary summary;
  summary.verdict = "fail";
  pugi::xml_document document;
  ASSERT_TRUE(document.load_string(sim::junit_xml(summary).c_str()));
  EXPECT_EQ(document.child("testsuites").child("testsuite").attribute("failures").as_int(), 1);
}

}  // namespace
