// The core on the emulated processor: lockstep frames in through the console, lockstep frames out. Ends with code 7 when the
// host closes the stream (an emulator that is killed reports 0, so 0 cannot mean a clean end), 4 when the host breaks the
// protocol.
#include <array>
#include <cstdint>
#include <span>

#include "firmware/controller.h"
#include "firmware/controller_state.h"
#include "firmware/cortex_m/lockstep.h"
#include "firmware/cortex_m/semihosting.h"

extern "C" std::uint8_t store_begin[];  // linker script: the memory that stands for the parameter store

namespace {

// Raw, because fw::start makes the controller there: a static with initial values would cost its size in flash again.
alignas(fw::Controller) std::uint8_t controller_bytes[sizeof(fw::Controller)];
fw::Controller& controller = reinterpret_cast<fw::Controller&>(controller_bytes);

struct Console {
  std::uint32_t in = fw::semihosting::open_console(fw::semihosting::Mode::read);
  std::uint32_t out = fw::semihosting::open_console(fw::semihosting::Mode::write);
  std::size_t read(std::uint8_t* to, std::size_t capacity) const { return fw::semihosting::read(in, to, capacity); }
  bool write(const std::uint8_t* from, std::size_t size) const { return fw::semihosting::write(out, from, size); }
};

struct Core {
  std::span<std::uint8_t> store_area() const { return {store_begin, fw::store_image_bytes}; }
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

extern "C" int run_image() {
  static Console console;
  static Core core;
  static fw::lockstep::Server<Console, Core> server(console, core);
  return server.serve() ? 7 : 4;
}
