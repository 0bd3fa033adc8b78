// Writes the torture tape: lockstep frames for a core (FOLDER/in) and what the core this is linked with answers (FOLDER/out).
// Prints the hash of both and what of the core's own vocabulary came up, one word and a list per line.
//
//   torture_tape FOLDER [--ticks N] [--seed N]
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <memory>
#include <set>
#include <string>

#include "firmware/cortex_m/lockstep.h"
#include "sim/hash.h"
#include "tests/torture/torture.h"

namespace {

using namespace fw::lockstep;
using torture::Bytes;

// What came up in the core, for the reader of the figures: a torture that never trips is none.
struct Seen {
  std::set<int> rows, alarms, states, phases, kinds, refusals, refusing;
  void look(const fw::Controller& c) {
    if (c.interlocks.first_out != 0) rows.insert(c.interlocks.first_out);
    if (c.interlocks.inhibit != 0) refusing.insert(c.interlocks.inhibit);
    for (int n = 0; n < fw::alarm::count_; ++n) {
      if (c.alarms.active >> n & 1u) alarms.insert(n);
    }
    states.insert(static_cast<int>(c.run.state));
    phases.insert(static_cast<int>(c.atmosphere.phase));
    if (const fw::Segment* segment = fw::programme_segment(c.run)) kinds.insert(static_cast<int>(segment->kind));
    refusals.insert(static_cast<int>(c.supervisory.result));
  }
  static void print(const char* name, const std::set<int>& numbers) {
    std::printf("%s", name);
    for (const int n : numbers) std::printf(" %d", n);
    std::printf("\n");
  }
  void print() const {
    print("trips", rows);
    print("refusing", refusing);
    for (const fw::InterlockRow& row : fw::interlock_table()) {
      if (!rows.contains(row.number) && !refusing.contains(row.number)) std::printf("row_never %d %s\n", row.number, row.name);
    }
    print("alarms", alarms);
    for (int n = 0; n < fw::alarm::count_; ++n) {
      if (!alarms.contains(n)) std::printf("alarm_never %d %s\n", n, fw::alarm_table()[static_cast<std::size_t>(n)].name);
    }
    print("states", states);
    print("phases", phases);
    print("segments", kinds);
    print("results", refusals);
  }
};

struct Tape {
  std::ofstream in, out;
  sim::Hash hash;
  void put(std::ofstream& file, const Bytes& bytes) {
    hash.add(std::span<const std::uint8_t>(bytes));
    file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  }
};

Bytes in_frame(std::uint8_t kind, std::uint8_t cause, std::size_t first, std::size_t second, std::uint64_t now_us,
               std::uint64_t field_us, std::uint64_t supervisory_us) {
  Bytes frame(in_header, 0);
  fw::lockstep::put(frame.data(), mark, 2);
  frame[2] = kind;
  frame[3] = cause;
  fw::lockstep::put(frame.data() + 4, first, 4);
  fw::lockstep::put(frame.data() + 8, second, 4);
  fw::lockstep::put(frame.data() + 16, now_us, 8);
  fw::lockstep::put(frame.data() + 24, field_us, 8);
  fw::lockstep::put(frame.data() + 32, supervisory_us, 8);
  return frame;
}

Bytes out_frame(std::uint8_t kind, const fw::Controller& c, const Bytes& field, const Bytes& supervisory, const Bytes& store,
                std::uint32_t offset) {
  Bytes frame(out_header, 0);
  fw::lockstep::put(frame.data(), mark, 2);
  frame[2] = kind;
  frame[3] = c.latch.line != 0 ? 1 : 0;
  fw::lockstep::put(frame.data() + 4, field.size(), 2);
  fw::lockstep::put(frame.data() + 6, supervisory.size(), 2);
  fw::lockstep::put(frame.data() + 8, store.size(), 2);
  fw::lockstep::put(frame.data() + 12, offset, 4);
  for (const Bytes* part : {&field, &supervisory, &store}) frame.insert(frame.end(), part->begin(), part->end());
  return frame;
}

void start(torture::Torture& torture, fw::Controller& core, Tape& tape) {
  const torture::Start s = torture.start();
  Bytes frame = in_frame(kind_start, static_cast<std::uint8_t>(s.cause), s.image.size(), s.outage_s, 0, 0, 0);
  frame.insert(frame.end(), s.image.begin(), s.image.end());
  tape.put(tape.in, frame);
  fw::start(core, s.image, s.cause, s.outage_s);
  tape.put(tape.out, out_frame(kind_start, core, {}, {}, {}, version));
}

void tick(torture::Torture& torture, fw::Controller& core, Tape& tape) {
  const torture::TickIn in = torture.tick(core);
  Bytes frame = in_frame(kind_tick, 0, in.field.size(), in.supervisory.size(), in.now_us, in.field_arrival_us, in.supervisory_arrival_us);
  frame.insert(frame.end(), in.field.begin(), in.field.end());
  frame.insert(frame.end(), in.supervisory.begin(), in.supervisory.end());
  tape.put(tape.in, frame);
  if (!in.field.empty()) fw::receive(core, fw::Port::field, in.field, in.field_arrival_us);
  if (!in.supervisory.empty()) fw::receive(core, fw::Port::supervisory, in.supervisory, in.supervisory_arrival_us);
  fw::step(core, in.now_us);
  Bytes field(fw::frame_bytes_max), supervisory(fw::frame_bytes_max), store(fw::store_write_bytes);
  field.resize(fw::transmit(core, fw::Port::field, field));
  supervisory.resize(fw::transmit(core, fw::Port::supervisory, supervisory));
  const fw::StoreWrite write = fw::store(core, store);
  store.resize(write.size);
  tape.put(tape.out, out_frame(kind_tick, core, field, supervisory, store, write.offset));
  torture.answered(field, supervisory, write.offset, store);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "usage: torture_tape FOLDER [--ticks N] [--seed N]\n");
    return 2;
  }
  std::uint64_t ticks = 100000, seed = 59;   // of the first 60 that which reaches most: tools/torture.py --coverage
  for (int i = 2; i + 1 < argc; i += 2) {
    (std::strcmp(argv[i], "--ticks") == 0 ? ticks : seed) = std::strtoull(argv[i + 1], nullptr, 10);
  }
  const std::string folder = argv[1];
  Tape tape;
  tape.in.open(folder + "/in", std::ios::binary);
  tape.out.open(folder + "/out", std::ios::binary);
  const auto core = std::make_unique<fw::Controller>();
  torture::Torture torture(seed);
  Seen seen;
  std::uint64_t starts = 0, latched = 0;
  for (std::uint64_t n = 0; n < ticks; ++n) {
    if (torture.start_due()) {
      start(torture, *core, tape);
      ++starts;
    }
    tick(torture, *core, tape);
    seen.look(*core);
    latched += core->latch.line != 0 ? 1 : 0;
  }
  tape.in.close();
  tape.out.close();
  if (!tape.in || !tape.out) {
    std::fprintf(stderr, "torture_tape: cannot write %s\n", folder.c_str());
    return 3;
  }
  std::printf("ticks %llu\nstarts %llu\nlatched %llu\nhash %016llx\n", static_cast<unsigned long long>(ticks),
              static_cast<unsigned long long>(starts), static_cast<unsigned long long>(latched),
              static_cast<unsigned long long>(tape.hash.value()));
  seen.print();
  return 0;
}
