// The supervisory side of the bench: Modbus client on the supervisory line. Every tick it reads the monitor block of the core
// (FC 04); when the operator acts, one FC 23 writes the command registers and reads the block in the same exchange. Its framing
// is its own, so that it checks the core's. So whatever the bench judges of the controller came through bytes.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "firmware/registers.h"
#include "sim/archive.h"
#include "sim/signals.h"

namespace sim {

// CRC-16/MODBUS: reflected polynomial 0xA001, start 0xFFFF; sent low byte first.
std::uint16_t modbus_crc(std::span<const std::uint8_t> bytes);

struct OperatorCommand {
  fw::Command command = fw::Command::none;
  std::uint16_t argument = 0;
  float value = 0.0f;
  std::uint32_t tag = 0;      // of the sender, comes back with the outcome
};

class OperatorStation {
 public:
  static constexpr std::uint8_t unit = 1;

  // What became of a command: the core's result code (monitor block, command.result), 0 accepted.
  struct Outcome {
    std::uint32_t tag = 0;
    std::uint16_t result = 0;
  };
  static constexpr std::uint16_t unanswered = 0xFFFF;   // the core never counted it

  // table: whose controller signals are read, in the order of the core's register table.
  OperatorStation(const SignalTable& table, int zones);

  void send(const OperatorCommand& command);            // one leaves per tick, in order
  std::span<const std::uint8_t> request();              // of this tick; valid until the next call
  // The core's answer in the same tick; fills the controller's part of the frame. False, and the frame as it was, when it is
  // missing, damaged or an exception.
  bool answer(std::span<const std::uint8_t> bytes, std::span<double> frame);
  std::optional<Outcome> outcome();                     // of a command, once
  void controller_started() { anew_ = true; }           // what it counted before is lost
  void visit(Archive& archive);                         // everything of it that changes
  // Go on where `past` stands, of the same signals; tags: the new tag of each old one.
  void take_over(const OperatorStation& past, std::span<const std::uint32_t> tags);

 private:
  enum class Decode : std::uint8_t { u16, u32, f32, segment };
  struct Field {
    std::uint16_t byte = 0;      // in the answer
    std::uint16_t slot = 0;      // in the frame
    Decode decode = Decode::u16;
  };

  void settle(std::span<const double> frame);

  std::vector<Field> fields_;
  std::uint16_t registers_ = 0;
  int count_slot_ = -1, result_slot_ = -1;
  std::array<std::uint8_t, 32> frame_{};
  std::size_t read_size_ = 0;
  std::array<std::uint8_t, 8> read_{};
  bool writing_ = false;
  std::vector<OperatorCommand> waiting_;                // oldest first
  std::optional<OperatorCommand> sent_;
  int ticks_since_sent_ = 0;
  double count_before_ = 0.0;
  bool anew_ = false;
  std::optional<Outcome> outcome_;
};

}  // namespace sim
