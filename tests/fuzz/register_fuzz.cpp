// Requests with a good CRC: any function, address, count and value, so that every block of the map is read and written.
#include "firmware/registers.h"
#include "tests/fuzz/fuzzed_core.h"

namespace {

torture::Bytes request(fuzz::Source& source) {
  constexpr unsigned blocks[] = {0, fw::command_address, fw::setpoint_address, fw::programme_window_address, 0x0300, 0x0400, 0x0500,
                                 0x0600, 0x0700, fw::parameter_address};
  constexpr std::uint8_t functions[] = {3, 4, 6, 16, 23};
  const std::uint8_t what = source.byte();
  const unsigned address = blocks[source.byte() % 10u] + source.byte();
  torture::Bytes bytes{1, functions[what % 5u]};
  const auto count = static_cast<unsigned>(source.byte() % 128u);
  torture::put16(bytes, address);
  if (bytes[1] == 6) {
    torture::put16(bytes, source.word() & 0xFFFFu);
    return torture::sealed(bytes);
  }
  torture::put16(bytes, bytes[1] == 23 ? 1 + what % 8u : count);
  if (bytes[1] < 16) return torture::sealed(bytes);
  if (bytes[1] == 23) {
    torture::put16(bytes, blocks[source.byte() % 10u] + source.byte() % 48u);
    torture::put16(bytes, count);
  }
  torture::Bytes values = source.bytes(2 * count);
  values.resize(2 * count);
  bytes.push_back(static_cast<std::uint8_t>(values.size()));
  bytes.insert(bytes.end(), values.begin(), values.end());
  if (bytes.size() > 254) bytes.resize(254);
  return torture::sealed(bytes);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Source source(data, size);
  static const torture::Bytes blank(fw::store_image_bytes, 0xFF);
  fuzz::Core core(blank);
  for (int tick = 0; tick < 60 && !source.empty(); ++tick) {
    core.receive(fw::Port::field, fuzz::healthy_answer(core.sequence));
    core.receive(fw::Port::supervisory, request(source));
    core.step();
  }
  core.step();
  return 0;
}
