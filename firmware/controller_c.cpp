#include "firmware/controller_c.h"

#include "firmware/controller_state.h"

namespace {

fw::Controller& core_of(saggar_core* core) { return *reinterpret_cast<fw::Controller*>(core); }

bool port_of(std::uint8_t port, fw::Port& out) {
  out = static_cast<fw::Port>(port);
  return port <= static_cast<std::uint8_t>(fw::Port::supervisory);
}

fw::ResetCause cause_of(std::uint8_t cause) {
  return cause <= static_cast<std::uint8_t>(fw::ResetCause::commanded) ? static_cast<fw::ResetCause>(cause)
                                                                       : fw::ResetCause::power_on;
}

}  // namespace

static_assert(alignof(fw::Controller) <= 16);

extern "C" {

uint32_t saggar_core_abi(void) { return SAGGAR_CORE_ABI; }

size_t saggar_core_size(void) { return sizeof(fw::Controller); }

void saggar_core_start(saggar_core* core, const uint8_t* store_image, size_t store_size, uint8_t reset_cause,
                       uint32_t outage_s) {
  const std::size_t size = store_image == nullptr ? 0 : store_size;
  fw::start(core_of(core), {store_image, size}, cause_of(reset_cause), outage_s);
}

void saggar_core_receive(saggar_core* core, uint8_t port, const uint8_t* bytes, size_t size, uint64_t arrival_us) {
  fw::Port at;
  if (port_of(port, at) && bytes != nullptr) fw::receive(core_of(core), at, {bytes, size}, arrival_us);
}

void saggar_core_step(saggar_core* core, uint64_t now_us) { fw::step(core_of(core), now_us); }

size_t saggar_core_transmit(saggar_core* core, uint8_t port, uint8_t* buffer, size_t capacity) {
  fw::Port at;
  if (!port_of(port, at) || buffer == nullptr) return 0;
  return fw::transmit(core_of(core), at, {buffer, capacity});
}

size_t saggar_core_store(saggar_core* core, uint32_t* offset, uint8_t* buffer, size_t capacity) {
  if (buffer == nullptr || offset == nullptr) return 0;
  const fw::StoreWrite write = fw::store(core_of(core), {buffer, capacity});
  *offset = write.offset;
  return write.size;
}

uint8_t saggar_core_latched(const saggar_core* core) {
  return reinterpret_cast<const fw::Controller*>(core)->latch.line != 0 ? 1 : 0;
}

}  // extern "C"
