// What the field line does under a fault, and what the core makes of it, through bytes. Frames are judged by the published rules:
// MODBUS over Serial Line V1.02, 2.5.1 (RTU framing, CRC), MODBUS Application Protocol V1.1b3, 7 (exceptions).
#include "sim/line_fault.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numeric>
#include <tuple>

#include <gtest/gtest.h>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"
#include "sim/serial_line.h"
#include "tests/csv_table.h"
#include "tests/sim/short_run.h"

namespace {

using sim::LineFault;
using sim::SerialLine;
using sim_test::fault;
using Bytes = std::vector<std::uint8_t>;

constexpr double baud = 115200.0;
const sim::Clock clock_100ms{100'000'000};

Bytes numbered(std::uint8_t first, std::size_t size) {
  Bytes bytes(size);
  std::iota(bytes.begin(), bytes.end(), first);
  return bytes;
}

Bytes from_hex(const std::string& text) {
  Bytes bytes;
  for (std::size_t at = 0; at + 1 < text.size(); at += 3)
    bytes.push_back(static_cast<std::uint8_t>(std::stoul(text.substr(at, 2), nullptr, 16)));
  return bytes;
}

// What the core has heard by the boundary after `tick`.
Bytes exchange(SerialLine& line, std::uint64_t tick, const LineFault& fault, const Bytes& answer, const Bytes& request = numbered(1, 49)) {
  const auto heard = line.request(tick, request, fault);
  line.answer(tick, heard.empty() ? Bytes{} : answer, fault);
  const sim::Arrival arrival = line.take(tick + 1);
  return {arrival.bytes().begin(), arrival.bytes().end()};
}

LineFault set_fault(auto change) {
  LineFault fault;
  fault.set = true;
  change(fault);
  return fault;
}

TEST(LineFault, repeats_the_answer_before_ahead_of_the_new_one_or_in_its_place) {
  SerialLine line(baud, clock_100ms, 1);
  const LineFault twice = set_fault([](auto& f) { f.duplicated = true; });
  EXPECT_EQ(exchange(line, 0, {}, numbered(10, 4)), numbered(10, 4));
  EXPECT_EQ(exchange(line, 1, twice, numbered(20, 4)), numbered(20, 4));   // from the second on there is one before
  const Bytes both{20, 21, 22, 23, 30, 31, 32, 33};
  EXPECT_EQ(exchange(line, 2, twice, numbered(30, 4)), both);
  EXPECT_EQ(line.count().errors, 0u);
  const LineFault stale = set_fault([](auto& f) { f.repeated = true; });
  EXPECT_EQ(exchange(line, 3, stale, numbered(40, 4)), numbered(30, 4));
  EXPECT_EQ(exchange(line, 4, stale, numbered(50, 4)), numbered(30, 4));   // the same one for as long as it stays
  EXPECT_EQ(line.count().errors, 2u);
  EXPECT_EQ(exchange(line, 5, {}, numbered(60, 4)), numbered(60, 4));
  EXPECT_EQ(exchange(line, 6, stale, numbered(70, 4)), numbered(70, 4));   // what stood before the pause is forgotten
}

TEST(LineFault, loses_one_direction_only) {
  SerialLine line(baud, clock_100ms, 1);
  const LineFault deaf = set_fault([](auto& f) { f.request_lost = true; });
  EXPECT_TRUE(line.request(0, numbered(1, 49), deaf).empty());
  line.answer(0, {}, deaf);
  const LineFault mute = set_fault([](auto& f) { f.answer_lost = true; });
  EXPECT_EQ(line.request(1, numbered(1, 49), mute).size(), 49u);
  line.answer(1, numbered(1, 113), mute);
  EXPECT_TRUE(line.take(2).bytes().empty());
  EXPECT_EQ(line.count().errors, 2u);
}

TEST(LineFault, cuts_the_tail_and_splits_at_the_gap) {
  SerialLine line(baud, clock_100ms, 1);
  const LineFault cut = set_fault([](auto& f) { f.cut_bytes = 3; });
  EXPECT_EQ(exchange(line, 0, cut, numbered(1, 10)), numbered(1, 7));
  EXPECT_EQ(line.count().errors, 1u);
  const LineFault short_gap = set_fault([](auto& f) { f.gap_ns = 20'000'000; f.gap_place = 4; });
  EXPECT_EQ(exchange(line, 1, short_gap, numbered(1, 10)), numbered(1, 10));   // all there at the boundary
  EXPECT_EQ(line.count().errors, 1u);
  const LineFault long_gap = set_fault([](auto& f) { f.gap_ns = 100'000'000; f.gap_place = 4; });
  EXPECT_EQ(exchange(line, 2, long_gap, numbered(1, 10)), numbered(1, 4));
  EXPECT_EQ(line.count().errors, 2u);
  EXPECT_EQ(exchange(line, 3, {}, numbered(20, 2)), (Bytes{20, 21, 5, 6, 7, 8, 9, 10}));   // the rest came after the short next answer
}

TEST(LineFault, comes_a_period_late_and_in_pairs_the_wrong_way_round) {
  SerialLine line(baud, clock_100ms, 1);
  const LineFault late = set_fault([](auto& f) { f.tick_late = true; });
  EXPECT_TRUE(exchange(line, 0, late, numbered(10, 4)).empty());
  EXPECT_EQ(exchange(line, 1, late, numbered(20, 4)), numbered(10, 4));
  EXPECT_EQ(exchange(line, 2, late, numbered(30, 4)), numbered(20, 4));
  SerialLine swapping(baud, clock_100ms, 1);
  const LineFault swapped = set_fault([](auto& f) { f.swapped = true; });
  EXPECT_TRUE(exchange(swapping, 0, swapped, numbered(10, 4)).empty());
  EXPECT_EQ(exchange(swapping, 1, swapped, numbered(20, 4)), (Bytes{20, 21, 22, 23, 10, 11, 12, 13}));
  EXPECT_TRUE(exchange(swapping, 2, swapped, numbered(30, 4)).empty());
}

// The published frame, readdressed: unit 17 (0x11) and unit 1 stand in the table with their own CRCs.
TEST(LineFault, makes_another_units_answer_of_the_published_frame) {
  const CsvTable table("modbus_frames.csv");
  Bytes unit_1, unit_17;
  for (const CsvTable::Row& row : table.rows()) {
    if (row["case"] == "fc03_spec_a1") unit_1 = from_hex(row["reply_rtu_adu_hex"]);
    if (row["case"] == "fc03_spec_a17") unit_17 = from_hex(row["reply_rtu_adu_hex"]);
  }
  ASSERT_EQ(unit_1.size(), 11u);
  Bytes foreign(256);
  foreign.resize(sim::as_foreign(unit_1, 17, foreign));
  EXPECT_EQ(foreign, unit_17);
  SerialLine line(baud, clock_100ms, 1);
  const LineFault other = set_fault([](auto& f) { f.foreign_unit = 17; });
  Bytes both = unit_17;
  both.insert(both.end(), unit_1.begin(), unit_1.end());
  EXPECT_EQ(exchange(line, 0, other, unit_1), both);
  EXPECT_EQ(line.count().errors, 0u);
  const LineFault echo = set_fault([](auto& f) { f.echoed = true; });
  EXPECT_EQ(exchange(line, 1, echo, numbered(9, 2), numbered(1, 3)), (Bytes{1, 2, 3, 9, 10}));
}

// Expected number of flips: rate times time, whatever the period. Standard deviation its root; five of them are allowed.
TEST(LineFault, flips_bits_per_second_and_inserts_bytes_per_byte) {
  for (const double period_s : {0.1, 0.2}) {
    const sim::LineNoise noise(7, "a", "b");
    const LineFault struck = set_fault([](auto& f) { f.bit_errors_per_s = 20.0; });
    const Bytes exchange_bytes(162, 0x55);   // request and answer: 49 + 113
    std::array<std::uint8_t, 256> passed{};
    std::size_t size = 0;
    double flips = 0.0;
    constexpr int ticks = 4000;
    for (std::uint64_t tick = 0; tick < ticks; ++tick) {
      noise.pass(exchange_bytes, tick, period_s, struck, passed, size);
      ASSERT_EQ(size, exchange_bytes.size());
      for (const std::uint8_t byte : std::span(passed).first(size)) flips += std::popcount(static_cast<unsigned>(byte ^ 0x55));
    }
    const double expected = 20.0 * period_s * ticks;
    EXPECT_NEAR(flips, expected, 5.0 * std::sqrt(expected)) << period_s;
  }
  const sim::LineNoise noise(7, "a", "b");
  const LineFault inserted = set_fault([](auto& f) { f.insert_rate = 0.05; });
  const Bytes sent = numbered(0, 100);
  std::array<std::uint8_t, 256> passed{};
  std::size_t size = 0;
  double extra = 0.0;
  for (std::uint64_t tick = 0; tick < 1000; ++tick) {
    const bool damaged = noise.pass(sent, tick, 0.1, inserted, passed, size);
    EXPECT_EQ(damaged, size != sent.size());
    extra += static_cast<double>(size - sent.size());
  }
  EXPECT_NEAR(extra, 5000.0, 5.0 * std::sqrt(5000.0 * 0.95));
}

// --- what the core makes of it -------------------------------------------------------------------------------------------

struct Seen {
  double trip = 0.0, alarms = 0.0, errors = 0.0, power_w = 0.0, contactor = 0.0;
};

// The cycle in air, heating; the fault from 390 s, looked at `after_s` later.
Seen seen(const std::vector<sim::FaultSource>& faults, double until_s, void (*change)(fw::Parameters&) = [](fw::Parameters&) {}) {
  sim::Scenario scenario = sim_test::short_run(until_s, "cycles/air_cycle");
  change(scenario.parameters);
  scenario.faults = faults;
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  const auto value = [&](const char* name) { return bench.frame()[static_cast<std::size_t>(bench.table().find(name))]; };
  return {value("interlock.trip"), value("alarms.bits"), value("line.errors"), value("plant.power"), value("plant.contactor")};
}

bool raised(const Seen& seen, fw::alarm::Number number) { return (static_cast<std::uint32_t>(seen.alarms) >> number & 1u) != 0; }

TEST(LineFault, costs_the_core_nothing_where_the_right_answer_is_still_there) {
  for (const auto& [kind, values] : std::vector<std::pair<const char*, std::vector<double>>>{
           {"line_duplicated", {}}, {"line_echoed", {}}, {"line_foreign", {2}}, {"line_gap", {20, 50}}}) {
    const Seen after = seen({fault(kind, values, 390.0)}, 400.0);
    EXPECT_EQ(after.trip, 0.0) << kind;
    EXPECT_EQ(after.errors, 0.0) << kind;
    EXPECT_FALSE(raised(after, fw::alarm::line_disturbed)) << kind;
    EXPECT_GT(after.power_w, 100.0) << kind;
  }
}

// DEVELOPERS.md: no valid answer for 1 s is a lost line. Fresh at 390.0 s (the answer to the request before), so it counts from 390.1 s:
// lost at 391.0 s, the safe values leave with that tick's request and act at once. Design: heat off, contactor open.
TEST(LineFault, makes_the_core_safe_within_a_second_where_it_is_not) {
  for (const auto& [kind, values] : std::vector<std::pair<const char*, std::vector<double>>>{
           {"line_repeated", {}}, {"line_answers_lost", {}}, {"line_requests_lost", {}}, {"line_tick_late", {}}, {"line_truncated", {1}},
           {"line_gap", {100, 50}}, {"station_answers_frozen", {}}, {"station_map_wrong", {2}}, {"station_exception", {4}},
           {"station_exception", {6}}, {"station_reset", {}}}) {
    const Seen before = seen({fault(kind, values, 390.0)}, 390.8), after = seen({fault(kind, values, 390.0)}, 391.3);
    EXPECT_EQ(before.trip, 0.0) << kind;
    EXPECT_EQ(after.trip, static_cast<double>(fw::row::line_lost)) << kind;
    EXPECT_TRUE(raised(after, fw::alarm::line_lost)) << kind;
    EXPECT_EQ(after.power_w, 0.0) << kind;
    EXPECT_EQ(after.contactor, 0.0) << kind;
  }
}

TEST(LineFault, lets_the_core_ride_through_what_is_shorter_than_a_second) {
  for (const char* kind : {"line_repeated", "line_answers_lost", "line_tick_late", "station_answers_frozen", "line_swapped"}) {
    const Seen after = seen({fault(kind, {}, 390.0, 0.8)}, 400.0);
    EXPECT_EQ(after.trip, 0.0) << kind;
    EXPECT_GT(after.power_w, 100.0) << kind;
  }
  const Seen swapped = seen({fault("line_swapped", {}, 390.0)}, 400.0);   // every other answer is good: the line is disturbed, not lost
  EXPECT_EQ(swapped.trip, 0.0);
  EXPECT_GT(swapped.errors, 40.0);
}

// The requests of 390.0 to 390.8 s are lost: for the station a second has passed at 390.9 s, before the next one arrives, while the
// core, whose last answer came at 390.0 s, hears the next at 391.0 s and has missed only nine.
TEST(LineFault, lets_the_stations_watchdog_act_alone) {
  const Seen after = seen({fault("line_requests_lost", {}, 390.0, 0.9)}, 391.2);
  EXPECT_EQ(after.trip, static_cast<double>(fw::row::station_watchdog));
  EXPECT_EQ(after.contactor, 0.0);
  const Seen shorter = seen({fault("line_requests_lost", {}, 390.0, 0.8)}, 391.2);
  EXPECT_EQ(shorter.trip, 0.0);
}

// An exchange of 162 bytes is whole with the chance e^-0.3 at 3 flips a second and 100 ms, and 0.998^162 at 2 bytes in 1000 inserted.
// Every damaged one must be found, by CRC and length: nothing false may pass for a reading, so nothing trips.
TEST(LineFault, keeps_damage_from_the_readings) {
  constexpr double ticks = 600.0;
  for (const auto& [kind, rate, whole] :
       {std::tuple{"line_bit_errors", 3.0, std::exp(-0.3)}, {"line_inserted", 0.002, std::pow(0.998, 162)}}) {
    const Seen after = seen({fault(kind, {rate}, 390.0, ticks * 0.1)}, 460.0);
    const double expected = ticks * (1.0 - whole);
    EXPECT_NEAR(after.errors, expected, 5.0 * std::sqrt(expected * whole)) << kind;
    EXPECT_EQ(after.trip, 0.0) << kind;
    EXPECT_GT(after.power_w, 100.0) << kind;
  }
}

// No rule of the line can tell frozen inputs whose sequence is right; the core can, as no noise is left in them. Frozen from the latch at
// 390.0 s, the first the same to the bit reaches the core at 390.2 s and the window of 2 s is full 19 ticks later, at 392.1 s.
TEST(LineFault, leaves_frozen_inputs_to_the_row_that_misses_their_noise) {
  const Seen before = seen({fault("station_inputs_frozen", {}, 390.0)}, 391.9);
  EXPECT_EQ(before.errors, 0.0);
  EXPECT_EQ(before.trip, 0.0);
  const Seen after = seen({fault("station_inputs_frozen", {}, 390.0)}, 392.4);
  EXPECT_EQ(after.errors, 0.0);
  EXPECT_EQ(after.trip, static_cast<double>(fw::row::inputs_frozen));
  EXPECT_EQ(after.power_w, 0.0);
}

// A unit whose inputs have no noise: the loop asks for more and more; the heater's current, which goes with the root of the demand, does
// not follow, and a row of its own misses it, long before the temperature tells.
TEST(LineFault, leaves_frozen_inputs_without_noise_to_the_row_that_misses_current) {
  const auto without_noise = [](fw::Parameters& p) { p.frozen_window_s = p.stuck_window_s = 0.0f; };
  const Seen soon = seen({fault("station_inputs_frozen", {}, 390.0)}, 400.0, without_noise);
  EXPECT_EQ(soon.errors, 0.0);
  EXPECT_EQ(soon.trip, 0.0);
  const Seen late = seen({fault("station_inputs_frozen", {}, 390.0)}, 390.0 + 3600.0, without_noise);
  EXPECT_EQ(late.trip, static_cast<double>(fw::row::demand_without_current));
  EXPECT_EQ(late.power_w, 0.0);
}

}  // namespace
