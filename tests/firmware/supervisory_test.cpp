// The supervisory line: published frames where they fit any register map, then this map's own rules.
#include <gtest/gtest.h>

#include <set>
#include <sstream>

#include "tests/csv_table.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

Bytes bytes_of(const std::string& hex) {
  Bytes bytes;
  std::istringstream in(hex);
  for (std::string item; in >> item;) bytes.push_back(static_cast<std::uint8_t>(std::stoul(item, nullptr, 16)));
  return bytes;
}

StandIn idle_one() {
  StandIn s(store_of(in_air(), {ramp(400.0f, 0.1f), soak(60.0, 5.0f), end()}, "anneal"));
  s.run(1.0);
  return s;
}

Bytes u16s(std::initializer_list<unsigned> values) {
  Bytes bytes;
  for (const unsigned value : values) put16(bytes, value);
  return bytes;
}

Bytes with_float(Bytes bytes, double value) {
  put_float(bytes, value);
  return bytes;
}

// MODBUS Application Protocol Specification V1.1b3, sections 6 and 7; frames in tests/reference/modbus_frames.csv.
TEST(SupervisoryLine, RefusesAsThePublishedFramesDo) {
  const std::set<std::string> fitting{"exc_fc03_qty0", "exc_fc03_qty126", "exc_fc16_qty0",  "exc_fc23_read126",
                                      "exc_fc04_qty126", "exc_fc06_addr",  "exc_unknown_fc", "exc_fc23_bytecount"};
  int seen = 0;
  for (const CsvTable table("modbus_frames.csv"); const auto& row : table.rows()) {
    if (!fitting.contains(row["case"])) continue;
    ++seen;
    StandIn s = idle_one();
    s.tick(bytes_of(row["request_rtu_adu_hex"]));
    if (s.reply.empty()) s.tick(Bytes{});   // an unknown function's length is told by silence only
    EXPECT_EQ(s.reply, bytes_of(row["reply_rtu_adu_hex"])) << row["case"];
  }
  EXPECT_EQ(seen, static_cast<int>(fitting.size()));
}

TEST(SupervisoryLine, StaysSilentToOthersToBroadcastsAndToDamage) {
  StandIn s = idle_one();
  for (const CsvTable table("modbus_frames.csv"); const auto& row : table.rows()) {
    if (row["slave"] == "1") continue;
    s.tick(bytes_of(row["request_rtu_adu_hex"]));
    EXPECT_TRUE(s.reply.empty()) << row["case"];
    s.run(0.3);
  }
  Bytes damaged = StandIn::read_request(4, 0, 10);
  damaged[3] ^= 1;
  s.tick(damaged);
  EXPECT_TRUE(s.reply.empty());
}

// MODBUS over Serial Line V1.02, 2.4.1: a client sends its next request after the answer to the one before, or after giving it up.
TEST(SupervisoryLine, AnswersTheLastOfTheReadsThatPiledUpAndNeverDropsAWrite) {
  StandIn s = idle_one();
  const auto together = [](std::initializer_list<Bytes> frames) {
    Bytes all;
    for (const Bytes& frame : frames) all.insert(all.end(), frame.begin(), frame.end());
    return all;
  };
  const auto read = [](unsigned registers) { return StandIn::read_request(4, 0, registers); };
  s.tick(together({read(3), read(5), read(7)}));
  EXPECT_EQ(s.reply.size(), 5u + 2 * 7);
  s.tick(read(2));
  EXPECT_EQ(s.reply.size(), 5u + 2 * 2);                     // nothing lags behind
  const double count = s.value("command.count");
  const Bytes start = StandIn::command_request(fw::Command::start, 0, 0.0);
  s.tick(together({read(3), start, read(9)}));
  ASSERT_GT(s.reply.size(), 2u);
  EXPECT_EQ(s.reply[1], start[1]);
  s.tick(read(2));
  EXPECT_EQ(s.reply.size(), 5u + 2 * 2);
  s.tick();
  EXPECT_EQ(s.value("command.count"), count + 1);
  EXPECT_EQ(s.state(), 1);
  const Bytes skip = StandIn::command_request(fw::Command::skip, 0, 0.0);
  s.tick(together({skip, skip}));                            // doubled on the line
  s.tick();
  EXPECT_EQ(s.value("command.count"), count + 2);
  s.tick(skip);                                              // asked again
  s.tick();
  EXPECT_EQ(s.value("command.count"), count + 3);
}

