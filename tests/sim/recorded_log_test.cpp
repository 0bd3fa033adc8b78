// Logs of real loggers, small ones made by hand: local time and the hour that comes twice, gaps, decimal commas, units, alignment,
// and every mistake named with file, line and column.
#include "sim/recorded_log.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "sim/comparison.h"
#include "sim/input_error.h"
#include "sim/local_time.h"
#include "sim/overlay.h"
#include "tests/sim/shipped_files.h"

namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;
using Rule = sim::LogMapping::DaylightSaving;

double stamp(const char* text) { return sim::stamp_of(text, "YYYY-MM-DD hh:mm:ss").value(); }

TEST(Stamp, IsReadByItsPattern) {
  EXPECT_DOUBLE_EQ(stamp("1970-01-02 00:00:01"), 86401);
  EXPECT_DOUBLE_EQ(stamp("2001-09-09 01:46:40"), 1e9) << "a well-known instant of the epoch";
  EXPECT_DOUBLE_EQ(sim::stamp_of("09.09.01 01:46:40,5", "DD.MM.YY hh:mm:ss").value(), 1e9 + 0.5);
  for (const char* wrong : {"2026-02-29 00:00:00", "2026-13-01 00:00:00", "2026-01-01 24:00:00", "2026-01-01 00:00",
                            "2026-01-01T00:00:00"}) {
    EXPECT_FALSE(sim::stamp_of(wrong, "YYYY-MM-DD hh:mm:ss")) << wrong;
  }
  EXPECT_DOUBLE_EQ(sim::elapsed_of("100:02:03.5").value(), 360123.5);
  EXPECT_FALSE(sim::elapsed_of("0:60:00"));
  EXPECT_FALSE(sim::elapsed_of("12:00"));
}

// published: directive 2000/84/EC, articles 2 and 3: last Sunday of March and of October, 1 a.m. UTC. In 2026 the 29th and the 25th.
TEST(LocalClock, FollowsTheRuleOfEurope) {
  sim::LocalClock clock(3600, Rule::europe);
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-03-29 01:59:59")).value(), stamp("2026-03-29 00:59:59"));
  EXPECT_FALSE(clock.utc(stamp("2026-03-29 02:30:00"))) << "left out";
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-03-29 03:00:00")).value(), stamp("2026-03-29 01:00:00"));
  EXPECT_TRUE(clock.saving());
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-10-25 02:30:00")).value(), stamp("2026-10-25 00:30:00")) << "the first time";
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-10-25 02:10:00")).value(), stamp("2026-10-25 01:10:00")) << "the second";
  EXPECT_FALSE(clock.saving());
}

// published: 15 U.S.C. 260a: second Sunday of March and first Sunday of November, 2 a.m. In 2026 the 8th and the 1st.
TEST(LocalClock, FollowsTheRuleOfNorthAmerica) {
  sim::LocalClock clock(-5 * 3600, Rule::north_america);
  EXPECT_FALSE(clock.utc(stamp("2026-03-08 02:00:00")));
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-03-08 03:00:00")).value(), stamp("2026-03-08 07:00:00"));
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-11-01 01:30:00")).value(), stamp("2026-11-01 05:30:00"));
  EXPECT_DOUBLE_EQ(clock.utc(stamp("2026-11-01 01:20:00")).value(), stamp("2026-11-01 06:20:00"));
}

class RecordedLog : public testing::Test {
 protected:
  // The run: 20 degC, from 100 s on 0.5 K/s; 4 kPa.
  static sim::Baseline run() {
    sim::Baseline made;
    made.source = "run";
    for (const auto& [name, unit] : {std::pair{"heat.1.pv", "degC"}, {"pressure.pv", "Pa gauge"}}) {
      sim::Signal signal;
      signal.name = name;
      signal.unit = unit;
      signal.decimals = 2;
      made.signals.push_back({sim::SignalTable({signal}).signals()[0], {}, 0.0, 0.0});
    }
    for (double t = 0; t <= 1000; t += 1) {
      made.signals[0].line.add(t, t < 100 ? 20 : 20 + 0.5 * (t - 100));
      made.signals[1].line.add(t, 4000);
    }
    made.end_s = 1000;
    return made;
  }

  sim::RecordedLog read(const std::string& mapping, const std::string& log) const {
    shipped::write(folder_ / "log.csv", log);
    return sim::read_log(folder_ / "log.csv", sim::read_mapping(sim::parse_yaml(mapping, "map.yaml")), run());
  }

  // The message of what is refused.
  std::string refusal(const std::string& mapping, const std::string& log) const {
    try {
      (void)read(mapping, log);
    } catch (const sim::InputError& error) {
      return error.what();
    }
    return "accepted";
  }

