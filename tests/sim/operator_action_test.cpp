// What the operator does, as bytes: every action of a scenario is looked up on the tape of the supervisory line and decoded here by
// hand (MODBUS Application Protocol V1.1b3, 6.3, 6.12 and 6.17; addresses of DEVELOPERS.md and firmware/registers.h).
#include <algorithm>
#include <bit>
#include <filesystem>

#include <unistd.h>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "sim/action_file.h"
#include "sim/action_verdicts.h"
#include "sim/programme_file.h"
#include "sim/tape.h"
#include "tests/sim/shipped_files.h"
#include "tests/sim/short_run.h"

namespace {

using sim::OperatorAction;
using sim::Scenario;
using testing::ElementsAre;
using testing::HasSubstr;
using Bytes = std::vector<std::uint8_t>;

std::vector<OperatorAction> read(const std::string& text, const Scenario& scenario) {
  return sim::read_actions(sim::parse_yaml(text, "actions.yaml"), {scenario.programme, sim::SignalTable(1)});
}

// An item alone in its file, and what the refusal says.
void expect_refused(const Scenario& scenario, const char* item, const char* says) {
  try {
    read(item, scenario);
    ADD_FAILURE() << item;
  } catch (const sim::InputError& error) {
    EXPECT_THAT(error.what(), HasSubstr(says));
    EXPECT_THAT(error.what(), testing::StartsWith("actions.yaml:1:")) << item;
  }
}

Scenario with(const std::string& actions, double seconds) {
  Scenario scenario = sim_test::short_run(seconds, "sensors/load_thermocouple_opens");
  scenario.faults.clear();
  scenario.expectations.clear();
  scenario.actions = read(actions, scenario);
  return scenario;
}

bool crc_is_good(const Bytes& frame) {
  unsigned crc = 0xFFFF;
  for (const unsigned byte : frame) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) != 0 ? (crc >> 1) ^ 0xA001u : crc >> 1;
  }
  return crc == 0;   // over a frame and its CRC
}

// Everything but the plain readings of the monitor block.
struct Exchange {
  std::uint64_t tick = 0;
  Bytes request, answer;
};

struct Acted {
  std::vector<Exchange> exchanges;
  std::vector<sim::Event> events;
  std::vector<sim::ExpectationResult> verdicts;
  bool pass = false;

  std::vector<std::string> told(std::string_view kind) const {
    std::vector<std::string> texts;
    for (const sim::Event& event : events)
      if (event.source == "operator" && event.kind == kind) texts.push_back(event.text);
    return texts;
  }
};

Acted run(const Scenario& scenario) {
  const std::filesystem::path path = std::filesystem::path(testing::TempDir()) / ("operator_action_" + std::to_string(getpid()) + ".tape");
  Acted result;
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  sim::ActionVerdicts verdicts(scenario.actions);
  {
    sim::TapeHeader header;
    header.store_image.assign(bench.store_image().begin(), bench.store_image().end());
    sim::TapeWriter writer(path, header);
    bench.set_tape(&writer);
    while (bench.advance()) {
      result.events.insert(result.events.end(), bench.events().begin(), bench.events().end());
      verdicts.add(bench.outcomes(), bench.time_s());
    }
    writer.finish(bench.controller_hash());
  }
  sim::TapeReader tape(path);
  sim::TapeTick recorded;
  for (std::uint64_t tick = 0; tape.next(recorded); ++tick) {
    Exchange exchange{tick, {recorded.in.supervisory.begin(), recorded.in.supervisory.end()},
                      {recorded.out.supervisory.begin(), recorded.out.supervisory.begin() +
                                                             static_cast<std::ptrdiff_t>(recorded.out.supervisory_size)}};
    const bool silent = exchange.request.empty() && exchange.answer.empty();
    EXPECT_TRUE(silent || (crc_is_good(exchange.request) && crc_is_good(exchange.answer))) << "tick " << tick;
    if (exchange.request.size() > 1 && exchange.request[1] != 4) result.exchanges.push_back(std::move(exchange));
  }
  std::filesystem::remove(path);
  result.verdicts = verdicts.results();
  result.pass = verdicts.pass();
  return result;
}

