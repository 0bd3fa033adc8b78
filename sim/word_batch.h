// Words filled in by one thread and read by another, in turns. They are written past the caches: the reader's processor still holds
// the lines of the turn before, each would have to be fetched from it, and the stores of the whole tick wait in order behind that
// (measured: a tenth of a tick).
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

#if defined(__SSE2__)
#include <immintrin.h>
#endif

namespace sim {

// Word: of eight bytes. Not for two threads at once: hand_over() is the last call of the one that fills it, what then passes it on
// (a mutex, say) orders the rest.
template <typename Word>
class WordBatch {
  static_assert(sizeof(Word) == 8);

 public:
  // Whole words; what is left of the last one is nothing.
  void add(const void* from, std::size_t bytes) {
    const std::size_t count = (bytes + 7) / 8, whole = bytes / 8;
    if (size_ + count > words_.size()) words_.resize(std::max(size_ + count, 2 * words_.size()));
    const char* const at = static_cast<const char*>(from);
    for (std::size_t k = 0; k < whole; ++k) put(size_ + k, at + 8 * k, 8);
    if (count > whole) put(size_ + whole, at + 8 * whole, bytes - 8 * whole);
    size_ += count;
  }

  void hand_over() const {
#if defined(__SSE2__)
    _mm_sfence();
#endif
  }

  void clear() { size_ = 0; }
  bool empty() const { return size_ == 0; }
  std::size_t size() const { return size_; }
  std::span<const Word> words() const { return {words_.data(), size_}; }

 private:
  void put(std::size_t word, const char* from, std::size_t bytes) {
    long long value = 0;
    std::memcpy(&value, from, bytes);
#if defined(__SSE2__)
    _mm_stream_si64(reinterpret_cast<long long*>(&words_[word]), value);
#else
    std::memcpy(&words_[word], &value, sizeof value);
#endif
  }

  std::vector<Word> words_;
  std::size_t size_ = 0;
};

}  // namespace sim
