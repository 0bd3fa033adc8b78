// What the core writes down: events, the record of a run, and who may write what.
#include <gtest/gtest.h>

#include <algorithm>

#include "firmware/crc32.h"
#include "firmware/history.h"
#include "firmware/write_access.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

constexpr unsigned key_switch = 1u << 9;

std::size_t place_of(const std::string& name) {
  const auto table = fw::parameter_table();
  for (std::size_t i = 0; i < table.size(); ++i)
    if (name == table[i].name) return i;
  throw std::out_of_range(name);
}

// Writes a float parameter; returns the exception, 0 for none.
int write(StandIn& s, const std::string& name, double value) {
  Bytes data;
  const fw::ParameterInfo& info = fw::parameter_table()[place_of(name)];
  if (info.integer) {
    put16(data, 0);
    put16(data, static_cast<unsigned>(value));
  } else {
    put_float(data, value);
  }
  s.tick(StandIn::write_request(static_cast<unsigned>(fw::parameter_address + 2 * place_of(name)), data));
  return s.reply.at(1) == 16 ? 0 : s.reply.at(2);
}

std::uint32_t u32(const std::vector<std::uint16_t>& registers, std::size_t at) {
  return std::uint32_t{registers.at(at)} << 16 | registers.at(at + 1);
}

// Events as an operator's station reads them: by moving the window and reading it.
std::vector<fw::LoggedEvent> events_by_line(StandIn& s) {
  s.tick(StandIn::read_request(4, fw::history_address, 8));
  const std::uint32_t count = u32(s.last_read, 2);
  std::vector<fw::LoggedEvent> events;
  for (std::uint32_t first = count > 240 ? count - 240 : 0; first < count; first += fw::events_in_window) {
    Bytes data;
    put16(data, first >> 16);
    put16(data, first & 0xFFFF);
    s.tick(StandIn::write_request(fw::event_window_address, data));
    s.tick(StandIn::read_request(3, fw::event_window_address, 2 + 8 * fw::events_in_window));
    for (std::size_t i = 0; i < fw::events_in_window && first + i < count; ++i) {
      const std::size_t at = 2 + 8 * i;
      events.push_back({u32(s.last_read, at), s.last_read[at + 2], static_cast<std::uint8_t>(s.last_read[at + 3] >> 8),
                        static_cast<std::uint8_t>(s.last_read[at + 3]), u32(s.last_read, at + 4), u32(s.last_read, at + 6)});
    }
  }
  return events;
}

std::vector<fw::LoggedEvent> of_kind(const std::vector<fw::LoggedEvent>& events, fw::EventKind kind) {
  std::vector<fw::LoggedEvent> found;
  for (const fw::LoggedEvent& event : events)
    if (event.kind == static_cast<std::uint8_t>(kind)) found.push_back(event);
  return found;
}

float value_of(std::uint32_t bits) {
  float value = 0.0f;
  std::memcpy(&value, &bits, 4);
  return value;
}

StandIn in_air_at_rest() {
  StandIn s(store_of(in_air(), {ramp(120.0f, 0.5f), soak(20.0, 5.0f), end()}, "anneal"));
  s.run(1.0);
  return s;
}

TEST(EventLog, TellsEveryAcceptedWriteWithItsOldAndNewValue) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(write(s, "heat.gains.1.gain", 0.031), 0);
  ASSERT_EQ(write(s, "heat.gains.1.gain", 99.0), 3) << "out of bounds: no event";
  const auto writes = of_kind(events_by_line(s), fw::EventKind::parameter);
  ASSERT_EQ(writes.size(), 1u);
  EXPECT_EQ(writes[0].number, place_of("heat.gains.1.gain"));
  EXPECT_FLOAT_EQ(value_of(writes[0].before), 0.02f);
  EXPECT_FLOAT_EQ(value_of(writes[0].after), 0.031f);
  EXPECT_EQ(writes[0].second, 1u);
}

