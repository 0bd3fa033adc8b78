#include "sim/tape.h"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <memory>
#include <random>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace {

using sim::TapeError;
using sim::TapeHeader;
using sim::TapeReader;
using sim::TapeTick;
using sim::TapeWriter;
using sim::TickIn;
using sim::TickOut;

class Tape : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = std::filesystem::temp_directory_path() / ("saggar_tape_" + std::to_string(getpid()));
    std::filesystem::create_directories(folder_);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path path(const char* name = "tape") const { return folder_ / name; }

  std::filesystem::path folder_;
};

TapeHeader header() {
  TapeHeader made;
  made.scenario = "dry \"run\"";
  made.saggar = "0.1.0";
  made.controller = "host";
  made.seed = 0xFEDCBA9876543210u;
  made.period_ns = 100'000'000;
  made.reset_cause = fw::ResetCause::brown_out;
  made.outage_s = 12;
  made.store_image.assign(fw::store_image_bytes, 0xFF);
  for (std::size_t at = 0; at < 300; ++at) made.store_image[at * 7] = static_cast<std::uint8_t>(at);
  return made;
}

// Ticks whose sizes, bytes and times all vary.
struct Made {
  std::vector<std::uint8_t> field, supervisory;
  TickIn in;
  TickOut out;
};

