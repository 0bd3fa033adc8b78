// Segments of any content through the programme window, taken by the core or refused; what it took is run.
#include "firmware/registers.h"
#include "tests/fuzz/fuzzed_core.h"

namespace {

torture::Bytes write(unsigned address, const torture::Bytes& values) {
  torture::Bytes bytes{1, 16};
  torture::put16(bytes, address);
  torture::put16(bytes, static_cast<unsigned>(values.size() / 2));
  bytes.push_back(static_cast<std::uint8_t>(values.size()));
  bytes.insert(bytes.end(), values.begin(), values.end());
  return torture::sealed(bytes);
}

void command(fuzz::Core& core, fw::Command code, unsigned argument) {
  torture::Bytes values;
  torture::put16(values, static_cast<unsigned>(code));
  torture::put16(values, argument);
  torture::put_float(values, 0.0f);
  core.receive(fw::Port::supervisory, write(fw::command_address, values));
}

void tick(fuzz::Core& core) {
  core.receive(fw::Port::field, fuzz::healthy_answer(core.sequence));
  core.step();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Source source(data, size);
  static const torture::Bytes blank(fw::store_image_bytes, 0xFF);
  fuzz::Core core(blank);
  tick(core);
  for (unsigned index = 0; index < 12 && source.size() > 40; ++index) {
    torture::Bytes values{0, static_cast<std::uint8_t>(source.byte() & 3u), 0, static_cast<std::uint8_t>(source.byte() % 12u)};
    const torture::Bytes rest = source.bytes(42);
    values.insert(values.end(), rest.begin(), rest.end());
    values.resize(values.size() / 2 * 2);
    core.receive(fw::Port::supervisory, write(fw::programme_window_address, values));
    tick(core);
    command(core, fw::Command::write_segment, index);
    tick(core);
  }
  tick(core);
  command(core, fw::Command::start, 0);
  const int ticks = 20 + source.byte();
  for (int i = 0; i < ticks; ++i) tick(core);
  const fw::ProgrammeRun& run = core.controller->run;
  if (run.segments > fw::programme_segments_max || run.segment > run.segments) std::abort();
  return 0;
}