TEST(EventLog, TellsCommandsWithTheirResultAndTheStatesOfTheProgramme) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::wrong_state);
  ASSERT_EQ(s.command(fw::Command::hold), fw::Refusal::accepted);
  const auto events = events_by_line(s);
  const auto commands = of_kind(events, fw::EventKind::command);
  ASSERT_EQ(commands.size(), 3u);
  EXPECT_EQ(commands[0].number, 2u);
  EXPECT_EQ(commands[0].before >> 16, 0u);
  EXPECT_EQ(commands[1].before >> 16, 2u) << "wrong state";
  const auto states = of_kind(events, fw::EventKind::programme_state);
  ASSERT_EQ(states.size(), 2u);
  EXPECT_EQ(states[0].after, 1u);
  EXPECT_EQ(states[1].before, 1u);
  EXPECT_EQ(states[1].after, 2u);
}

TEST(EventLog, TellsATripWithFirstOutAndTheAlarmsAround) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  s.discrete_clear = 1u << 1;      // emergency stop
  s.run(3.0);
  const auto events = events_by_line(s);
  const auto trips = of_kind(events, fw::EventKind::trip);
  ASSERT_GE(trips.size(), 1u);
  EXPECT_EQ(trips[0].number, fw::row::emergency_stop);
  EXPECT_EQ(trips[0].before, fw::row::emergency_stop);
  const auto alarms = of_kind(events, fw::EventKind::alarm);
  EXPECT_TRUE(std::any_of(alarms.begin(), alarms.end(), [](const auto& e) { return e.number == fw::alarm::trip && e.after == 1; }));
}

// Numbers of the states: block 0x0600 of the register map.
TEST(EventLog, TellsThatAnAlarmWasShelvedAndCameBack) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(s.command(fw::Command::shelve_alarm, fw::alarm::deviation, 5.0f), fw::Refusal::accepted);
  s.run(7.0);
  const auto alarms = of_kind(events_by_line(s), fw::EventKind::alarm);
  ASSERT_EQ(alarms.size(), 2u);
  EXPECT_EQ(alarms[0].number, fw::alarm::deviation);
  EXPECT_EQ(alarms[0].before, 0u);
  EXPECT_EQ(alarms[0].after, 6u) << "shelved";
  EXPECT_EQ(alarms[1].before, 6u);
  EXPECT_EQ(alarms[1].after, 0u);
}

TEST(EventLog, TellsNothingOfAlarmsThatALostLineSuppressesWhileTheyAreNormal) {
  StandIn s = in_air_at_rest();
  s.silent = true;
  s.run(5.0);
  s.silent = false;
  s.run(5.0);
  for (const fw::LoggedEvent& event : of_kind(events_by_line(s), fw::EventKind::alarm))
    EXPECT_FALSE(event.before + event.after == 7u && event.before * event.after == 0u) << "alarm " << event.number;
  EXPECT_GE(of_kind(events_by_line(s), fw::EventKind::alarm).size(), 1u) << "the line's own";
}

TEST(EventLog, OutlivesAPowerLossAndGoesOn) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(write(s, "heat.gains.1.gain", 0.031), 0);
  s.run(5.0);
  const auto before = events_by_line(s);
  fw::start(*s.core, s.image, fw::ResetCause::brown_out, 17);
  s.tick_number = 0;
  s.run(1.0);
  const auto after = events_by_line(s);
  ASSERT_GT(after.size(), before.size());
  for (std::size_t i = 0; i < before.size(); ++i) EXPECT_EQ(std::memcmp(&after[i], &before[i], sizeof before[i]), 0) << i;
  const auto ups = of_kind(after, fw::EventKind::power_up);
  ASSERT_EQ(ups.size(), 2u);
  EXPECT_EQ(ups[1].number, 1u) << "brown-out";
  EXPECT_EQ(ups[1].before, 17u);
  EXPECT_EQ(ups[1].after, 2u) << "boots";
  EXPECT_EQ(ups[1].boot, 2u);
}