unsigned word(const Bytes& bytes, std::size_t at) { return bytes[at] << 8 | bytes[at + 1]; }
float number(const Bytes& bytes, std::size_t at) { return std::bit_cast<float>(word(bytes, at) << 16 | word(bytes, at + 2)); }

// Unit 1, FC 23: reads from 0, writes 4 registers at 0x0100: command, argument, value.
std::vector<unsigned> command_of(const Exchange& exchange) {
  const Bytes& r = exchange.request;
  EXPECT_EQ(r.size(), 21u);
  EXPECT_EQ(r[0], 1);
  EXPECT_EQ(r[1], 23);
  EXPECT_EQ(word(r, 6), 0x0100u);
  EXPECT_EQ(word(r, 8), 4u);
  EXPECT_EQ(r[10], 8);
  return {word(r, 11), word(r, 13)};
}

TEST(OperatorAction, GoesOutAsItsCommandOfTheRegisterMap) {
  const Acted done = run(with("- start:\n  at: 1 s\n- hold:\n  at: 20 s\n- resume:\n  at: 22 s\n"
                            "- set_back_pressure: 3 kPa gauge\n  at: 24 s\n"
                            "- set_flow: 0.7 slm\n  at: 26 s\n- skip:\n  at: 28 s\n- acknowledge:\n  at: 30 s\n- stop:\n  at: 32 s\n"
                            "- reset:\n  at: 60 s\n- select_programme: 0\n  at: 62 s\n- set_heat: 300 degC\n  at: 64 s\n", 70.0));
  std::vector<std::vector<unsigned>> sent;
  std::vector<std::uint64_t> ticks;
  for (const Exchange& exchange : done.exchanges) {
    sent.push_back(command_of(exchange));
    ticks.push_back(exchange.tick);
  }
  using V = std::vector<unsigned>;
  EXPECT_THAT(sent, ElementsAre(V{2, 0}, V{3, 0}, V{4, 0}, V{8, 1}, V{8, 2}, V{5, 0}, V{7, 0}, V{6, 0}, V{9, 0}, V{1, 0}, V{8, 0}));
  EXPECT_THAT(ticks, ElementsAre(10, 200, 220, 240, 260, 280, 300, 320, 600, 620, 640));
  ASSERT_EQ(done.exchanges.size(), 11u);
  EXPECT_EQ(number(done.exchanges[3].request, 15), 3000.0f);
  EXPECT_EQ(number(done.exchanges[4].request, 15), 0.7f);
  EXPECT_EQ(number(done.exchanges[10].request, 15), 300.0f);
  EXPECT_THAT(done.told("refused"), testing::Contains("set_heat 300 degC: not in this state"));
}

