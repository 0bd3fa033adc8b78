// Torture: what comes over the supervisory line.
#include <algorithm>

#include "firmware/parameters.h"
#include "firmware/registers.h"
#include "tests/torture/torture.h"

namespace torture {

namespace {

using rtu::command_request;
using rtu::monitor_read;
using rtu::read_request;

unsigned number(fw::Command code) { return static_cast<unsigned>(code); }

}  // namespace

// Keeps cycles going: whatever ended or stands is taken up again.
Bytes Torture::drive_programme(const fw::Controller& core) {
  using fw::ProgrammeState;
  if (core.interlocks.latched != 0 && chance_.once_in(2)) return command_request(number(fw::Command::acknowledge), 0, 0.0f);
  switch (core.run.state) {
    case ProgrammeState::idle:
      if (drill_ == nullptr && chance_.once_in(4)) {
        return command_request(number(fw::Command::select_programme), chance_.below(4), 0.0f);
      }
      return command_request(number(fw::Command::start), 0, 0.0f);
    case ProgrammeState::held: return command_request(number(fw::Command::resume), 0, 0.0f);
    case ProgrammeState::running: {   // what waits for ever is skipped
      const bool skips = drill_ == nullptr && chance_.once_in(30);
      return skips ? command_request(number(fw::Command::skip), 0, 0.0f) : monitor_read();
    }
    default:
      return command_request(number(chance_.once_in(2) ? fw::Command::acknowledge : fw::Command::reset), 0, 0.0f);
  }
}

Bytes Torture::window_write(const fw::Segment& s, unsigned programme, std::size_t words) {
  Bytes data;
  put16(data, programme);
  put16(data, static_cast<unsigned>(s.kind));
  put16(data, static_cast<unsigned>(s.gas));
  put16(data, s.gain_set);
  put16(data, s.options);
  put_float(data, s.target);
  put_float(data, s.rate);
  put16(data, s.duration_ms >> 16);
  put16(data, s.duration_ms & 0xFFFF);
  for (const float value : {s.tolerance_k, s.flow_slm, s.back_pressure_pa, s.amount}) put_float(data, value);
  put16(data, s.count);
  put16(data, s.jump);
  put16(data, s.timeout_ms >> 16);
  put16(data, s.timeout_ms & 0xFFFF);
  for (int i = 0; i < 12; ++i) put16(data, 0x4142);
  for (const float value : {s.power_limit, s.feed_forward}) put_float(data, value);
  data.resize(std::min(data.size(), 2 * words));
  return rtu::write_request(fw::programme_window_address, data);
}

// A segment into the programme window, then the command that takes it; valid or not.
Bytes Torture::window_request() {
  const fw::Segment s = any_segment(static_cast<int>(chance_.below(6)));
  const unsigned programme = chance_.below(17);
  const bool part = chance_.once_in(4);
  return window_write(s, programme, part ? 1 + chance_.below(40) : 39);
}

Bytes Torture::parameter_request() {
  const auto table = fw::parameter_table();
  const std::uint32_t first = chance_.below(static_cast<std::uint32_t>(table.size()));
  const std::uint32_t wanted = 1 + (chance_.once_in(3) ? chance_.below(8) : 0);
  const std::uint32_t count = std::min(wanted, static_cast<std::uint32_t>(table.size()) - first);
  Bytes data;
  for (std::uint32_t i = 0; i < count; ++i) {
    const fw::ParameterInfo& info = table[first + i];
    const double value = chance_.once_in(6) ? chance_.between(-1e6, 1e6) : static_cast<double>(info.preset) * chance_.between(0.8, 1.25);
    if (info.integer) {
      const auto whole = static_cast<std::uint32_t>(static_cast<std::int32_t>(value));
      put16(data, whole >> 16);
      put16(data, whole & 0xFFFF);
    } else {
      put_float(data, chance_.once_in(10) ? odd_value() : static_cast<float>(value));
    }
  }
  return rtu::write_request(fw::parameter_address + 2 * first, data);
}

Bytes Torture::any_request(const fw::Controller& core) {
  constexpr unsigned blocks[] = {0, fw::command_address, fw::setpoint_address, fw::programme_window_address, fw::tune_address, 0x0400,
                                 0x0500, 0x0508, 0x053C, fw::alarm_state_address, fw::alarm_shelf_address, fw::row_address, 0x0700,
                                 fw::parameter_address, 0xFFF0};
  // One call of chance per statement: the order within an expression is the compiler's.
  const unsigned block = blocks[chance_.below(std::size(blocks))];
  const bool coin = chance_.once_in(2), seldom = chance_.once_in(8);
  const unsigned small = chance_.below(8), count = chance_.below(127), word = chance_.below(65536);
  switch (chance_.below(11)) {
    case 0: return read_request(coin ? 3 : 4, block + (seldom ? small : 0), 1 + count % (coin ? 12 : 40));
    case 1: return read_request(3, fw::parameter_address + word % 240, count);
    case 2: {
      const float value = odd_value();
      return command_request(1 + count % (coin ? 13 : 80), seldom ? word : small % 6, value);
    }
    case 3: {
      const float value = static_cast<float>(chance_.between(0.0, coin ? 8000.0 : 900.0));
      if (seldom) return command_request(number(fw::Command::change_setpoint), small % 4, value);
      Bytes data;
      put_float(data, value);
      return rtu::write_request(fw::setpoint_address + small % 6, data);
    }
    case 4: return window_request();
    case 5: return command_request(number(seldom ? fw::Command::read_segment : fw::Command::write_segment), small, 0.0f);
    case 6: return parameter_request();
    case 7: {
      Bytes bytes{static_cast<std::uint8_t>(seldom ? 0 : 1), 6};
      put16(bytes, block + count % 40);
      put16(bytes, word);
      return sealed(std::move(bytes));
    }
    case 8: {   // an alarm
      const unsigned alarm = seldom ? word : count % fw::alarm::count_;
      return command_request(60 + small % 6, alarm, coin ? 20.0f : static_cast<float>(word));
    }
    case 9: {   // a window of the history, a part of the command, or what no write may reach
      Bytes data;
      put16(data, 0);
      if (small == 0) return rtu::write_request(fw::command_address + 1, {0, 1, 0, 0, 0, 0});
      put16(data, seldom ? word : small);
      return rtu::write_request(coin ? 0x0508u : seldom ? block : 0x053Cu, data);
    }
    default: {
      if (coin) return command_request(static_cast<unsigned>(core.run.state) + 1, 0, 0.0f);
      Bytes bytes{static_cast<std::uint8_t>(small % 3), static_cast<std::uint8_t>(count)};
      for (std::uint32_t left = chance_.below(60); left > 0; --left) bytes.push_back(static_cast<std::uint8_t>(chance_.word()));
      return sealed(std::move(bytes));
    }
  }
}

// What a line does to a frame.
void Torture::mangle(Bytes& frame) {
  switch (chance_.below(9)) {
    case 7: {   // another byte, and a check sum that fits
      frame[chance_.below(static_cast<std::uint32_t>(frame.size()))] = static_cast<std::uint8_t>(chance_.word());
      frame.resize(frame.size() - std::min<std::size_t>(2, frame.size()));
      frame = sealed(std::move(frame));
      break;
    }
    case 8: {   // the beginning of something long, and much behind it
      const Bytes long_one{1, 16, 0x10, 0, 0, 120, 240};
      frame.insert(frame.end(), long_one.begin(), long_one.end());
      frame.resize(500, 1);
      break;
    }
    case 0: frame[chance_.below(static_cast<std::uint32_t>(frame.size()))] ^= 0x20; break;
    case 1: frame.resize(1 + chance_.below(static_cast<std::uint32_t>(frame.size()))); break;
    case 2: { const Bytes once = frame; frame.insert(frame.end(), once.begin(), once.end()); break; }
    case 3: { const Bytes more = monitor_read(); frame.insert(frame.end(), more.begin(), more.end()); break; }
    case 4: {
      split_.assign(frame.begin() + static_cast<std::ptrdiff_t>(frame.size() / 2), frame.end());
      frame.resize(frame.size() / 2);
      break;
    }
    case 5:
      for (std::uint32_t left = chance_.below(300); left > 0; --left) {
        frame.insert(frame.begin(), static_cast<std::uint8_t>(chance_.word()));
      }
      break;
    default: frame.clear(); break;
  }
}

Bytes Torture::operator_request(const fw::Controller& core) {
  Bytes frame;
  const Bytes of_drill = drill_request(core);
  const bool drives = drill_ == nullptr || drill_->drives;
  if (!split_.empty()) {
    frame = std::move(split_);
    split_.clear();
  } else if (!of_drill.empty()) {
    frame = of_drill;
  } else if (chance_.once_in(drill_ != nullptr ? 150 : calm_ ? 40 : 8)) {
    frame = any_request(core);
  } else if (drives && chance_.once_in(10)) {
    frame = drive_programme(core);
  } else {
    frame = monitor_read();
  }
  if (!frame.empty() && chance_.once_in(drill_ != nullptr ? 400 : calm_ ? 100 : 20)) mangle(frame);
  if (frame.size() > 500) frame.resize(500);
  return frame;
}

}  // namespace torture