TEST(EventLog, KeepsTheLast240) {
  StandIn s = in_air_at_rest();
  for (int i = 0; i < 300; ++i) ASSERT_EQ(write(s, "heat.gains.1.gain", 0.02 + 0.0001 * i), 0);
  s.run(10.0);
  const auto live = of_kind(events_by_line(s), fw::EventKind::parameter);
  EXPECT_EQ(live.size(), 240u);
  s.restart();
  s.run(1.0);
  const auto kept = of_kind(events_by_line(s), fw::EventKind::parameter);
  ASSERT_GE(kept.size(), 236u);      // the power-up is one of the 240, and the group that is begun takes a page of the oldest
  EXPECT_FLOAT_EQ(value_of(kept.back().after), static_cast<float>(0.02 + 0.0001 * 299));
  for (std::size_t i = 1; i < kept.size(); ++i) EXPECT_EQ(kept[i].before, kept[i - 1].after) << "none missing between";
}

// Cut after any byte of the write of an event: those that were written before stand.
TEST(EventLog, LosesAtACutAtMostTheEventOnItsWay) {
  fw::EventLog log{};
  Bytes image(fw::store_image_bytes, 0xFF);
  std::uint8_t page[64];
  for (std::uint32_t e = 0; e < 500; ++e) {
    fw::log_event(log, {e, 1, 5, 1, e, ~e});
    const int number = fw::next_event_page(log, page);
    ASSERT_GE(number, 0);
    const auto at = image.begin() + 64 * number;
    const Bytes old(at, at + 64);
    for (const std::size_t cut : {0u, 1u, 5u, 9u, 20u, 33u, 50u, 61u, 63u}) {
      std::copy(page, page + cut, at);
      fw::EventLog read{};
      fw::load_event_log(image, read);
      ASSERT_TRUE(read.count == e || read.count == e + 1) << e << ' ' << cut;
      for (std::uint32_t n = e > 230 ? e - 230 : 0; n < e; ++n) ASSERT_EQ(fw::logged_event(read, n).after, ~n) << e << ' ' << cut;
      std::copy(old.begin(), old.end(), at);
    }
    std::copy(page, page + 64, at);
  }
}

// --- Run record --------------------------------------------------------------------------------------------------------

std::vector<std::uint16_t> record_by_line(StandIn& s, std::uint32_t number) {
  Bytes data;
  put16(data, number >> 16);
  put16(data, number & 0xFFFF);
  s.tick(StandIn::write_request(fw::record_window_address, data));
  std::vector<std::uint16_t> all;
  for (unsigned from = 0; from < 164; from += 82) {
    s.tick(StandIn::read_request(4, fw::record_window_address + 2 + from, 82));
    all.insert(all.end(), s.last_read.begin(), s.last_read.end());
  }
  return all;
}

TEST(RunRecord, SaysWhatRanHowItEndedAndHowFarItStrayed) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  double strayed = 0.0;
  ASSERT_TRUE(s.run_until([&] {
    if (s.state() == 1 && s.segment() == 0) strayed = std::max(strayed, std::fabs(s.value("heat.1.pv") - s.value("heat.1.sp")));
    return s.state() == 7;
  }, 4000.0));
  s.run(2.0);
  auto record = record_by_line(s, 1);
  EXPECT_EQ(u32(record, 2), 1u);
  EXPECT_EQ(record[20], 0u) << "programme";
  EXPECT_EQ(record[21], 7u) << "complete";
  EXPECT_EQ(record[22], 0u) << "no trip";
  EXPECT_EQ(record[23], 3u) << "segments";
  EXPECT_EQ(record[24], 'a' << 8 | 'n');
  EXPECT_NEAR(record[36] * 0.1, strayed, 0.11);
  EXPECT_NE(record[37], 65535u) << "the soak heats";
  EXPECT_EQ(record[38], 65535u) << "the end does not";
  EXPECT_GT(u32(record, 6), u32(record, 4));
  const auto before = record;
  s.restart();
  s.run(1.0);
  EXPECT_EQ(record_by_line(s, 1), before) << "outlives a power loss";
}