TEST(MonitorBlock, HasTheSignalsOfTheDesignInAddressOrderWithoutHoles) {
  std::set<std::string> names;
  unsigned address = 0;
  for (const fw::RegisterInfo& info : fw::monitor_table()) {
    EXPECT_EQ(info.address, address) << info.name;
    EXPECT_FALSE(info.writable);
    address += info.type == fw::RegisterType::u16 ? 1 : 2;
    EXPECT_TRUE(names.insert(info.name).second) << info.name;
  }
  EXPECT_EQ(address, fw::monitor_registers(4));
  EXPECT_LE(address, 125u) << "one read";
  for (const char* name : {"heat.1.pv", "heat.4.out", "load.pv", "pressure.pv", "pressure.sp", "pressure.out", "flow.pv",
                           "flow.sp", "flow.out", "vacuum.pv", "oxygen.pv", "dew_point.pv", "programme.segment",
                           "programme.state", "atmosphere.phase", "alarms.active", "interlock.heat_permissive",
                           "interlock.trip"}) {
    EXPECT_TRUE(names.contains(name)) << name;
  }
  EXPECT_EQ(fw::monitor_registers(4) - fw::monitor_registers(3), 6);
}

TEST(MonitorBlock, ReadsAlikeByFunctions03And04AndInParts) {
  StandIn s = idle_one();
  s.tick(StandIn::read_request(3, 2, 20));
  const auto by_three = s.last_read;
  s.tick(StandIn::read_request(4, 2, 20));
  EXPECT_EQ(by_three, s.last_read);
  s.tick(StandIn::read_request(4, fw::monitor_registers(4), 1));
  EXPECT_EQ(s.reply[1], 0x84);
  EXPECT_EQ(s.reply[2], 2);
  s.tick(StandIn::read_request(4, fw::monitor_registers(4) - 1u, 2));
  EXPECT_EQ(s.reply[2], 2) << "half in, half out";
}

TEST(MonitorBlock, IsReadOnly) {
  StandIn s = idle_one();
  s.tick(StandIn::write_request(3, u16s({1})));
  EXPECT_EQ(s.reply[1], 0x90);
  EXPECT_EQ(s.reply[2], 2);
}

TEST(MonitorBlock, ShowsTheStationsInstrumentsInTheirUnits) {
  StandIn s = idle_one();
  s.raw[0] = 33.275 - 1.000;   // type K: 800 degC is 33.275 mV, 25 degC is 1.000 mV (NIST Monograph 175)
  s.raw[4] = 20.644 - 1.000;   // 500 degC
  s.raw[7] = 9.76;             // -5..20 kPa: 4 kPa
  s.raw[8] = 0.1;              // 10 V = 1333.22 Pa; read although the gauge cell says otherwise
  s.raw[14] = 4.0 + 16.0 * 50.0 / 120.0;   // -100..20: -50 degC
  s.run(0.3);
  EXPECT_NEAR(s.value("heat.1.pv"), 800.0, 0.05);   // 0.5 uV of the table's print at 41 uV/K, cold junction 0.01 K
  EXPECT_NEAR(s.value("load.pv"), 500.0, 0.05);
  EXPECT_NEAR(s.value("pressure.pv"), 4000.0, 0.01);
  EXPECT_NEAR(s.value("vacuum.pv"), 13.3322, 0.0001);
  EXPECT_NEAR(s.value("dew_point.pv"), -50.0, 0.001);
}

