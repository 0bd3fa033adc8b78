// On the emulated processor; only with the cmake option SAGGAR_EMULATOR.
#include <cerrno>

#include <sys/wait.h>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "sim/endpoint.h"
#include "tests/checkout.h"
#include "tests/sim/short_run.h"

namespace {

using testing::HasSubstr;

sim::EndpointSettings emulated(const std::string& image = std::string(build_folder) + "/firmware/cortex_m/saggar_core.elf") {
  sim::EndpointSettings settings;
  settings.kind = "emulated";
  settings.image = image;
  return settings;
}

std::vector<std::uint8_t> blank_store() { return std::vector<std::uint8_t>(fw::store_image_bytes, 0xFF); }

// The first hour of the cycle: evacuations, leak test, purge, first heat; and a line that loses, damages and delays.
TEST(EmulatedCore, SendsTheBytesOfTheHostCore) {
  const sim::Scenario scenario = sim_test::disturbed_run(3600);
  const sim_test::Hashes host = sim_test::run(scenario, "host");
  sim::Bench bench(scenario, sim::open_endpoint(emulated()));
  while (bench.advance()) {
  }
  EXPECT_EQ(bench.ticks(), host.ticks);
  EXPECT_EQ(bench.controller_hash(), host.controller);
  EXPECT_EQ(bench.trace_hash(), host.trace);
}

TEST(EmulatedCore, IsComparedWithTheHostTickByTick) {
  sim::EndpointSettings settings = emulated();
  settings.kind = "both";
  const sim::Scenario scenario = sim_test::disturbed_run(300);
  sim::Bench bench(scenario, sim::open_endpoint(settings));
  while (bench.advance()) {
  }
  EXPECT_EQ(bench.controller_hash(), sim_test::run(scenario, "host").controller);
}

TEST(EmulatedCore, LeavesWhenItsInputIsClosed) {
  {
    const auto endpoint = sim::open_endpoint(emulated());
    endpoint->start(blank_store(), fw::ResetCause::power_on, 0);
  }
  errno = 0;
  EXPECT_EQ(waitpid(-1, nullptr, WNOHANG), -1);
  EXPECT_EQ(errno, ECHILD);
}

TEST(EmulatedCore, StartsAgainFromAnotherStore) {
  const auto endpoint = sim::open_endpoint(emulated());
  const auto host = sim_test::endpoint("host");
  sim::TickOut out, host_out;
  for (int start = 0; start < 2; ++start) {
    std::vector<std::uint8_t> store = blank_store();
    store[64] = static_cast<std::uint8_t>(start);  // a damaged page is counted
    endpoint->start(store, fw::ResetCause::brown_out, 5);
    host->start(store, fw::ResetCause::brown_out, 5);
    endpoint->tick({}, out);
    host->tick({}, host_out);
    ASSERT_EQ(out.field_size, host_out.field_size);
    EXPECT_TRUE(std::equal(out.field.begin(), out.field.begin() + out.field_size, host_out.field.begin()));
  }
}

TEST(EmulatedCore, SaysWhatTheEmulatorSaysOfAFileThatIsNoImage) {
  sim::EndpointSettings settings = emulated(std::string(source_folder) + "/CMakeLists.txt");
  settings.timeout_ms = 3000;
  try {
    const auto endpoint = sim::open_endpoint(settings);
    endpoint->start(blank_store(), fw::ResetCause::power_on, 0);
    FAIL() << "started something that is no image";
  } catch (const sim::EndpointError& error) {
    EXPECT_THAT(error.what(), HasSubstr("qemu-system-arm"));
  }
}

}  // namespace