// A draft is in the store from the first period of each segment on.
TEST(RunRecord, KeepsAcrossAPowerLossWhatWasWrittenDownBeforeIt) {
  fw::Parameters p = in_air();
  p.power_loss_policy = 2;       // resumes
  StandIn s(store_of(p, {ramp(120.0f, 0.5f), soak(20.0, 5.0f), end()}, "anneal"));
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_EQ(write(s, "heat.gains.1.gain", 0.031), 0);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 4000.0));
  s.run(5.0);
  const fw::RunRecord before = s.core->history.records.now;
  ASSERT_NE(before.deviation_dk[0], fw::deviation_none);
  s.restart();
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 4000.0));
  s.run(2.0);
  const auto record = record_by_line(s, 1);
  EXPECT_EQ(record[36], before.deviation_dk[0]) << "of the ramp before the outage";
  EXPECT_EQ(record[18], 2u) << "start and a write";
  EXPECT_EQ(record[19], 1u) << "outages";
  EXPECT_EQ(record[16], before.started_boot);
  EXPECT_EQ(record[17], before.started_boot + 1u);
  EXPECT_EQ(u32(record, 4), before.started_s);
  EXPECT_EQ(u32(record, 10), before.parameters_crc);
  EXPECT_EQ(u32(record_by_line(s, 2), 2), 0u) << "one run, one record";
}

TEST(RunRecord, OfARunCutWhileItsFirstDraftIsWrittenBeginsAnew) {
  fw::Parameters p = in_air();
  p.power_loss_policy = 2;
  StandIn s(store_of(p, {ramp(120.0f, 0.5f), soak(20.0, 5.0f), end()}, "anneal"));
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 0 && s.core->history.records.page == 3; }, 10.0)) << "in the midst of a draft";
  s.restart();
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 4000.0));
  s.run(2.0);
  const auto record = record_by_line(s, 1);
  EXPECT_EQ(record[21], 7u);
  EXPECT_EQ(record[18], 0u) << "the start is gone: nothing had been written down";
  EXPECT_NE(record[36], 65535u);
}

TEST(RunRecord, OfARunCutWhileALaterDraftIsWrittenGoesOnWithTheOneBefore) {
  fw::Parameters p = in_air();
  p.power_loss_policy = 2;
  StandIn s(store_of(p, {ramp(120.0f, 0.5f), soak(20.0, 5.0f), ramp(140.0f, 0.5f), end()}, "anneal"));
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 4000.0));
  const std::uint16_t ramp_dk = s.core->history.records.now.deviation_dk[0];
  ASSERT_NE(ramp_dk, fw::deviation_none);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 2 && s.core->history.records.page == 3; }, 4000.0)) << "in the midst of a draft";
  s.restart();
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 4000.0));
  s.run(2.0);
  const auto record = record_by_line(s, 1);
  EXPECT_EQ(record[21], 7u);
  EXPECT_EQ(record[36], ramp_dk);
  EXPECT_EQ(record[18], 1u) << "the start";
  EXPECT_EQ(record[19], 1u) << "outages";
}

// The run was over and its progress with it: only the draft tells that there was one.
TEST(RunRecord, CutWhileItIsWrittenEndsWithWhatItsDraftHeld) {
  StandIn s(store_of(in_air(), {ramp(120.0f, 0.5f), soak(20.0, 5.0f), end()}, "anneal"));
  s.run(1.0);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.segment() == 1; }, 4000.0));
  const std::uint16_t ramp_dk = s.core->history.records.now.deviation_dk[0];
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7 && s.core->history.records.page == 3; }, 4000.0)) << "in the midst of the record";
  s.restart();
  s.run(3.0);
  const auto record = record_by_line(s, 1);
  EXPECT_EQ(record[21], 5u) << "power lost";
  EXPECT_EQ(record[36], ramp_dk);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_TRUE(s.run_until([&] { return s.state() == 7; }, 4000.0));
  s.run(2.0);
  EXPECT_EQ(u32(record_by_line(s, 2), 2), 2u) << "its number is not given twice";
}

