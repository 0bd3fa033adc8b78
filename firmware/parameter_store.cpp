#include "firmware/parameter_store.h"

#include <cstddef>
#include <cstring>

#include "firmware/store_page.h"

namespace fw {

namespace {

constexpr int journal_page_of_layout_1 = 544;
static_assert(sizeof(Journal) <= page_payload_bytes);
constexpr std::size_t journal_bytes_of_layout_1 = offsetof(Journal, boots);
static_assert(journal_bytes_of_layout_1 == 16);

struct JournalFound {
  bool good = false, blank = false;      // one of the two pages is
};

JournalFound newest_journal(std::span<const std::uint8_t> image, int first_page, std::uint8_t version, std::size_t bytes,
                            Journal& journal) {
  JournalFound found;
  for (int page = first_page; page < first_page + 2; ++page) {
    const PageView view = look_at_page(image, page);
    found.blank = found.blank || view.state == PageState::blank;
    if (view.state != PageState::good || view.head.kind != PageKind::journal || view.head.version != version) continue;
    Journal one{};
    std::memcpy(&one, view.payload, bytes);
    if (!found.good || one.generation > journal.generation) journal = one;
    found.good = true;
  }
  return found;
}

// Returns 1 if there was one and both of its pages are damaged. older: it is of layout 1 and to be written anew.
int load_journal(std::span<const std::uint8_t> image, Journal& journal, bool& older) {
  journal = Journal{};
  JournalFound found = newest_journal(image, journal_page_first, store_layout_version, sizeof journal, journal);
  older = !found.good && found.blank;
  if (older) found = newest_journal(image, journal_page_of_layout_1, 1, journal_bytes_of_layout_1, journal);
  older = older && found.good;
  if (journal.programme < 0 || journal.programme >= programme_count) journal.programme = 0;
  return found.good || found.blank ? 0 : 1;
}

int next_journal_page(StoreWriter& writer, Journal& journal, std::span<std::uint8_t, store_write_bytes> bytes) {
  if (!writer.journal_dirty) return -1;
  writer.journal_dirty = false;
  ++journal.generation;
  const auto index = static_cast<std::uint16_t>(journal.generation & 1u);
  fill_page({PageKind::journal, store_layout_version, index, journal.generation}, &journal, sizeof journal, bytes);
  return journal_page_first + index;
}

bool any_newer(std::span<const std::uint8_t> image) {
  for (const int page : {parameter_head_page_first, parameter_head_page_first + 1, journal_page_first, journal_page_first + 1}) {
    if (look_at_page(image, page).state == PageState::newer) return true;
  }
  return false;
}

}  // namespace

int load_store(std::span<const std::uint8_t> image, Parameters& parameters, ProgrammeStore& programmes, Journal& journal,
               StoreWriter& writer, int& parameters_bad) {
  parameters = default_parameters();
  for (ProgrammeEntry& entry : programmes.entries) entry = ProgrammeEntry{};   // no temporary: the stack is small
  for (Segment& segment : programmes.segments) segment = Segment{};
  writer.turn = 0;
  writer.newer = any_newer(image);
  bool unit_lost = false;
  parameters_bad = load_parameter_pages(image, writer.parameters, parameters, unit_lost);
  if (unit_lost) parameters.retort_ceramic = parameters.load_titanium = parameters.atmosphere_required = 1;
  const int programmes_bad = load_programme_pages(image, writer.programmes, programmes);
  return parameters_bad + programmes_bad + load_journal(image, journal, writer.journal_dirty);
}

void keep_parameter(StoreWriter& writer, const ParameterInfo& info) {
  writer.newer = false;
  parameter_changed(writer.parameters, info);
}

void keep_programme(StoreWriter& writer, int programme) {
  writer.newer = false;
  programme_changed(writer.programmes, programme);
}

int next_store_page(StoreWriter& writer, const Parameters& parameters, const ProgrammeStore& programmes, Journal& journal,
                    std::uint32_t period_ms, std::span<std::uint8_t, store_write_bytes> bytes) {
  constexpr std::uint8_t kinds = 3;
  if (writer.programmes.quiet_ms < programme_quiet_ms) writer.programmes.quiet_ms += period_ms;
  if (writer.newer) return -1;
  for (int i = 0; i < kinds; ++i) {
    const std::uint8_t kind = writer.turn;
    writer.turn = static_cast<std::uint8_t>((writer.turn + 1) % kinds);
    const int page = kind == 0   ? next_journal_page(writer, journal, bytes)
                     : kind == 1 ? next_parameter_page(writer.parameters, parameters, bytes)
                                 : next_programme_page(writer.programmes, programmes, bytes);
    if (page >= 0) return page;
  }
  return -1;
}

int next_history_page(StoreWriter& writer, EventLog& events, RunRecords& records, PowerLoss& power,
                      std::span<std::uint8_t, store_write_bytes> bytes) {
  if (writer.newer) return -1;
  int page = next_progress_page(power, bytes);
  if (page < 0) page = next_event_page(events, bytes);
  return page >= 0 ? page : next_run_record_page(records, bytes);
}

int allocate_segments(const ProgrammeStore& programmes, int programme, int segments) {
  bool taken[segment_count] = {};
  for (int i = 0; i < programme_count; ++i) {
    if (i == programme) continue;
    const ProgrammeEntry& entry = programmes.entries[i];
    for (int k = 0; k < entry.segments; ++k) taken[entry.first_segment + k] = true;
  }
  const auto fits = [&](int first) {
    if (first + segments > segment_count) return false;
    for (int k = 0; k < segments; ++k) {
      if (taken[first + k]) return false;
    }
    return true;
  };
  if (programmes.entries[programme].segments != 0 && fits(programmes.entries[programme].first_segment)) {
    return programmes.entries[programme].first_segment;
  }
  for (int first = 0; first + segments <= segment_count; ++first) {
    if (fits(first)) return first;
  }
  return -1;
}

namespace {

// Puts the programmes one behind the other. False: they do not fit.
bool place_programmes(std::span<const ProgrammeSourceEntry> sources, ProgrammeStore& store) {
  std::size_t used = 0;
  for (std::size_t i = 0; i < sources.size(); ++i) {
    const std::size_t count = sources[i].segments.size();
    if (count > programme_segments_max || used + count > segment_count) return false;
    ProgrammeEntry& entry = store.entries[i];
    for (std::size_t k = 0; k + 1 < sizeof entry.title && sources[i].title[k] != '\0'; ++k) entry.title[k] = sources[i].title[k];
    entry.first_segment = static_cast<std::uint16_t>(used);
    entry.segments = static_cast<std::uint16_t>(count);
    for (std::size_t k = 0; k < count; ++k) {
      if (!segment_valid(sources[i].segments[k], static_cast<int>(k))) return false;
      store.segments[used + k] = sources[i].segments[k];
    }
    used += count;
  }
  return true;
}

}  // namespace

// As the core itself would write it.
std::size_t build_store_image(const Parameters& parameters, std::span<const ProgrammeSourceEntry> programmes,
                              int selected_programme, std::span<std::uint8_t> image) {
  if (image.size() < store_image_bytes || programmes.size() > programme_count || first_bad_parameter(parameters) >= 0) return 0;
  if (selected_programme < 0 || selected_programme >= programme_count) return 0;
  ProgrammeStore store{};
  if (!place_programmes(programmes, store)) return 0;
  std::memset(image.data(), 0xFF, image.size());
  StoreWriter writer{};
  writer.programmes.active = writer.programmes.open = -1;
  keep_parameter(writer, parameter_table()[0]);      // the first set is written whole
  for (int i = 0; i < static_cast<int>(programmes.size()); ++i) programme_changed(writer.programmes, i);
  Journal journal{0, selected_programme, 0, 0, 0};
  std::uint8_t page[store_write_bytes];
  for (int round = 0; round < 2; ++round) {      // twice, for both pages of the journal
    keep_journal(writer);
    for (;;) {
      const int number = next_store_page(writer, parameters, store, journal, programme_quiet_ms, page);
      if (number < 0) break;
      std::memcpy(image.data() + static_cast<std::size_t>(number) * store_write_bytes, page, sizeof page);
    }
  }
  return store_image_bytes;
}

}  // namespace fw
