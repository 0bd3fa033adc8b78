#include "sim/operator_station.h"

#include <array>
#include <bit>
#include <string_view>

#include <gtest/gtest.h>

#include "plant/modbus.h"

namespace {

using sim::OperatorStation;

std::vector<std::uint8_t> with_crc(std::vector<std::uint8_t> frame) {
  const std::uint16_t crc = plant::modbus::crc16(frame);
  frame.push_back(static_cast<std::uint8_t>(crc));
  frame.push_back(static_cast<std::uint8_t>(crc >> 8));
  return frame;
}

// An answer whose register at address r holds 100 + r.
std::vector<std::uint8_t> counting_answer(std::uint8_t function, std::uint16_t registers) {
  std::vector<std::uint8_t> frame{OperatorStation::unit, function, static_cast<std::uint8_t>(2 * registers)};
  for (unsigned address = 0; address < registers; ++address) {
    frame.push_back(static_cast<std::uint8_t>((100 + address) >> 8));
    frame.push_back(static_cast<std::uint8_t>(100 + address));
  }
  return with_crc(frame);
}

void put(std::vector<std::uint8_t>& answer, std::uint16_t address, std::uint16_t value) {
  answer[3u + 2u * address] = static_cast<std::uint8_t>(value >> 8);
  answer[4u + 2u * address] = static_cast<std::uint8_t>(value);
  answer.resize(answer.size() - 2);
  answer = with_crc(answer);
}

std::uint16_t address_of(std::string_view name) {
  for (const fw::RegisterInfo& info : fw::monitor_table())
    if (name == info.name) return info.address;
  throw std::invalid_argument(std::string(name));
}

class Operator : public testing::Test {
 protected:
  sim::SignalTable table{1};
  OperatorStation station{table, 1};
  std::vector<double> frame = std::vector<double>(static_cast<std::size_t>(table.size()), -7.0);
  std::uint16_t registers = fw::monitor_registers(1);

  double value(const char* name) const { return frame[static_cast<std::size_t>(table.find(name))]; }
};

// Function codes and layout: MODBUS Application Protocol V1.1b3, 6.4 and 6.17.
TEST_F(Operator, ReadsTheMonitorBlockWithFunctionFour) {
  const auto request = station.request();
  const auto expected = with_crc({1, 4, 0, 0, 0, static_cast<std::uint8_t>(registers)});
  EXPECT_EQ(std::vector<std::uint8_t>(request.begin(), request.end()), expected);
}

TEST_F(Operator, WritesACommandAndReadsInOneExchange) {
  station.send({fw::Command::change_setpoint, 1, 4000.0f, 9});
  const auto request = station.request();
  const auto bits = std::bit_cast<std::uint32_t>(4000.0f);
  const auto expected = with_crc({1, 23, 0, 0, 0, static_cast<std::uint8_t>(registers), 0x01, 0x00, 0, 4, 8, 0, 8, 0, 1,
                                  static_cast<std::uint8_t>(bits >> 24), static_cast<std::uint8_t>(bits >> 16),
                                  static_cast<std::uint8_t>(bits >> 8), static_cast<std::uint8_t>(bits)});
  EXPECT_EQ(std::vector<std::uint8_t>(request.begin(), request.end()), expected);
}

TEST_F(Operator, DecodesEveryTypeOfRegister) {
  station.request();
  auto answer = counting_answer(4, registers);
  const auto degc = std::bit_cast<std::uint32_t>(123.5f);
  put(answer, address_of("heat.1.pv"), static_cast<std::uint16_t>(degc >> 16));
  put(answer, static_cast<std::uint16_t>(address_of("heat.1.pv") + 1), static_cast<std::uint16_t>(degc));
  put(answer, address_of("programme.segment"), 65535);
  ASSERT_TRUE(station.answer(answer, frame));
  EXPECT_EQ(value("heat.1.pv"), 123.5);
  EXPECT_EQ(value("programme.segment"), -1.0);
  EXPECT_EQ(value("controller.tick"), 100.0 * 65536 + 101);
  EXPECT_EQ(value("programme.state"), 100.0 + address_of("programme.state"));
  put(answer, address_of("programme.segment"), 3);
  station.request();
  ASSERT_TRUE(station.answer(answer, frame));
  EXPECT_EQ(value("programme.segment"), 3.0);
}

TEST_F(Operator, LeavesTheFrameAloneWhenTheAnswerIsNotWhole) {
  const auto good = counting_answer(4, registers);
  const auto refused = [&](std::vector<std::uint8_t> bytes) {
    station.request();
    EXPECT_FALSE(station.answer(bytes, frame));
    EXPECT_EQ(value("heat.1.pv"), -7.0);
  };
  refused({});
  refused({good.begin(), good.end() - 1});
  refused(with_crc({1, 0x84, 2}));                       // exception
  refused(counting_answer(3, registers));                // another function
  for (const std::size_t byte : {std::size_t{0}, std::size_t{2}, good.size() / 2, good.size() - 1}) {
    auto damaged = good;
    damaged[byte] ^= 0x10;
    refused(damaged);
  }
}

TEST_F(Operator, SendsOneCommandAtATimeAndReportsWhatBecameOfIt) {
  station.send({fw::Command::start, 0, 0.0f, 1});
  station.send({fw::Command::hold, 0, 0.0f, 2});
  auto answer = counting_answer(4, registers);
  put(answer, address_of("command.count"), 0);
  frame[static_cast<std::size_t>(table.find("command.count"))] = 0.0;

  EXPECT_EQ(station.request()[1], 23);
  auto both = answer;
  both[1] = 23;
  put(both, address_of("command.count"), 1);
  put(both, address_of("command.result"), 0);
  ASSERT_TRUE(station.answer(both, frame));
  auto outcome = station.outcome();
  ASSERT_TRUE(outcome);
  EXPECT_EQ(outcome->tag, 1u);
  EXPECT_EQ(outcome->result, 0);
  EXPECT_FALSE(station.outcome());

  EXPECT_EQ(station.request()[1], 23);  // the second, never counted by the core
  ASSERT_TRUE(station.answer(both, frame));
  for (int tick = 0; tick < 2; ++tick) {
    EXPECT_FALSE(station.outcome());
    EXPECT_EQ(station.request()[1], 4);
    put(answer, address_of("command.count"), 1);
    ASSERT_TRUE(station.answer(answer, frame));
  }
  outcome = station.outcome();
  ASSERT_TRUE(outcome);
  EXPECT_EQ(outcome->tag, 2u);
  EXPECT_EQ(outcome->result, OperatorStation::unanswered);
}

}  // namespace
