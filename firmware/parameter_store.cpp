#include "firmware/parameter_store.h"

#include <array>
#include <bit>
#include <cstddef>
#include <cstring>

namespace fw {

namespace {

static_assert(std::endian::native == std::endian::little);

constexpr std::uint8_t kind_parameters = 1, kind_segment = 2, kind_programme = 3, kind_journal = 4;
constexpr std::uint8_t layout_version = 2, layout_first = 1;
constexpr int parameter_pages_of_layout_1 = 16;      // from page 0 on
constexpr std::uint16_t segment_bytes_of_layout_1 = 40;
constexpr std::size_t payload_at = 4, crc_at = 60, payload_bytes = crc_at - payload_at;
static_assert(sizeof(Segment) <= payload_bytes);
static_assert(sizeof(ProgrammeEntry) == 28);
static_assert(sizeof(Segment) >= segment_bytes_of_layout_1, "members of a segment are only appended; zero says nothing");
static_assert(sizeof(Journal) <= payload_bytes);

constexpr auto crc_table = [] {
  std::array<std::uint32_t, 16> table{};
  for (std::uint32_t n = 0; n < 16; ++n) {
    std::uint32_t c = n;
    for (int bit = 0; bit < 4; ++bit) c = (c & 1u) ? 0xEDB88320u ^ (c >> 1) : c >> 1;
    table[n] = c;
  }
  return table;
}();

struct PagePlace {
  std::uint8_t kind;
  int index;
};

PagePlace place_of(int page) {
  if (page < segment_page_first) return {kind_parameters, page};   // of layout 1
  if (page < programme_page_first) return {kind_segment, page - segment_page_first};
  if (page < journal_page_first) return {kind_programme, page - programme_page_first};
  if (page < parameter_page_first) return {kind_journal, page - journal_page_first};
  return {kind_parameters, page - parameter_page_first};
}

constexpr std::uint32_t crc_begin = 0xFFFFFFFFu;

std::uint32_t crc32_on(std::uint32_t crc, const void* data, std::size_t size) {
  const auto* bytes = static_cast<const unsigned char*>(data);
  for (std::size_t i = 0; i < size; ++i) {
    crc ^= bytes[i];
    crc = crc_table[crc & 15u] ^ (crc >> 4);
    crc = crc_table[crc & 15u] ^ (crc >> 4);
  }
  return crc;
}

std::uint32_t crc32(const void* data, std::size_t size) { return ~crc32_on(crc_begin, data, size); }

// Over what a segment had when it was written: members appended since then are not part of it.
std::uint32_t segments_crc(const ProgrammeStore& programmes, const ProgrammeEntry& entry, std::size_t segment_bytes) {
  std::uint32_t crc = crc_begin;
  for (int i = 0; i < entry.segments; ++i) crc = crc32_on(crc, &programmes.segments[entry.first_segment + i], segment_bytes);
  return ~crc;
}

bool blank(const std::uint8_t* page) {
  for (std::size_t i = 1; i < store_write_bytes; ++i) {
    if (page[i] != page[0]) return false;
  }
  return page[0] == 0 || page[0] == 0xFF;
}

bool good(const std::uint8_t* page, int number) {
  const PagePlace place = place_of(number);
  std::uint32_t crc = 0;
  std::uint16_t index = 0;
  std::memcpy(&crc, page + crc_at, sizeof crc);
  std::memcpy(&index, page + 2, sizeof index);
  const bool known = page[1] == layout_version || (page[1] == layout_first && number < parameter_page_first);
  return page[0] == place.kind && known && index == place.index && crc == crc32(page, crc_at);
}

void fill_parameters(int index, const Parameters& parameters, std::uint8_t* payload) {
  const std::size_t from = static_cast<std::size_t>(index) * parameter_page_words * 4;
  if (from >= sizeof parameters) return;
  const std::size_t left = sizeof parameters - from;
  std::memcpy(payload, reinterpret_cast<const std::uint8_t*>(&parameters) + from, left < payload_bytes ? left : payload_bytes);
}

// Word by word: a value outside its bounds keeps its preset and is counted.
int read_parameters(int index, const std::uint8_t* payload, Parameters& parameters) {
  int bad = 0;
  const int low = index * parameter_page_words * 4;
  for (const ParameterInfo& info : parameter_table()) {
    const int at = info.offset - low;
    if (at < 0 || at >= static_cast<int>(payload_bytes)) continue;
    std::uint32_t bits = 0;
    std::memcpy(&bits, payload + at, sizeof bits);
    if (parameter_accepts(info, bits)) {
      set_parameter_bits(parameters, info, bits);
    } else {
      ++bad;
    }
  }
  return bad;
}

// What a programme's page holds.
struct ProgrammePage {
  ProgrammeEntry entry;
  std::uint32_t crc = 0;                 // of its segments
  std::uint16_t segment_bytes = 0;       // of one of them when that was computed
};
static_assert(sizeof(ProgrammePage) <= payload_bytes);

bool programme_sound(const ProgrammeStore& programmes, const ProgrammePage& page) {
  const ProgrammeEntry& entry = page.entry;
  if (entry.segments > programme_segments_max || entry.first_segment + entry.segments > segment_count) return false;
  const std::size_t bytes = page.segment_bytes == 0 ? segment_bytes_of_layout_1 : page.segment_bytes;
  if (bytes > sizeof(Segment) || page.crc != segments_crc(programmes, entry, bytes)) return false;
  for (int i = 0; i < entry.segments; ++i) {
    if (!segment_valid(programmes.segments[entry.first_segment + i], i)) return false;
  }
  return true;
}

// Two programmes that claim the same segment cannot both be right: the later one goes.
int drop_overlaps(ProgrammeStore& programmes) {
  int dropped = 0;
  for (int i = 1; i < programme_count; ++i) {
    ProgrammeEntry& mine = programmes.entries[i];
    for (int j = 0; j < i && mine.segments != 0; ++j) {
      const ProgrammeEntry& other = programmes.entries[j];
      if (mine.first_segment < other.first_segment + other.segments &&
          other.first_segment < mine.first_segment + mine.segments) {
        mine = ProgrammeEntry{};
        ++dropped;
      }
    }
  }
  return dropped;
}

struct PageRead {
  bool usable;
  int bad;
};

PageRead look_at(std::span<const std::uint8_t> image, int page) {
  const std::size_t offset = static_cast<std::size_t>(page) * store_write_bytes;
  if (offset + store_write_bytes > image.size()) return {false, 0};
  const std::uint8_t* bytes = image.data() + offset;
  if (blank(bytes)) return {false, 0};
  return good(bytes, page) ? PageRead{true, 0} : PageRead{false, 1};
}

const std::uint8_t* payload_of(std::span<const std::uint8_t> image, int page) {
  return image.data() + static_cast<std::size_t>(page) * store_write_bytes + payload_at;
}

// The page that holds part i of the parameters: that of layout 1 only where layout 2 has never written one.
int parameter_page(std::span<const std::uint8_t> image, int i) {
  const int page = parameter_page_first + i;
  const PageRead read = look_at(image, page);
  return read.usable || read.bad != 0 || i >= parameter_pages_of_layout_1 ? page : i;
}

int load_parameters(std::span<const std::uint8_t> image, Parameters& parameters) {
  static_assert(offsetof(Parameters, atmosphere_required) / 4 < parameter_page_words, "the unit's words lie in the first page");
  int bad = 0;
  for (int i = 0; i < parameter_pages; ++i) {
    const int page = parameter_page(image, i);
    const PageRead read = look_at(image, page);
    const int of_page = read.bad + (read.usable ? read_parameters(i, payload_of(image, page), parameters) : 0);
    if (i == 0 && of_page > 0) parameters.retort_ceramic = parameters.load_titanium = parameters.atmosphere_required = 1;
    bad += of_page;
  }
  return bad;
}

int load_programmes(std::span<const std::uint8_t> image, ProgrammeStore& programmes) {
  int bad = 0;
  for (int i = 0; i < segment_count; ++i) {
    const PageRead read = look_at(image, segment_page_first + i);
    bad += read.bad;
    if (read.usable) std::memcpy(&programmes.segments[i], payload_of(image, segment_page_first + i), sizeof(Segment));
  }
  for (int i = 0; i < programme_count; ++i) {
    const PageRead read = look_at(image, programme_page_first + i);
    bad += read.bad;
    if (!read.usable) continue;
    ProgrammePage page;
    std::memcpy(&page, payload_of(image, programme_page_first + i), sizeof page);
    if (programme_sound(programmes, page)) {
      programmes.entries[i] = page.entry;
    } else {
      ++bad;
    }
  }
  return bad + drop_overlaps(programmes);
}

}  // namespace

void mark_dirty(DirtyPages& dirty, int page) {
  std::uint32_t& word = dirty.bits[page / 32];
  const std::uint32_t bit = 1u << (page % 32);
  if ((word & bit) == 0) ++dirty.count;
  word |= bit;
}

int take_dirty(DirtyPages& dirty) {
  if (dirty.count == 0) return -1;
  for (std::size_t i = 0; i < std::size(dirty.bits); ++i) {
    if (dirty.bits[i] == 0) continue;
    const int bit = std::countr_zero(dirty.bits[i]);
    dirty.bits[i] &= dirty.bits[i] - 1;
    --dirty.count;
    return static_cast<int>(i) * 32 + bit;
  }
  return -1;
}

void encode_page(int page, const Parameters& parameters, const ProgrammeStore& programmes, const Journal& journal,
                 std::span<std::uint8_t, store_write_bytes> bytes) {
  const PagePlace place = place_of(page);
  std::memset(bytes.data(), 0, bytes.size());
  bytes[0] = place.kind;
  bytes[1] = layout_version;
  const auto index = static_cast<std::uint16_t>(place.index);
  std::memcpy(bytes.data() + 2, &index, sizeof index);
  std::uint8_t* payload = bytes.data() + payload_at;
  if (place.kind == kind_parameters) {
    fill_parameters(place.index, parameters, payload);
  } else if (place.kind == kind_segment) {
    std::memcpy(payload, &programmes.segments[place.index], sizeof(Segment));
  } else if (place.kind == kind_programme) {
    const ProgrammeEntry& entry = programmes.entries[place.index];
    const ProgrammePage written{entry, segments_crc(programmes, entry, sizeof(Segment)), sizeof(Segment)};
    std::memcpy(payload, &written, sizeof written);
  } else {
    std::memcpy(payload, &journal, sizeof journal);
  }
  const std::uint32_t crc = crc32(bytes.data(), crc_at);
  std::memcpy(bytes.data() + crc_at, &crc, sizeof crc);
}

void mark_older_layout(std::span<const std::uint8_t> image, DirtyPages& dirty) {
  for (int i = 0; i < parameter_pages; ++i) {
    const int page = parameter_page(image, i);
    if (page != parameter_page_first + i && look_at(image, page).usable) mark_dirty(dirty, parameter_page_first + i);
  }
}

int load_store(std::span<const std::uint8_t> image, Parameters& parameters, ProgrammeStore& programmes, Journal& journal,
               int& parameters_bad) {
  parameters = default_parameters();
  for (ProgrammeEntry& entry : programmes.entries) entry = ProgrammeEntry{};   // no temporary: the stack is small
  for (Segment& segment : programmes.segments) segment = Segment{};
  journal = Journal{};
  parameters_bad = load_parameters(image, parameters);
  int bad = parameters_bad + load_programmes(image, programmes);
  for (int i = 0; i < 2; ++i) {
    const PageRead read = look_at(image, journal_page_first + i);
    bad += read.bad;
    if (!read.usable) continue;
    Journal found;
    std::memcpy(&found, payload_of(image, journal_page_first + i), sizeof found);
    if (found.generation >= journal.generation) journal = found;
  }
  if (journal.programme < 0 || journal.programme >= programme_count) journal.programme = 0;
  return bad;
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

std::size_t build_store_image(const Parameters& parameters, std::span<const ProgrammeSourceEntry> programmes,
                              int selected_programme, std::span<std::uint8_t> image) {
  if (image.size() < store_image_bytes || programmes.size() > programme_count || first_bad_parameter(parameters) >= 0) return 0;
  if (selected_programme < 0 || selected_programme >= programme_count) return 0;
  ProgrammeStore store{};
  std::size_t used = 0;
  for (std::size_t i = 0; i < programmes.size(); ++i) {
    const std::size_t count = programmes[i].segments.size();
    if (count > programme_segments_max || used + count > segment_count) return 0;
    ProgrammeEntry& entry = store.entries[i];
    for (std::size_t k = 0; k + 1 < sizeof entry.title && programmes[i].title[k] != '\0'; ++k) {
      entry.title[k] = programmes[i].title[k];
    }
    entry.first_segment = static_cast<std::uint16_t>(used);
    entry.segments = static_cast<std::uint16_t>(count);
    for (std::size_t k = 0; k < count; ++k) {
      if (!segment_valid(programmes[i].segments[k], static_cast<int>(k))) return 0;
      store.segments[used + k] = programmes[i].segments[k];
    }
    used += count;
  }
  const Journal journal{1, selected_programme, 0};
  std::memset(image.data(), 0xFF, image.size());
  const auto write = [&](int page) {
    encode_page(page, parameters, store, journal,
                image.subspan(static_cast<std::size_t>(page) * store_write_bytes).first<store_write_bytes>());
  };
  for (int i = 0; i < parameter_pages; ++i) write(parameter_page_first + i);
  for (std::size_t i = 0; i < used; ++i) write(segment_page_first + static_cast<int>(i));
  for (std::size_t i = 0; i < programmes.size(); ++i) write(programme_page_first + static_cast<int>(i));
  write(journal_page_first);
  return store_image_bytes;
}

}  // namespace fw
