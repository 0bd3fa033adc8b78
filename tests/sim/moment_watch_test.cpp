#include "sim/moment_watch.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "sim/event_match.h"
#include "sim/input_error.h"

namespace {

using sim::Moment;
using testing::ElementsAre;
using testing::IsEmpty;

const sim::Clock clock_100ms{100'000'000};

Moment at(double at_s, double after_s = 0.0) {
  Moment moment;
  moment.at_s = at_s;
  moment.after_s = after_s;
  return moment;
}

Moment with(std::string Moment::* part, const char* text, double after_s = 0.0) {
  Moment moment;
  moment.*part = text;
  moment.after_s = after_s;
  return moment;
}

class Moments : public testing::Test {
 protected:
  sim::SignalTable table{1};
  sim::ProgrammeSource programme{"demo", {}, {"warm", "soak", "cool"}};
  sim::MomentWatch watch{table, programme, clock_100ms};
  std::vector<double> frame = std::vector<double>(static_cast<std::size_t>(table.size()), 0.0);

  void show(std::uint64_t tick, double segment, double phase = 0.0, double degc = 20.0, std::vector<sim::Event> events = {}) {
    frame[static_cast<std::size_t>(table.find("programme.segment"))] = segment;
    frame[static_cast<std::size_t>(table.find("atmosphere.phase"))] = phase;
    frame[static_cast<std::size_t>(table.find("load.pv"))] = degc;
    watch.observe(tick, frame, clock_100ms.time_s(tick), events);
  }
  std::vector<std::uint32_t> due(std::uint64_t tick) {
    const auto ids = watch.due(tick);
    return {ids.begin(), ids.end()};
  }
};

TEST_F(Moments, ComeAtTheirTimeAndOnlyOnce) {
  watch.add(at(0.2), 1);
  watch.add(at(0.1, 0.1), 2);
  watch.add(at(0.1), 3);
  watch.add(Moment{}, 4);
  EXPECT_THAT(due(0), ElementsAre(4));
  EXPECT_THAT(due(1), ElementsAre(3));
  EXPECT_THAT(due(2), ElementsAre(1, 2));
  EXPECT_THAT(due(3), IsEmpty());
}

TEST_F(Moments, ComeInTheTickAfterASegmentOrPhaseBegins) {
  watch.add(with(&Moment::segment, "soak"), 1);
  watch.add(with(&Moment::segment, "soak", 0.5), 2);
  watch.add(with(&Moment::phase, "holding"), 3);
  show(0, -1);
  show(1, 0);
  EXPECT_THAT(due(2), IsEmpty());
  show(2, 1);
  EXPECT_THAT(due(3), ElementsAre(1));
  show(3, 1, 5);
  EXPECT_THAT(due(4), ElementsAre(3));
  EXPECT_THAT(due(6), IsEmpty());
  EXPECT_THAT(due(7), ElementsAre(2));
  show(8, 0);
  show(9, 1);  // begins again: its moments have been
  EXPECT_THAT(due(20), IsEmpty());
}

TEST_F(Moments, ComeWhenAConditionFirstHolds) {
  watch.add(with(&Moment::condition, "load.pv > 500 degC"), 1);
  show(0, 0, 0, 500.0);
  EXPECT_THAT(due(1), IsEmpty());
  show(1, 0, 0, 500.5);
  EXPECT_THAT(due(2), ElementsAre(1));
  show(2, 0, 0, 600.0);
  EXPECT_THAT(due(3), IsEmpty());
}

TEST_F(Moments, ComeAgainAtTheirDistanceAsOftenAsSaid) {
  Moment thrice = at(0.2), ever = at(0.1), after_soak = with(&Moment::segment, "soak", 0.2);
  thrice.every_s = 0.5;
  thrice.times = 3;
  ever.every_s = 0.7;
  after_soak.every_s = 0.3;
  after_soak.times = 2;
  watch.add(thrice, 1);
  watch.add(ever, 2);
  watch.add(after_soak, 3);
  show(0, 0);
  show(20, 1);
  show(21, 0);
  show(22, 1);
  std::vector<std::uint64_t> came[3];
  for (std::uint64_t tick = 0; tick < 40; ++tick)
    for (const std::uint32_t id : due(tick)) came[id - 1].push_back(tick);
  EXPECT_THAT(came[0], ElementsAre(2, 7, 12));
  EXPECT_THAT(came[1], ElementsAre(1, 8, 15, 22, 29, 36));
  EXPECT_THAT(came[2], ElementsAre(22, 25));
}

TEST_F(Moments, ComeEachTimeAnewAsOftenAsSaid) {
  Moment soak = with(&Moment::segment, "soak"), hot = with(&Moment::condition, "load.pv > 500 degC");
  soak.times = 2;
  hot.times = 2;
  watch.add(soak, 1);
  watch.add(hot, 2);
  std::vector<std::uint64_t> came[2];
  const double degc[] = {600, 600, 400, 501, 499, 700, 700};
  for (std::uint64_t tick = 0; tick < 7; ++tick) {
    show(tick, static_cast<double>(tick % 2), 0.0, degc[tick]);
    for (const std::uint32_t id : due(tick + 1)) came[id - 1].push_back(tick);
  }
  EXPECT_THAT(came[0], ElementsAre(1, 3));
  EXPECT_THAT(came[1], ElementsAre(0, 3));   // not at 5: twice in all
}

TEST_F(Moments, ComeWhenAnEventHappens) {
  Moment alarm, interlock;
  alarm.event = {"alarm", "raised", "oxygen high"};
  alarm.after_s = 0.3;
  interlock.event = {"interlock", "", ""};
  interlock.times = 2;
  watch.add(alarm, 1);
  watch.add(interlock, 2);
  show(0, 0, 0, 20, {{0.0, "alarm", "cleared", "oxygen high (medium priority)"}, {0.0, "alarm", "raised", "door (medium priority)"}});
  EXPECT_THAT(due(4), IsEmpty());
  show(5, 0, 0, 20, {{0.5, "alarm", "raised", "oxygen high (medium priority)"}, {0.5, "interlock", "trips", "oxygen: high"}});
  EXPECT_THAT(due(7), ElementsAre(2));
  EXPECT_THAT(due(8), ElementsAre(1));
  show(9, 0, 0, 20, {{0.9, "alarm", "raised", "oxygen high (medium priority)"}, {0.9, "interlock", "re-armed", "oxygen: high"}});
  EXPECT_THAT(due(20), ElementsAre(2));      // the alarm is waited for once only
}

TEST(EventMatch, RefusesWhatNoEventCanBe) {
  const std::vector<std::string> segments{"warm", "soak"};
  const auto nearest = [&](const sim::EventPattern& pattern) -> std::string {
    try {
      sim::check_event(sim::parse_yaml("{}", "test"), pattern, segments);
    } catch (const sim::InputError& error) {
      return error.nearest;
    }
    return "accepted";
  };
  EXPECT_EQ(nearest({"alarm", "raised", "oxygen high"}), "accepted");
  EXPECT_EQ(nearest({"alarm", "", "oxygen"}), "accepted");
  EXPECT_EQ(nearest({"programme", "begins", "soak"}), "accepted");
  EXPECT_EQ(nearest({"alram", "", ""}), "alarm");
  EXPECT_EQ(nearest({"alarm", "raisd", ""}), "raised");
  EXPECT_EQ(nearest({"alarm", "raised", "oxigen high"}), "oxygen high");
  EXPECT_EQ(nearest({"interlock", "trips", "low presure"}), "low pressure");
  EXPECT_EQ(nearest({"programme", "begins", "saok"}), "soak");
  EXPECT_EQ(nearest({"", "raised", ""}), "");
  EXPECT_FALSE(sim::known_event({0.0, "alarm", "raisd", ""}));
  EXPECT_TRUE(sim::known_event({0.0, "alarm", "raised", "door"}));
}

TEST_F(Moments, AreRefusedWithNamesThatDoNotExist) {
  EXPECT_THROW(watch.add(with(&Moment::segment, "saok"), 1), sim::InputError);
  EXPECT_THROW(watch.add(with(&Moment::phase, "holdin"), 1), sim::InputError);
  EXPECT_THROW(watch.add(with(&Moment::condition, "laod.pv > 500 degC"), 1), sim::InputError);
}

TEST(Clock, CountsTicksOfADurationUpwards) {
  EXPECT_EQ(clock_100ms.ticks(0.0), 0u);
  EXPECT_EQ(clock_100ms.ticks(0.1), 1u);
  EXPECT_EQ(clock_100ms.ticks(0.3), 3u);  // 0.3 / 0.1 is a hair off 3 in binary
  EXPECT_EQ(clock_100ms.ticks(0.31), 4u);
  EXPECT_EQ(clock_100ms.ticks(86400.0), 864000u);
  EXPECT_EQ(clock_100ms.boundary_us(864000), 86'400'000'000u);
}

}  // namespace