// Numbers of the alarms: the table that `saggar interlocks` prints. Outputs: firmware/commissioning.h. 2026-03-31 is the 20,543rd day
// after 1970-01-01 (56 years, 14 leap days among them, 89 days: 56 * 365 + 14 + 89).
TEST(OperatorAction, NamesAlarmsAndOutputsByTheirNumbersOfTheRegisterMap) {
  const Acted done = run(with("- shelve_alarm: {alarm: deviation, for: 10 min}\n  at: 1 s\n- acknowledge_alarm: mains low\n  at: 3 s\n"
                              "- unshelve_alarm: deviation\n  at: 5 s\n- reset_alarm: contactor welded\n  at: 7 s\n"
                              "- alarm_out_of_service: supply low\n  at: 9 s\n- alarm_in_service: supply low\n  at: 11 s\n"
                              "- force_output: {output: demand_2, value: 0.25}\n  at: 13 s\n"
                              "- force_output: {output: valve, value: 1}\n  at: 15 s\n- release_outputs:\n  at: 17 s\n"
                              "- zero_pressure: 2026-03-31\n  at: 19 s\n- start_at_value:\n  at: 21 s\n"
                              "- force_gas: hydrogen\n  at: 23 s\n", 25.0));
  std::vector<std::vector<unsigned>> sent;
  std::vector<float> values;
  for (const Exchange& exchange : done.exchanges) {
    sent.push_back(command_of(exchange));
    values.push_back(number(exchange.request, 15));
  }
  using V = std::vector<unsigned>;
  EXPECT_THAT(sent, ElementsAre(V{61, 5}, V{60, 23}, V{62, 5}, V{63, 32}, V{64, 28}, V{65, 28}, V{43, 17}, V{43, 20}, V{44, 0}, V{45, 0},
                                V{46, 0}, V{43, 21}));
  EXPECT_THAT(values, ElementsAre(600.0f, 0.0f, 0.0f, 0.0f, 0.0f, 0.0f, 0.25f, 1.0f, 0.0f, 20543.0f, 0.0f, 5.0f));
}

unsigned address_of(std::string_view parameter) {
  unsigned address = 0x1000;
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    if (info.name == parameter) return address;
    address += 2;
  }
  return 0;
}

TEST(OperatorAction, WritesAParameterWithFc16AndReadsItBack) {
  const Acted done = run(with("- set_parameter: {name: heat.gains.1.gain, value: 0.3 1/K}\n  at: 5 s\n  expect: accepted\n", 10.0));
  ASSERT_EQ(done.exchanges.size(), 3u);              // and the start that the bench adds
  const Exchange& write = done.exchanges[1];
  const Exchange& read_back = done.exchanges[2];
  EXPECT_EQ(write.tick, 50u);
  EXPECT_EQ(write.request.size(), 13u);              // unit, 16, address, 2, 4 bytes, value, CRC
  EXPECT_EQ(write.request[1], 16);
  EXPECT_EQ(word(write.request, 2), address_of("heat.gains.1.gain"));
  EXPECT_EQ(word(write.request, 4), 2u);
  EXPECT_EQ(write.request[6], 4);
  EXPECT_EQ(number(write.request, 7), 0.3f);
  EXPECT_EQ(Bytes(write.answer.begin(), write.answer.begin() + 6), Bytes(write.request.begin(), write.request.begin() + 6));
  EXPECT_EQ(read_back.tick, 51u);
  EXPECT_EQ(read_back.request[1], 3);
  EXPECT_EQ(word(read_back.request, 2), address_of("heat.gains.1.gain"));
  EXPECT_EQ(number(read_back.answer, 3), 0.3f);
  EXPECT_THAT(done.told("accepted"), testing::Contains("set_parameter heat.gains.1.gain 0.3 1/K"));
  EXPECT_TRUE(done.pass);
}

// What the core refuses it refuses with a Modbus exception: 3 for a value out of bounds, 6 for what must not change while it runs.
TEST(OperatorAction, HearsTheRefusalOfAParameterAsAnException) {
  const Acted done = run(with("- start:\n  at: 1 s\n"
                            "- set_parameter: {name: heat.gains.1.gain, value: 5e6 1/K}\n  at: 20 s\n  expect: refused\n"
                            "- set_parameter: {name: instruments.load_thermocouple, value: K}\n  at: 25 s\n  expect: refused\n", 30.0));
  ASSERT_EQ(done.exchanges.size(), 3u);
  EXPECT_THAT(Bytes(done.exchanges[1].answer.begin(), done.exchanges[1].answer.begin() + 3), ElementsAre(1, 0x90, 3));
  EXPECT_THAT(Bytes(done.exchanges[2].answer.begin(), done.exchanges[2].answer.begin() + 3), ElementsAre(1, 0x90, 6));
  EXPECT_THAT(done.told("refused"), ElementsAre(HasSubstr("value out of bounds"), HasSubstr("not in this state")));
  EXPECT_TRUE(done.pass);
}

