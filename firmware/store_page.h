// The store is 1,024 pages of 64 bytes, written one whole page at a time; power may go after any byte of it. A page stands for
// itself:
//
//   byte 0      kind; 0 or 255 with the rest alike: blank
//   byte 1      layout version, 2
//   byte 2..3   index within the kind
//   byte 4..7   generation: which of two pages of the same index is newer
//   byte 8..59  payload
//   byte 60..63 CRC-32 (crc32.h) over bytes 0..59
//
// Little-endian throughout. Layout 1 had no generation: its payload is bytes 4..59.
//
//   page        layout 2                                       layout 1
//   0..15       -                                              parameters, 14 words each, in the order of the struct
//   16..527     segments, wherever there is room               segment n in page 16 + n
//   528..543    -                                              programme n
//   544, 545    -                                              journal, alternating
//   546..673    segments, as above
//   674..823    parameters: six a page, each by the CRC-32 of its name; page i in two slots
//   824, 825    head of the parameters, in two slots
//   826..857    programme n in two slots
//   858, 859    journal, alternating
//   860..863    progress of the running programme, alternating
//   864..944    event log, a ring
//   945..1007   run records, a ring of nine
//   1008..1021  drafts of the run in progress, alternating: generation counts them
//
// What stays of layout 1 is left alone: a controller that moves from it can lose its power at any byte of the move.
#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/controller.h"

namespace fw {

static_assert(std::endian::native == std::endian::little);

enum class PageKind : std::uint8_t {
  blank = 0, parameters = 1, segment = 2, programme = 3, journal = 4, parameter_head = 5, progress = 6, events = 7, run_record = 8
};

inline constexpr std::uint8_t store_layout_version = 2;
inline constexpr std::size_t page_payload_at = 8, page_payload_bytes = 52;

struct PageHead {
  PageKind kind = PageKind::blank;
  std::uint8_t version = store_layout_version;
  std::uint16_t index = 0;
  std::uint32_t generation = 0;
};
static_assert(sizeof(PageHead) == page_payload_at);

enum class PageState : std::uint8_t {
  blank,
  damaged,     // or broken off by a power cut: its CRC is wrong
  good,
  newer        // sound, but of a layout this core does not know
};

struct PageView {
  PageState state = PageState::blank;
  PageHead head;
  const std::uint8_t* payload = nullptr;     // of the version the page says
  bool holds(PageKind kind, int index) const {
    return state == PageState::good && head.kind == kind && head.index == index && head.version == store_layout_version;
  }
};

PageView look_at_page(std::span<const std::uint8_t> image, int page);     // past the image's end: blank

// Fills a page; size: of the payload, at most page_payload_bytes, the rest is zero.
void fill_page(const PageHead& head, const void* payload, std::size_t size, std::span<std::uint8_t, store_write_bytes> bytes);

}  // namespace fw
