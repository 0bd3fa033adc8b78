#include "sim/supervisory_line.h"

#include <algorithm>

#include "firmware/registers.h"
#include "plant/modbus.h"

namespace sim {

namespace {

// FC 06: a second master starts the programme of its own controller.
std::array<std::uint8_t, 8> foreign_start(std::uint8_t unit) {
  constexpr std::uint8_t write_single = 6;
  std::array<std::uint8_t, 8> frame{unit, write_single, static_cast<std::uint8_t>(fw::command_address >> 8),
                                    static_cast<std::uint8_t>(fw::command_address & 0xFF), 0,
                                    static_cast<std::uint8_t>(fw::Command::start), 0, 0};
  const std::uint16_t crc = plant::modbus::crc16(std::span(frame).first<6>());
  frame[6] = static_cast<std::uint8_t>(crc);
  frame[7] = static_cast<std::uint8_t>(crc >> 8);
  return frame;
}

bool writes(std::span<const std::uint8_t> request) { 
  return request.size() > 1 && (request[1] == 6 || request[1] == 16 || request[1] == 23);
}

}  // namespace

SupervisoryLine::SupervisoryLine(std::uint64_t seed)
    : requests_(seed, "supervisory.request", "supervisory.request.inserted"),
      answers_(seed, "supervisory.answer", "supervisory.answer.inserted"), noise_(seed, "supervisory.noise") {}

void SupervisoryLine::add(std::span<const std::uint8_t> bytes) {
  const std::size_t room = std::min(bytes.size(), bytes_max - size_);
  std::copy_n(bytes.begin(), room, heard_.begin() + static_cast<std::ptrdiff_t>(size_));
  size_ += room;
}

std::span<const std::uint8_t> SupervisoryLine::to_core(std::uint64_t tick, std::span<const std::uint8_t> request,
                                                       const ControllerFault& fault) {
  size_ = 0;
  if (fault.line_silent) return {};
  for (std::uint64_t byte = 0; byte < fault.noise_bytes; ++byte) {
    const auto drawn = static_cast<std::uint8_t>(noise_.bits(tick * bytes_max + byte));
    add({&drawn, 1});
  }
  if (fault.foreign_unit != 0) add(foreign_start(fault.foreign_unit));
  LineFault line;
  line.corrupt_rate = fault.corrupt_rate;
  std::size_t size = 0;
  requests_.pass(request, tick, 0.0, line, passed_, size);
  add({passed_.data(), size});
  if (fault.write_doubled && writes(request)) add({passed_.data(), size});
  return {heard_.data(), size_};
}

std::span<const std::uint8_t> SupervisoryLine::to_operator(std::uint64_t tick, std::span<const std::uint8_t> answer,
                                                           const ControllerFault& fault) {
  if (fault.line_silent) return {};
  LineFault line;
  line.corrupt_rate = fault.corrupt_rate;
  std::size_t size = 0;
  answers_.pass(answer, tick, 0.0, line, passed_, size);
  return {passed_.data(), size};
}

}  // namespace sim