TEST(OperatorAction, FailsTheRunWhenItComesOtherwiseThanExpected) {
  const Acted done = run(with("- start:\n  at: 1 s\n  expect: accepted\n"
                            "- resume:\n  at: 20 s\n  every: 10 s\n  times: 2\n  expect: accepted\n"
                            "- hold:\n  when: plant.gas.gauge > 50 kPa\n  expect: refused\n- skip:\n  at: 45 s\n", 50.0));
  ASSERT_EQ(done.verdicts.size(), 3u);
  EXPECT_TRUE(done.verdicts[0].pass);
  EXPECT_THAT(done.verdicts[0].name, HasSubstr("start is accepted"));
  EXPECT_FALSE(done.verdicts[1].pass);                // nothing was held
  EXPECT_EQ(done.verdicts[1].ticks, 2u);
  EXPECT_NEAR(done.verdicts[1].failed_s, 20.0, 0.3);
  EXPECT_FALSE(done.verdicts[2].pass);
  EXPECT_FALSE(done.verdicts[2].judged);              // it never came
  EXPECT_FALSE(done.pass);
}

// What never came to the controller has not been refused by it.
TEST(OperatorAction, ThatIsNotAnsweredIsNeitherAcceptedNorRefused) {
  Scenario scenario = with("- start:\n  at: 1 s\n- resume:\n  at: 20 s\n  expect: refused\n"
                           "- skip:\n  at: 30 s\n  expect: accepted\n", 40.0);
  scenario.faults.push_back(sim_test::fault("supervisory_silent", {}, 10.0));
  const Acted done = run(scenario);
  ASSERT_EQ(done.verdicts.size(), 2u);
  EXPECT_FALSE(done.verdicts[0].pass);
  EXPECT_FALSE(done.verdicts[1].pass);
  EXPECT_THAT(done.told("unanswered"), ElementsAre("resume", "skip"));
  EXPECT_THAT(done.told("refused"), ElementsAre());
}

TEST(OperatorAction, MadeByMistakeGoesTheSameWay) {
  Scenario scenario = with("- start:\n  at: 1 s\n", 20.0);
  scenario.mistakes = {};
  sim::MistakeSource slip;
  slip.kind = sim::MistakeSource::Kind::decimal_slip;
  slip.parameter = "pressure.integral";
  slip.factor = 0.1;
  slip.timed = true;
  slip.when.at_s = 10.0;
  scenario.mistakes.push_back(slip);
  const Acted done = run(scenario);
  ASSERT_EQ(done.exchanges.size(), 3u);
  EXPECT_EQ(word(done.exchanges[1].request, 2), address_of("pressure.integral"));
  EXPECT_FLOAT_EQ(number(done.exchanges[1].request, 7), 0.1f * scenario.parameters.pressure_integral_s);
}

