// The supervisory line: the core is Modbus server, unit 1, with the map of registers.h. Writing never acts by itself: a
// command waits for the next step, a parameter is checked against its bounds first.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/modbus.h"
#include "firmware/programme.h"
#include "firmware/registers.h"

namespace fw {

struct Controller;

struct CommandRequest {
  std::uint16_t code = 0;
  std::uint16_t argument = 0;
  float value = 0.0f;
};

// One segment on its way into or out of the store.
struct ProgrammeWindow {
  std::uint16_t programme = 0;
  Segment segment;
  char title[24] = {};
};

struct Supervisory {
  ModbusReceiver receiver;
  CommandRequest request;           // as last written
  bool pending = false;             // to be carried out in the next step
  Refusal result = Refusal::accepted;
  std::uint16_t count = 0;          // commands handled
  ProgrammeWindow window;
};

// Carries out the command that waits, if one does.
void supervisory_command(Controller& controller);

// Answers the oldest request in the receiver; returns the size of the reply in buffer (modbus_frame_max bytes), 0 for none.
std::size_t supervisory_serve(Controller& controller, std::uint64_t now_us, std::span<std::uint8_t> buffer);

}  // namespace fw
