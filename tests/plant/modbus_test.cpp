#include "plant/modbus.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "plant/random.h"
#include "tests/plant/published_table.h"

namespace plant::modbus {
namespace {

using Bytes = std::vector<std::uint8_t>;

// A device as the worked frames presuppose it.
struct Device {
  std::map<std::uint16_t, std::uint16_t> words;   // registers that exist
  Exception fault = none;                         // every access fails with this
  int writes = 0;

  bool exists(std::uint16_t address, std::uint16_t count) const {
    for (std::uint32_t i = 0; i < count; ++i) {
      if (address + i > 0xFFFF || !words.contains(static_cast<std::uint16_t>(address + i))) return false;
    }
    return true;
  }
  bool can_read(std::uint16_t address, std::uint16_t count) const { return exists(address, count); }
  bool can_write(std::uint16_t address, std::uint16_t count) const { return exists(address, count); }
  Exception write(std::uint16_t address, std::span<const std::uint8_t> big_endian) {
    if (fault != none) return fault;
    for (std::size_t i = 0; i < big_endian.size(); i += 2) {
      words[static_cast<std::uint16_t>(address + i / 2)] = get_u16(&big_endian[i]);
    }
    ++writes;
    return none;
  }
  void read(std::uint16_t address, std::span<std::uint8_t> big_endian) {
    for (std::size_t i = 0; i < big_endian.size(); i += 2) put_u16(&big_endian[i], words.at(static_cast<std::uint16_t>(address + i / 2)));
  }
};

void fill(Device& device, int first, int count, std::uint16_t value = 0) {
  for (int i = 0; i < count; ++i) device.words.emplace(static_cast<std::uint16_t>(first + i), value);
}

Device device_for(const PublishedTable::Row& row) {
  Device device;
  if (!row.at("preset_first_pdu_address").empty()) {
    const int first = std::stoi(row.at("preset_first_pdu_address"));
    std::istringstream words(row.at("preset_values_hex"));
    int at = first;
    for (std::string word; words >> word;) {
      if (word == "x") {   // "0000 x 100": the word before, so many times
        words >> word;
        fill(device, at - 1, std::stoi(word), device.words.at(static_cast<std::uint16_t>(at - 1)));
        break;
      }
      device.words[static_cast<std::uint16_t>(at++)] = static_cast<std::uint16_t>(std::stoul(word, nullptr, 16));
    }
    if (device.words.empty()) fill(device, first, row.at("device_state").find("exactly") != std::string::npos ? 100 : 126);
    if (row.at("device_state") == "registers 14..16 must exist") fill(device, 14, 3);
  }
  if (row.at("case") == "exc_fc03_addr_end") {
    device.words.clear();
    fill(device, 0, 100);
  }
  if (row.at("case") == "exc_device_failure") device.fault = device_failure;
  if (row.at("case") == "exc_busy") device.fault = device_busy;
  return device;
}

Bytes ask(Device& device, std::uint8_t unit, const Bytes& request) {
  std::array<std::uint8_t, adu_bytes_max> reply{};
  const std::size_t size = serve(unit, device, request, reply);
  return Bytes(reply.begin(), reply.begin() + static_cast<std::ptrdiff_t>(size));
}

bool known_function(const Bytes& request) {
  return request[1] == 3 || request[1] == 4 || request[1] == 6 || request[1] == 16 || request[1] == 23;
}

// tests/reference/modbus_crc.csv.
TEST(ModbusCrc, ReproducesThePublishedValues) {
  const PublishedTable table("modbus_crc.csv");
  for (const auto& row : table.rows()) {
    const Bytes message = PublishedTable::bytes(row.at("message_hex"));
    const auto crc = static_cast<std::uint16_t>(std::stoul(row.at("crc16"), nullptr, 16));
    EXPECT_EQ(crc16(message), crc) << row.at("message_hex");
    Bytes framed(message.size() + 2);
    std::copy(message.begin(), message.end(), framed.begin());
    EXPECT_EQ(seal(framed, message.size()), framed.size());
    EXPECT_EQ(Bytes(framed.end() - 2, framed.end()), PublishedTable::bytes(row.at("bytes_on_wire_lo_hi")));
    EXPECT_EQ(crc16(framed), 0);   // over a frame with its CRC
  }
  EXPECT_EQ(table.rows().size(), 10u);
}

// The sliced tables against the definition, bit by bit, over every length to 256.
TEST(ModbusCrc, EqualsTheBitwiseDefinitionForEveryLength) {
  const RandomStream stream(1, "crc");
  Bytes message;
  for (std::uint64_t length = 0; length <= 256; ++length) {
    unsigned crc = 0xFFFF;
    for (const std::uint8_t byte : message) {
      crc ^= byte;
      for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) != 0 ? (crc >> 1) ^ 0xA001u : crc >> 1;
    }
    ASSERT_EQ(crc16(message), crc) << length;
    message.push_back(static_cast<std::uint8_t>(stream.bits(length)));
  }
}

// tests/reference/modbus_frames.csv: the specification's worked examples and derived limit cases, byte for byte. A function this
// device does not have must be refused with exception 01 (README of the table).
TEST(ModbusServer, AnswersEveryWorkedFrameByteForByte) {
  int answered = 0, refused = 0;
  for (const auto& row : PublishedTable("modbus_frames.csv").rows()) {
    const Bytes request = PublishedTable::bytes(row.at("request_rtu_adu_hex"));
    Device device = device_for(row);
    const auto unit = static_cast<std::uint8_t>(request[0] == 0 ? 1 : request[0]);
    if (row.at("case").starts_with("oversize")) {   // never executed; silence or exception 03
      ask(device, unit, request);
      EXPECT_EQ(device.writes, 0) << row.at("case");
    } else if (known_function(request) || row.at("case") == "exc_unknown_fc") {
      EXPECT_EQ(ask(device, unit, request), PublishedTable::bytes(row.at("reply_rtu_adu_hex"))) << row.at("case");
      ++answered;
    } else {
      const Bytes reply = ask(device, unit, request);
      ASSERT_EQ(reply.size(), 5u) << row.at("case");
      EXPECT_EQ(reply[1], request[1] | 0x80);
      EXPECT_EQ(reply[2], 1);
      ++refused;
    }
  }
  EXPECT_EQ(answered, 28);
  EXPECT_EQ(refused, 8);
}

TEST(ModbusServer, CarriesOutBroadcastWritesInSilence) {
  int broadcasts = 0;
  for (const auto& row : PublishedTable("modbus_frames.csv").rows()) {
    if (!row.at("case").starts_with("bcast")) continue;
    Device device = device_for(row);
    EXPECT_TRUE(ask(device, 9, PublishedTable::bytes(row.at("request_rtu_adu_hex"))).empty());
    EXPECT_EQ(device.writes, 1) << row.at("case");
    ++broadcasts;
  }
  EXPECT_EQ(broadcasts, 2);
}

TEST(ModbusServer, IgnoresBroadcastReads) {
  Device device;
  fill(device, 0, 10);
  std::array<std::uint8_t, adu_bytes_max> frame{};
  const std::size_t size = encode_read(0, read_holding, 0, 2, frame);
  EXPECT_TRUE(ask(device, 1, Bytes(frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size))).empty());
}