std::vector<Made> various_ticks(std::size_t count) {
  std::mt19937 random(7);
  const auto below = [&random](std::uint32_t limit) { return static_cast<std::uint32_t>(random() % limit); };
  std::vector<Made> ticks(count);
  std::uint64_t now_us = 0;
  for (Made& tick : ticks) {
    tick.field.resize(below(4) == 0 ? below(1025) : 113);
    tick.supervisory.resize(below(9) == 0 ? below(513) : 8);
    tick.out.field_size = below(10) == 0 ? below(257) : 49;
    tick.out.supervisory_size = below(10) == 0 ? below(257) : 125;
    tick.out.store_size = below(20) == 0 ? 64 : 0;
    tick.out.store_offset = tick.out.store_size == 0 ? 0 : 64 * below(1000);
    tick.out.latched = below(50) == 0;
    for (auto& byte : tick.field) byte = static_cast<std::uint8_t>(below(3) == 0 ? below(256) : 17);
    for (auto& byte : tick.supervisory) byte = static_cast<std::uint8_t>(below(256));
    for (auto& byte : tick.out.field) byte = static_cast<std::uint8_t>(below(256));
    for (auto& byte : tick.out.supervisory) byte = static_cast<std::uint8_t>(below(2));
    for (auto& byte : tick.out.store) byte = static_cast<std::uint8_t>(below(256));
    now_us += 100'000 + below(2);
    tick.in.now_us = now_us;
    tick.in.field = tick.field;
    tick.in.supervisory = tick.supervisory;
    tick.in.field_arrival_us = tick.field.empty() ? 0 : now_us - below(100'000);
    tick.in.supervisory_arrival_us = tick.supervisory.empty() ? 0 : now_us - below(100'000);
  }
  return ticks;
}

std::vector<std::uint8_t> part(std::span<const std::uint8_t> bytes, std::size_t size) {
  const auto first = bytes.first(size);
  return {first.begin(), first.end()};
}

void expect_same(const TapeTick& read, const Made& made) {
  EXPECT_EQ(read.in.now_us, made.in.now_us);
  EXPECT_EQ(part(read.in.field, read.in.field.size()), made.field);
  EXPECT_EQ(part(read.in.supervisory, read.in.supervisory.size()), made.supervisory);
  EXPECT_EQ(read.in.field_arrival_us, made.in.field_arrival_us);
  EXPECT_EQ(read.in.supervisory_arrival_us, made.in.supervisory_arrival_us);
  EXPECT_EQ(read.out.latched, made.out.latched);
  EXPECT_EQ(read.out.store_offset, made.out.store_offset);
  ASSERT_EQ(read.out.field_size, made.out.field_size);
  ASSERT_EQ(read.out.supervisory_size, made.out.supervisory_size);
  ASSERT_EQ(read.out.store_size, made.out.store_size);
  EXPECT_EQ(part(read.out.field, read.out.field_size), part(made.out.field, made.out.field_size));
  EXPECT_EQ(part(read.out.supervisory, read.out.supervisory_size), part(made.out.supervisory, made.out.supervisory_size));
  EXPECT_EQ(part(read.out.store, read.out.store_size), part(made.out.store, made.out.store_size));
}

TEST_F(Tape, GivesBackEveryTickAndTheHeader) {
  const auto ticks = various_ticks(5000);  // over a block of the file
  {
    TapeWriter writer(path(), header());
    for (const Made& tick : ticks) writer.add(tick.in, tick.out);
    EXPECT_GT(writer.bytes(), std::uint64_t{1} << 20);
    writer.finish(0x0123456789ABCDEFu);
    EXPECT_EQ(writer.bytes(), std::filesystem::file_size(path()));
  }
  TapeReader reader(path());
  EXPECT_EQ(reader.header().scenario, header().scenario);
  EXPECT_EQ(reader.header().saggar, "0.1.0");
  EXPECT_EQ(reader.header().seed, header().seed);
  EXPECT_EQ(reader.header().period_ns, 100'000'000);
  EXPECT_EQ(reader.header().reset_cause, fw::ResetCause::brown_out);
  EXPECT_EQ(reader.header().outage_s, 12u);
  EXPECT_EQ(reader.header().store_image, header().store_image);
  EXPECT_EQ(reader.ticks(), ticks.size());
  EXPECT_EQ(reader.controller_hash(), 0x0123456789ABCDEFu);
  TapeTick read;
  for (const Made& tick : ticks) {
    ASSERT_TRUE(reader.next(read));
    expect_same(read, tick);
  }
  EXPECT_FALSE(reader.next(read));
}

TEST_F(Tape, TakesAFewBytesForATickLikeTheOneBefore) {
  const auto ticks = various_ticks(1);
  TapeWriter writer(path(), header());
  TickIn in = ticks[0].in;
  writer.add(in, ticks[0].out);
  const std::uint64_t before = writer.bytes();
  for (int tick = 0; tick < 1000; ++tick) {
    in.now_us += 100'000;
    in.field_arrival_us += 100'000;
    in.supervisory_arrival_us += 100'000;
    writer.add(in, ticks[0].out);
  }
  // One byte for every eight words of some 300 bytes, when nothing has changed but the count of ticks.
  EXPECT_LT(static_cast<double>(writer.bytes() - before) / 1000.0, 10.0);
}

TEST_F(Tape, IsNotThereUnlessItIsFinished) {
  {
    TapeWriter writer(path(), header());
    for (const Made& tick : various_ticks(100)) writer.add(tick.in, tick.out);
    EXPECT_FALSE(std::filesystem::exists(path()));
  }
  EXPECT_TRUE(std::filesystem::is_empty(folder_));
}

// A named pipe in the place of the partial file: as long as nobody reads it, a block of the tape is on its way.
struct Pipe {
  explicit Pipe(const std::filesystem::path& path) {
    if (mkfifo(path.c_str(), 0600) == 0) reads = open(path.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    target = path;
  }
  ~Pipe() { close(reads); }
  Pipe(const Pipe&) = delete;
  Pipe& operator=(const Pipe&) = delete;

  int waiting() const {
    int bytes = 0;
    return ioctl(reads, FIONREAD, &bytes) == 0 ? bytes : -1;
  }
  // The other descriptor of it, -1: shut.
  int writer() const {
    for (const auto& entry : std::filesystem::directory_iterator("/proc/self/fd")) {
      const int file = std::stoi(entry.path().filename());
      std::error_code gone;
      if (file != reads && std::filesystem::read_symlink(entry.path(), gone) == target) return file;
    }
    return -1;
  }
  void empty_until(const std::atomic<bool>& done) const {
    std::array<char, 65536> bytes{};
    while (!done) {
      if (read(reads, bytes.data(), bytes.size()) <= 0) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
  }

  std::filesystem::path target;
  int reads = -1;
};

// A write that waits for the pipe takes no more once this has come: the writer goes on with the rest by another one.
struct Interruption {
  Interruption() {
    struct sigaction nothing = {};
    nothing.sa_handler = [](int) {};
    sigaction(SIGUSR1, &nothing, &before);
  }
  ~Interruption() { sigaction(SIGUSR1, &before, nullptr); }
  Interruption(const Interruption&) = delete;
  Interruption& operator=(const Interruption&) = delete;

  // Not of this thread and those it begins from now on.
  static void of_others() {
    sigset_t one;
    sigemptyset(&one);
    sigaddset(&one, SIGUSR1);
    pthread_sigmask(SIG_BLOCK, &one, nullptr);
  }

  struct sigaction before = {};
};

// Given up while a block is on its way, it must not shut the file under it: the rest would go into what is opened next.
TEST_F(Tape, GivenUpWritesIntoNoOtherFile) {
  const Interruption interruption;
  const Pipe pipe(path("tape.partial"));
  ASSERT_GE(pipe.reads, 0);
  auto writer = std::make_unique<TapeWriter>(path(), header());
  const int file = pipe.writer();
  ASSERT_GE(file, 0);
  Interruption::of_others();
  // Up to little below a block, all of it kept; then a batch that goes over it, of which the pipe takes 64 KiB.
  const auto ticks = various_ticks(8000);
  std::size_t i = 0;
  while (i % 50 != 0 || writer->bytes() < (std::uint64_t{1} << 20) - 65536) {
    ASSERT_LT(i + 2500, ticks.size());
    writer->add(ticks[i].in, ticks[i].out);
    ++i;
  }
  for (const std::size_t end = i + 2500; i < end; ++i) writer->add(ticks[i].in, ticks[i].out);
  for (int waits = 0; waits < 10000 && pipe.waiting() < 65536; ++waits) std::this_thread::sleep_for(std::chrono::milliseconds(1));
  ASSERT_EQ(pipe.waiting(), 65536);

  std::atomic<bool> gone = false;
  std::thread reader([&] {
    const auto shut = [&] { return fcntl(file, F_GETFD) < 0; };
    for (int waits = 0; waits < 200 && !shut(); ++waits) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    if (shut()) {                           // before its time: somebody else's file takes the number
      const int other = open(path("other").c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
      if (other != file) dup2(other, file);
      kill(getpid(), SIGUSR1);
    }
    pipe.empty_until(gone);
  });
  writer.reset();
  gone = true;
  reader.join();
  if (!std::filesystem::exists(path("other"))) std::ofstream(path("other")) << "";
  EXPECT_EQ(std::filesystem::file_size(path("other")), 0u);
  EXPECT_FALSE(std::filesystem::exists(path("tape.partial")));
}

TEST_F(Tape, SaysWhenItCannotBeWritten) {
  try {
    TapeWriter writer(folder_ / "no_such_folder" / "tape", header());
    FAIL() << "opened a tape in a folder that does not exist";
  } catch (const TapeError& error) {
    EXPECT_THAT(error.what(), testing::HasSubstr("no_such_folder/tape"));
  }
}

TEST_F(Tape, IsRefusedWhenOneBitIsDamagedOrItsEndIsMissing) {
  {
    TapeWriter writer(path(), header());
    for (const Made& tick : various_ticks(200)) writer.add(tick.in, tick.out);
    writer.finish(1);
  }
  const auto size = std::filesystem::file_size(path());
  for (const std::uint64_t at : {std::uint64_t{0}, std::uint64_t{9}, std::uint64_t{40}, size / 2, size - 20, size - 1}) {
    std::filesystem::copy_file(path(), path("damaged"), std::filesystem::copy_options::overwrite_existing);
    std::fstream file(path("damaged"), std::ios::in | std::ios::out | std::ios::binary);
    file.seekg(static_cast<std::streamoff>(at));
    const char byte = static_cast<char>(file.get() ^ 4);
    file.seekp(static_cast<std::streamoff>(at));
    file.put(byte);
    file.close();
    EXPECT_THROW(TapeReader reader(path("damaged")), TapeError) << "byte " << at;
  }
  for (const std::uint64_t left : {std::uint64_t{0}, std::uint64_t{20}, size / 2, size - 1}) {
    std::filesystem::copy_file(path(), path("short"), std::filesystem::copy_options::overwrite_existing);
    std::filesystem::resize_file(path("short"), left);
    EXPECT_THROW(TapeReader reader(path("short")), TapeError) << left << " bytes";
  }
  EXPECT_THROW(TapeReader reader(path("missing")), TapeError);
}

}  // namespace
