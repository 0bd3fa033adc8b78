#include "firmware/programme_pages.h"

#include <cstring>

#include "firmware/crc32.h"

namespace fw {

namespace {

constexpr std::uint16_t layout_1_segment_bytes = 40;
constexpr int layout_1_programme_page = 528, layout_1_segment_page = 16;
static_assert(sizeof(ProgrammeEntry) == 28);
static_assert(sizeof(Segment) >= layout_1_segment_bytes, "members of a segment are only appended; zero says nothing");

// An owner: programme in bits 7..10, place in bits 0..6, and one of these.
constexpr std::uint16_t owner_committed = 0x8000, owner_pending = 0x4000;

std::uint16_t name_of(int programme, int place) { return static_cast<std::uint16_t>(programme << 7 | place); }
int programme_of(std::uint16_t owner) { return (owner >> 7) & 15; }

int pool_page(int n) { return n < segment_count ? pool_page_first + n : pool_page_second + n - segment_count; }
int slot_page(int programme, int slot) { return programme_page_first + 2 * programme + slot; }

std::span<const Segment> segments_of(const ProgrammeStore& programmes, const ProgrammeEntry& entry) {
  return {programmes.segments + entry.first_segment, entry.segments};
}

// --- Reading -----------------------------------------------------------------------------------------------------------

struct Loading {
  std::span<const std::uint8_t> image;
  ProgrammePages& pages;
  ProgrammeStore& programmes;
  BitSet<pool_pages> segments{};      // pages of the pool that hold a sound segment of layout 2
  int used = 0;                       // segments in memory
};

bool sound(const ProgrammeStore& programmes, const ProgrammePage& page) {
  const std::size_t bytes = page.segment_bytes == 0 ? layout_1_segment_bytes : page.segment_bytes;
  const std::span<const Segment> segments = segments_of(programmes, page.entry);
  if (bytes > sizeof(Segment) || page.crc != segments_crc(segments, bytes)) return false;
  for (std::size_t i = 0; i < segments.size(); ++i) {
    if (!segment_valid(segments[i], static_cast<int>(i))) return false;
  }
  return true;
}

void release(ProgrammePages& pages, int programme, std::uint16_t state) {
  for (std::uint16_t& owner : pages.owner) {
    if ((owner & state) != 0 && programme_of(owner) == programme) owner = 0;
  }
}

void find_segments(Loading& loading) {
  for (int n = 0; n < pool_pages; ++n) {
    const PageView view = look_at_page(loading.image, pool_page(n));
    if (view.state != PageState::good || view.head.kind != PageKind::segment || view.head.version != store_layout_version) continue;
    const int programme = view.head.index >> 7;
    if (programme >= programme_count) continue;
    loading.segments.set(n);
    std::uint32_t& highest = loading.pages.generation[programme];
    if (view.head.generation > highest) highest = view.head.generation;
  }
}

PageHead head_of(std::span<const std::uint8_t> image, int page) {      // its CRC has been looked at
  PageHead head;
  std::memcpy(&head, image.data() + static_cast<std::size_t>(page) * store_write_bytes, sizeof head);
  return head;
}

// The segments of one generation of a programme, to where memory has room for them. Nothing is kept unless all are there.
bool take_segments(Loading& loading, int programme, std::uint32_t generation, ProgrammePage& page) {
  const int count = page.entry.segments;
  if (count > programme_segments_max || loading.used + count > segment_count) return false;
  page.entry.first_segment = static_cast<std::uint16_t>(loading.used);
  for (int i = 0; i < count; ++i) loading.programmes.segments[loading.used + i] = Segment{};
  int found = 0;
  for (int n = 0; n < pool_pages; ++n) {
    if (!loading.segments.has(n)) continue;
    const PageHead head = head_of(loading.image, pool_page(n));
    const int place = head.index & 127;
    if (head.index >> 7 != programme || head.generation != generation || place >= count) continue;
    const std::uint8_t* payload = loading.image.data() + static_cast<std::size_t>(pool_page(n)) * store_write_bytes + page_payload_at;
    std::memcpy(&loading.programmes.segments[loading.used + place], payload, sizeof(Segment));
    loading.pages.owner[n] = static_cast<std::uint16_t>(owner_committed | head.index);
    ++found;
  }
  if (found == count && sound(loading.programmes, page)) return true;
  release(loading.pages, programme, owner_committed);
  return false;
}

void keep(Loading& loading, int programme, const ProgrammePage& page) {
  loading.programmes.entries[programme] = page.entry;
  loading.used += page.entry.segments;
}

// Of layout 1: its segments lie in a row, each in the page of its number.
int take_layout_1(Loading& loading, int programme) {
  const PageView view = look_at_page(loading.image, layout_1_programme_page + programme);
  if (view.state == PageState::blank) return 0;
  const bool good = view.state == PageState::good && view.head.kind == PageKind::programme && view.head.version == 1;
  if (!good || view.head.index != programme) return 1;
  ProgrammePage page;
  std::memcpy(&page.entry, view.payload, sizeof page.entry);
  std::memcpy(&page.crc, view.payload + sizeof page.entry, sizeof page.crc);
  const int first = page.entry.first_segment, count = page.entry.segments;
  if (count > programme_segments_max || first + count > segment_count || loading.used + count > segment_count) return 1;
  page.entry.first_segment = static_cast<std::uint16_t>(loading.used);
  for (int i = 0; i < count; ++i) {
    const PageView at = look_at_page(loading.image, layout_1_segment_page + first + i);
    const bool segment = at.state == PageState::good && at.head.kind == PageKind::segment && at.head.version == 1;
    if (!segment || at.head.index != first + i || loading.pages.owner[first + i] != 0) {      // two programmes never share one
      release(loading.pages, programme, owner_committed);
      return 1;
    }
    Segment& to = loading.programmes.segments[loading.used + i];
    to = Segment{};
    std::memcpy(static_cast<void*>(&to), at.payload, layout_1_segment_bytes);
    loading.pages.owner[first + i] = static_cast<std::uint16_t>(owner_committed | name_of(programme, i));
  }
  if (!sound(loading.programmes, page)) {
    release(loading.pages, programme, owner_committed);
    return 1;
  }
  keep(loading, programme, page);
  loading.pages.dirty.set(programme);
  return 0;
}

// One programme: the newer one of its two slots whose segments are all there.
int take_programme(Loading& loading, int programme) {
  PageView slots[2];
  std::uint32_t& highest = loading.pages.generation[programme];
  for (int s = 0; s < 2; ++s) {
    slots[s] = look_at_page(loading.image, slot_page(programme, s));
    if (slots[s].holds(PageKind::programme, programme) && slots[s].head.generation > highest) highest = slots[s].head.generation;
  }
  const bool good[2] = {slots[0].holds(PageKind::programme, programme), slots[1].holds(PageKind::programme, programme)};
  if (!good[0] && !good[1]) {
    if (slots[0].state == PageState::blank || slots[1].state == PageState::blank) return take_layout_1(loading, programme);
    return 1;
  }
  const int first = good[0] && (!good[1] || slots[0].head.generation >= slots[1].head.generation) ? 0 : 1;
  for (int k = 0; k < 2; ++k) {
    const int s = k == 0 ? first : 1 - first;
    if (!good[s]) continue;
    ProgrammePage page;
    std::memcpy(&page, slots[s].payload, sizeof page);
    if (!take_segments(loading, programme, slots[s].head.generation, page)) continue;
    keep(loading, programme, page);
    loading.pages.current.put(programme, s == 1);
    const bool alike = good[1 - s] && slots[0].head.generation == slots[1].head.generation;
    if (!alike) loading.pages.dirty.set(programme);      // so that it stands twice again
    return k;                                            // the newer one was committed and is damaged
  }
  return 1;
}

// --- Writing -----------------------------------------------------------------------------------------------------------

// Where segment `place` of the programme that is written goes: to where it stands already, or to a free page.
int page_for(ProgrammePages& pages, int place) {
  const auto wanted = static_cast<std::uint16_t>(owner_pending | name_of(pages.active, place));
  int room = -1;
  for (int n = 0; n < pool_pages; ++n) {
    if (pages.owner[n] == wanted) return n;
    if (room < 0 && pages.owner[n] == 0) room = n;
  }
  if (room >= 0) pages.owner[room] = wanted;
  return room;
}

bool begin(ProgrammePages& pages) {
  if (pages.quiet_ms < programme_quiet_ms) return false;
  for (int programme = 0; programme < programme_count; ++programme) {
    if (!pages.dirty.has(programme) || programme == pages.open) continue;
    pages.dirty.clear(programme);
    pages.active = static_cast<std::int8_t>(programme);
    pages.written.empty();
    pages.second_slot = false;
    return true;
  }
  return false;
}

void finish(ProgrammePages& pages) {
  release(pages, pages.active, owner_committed);
  const int count = pages.committing.entry.segments;
  for (std::uint16_t& owner : pages.owner) {
    if ((owner & owner_pending) == 0) continue;
    const bool beyond = (owner & 127) >= count;      // it was longer before it was edited again
    owner = beyond ? std::uint16_t{0} : static_cast<std::uint16_t>((owner & ~owner_pending) | owner_committed);
  }
  pages.active = -1;
}

}  // namespace

std::uint32_t segments_crc(std::span<const Segment> segments, std::size_t segment_bytes) {
  std::uint32_t crc = crc32_begin;
  for (const Segment& segment : segments) crc = crc32_on(crc, &segment, segment_bytes);
  return ~crc;
}

int load_programme_pages(std::span<const std::uint8_t> image, ProgrammePages& pages, ProgrammeStore& programmes) {
  pages = ProgrammePages{};
  pages.active = pages.open = -1;
  Loading loading{image, pages, programmes};
  find_segments(loading);
  int bad = 0;
  for (int programme = 0; programme < programme_count; ++programme) bad += take_programme(loading, programme);
  return bad;
}

void programme_changed(ProgrammePages& pages, int programme) {
  pages.quiet_ms = 0;
  if (pages.active == programme && !pages.second_slot) {
    pages.written.empty();
  } else {
    pages.dirty.set(programme);
  }
}

void open_programme(ProgrammePages& pages, int programme) {
  pages.open = static_cast<std::int8_t>(programme);
  if (pages.active != programme || pages.second_slot) return;
  release(pages, programme, owner_pending);      // what stands there already is of a generation that never comes
  ++pages.generation[programme];
  pages.active = -1;
  pages.dirty.set(programme);
}

void close_programme(ProgrammePages& pages) { pages.open = -1; }

int next_programme_page(ProgrammePages& pages, const ProgrammeStore& programmes, std::span<std::uint8_t, store_write_bytes> bytes) {
  if (pages.active < 0 && !begin(pages)) return -1;
  const int programme = pages.active;   // 0 or more here. NOLINT(bugprone-signed-char-misuse,cert-str34-c)
  const ProgrammeEntry& entry = programmes.entries[programme];
  const auto fill_slot = [&](int slot) {
    const PageHead head{PageKind::programme, store_layout_version, static_cast<std::uint16_t>(programme), pages.generation[programme]};
    fill_page(head, &pages.committing, sizeof pages.committing, bytes);
    return slot_page(programme, slot);
  };
  if (pages.second_slot) {
    finish(pages);
    return fill_slot(pages.current.has(programme) ? 0 : 1);
  }
  if (const int place = pages.written.first_missing(entry.segments); place >= 0) {
    const int n = page_for(pages, place);
    if (n < 0) return -1;      // cannot be: the pool has room for all programmes and the longest once more
    pages.written.set(place);
    const PageHead head{PageKind::segment, store_layout_version, name_of(programme, place), pages.generation[programme] + 1};
    const Segment& segment = programmes.segments[entry.first_segment + place];
    pages.written_crc = crc32_on(place == 0 ? crc32_begin : pages.written_crc, &segment, sizeof segment);
    fill_page(head, &segment, sizeof segment, bytes);
    return pool_page(n);
  }
  pages.committing = {entry, ~(entry.segments > 0 ? pages.written_crc : crc32_begin), sizeof(Segment), 0};
  ++pages.generation[programme];
  pages.current.put(programme, !pages.current.has(programme));
  pages.second_slot = true;
  return fill_slot(pages.current.has(programme) ? 1 : 0);
}

}  // namespace fw
