// What outlives a power cut: parameters, programmes, the totaliser. The store is 1,024 pages of 64 bytes; a page stands for
// itself:
//
//   byte 0     kind: 1 parameters, 2 segment, 3 programme, 4 journal; 0 or 255 with the rest alike: blank
//   byte 1     layout version, 2
//   byte 2..3  index within the kind
//   byte 4..59 payload
//   byte 60..63 CRC-32 (ISO 3309, as in IEEE 802.3) over bytes 0..59
//
// Little-endian throughout. A page that fails its check is taken as blank and counted. A programme's page carries the CRC-32
// of its segments: a write that a power cut broke off costs that programme and no other. The journal alternates between two
// pages, so that the older one stands while the newer is written.
//
// Layout 1 had its parameters in pages 0 to 15, and no length of a segment in a programme's page (it was 40 bytes). An image of
// it is read page by page where layout 2 has nothing, and written anew as layout 2 from then on.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/controller.h"
#include "firmware/parameters.h"
#include "firmware/programme.h"

namespace fw {

struct ProgrammeStore {
  ProgrammeEntry entries[programme_count];
  Segment segments[segment_count];
};

// Kept every minute while it changes.
struct Journal {
  std::uint32_t generation;      // the higher one of the two pages counts
  std::int32_t programme;        // selected, 0..15
  std::int64_t gas_total;        // totaliser's fixed point, see flow.h
};

inline constexpr int parameter_page_words = 14;
inline constexpr int parameter_pages = (parameter_words + parameter_page_words - 1) / parameter_page_words;
inline constexpr int parameter_pages_room = 33;          // 462 words
inline constexpr int segment_page_first = 16;
inline constexpr int programme_page_first = segment_page_first + segment_count;
inline constexpr int journal_page_first = programme_page_first + programme_count;
inline constexpr int parameter_page_first = journal_page_first + 2;
inline constexpr int store_pages_used = parameter_page_first + parameter_pages_room;
static_assert(parameter_pages <= parameter_pages_room);
static_assert(static_cast<std::size_t>(store_pages_used) * store_write_bytes <= store_image_bytes);

// Pages that differ from what the store holds. Scanned from the front, so that segments reach the store before the
// programme that speaks for them.
struct DirtyPages {
  std::uint32_t bits[(store_pages_used + 31) / 32];
  std::int32_t count;
};
void mark_dirty(DirtyPages& dirty, int page);
int take_dirty(DirtyPages& dirty);             // the first one, now clean; -1 if there is none

// Fills page (64 bytes) number `page` from what it stands for.
void encode_page(int page, const Parameters& parameters, const ProgrammeStore& programmes, const Journal& journal,
                 std::span<std::uint8_t, store_write_bytes> bytes);

// Marks what an image holds in an older layout, so that it is written anew. Call after load_store.
void mark_older_layout(std::span<const std::uint8_t> image, DirtyPages& dirty);

// Reads what the image holds; everything it does not hold stays as a blank store gives it: default parameters, no
// programmes, totaliser at zero. Returns the number of pages that were neither blank nor good, plus programmes and
// parameters refused by their own bounds; parameters_bad: the parameters' part of it. A core whose own page of the unit is
// bad can't tell what furnace it serves and takes it for the one that forgives least: a ceramic retort with titanium, heated
// in inert gas only.
int load_store(std::span<const std::uint8_t> image, Parameters& parameters, ProgrammeStore& programmes, Journal& journal,
               int& parameters_bad);

// Room for a programme of `segments` segments in slot `programme`, keeping what it has where it fits. Returns the index of
// the first segment, or -1 if the store is full. Other programmes never move.
int allocate_segments(const ProgrammeStore& programmes, int programme, int segments);

// For hosts that make a store image.
struct ProgrammeSourceEntry {
  const char* title;                       // UTF-8; cut at 23 bytes
  std::span<const Segment> segments;
};

// Writes a whole store image (bytes past it stay 0xFF). Returns store_image_bytes, or 0 if the span is too small, a
// parameter is out of bounds, a segment is invalid, or the programmes do not fit.
std::size_t build_store_image(const Parameters& parameters, std::span<const ProgrammeSourceEntry> programmes,
                              int selected_programme, std::span<std::uint8_t> image);

}  // namespace fw
