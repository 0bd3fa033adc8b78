#include "sim/serial_line.h"

#include <array>
#include <cmath>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

namespace {

using sim::Arrival;
using sim::LineFault;
using sim::SerialLine;

constexpr double baud = 115200.0;
const sim::Clock clock_100ms{100'000'000};

std::vector<std::uint8_t> counting(std::size_t size) {
  std::vector<std::uint8_t> bytes(size);
  std::iota(bytes.begin(), bytes.end(), std::uint8_t{1});
  return bytes;
}

std::vector<std::uint8_t> copied(const Arrival& arrival) { return {arrival.bytes().begin(), arrival.bytes().end()}; }

TEST(SerialLine, CountsBitsFromTheStartAndNeverSums) {
  // 11 bits a character (8E1); 154 bytes take 14.7 ms at 115200 baud.
  EXPECT_NEAR(static_cast<double>(sim::last_byte_ns(0, 154, baud)), 154 * 11 / 115200.0 * 1e9, 1.0);
  EXPECT_NEAR(static_cast<double>(sim::last_byte_ns(0, 154, baud)) * 1e-6, 14.7, 0.05);
  // A million bytes on, the instant is still the exact quotient: no rounding has piled up.
  const std::int64_t exact = 5 + std::int64_t{1'000'000} * 11 * 1'000'000'000 / 115200;
  EXPECT_EQ(sim::last_byte_ns(5, 1'000'000, baud), exact);
}

TEST(SerialLine, EndsFramesByThePublishedSilence) {
  // Modbus over Serial Line V1.02, 2.5.1.1: 3.5 characters; above 19200 baud fixed at 1.750 ms.
  EXPECT_EQ(sim::frame_silence_ns(115200.0), 1'750'000);
  EXPECT_NEAR(static_cast<double>(sim::frame_silence_ns(9600.0)), 3.5 * 11 / 9600.0 * 1e9, 1.0);
  EXPECT_NEAR(static_cast<double>(sim::frame_silence_ns(19200.0)), 3.5 * 11 / 19200.0 * 1e9, 1.0);
}

TEST(SerialLine, GivesTheShareOfThePeriodAnExchangeTakes) {
  // 49 + 113 bytes of 11 bits, and two silences of 1.75 ms.
  const double seconds = (49 + 113) * 11 / 115200.0 + 2 * 1.75e-3;
  EXPECT_NEAR(sim::exchange_s(115200.0), seconds, 2e-9);
  EXPECT_NEAR(sim::exchange_share(115200.0, 0.1), seconds / 0.1, 2e-8);
  EXPECT_LT(sim::exchange_share(115200.0, 0.1), sim::exchange_share_max);
  EXPECT_GT(sim::exchange_share(19200.0, 0.1), sim::exchange_share_max);
  EXPECT_GT(sim::exchange_share(115200.0, 0.02), sim::exchange_share_max);
}

TEST(SerialLine, DeliversTheAnswerWithinThePeriodAndCountsTheExchange) {
  SerialLine line(baud, clock_100ms, 1);
  const auto request = counting(49);
  const auto answer = counting(113);
  const auto heard = line.request(3, request, {});
  EXPECT_EQ(heard.data(), request.data());  // undisturbed bytes are not even copied
  line.answer(3, answer, {});
  EXPECT_TRUE(line.take(3).bytes().empty());
  const Arrival arrival = line.take(4);
  EXPECT_EQ(copied(arrival), answer);
  const std::int64_t expected_ns = 300'000'000 + 49 * 11'000'000'000 / 115200 + 1'750'000 + 113 * 11'000'000'000 / 115200;
  EXPECT_NEAR(static_cast<double>(arrival.last_us), static_cast<double>(expected_ns) / 1000.0, 1.0);
  EXPECT_EQ(line.count().exchanges, 1u);
  EXPECT_EQ(line.count().errors, 0u);
  EXPECT_NEAR(static_cast<double>(line.count().latency_max_ns), static_cast<double>(expected_ns - 300'000'000), 2.0);
}

TEST(SerialLine, PassesNothingWhenSilentAndCountsTheRetry) {
  SerialLine line(baud, clock_100ms, 1);
  LineFault silent;
  silent.set = silent.request_lost = silent.answer_lost = true;
  EXPECT_TRUE(line.request(0, counting(49), silent).empty());
  line.answer(0, {}, silent);
  EXPECT_TRUE(line.take(1).bytes().empty());
  EXPECT_EQ(line.count().errors, 1u);
  EXPECT_EQ(line.count().exchanges, 0u);
  EXPECT_EQ(line.count().retries, 0u);
  static_cast<void>(line.request(1, counting(49), {}));
  line.answer(1, counting(113), {});
  EXPECT_EQ(line.count().retries, 1u);
  EXPECT_EQ(line.count().exchanges, 1u);
}

TEST(SerialLine, BringsALateAnswerInALaterTick) {
  SerialLine line(baud, clock_100ms, 1);
  LineFault late;
  late.set = true;
  late.late_ns = 150'000'000;
  static_cast<void>(line.request(0, counting(49), late));
  line.answer(0, counting(113), late);
  EXPECT_TRUE(line.take(1).bytes().empty());
  static_cast<void>(line.request(1, counting(49), {}));
  line.answer(1, counting(20), {});
  // Both are there at tick 2, the older request's answer first only if it arrived first: 170 ms against 118 ms.
  const auto bytes = copied(line.take(2));
  ASSERT_EQ(bytes.size(), 133u);
  const auto second = counting(20);
  EXPECT_TRUE(std::equal(second.begin(), second.end(), bytes.begin()));
  EXPECT_EQ(line.count().errors, 1u);
}

TEST(SerialLine, LosesTheOldestOfMoreLateAnswersThanItHolds) {
  SerialLine line(baud, clock_100ms, 1);
  LineFault late;
  late.set = true;
  late.late_ns = 1'000'000'000;
  for (std::uint64_t tick = 0; tick < 10; ++tick) {
    static_cast<void>(line.request(tick, counting(49), late));
    line.answer(tick, counting(10 + tick), late);
  }
  EXPECT_EQ(line.take(100).bytes().size(), 12u + 13u + 14u + 15u + 16u + 17u + 18u + 19u);
}

TEST(SerialLine, DropsBytesFromTheHeadOfTheAnswer) {
  SerialLine line(baud, clock_100ms, 1);
  LineFault drop;
  drop.set = true;
  drop.drop_bytes = 5;
  static_cast<void>(line.request(0, counting(49), drop));
  line.answer(0, counting(113), drop);
  const auto bytes = copied(line.take(1));
  ASSERT_EQ(bytes.size(), 108u);
  EXPECT_EQ(bytes.front(), 6);
  EXPECT_EQ(line.count().errors, 1u);
}

// The expected count of a chance p over n bytes is n p, its standard deviation sqrt(n p (1 - p)); five of them are allowed.
TEST(SerialLine, DamagesBytesAtTheRateAsked) {
  constexpr int ticks = 4000;
  constexpr double rate = 0.01;
  SerialLine line(baud, clock_100ms, 42);
  LineFault corrupt;
  corrupt.set = true;
  corrupt.corrupt_rate = rate;
  const auto request = counting(49);
  int flipped = 0;
  for (std::uint64_t tick = 0; tick < ticks; ++tick) {
    const auto heard = line.request(tick, request, corrupt);
    ASSERT_EQ(heard.size(), request.size());
    for (std::size_t at = 0; at < heard.size(); ++at) {
      const unsigned changed = heard[at] ^ request[at];
      EXPECT_TRUE(changed == 0 || std::has_single_bit(changed));
      flipped += changed != 0 ? 1 : 0;
    }
  }
  const double expected = ticks * 49 * rate;
  EXPECT_NEAR(flipped, expected, 5.0 * std::sqrt(expected * (1.0 - rate)));
}

TEST(SerialLine, DropsBytesAtTheRateAskedAndTheSameBytesForTheSameSeed) {
  constexpr int ticks = 4000;
  LineFault drop;
  drop.set = true;
  drop.drop_rate = 0.02;
  const auto request = counting(49);
  const auto run = [&](std::uint64_t seed) {
    SerialLine line(baud, clock_100ms, seed);
    std::vector<std::size_t> sizes;
    for (std::uint64_t tick = 0; tick < ticks; ++tick) sizes.push_back(line.request(tick, request, drop).size());
    return sizes;
  };
  const auto sizes = run(1);
  const double lost = ticks * 49.0 - std::accumulate(sizes.begin(), sizes.end(), 0.0);
  const double expected = ticks * 49 * drop.drop_rate;
  EXPECT_NEAR(lost, expected, 5.0 * std::sqrt(expected * (1.0 - drop.drop_rate)));
  EXPECT_EQ(sizes, run(1));
  EXPECT_NE(sizes, run(2));
}

}  // namespace
