#include "firmware/run_hash.h"

#include "firmware/crc32.h"

namespace fw {

namespace {

constexpr int rows_at_once = 64, segments_at_once = 8;      // some 4,000 instructions of a Cortex-M either way

void begin_part(RunHash& hash, RunHash::Part part) {
  hash.part = part;
  hash.crc = crc32_begin;
  hash.at = 0;
}

// True: with the last row.
bool parameters_on(RunHash& hash, const Parameters& parameters) {
  const auto table = parameter_table();
  for (int i = 0; i < rows_at_once && hash.at < table.size(); ++i, ++hash.at) {
    const std::uint32_t bits = parameter_bits(parameters, table[hash.at]);
    hash.crc = crc32_on(hash.crc, &bits, sizeof bits);
  }
  return hash.at >= table.size();
}

bool programme_on(RunHash& hash, const ProgrammeRun& run) {
  const int left = hash.segments - hash.at, count = left < segments_at_once ? left : segments_at_once;
  hash.crc = crc32_on(hash.crc, run.copy + hash.at, static_cast<std::size_t>(count) * sizeof(Segment));
  hash.at = static_cast<std::uint16_t>(hash.at + count);
  return hash.at >= hash.segments;
}

}  // namespace

void run_hash_begin(RunHash& hash, int segments) {
  hash.segments = static_cast<std::uint16_t>(segments);
  hash.of_record = true;
  begin_part(hash, segments > 0 ? RunHash::Part::programme : RunHash::Part::parameters);
}

void run_hash_segment_changed(RunHash& hash, int segments) {
  const bool whole = hash.part == RunHash::Part::none;
  if (!whole && hash.of_record) return run_hash_begin(hash, segments);
  hash.segments = static_cast<std::uint16_t>(segments);
  hash.of_record = false;
  begin_part(hash, RunHash::Part::programme);
}

void run_hash_parameters_changed(RunHash& hash) {
  if (hash.part == RunHash::Part::parameters) begin_part(hash, RunHash::Part::parameters);
}

RunHash::Part run_hash_step(RunHash& hash, const Parameters& parameters, const ProgrammeRun& run, std::uint32_t& crc) {
  const RunHash::Part part = hash.part;
  if (part == RunHash::Part::none) return part;
  const bool whole = part == RunHash::Part::programme ? programme_on(hash, run) : parameters_on(hash, parameters);
  if (!whole) return RunHash::Part::none;
  crc = ~hash.crc;
  begin_part(hash, part == RunHash::Part::programme && hash.of_record ? RunHash::Part::parameters : RunHash::Part::none);
  return part;
}

}  // namespace fw