  std::filesystem::path folder_ = shipped::scratch("recorded_log");
};

constexpr const char* plain =
    "time: {column: t, format: seconds}\n"
    "columns:\n  - {column: T, signal: heat.1.pv, unit: degC}\n";

TEST_F(RecordedLog, ConvertsUnitsDecimalCommasAndNamesWhatItIgnores) {
  const sim::RecordedLog log = read(
      "separator: semicolon\ndecimal: comma\nheader_line: 2\ntime: {column: t, format: elapsed}\ncolumns:\n"
      "  - {column: \"T [F]\", signal: heat.1.pv, unit: degF}\n  - {column: p, signal: pressure.pv, unit: mbar gauge}\n",
      "some logger\r\nt;door;T [F];p\r\n0:00:00;shut;68,0;40,0\r\n0:00:10;shut;212,0;+40,25\r\n0:00:20;shut;\"1000,4\";-1,5\r\n");
  EXPECT_THAT(log.recorded.signals[0].line.values, ElementsAre(testing::DoubleNear(20, 1e-9), testing::DoubleNear(100, 1e-9),
                                                               testing::DoubleNear(538, 1e-9)));
  EXPECT_THAT(log.recorded.signals[1].line.values, ElementsAre(testing::DoubleNear(4000, 1e-9), testing::DoubleNear(4025, 1e-9),
                                                               testing::DoubleNear(-150, 1e-9)));
  EXPECT_THAT(log.recorded.signals[0].line.times_s, ElementsAre(0, 10, 20));
  EXPECT_THAT(log.ignored, ElementsAre("door"));
}

TEST_F(RecordedLog, KeepsMissingValuesAndRowsAsGapsThatAreNotCompared) {
  const std::string head = "missing: [\"---\"]\n";
  const sim::RecordedLog log = read(head + plain, "t,T\n0,20\n10,20\n20,---\n30,\n40,20\n50,20\n200,70\n210,75\n");
  const sim::Polyline& line = log.recorded.signals[0].line;
  for (const double inside : {15.0, 20.0, 25.0, 35.0, 60.0, 125.0, 190.0}) EXPECT_TRUE(std::isnan(line.at(inside))) << inside;
  EXPECT_DOUBLE_EQ(line.at(5), 20);
  EXPECT_DOUBLE_EQ(line.at(205), 72.5);
  EXPECT_THAT(log.notes.at(0), HasSubstr("no rows for 150.0 s, from 50.0 s after the first"));
  const sim::Comparison same = sim::compare_runs(run(), log.recorded, {}, true);
  EXPECT_FALSE(same.differs) << sim::comparison_text(same);
  EXPECT_DOUBLE_EQ(same.signals.at(0).covered_s, 10 + 10 + 10) << "three stretches between two values each";
  const std::string page = sim::recorded_page(same, run(), log, "made up");
  EXPECT_THAT(page, HasSubstr("null")) << "no line is drawn there";
  EXPECT_THAT(page, HasSubstr("\"gaps\":true"));
  for (const char* fetch : {" src=", "<link", "<img", "@import", "url(http"}) EXPECT_THAT(page, Not(HasSubstr(fetch)));
}

TEST_F(RecordedLog, SparseColumnsHaveNoGaps) {
  const std::string sparse = "time: {column: t, format: seconds}\ncolumns:\n  - {column: T, signal: heat.1.pv, unit: degC, sparse: yes}\n";
  const sim::RecordedLog log = read(sparse, "t,T\n0,20\n10,\n20,\n30,20\n");
  EXPECT_DOUBLE_EQ(log.recorded.signals[0].line.at(15), 20);
}

TEST_F(RecordedLog, CountsTheHourThatComesTwiceAndNamesIt) {
  const std::string local =
      "time: {column: t, format: local, utc_offset: 1 h, daylight_saving: europe}\ngap: 2 h\ncolumns:\n"
      "  - {column: T, signal: heat.1.pv, unit: degC}\n";
  const std::string rows = "t,T\n2026-10-25 02:30:00,20\n2026-10-25 02:59:50,20\n2026-10-25 02:00:00,20\n2026-10-25 02:30:00,20\n";
  const sim::RecordedLog log = read(local, rows);
  EXPECT_THAT(log.recorded.signals[0].line.times_s, ElementsAre(0, 1790, 1800, 3600));
  EXPECT_THAT(log.notes.at(0), HasSubstr("line 4: daylight saving ends, the clock was set back by one hour"));
  EXPECT_THAT(refusal("time: {column: t, format: local}\ncolumns:\n  - {column: T, signal: heat.1.pv, unit: degC}\n", rows),
              testing::AllOf(HasSubstr("log.csv:4:1: "), HasSubstr("-3590.000 s"), HasSubstr("daylight_saving")));
  EXPECT_THAT(refusal(local, "t,T\n2026-03-29 01:59:00,20\n2026-03-29 02:10:00,20\n"), HasSubstr("log.csv:3:1: "));
}

