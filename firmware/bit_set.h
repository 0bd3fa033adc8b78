// A set of small numbers, as bits.
#pragma once

#include <bit>
#include <cstdint>

namespace fw {

template <int size>
struct BitSet {
  std::uint32_t words[(size + 31) / 32];

  void set(int n) { words[n / 32] |= 1u << (n % 32); }
  void clear(int n) { words[n / 32] &= ~(1u << (n % 32)); }
  void put(int n, bool on) { on ? set(n) : clear(n); }
  bool has(int n) const { return ((words[n / 32] >> (n % 32)) & 1u) != 0; }
  void fill(int count) {
    for (int n = 0; n < count; ++n) set(n);
  }
  void empty() {
    for (std::uint32_t& word : words) word = 0;
  }
  bool any() const { return first() >= 0; }
  int first() const {     // the lowest one, -1 if there is none
    for (int i = 0; i < (size + 31) / 32; ++i) {
      if (words[i] != 0) return i * 32 + std::countr_zero(words[i]);
    }
    return -1;
  }
  int first_missing(int count) const {     // the lowest number below count that is not in it, -1 if all are
    for (int i = 0; i * 32 < count; ++i) {
      if (words[i] == ~0u) continue;
      const int n = i * 32 + std::countr_one(words[i]);
      return n < count ? n : -1;
    }
    return -1;
  }
};

}  // namespace fw
