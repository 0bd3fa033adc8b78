// A control core from a shared library in a process of its own: lockstep frames on standard input and output. Exit code 7 at
// the end of the stream, 4 if the host breaks the protocol, 2 if the library cannot be loaded.
#include <cstdio>
#include <vector>

#include <sys/socket.h>
#include <unistd.h>

#include "firmware/cortex_m/lockstep.h"
#include "sim/endpoint.h"
#include "sim/library_core.h"

namespace {

struct StandardStreams {
  std::size_t read(std::uint8_t* to, std::size_t capacity) const {
    const ssize_t got = ::read(STDIN_FILENO, to, capacity);
    return got > 0 ? static_cast<std::size_t>(got) : 0;
  }
  bool write(const std::uint8_t* from, std::size_t size) const {
    while (size > 0) {
      const ssize_t written = ::write(STDOUT_FILENO, from, size);
      if (written <= 0) return false;
      from += written;
      size -= static_cast<std::size_t>(written);
    }
    return true;
  }
};

class Core {
 public:
  explicit Core(const char* path) : core_(path), image_(fw::store_image_bytes) {}
  std::span<std::uint8_t> store_area() { return image_; }
  void start(std::span<const std::uint8_t> image, fw::ResetCause cause, std::uint32_t outage_s) {
    core_.start(core_.state(), image.data(), image.size(), static_cast<std::uint8_t>(cause), outage_s);
  }
  void receive(fw::Port port, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us) {
    core_.receive(core_.state(), static_cast<std::uint8_t>(port), bytes.data(), bytes.size(), arrival_us);
  }
  void step(std::uint64_t now_us) { core_.step(core_.state(), now_us); }
  std::size_t transmit(fw::Port port, std::span<std::uint8_t> buffer) {
    return core_.transmit(core_.state(), static_cast<std::uint8_t>(port), buffer.data(), buffer.size());
  }
  fw::StoreWrite store(std::span<std::uint8_t> buffer) {
    fw::StoreWrite write;
    write.size = static_cast<std::uint32_t>(core_.store(core_.state(), &write.offset, buffer.data(), buffer.size()));
    return write;
  }
  bool latched() const { return core_.latched(core_.state()) != 0; }

 private:
  sim::LibraryCore core_;
  std::vector<std::uint8_t> image_;
};

}  // namespace

int main(int count, char** arguments) {
  if (count != 2) {
    std::fputs("usage: saggar_core_process LIBRARY (started by the bench, not by hand)\n", stderr);
    return 2;
  }
  try {
    StandardStreams streams;
    Core core(arguments[1]);
    fw::lockstep::Server<StandardStreams, Core> server(streams, core);
    return server.serve() ? 7 : 4;
  } catch (const sim::EndpointError& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 2;
  }
}
