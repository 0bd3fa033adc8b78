// The 64-bit hash of hash.controller, hash.trace and the tape's checksum: word-wise, so that a tick's worth of signals costs
// some ten nanoseconds. Four lanes take the words in turn (their multiplications overlap); value() folds them with the
// word count. It tells runs apart; it is no protection against somebody who wants two runs to look alike.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

namespace sim {

static_assert(std::endian::native == std::endian::little, "words are hashed little-endian");

class Hash {
 public:
  void add(std::uint64_t word) {
    std::uint64_t& lane = lanes_[count_ & 3];
    lane = stir(lane, word);
    ++count_;
  }

  // The bit pattern, so that -0.0 and 0.0 differ, as two files would.
  void add(double value) { add(std::bit_cast<std::uint64_t>(value)); }
  void add(std::span<const double> values) { add_words(reinterpret_cast<const std::uint8_t*>(values.data()), values.size()); }

  // The size counts too: "a" then "b" is not "ab".
  void add(std::span<const std::uint8_t> bytes) {
    add(static_cast<std::uint64_t>(bytes.size()));
    const std::size_t whole = bytes.size() / 8;
    add_words(bytes.data(), whole);
    if (whole * 8 < bytes.size()) add(load(bytes.data() + whole * 8, bytes.size() - whole * 8));
  }

  std::uint64_t value() const {
    std::uint64_t sum = count_ * multiplier;
    for (const std::uint64_t lane : lanes_) sum = mix(sum ^ lane) + multiplier;
    return mix(sum);
  }

 private:
  __extension__ using Wide = unsigned __int128;
  static constexpr std::uint64_t multiplier = 0x9E3779B97F4A7C15u;  // odd; 2^64 / golden ratio

  static std::uint64_t stir(std::uint64_t lane, std::uint64_t word) {
    const Wide product = static_cast<Wide>(lane ^ word) * multiplier;  // both halves, or the top bits would hardly be mixed
    return static_cast<std::uint64_t>(product) ^ static_cast<std::uint64_t>(product >> 64);
  }
  static std::uint64_t load(const std::uint8_t* bytes, std::size_t size) {
    std::uint64_t value = 0;
    std::memcpy(&value, bytes, size);
    return value;
  }
  // As add(word) for each; four at a time, the lanes in registers.
  void add_words(const std::uint8_t* bytes, std::size_t words) {
    for (; words > 0 && (count_ & 3) != 0; --words, bytes += 8) add(load(bytes, 8));
    std::array<std::uint64_t, 4> lanes = lanes_;
    for (; words >= 4; words -= 4, bytes += 32, count_ += 4)
      for (std::size_t lane = 0; lane < 4; ++lane) lanes[lane] = stir(lanes[lane], load(bytes + 8 * lane, 8));
    lanes_ = lanes;
    for (; words > 0; --words, bytes += 8) add(load(bytes, 8));
  }
  static std::uint64_t mix(std::uint64_t value) {  // the finaliser of SplitMix64 (Steele, Lea, Flood 2014)
    value = (value ^ (value >> 30)) * 0xBF58476D1CE4E5B9u;
    value = (value ^ (value >> 27)) * 0x94D049BB133111EBu;
    return value ^ (value >> 31);
  }

  std::array<std::uint64_t, 4> lanes_{1, 2, 3, 4};
  std::uint64_t count_ = 0;
};

}  // namespace sim
