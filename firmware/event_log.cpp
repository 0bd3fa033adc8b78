#include "firmware/event_log.h"

#include <cstring>

namespace fw {

namespace {

struct EventPage {
  std::uint16_t count = 0;       // events in it: the first ones of the group
  std::uint16_t unused = 0;
  LoggedEvent events[events_per_page] = {};
};
static_assert(sizeof(EventPage) <= page_payload_bytes);

// The second event of a group goes to the page behind the first one's, the third back to it.
int page_of(std::uint32_t event) {
  const std::uint32_t group = event / events_per_page, place = event % events_per_page;
  return static_cast<int>((group + (place == 1 ? 1u : 0u)) % event_pages);
}

LoggedEvent& slot_of(EventLog& log, std::uint32_t event) { return log.ring[event % events_kept]; }

bool event_page(const PageView& view) {
  return view.state == PageState::good && view.head.kind == PageKind::events && view.head.version == store_layout_version;
}

}  // namespace

void load_event_log(std::span<const std::uint8_t> image, EventLog& log) {
  log.count = 0;
  for (LoggedEvent& event : log.ring) event = LoggedEvent{};
  for (int pass = 0; pass < 2; ++pass) {      // how many there are, then what they say
    for (int i = 0; i < event_pages; ++i) {
      const PageView view = look_at_page(image, event_page_first + i);
      if (!event_page(view)) continue;
      EventPage page;
      std::memcpy(&page, view.payload, sizeof page);
      const std::uint32_t first = view.head.generation * events_per_page;
      const std::uint32_t held = page.count < events_per_page ? page.count : events_per_page;
      if (pass == 0) {
        if (first + held > log.count) log.count = first + held;
        continue;
      }
      // cppcheck-suppress knownConditionTrueFalse ; what a page holds is not known here
      for (std::uint32_t k = 0; k < held; ++k) {
        if (first + k + events_kept >= log.count) slot_of(log, first + k) = page.events[k];
      }
    }
  }
  log.written = log.count;
}

void log_event(EventLog& log, const LoggedEvent& event) {
  slot_of(log, log.count) = event;
  ++log.count;
}

LoggedEvent logged_event(const EventLog& log, std::uint32_t n) {
  if (n >= log.count || log.count - n > events_kept) return {};
  return log.ring[n % events_kept];
}

int next_event_page(EventLog& log, std::span<std::uint8_t, store_write_bytes> bytes) {
  if (log.written == log.count) return -1;
  // More came in one go than memory holds: what was overwritten before it was written is lost.
  if (log.count - log.written > events_kept - events_per_page) log.written = log.count - (events_kept - events_per_page);
  const std::uint32_t event = log.written, group = event / events_per_page;
  EventPage page;
  page.count = static_cast<std::uint16_t>(event % events_per_page + 1);
  for (std::uint32_t k = 0; k < page.count; ++k) page.events[k] = slot_of(log, group * events_per_page + k);
  ++log.written;
  const int at = page_of(event);
  fill_page({PageKind::events, store_layout_version, static_cast<std::uint16_t>(at), group}, &page, sizeof page, bytes);
  return event_page_first + at;
}

}  // namespace fw
