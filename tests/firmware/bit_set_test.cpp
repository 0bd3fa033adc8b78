// The set of small numbers against a plain list of truths, over borders of its words.
#include <cstdint>
#include <vector>

#include <gtest/gtest.h>

#include "firmware/bit_set.h"

namespace {

constexpr int size = 70;      // two whole words and a part

int first_with(const std::vector<bool>& truths, bool wanted, int count) {
  for (int n = 0; n < count; ++n)
    if (truths[static_cast<std::size_t>(n)] == wanted) return n;
  return -1;
}

TEST(BitSet, AgreesWithAListWhateverIsPutIn) {
  fw::BitSet<size> set{};
  std::vector<bool> truths(size);
  std::uint32_t state = 1;
  const auto draw = [&state](std::uint32_t below) {
    state = state * 1664525u + 1013904223u;
    return static_cast<int>((state >> 8) % below);
  };
  int missing_found = 0, full_found = 0;
  for (int step = 0; step < 5000; ++step) {
    const bool on = draw(size) != 0;      // seldom off: prefixes that are whole are the case that matters
    const int n = draw(size);
    set.put(n, on);
    truths[static_cast<std::size_t>(n)] = on;
    for (const int count : {0, 1, 31, 32, 33, 63, 64, 65, size, draw(size)}) {
      const int expected = first_with(truths, false, count);
      ASSERT_EQ(set.first_missing(count), expected) << "count " << count << ", step " << step;
      (expected < 0 ? full_found : missing_found) += 1;
    }
    ASSERT_EQ(set.first(), first_with(truths, true, size));
    ASSERT_EQ(set.any(), set.first() >= 0);
    ASSERT_EQ(set.has(n), on);
  }
  EXPECT_GT(missing_found, 500);
  EXPECT_GT(full_found, 500);
}

TEST(BitSet, FillsFromZeroUpAndEmpties) {
  for (int count = 0; count <= size; ++count) {
    fw::BitSet<size> set{};
    set.fill(count);
    EXPECT_EQ(set.first_missing(size), count < size ? count : -1);
    EXPECT_EQ(set.first_missing(count), -1);
    set.empty();
    EXPECT_FALSE(set.any());
  }
}

}  // namespace