// --- The hash of a run ---------------------------------------------------------------------------------------------------

// The longest programme there can be.
std::vector<fw::Segment> longest() {
  std::vector<fw::Segment> all{ramp(120.0f, 0.5f)};
  while (all.size() + 1 < fw::programme_segments_max) all.push_back(soak(20.0 + static_cast<double>(all.size()), 5.0f));
  all.push_back(end());
  return all;
}

StandIn begun(const std::vector<fw::Segment>& segments, std::int32_t power_loss_policy = 0) {
  fw::Parameters p = in_air();
  p.power_loss_policy = power_loss_policy;
  StandIn s(store_of(p, segments, "anneal"));
  s.run(1.0);
  EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  return s;
}

// ISO 3309 over the bytes as they lie in memory, in one go.
std::uint32_t crc_of(const std::vector<fw::Segment>& segments) {
  return fw::crc32(segments.data(), segments.size() * sizeof(fw::Segment));
}

std::uint32_t crc_of(const fw::Parameters& parameters) {
  std::vector<std::uint32_t> bits;
  for (const fw::ParameterInfo& info : fw::parameter_table()) bits.push_back(fw::parameter_bits(parameters, info));
  return fw::crc32(bits.data(), bits.size() * sizeof bits[0]);
}

bool hashing(const StandIn& s) { return s.core->history.hash.part != fw::RunHash::Part::none; }

TEST(RunHash, OfTheLongestProgrammeIsWholeAfterTwoSeconds) {
  StandIn s = begun(longest());
  int ticks = 0;
  for (; hashing(s) && ticks < 100; ++ticks) {
    const fw::RunHash before = s.core->history.hash;
    s.tick();
    const fw::RunHash& after = s.core->history.hash;
    if (after.part != before.part) continue;
    EXPECT_LE(after.at - before.at, after.part == fw::RunHash::Part::programme ? 8 : 64) << "a piece each tick";
  }
  EXPECT_LE(ticks, 20);
  EXPECT_EQ(s.core->history.records.now.programme_crc, crc_of(longest()));
  EXPECT_EQ(s.core->history.programme_crc, crc_of(longest()));
  EXPECT_EQ(s.core->history.records.now.parameters_crc, crc_of(s.core->parameters));
}

TEST(RunHash, IsOfTheProgrammeAsEditedMeanwhile) {
  StandIn s = begun(longest());
  s.run(0.5);
  ASSERT_TRUE(hashing(s));
  std::vector<fw::Segment> edited = longest();
  edited[1] = soak(77.0, 5.0f);
  s.core->run.copy[1] = edited[1];
  fw::history_segment_changed(*s.core, 1, 0);
  s.run(3.0);
  EXPECT_EQ(s.core->history.records.now.programme_crc, crc_of(edited));
  EXPECT_EQ(s.core->history.records.now.parameters_crc, crc_of(s.core->parameters));
  edited[2] = soak(78.0, 5.0f);     // long after the start: the record keeps what the run began with
  s.core->run.copy[2] = edited[2];
  const std::uint32_t began = s.core->history.records.now.programme_crc;
  fw::history_segment_changed(*s.core, 2, 0);
  s.run(3.0);
  EXPECT_EQ(s.core->history.programme_crc, crc_of(edited));
  EXPECT_EQ(s.core->history.records.now.programme_crc, began);
}

TEST(RunHash, IsOfTheParametersAsWrittenMeanwhile) {
  StandIn s = begun(longest());
  const fw::RunHash& hash = s.core->history.hash;
  ASSERT_TRUE(s.run_until([&] { return hash.part == fw::RunHash::Part::parameters && hash.at > 64; }, 5.0));
  ASSERT_LT(place_of("heat.gains.1.gain"), 64u) << "of a piece that is over";
  ASSERT_EQ(write(s, "heat.gains.1.gain", 0.031), 0);
  s.run(3.0);
  EXPECT_EQ(s.core->history.records.now.parameters_crc, crc_of(s.core->parameters));
}

