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

#ifdef FW_COUNT_INSTRUCTIONS
// Instructions between construction and destruction, by the emulated SysTick: it ticks every 40 ns, and with -icount shift=6 an
// instruction lasts 64 ns. 24 bits, counting down.
std::uint32_t counted_ticks = 0;
struct Count {
  static std::uint32_t now() { return *reinterpret_cast<volatile std::uint32_t*>(0xE000E018u); }
  std::uint32_t begin;
  Count() {
    *reinterpret_cast<volatile std::uint32_t*>(0xE000E014u) = 0xFFFFFFu;   // reload
    *reinterpret_cast<volatile std::uint32_t*>(0xE000E010u) = 5;           // on, processor's clock, no interrupt
    begin = now();
  }
  ~Count() { counted_ticks += (begin - now()) & 0xFFFFFFu; }
};
#else
struct Count {
  Count() {}   // a constructor, or the variable would count as unused
};
#endif

struct Core {
#ifdef FW_COUNT_INSTRUCTIONS
  std::uint32_t cost() const {
    const std::uint32_t fours = (counted_ticks * 40u / 64u + 3u) / 4u;
    counted_ticks = 0;
    return fours;
  }
#endif
  std::span<std::uint8_t> store_area() const { return {store_begin, fw::store_image_bytes}; }
  void start(std::span<const std::uint8_t> image, fw::ResetCause cause, std::uint32_t outage_s) const {
    fw::start(controller, image, cause, outage_s);
  }
  void receive(fw::Port port, std::span<const std::uint8_t> bytes, std::uint64_t arrival_us) const {
    const Count count;
    fw::receive(controller, port, bytes, arrival_us);
  }
  void step(std::uint64_t now_us) const {
    const Count count;
    fw::step(controller, now_us);
  }
  std::size_t transmit(fw::Port port, std::span<std::uint8_t> buffer) const {
    const Count count;
    return fw::transmit(controller, port, buffer);
  }
  fw::StoreWrite store(std::span<std::uint8_t> buffer) const {
    const Count count;
    return fw::store(controller, buffer);
  }
  bool latched() const { return controller.latch.line != 0; }
};

}  // namespace

extern "C" int run_image() {
  static Console console;
  static Core core;
  static fw::lockstep::Server<Console, Core> server(console, core);
  return server.serve() ? 7 : 4;
}
