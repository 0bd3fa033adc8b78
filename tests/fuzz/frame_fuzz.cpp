// Both receivers of the core under any bytes: whole frames among junk, in any split, with any silence between.
#include "tests/fuzz/fuzzed_core.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Source source(data, size);
  static const torture::Bytes blank(fw::store_image_bytes, 0xFF);
  fuzz::Core core(blank);
  while (!source.empty()) {
    const std::uint8_t what = source.byte();
    const auto port = (what & 1u) != 0 ? fw::Port::field : fw::Port::supervisory;
    torture::Bytes bytes = source.bytes(source.byte());
    if ((what & 2u) != 0) bytes = torture::sealed(std::move(bytes));   // or no CRC would ever be right
    if ((what & 4u) != 0) bytes = fuzz::healthy_answer(core.sequence);
    core.receive(port, bytes);
    core.now_us += (what & 8u) != 0 ? 5000 : 0;
    if ((what & 16u) != 0) core.step();
  }
  core.step();
  return 0;
}