TEST(Command, ActsAtTheNextStepAndWritesComeBeforeReads) {
  StandIn s = idle_one();
  const double count = s.value("command.count");
  s.tick(StandIn::command_request(fw::Command::start, 0, 0.0));
  EXPECT_EQ(s.state(), 0) << "written after the step";
  s.tick();
  EXPECT_EQ(s.state(), 1);
  EXPECT_EQ(s.value("command.count"), count + 1);
  Bytes both{1, 23};   // FC 23: writes command.argument 5, reads it in the same exchange
  for (const unsigned v : {0x0101u, 1u, 0x0101u, 1u}) put16(both, v);
  both.push_back(2);
  put16(both, 5);
  s.tick(rtu::sealed(both));
  ASSERT_EQ(s.last_read.size(), 1u);
  EXPECT_EQ(s.last_read[0], 5);
}

TEST(Command, RefusalsSayWhy) {
  StandIn s = idle_one();
  using fw::Command, fw::Refusal;
  EXPECT_EQ(s.command(static_cast<Command>(99)), Refusal::unknown_command);
  EXPECT_EQ(s.command(Command::resume), Refusal::wrong_state);
  EXPECT_EQ(s.command(Command::reset), Refusal::wrong_state);
  EXPECT_EQ(s.command(Command::select_programme, 16), Refusal::no_such_programme);
  EXPECT_EQ(s.command(Command::select_programme, 3), Refusal::no_such_programme);
  EXPECT_EQ(s.command(Command::change_setpoint, 0, 100.0), Refusal::wrong_state);
  EXPECT_EQ(s.command(Command::read_segment, 7), Refusal::no_such_segment);
  EXPECT_EQ(s.command(Command::start), Refusal::accepted);
  EXPECT_EQ(s.command(Command::start), Refusal::wrong_state);
  EXPECT_EQ(s.command(Command::select_programme, 0), Refusal::wrong_state);
}

std::size_t parameter_index(const char* name) {
  const auto table = fw::parameter_table();
  for (std::size_t i = 0; i < table.size(); ++i) {
    if (std::string(table[i].name) == name) return i;
  }
  throw std::out_of_range(name);
}

unsigned parameter_register(const char* name) { return static_cast<unsigned>(fw::parameter_address + 2 * parameter_index(name)); }

TEST(ParameterRegisters, AreCheckedAgainstTheirBoundsAndStored) {
  StandIn s = idle_one();
  const unsigned gain = parameter_register("heat.gains.1.gain");
  s.tick(StandIn::write_request(gain, with_float({}, 0.05)));
  EXPECT_EQ(s.reply[1], 16);
  s.tick(StandIn::write_request(gain, with_float({}, 11.0)));
  EXPECT_EQ(s.reply[1], 0x90);
  EXPECT_EQ(s.reply[2], 3);
  s.tick(StandIn::write_request(gain, u16s({0x7FC0, 0})));
  EXPECT_EQ(s.reply[2], 3) << "not a number";
  s.tick(StandIn::write_request(gain, u16s({0x3F80})));
  EXPECT_EQ(s.reply[2], 3) << "half a value";
  s.run(2.0);
  EXPECT_FLOAT_EQ(s.core->parameters.heat_gains[0].gain_per_k, 0.05f);
  s.restart();
  EXPECT_FLOAT_EQ(s.core->parameters.heat_gains[0].gain_per_k, 0.05f) << "from the store";
}

TEST(ParameterRegisters, AreAllOrNothing) {
  StandIn s = idle_one();
  Bytes two = with_float(with_float({}, 0.07), -1.0);   // gain good, integral time not
  s.tick(StandIn::write_request(parameter_register("heat.gains.1.gain"), two));
  EXPECT_EQ(s.reply[2], 3);
  EXPECT_FLOAT_EQ(s.core->parameters.heat_gains[0].gain_per_k, 0.02f);
}

