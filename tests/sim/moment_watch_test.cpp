#include "sim/moment_watch.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

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

  void show(std::uint64_t tick, double segment, double phase = 0.0, double degc = 20.0) {
    frame[static_cast<std::size_t>(table.find("programme.segment"))] = segment;
    frame[static_cast<std::size_t>(table.find("atmosphere.phase"))] = phase;
    frame[static_cast<std::size_t>(table.find("load.pv"))] = degc;
    watch.observe(tick, frame, clock_100ms.time_s(tick));
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
