// Chance in the plant: counter-based streams named by purpose. The n-th number of a stream depends on seed, name and n alone,
// so that a fork, a replay or a lost exchange never shifts it. Integer arithmetic up to the last multiplication: the same
// bits from every compiler. Constant time.
#pragma once

#include <cstdint>
#include <string_view>

namespace plant {

// Finaliser of SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
constexpr std::uint64_t mix_bits(std::uint64_t z) {
  z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
  z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
  return z ^ (z >> 31);
}

struct RandomStream {
  std::uint64_t key = 0;

  constexpr RandomStream() = default;
  constexpr RandomStream(std::uint64_t seed, std::string_view purpose) : key(mix_bits(seed ^ name_hash(purpose))) {}

  // n-th word of the stream, all 64 bits uniform.
  constexpr std::uint64_t bits(std::uint64_t n) const { return mix_bits(key + (n + 1) * 0x9E3779B97F4A7C15u); }

  // 0 <= u < 1, multiples of 2^-53.
  constexpr double uniform(std::uint64_t n) const { return static_cast<double>(bits(n) >> 11) * 0x1p-53; }

  // Mean 0, variance 1, |value| < 3.47: the sum of the word's four 16-bit quarters (Irwin-Hall of order 4). Good enough for
  // instrument noise, which an input filter bounds as well; the tails are light (excess kurtosis -0.3).
  constexpr double normal(std::uint64_t n) const {
    const std::uint64_t word = bits(n);
    constexpr std::uint64_t even = 0x0000FFFF0000FFFFu;
    const std::uint64_t pairs = (word & even) + ((word >> 16) & even);
    const auto sum = static_cast<std::int32_t>((pairs + (pairs >> 32)) & 0x3FFFF);
    return static_cast<double>(2 * sum - 4 * 65535) * scale;
  }

 private:
  // Each quarter is uniform on 0..65535: variance (2^32 - 1) / 12; twice four of them 16 (2^32 - 1) / 12.
  static constexpr double scale = 1.3214498960651509e-05;

  static constexpr std::uint64_t name_hash(std::string_view name) {   // FNV-1a
    std::uint64_t hash = 0xCBF29CE484222325u;
    for (const char letter : name) hash = (hash ^ static_cast<std::uint8_t>(letter)) * 0x100000001B3u;
    return hash;
  }
};

}  // namespace plant
