#include "firmware/run_record.h"

#include <cmath>
#include <cstring>

#include "firmware/crc32.h"

namespace fw {

namespace {

constexpr RunRecord no_record{};

static_assert(draft_page_first + draft_slots * run_record_pages <= static_cast<int>(store_image_bytes / store_write_bytes));

int record_page(int slot) { return run_record_page_first + slot * run_record_pages; }
int draft_page(int slot) { return draft_page_first + slot * run_record_pages; }

std::size_t part_bytes(int part) {
  const std::size_t from = static_cast<std::size_t>(part) * page_payload_bytes;
  const std::size_t left = sizeof(RunRecord) - from;
  return left < page_payload_bytes ? left : page_payload_bytes;
}

// Its pages, all of one generation; 0: they are not. A record's is its number, a draft's counts drafts.
std::uint32_t take_pages(std::span<const std::uint8_t> image, int first_page, RunRecord& record) {
  auto* bytes = reinterpret_cast<std::uint8_t*>(&record);
  std::uint32_t generation = 0;
  for (int part = 0; part < run_record_pages; ++part) {
    const PageView view = look_at_page(image, first_page + part);
    if (!view.holds(PageKind::run_record, part)) return 0;
    std::memcpy(bytes + static_cast<std::size_t>(part) * page_payload_bytes, view.payload, part_bytes(part));
    if (part == 0) generation = view.head.generation;
    if (view.head.generation != generation) return 0;
  }
  return record.number != 0 && record.hash == run_record_hash(record) ? generation : 0;
}

void put_to_store(RunRecords& records, const RunRecord& record) {
  records.sheet = record;
  records.writing = record.number;
  records.page = 1;
}

void close(RunRecord& record, ProgrammeState state, std::uint32_t second, std::uint32_t boots) {
  record.end_state = static_cast<std::uint8_t>(state);
  record.ended_s = second;
  record.ended_boot = static_cast<std::uint16_t>(boots);
  record.hash = run_record_hash(record);
}

bool is_draft(const RunRecord& record) { return record.end_state == static_cast<std::uint8_t>(ProgrammeState::running); }

}  // namespace

std::uint32_t run_record_hash(const RunRecord& record) {
  constexpr std::size_t after = sizeof record.hash;
  return crc32(reinterpret_cast<const std::uint8_t*>(&record) + after, sizeof record - after);
}

void load_run_records(std::span<const std::uint8_t> image, RunRecords& records) {
  records.now = records.sheet = no_record;
  records.last = records.writing = records.undrafted_ms = records.drafts = 0;
  records.page = records.draft_slot = 0;
  for (RunRecord& record : records.kept) record = no_record;
  for (int slot = 0; slot < run_record_slots; ++slot) {
    RunRecord& found = records.now;      // as scratch memory: the stack is small
    if (take_pages(image, record_page(slot), found) != found.number || found.number == 0) continue;
    if (is_draft(found)) {      // of a core that left them there
      if (found.number > records.sheet.number) records.sheet = found;
      continue;
    }
    RunRecord& place = records.kept[found.number % run_records_kept];
    if (found.number > place.number) place = found;
    if (found.number > records.last) records.last = found.number;
  }
  for (int slot = 0; slot < draft_slots; ++slot) {
    RunRecord& found = records.now;
    const std::uint32_t draft = take_pages(image, draft_page(slot), found);
    if (draft <= records.drafts || !is_draft(found)) continue;
    records.drafts = draft;
    records.draft_slot = static_cast<std::uint8_t>(1 - slot);
    if (found.number >= records.sheet.number) records.sheet = found;
  }
  records.now = no_record;
}

void begin_run_record(RunRecords& records) {
  records.now.number = records.last + 1;
  records.undrafted_ms = 0;
  for (std::uint16_t& deviation : records.now.deviation_dk) deviation = deviation_none;
}

void draft_run_record(RunRecords& records, std::uint32_t second, std::uint32_t boots) {
  if (records.now.number == 0 || records.writing != 0) return;
  close(records.now, ProgrammeState::running, second, boots);
  put_to_store(records, records.now);
  ++records.drafts;
  records.undrafted_ms = 0;
}

void end_left_draft(RunRecords& records, std::uint32_t boots) {
  if (!is_draft(records.sheet) || records.sheet.number != records.last + 1) return;
  records.now = records.sheet;
  end_run_record(records, ProgrammeState::aborting, 0, boots);
}

bool take_up_draft(RunRecords& records) {
  const RunRecord& draft = records.sheet;
  if (records.writing != 0 || !is_draft(draft) || draft.number != records.now.number || draft.programme != records.now.programme)
    return false;
  records.now = draft;
  return true;
}

void end_run_record(RunRecords& records, ProgrammeState state, std::uint32_t second, std::uint32_t boots) {
  RunRecord& now = records.now;
  if (now.number == 0) return;
  close(now, state, second, boots);
  records.kept[now.number % run_records_kept] = now;
  records.last = now.number;
  put_to_store(records, now);
  now.number = 0;
}

void note_deviation(RunRecords& records, int segment, float deviation_k) {
  if (records.now.number == 0 || segment < 0 || segment >= programme_segments_max) return;
  const float tenths = std::fabs(deviation_k) * 10.0f;
  const auto bounded = static_cast<std::uint16_t>(tenths < 65534.0f ? tenths : 65534.0f);
  std::uint16_t& worst = records.now.deviation_dk[segment];
  if (worst == deviation_none || bounded > worst) worst = bounded;
}

const RunRecord& run_record(const RunRecords& records, std::uint32_t number) {
  const RunRecord& record = records.kept[number % run_records_kept];
  return number != 0 && record.number == number ? record : no_record;
}

int next_run_record_page(RunRecords& records, std::span<std::uint8_t, store_write_bytes> bytes) {
  if (records.writing == 0) return -1;
  const bool draft = is_draft(records.sheet);
  const int part = records.page;
  const int first = draft ? draft_page(records.draft_slot) : record_page(static_cast<int>(records.writing % run_record_slots));
  const std::uint32_t generation = draft ? records.drafts : records.writing;
  const auto* from = reinterpret_cast<const std::uint8_t*>(&records.sheet);
  const PageHead head{PageKind::run_record, store_layout_version, static_cast<std::uint16_t>(part), generation};
  fill_page(head, from + static_cast<std::size_t>(part) * page_payload_bytes, part_bytes(part), bytes);
  if (part == 0) {
    records.writing = 0;
    if (draft) records.draft_slot = static_cast<std::uint8_t>(1 - records.draft_slot);
  }
  records.page = static_cast<std::uint8_t>((part + 1) % run_record_pages);
  return first + part;
}

}  // namespace fw
