#include "sim/operator_station.h"

#include <bit>
#include <cmath>
#include <stdexcept>
#include <string_view>

#include "plant/modbus.h"

namespace sim {

namespace {

constexpr std::uint8_t read_holding_registers = 3;
constexpr std::uint8_t read_input_registers = 4;
constexpr std::uint8_t write_registers = 16;
constexpr std::uint8_t read_write_registers = 23;
constexpr std::uint8_t exception_bit = 0x80;
constexpr std::uint8_t parameter_registers = 2;
constexpr std::size_t answer_head = 3;          // unit, function, byte count
constexpr std::size_t crc_bytes = 2;
constexpr std::uint16_t command_registers = 4;  // command, argument, value
constexpr std::uint16_t no_segment = 65535;
constexpr int ticks_to_answer = 3;              // the core acts at the next step, the result shows in the block after it

void put_word(std::uint8_t* at, unsigned word) {
  at[0] = static_cast<std::uint8_t>(word >> 8);
  at[1] = static_cast<std::uint8_t>(word);
}

std::uint32_t word_at(const std::uint8_t* at) { return std::uint32_t{at[0]} << 8 | at[1]; }
std::uint32_t double_word_at(const std::uint8_t* at) { return word_at(at) << 16 | word_at(at + 2); }

// Appends the CRC, returns the frame's size.
std::size_t close_frame(std::uint8_t* frame, std::size_t size) {
  const std::uint16_t crc = plant::modbus::crc16({frame, size});
  frame[size] = static_cast<std::uint8_t>(crc);
  frame[size + 1] = static_cast<std::uint8_t>(crc >> 8);
  return size + crc_bytes;
}

bool is_frame(std::span<const std::uint8_t> bytes, std::uint8_t function, std::size_t size) {
  return bytes.size() == size + crc_bytes && bytes[0] == OperatorStation::unit && bytes[1] == function &&
         plant::modbus::crc16(bytes.first(size)) == (bytes[size] | bytes[size + 1] << 8);
}

}  // namespace

std::array<std::uint16_t, window_registers> window_of(std::uint16_t number, const fw::Segment& segment, const std::string& title) {
  std::array<std::uint16_t, window_registers> window{number, static_cast<std::uint16_t>(segment.kind),
                                                     static_cast<std::uint16_t>(segment.gas),
                                                     segment.gain_set, segment.options};
  std::size_t at = 5;
  const auto add = [&](std::uint32_t bits) {
    window[at++] = static_cast<std::uint16_t>(bits >> 16);
    window[at++] = static_cast<std::uint16_t>(bits);
  };
  for (const float value : {segment.target, segment.rate}) add(std::bit_cast<std::uint32_t>(value));
  add(segment.duration_ms);
  for (const float value : {segment.tolerance_k, segment.flow_slm, segment.back_pressure_pa, segment.amount})
    add(std::bit_cast<std::uint32_t>(value));
  window[at++] = segment.count;
  window[at++] = segment.jump;
  add(segment.timeout_ms);
  for (std::size_t i = 0; i < 24; i += 2) {
    const auto byte = [&](std::size_t n) { return n < title.size() ? static_cast<unsigned>(static_cast<std::uint8_t>(title[n])) : 0u; };
    window[at++] = static_cast<std::uint16_t>(byte(i) << 8 | byte(i + 1));
  }
  for (const float value : {segment.power_limit, segment.feed_forward}) add(std::bit_cast<std::uint32_t>(value));
  return window;
}

OperatorStation::OperatorStation(const SignalTable& table, int zones)
    : registers_(fw::monitor_registers(zones)), count_slot_(table.find("command.count")), result_slot_(table.find("command.result")) {
  std::uint16_t slot = 0;
  for (const fw::RegisterInfo& info : fw::monitor_table()) {
    if (slot == table.controller_count()) break;  // the block of zones that are not there stands last
    if (table.signals()[slot].name != info.name) throw std::logic_error("signal table and register table are in different order");
    Field field;
    field.byte = static_cast<std::uint16_t>(answer_head + 2u * info.address);
    field.slot = slot++;
    switch (info.type) {
      case fw::RegisterType::u16: field.decode = Decode::u16; break;
      case fw::RegisterType::u32: field.decode = Decode::u32; break;
      case fw::RegisterType::f32: field.decode = Decode::f32; break;
    }
    if (std::string_view(info.name) == "programme.segment") field.decode = Decode::segment;
    fields_.push_back(field);
  }
  read_[0] = unit;
  read_[1] = read_input_registers;
  put_word(read_.data() + 2, 0);
  put_word(read_.data() + 4, registers_);
  read_size_ = close_frame(read_.data(), 6);
}

void OperatorStation::send(const OperatorCommand& command) { waiting_.push_back(command); }

std::span<const std::uint8_t> OperatorStation::close(std::size_t size) {
  return {frame_.data(), close_frame(frame_.data(), size)};
}

std::span<const std::uint8_t> OperatorStation::ask_block_and_write(std::uint16_t address, std::span<const std::uint16_t> registers) {
  frame_[0] = unit;
  frame_[1] = read_write_registers;
  put_word(frame_.data() + 2, 0);
  put_word(frame_.data() + 4, registers_);
  put_word(frame_.data() + 6, address);
  put_word(frame_.data() + 8, static_cast<unsigned>(registers.size()));
  frame_[10] = static_cast<std::uint8_t>(2 * registers.size());
  for (std::size_t i = 0; i < registers.size(); ++i) put_word(frame_.data() + 11 + 2 * i, registers[i]);
  return close(11 + 2 * registers.size());
}

std::span<const std::uint8_t> OperatorStation::request() {
  asked_ = Asked::block;
  if (sent_ && sent_->form == OperatorCommand::Form::parameter) {
    asked_ = written_ ? Asked::read_back : Asked::write;
  } else if (!waiting_.empty() && !sent_) {  // one at a time: its result must be seen before the next
    sent_ = waiting_.front();
    waiting_.erase(waiting_.begin());
    ticks_since_sent_ = 0;
    written_ = false;
    asked_ = sent_->form == OperatorCommand::Form::parameter ? Asked::write
             : sent_->form == OperatorCommand::Form::window  ? Asked::window : Asked::command;
  }
  switch (asked_) {
    case Asked::block: return {read_.data(), read_size_};
    case Asked::window: return ask_block_and_write(fw::programme_window_address, sent_->window);
    case Asked::command: {
      const auto bits = std::bit_cast<std::uint32_t>(sent_->value);
      const std::array<std::uint16_t, command_registers> registers{static_cast<std::uint16_t>(sent_->command), sent_->argument,
                                                                   static_cast<std::uint16_t>(bits >> 16),
                                                                   static_cast<std::uint16_t>(bits)};
      return ask_block_and_write(fw::command_address, registers);
    }
    case Asked::write:
    case Asked::read_back: break;
  }
  frame_[0] = unit;
  frame_[1] = asked_ == Asked::write ? write_registers : read_holding_registers;
  put_word(frame_.data() + 2, sent_->address);
  put_word(frame_.data() + 4, parameter_registers);
  if (asked_ == Asked::read_back) return close(6);
  frame_[6] = 2 * parameter_registers;
  put_word(frame_.data() + 7, sent_->bits >> 16);
  put_word(frame_.data() + 9, sent_->bits & 0xFFFFu);
  return close(11);
}

bool OperatorStation::take_block(std::span<const std::uint8_t> bytes, std::span<double> frame) const {
  const std::size_t data = 2u * registers_;
  const std::uint8_t function = asked_ == Asked::block ? read_input_registers : read_write_registers;
  if (!is_frame(bytes, function, answer_head + data) || bytes[2] != data) return false;
  for (const Field& field : fields_) {
    const std::uint8_t* const at = bytes.data() + field.byte;
    double& value = frame[field.slot];
    switch (field.decode) {
      case Decode::u16: value = word_at(at); break;
      case Decode::u32: value = double_word_at(at); break;
      case Decode::f32: value = static_cast<double>(std::bit_cast<float>(double_word_at(at))); break;
      case Decode::segment: value = word_at(at) == no_segment ? -1.0 : static_cast<double>(word_at(at)); break;
    }
  }
  return true;
}

// The echo of a write, or the value read back.
bool OperatorStation::take_parameter(std::span<const std::uint8_t> bytes) {
  if (asked_ == Asked::write) {
    if (!is_frame(bytes, write_registers, 6) || word_at(bytes.data() + 2) != sent_->address ||
        word_at(bytes.data() + 4) != parameter_registers)
      return false;
    written_ = true;
    return true;
  }
  constexpr std::size_t data = 2u * parameter_registers;
  if (!is_frame(bytes, read_holding_registers, answer_head + data) || bytes[2] != data) return false;
  conclude(double_word_at(bytes.data() + answer_head) == sent_->bits ? 0 : not_kept);
  return true;
}

bool OperatorStation::answer(std::span<const std::uint8_t> bytes, std::span<double> frame) {
  const std::uint8_t asked_function = frame_[1];
  if (asked_ != Asked::block && is_frame(bytes, static_cast<std::uint8_t>(asked_function | exception_bit), 3)) {
    conclude(static_cast<std::uint16_t>(exceptions + bytes[2]));
    return true;
  }
  if (asked_ == Asked::write || asked_ == Asked::read_back) {
    const bool taken = take_parameter(bytes);
    if (!taken && !wait()) conclude(unanswered);
    return taken;
  }
  const double count_before = count_slot_ < 0 ? 0.0 : frame[static_cast<std::size_t>(count_slot_)];
  const bool whole = take_block(bytes, frame);
  if (asked_ == Asked::window) {
    anew_ = anew_ && !whole;
    if (whole) conclude(0);
    else if (!wait()) conclude(unanswered);
    return whole;
  }
  // A core that has started anew counts from zero. Its first answer tells the count before what was written with it, for it acts at
  // its next step.
  if (asked_ == Asked::command)
    count_before_ = whole && anew_ && count_slot_ >= 0 ? frame[static_cast<std::size_t>(count_slot_)] : count_before;
  anew_ = anew_ && !whole;
  if (sent_ && sent_->form == OperatorCommand::Form::command) settle(frame);
  else if (sent_ && !wait()) conclude(unanswered);
  return whole;
}

bool OperatorStation::wait() { return ++ticks_since_sent_ < ticks_to_answer; }

void OperatorStation::settle(std::span<const double> frame) {
  const bool counted = count_slot_ >= 0 && frame[static_cast<std::size_t>(count_slot_)] != count_before_;
  if (!counted && wait()) return;
  conclude(counted ? static_cast<std::uint16_t>(frame[static_cast<std::size_t>(result_slot_)]) : unanswered);
}

// What belongs to something refused does not leave.
void OperatorStation::conclude(std::uint16_t result) {
  bool more = sent_->more;
  if (result != 0 || !more) outcome_ = Outcome{sent_->tag, result};
  sent_.reset();
  for (; result != 0 && more && !waiting_.empty(); waiting_.erase(waiting_.begin())) more = waiting_.front().more;
}

void OperatorStation::visit(Archive& archive) {
  archive(asked_, written_, waiting_, sent_, ticks_since_sent_, count_before_, anew_, outcome_);
}

void OperatorStation::take_over(const OperatorStation& past, std::span<const std::uint32_t> tags) {
  *this = past;
  for (OperatorCommand& command : waiting_) command.tag = tags[command.tag];
  if (sent_) sent_->tag = tags[sent_->tag];
  if (outcome_) outcome_->tag = tags[outcome_->tag];
}

std::optional<OperatorStation::Outcome> OperatorStation::outcome() {
  const std::optional<Outcome> given = outcome_;
  outcome_.reset();
  return given;
}

}  // namespace sim
