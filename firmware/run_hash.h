// CRC-32 of what a run began with, a piece in each tick: of a long programme at once it would be the longest step by far. First the
// programme, which its place in the store is known again by, then the parameters: the longest programme and all parameters take two
// seconds at a period of 100 ms.
#pragma once

#include <cstdint>

#include "firmware/parameters.h"
#include "firmware/programme.h"

namespace fw {

struct RunHash {
  enum class Part : std::uint8_t { none, programme, parameters };
  std::uint32_t crc = 0;            // of the part under way, not inverted
  std::uint16_t at = 0;             // its next segment or row
  std::uint16_t segments = 0;       // as many as there were
  Part part = Part::none;           // none: nothing is under way
  bool of_record = false;           // not only of the copy that runs: the parameters follow
};

// Begins anew, whatever was under way. segments of the private copy; 0: the parameters alone.
void run_hash_begin(RunHash& hash, int segments);
// A segment has changed: where the run's own hash is whole, the programme's alone.
void run_hash_segment_changed(RunHash& hash, int segments);
void run_hash_parameters_changed(RunHash& hash);
// One piece. Gives the part that is whole with it, its CRC in `crc`; none: it goes on, or there was nothing to do.
RunHash::Part run_hash_step(RunHash& hash, const Parameters& parameters, const ProgrammeRun& run, std::uint32_t& crc);

}  // namespace fw
