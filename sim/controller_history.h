// What the controller has written down of itself, read over its supervisory line once a run is over: the event log and the record of
// the last run (block 0x0500 of the register map). The core goes on meanwhile; none of this is on the tape or in a hash.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "sim/endpoint.h"
#include "sim/serial_line.h"

namespace sim {

struct ControllerEvent {
  std::uint32_t second = 0;        // since that start of the core
  unsigned boot = 0;               // which start, modulo 256
  unsigned kind = 0, number = 0;   // as fw::EventKind numbers them
  std::uint32_t before = 0, after = 0;
};

struct ControllerRecord {
  std::uint32_t number = 0;        // 0: there is none
  std::uint32_t hash = 0, started_s = 0, ended_s = 0, programme_crc = 0, parameters_crc = 0;
  std::uint64_t alarms = 0;
  unsigned started_boot = 0, ended_boot = 0, operator_actions = 0, outages = 0, programme = 0, end_state = 0, first_out = 0, segments = 0;
  std::string title;
  std::vector<double> deviation_k;  // by segment; negative: not heated
};

struct ControllerHistory {
  std::vector<ControllerEvent> events;
  ControllerRecord record;
};

// What the core has received on the field line by its next tick, after this request; times are the core's.
using FieldSide = std::function<Arrival(std::span<const std::uint8_t> request)>;

// Asks from first.now_us on, one request in a period; first: with what stands on the field line then. The station goes on answering
// (`field`): a core that heard nothing more would log that and put it into the record. Stops where the controller gives no answer:
// what came until then is given.
ControllerHistory read_history(Endpoint& controller, TickIn first, std::uint64_t period_us, const FieldSide& field);

// In words, with the core's own names.
std::string sentence(const ControllerEvent& event);
// Columns: start, time [s], kind, text.
std::string controller_log_csv(const std::vector<ControllerEvent>& events);
// Rows for people: what and how much. Empty without a record.
std::vector<std::pair<std::string, std::string>> record_rows(const ControllerRecord& record);
// Columns: what, value; these rows, then the largest deviation in each segment, blank where it was not heated.
std::string record_csv(const ControllerRecord& record);

}  // namespace sim