TEST(OperatorAction, ComesBackFromWhatIsWritten) {
  const Scenario scenario = sim_test::short_run(1.0, "sensors/load_thermocouple_opens");
  const std::string text = sim::write_actions(
      read("- set_parameter: {name: unit.heat_every, value: 5}\n  segment: soak\n  every: 1 min\n  times: 3\n  expect: refused\n"
           "- set_parameter: {name: unit.load_titanium, value: no}\n"
           "- set_parameter: {name: limits.zone_trip, value: 1562 degF}\n", scenario), 0);
  EXPECT_EQ(sim::write_actions(read(text, scenario), 0), text);
  const auto refused = [&](const char* item, const char* says) { expect_refused(scenario, item, says); };
  refused("- set_parameter: {name: heat.gains.1.gian, value: 0.3 1/K}", "nearest: heat.gains.1.gain");
  refused("- set_parameter: {name: heat.gains.1.gain, value: 0.3}", "1/K");
  refused("- set_parameter: {name: heat.gains.1.gain, value: 5e6 1/K}", "value");     // only one to be refused may be so
  refused("- set_parameter: {name: heat.gains.1.gain}", "value");
  refused("- set_parameter: 3", "a map");
  refused("- acknowledge_alarm: mains lou\n  at: 1 s", "nearest: mains low");
  refused("- shelve_alarm: {alarm: deviation}\n  at: 1 s", "for");
  refused("- shelve_alarm: {alarm: deviation, for: 25 h}\n  at: 1 s", "86400 s");
  refused("- force_output: {output: exhuast, value: 1}\n  at: 1 s", "nearest: exhaust");
  refused("- force_output: {output: valve, value: 1.5}\n  at: 1 s", "1");
  refused("- zero_pressure: 31.3.2026\n  at: 1 s", "2026-03-31");
  refused("- zero_pressure: 2026-02-30\n  at: 1 s", "2026-03-31");
  refused("- force_gas: hydrogn\n  at: 1 s", "nearest: hydrogen");
  const std::string forced = sim::write_actions(read("- force_output: {output: process, value: 1}\n  at: 1 s\n"
                                                     "- force_gas: forming_gas\n  at: 2 s\n", scenario), 0);
  EXPECT_THAT(forced, testing::AllOf(HasSubstr("output: process"), HasSubstr("- force_gas: forming_gas\n")));
  EXPECT_EQ(sim::write_actions(read(forced, scenario), 0), forced);
  refused("- release_outputs: all\n  at: 1 s", "nothing: this action has no value");
}

const char* const another = R"(
- name: short dry
  stored: no
  segments:
    - name: warm
      ramp: {to: 60 degC, rate: 5 K/min, gas: argon, flow: 0.6 slm, back_pressure: 4 kPa gauge}
    - name: stay
      wait: {for: 1 min}
    - end:
- name: kept
  segments:
    - name: pause
      wait: {for: 10 s}
    - end:
)";

Scenario with_programmes(const std::string& actions, double seconds) {
  Scenario scenario = sim_test::short_run(seconds, "sensors/load_thermocouple_opens");
  scenario.faults.clear();
  scenario.programmes = sim::read_other_programmes(sim::parse_yaml(another, "programmes.yaml"));
  const sim::ProgrammeSource all = sim::with_others(scenario);
  scenario.actions = sim::read_actions(sim::parse_yaml(actions, "actions.yaml"),
                                       {all, sim::SignalTable(1), 0.1, {"programme", "short dry", "kept"}});
  return scenario;
}

// Two exchanges for each segment, the window and the command that takes it, then the choice.
TEST(OperatorAction, WritesAProgrammeThatIsNotInTheStoreSegmentBySegment) {
  const Acted done = run(with_programmes("- load: short dry\n  at: 2 s\n  expect: accepted\n- start:\n  at: 5 s\n"
                                         "- hold:\n  segment: \"short dry: warm\"\n  after: 1 s\n  expect: accepted\n", 12.0));
  ASSERT_GE(done.exchanges.size(), 8u);
  for (std::size_t i = 0; i < 3; ++i) {
    const Bytes& window = done.exchanges[2 * i].request;
    EXPECT_EQ(window[1], 23);
    EXPECT_EQ(word(window, 6), 0x0200u);
    EXPECT_EQ(word(window, 8), 39u);
    EXPECT_EQ(word(window, 11), 1u);                        // programme 1
    EXPECT_EQ(command_of(done.exchanges[2 * i + 1]), (std::vector<unsigned>{10, static_cast<unsigned>(i)}));
  }
  const Bytes& warm = done.exchanges[0].request;
  EXPECT_EQ(word(warm, 13), 1u);                            // ramp
  EXPECT_EQ(word(warm, 15), 3u);                            // argon
  EXPECT_EQ(number(warm, 21), 60.0f);
  EXPECT_FLOAT_EQ(number(warm, 25), 5.0f / 60.0f);
  EXPECT_EQ(std::string(warm.begin() + 57, warm.begin() + 66), "short dry");
  EXPECT_EQ(word(done.exchanges[2].request, 13), 3u);       // wait
  EXPECT_EQ(word(done.exchanges[4].request, 13), 10u);      // end
  EXPECT_EQ(command_of(done.exchanges[6]), (std::vector<unsigned>{1, 1}));
  const auto begins = [&](const char* text) {
    return std::any_of(done.events.begin(), done.events.end(), [&](const sim::Event& event) {
      return event.source == "programme" && event.kind == "begins" && event.text == text;
    });
  };
  EXPECT_TRUE(begins("short dry: warm"));
  EXPECT_FALSE(begins("evacuation"));
  EXPECT_EQ(done.told("accepted").front(), "load short dry");
  EXPECT_TRUE(done.pass);                                   // the hold too: its moment names a segment of the programme loaded
}

