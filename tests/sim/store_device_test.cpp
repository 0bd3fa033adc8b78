#include "sim/store_device.h"

#include <algorithm>
#include <memory>

#include <gtest/gtest.h>

#include "firmware/parameter_store.h"

namespace {

using sim::ControllerFault;
using sim::StoreDevice;

const sim::Clock clock_100ms{100'000'000};
const std::vector<std::uint8_t> page(64, 7);

StoreDevice blank() { return StoreDevice(std::vector<std::uint8_t>(1024, 0xFF), clock_100ms); }

ControllerFault store_fault(auto change) {
  ControllerFault fault;
  fault.any_store = true;
  change(fault);
  return fault;
}

std::size_t written(const StoreDevice& store) {
  return static_cast<std::size_t>(std::count(store.image().begin(), store.image().end(), std::uint8_t{7}));
}

TEST(StoreDevice, writes_whole_pages_at_once_and_refuses_what_lies_outside) {
  StoreDevice store = blank();
  EXPECT_TRUE(store.write(0, 64, page, {}));
  EXPECT_EQ(written(store), 64u);
  EXPECT_EQ(store.image()[63], 0xFF);
  EXPECT_EQ(store.image()[64], 7);
  EXPECT_FALSE(store.write(0, 961, page, {}));
  EXPECT_TRUE(store.write(0, 960, page, {}));
}

TEST(StoreDevice, loses_tears_and_flips) {
  StoreDevice store = blank();
  EXPECT_TRUE(store.write(0, 0, page, store_fault([](auto& f) { f.write_lost = true; })));
  EXPECT_EQ(written(store), 0u);
  EXPECT_TRUE(store.write(0, 0, page, store_fault([](auto& f) { f.torn_bytes = 20; })));
  EXPECT_EQ(written(store), 20u);
  EXPECT_EQ(store.image()[20], 0xFF);
  store.settle(1, store_fault([](auto& f) { f.bit_flipped = true; f.flip_byte = 3; f.flip_bit = 7; }));
  EXPECT_EQ(store.image()[3], 7 | 0x80);
}

TEST(StoreDevice, is_slow_in_order_and_loses_with_the_power_what_is_not_written_yet) {
  StoreDevice store = blank();
  const ControllerFault slow = store_fault([](auto& f) { f.write_delay_s = 0.3; });
  EXPECT_TRUE(store.write(10, 0, page, slow));
  EXPECT_TRUE(store.write(11, 64, page, {}));   // the fault has ended, but this one waits its turn
  store.settle(12, {});
  EXPECT_EQ(written(store), 0u);
  store.settle(13, {});
  EXPECT_EQ(written(store), 128u);
  EXPECT_TRUE(store.write(14, 128, page, slow));
  store.lose_pending();
  store.settle(100, {});
  EXPECT_EQ(written(store), 128u);
}

// What the core does with such a store. CRC-32 finds every single flipped bit (ISO 3309); a page cut short fails it too.
TEST(StoreDevice, leaves_damage_that_the_core_finds) {
  const fw::Parameters parameters = fw::default_parameters();
  std::vector<std::uint8_t> image(fw::store_image_bytes);
  ASSERT_NE(fw::build_store_image(parameters, {}, 0, image), 0u);
  const auto bad_pages = [](std::span<const std::uint8_t> bytes, int& parameters_bad) {
    fw::Parameters read;
    auto programmes = std::make_unique<fw::ProgrammeStore>();
    fw::Journal journal{};
    fw::StoreWriter writer{};
    return fw::load_store(bytes, read, *programmes, journal, writer, parameters_bad);
  };
  constexpr std::uint32_t first = 64 * fw::parameter_page_first;
  int parameters_bad = 0;
  ASSERT_EQ(bad_pages(image, parameters_bad), 0);
  for (std::uint32_t bit = 0; bit < 8 * 64; ++bit) {
    StoreDevice store(image, clock_100ms);
    for (const std::uint32_t slot : {first, first + 64})      // a page stands in two slots: one alone costs nothing
      store.settle(0, store_fault([&](auto& f) { f.bit_flipped = true; f.flip_byte = slot + bit / 8; f.flip_bit = bit % 8; }));
    parameters_bad = 0;
    EXPECT_GT(bad_pages(store.image(), parameters_bad), 0) << bit;
    EXPECT_GT(parameters_bad, 0) << bit;
  }
}

}  // namespace
