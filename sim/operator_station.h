// The supervisory side of the bench: Modbus client on the supervisory line. Every tick it reads the monitor block of the core
// (FC 04); when the operator acts, one FC 23 writes the command registers, or the programme window, and reads the block in the same
// exchange. A parameter is written by FC 16 and read back by FC 03 in the next tick; in these two ticks the block is not read, and
// what was read before stands. Framing and CRC are not the core's, so that they check it. So whatever the bench judges of the controller
// came through bytes.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "firmware/programme.h"
#include "firmware/registers.h"
#include "sim/archive.h"
#include "sim/signals.h"

namespace sim {

inline constexpr std::size_t window_registers = 39;      // of the programme window, those that are written

struct OperatorCommand {
  enum class Form : std::uint8_t { command, window, parameter };
  fw::Command command = fw::Command::none;
  std::uint16_t argument = 0;
  float value = 0.0f;
  std::uint32_t tag = 0;      // of the sender, comes back with the outcome
  Form form = Form::command;
  bool more = false;          // the next one belongs to it: that tells the outcome of both, and does not leave if this is refused
  std::uint16_t address = 0;  // parameter: its first register
  std::uint32_t bits = 0;     // and its new value
  std::array<std::uint16_t, window_registers> window{};
};

// What the programme window of the register map holds for a segment of programme `number`.
std::array<std::uint16_t, window_registers> window_of(std::uint16_t number, const fw::Segment& segment, const std::string& title);

// What became of a command: the core's result code (monitor block, command.result), 0 accepted; or one of OperatorStation's own.
struct CommandOutcome {
  std::uint32_t tag = 0;
  std::uint16_t result = 0;
};

class OperatorStation {
 public:
  static constexpr std::uint8_t unit = 1;

  using Outcome = CommandOutcome;
  static constexpr std::uint16_t unanswered = 0xFFFF;   // the core never counted it, or gave no answer
  static constexpr std::uint16_t not_kept = 0xFFFE;     // read back, the parameter was not what was written
  static constexpr std::uint16_t exceptions = 0x100;    // plus the code of the Modbus exception with which it was refused

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

  enum class Asked : std::uint8_t { block, command, window, write, read_back };

  std::span<const std::uint8_t> close(std::size_t size);
  std::span<const std::uint8_t> ask_block_and_write(std::uint16_t address, std::span<const std::uint16_t> registers);
  bool take_block(std::span<const std::uint8_t> bytes, std::span<double> frame) const;
  bool take_parameter(std::span<const std::uint8_t> bytes);
  bool wait();                                          // one more tick without an answer: false once that is too long
  void settle(std::span<const double> frame);
  void conclude(std::uint16_t result);

  std::vector<Field> fields_;
  std::uint16_t registers_ = 0;
  int count_slot_ = -1, result_slot_ = -1;
  std::array<std::uint8_t, 96> frame_{};
  std::size_t read_size_ = 0;
  std::array<std::uint8_t, 8> read_{};
  Asked asked_ = Asked::block;
  bool written_ = false;                                // sent_ is a parameter that the core has taken: it is to be read back
  std::vector<OperatorCommand> waiting_;                // oldest first
  std::optional<OperatorCommand> sent_;
  int ticks_since_sent_ = 0;
  double count_before_ = 0.0;
  bool anew_ = false;
  std::optional<Outcome> outcome_;
};

}  // namespace sim
