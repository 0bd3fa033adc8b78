#include "firmware/parameter_pages.h"

#include <cstddef>
#include <cstring>

#include "firmware/crc32.h"
#include "firmware/store_layout_1.h"

namespace fw {

namespace {

constexpr std::uint32_t any_generation = 0xFFFFFFFFu;
static_assert(offsetof(Parameters, atmosphere_required) / 4 < parameters_per_page, "what the furnace is stands in the first page");
static_assert(parameter_words <= parameters_per_page * parameter_pages_max);

struct StoredParameter {
  std::uint32_t id;      // 0: none
  std::uint32_t bits;
};

struct PagePayload {
  StoredParameter stored[parameters_per_page];
};
static_assert(sizeof(PagePayload) <= page_payload_bytes);

struct SetHead {
  std::uint32_t ids_crc;      // of the names in their order
  std::uint32_t set_crc;      // of the payloads of all its pages
  std::uint16_t count, pages;
};

int page_count() {
  const auto count = static_cast<int>(parameter_table().size());
  return (count + parameters_per_page - 1) / parameters_per_page;
}

int slot_page(int index, int slot) { return parameter_page_first + 2 * index + slot; }

PagePayload payload_of(int index, const Parameters& parameters) {
  PagePayload payload{};
  const auto table = parameter_table();
  for (int k = 0; k < parameters_per_page; ++k) {
    const auto at = static_cast<std::size_t>(index) * parameters_per_page + static_cast<std::size_t>(k);
    if (at < table.size()) payload.stored[k] = {parameter_ids()[at], parameter_bits(parameters, table[at])};
  }
  return payload;
}

SetHead head_of(const Parameters& parameters) {
  SetHead head{};
  head.count = static_cast<std::uint16_t>(parameter_table().size());
  head.pages = static_cast<std::uint16_t>(page_count());
  head.ids_crc = crc32(parameter_ids().data(), parameter_ids().size() * sizeof(std::uint32_t));
  std::uint32_t crc = crc32_begin;
  for (int i = 0; i < head.pages; ++i) {
    const PagePayload payload = payload_of(i, parameters);
    crc = crc32_on(crc, &payload, sizeof payload);
  }
  head.set_crc = ~crc;
  return head;
}

// --- Reading -----------------------------------------------------------------------------------------------------------

// The slot that counts as of a generation: the newer one of those that are not newer still. -1: neither is sound.
int slot_as_of(std::span<const std::uint8_t> image, int index, std::uint32_t generation) {
  int found = -1;
  std::uint32_t best = 0;
  for (int slot = 0; slot < 2; ++slot) {
    const PageView view = look_at_page(image, slot_page(index, slot));
    if (!view.holds(PageKind::parameters, index) || view.head.generation > generation) continue;
    if (found < 0 || view.head.generation > best) {
      found = slot;
      best = view.head.generation;
    }
  }
  return found;
}

struct Head {
  PageState state = PageState::blank;
  std::uint32_t generation = 0;
  SetHead set{};
};

Head read_head(std::span<const std::uint8_t> image, int slot) {
  Head head;
  const PageView view = look_at_page(image, parameter_head_page_first + slot);
  head.state = view.state;
  if (!view.holds(PageKind::parameter_head, 0)) {
    if (view.state == PageState::good) head.state = PageState::damaged;
    return head;
  }
  head.generation = view.head.generation;
  std::memcpy(&head.set, view.payload, sizeof head.set);
  if (head.set.pages > parameter_pages_max) head.state = PageState::damaged;
  return head;
}

bool whole(std::span<const std::uint8_t> image, const Head& head) {
  if (head.state != PageState::good) return false;
  std::uint32_t crc = crc32_begin;
  for (int i = 0; i < head.set.pages; ++i) {
    const int slot = slot_as_of(image, i, head.generation);
    if (slot < 0) return false;
    crc = crc32_on(crc, look_at_page(image, slot_page(i, slot)).payload, sizeof(PagePayload));
  }
  return ~crc == head.set.set_crc;
}

// Where a stored parameter stands in the table; first looked for where it would be if the table had not changed. -1: nowhere.
int place_of(std::uint32_t id, std::size_t guess) {
  const auto ids = parameter_ids();
  if (guess < ids.size() && ids[guess] == id) return static_cast<int>(guess);
  for (std::size_t i = 0; i < ids.size(); ++i) {
    if (ids[i] == id) return static_cast<int>(i);
  }
  return -1;
}

// A value outside its bounds keeps its preset and is counted.
int take_bits(const ParameterInfo& info, std::uint32_t bits, Parameters& parameters) {
  if (!parameter_accepts(info, bits)) return 1;
  set_parameter_bits(parameters, info, bits);
  return 0;
}

int take_page(const std::uint8_t* bytes, int index, ParameterPages& pages, Parameters& parameters) {
  PagePayload payload;
  std::memcpy(&payload, bytes, sizeof payload);
  int bad = 0;
  for (int k = 0; k < parameters_per_page; ++k) {
    const StoredParameter& stored = payload.stored[k];
    if (stored.id == 0) continue;
    const int at = place_of(stored.id, static_cast<std::size_t>(index) * parameters_per_page + static_cast<std::size_t>(k));
    if (at >= 0) {
      bad += take_bits(parameter_table()[static_cast<std::size_t>(at)], stored.bits, parameters);
    } else {
      if (pages.dropped_count < dropped_max) pages.dropped[pages.dropped_count] = stored.id;
      ++pages.dropped_count;
    }
  }
  return bad;
}

// How the other slot stands to the one that counts.
void compare_slots(std::span<const std::uint8_t> image, int index, int slot, std::uint32_t generation, ParameterPages& pages) {
  const PageView one = look_at_page(image, slot_page(index, slot)), other = look_at_page(image, slot_page(index, 1 - slot));
  pages.current.put(index, slot == 1);
  if (!other.holds(PageKind::parameters, index)) return;
  if (other.head.generation > pages.generation) pages.generation = other.head.generation;
  if (other.head.generation > generation) {
    pages.dirty.set(index);      // of a change that was broken off: no later head may take it for its own
  } else {
    pages.mirrored.put(index, std::memcmp(one.payload, other.payload, sizeof(PagePayload)) == 0);
  }
}

int take_set(std::span<const std::uint8_t> image, std::uint32_t generation, int count, ParameterPages& pages, Parameters& parameters) {
  int bad = 0;
  for (int i = 0; i < count; ++i) {
    const int slot = slot_as_of(image, i, generation);
    if (slot < 0) {
      if (i < page_count()) pages.lost.set(i);
      ++bad;
      continue;
    }
    const int of_page = take_page(look_at_page(image, slot_page(i, slot)).payload, i, pages, parameters);
    if (of_page > 0 && i < page_count()) pages.lost.set(i);
    bad += of_page;
    compare_slots(image, i, slot, generation, pages);
  }
  return bad;
}

int take_layout_1(std::span<const std::uint8_t> image, ParameterPages& pages, Parameters& parameters) {
  int bad = 0;
  bool any = false;
  for (int word = 0; word < layout_1_words; ++word) {
    const std::uint32_t id = layout_1_ids[static_cast<std::size_t>(word)];
    const int at = id == 0 ? -1 : place_of(id, static_cast<std::size_t>(word));
    if (at < 0) continue;
    const PageView view = look_at_page(image, word / layout_1_page_words);
    const bool sound = view.state == PageState::good && view.head.kind == PageKind::parameters && view.head.version == 1 &&
                       view.head.index == word / layout_1_page_words;
    int of_word = view.state != PageState::blank && !sound ? 1 : 0;
    if (sound) {
      any = true;
      std::uint32_t bits = 0;
      std::memcpy(&bits, view.payload + 4 * (word % layout_1_page_words), sizeof bits);
      of_word = take_bits(parameter_table()[static_cast<std::size_t>(at)], bits, parameters);
    }
    if (of_word != 0) pages.lost.set(at / parameters_per_page);
    bad += of_word;
  }
  if (any) pages.dirty.fill(page_count());
  return bad;
}

// Neither head gives a whole set: what is sound is taken, what is not keeps its preset.
int salvage(std::span<const std::uint8_t> image, const Head (&heads)[2], ParameterPages& pages, Parameters& parameters) {
  const Head& newer = heads[1].generation > heads[0].generation ? heads[1] : heads[0];
  pages.head_current = &newer == &heads[1] ? 1 : 0;
  pages.committed = true;
  const bool known = newer.state == PageState::good;
  const int count = known ? newer.set.pages : page_count();
  const int bad = take_set(image, known ? newer.generation : any_generation, count, pages, parameters);
  if (bad == 0 || !known) pages.lost.fill(page_count());      // which of them is wrong can't be told
  return bad > 0 ? bad : 1;
}

void highest_generation(std::span<const std::uint8_t> image, ParameterPages& pages) {
  for (int i = 0; i < 2 * parameter_pages_max; ++i) {
    const PageView view = look_at_page(image, parameter_page_first + i);
    if (view.holds(PageKind::parameters, i / 2) && view.head.generation > pages.generation) pages.generation = view.head.generation;
  }
}

}  // namespace

int load_parameter_pages(std::span<const std::uint8_t> image, ParameterPages& pages, Parameters& parameters, bool& unit_lost) {
  pages = ParameterPages{};
  const Head heads[2] = {read_head(image, 0), read_head(image, 1)};
  const int first = heads[1].generation > heads[0].generation ? 1 : 0;
  pages.generation = heads[first].generation;
  int bad = 0;
  int taken = whole(image, heads[first]) ? first : (whole(image, heads[1 - first]) ? 1 - first : -1);
  if (taken >= 0) {
    const Head& head = heads[taken];
    bad = take_set(image, head.generation, head.set.pages, pages, parameters);
    const Head& other = heads[1 - taken];
    pages.committed = true;
    pages.head_current = static_cast<std::uint8_t>(taken);
    pages.head_mirrored = other.state == PageState::good && other.generation == head.generation;
    pages.fallen_back = taken != first ? 1 : 0;
    if (head.set.ids_crc != head_of(parameters).ids_crc || pages.fallen_back != 0) pages.dirty.fill(page_count());
    bad += pages.fallen_back;
  } else if (heads[0].state != PageState::good && heads[1].state != PageState::good &&
             (heads[0].state == PageState::blank || heads[1].state == PageState::blank)) {
    bad = take_layout_1(image, pages, parameters);      // layout 2 was never committed
  } else {
    bad = salvage(image, heads, pages, parameters);
  }
  highest_generation(image, pages);
  const bool newer = heads[0].state == PageState::newer || heads[1].state == PageState::newer;
  unit_lost = pages.lost.has(0) || newer;
  return bad;
}

void parameter_changed(ParameterPages& pages, const ParameterInfo& info) {
  const auto at = static_cast<int>(&info - parameter_table().data()) / parameters_per_page;
  pages.dirty.set(at);
  const bool was_lost = pages.lost.has(at);
  pages.lost.clear(at);
  // The first set there is has to be whole.
  if (!pages.committed || (was_lost && !pages.lost.any())) pages.dirty.fill(page_count());
}

int next_parameter_page(ParameterPages& pages, const Parameters& parameters, std::span<std::uint8_t, store_write_bytes> bytes) {
  if (pages.lost.any()) return -1;
  const auto fill_slot = [&](int index, int slot, std::uint32_t generation) {
    const PagePayload payload = payload_of(index, parameters);
    fill_page({PageKind::parameters, store_layout_version, static_cast<std::uint16_t>(index), generation}, &payload, sizeof payload, bytes);
    return slot_page(index, slot);
  };
  const auto fill_head = [&](int slot) {
    const SetHead head = head_of(parameters);
    fill_page({PageKind::parameter_head, store_layout_version, 0, pages.generation}, &head, sizeof head, bytes);
    return parameter_head_page_first + slot;
  };
  if (const int i = pages.dirty.first(); i >= 0) {
    pages.dirty.clear(i);
    pages.staged.set(i);
    return fill_slot(i, pages.current.has(i) ? 0 : 1, pages.generation + 1);
  }
  if (pages.staged.any()) {      // commit
    for (int i = pages.staged.first(); i >= 0; i = pages.staged.first()) {
      pages.staged.clear(i);
      pages.mirrored.clear(i);
      pages.current.put(i, !pages.current.has(i));
    }
    ++pages.generation;
    pages.committed = true;
    pages.head_current = static_cast<std::uint8_t>(1 - pages.head_current);
    pages.head_mirrored = false;
    return fill_head(pages.head_current);
  }
  if (!pages.committed) return -1;      // a blank store stays blank until somebody writes
  if (!pages.head_mirrored) {
    pages.head_mirrored = true;
    return fill_head(1 - pages.head_current);
  }
  const int i = pages.mirrored.first_missing(page_count());
  if (i < 0) return -1;
  pages.mirrored.set(i);
  return fill_slot(i, pages.current.has(i) ? 0 : 1, pages.generation);
}

}  // namespace fw
