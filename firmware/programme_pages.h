// The programmes in the store. Segments lie one a page wherever there is room; each says to which programme, place and
// generation it belongs. A programme has a page of its own in two slots: its title, how many segments, their CRC, their
// generation. A changed programme is written whole into free pages and then its own page into the idle slot: that commits it.
// The second slot follows, and only then the old segments' pages are free. So a programme is old or new as a whole, and stands
// while 128 segments more than all programmes have are there to write the longest one beside the old.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/bit_set.h"
#include "firmware/programme.h"
#include "firmware/store_page.h"

namespace fw {

struct ProgrammeStore {
  ProgrammeEntry entries[programme_count];
  Segment segments[segment_count];
};

inline constexpr int pool_pages = segment_count + programme_segments_max;
inline constexpr int pool_page_first = 16;                // segments 0..511 of the pool
inline constexpr int pool_page_second = 546;              // the rest
inline constexpr int programme_page_first = 826;          // programme n, slot s: programme_page_first + 2 * n + s
inline constexpr std::uint32_t programme_quiet_ms = 1000; // a change is written once nothing has changed for this long

// What a programme's page holds.
struct ProgrammePage {
  ProgrammeEntry entry;
  std::uint32_t crc = 0;                 // of its segments
  std::uint16_t segment_bytes = 0;       // of one of them when that was computed: later ones have grown; 0: 40
  std::uint16_t unused = 0;
};
static_assert(sizeof(ProgrammePage) <= page_payload_bytes);
static_assert(sizeof(Segment) <= page_payload_bytes, "a segment fills a page");

struct ProgrammePages {
  std::uint32_t generation[programme_count];       // the highest there is
  std::uint16_t owner[pool_pages];                 // of a page of the pool: see programme_pages.cpp; 0 free
  BitSet<programme_count> dirty;
  BitSet<programme_count> current;                 // which slot holds what is committed
  BitSet<programme_segments_max> written;          // segments of the one that is being written
  std::uint32_t written_crc;                       // of these, not inverted: in order, from the first again when one changes
  ProgrammePage committing;
  std::int8_t active;                              // programme that is being written, -1 none
  std::int8_t open;                                // programme that is being edited and stays unwritten, -1 none
  bool second_slot;                                // of the one that is being written, the second slot is left
  std::uint32_t quiet_ms;                          // since the last change
};

// Reads what the image holds; entries and segments are blank before. Returns what was damaged.
int load_programme_pages(std::span<const std::uint8_t> image, ProgrammePages& pages, ProgrammeStore& programmes);

void programme_changed(ProgrammePages& pages, int programme);

// Between the two a programme is not written, however long that takes: what the store holds of it is the old one as a whole.
void open_programme(ProgrammePages& pages, int programme);
void close_programme(ProgrammePages& pages);

// Fills the page that is next in turn. Returns its number, -1 if the store holds what it should.
int next_programme_page(ProgrammePages& pages, const ProgrammeStore& programmes, std::span<std::uint8_t, store_write_bytes> bytes);

// CRC-32 over the first segment_bytes of each segment.
std::uint32_t segments_crc(std::span<const Segment> segments, std::size_t segment_bytes);

}  // namespace fw
