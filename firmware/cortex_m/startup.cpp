// Reset of the emulated Cortex-M4F: floating-point unit on, .data copied, .bss cleared, then the image. There are no
// constructors of statics to run (the linker script refuses them). Any fault ends the emulation with code 3. FPSCR stays as
// it is after reset: subnormals kept, NaNs propagated.
#include <cstdint>

#include "firmware/cortex_m/semihosting.h"

extern "C" {

extern std::uint32_t stack_top;
extern std::uint32_t data_load, data_begin, data_end, bss_begin, bss_end;

int run_image();

[[noreturn]] void fault() {
  fw::semihosting::exit(3);
}

[[noreturn]] void reset() {
  // Coprocessors 10 and 11, full access (ARMv7-M ARM, B3.2.20 CPACR).
  auto* const coprocessor_access = reinterpret_cast<volatile std::uint32_t*>(0xE000ED88u);
  *coprocessor_access = *coprocessor_access | (0xFu << 20);
  __asm volatile("dsb\n isb" ::: "memory");

  const std::uint32_t* from = &data_load;
  for (std::uint32_t* to = &data_begin; to < &data_end; ++to) *to = *from++;
  for (std::uint32_t* to = &bss_begin; to < &bss_end; ++to) *to = 0;
  fw::semihosting::exit(run_image());
}

// Initial stack, reset, then the thirteen faults and system exceptions an image without interrupts can take.
struct VectorTable {
  std::uint32_t* stack;
  void (*handlers[15])();
};
extern const VectorTable vector_table;
__attribute__((section(".vectors"), used)) const VectorTable vector_table = {
    &stack_top,
    {reset, fault, fault, fault, fault, fault, nullptr, nullptr, nullptr, nullptr, fault, fault, nullptr, fault, fault}};

}  // extern "C"
