#include "firmware/store_page.h"

#include <cstring>

#include "firmware/crc32.h"

namespace fw {

namespace {

constexpr std::size_t crc_at = 60;
constexpr std::size_t payload_at_of_layout_1 = 4;

bool blank(const std::uint8_t* page) {
  for (std::size_t i = 1; i < store_write_bytes; ++i) {
    if (page[i] != page[0]) return false;
  }
  return page[0] == 0 || page[0] == 0xFF;
}

}  // namespace

PageView look_at_page(std::span<const std::uint8_t> image, int page) {
  PageView view;
  const std::size_t offset = static_cast<std::size_t>(page) * store_write_bytes;
  if (page < 0 || offset + store_write_bytes > image.size()) return view;
  const std::uint8_t* bytes = image.data() + offset;
  if (blank(bytes)) return view;
  std::uint32_t crc = 0;
  std::memcpy(&crc, bytes + crc_at, sizeof crc);
  view.state = PageState::damaged;
  if (crc != crc32(bytes, crc_at)) return view;
  std::memcpy(&view.head, bytes, sizeof view.head);
  view.state = view.head.version <= store_layout_version ? PageState::good : PageState::newer;
  if (view.head.version == 1) view.head.generation = 0;
  view.payload = bytes + (view.head.version == 1 ? payload_at_of_layout_1 : page_payload_at);
  return view;
}

void fill_page(const PageHead& head, const void* payload, std::size_t size, std::span<std::uint8_t, store_write_bytes> bytes) {
  std::memset(bytes.data(), 0, bytes.size());
  std::memcpy(bytes.data(), &head, sizeof head);
  std::memcpy(bytes.data() + page_payload_at, payload, size < page_payload_bytes ? size : page_payload_bytes);
  const std::uint32_t crc = crc32(bytes.data(), crc_at);
  std::memcpy(bytes.data() + crc_at, &crc, sizeof crc);
}

}  // namespace fw
