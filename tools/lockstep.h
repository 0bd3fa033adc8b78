// Two controllers side by side at one end of the lines: both get the same bytes, every byte either sends is compared in every
// tick. The first one's bytes are the ones that go out.
#pragma once

#include <memory>
#include <stdexcept>
#include <string>

#include "sim/endpoint.h"

namespace tools {

// The first byte that differs: tick, line, register where the frame tells it, and both values (exit 4).
struct Difference : std::runtime_error {
  using std::runtime_error::runtime_error;
};

class Lockstep final : public sim::Endpoint {
 public:
  Lockstep(std::string first_name, std::unique_ptr<sim::Endpoint> first, std::string second_name,
           std::unique_ptr<sim::Endpoint> second);
  void start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) override;
  void tick(const sim::TickIn& in, sim::TickOut& out) override;

 private:
  void compare(const sim::TickIn& in, const char* port, std::span<const std::uint8_t> a, std::span<const std::uint8_t> b) const;

  std::string first_name_, second_name_;
  std::unique_ptr<sim::Endpoint> first_, second_;
  sim::TickOut second_out_;
};

}  // namespace tools
