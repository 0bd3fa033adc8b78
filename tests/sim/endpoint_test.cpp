#include "sim/endpoint.h"

#include <cerrno>

#include <dlfcn.h>
#include <sched.h>
#include <sys/wait.h>
#include <unistd.h>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/checkout.h"
#include "tests/sim/short_run.h"

namespace {

using sim::EndpointError;
using sim::EndpointSettings;
using testing::AllOf;
using testing::HasSubstr;

const std::string library = std::string(build_folder) + "/firmware/libsaggar_core.so";
const std::string process = std::string(build_folder) + "/sim/saggar_core_process";

// What opening and starting such an endpoint says; empty if it goes well.
std::string complaint(const EndpointSettings& settings) {
  try {
    const auto endpoint = sim::open_endpoint(settings);
    endpoint->start(std::vector<std::uint8_t>(fw::store_image_bytes, 0xFF), fw::ResetCause::power_on, 0);
  } catch (const EndpointError& error) {
    return error.what();
  }
  return "";
}

std::string complaint(const std::string& kind, int timeout_ms = 10'000) {
  EndpointSettings settings;
  settings.kind = kind;
  settings.timeout_ms = timeout_ms;
  return complaint(settings);
}

// Equal because the bytes are: each runs the same sources, in another place. An independent core would show in the hash.
TEST(Endpoint, GivesTheSameBytesFromHostLibraryAndSeparateProcess) {
  const sim::Scenario scenario = sim_test::disturbed_run(600);
  const sim_test::Hashes host = sim_test::run(scenario, "host");
  EXPECT_EQ(host.ticks, 6000u);
  EXPECT_EQ(sim_test::run(scenario, "library:" + library), host);
  EXPECT_EQ(sim_test::run(scenario, "process:" + process + " " + library), host);
}

// A far side is started anew as the host's core is: the same bytes through an outage, resets and a damaged store.
int processors_allowed() {
  cpu_set_t allowed;
  return sched_getaffinity(0, sizeof allowed, &allowed) == 0 ? CPU_COUNT(&allowed) : 0;
}

// Wherever there is more than one; a machine of one processor sees that nothing changes.
TEST(Endpoint, OfASeparateProcessHoldsOneProcessorAsLongAsItLives) {
  const int before = processors_allowed();
  ASSERT_GE(before, 1);
  {
    const auto first = sim_test::endpoint("process:" + process + " " + library);
    EXPECT_EQ(processors_allowed(), 1);
    const auto second = sim_test::endpoint("process:" + process + " " + library);
    EXPECT_EQ(processors_allowed(), 1);
  }
  EXPECT_EQ(processors_allowed(), before);
  EXPECT_NE(complaint("process:/no/such/program library.so"), "");
  EXPECT_EQ(processors_allowed(), before) << "one that never came up";
}

TEST(Endpoint, StartsAnewWhereverTheCoreStands) {
  const sim::Scenario scenario = sim_test::unpowered_run(120);
  const sim_test::Hashes host = sim_test::run(scenario, "host");
  EXPECT_NE(host, sim_test::run(sim_test::short_run(120), "host"));
  EXPECT_EQ(sim_test::run(scenario, "library:" + library), host);
  EXPECT_EQ(sim_test::run(scenario, "process:" + process + " " + library), host);
}

TEST(Endpoint, SaysWhichLibraryItCannotLoadAndWhy) {
  EXPECT_THAT(complaint("library:/no/such/core.so"), AllOf(HasSubstr("/no/such/core.so"), HasSubstr("No such file")));
  Dl_info c_library{};
  ASSERT_NE(dladdr(reinterpret_cast<void*>(&getpid), &c_library), 0);
  EXPECT_THAT(complaint(std::string("library:") + c_library.dli_fname), HasSubstr("no function saggar_core_abi"));
  EXPECT_THAT(complaint(std::string("library:") + build_folder + "/tests/libcore_of_another_abi.so"),
              HasSubstr("speaks ABI 999, expected 1"));
}

TEST(Endpoint, SaysWhatIsWrongWithASeparateProcess) {
  EXPECT_THAT(complaint("process:/no/such/program library.so"),
              AllOf(HasSubstr("cannot start /no/such/program"), HasSubstr("No such file")));
  EXPECT_THAT(complaint("process:/no/such/program"), HasSubstr("library is missing"));
  EXPECT_THAT(complaint("process:" + process + " /no/such/core.so"),
              AllOf(HasSubstr("saggar_core_process"), HasSubstr("/no/such/core.so")));
  EXPECT_THAT(complaint("process:/bin/echo " + std::string(40, 'x')), HasSubstr("/bin/echo"));
}

TEST(Endpoint, GivesUpOnAFarSideThatIsSilent) {
  EXPECT_THAT(complaint("process:/bin/sleep 60", 200), HasSubstr("/bin/sleep has not"));
  errno = 0;
  EXPECT_EQ(waitpid(-1, nullptr, WNOHANG), -1);  // killed and collected
  EXPECT_EQ(errno, ECHILD);
}

TEST(Endpoint, SaysWhenEmulatorOrImageIsMissing) {
  EndpointSettings settings;
  settings.kind = "emulated";
  settings.image = library;  // any file will do: the emulator is looked for first
  settings.emulator = "no-such-emulator";
  EXPECT_THAT(complaint(settings), HasSubstr("cannot start no-such-emulator: No such file"));
  settings.image = "/no/such/image.elf";
  EXPECT_THAT(complaint(settings), HasSubstr("image for the emulated processor is missing: /no/such/image.elf"));
}

TEST(Endpoint, RefusesAnUnknownKind) {
  EXPECT_THAT(complaint("hots"), AllOf(HasSubstr("\"hots\""), HasSubstr("expected host, emulated, both or library:PATH")));
}

}  // namespace
