#include "tools/lockstep.h"

#include <algorithm>

#include <fmt/format.h>

#include "firmware/registers.h"

namespace tools {
namespace {

constexpr std::size_t write_request_head = 11;   // FC 23: unit, function, two addresses, two counts, byte count
constexpr std::size_t read_answer_head = 3;      // FC 04: unit, function, byte count

std::string monitor_register(std::size_t address) {
  for (const fw::RegisterInfo& info : fw::monitor_table()) {
    const std::size_t size = info.type == fw::RegisterType::u16 ? 1 : 2;
    if (address >= info.address && address < info.address + size) return fmt::format(" ({})", info.name);
  }
  return "";
}

// Which register the byte at `index` of a frame belongs to, as far as the frame tells.
std::string register_at(std::string_view port, std::span<const std::uint8_t> frame, std::size_t index) {
  if (frame.size() < 4 || index + 2 >= frame.size()) return "";
  if (port == "field line" && frame[1] == 23 && index >= write_request_head) {
    const std::size_t first = static_cast<std::size_t>(frame[6]) << 8 | frame[7];
    return fmt::format(", register 0x{:04X}", first + (index - write_request_head) / 2);
  }
  if (port == "supervisory line" && index >= read_answer_head) {
    const std::size_t address = (index - read_answer_head) / 2;
    return fmt::format(", register 0x{:04X}{}", address, monitor_register(address));
  }
  return "";
}

std::string byte_at(std::span<const std::uint8_t> bytes, std::size_t index) {
  return index < bytes.size() ? fmt::format("0x{:02X}", bytes[index]) : "nothing";
}

template <std::size_t Size>
std::span<const std::uint8_t> sent(const std::array<std::uint8_t, Size>& buffer, std::uint32_t size) {
  return {buffer.data(), size};
}

}  // namespace

Lockstep::Lockstep(std::string first_name, std::unique_ptr<sim::Endpoint> first, std::string second_name,
                   std::unique_ptr<sim::Endpoint> second)
    : first_name_(std::move(first_name)), second_name_(std::move(second_name)), first_(std::move(first)),
      second_(std::move(second)) {}

void Lockstep::start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) {
  first_->start(store_image, cause, outage_s);
  second_->start(store_image, cause, outage_s);
}

void Lockstep::tick(const sim::TickIn& in, sim::TickOut& out) {
  first_->tick(in, out);
  second_->tick(in, second_out_);
  compare(in, "field line", sent(out.field, out.field_size), sent(second_out_.field, second_out_.field_size));
  compare(in, "supervisory line", sent(out.supervisory, out.supervisory_size),
          sent(second_out_.supervisory, second_out_.supervisory_size));
  compare(in, "store", sent(out.store, out.store_size), sent(second_out_.store, second_out_.store_size));
  if (out.latched != second_out_.latched || (out.store_size > 0 && out.store_offset != second_out_.store_offset)) {
    throw Difference(fmt::format("first difference at {:.1f} s: {}", static_cast<double>(in.now_us) * 1e-6,
                                 out.latched != second_out_.latched ? "only one core has latched" : "store offset"));
  }
}

void Lockstep::compare(const sim::TickIn& in, const char* port, std::span<const std::uint8_t> a,
                       std::span<const std::uint8_t> b) const {
  if (std::ranges::equal(a, b)) return;
  std::size_t index = 0;
  while (index < a.size() && index < b.size() && a[index] == b[index]) ++index;
  throw Difference(fmt::format("first difference at {:.1f} s: {}, byte {}{}: {} sends {}, {} sends {}",
                               static_cast<double>(in.now_us) * 1e-6, port, index, register_at(port, a, index), first_name_,
                               byte_at(a, index), second_name_, byte_at(b, index)));
}

}  // namespace tools