TEST(RunHash, OfARunThatIsOverBeforeClosesItsRecordThen) {
  std::vector<fw::Segment> segments = longest();
  segments[0] = end();
  StandIn s = begun(segments);
  ASSERT_EQ(s.state(), 7);
  ASSERT_TRUE(hashing(s));
  EXPECT_EQ(s.core->history.records.last, 0u);
  s.run(3.0);
  ASSERT_EQ(s.core->history.records.last, 1u);
  const fw::RunRecord& record = fw::run_record(s.core->history.records, 1);
  EXPECT_EQ(record.programme_crc, crc_of(segments));
  EXPECT_EQ(record.parameters_crc, crc_of(s.core->parameters));
  EXPECT_EQ(record.end_state, 7u);
  EXPECT_EQ(record.ended_s, record.started_s) << "not when its record was closed, two seconds later";
  EXPECT_EQ(record.hash, fw::run_record_hash(record));
}

TEST(RunHash, OfARunThatTheNextOneFollowsAtOnceIsLeftUndone) {
  StandIn s = begun({end()});
  ASSERT_EQ(s.state(), 7);
  ASSERT_EQ(s.command(fw::Command::reset), fw::Refusal::accepted);
  ASSERT_TRUE(hashing(s));
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  s.run(3.0);
  for (std::uint32_t number = 1; number <= 2; ++number) {
    const fw::RunRecord& record = fw::run_record(s.core->history.records, number);
    EXPECT_EQ(record.number, number);
    EXPECT_EQ(record.end_state, 7u);
    EXPECT_EQ(record.programme_crc, crc_of({end()}));
    EXPECT_EQ(record.parameters_crc, number == 1 ? 0u : crc_of(s.core->parameters));
  }
}

// Its place is told from others by the hash, so it is kept with it: before that a run that loses its power is one that never began.
TEST(RunHash, StandsBeforeThePlaceIsKept) {
  for (const double after_s : {0.5, 3.0}) {
    StandIn s = begun(longest(), 2);
    s.run(after_s);
    ASSERT_EQ(hashing(s), after_s < 1.0);
    s.restart();
    s.run(2.0);
    EXPECT_EQ(s.state(), after_s < 1.0 ? 0 : 1) << after_s;
    EXPECT_EQ(s.core->history.records.now.number, after_s < 1.0 ? 0u : 1u);
    EXPECT_EQ(s.core->history.records.now.parameters_crc, after_s < 1.0 ? 0u : crc_of(s.core->parameters));
  }
}

TEST(RunRecord, CountsWhatTheOperatorDidAndNamesTheTrip) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  ASSERT_EQ(write(s, "heat.gains.1.gain", 0.031), 0);
  ASSERT_EQ(s.command(fw::Command::hold), fw::Refusal::accepted);
  ASSERT_EQ(s.command(fw::Command::hold), fw::Refusal::wrong_state);
  s.discrete_clear = 1u << 1;
  s.run(20.0);
  ASSERT_EQ(s.state(), 6);
  const auto record = record_by_line(s, 1);
  EXPECT_EQ(record[18], 3u) << "start, a write, hold";
  EXPECT_EQ(record[21], 6u) << "aborted";
  EXPECT_EQ(record[22], fw::row::emergency_stop);
  EXPECT_NE(record[13] & (1u << fw::alarm::trip), 0u) << "its alarm";
}

TEST(RunRecord, OfARunThatLostItsPowerSaysSo) {
  StandIn s = in_air_at_rest();
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  s.run(30.0);
  s.restart();
  s.run(3.0);
  const auto record = record_by_line(s, 1);
  EXPECT_EQ(u32(record, 2), 1u);
  EXPECT_EQ(record[21], 5u);
  EXPECT_EQ(record[16] + 1, record[17]) << "begun by the start before";
}

