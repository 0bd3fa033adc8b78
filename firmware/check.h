// FW_CHECK: a programmer's mistake, kept in release. It never ends the program: it latches the core's safe outputs for ever
// and lets the caller leave. The latch is part of fw::Controller and handed in, so that two cores in one process are apart.
#pragma once

#include <cstdint>

namespace fw {

struct CheckLatch {
  std::uint32_t line = 0;   // of the first check that failed; 0: none
};

inline bool check_failed(CheckLatch& latch, std::uint32_t line) {
  if (latch.line == 0) latch.line = line;
  return false;
}

}  // namespace fw

// True if the condition holds; otherwise latches and is false, and the caller must leave without using what it checked.
#define FW_CHECK(latch, condition) ((condition) || ::fw::check_failed((latch), __LINE__))
