// What outlives a power cut: parameters, programmes, the totaliser. store_page.h has the layout, parameter_pages.h and
// programme_pages.h how a change becomes old or new and never anything between, whatever byte the power goes at.
//
// A page that a power cut broke off is no damage: what stood before it is in force and nothing is told. Damage is what leaves
// neither the old nor the new: that is counted, keeps its preset and raises an alarm.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "firmware/controller.h"
#include "firmware/event_log.h"
#include "firmware/parameter_pages.h"
#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/power_loss.h"
#include "firmware/programme_pages.h"
#include "firmware/run_record.h"

namespace fw {

// Written when it changes; the totaliser every minute. Alternates between two pages.
struct Journal {
  std::uint32_t generation;      // of the newer one of the two pages
  std::int32_t programme;        // selected, 0..15
  std::int64_t gas_total;        // totaliser's fixed point, see flow.h
  std::uint32_t boots;           // times the core has started
  std::uint32_t unused;
};

inline constexpr int journal_page_first = 858;
inline constexpr int store_pages = static_cast<int>(store_image_bytes / store_write_bytes);
static_assert(journal_page_first + 2 <= store_pages);
// What a run leaves, and a host that changes parameters or programmes of an image keeps: from here to the end.
inline constexpr int history_page_first = journal_page_first;

// What the core knows of the store, and what is still to be written.
struct StoreWriter {
  ParameterPages parameters;
  ProgrammePages programmes;
  bool journal_dirty;
  bool newer;                    // the image is of a layout this core does not know: left as it is until somebody writes
  std::uint8_t turn;             // whose page is next
};

// Reads what the image holds; everything it does not hold stays as a blank store gives it: default parameters, no
// programmes, totaliser at zero. Returns how much was damaged: pages, programmes and parameters refused by their own bounds;
// parameters_bad: the parameters' part of it. A core that has lost the page of the unit can't tell what furnace it serves and
// takes it for the one that forgives least: a ceramic retort with titanium, heated in inert gas only. Of a newer layout
// everything stays as a blank store gives it, and counts as damaged.
int load_store(std::span<const std::uint8_t> image, Parameters& parameters, ProgrammeStore& programmes, Journal& journal,
               StoreWriter& writer, int& parameters_bad);

// What has changed in memory and is to be written. A core without a programme or parameter of its own calls neither.
void keep_parameter(StoreWriter& writer, const ParameterInfo& info);
void keep_programme(StoreWriter& writer, int programme);
inline void keep_journal(StoreWriter& writer) { writer.journal_dirty = true; }

// Fills the page that is to be written next (64 bytes), one kind after the other. Returns its number, -1 if the store holds
// what it should. What it gave before counts as written.
int next_store_page(StoreWriter& writer, const Parameters& parameters, const ProgrammeStore& programmes, Journal& journal,
                    std::uint32_t period_ms, std::span<std::uint8_t, store_write_bytes> bytes);
// The same for what history.h keeps.
int next_history_page(StoreWriter& writer, EventLog& events, RunRecords& records, PowerLoss& power,
                      std::span<std::uint8_t, store_write_bytes> bytes);

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