TEST(ParameterRegisters, OfTheUnitStandWhileAProgrammeRuns) {
  StandIn s = started(in_air(), {ramp(400.0f, 0.1f), end()});
  s.discrete_set = 1u << 9;      // the key switch stands at commissioning
  s.run(0.5);
  s.tick(StandIn::write_request(parameter_register("unit.zones"), u16s({0, 2})));
  EXPECT_EQ(s.reply[1], 0x90);
  EXPECT_EQ(s.reply[2], 6);
  s.tick(StandIn::write_request(parameter_register("limits.zone_trip"), with_float({}, 1000.0)));
  EXPECT_EQ(s.reply[2], 6) << "nor do the limits move";
  s.tick(StandIn::write_request(parameter_register("heat.gains.1.gain"), with_float({}, 0.03)));
  EXPECT_EQ(s.reply[1], 16);
}

// What the furnace is decides which safe values stand: not to be changed under a load that is still hot.
TEST(ParameterRegisters, OfTheUnitStandWhileTheFurnaceIsHot) {
  StandIn s(store_of(in_argon(), {ramp(400.0f, 0.1f), end()}));
  s.process.load_degc = s.process.zone_degc = 600.0;
  s.discrete_set = 1u << 9;      // the key switch
  s.run(1.0);
  ASSERT_EQ(s.state(), 0);
  s.tick(StandIn::write_request(parameter_register("unit.retort_ceramic"), u16s({0, 0})));
  EXPECT_EQ(s.reply[1], 0x90);
  EXPECT_EQ(s.core->parameters.retort_ceramic, 1);
  s.process.load_degc = s.process.zone_degc = 60.0;
  s.run(1.0);
  s.tick(StandIn::write_request(parameter_register("unit.retort_ceramic"), u16s({0, 0})));
  EXPECT_EQ(s.reply[1], 16);
}

TEST(ParameterRegisters, ReadBackEveryParameter) {
  StandIn s = idle_one();
  for (std::size_t i = 0; i < fw::parameter_table().size(); ++i) {
    s.tick(StandIn::read_request(3, static_cast<unsigned>(fw::parameter_address + 2 * i), 2));
    ASSERT_EQ(s.last_read.size(), 2u);
    const std::uint32_t bits = s.last_read[0] * 65536u + s.last_read[1];
    EXPECT_EQ(bits, fw::parameter_bits(s.core->parameters, fw::parameter_table()[i])) << fw::parameter_table()[i].name;
  }
}

Bytes window(unsigned programme, const fw::Segment& g, const std::string& title) {
  Bytes b = u16s({programme, static_cast<unsigned>(g.kind), static_cast<unsigned>(g.gas), g.gain_set, g.options});
  put_float(b, static_cast<double>(g.target));
  put_float(b, static_cast<double>(g.rate));
  put16(b, g.duration_ms >> 16);
  put16(b, g.duration_ms & 0xFFFF);
  for (const float value : {g.tolerance_k, g.flow_slm, g.back_pressure_pa, g.amount}) put_float(b, static_cast<double>(value));
  put16(b, g.count);
  put16(b, g.jump);
  put16(b, g.timeout_ms >> 16);
  put16(b, g.timeout_ms & 0xFFFF);
  for (std::size_t i = 0; i < 24; ++i) b.push_back(static_cast<std::uint8_t>(i < title.size() ? title[i] : '\0'));
  for (const float value : {g.power_limit, g.feed_forward}) put_float(b, static_cast<double>(value));
  return b;
}

TEST(ProgrammeWindow, WritesAProgrammeThatRunsAndOutlivesAPowerCut) {
  StandIn s = idle_one();
  const std::vector<fw::Segment> segments{wait(5.0), soak(2.0, 0.0f), end()};
  for (unsigned i = 0; i < segments.size(); ++i) {
    s.tick(StandIn::write_request(fw::programme_window_address, window(7, segments[i], "seventh")));
    ASSERT_EQ(s.reply[1], 16);
    ASSERT_EQ(s.command(fw::Command::write_segment, i), fw::Refusal::accepted);
  }
  ASSERT_EQ(s.command(fw::Command::select_programme, 7), fw::Refusal::accepted);
  s.run(3.0);
  s.restart();
  s.run(1.0);
  EXPECT_EQ(s.value("programme.number"), 7.0);
  EXPECT_STREQ(s.core->programmes.entries[7].title, "seventh");
  ASSERT_EQ(s.command(fw::Command::start), fw::Refusal::accepted);
  EXPECT_TRUE(s.run_until([&] { return s.state() == 7; }, 10.0));
}

