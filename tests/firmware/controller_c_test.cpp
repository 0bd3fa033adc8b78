// The C face gives the same bytes as the functions behind it, and is total.
#include "firmware/controller_c.h"

#include <gtest/gtest.h>

#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

struct CoreStorage {
  std::size_t size = saggar_core_size();
  std::unique_ptr<std::byte[]> raw = std::make_unique<std::byte[]>(size + 16);
  saggar_core* core() {
    const auto at = reinterpret_cast<std::uintptr_t>(raw.get());
    return reinterpret_cast<saggar_core*>((at + 15) / 16 * 16);
  }
};

TEST(ControllerC, TransmitsWhatTheFunctionsBehindItTransmit) {
  EXPECT_EQ(saggar_core_abi(), SAGGAR_CORE_ABI);
  EXPECT_LE(saggar_core_size(), std::size_t{64 * 1024});
  const Bytes image = store_of(in_argon(), {evacuate(15.0f), end()});
  CoreStorage storage;
  auto direct = std::make_unique<fw::Controller>();
  saggar_core_start(storage.core(), image.data(), image.size(), 0, 0);
  fw::start(*direct, image, fw::ResetCause::power_on, 0);
  std::array<std::uint8_t, 256> a{}, b{};
  for (std::uint64_t tick = 0; tick < 50; ++tick) {
    const Bytes request = StandIn::command_request(fw::Command::start, 0, 0.0);
    saggar_core_receive(storage.core(), 1, request.data(), request.size(), tick * 100000);
    fw::receive(*direct, fw::Port::supervisory, request, tick * 100000);
    saggar_core_step(storage.core(), tick * 100000);
    fw::step(*direct, tick * 100000);
    for (const std::uint8_t port : {0, 1}) {
      const std::size_t size = saggar_core_transmit(storage.core(), port, a.data(), a.size());
      ASSERT_EQ(size, fw::transmit(*direct, static_cast<fw::Port>(port), b));
      ASSERT_GT(size, 0u);
      ASSERT_TRUE(std::equal(a.begin(), a.begin() + static_cast<std::ptrdiff_t>(size), b.begin()));
    }
    std::uint32_t offset = 0;
    const std::size_t written = saggar_core_store(storage.core(), &offset, a.data(), a.size());
    const fw::StoreWrite write = fw::store(*direct, b);
    ASSERT_EQ(written, write.size);
    ASSERT_EQ(offset, write.offset);
  }
  EXPECT_EQ(saggar_core_latched(storage.core()), 0);
}

TEST(ControllerC, TakesNoHarmFromWrongArguments) {
  CoreStorage storage;
  saggar_core_start(storage.core(), nullptr, 100, 200, 0);
  const std::uint8_t byte = 1;
  saggar_core_receive(storage.core(), 9, &byte, 1, 0);
  saggar_core_receive(storage.core(), 0, nullptr, 5, 0);
  saggar_core_step(storage.core(), 0);
  std::uint8_t small[4];
  EXPECT_EQ(saggar_core_transmit(storage.core(), 0, small, sizeof small), 0u);
  EXPECT_EQ(saggar_core_transmit(storage.core(), 7, small, sizeof small), 0u);
  EXPECT_EQ(saggar_core_transmit(storage.core(), 0, nullptr, 300), 0u);
  EXPECT_EQ(saggar_core_store(storage.core(), nullptr, small, sizeof small), 0u);
}

TEST(ControllerC, CopyOfTheStateGoesOnAlike) {
  StandIn s = started(in_argon(), {evacuate(15.0f), end()});
  s.run(30.0);
  auto copy = std::make_unique<fw::Controller>();
  std::memcpy(copy.get(), s.core.get(), sizeof *copy);
  std::array<std::uint8_t, 256> a{}, b{};
  for (std::uint64_t tick = 0; tick < 20; ++tick) {
    fw::step(*copy, (s.tick_number + tick) * 100000);
    fw::step(*s.core, (s.tick_number + tick) * 100000);
    const std::size_t size = fw::transmit(*copy, fw::Port::field, a);
    ASSERT_EQ(size, fw::transmit(*s.core, fw::Port::field, b));
    ASSERT_EQ(a, b);
  }
}

}  // namespace