TEST(RunRecord, KeepsTheLastEightAndIsWholeOrMissingAtACut) {
  fw::RunRecords records{};
  Bytes image(fw::store_image_bytes, 0xFF);
  std::uint8_t page[64];
  for (std::uint32_t run = 1; run <= 21; ++run) {
    records.now = fw::RunRecord{};
    records.now.programme_crc = run * 1000;
    fw::begin_run_record(records);
    fw::note_deviation(records, 3, static_cast<float>(run));
    fw::end_run_record(records, fw::ProgrammeState::complete, 10 * run, 1);
    for (int number = fw::next_run_record_page(records, page); number >= 0; number = fw::next_run_record_page(records, page)) {
      const auto at = image.begin() + 64 * number;
      const Bytes old(at, at + 64);
      for (const std::size_t cut : {0u, 1u, 9u, 30u, 60u, 63u}) {
        std::copy(page, page + cut, at);
        fw::RunRecords read{};
        fw::load_run_records(image, read);
        ASSERT_EQ(read.last, run - 1) << run << ' ' << cut;
        for (std::uint32_t n = run > 8 ? run - 8 : 1; n < run; ++n)
          ASSERT_EQ(fw::run_record(read, n).programme_crc, n * 1000) << run << ' ' << cut;
        std::copy(old.begin(), old.end(), at);
      }
      std::copy(page, page + 64, at);
    }
    fw::RunRecords read{};
    fw::load_run_records(image, read);
    ASSERT_EQ(read.last, run);
    ASSERT_EQ(fw::run_record(read, run).deviation_dk[3], 10 * run);
  }
}

// --- Access ------------------------------------------------------------------------------------------------------------

TEST(WriteAccess, OfTheLimitsNeedsTheKeyAndAFurnaceAtRest) {
  StandIn s = in_air_at_rest();
  EXPECT_EQ(write(s, "limits.zone_trip", 1040.0), 1) << "the server is in the wrong state for it: no key";
  s.discrete_set = key_switch;
  s.run(0.5);
  EXPECT_EQ(write(s, "limits.zone_trip", 1040.0), 0);
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  EXPECT_EQ(write(s, "limits.zone_trip", 1030.0), 6) << "busy with a programme";
  EXPECT_FLOAT_EQ(s.core->parameters.zone_trip_degc, 1040.0f);
  EXPECT_EQ(write(s, "heat.gains.1.gain", 0.03), 0) << "gains are set while it runs";
}

TEST(WriteAccess, OfWhatTheFurnaceIsNeedsItColdToo) {
  StandIn s = in_air_at_rest();
  s.discrete_set = key_switch;
  s.process.zone_degc = s.process.load_degc = 300.0;
  s.run(0.5);
  EXPECT_EQ(write(s, "unit.chamber_volume", 13.0), 6);
  EXPECT_EQ(write(s, "instruments.meter_full_scale", 6.0), 0) << "how it is measured only needs rest";
  s.process.zone_degc = s.process.load_degc = 30.0;
  s.run(0.5);
  EXPECT_EQ(write(s, "unit.chamber_volume", 13.0), 0);
}

TEST(WriteAccess, RefusesAWholeRequestForOnePartOfIt) {
  StandIn s = in_air_at_rest();
  const std::size_t first = place_of("flow.ramp");      // the next one is a limit
  Bytes data;
  put_float(data, 2.0);
  put_float(data, 1000.0);
  s.tick(StandIn::write_request(static_cast<unsigned>(fw::parameter_address + 2 * first), data));
  EXPECT_EQ(s.reply.at(1), 16 | 0x80);
  EXPECT_EQ(s.reply.at(2), 1);
  EXPECT_FLOAT_EQ(s.core->parameters.flow_ramp_slm_per_s, 1.0f);
}

TEST(WriteAccess, HasARowForEveryParameterAndTheKeyForWhatKeepsTheFurnaceSafe) {
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    const fw::AccessRow& row = fw::access_row(info);
    const std::string name = info.name;
    const bool safety = name.starts_with("unit.") || name.starts_with("instruments.") || name.starts_with("limits.") ||
                        name.starts_with("calibration.") || name.starts_with("combustible.");
    EXPECT_EQ((row.needs & fw::access_key) != 0, safety) << name;
  }
}

}  // namespace
