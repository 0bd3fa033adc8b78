// The parameters in the store. A parameter is known there by its name (CRC-32 of it), so that a core whose table has grown, or
// has another order, still finds its own: what is new keeps its preset, what is gone is dropped and told.
//
// A page has two slots, and so has the head. A change writes the pages it touches into their idle slots and then, once they all
// stand, the head into its own idle slot: the head is what commits them. It carries a CRC over all pages of its generation, so a set
// is taken whole or not at all. Only then the slots that are idle now get the same content, so that at rest every page stands twice.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/bit_set.h"
#include "firmware/parameters.h"
#include "firmware/store_page.h"

namespace fw {

inline constexpr int parameters_per_page = 6;
inline constexpr int parameter_pages_max = 75;           // 450 parameters
inline constexpr int parameter_page_first = 674;         // page i, slot s: parameter_page_first + 2 * i + s
inline constexpr int parameter_head_page_first = parameter_page_first + 2 * parameter_pages_max;
inline constexpr int dropped_max = 4;

struct ParameterPages {
  BitSet<parameter_pages_max> dirty;       // differ from what the store holds
  BitSet<parameter_pages_max> staged;      // written into their idle slots, not committed
  BitSet<parameter_pages_max> current;     // which slot holds what is committed
  BitSet<parameter_pages_max> mirrored;    // the idle slot holds the same
  BitSet<parameter_pages_max> lost;        // damaged at start: nothing is committed until each has been written to
  std::uint32_t generation;                // the highest there is
  std::uint32_t dropped[dropped_max];      // names that no table knows, the first ones
  std::uint16_t dropped_count;
  std::uint16_t fallen_back;               // 1: the newer of two sets was damaged
  std::uint8_t head_current;
  bool committed;                          // a head stands: the store is more than blank
  bool head_mirrored;
};

// Reads the set the image holds into parameters, which has the presets. Returns what was damaged or out of bounds: 0 for a
// blank image, for the older or the newer set of a change that a power cut broke off, and for a set of layout 1. unit_lost: it
// can't be told what furnace this is.
int load_parameter_pages(std::span<const std::uint8_t> image, ParameterPages& pages, Parameters& parameters, bool& unit_lost);

void parameter_changed(ParameterPages& pages, const ParameterInfo& info);

// Fills the page that is next in turn. Returns its number, -1 if the store holds what it should.
int next_parameter_page(ParameterPages& pages, const Parameters& parameters, std::span<std::uint8_t, store_write_bytes> bytes);

}  // namespace fw