TEST_F(RecordedLog, IsAlignedByAPassageOrAnOffset) {
  const std::string rows = "t,T\n5000,20\n5010,20\n5020,25\n5030,30\n5040,35\n";      // passes 22.5 degC at 5015 s, the run at 105 s
  EXPECT_NEAR(read(std::string("align: {signal: heat.1.pv, above: 22.5 degC}\n") + plain, rows).shift_s, 90, 1e-9);
  EXPECT_NEAR(read(std::string("align: {signal: heat.1.pv, above: 22.5 degC, offset: 1 min}\n") + plain, rows).shift_s, 150, 1e-9);
  EXPECT_NEAR(read(std::string("align: {offset: 12 s}\n") + plain, rows).shift_s, 12, 1e-9);
  const sim::RecordedLog log = read(std::string("align: {signal: heat.1.pv, above: 22.5 degC}\n") + plain, rows);
  EXPECT_FALSE(sim::compare_runs(run(), log.recorded, {}, true).differs);
  EXPECT_THAT(refusal(std::string("align: {signal: heat.1.pv, above: 900 degC}\n") + plain, rows), HasSubstr("never lies above 900 degC"));
  EXPECT_THAT(refusal(std::string("align: {signal: heat.1.pv}\n") + plain, rows), HasSubstr("one of `above`, `below`"));
}

TEST_F(RecordedLog, SaysHowFarTheRunLiesOff) {
  const sim::RecordedLog log = read(plain, "t,T\n0,17\n10,17\n20,17\n30,17\n");
  const sim::Comparison result = sim::compare_runs(run(), log.recorded, {}, true);
  EXPECT_TRUE(result.differs);
  const sim::SignalComparison& one = result.signals.at(0);
  EXPECT_DOUBLE_EQ(one.mean, 3);
  EXPECT_DOUBLE_EQ(one.rms, 3);
  EXPECT_DOUBLE_EQ(one.greatest, 3);
  EXPECT_DOUBLE_EQ(one.first.depth, 1.5) << "a tube of 2 K";
  EXPECT_THAT(sim::recorded_text(result, log), HasSubstr("heat.1.pv [degC]                    3.000"));
}

TEST_F(RecordedLog, NamesEveryMistakeWithItsPlace) {
  EXPECT_THAT(refusal(plain, "t,T\n0,20\n10,2O\n"), HasSubstr("log.csv:3:4: found `2O`"));
  EXPECT_THAT(refusal(plain, "t,T\n0,20\n10\n"), HasSubstr("log.csv:3:1: found 1 fields; expected 2"));
  EXPECT_THAT(refusal(plain, "t,T\n10,20\n10,20\n"), HasSubstr("log.csv:3:1: found `10`; expected a time after"));
  EXPECT_THAT(refusal(plain, "t,U\n0,20\n1,20\n"), testing::AllOf(HasSubstr("map.yaml:3:"), HasSubstr("the column `T`")));
  EXPECT_THAT(refusal(plain, "time,T\n0,20\n1,20\n"), HasSubstr("the column `t`"));
  EXPECT_THAT(refusal(plain, "t,T\n0,20\n"), HasSubstr("fewer than two rows"));
  const auto column = [](const char* signal, const char* unit) {
    return std::string("time: {column: t, format: seconds}\ncolumns:\n  - {column: T, signal: ") + signal + ", unit: " + unit + "}\n";
  };
  EXPECT_THAT(refusal(column("heat.1.pw", "degC"), "t,T\n0,20\n1,20\n"), testing::AllOf(HasSubstr("map.yaml:3:"), HasSubstr("heat.1.pv")));
  EXPECT_THAT(refusal(column("heat.1.pv", "kPa gauge"), "t,T\n0,20\n1,20\n"), HasSubstr("map.yaml:3:"));
  EXPECT_THAT(refusal(column("pressure.pv", "kPa"), "t,T\n0,20\n1,20\n"), HasSubstr("gauge")) << "gauge or abs must be said";
  EXPECT_THAT(refusal(column("pressure.pv", "kPa abs"), "t,T\n0,20\n1,20\n"), HasSubstr("gauge"));
  EXPECT_THAT(refusal(std::string("decimal: comma\n") + plain, "t,T\n0,20\n1,20\n"), HasSubstr("semicolon"));
  EXPECT_THAT(refusal(std::string("separator: semicolon\ndecimal: comma\n") + plain, "t;T\n0;20.5\n1;20,5\n"), HasSubstr("log.csv:2:3: "));
}

}  // namespace
