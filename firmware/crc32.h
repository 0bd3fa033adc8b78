// CRC-32 as of ISO 3309 and IEEE 802.3: reflected polynomial 0xEDB88320, start and end inverted; "123456789" gives 0xCBF43926.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace fw {

inline constexpr auto crc32_table = [] {
  std::array<std::uint32_t, 256> table{};
  for (std::uint32_t n = 0; n < 256; ++n) {
    std::uint32_t c = n;
    for (int bit = 0; bit < 8; ++bit) c = (c & 1u) ? 0xEDB88320u ^ (c >> 1) : c >> 1;
    table[n] = c;
  }
  return table;
}();

inline constexpr std::uint32_t crc32_begin = 0xFFFFFFFFu;

constexpr std::uint32_t crc32_byte(std::uint32_t crc, std::uint8_t byte) {
  return crc32_table[(crc ^ byte) & 0xFFu] ^ (crc >> 8);
}

// In parts: from crc32_begin on, inverted at the end.
inline std::uint32_t crc32_on(std::uint32_t crc, const void* data, std::size_t size) {
  const auto* bytes = static_cast<const unsigned char*>(data);
  for (std::size_t i = 0; i < size; ++i) crc = crc32_byte(crc, bytes[i]);
  return crc;
}

inline std::uint32_t crc32(const void* data, std::size_t size) { return ~crc32_on(crc32_begin, data, size); }

// Of a text, up to its final zero.
constexpr std::uint32_t crc32_text(const char* text) {
  std::uint32_t crc = crc32_begin;
  for (; *text != '\0'; ++text) crc = crc32_byte(crc, static_cast<std::uint8_t>(*text));
  return ~crc;
}

}  // namespace fw