TEST(OperatorAction, ChoosesAProgrammeOfTheStoreByItsName) {
  const Acted done = run(with_programmes("- load: kept\n  at: 2 s\n  expect: accepted\n- start:\n  at: 3 s\n"
                                         "- load: programme\n  at: 5 s\n  expect: refused\n", 8.0));
  ASSERT_EQ(done.exchanges.size(), 3u);
  EXPECT_EQ(command_of(done.exchanges[0]), (std::vector<unsigned>{1, 2}));
  EXPECT_EQ(command_of(done.exchanges[2]), (std::vector<unsigned>{1, 0}));
  EXPECT_THAT(done.told("refused"), ElementsAre("load programme: not in this state"));
  EXPECT_TRUE(done.pass);
}

// The window with what the segment is to be, then command 42 with its place; value 1: in the store too.
TEST(OperatorAction, EditsASegmentThatHasNotBegun) {
  const Acted done = run(with(
      "- start:\n  at: 1 s\n"
      "- edit_segment:\n    which: soak\n    to:\n      soak: {for: 7 min, within: 3 K, feed_forward_share: 0.5}\n"
      "    stored: yes\n  at: 5 s\n  expect: accepted\n"
      "- edit_segment: {which: evacuation, to: {evacuate: {below: 20 Pa abs}}}\n  at: 8 s\n  expect: refused\n", 12.0));
  ASSERT_EQ(done.exchanges.size(), 5u);
  const Bytes& window = done.exchanges[1].request;
  EXPECT_EQ(window[1], 23);
  EXPECT_EQ(word(window, 6), 0x0200u);
  EXPECT_EQ(word(window, 8), 39u);
  EXPECT_EQ(word(window, 11), 0u);                          // the programme that runs
  EXPECT_EQ(word(window, 13), 2u);                          // soak
  EXPECT_EQ(word(window, 11 + 2 * 9) << 16 | word(window, 11 + 2 * 10), 420000u);
  EXPECT_EQ(number(window, 11 + 2 * 11), 3.0f);
  EXPECT_EQ(number(window, 11 + 2 * 37), 0.5f);
  EXPECT_EQ(command_of(done.exchanges[2]), (std::vector<unsigned>{42, 5}));
  EXPECT_EQ(number(done.exchanges[2].request, 15), 1.0f);
  EXPECT_EQ(command_of(done.exchanges[4]), (std::vector<unsigned>{42, 0}));
  EXPECT_EQ(number(done.exchanges[4].request, 15), 0.0f);
  EXPECT_THAT(done.told("accepted"), testing::Contains(HasSubstr("edit_segment soak: soak: for: 420 s, within: 3 K")));
  EXPECT_THAT(done.told("refused"), ElementsAre(testing::AllOf(HasSubstr("edit_segment evacuation: "), HasSubstr("not in this state"))));
  EXPECT_TRUE(done.pass);
}

