// Semihosting of the ARM emulator (Arm, "Semihosting for AArch32 and AArch64", 2.0): the target's only way to the host. The
// console name ":tt" is the emulator's standard input or output.
#pragma once

#include <cstddef>
#include <cstdint>

namespace fw::semihosting {

inline std::uint32_t call(std::uint32_t operation, const void* block) {
  register std::uint32_t r0 __asm("r0") = operation;
  register const void* r1 __asm("r1") = block;
  __asm volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
  return r0;
}

enum class Mode : std::uint32_t { read = 1, write = 5 };  // "rb" and "wb"

inline std::uint32_t open_console(Mode mode) {
  const struct { const char* name; std::uint32_t mode, length; } block{":tt", static_cast<std::uint32_t>(mode), 3};
  return call(0x01, &block);
}

// Bytes read; 0 at the end of the stream.
inline std::size_t read(std::uint32_t handle, std::uint8_t* to, std::size_t capacity) {
  const struct { std::uint32_t handle; std::uint8_t* to; std::size_t size; } block{handle, to, capacity};
  const std::size_t missing = call(0x06, &block);
  return missing > capacity ? 0 : capacity - missing;
}

// True if all bytes went out.
inline bool write(std::uint32_t handle, const std::uint8_t* from, std::size_t size) {
  const struct { std::uint32_t handle; const std::uint8_t* from; std::size_t size; } block{handle, from, size};
  return call(0x05, &block) == 0;
}

// Ends the emulation; the emulator exits with this code.
[[noreturn]] inline void exit(int code) {
  const struct { std::uint32_t reason, code; } block{0x20026, static_cast<std::uint32_t>(code)};
  while (true) call(0x20, &block);
}

}  // namespace fw::semihosting
