// What happened, kept through a power loss: the last 240 events, in memory to be read and in the store to stay. An event is
// written into the store by a page of its own write, together with the ones before it in its group of three, and never over the
// page that holds those: a power cut at any byte costs at most the event that was on its way.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/store_page.h"

namespace fw {

enum class EventKind : std::uint8_t {
  none = 0,
  power_up = 1,           // number: reset cause; before: seconds without power; after: boots
  programme_state = 2,    // number: programme; before, after: its state
  trip = 3,               // number: row of the interlock table; before: first-out row
  alarm = 4,              // number: of the alarm table; before, after: alarm state
  parameter = 5,          // number: place in the table; before, after: its 32 bits
  command = 6,            // number: code; before: argument, result in the high half; after: the value's bits
  forced_output = 7,      // number: output; before, after: its value's bits; 255: all released, before: why
  calibration = 8,        // number: channel; before, after: correction's bits
  parameter_dropped = 9,  // before: CRC-32 of a name in the store that this core's table does not have
  store_damaged = 10,     // before: what load_store counted
  power_loss = 11,        // number: what became of the programme; before: seconds without power; after: temperature lost, float
  segment_changed = 12    // number: segment of the running programme; before, after: CRC-32 of it
};

struct LoggedEvent {
  std::uint32_t second;      // since the core started
  std::uint16_t number;
  std::uint8_t kind;         // EventKind
  std::uint8_t boot;         // lowest byte of how often the core has started
  std::uint32_t before, after;
};
static_assert(sizeof(LoggedEvent) == 16);

inline constexpr int events_per_page = 3, event_groups = 80, events_kept = event_groups * events_per_page;
inline constexpr int event_page_first = 864, event_pages = event_groups + 1;

struct EventLog {
  std::uint32_t count;       // ever logged; the newest one has this number minus one
  std::uint32_t written;     // of these, in the store
  LoggedEvent ring[events_kept];
};

void load_event_log(std::span<const std::uint8_t> image, EventLog& log);
void log_event(EventLog& log, const LoggedEvent& event);
// Event n, counted from the first one ever; of kind none where it is not kept.
LoggedEvent logged_event(const EventLog& log, std::uint32_t n);
// Fills the page that is next in turn. Returns its number, -1 if all is written.
int next_event_page(EventLog& log, std::span<std::uint8_t, store_write_bytes> bytes);

}  // namespace fw
