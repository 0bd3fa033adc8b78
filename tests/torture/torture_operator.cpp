// Torture: what comes over the supervisory line.
#include <algorithm>

#include "firmware/parameters.h"
#include "firmware/registers.h"
#include "tests/torture/torture.h"

namespace torture {

namespace {

Bytes read_request(unsigned function, unsigned address, unsigned count) {
  Bytes bytes{1, static_cast<std::uint8_t>(function)};
  put16(bytes, address);
  put16(bytes, count);
  return sealed(std::move(bytes));
}

Bytes monitor_read() { return read_request(4, 0, fw::monitor_registers(4)); }

}  // namespace

Bytes Torture::command(unsigned code, unsigned argument, float value) {
  Bytes bytes{1, 23};
  put16(bytes, 0);
  put16(bytes, fw::monitor_registers(4));
  put16(bytes, fw::command_address);
  put16(bytes, 4);
  bytes.push_back(8);
  put16(bytes, code);
  put16(bytes, argument);
  put_float(bytes, value);
  return sealed(std::move(bytes));
}

// Keeps cycles going: whatever ended or stands is taken up again.
Bytes Torture::drive_programme(const fw::Controller& core) {
  using fw::ProgrammeState;
  const auto number = [](fw::Command code) { return static_cast<unsigned>(code); };
  switch (core.run.state) {
    case ProgrammeState::idle:
      if (chance_.once_in(4)) return command(number(fw::Command::select_programme), chance_.below(4), 0.0f);
      return command(number(fw::Command::start), 0, 0.0f);
    case ProgrammeState::held: return command(number(fw::Command::resume), 0, 0.0f);
    case ProgrammeState::running:   // what waits for ever is skipped
      return chance_.once_in(30) ? command(number(fw::Command::skip), 0, 0.0f) : monitor_read();
    default:
      return command(number(chance_.once_in(2) ? fw::Command::acknowledge : fw::Command::reset), 0, 0.0f);
  }
}

// A segment into the programme window, then the command that takes it; valid or not.
Bytes Torture::window_request() {
  const fw::Segment s = any_segment(static_cast<int>(chance_.below(6)));
  Bytes data;
  put16(data, chance_.below(17));
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
  const std::size_t words = chance_.once_in(4) ? 1 + chance_.below(static_cast<std::uint32_t>(data.size() / 2)) : data.size() / 2;
  data.resize(2 * words);
  Bytes bytes{1, 16};
  put16(bytes, fw::programme_window_address);
  put16(bytes, static_cast<unsigned>(words));
  bytes.push_back(static_cast<std::uint8_t>(data.size()));
  bytes.insert(bytes.end(), data.begin(), data.end());
  return sealed(std::move(bytes));
}

Bytes Torture::parameter_request() {
  const auto table = fw::parameter_table();
  const std::uint32_t first = chance_.below(static_cast<std::uint32_t>(table.size()));
  const std::uint32_t wanted = 1 + (chance_.once_in(3) ? chance_.below(8) : 0);
  const std::uint32_t count = std::min(wanted, static_cast<std::uint32_t>(table.size()) - first);
  Bytes bytes{1, 16};
  put16(bytes, fw::parameter_address + 2 * first);
  put16(bytes, 2 * count);
  bytes.push_back(static_cast<std::uint8_t>(4 * count));
  for (std::uint32_t i = 0; i < count; ++i) {
    const fw::ParameterInfo& info = table[first + i];
    const double value = chance_.once_in(6) ? chance_.between(-1e6, 1e6) : static_cast<double>(info.preset) * chance_.between(0.8, 1.25);
    if (info.integer) {
      const auto whole = static_cast<std::uint32_t>(static_cast<std::int32_t>(value));
      put16(bytes, whole >> 16);
      put16(bytes, whole & 0xFFFF);
    } else {
      put_float(bytes, chance_.once_in(10) ? odd_value() : static_cast<float>(value));
    }
  }
  return sealed(std::move(bytes));
}

Bytes Torture::any_request(const fw::Controller& core) {
  constexpr unsigned blocks[] = {0, fw::command_address, fw::setpoint_address, fw::programme_window_address, 0x0300, 0x0400,
                                 0x0500, 0x0600, 0x0700, fw::parameter_address, 0xFFF0};
  // One call of chance per statement: the order within an expression is the compiler's.
  const unsigned block = blocks[chance_.below(std::size(blocks))];
  const bool coin = chance_.once_in(2), seldom = chance_.once_in(8);
  const unsigned small = chance_.below(8), count = chance_.below(127), word = chance_.below(65536);
  switch (chance_.below(9)) {
    case 0: return read_request(coin ? 3 : 4, block + small, 1 + count % 40);
    case 1: return read_request(3, fw::parameter_address + word % 240, count);
    case 2: {
      const float value = odd_value();
      return command(1 + count % (coin ? 13 : 80), seldom ? word : small % 6, value);
    }
    case 3:
      return command(static_cast<unsigned>(fw::Command::change_setpoint), small % 4,
                     static_cast<float>(chance_.between(0.0, coin ? 8000.0 : 900.0)));
    case 4: return window_request();
    case 5: return command(seldom ? 12u : 10u, small, 0.0f);
    case 6: return parameter_request();
    case 7: {
      Bytes bytes{static_cast<std::uint8_t>(seldom ? 0 : 1), 6};
      put16(bytes, block + count % 40);
      put16(bytes, word);
      return sealed(std::move(bytes));
    }
    default: {
      if (coin) return command(static_cast<unsigned>(core.run.state) + 1, 0, 0.0f);
      Bytes bytes{static_cast<std::uint8_t>(small % 3), static_cast<std::uint8_t>(count)};
      for (std::uint32_t left = chance_.below(60); left > 0; --left) bytes.push_back(static_cast<std::uint8_t>(chance_.word()));
      return sealed(std::move(bytes));
    }
  }
}

// What a line does to a frame.
void Torture::mangle(Bytes& frame) {
  switch (chance_.below(7)) {
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
  if (!split_.empty()) {
    frame = std::move(split_);
    split_.clear();
  } else if (chance_.once_in(calm_ ? 40 : 8)) {
    frame = any_request(core);
  } else if (chance_.once_in(10)) {
    frame = drive_programme(core);
  } else {
    frame = monitor_read();
  }
  if (!frame.empty() && chance_.once_in(calm_ ? 200 : 25)) mangle(frame);
  if (frame.size() > 500) frame.resize(500);
  return frame;
}

}  // namespace torture