// CRC-16 finds every single-bit error (its polynomial has more than one term): any flipped bit of any worked request is met with
// silence and changes nothing.
TEST(ModbusServer, IsSilentOnEverySingleFlippedBit) {
  for (const auto& row : PublishedTable("modbus_frames.csv").rows()) {
    const Bytes request = PublishedTable::bytes(row.at("request_rtu_adu_hex"));
    if (request.size() > adu_bytes_max) continue;
    for (std::size_t bit = 0; bit < 8 * request.size(); ++bit) {
      Bytes damaged = request;
      damaged[bit / 8] = static_cast<std::uint8_t>(damaged[bit / 8] ^ (1u << (bit % 8)));
      Device device = device_for(row);
      ASSERT_TRUE(ask(device, request[0], damaged).empty()) << row.at("case") << " bit " << bit;
      ASSERT_EQ(device.writes, 0) << row.at("case") << " bit " << bit;
    }
  }
}

TEST(ModbusServer, IsSilentToAnotherUnitAndToFragments) {
  const Bytes request = PublishedTable::bytes("11 03 00 6B 00 03 76 87");   // application protocol, 6.3
  Device device;
  fill(device, 107, 3);
  EXPECT_TRUE(ask(device, 16, request).empty());
  for (std::size_t size = 0; size < request.size(); ++size) {
    EXPECT_TRUE(ask(device, 17, Bytes(request.begin(), request.begin() + static_cast<std::ptrdiff_t>(size))).empty());
  }
}

TEST(ModbusServer, WritesBeforeItReadsInOneExchange) {
  Device device;
  fill(device, 0, 4, 0x1111);
  std::array<std::uint8_t, adu_bytes_max> frame{};
  const std::array<std::uint8_t, 4> values{0x22, 0x22, 0x33, 0x33};
  const std::size_t size = encode_write_and_read(5, 0, 4, 1, values, frame);
  const Bytes reply = ask(device, 5, Bytes(frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size)));
  ASSERT_EQ(reply.size(), 13u);
  EXPECT_EQ(Bytes(reply.begin() + 3, reply.end() - 2), PublishedTable::bytes("11 11 22 22 33 33 11 11"));
}

TEST(ModbusServer, WritesNothingWhenTheReadPartOfAnExchangeIsRefused) {
  Device device;
  fill(device, 0, 4);
  std::array<std::uint8_t, adu_bytes_max> frame{};
  const std::array<std::uint8_t, 2> value{0xAB, 0xCD};
  const std::size_t size = encode_write_and_read(5, 2, 4, 1, value, frame);   // reads past the end
  const Bytes reply = ask(device, 5, Bytes(frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size)));
  ASSERT_EQ(reply.size(), 5u);
  EXPECT_EQ(reply[2], illegal_address);
  EXPECT_EQ(device.writes, 0);
}

// --- client ---------------------------------------------------------------------------------------------------------------