TEST(OperatorAction, EditsASegmentOfAProgrammeThatWasLoaded) {
  const Acted done = run(with_programmes("- load: kept\n  at: 2 s\n- start:\n  at: 3 s\n"
                                         "- edit_segment: {which: \"kept: end 2\", to: {repeat: {back_to: pause, times: 2}}}\n"
                                         "  at: 5 s\n  expect: accepted\n"
                                         "- edit_segment: {which: soak, to: {wait: {for: 1 s}}}\n  at: 8 s\n  expect: refused\n", 12.0));
  ASSERT_EQ(done.exchanges.size(), 6u);
  EXPECT_EQ(word(done.exchanges[2].request, 11), 2u);       // programme 2
  EXPECT_EQ(word(done.exchanges[2].request, 13), 9u);       // repeat
  EXPECT_EQ(command_of(done.exchanges[3]), (std::vector<unsigned>{42, 1}));
  EXPECT_THAT(done.told("refused"), ElementsAre(HasSubstr("no such programme")));
  EXPECT_TRUE(done.pass);
}

TEST(OperatorAction, ToEditASegmentSaysWhatIsWrongWithIt) {
  const Scenario scenario = sim_test::short_run(1.0, "sensors/load_thermocouple_opens");
  const std::string text = sim::write_actions(
      read("- edit_segment: {which: end, stored: yes, to: {repeat: {back_to: ramp, times: 3}}}\n  segment: soak\n  expect: accepted\n"
           "- edit_segment: {which: soak, to: {soak: {for: 3 min, within: 5 K, counted_on: load}}}\n  at: 1 min\n"
           "- edit_segment: {which: hold, to: {backfill: {to: 4 kPa gauge, gas: argon, flow: 0 slm}}}\n  at: 1 min\n  expect: refused\n",
           scenario), 0);
  EXPECT_THAT(text, HasSubstr("which: end"));
  EXPECT_THAT(text, HasSubstr("back_to: ramp"));
  EXPECT_EQ(sim::write_actions(read(text, scenario), 0), text);
  const auto refused = [&](const char* item, const char* says) { expect_refused(scenario, item, says); };
  refused("- edit_segment: {which: sook, to: {wait: {for: 1 s}}}", "nearest: soak");
  refused("- edit_segment: {which: soak}", "`to`");
  refused("- edit_segment: {to: {wait: {for: 1 s}}}", "which");
  refused("- edit_segment: soak", "a map");
  refused("- edit_segment: {which: soak, to: {soek: {for: 1 s}}}", "nearest: soak");
  refused("- edit_segment: {which: soak, to: {wait: {for: 1}}}", "s");
  refused("- edit_segment: {which: soak, to: {wait: {for: 1 s}, cool: {load_below: 40 degC}}}", "one kind in a segment");
  refused("- edit_segment: {which: soak, to: {name: rest, wait: {for: 1 s}}}", "keeps the one it has");
  refused("- edit_segment: {which: soak, to: {repeat: {back_to: end, times: 2}}}", "the name of an earlier segment");
  refused("- edit_segment: {which: hold, to: {backfill: {to: 4 kPa gauge, gas: argon, flow: 0 slm}}}", "that the core refuses");
  refused("- edit_segment: {which: soak, kept: yes, to: {wait: {for: 1 s}}}", "kept");
}

// A segment that the core does not take ends the whole: what belongs to it does not leave, and the outcome is that refusal.
TEST(OperatorAction, EndsALoadAtTheFirstRefusal) {
  Scenario scenario = with_programmes("- load: short dry\n  at: 2 s\n  expect: refused\n- acknowledge:\n  at: 2 s\n", 6.0);
  scenario.programmes[0].programme.segments[1].kind = static_cast<fw::SegmentKind>(99);
  const Acted done = run(scenario);
  ASSERT_EQ(done.exchanges.size(), 6u);                     // start of the bench, two segments of two exchanges, acknowledge
  EXPECT_EQ(command_of(done.exchanges[5]), (std::vector<unsigned>{7, 0}));
  EXPECT_THAT(done.told("refused"), ElementsAre("load short dry: segment invalid"));
  EXPECT_TRUE(done.pass);
}

}  // namespace