TEST(ProgrammeWindow, ReadsBackWhatTheStoreHolds) {
  StandIn s = idle_one();
  ASSERT_EQ(s.command(fw::Command::read_segment, 1), fw::Refusal::accepted);
  const auto count = static_cast<unsigned>(window(0, {}, "").size() / 2);
  s.tick(StandIn::read_request(3, fw::programme_window_address, count));
  Bytes expected = window(0, soak(60.0, 5.0f), "anneal");
  ASSERT_EQ(s.reply.size(), expected.size() + 5);
  EXPECT_TRUE(std::equal(expected.begin(), expected.end(), s.reply.begin() + 3));
}

TEST(ProgrammeWindow, RefusesWhatIsNoSegment) {
  StandIn s = idle_one();
  fw::Segment bad = ramp(100.0f, 0.0f);
  s.tick(StandIn::write_request(fw::programme_window_address, window(2, bad, "")));
  EXPECT_EQ(s.command(fw::Command::write_segment, 0), fw::Refusal::segment_invalid);
  s.tick(StandIn::write_request(fw::programme_window_address, window(2, wait(1.0), "")));
  EXPECT_EQ(s.command(fw::Command::write_segment, 1), fw::Refusal::no_such_segment) << "leaves a hole";
  s.tick(StandIn::write_request(fw::programme_window_address, window(16, wait(1.0), "")));
  EXPECT_EQ(s.reply[2], 3);
}

TEST(ProgrammeWindow, RunningProgrammeIsACopyOfItsOwn) {
  StandIn s = started(in_air(), {wait(20.0), end()});
  s.tick(StandIn::write_request(fw::programme_window_address, window(0, wait(500.0), "longer")));
  ASSERT_EQ(s.command(fw::Command::write_segment, 0), fw::Refusal::accepted);
  EXPECT_TRUE(s.run_until([&] { return s.state() == 7; }, 25.0));
}

TEST(ProgrammeWindow, FullStoreRefusesAndOtherProgrammesStay) {
  const std::vector<fw::Segment> many(127, wait(1.0));
  Bytes image(fw::store_image_bytes);
  const fw::ProgrammeSourceEntry entries[] = {{"a", many}, {"b", many}, {"c", many}, {"d", many}};
  ASSERT_EQ(fw::build_store_image(in_air(), entries, 0, image), image.size());
  StandIn s(image);
  s.run(1.0);
  for (unsigned i = 0; i < 4; ++i) {   // 512 - 4 * 127
    s.tick(StandIn::write_request(fw::programme_window_address, window(9, wait(1.0), "")));
    EXPECT_EQ(s.command(fw::Command::write_segment, i), fw::Refusal::accepted);
  }
  s.tick(StandIn::write_request(fw::programme_window_address, window(9, wait(1.0), "")));
  EXPECT_EQ(s.command(fw::Command::write_segment, 4), fw::Refusal::store_full);
  ASSERT_EQ(s.command(fw::Command::erase_programme, 1), fw::Refusal::accepted);
  s.tick(StandIn::write_request(fw::programme_window_address, window(9, wait(1.0), "")));
  EXPECT_EQ(s.command(fw::Command::write_segment, 4), fw::Refusal::accepted) << "moved to where there is room";
  EXPECT_EQ(s.core->programmes.entries[0].segments, 127);
  EXPECT_EQ(s.core->programmes.entries[3].segments, 127);
}

}  // namespace