// The client's own encoders give the worked requests.
TEST(ModbusClient, EncodesEveryWorkedRequestByteForByte) {
  int rows = 0;
  for (const auto& row : PublishedTable("modbus_frames.csv").rows()) {
    const std::string name = row.at("case");
    if (name.starts_with("exc_") || name.starts_with("oversize")) continue;
    const Bytes request = PublishedTable::bytes(row.at("request_rtu_adu_hex"));
    if (!known_function(request)) continue;
    std::array<std::uint8_t, adu_bytes_max> frame{};
    std::size_t size = 0;
    const std::uint16_t first = get_u16(&request[2]), second = get_u16(&request[4]);
    if (request[1] == 3 || request[1] == 4) size = encode_read(request[0], static_cast<Function>(request[1]), first, second, frame);
    if (request[1] == 6) size = encode_write_single(request[0], first, second, frame);
    if (request[1] == 16) size = encode_write_multiple(request[0], first, std::span(request).subspan(7, request[6]), frame);
    if (request[1] == 23) {
      size = encode_write_and_read(request[0], first, second, get_u16(&request[6]), std::span(request).subspan(11, request[10]), frame);
    }
    EXPECT_EQ(Bytes(frame.begin(), frame.begin() + static_cast<std::ptrdiff_t>(size)), request) << name;
    ++rows;
  }
  EXPECT_EQ(rows, 16);
}

TEST(ModbusClient, AcceptsEveryWorkedReplyAndNamesEveryException) {
  for (const auto& row : PublishedTable("modbus_frames.csv").rows()) {
    const Bytes request = PublishedTable::bytes(row.at("request_rtu_adu_hex"));
    const Bytes answer = PublishedTable::bytes(row.at("reply_rtu_adu_hex"));
    if (answer.empty() || request.size() < 8 || request.size() > adu_bytes_max) continue;
    const Reply reply = check_reply(request, answer);
    if ((answer[1] & 0x80) != 0) {
      EXPECT_EQ(reply.status, ReplyStatus::refused) << row.at("case");
      EXPECT_EQ(reply.exception, answer[2]);
    } else if (known_function(request)) {
      EXPECT_EQ(reply.status, ReplyStatus::ok) << row.at("case");
      const bool reads = request[1] == 3 || request[1] == 4 || request[1] == 23;
      EXPECT_EQ(reply.registers.size(), reads ? answer[2] : 0u);
    }
  }
}

TEST(ModbusClient, TellsDamagedForeignAndMalformedRepliesApart) {
  const Bytes request = PublishedTable::bytes("11 03 00 6B 00 03 76 87");
  const Bytes good = PublishedTable::bytes("11 03 06 02 2B 00 00 00 64 C8 BA");
  for (std::size_t bit = 0; bit < 8 * good.size(); ++bit) {
    Bytes damaged = good;
    damaged[bit / 8] = static_cast<std::uint8_t>(damaged[bit / 8] ^ (1u << (bit % 8)));
    ASSERT_EQ(check_reply(request, damaged).status, ReplyStatus::damaged);
  }
  Bytes foreign = good;
  foreign[0] = 18;
  seal(foreign, foreign.size() - 2);
  EXPECT_EQ(check_reply(request, foreign).status, ReplyStatus::foreign);
  Bytes other = good;
  other[1] = 4;
  seal(other, other.size() - 2);
  EXPECT_EQ(check_reply(request, other).status, ReplyStatus::foreign);
  Bytes brief = PublishedTable::bytes("11 03 04 02 2B 00 00 00 00");
  seal(brief, brief.size() - 2);
  EXPECT_EQ(check_reply(request, brief).status, ReplyStatus::malformed);
}

TEST(ModbusClient, RefusesCountsBeyondTheLimits) {
  std::array<std::uint8_t, adu_bytes_max> frame{};
  const Bytes words(2 * 124);
  EXPECT_EQ(encode_read(1, read_holding, 0, 0, frame), 0u);
  EXPECT_EQ(encode_read(1, read_holding, 0, 126, frame), 0u);
  EXPECT_EQ(encode_write_multiple(1, 0, words, frame), 0u);
  EXPECT_EQ(encode_write_multiple(1, 0, std::span(words).first(3), frame), 0u);
  EXPECT_EQ(encode_write_and_read(1, 0, 1, 0, std::span(words).first(2 * 122), frame), 0u);
  EXPECT_EQ(encode_write_and_read(1, 0, 126, 0, std::span(words).first(2), frame), 0u);
  EXPECT_EQ(encode_write_and_read(1, 0, 1, 0, std::span(words).first(2 * 121), frame), 255u);
}

TEST(ModbusValue, PutsTheHighWordOfAFloatFirst) {
  std::array<std::uint8_t, 4> bytes{};
  put_f32(bytes.data(), 1.0f);   // IEEE 754: 3F800000
  EXPECT_EQ(bytes, (std::array<std::uint8_t, 4>{0x3F, 0x80, 0x00, 0x00}));
  EXPECT_EQ(get_f32(bytes.data()), 1.0f);
}

}  // namespace
}  // namespace plant::modbus
