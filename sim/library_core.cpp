#include "sim/library_core.h"

#include <cstdlib>
#include <cstring>
#include <filesystem>

#include <dlfcn.h>
#include <fmt/format.h>

#include "sim/endpoint.h"

namespace sim {

namespace {

constexpr std::size_t state_alignment = 16;
constexpr std::size_t state_bytes_max = std::size_t{1} << 20;  // anything larger is no core of ours

template <typename Function>
void resolve(void* handle, const std::string& path, const char* name, Function& function) {
  void* const symbol = dlsym(handle, name);
  if (symbol == nullptr) throw EndpointError(fmt::format("{}: not a control core: it has no function {}", path, name));
  static_assert(sizeof function == sizeof symbol);
  std::memcpy(&function, &symbol, sizeof symbol);
}

}  // namespace

void LibraryCore::Close::operator()(void* handle) const { dlclose(handle); }
void LibraryCore::Free::operator()(std::uint8_t* bytes) const { std::free(bytes); }

LibraryCore::LibraryCore(const std::string& path) {
  // With a slash the loader takes it as a path; without, it would search the system's libraries.
  const std::string file = std::filesystem::absolute(path).string();
  handle_.reset(dlopen(file.c_str(), RTLD_NOW | RTLD_LOCAL));
  if (!handle_) {
    const char* const reason = dlerror();
    throw EndpointError(fmt::format("cannot load the control core: {}", reason != nullptr ? reason : file.c_str()));
  }
  decltype(&saggar_core_abi) abi = nullptr;
  decltype(&saggar_core_size) size = nullptr;
  resolve(handle_.get(), path, "saggar_core_abi", abi);
  if (abi() != SAGGAR_CORE_ABI)
    throw EndpointError(fmt::format("{}: control core speaks ABI {}, expected {}", path, abi(), SAGGAR_CORE_ABI));
  resolve(handle_.get(), path, "saggar_core_size", size);
  resolve(handle_.get(), path, "saggar_core_start", start);
  resolve(handle_.get(), path, "saggar_core_receive", receive);
  resolve(handle_.get(), path, "saggar_core_step", step);
  resolve(handle_.get(), path, "saggar_core_transmit", transmit);
  resolve(handle_.get(), path, "saggar_core_store", store);
  resolve(handle_.get(), path, "saggar_core_latched", latched);

  const std::size_t bytes = size();
  if (bytes == 0 || bytes > state_bytes_max)
    throw EndpointError(fmt::format("{}: control core claims {} bytes of state, expected 1 to {}", path, bytes, state_bytes_max));
  const std::size_t rounded = (bytes + state_alignment - 1) / state_alignment * state_alignment;
  state_.reset(static_cast<std::uint8_t*>(std::aligned_alloc(state_alignment, rounded)));
  if (!state_) throw EndpointError(fmt::format("{}: no memory for {} bytes of state", path, bytes));
  std::memset(state_.get(), 0, rounded);
}

}  // namespace sim
