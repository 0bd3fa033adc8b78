// What the core writes down of itself: events, the progress of a programme, the record of a run. One look at the end of each step
// finds what has changed; writes and commands say so themselves. And how all this is read over the supervisory line, block 0x0500.
#pragma once

#include <cstdint>

#include "firmware/alarms.h"
#include "firmware/controller.h"
#include "firmware/event_log.h"
#include "firmware/power_loss.h"
#include "firmware/programme.h"
#include "firmware/run_hash.h"
#include "firmware/run_record.h"

namespace fw {

// What has been looked at.
struct History {
  EventLog events;
  RunRecords records;
  AlarmSets alarms;
  std::uint64_t trips;
  std::uint32_t event_window, record_window;      // what the registers show
  std::uint32_t programme_crc;                    // of the private copy that runs, once its hash is whole
  std::uint32_t ended_s;
  RunHash hash;
  ProgrammeState state;
  ProgrammeState ending;                          // idle: no run that is over waits for its hash
  std::uint16_t segment;                          // when the record was drafted last
};

// From the store image, after load_store.
void history_start(Controller& controller, std::span<const std::uint8_t> store_image, ResetCause cause, std::uint32_t outage_s);
// Decides once about a programme that a power loss broke off; after the station's answer, before the programme.
void history_power_loss(Controller& controller);
// At the end of the step.
void history_step(Controller& controller);

void history_log(Controller& controller, EventKind kind, std::uint16_t number, std::uint32_t before, std::uint32_t after);
// A command or write of the operator that was accepted.
void history_operator(Controller& controller);
// A segment of the running programme has been changed; before: CRC-32 of it.
void history_segment_changed(Controller& controller, std::uint16_t index, std::uint32_t before);
// Parameters have changed.
void history_parameters_changed(Controller& controller);
// A programme has been started.
void history_run_begins(Controller& controller);

inline constexpr std::uint16_t history_address = 0x0500, history_registers = 0xE2;
inline constexpr std::uint16_t event_window_address = 0x0508, events_in_window = 6, record_window_address = 0x053C;
// One register of the block.
std::uint16_t history_register(const Controller& controller, std::uint16_t address);
// Moves one of the two windows; false: no such one.
bool history_move_window(Controller& controller, std::uint16_t address, std::uint32_t number);

}  // namespace fw
