// The clip of the moment at which an expectation was tightest. Expected values are those of the signals made here.
#include <unistd.h>

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "sim/moment_chart.h"
#include "sim/moment_clip.h"

namespace {

constexpr double period_s = 0.1;

sim::SignalTable table_of_two() {
  sim::Signal a{"plant.gas.gauge", "Pa", 1, sim::Signal::Origin::plant, "gauge"};
  sim::Signal b{"plant.retort", "degC", 2, sim::Signal::Origin::plant, "retort"};
  return sim::SignalTable(std::vector<sim::Signal>{a, b});
}

sim::ExpectationSource source_of(const std::string& predicate, sim::ExpectationSource::Form form = sim::ExpectationSource::Form::always) {
  sim::ExpectationSource source;
  source.name = predicate;
  source.predicate = predicate;
  source.form = form;
  return source;
}

// Runs ticks through expectations and clips; gauge(tick) and retort(tick) give the signals.
template <class Gauge, class Retort>
std::vector<sim::MomentClip> clips_of(const std::vector<sim::ExpectationSource>& sources, int ticks, Gauge gauge, Retort retort) {
  const sim::SignalTable table = table_of_two();
  sim::Expectations expectations(sources, table, {}, period_s);
  sim::MomentRecorder recorder(expectations, table, period_s);
  for (int tick = 0; tick < ticks; ++tick) {
    const std::array<double, 2> frame{gauge(tick), retort(tick)};
    expectations.tick(frame, tick * period_s, -1);
    recorder.tick(frame, expectations);
  }
  expectations.finish();
  return recorder.finish(expectations);
}

std::size_t nearest(const sim::MomentClip& clip, double at_s) {
  std::size_t best = 0;
  for (std::size_t i = 0; i < clip.time_s.size(); ++i)
    if (std::fabs(clip.time_s[i] - at_s) < std::fabs(clip.time_s[best] - at_s)) best = i;
  return best;
}

TEST(MomentClip, shows_a_glitch_of_one_tick_among_its_neighbours) {
  const auto gauge = [](int tick) { return tick == 12345 ? 5900.0 : 4000.0 + std::sin(tick * 0.01); };
  const auto clips = clips_of({source_of("plant.gas.gauge < 6 kPa")}, 30000, gauge, [](int) { return 20.0; });
  ASSERT_EQ(clips.size(), 1u);
  ASSERT_EQ(clips[0].lines.size(), 1u);
  EXPECT_EQ(clips[0].lines[0].limits, std::vector<double>{6000.0});
  const std::size_t at = nearest(clips[0], 1234.5);
  EXPECT_DOUBLE_EQ(clips[0].time_s[at], 12345 * period_s);
  EXPECT_EQ(clips[0].lines[0].values[at], 5900.0);
  EXPECT_EQ(clips[0].lines[0].values[at - 1], gauge(12344));   // every tick around it
  EXPECT_EQ(clips[0].lines[0].values[at + 1], gauge(12346));
  EXPECT_EQ(clips[0].time_s.size(), 121u);
}

TEST(MomentClip, follows_a_margin_that_shrinks_for_hours_to_its_last_moment) {
  const auto retort = [](int tick) { return tick < 100000 ? 20.0 + tick * 0.005 : 520.0 - (tick - 100000) * 0.005; };
  const auto clips = clips_of({source_of("plant.retort < 600 degC")}, 150000, [](int) { return 0.0; }, retort);
  ASSERT_EQ(clips.size(), 1u);
  const std::size_t at = nearest(clips[0], 10000.0);
  EXPECT_DOUBLE_EQ(clips[0].time_s[at], 10000.0);
  EXPECT_DOUBLE_EQ(clips[0].lines[0].values[at], 520.0);
  EXPECT_NEAR(clips[0].time_s.back() - clips[0].time_s.front(), 2 * 60 * 3.2, 3.3);   // minutes, since nothing is sharp
}

// Known 20 min after it, when the window of the formula has passed: the gauge peaks at tick 30000.
TEST(MomentClip, shows_a_moment_that_is_told_late) {
  const auto gauge = [](int tick) { return 4000.0 + (tick == 30000 ? 1500.0 : std::sin(tick * 0.01)); };
  const auto clips = clips_of({source_of("plant.gas.gauge < 5 kPa or always[1 s, 20 min] plant.gas.gauge > 9 kPa")}, 60000, gauge,
                              [](int) { return 20.0; });
  ASSERT_EQ(clips.size(), 1u);
  const std::size_t at = nearest(clips[0], 3000.0);
  EXPECT_DOUBLE_EQ(clips[0].time_s[at], 30000 * period_s);
  EXPECT_EQ(clips[0].lines[0].values[at], 5500.0);
  EXPECT_EQ(clips[0].lines[0].values[at + 1], gauge(30001));
}

TEST(MomentClip, shows_where_an_eventually_came_nearest) {
  const auto gauge = [](int tick) { return 5000.0 - 900.0 * std::exp(-std::pow((tick - 7000) / 400.0, 2)); };
  const auto clips = clips_of({source_of("plant.gas.gauge < 4 kPa", sim::ExpectationSource::Form::eventually)}, 60000, gauge,
                              [](int) { return 0.0; });
  ASSERT_EQ(clips.size(), 1u);
  const std::size_t at = nearest(clips[0], 700.0);
  EXPECT_DOUBLE_EQ(clips[0].lines[0].values[at], 4100.0);   // told only at the end of the run, 88 minutes later
}

TEST(MomentClip, has_every_signal_of_a_joint_statement) {
  const auto clips = clips_of({source_of("plant.gas.gauge > 1 kPa and plant.retort < 100 degC")}, 100,
                              [](int tick) { return 2000.0 + tick; }, [](int tick) { return 20.0 + tick * 0.1; });
  ASSERT_EQ(clips.size(), 1u);
  ASSERT_EQ(clips[0].lines.size(), 2u);
  EXPECT_EQ(clips[0].lines[1].signal, "plant.retort");
  EXPECT_EQ(clips[0].lines[1].limits, std::vector<double>{100.0});
}

TEST(MomentClip, reads_back_from_its_file_to_the_bit) {
  const auto clips = clips_of({source_of("plant.gas.gauge > 1 kPa and plant.retort < 100 degC"), source_of("plant.gas.gauge < 7 kPa")}, 500,
                              [](int tick) { return 2000.0 + tick / 3.0; }, [](int tick) { return 20.0 + std::sqrt(tick); });
  const std::filesystem::path file = std::filesystem::path(testing::TempDir()) / ("moments_of_test_" + std::to_string(getpid()) + ".csv");
  std::ofstream(file, std::ios::binary) << sim::moments_csv(clips);
  const auto again = sim::read_moments(file);
  ASSERT_EQ(again.size(), clips.size());
  for (std::size_t i = 0; i < clips.size(); ++i) {
    EXPECT_EQ(again[i].expectation, clips[i].expectation);
    EXPECT_EQ(again[i].time_s, clips[i].time_s);
    ASSERT_EQ(again[i].lines.size(), clips[i].lines.size());
    for (std::size_t line = 0; line < clips[i].lines.size(); ++line) {
      EXPECT_EQ(again[i].lines[line].values, clips[i].lines[line].values);
      EXPECT_EQ(again[i].lines[line].limits, clips[i].lines[line].limits);
    }
    EXPECT_EQ(sim::moment_svg(again[i], 3.0, "Pa"), sim::moment_svg(clips[i], 3.0, "Pa"));
  }
}

TEST(MomentClip, draws_signal_limit_and_instant_with_its_unit) {
  const auto clips = clips_of({source_of("plant.gas.gauge < 4.1 kPa")}, 3000,
                              [](int tick) { return 4000.0 + 50.0 * std::sin(tick * 0.002); }, [](int) { return 0.0; });
  const std::string svg = sim::moment_svg(clips.at(0), 78.5, "Pa");
  for (const char* part : {"<polyline", "class=\"limit\"", "class=\"instant\"", "<circle", "plant.gas.gauge [Pa]", "4100"})
    EXPECT_NE(svg.find(part), std::string::npos) << part << " in " << svg;
}

}  // namespace
