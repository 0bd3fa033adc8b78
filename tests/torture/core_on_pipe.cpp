// The core alone as a host program: lockstep frames in, lockstep frames out, as the image on the emulated processor has them
// (firmware/cortex_m/lockstep.h). Links nothing but the firmware, so any compiler can build it.
#include <cstdio>

#include <unistd.h>

#include "firmware/controller.h"
#include "firmware/controller_state.h"
#include "firmware/cortex_m/lockstep.h"

namespace {

fw::Controller controller;
std::uint8_t store_bytes[fw::store_image_bytes];

struct Console {
  std::size_t read(std::uint8_t* to, std::size_t capacity) const {
    const ssize_t got = ::read(STDIN_FILENO, to, capacity);
    return got > 0 ? static_cast<std::size_t>(got) : 0;
  }
  bool write(const std::uint8_t* from, std::size_t size) const { return std::fwrite(from, 1, size, stdout) == size; }
};

struct Core {
  std::span<std::uint8_t> store_area() const { return store_bytes; }
  void start(std::span<const std::uint8_t> image, fw::ResetCause cause, std::uint32_t outage_s) const {
    fw::start(controller, image, cause, outage_s);
  }
  void receive(fw::Port port, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us) const {
    fw::receive(controller, port, bytes, arrival_us);
  }
  void step(std::uint64_t now_us) const { fw::step(controller, now_us); }
  std::size_t transmit(fw::Port port, std::span<std::uint8_t> buffer) const { return fw::transmit(controller, port, buffer); }
  fw::StoreWrite store(std::span<std::uint8_t> buffer) const { return fw::store(controller, buffer); }
  bool latched() const { return controller.latch.line != 0; }
};

}  // namespace

int main() {
  static Console console;
  static Core core;
  static fw::lockstep::Server<Console, Core> server(console, core);
  return server.serve() && std::fflush(stdout) == 0 ? 7 : 4;
}
