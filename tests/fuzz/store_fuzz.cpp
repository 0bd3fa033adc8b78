// Store images: pages of any content, with a good check sum or not, at their place or at another's. Whatever the core takes out of an
// image keeps to the bounds of parameters and segments.
#include <cstring>

#include "firmware/parameter_store.h"
#include "tests/fuzz/fuzzed_core.h"

namespace {

std::uint32_t crc32(const std::uint8_t* bytes, std::size_t size) {
  std::uint32_t crc = 0xFFFFFFFFu;
  for (std::size_t i = 0; i < size; ++i) {
    crc ^= bytes[i];
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) != 0 ? crc >> 1 ^ 0xEDB88320u : crc >> 1;
  }
  return ~crc;
}

void place(fuzz::Source& source, torture::Bytes& image) {
  const std::uint8_t what = source.byte();
  const std::size_t page = source.word() % (image.size() / 64);
  const torture::Bytes content = source.bytes(60);
  std::uint8_t* at = image.data() + 64 * page;
  std::copy(content.begin(), content.end(), at);
  if ((what & 1u) == 0) return;
  const std::uint32_t crc = crc32(at, 60);
  std::memcpy(at + 60, &crc, sizeof crc);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Source source(data, size);
  torture::Bytes image(fw::store_image_bytes, 0xFF);
  const std::size_t length = (source.byte() & 1u) != 0 ? source.word() % (image.size() + 1) : image.size();
  while (source.size() > 4) place(source, image);
  image.resize(length);
  fuzz::Core core(image);
  const fw::Controller& c = *core.controller;
  if (fw::first_bad_parameter(c.parameters) >= 0) std::abort();
  for (const fw::ProgrammeEntry& entry : c.programmes.entries) {
    if (entry.segments > fw::programme_segments_max || entry.first_segment + entry.segments > fw::segment_count) std::abort();
    for (int i = 0; i < entry.segments; ++i) {
      if (!fw::segment_valid(c.programmes.segments[entry.first_segment + i], i)) std::abort();
    }
  }
  core.receive(fw::Port::field, fuzz::healthy_answer(core.sequence));
  core.step();
  core.step();
  return 0;
}
