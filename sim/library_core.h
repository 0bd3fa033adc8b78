// A control core in a shared library, through the C face of firmware/controller_c.h.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "firmware/controller_c.h"

namespace sim {

class LibraryCore {
 public:
  // Loads the library; throws EndpointError if it is missing, lacks a function, or speaks another ABI.
  explicit LibraryCore(const std::string& path);

  saggar_core* state() const { return reinterpret_cast<saggar_core*>(state_.get()); }

  decltype(&saggar_core_start) start = nullptr;
  decltype(&saggar_core_receive) receive = nullptr;
  decltype(&saggar_core_step) step = nullptr;
  decltype(&saggar_core_transmit) transmit = nullptr;
  decltype(&saggar_core_store) store = nullptr;
  decltype(&saggar_core_latched) latched = nullptr;

 private:
  struct Close { void operator()(void* handle) const; };
  struct Free { void operator()(std::uint8_t* bytes) const; };
  std::unique_ptr<void, Close> handle_;
  std::unique_ptr<std::uint8_t, Free> state_;
};

}  // namespace sim
