// The controller's store as the bench keeps it: pages the core wants written reach it at once, or as a fault has it.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "sim/archive.h"
#include "sim/clock.h"
#include "sim/controller_fault.h"

namespace sim {

class StoreDevice {
 public:
  StoreDevice(std::vector<std::uint8_t> image, Clock clock) : image_(std::move(image)), clock_(clock) {}

  std::span<const std::uint8_t> image() const { return image_; }
  std::span<std::uint8_t> image() { return image_; }

  // A write of the core in this tick; false if it lies outside.
  [[nodiscard]] bool write(std::uint64_t tick, std::uint32_t offset, std::span<const std::uint8_t> bytes, const ControllerFault& fault);
  // What was slow and is done by this tick, then the flipped bit. Call before the controller's power is looked at.
  void settle(std::uint64_t tick, const ControllerFault& fault);
  void lose_pending() { pending_.clear(); }   // the power is away
  bool idle(const ControllerFault& fault) const { return pending_.empty() && !fault.any_store; }   // nothing to settle

  void visit(Archive& archive) { archive(image_, pending_); }     // everything of it that changes
  void take_over(const StoreDevice& past) { pending_ = past.pending_; }   // what is still on its way; the image is the caller's

 private:
  struct Pending {
    std::uint64_t tick = 0;
    std::uint32_t offset = 0;
    std::vector<std::uint8_t> bytes;
    void visit(Archive& archive) { archive(tick, offset, bytes); }
  };
  void put(std::uint32_t offset, std::span<const std::uint8_t> bytes);

  std::vector<std::uint8_t> image_;
  std::vector<Pending> pending_;              // in the order in which they are due
  Clock clock_;
};

}  // namespace sim
