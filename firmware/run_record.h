// What is kept of a run once it is over: what ran, with what parameters, how it ended, how far the furnace strayed in each segment,
// what went wrong and what the operator did. The last eight runs are in memory to be read and in the store to stay. A record goes
// into a slot of the store that holds none of these, its first page last: that page commits it. A run in progress leaves drafts in two
// slots in turn, so that a power loss does not take what has been written down: while one is written the one before stands.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/programme.h"
#include "firmware/store_page.h"

namespace fw {

inline constexpr int run_records_kept = 8, run_record_slots = run_records_kept + 1, run_record_pages = 7;
inline constexpr int run_record_page_first = 945, draft_page_first = run_record_page_first + run_record_slots * run_record_pages;
inline constexpr int draft_slots = 2;
inline constexpr std::uint16_t deviation_none = 65535;

struct RunRecord {
  std::uint32_t hash;                // CRC-32 over the rest
  std::uint32_t number;              // counts runs, from 1; 0: none
  std::uint32_t started_s, ended_s;  // since the start of the core that began, or ended, the run
  std::uint32_t programme_crc;       // of the segments as they were when the run began, or as edited within two seconds; 0: over before
  std::uint32_t parameters_crc;      // of all parameters then, the same
  std::uint32_t alarms[2];           // bit n: alarm n was active at some time; low word first
  std::uint16_t started_boot, ended_boot;      // how often the core had started
  std::uint16_t operator_actions;    // commands and writes accepted
  std::uint16_t outages;             // power losses it went on after
  std::uint8_t programme, end_state; // ProgrammeState; aborting: the power went and it was not taken up again
  std::uint8_t first_out;            // row that tripped, 0 none
  std::uint8_t segments;
  char title[24];
  std::uint16_t deviation_dk[programme_segments_max];   // largest |process value - set point| of a zone, 0.1 K; deviation_none: not heated
};
static_assert(sizeof(RunRecord) == 324);
static_assert(sizeof(RunRecord) <= run_record_pages * page_payload_bytes);

struct RunRecords {
  RunRecord now;                     // of the run in progress, number 0: none
  RunRecord sheet;                   // what goes to the store, or what a power loss left of a run: end_state running
  RunRecord kept[run_records_kept];  // record n at n % run_records_kept
  std::uint32_t last;                // number of the newest one
  std::uint32_t writing;             // number of the one that is being written, 0 none
  std::uint8_t page;                 // of it, to be written next; 0 comes last
  std::uint8_t draft_slot;           // the next draft goes there; the newest whole one stands in the other
  std::uint32_t drafts;              // number of the newest draft
  std::uint32_t undrafted_ms;        // the run has gone on since its last draft
};

void load_run_records(std::span<const std::uint8_t> image, RunRecords& records);
void begin_run_record(RunRecords& records);      // `now` holds what is known of it; gives it its number
// Puts the run in progress into the store as it stands; nothing while something is being written.
void draft_run_record(RunRecords& records, std::uint32_t second, std::uint32_t boots);
// Where the store still holds a draft of a run whose record it does not: ends it with the power lost.
void end_left_draft(RunRecords& records, std::uint32_t boots);
// Goes on with the draft of this programme, where a power loss left one; `now` has begun. False: there is none.
bool take_up_draft(RunRecords& records);
void end_run_record(RunRecords& records, ProgrammeState state, std::uint32_t second, std::uint32_t boots);
void note_deviation(RunRecords& records, int segment, float deviation_k);
// Record `number`; its number is 0 where it is not kept.
const RunRecord& run_record(const RunRecords& records, std::uint32_t number);
// Fills the page that is next in turn. Returns its number, -1 if all is written.
int next_run_record_page(RunRecords& records, std::span<std::uint8_t, store_write_bytes> bytes);
std::uint32_t run_record_hash(const RunRecord& record);

}  // namespace fw
