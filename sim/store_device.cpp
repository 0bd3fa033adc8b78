#include "sim/store_device.h"

#include <algorithm>

namespace sim {

void StoreDevice::put(std::uint32_t offset, std::span<const std::uint8_t> bytes) {
  std::copy(bytes.begin(), bytes.end(), image_.begin() + static_cast<std::ptrdiff_t>(offset));
}

bool StoreDevice::write(std::uint64_t tick, std::uint32_t offset, std::span<const std::uint8_t> bytes, const ControllerFault& fault) {
  if (bytes.size() > image_.size() || offset > image_.size() - bytes.size()) return false;
  if (fault.any_store) {
    if (fault.write_lost) return true;
    if (fault.torn_bytes >= 0) bytes = bytes.first(std::min(bytes.size(), static_cast<std::size_t>(fault.torn_bytes)));
  }
  const std::uint64_t delay = fault.any_store ? clock_.ticks(fault.write_delay_s) : 0;
  if (delay == 0 && pending_.empty()) {
    put(offset, bytes);
    return true;
  }
  // The device takes one page after the other: none overtakes.
  const std::uint64_t due = std::max(tick + delay, pending_.empty() ? 0 : pending_.back().tick);
  pending_.push_back({due, offset, {bytes.begin(), bytes.end()}});
  return true;
}

void StoreDevice::settle(std::uint64_t tick, const ControllerFault& fault) {
  const auto waits = [tick](const Pending& write) { return write.tick > tick; };
  const auto first = std::find_if(pending_.begin(), pending_.end(), waits);
  std::for_each(pending_.begin(), first, [this](const Pending& write) { put(write.offset, write.bytes); });
  pending_.erase(pending_.begin(), first);
  if (fault.any_store && fault.bit_flipped && fault.flip_byte < image_.size())
    image_[fault.flip_byte] = static_cast<std::uint8_t>(image_[fault.flip_byte] ^ (1u << (fault.flip_bit & 7u)));
}

}  // namespace sim
