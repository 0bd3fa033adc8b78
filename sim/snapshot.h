// The file `snapshots` of a run: what everything in it was at some ticks, so that a fork need not compute the whole past again.
// Written every 10 min simulated and at each segment (at most one a minute), when asked for (`record: snapshots: yes`).
//
// File: a head, the snapshots, an end. Little-endian. The head: "SAGGSNAP", u32 format, u64 hash of resolved.yaml, u32 length of the
// program's version, the version, u64 hash of all that. A snapshot: "SNAPSHOT", u64 tick, f64 time [s], u64 length, the state as an
// Archive wrote it, its runs of equal words shortened; u64 hash of all that. The end: "SNAP-END", u64 count, u64 hash of both.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "sim/result_file.h"

namespace sim {

// Not a file of snapshots, cut short, damaged, of another program or another run. what() names the file.
struct SnapshotError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct Snapshot {
  std::uint64_t ticks = 0;             // done before it
  double time_s = 0.0;                 // at which the next one stands
  std::vector<std::uint8_t> state;
};

class SnapshotWriter {
 public:
  static constexpr double every_s = 600.0;
  static constexpr double apart_s = 60.0;   // at least, whatever segments begin

  // resolved_yaml: the text of that file of the run. Throws RecordingError, as the other members do.
  SnapshotWriter(const std::filesystem::path& folder, std::string_view resolved_yaml, double period_s);

  // After a tick: is it time for one? segment: that runs.
  bool due(std::uint64_t ticks, int segment) {
    if (segment == segment_ && ticks < next_) return false;
    return due_now(ticks, segment);
  }
  void add(std::uint64_t ticks, double time_s, std::span<const std::uint8_t> state);
  void finish();                       // ends the file and gives it its name

 private:
  bool due_now(std::uint64_t ticks, int segment);
  void put(std::span<const std::uint8_t> bytes);

  ResultFile file_;
  double period_s_;
  int segment_ = -1;
  bool segment_waits_ = false;         // a segment has begun that has none yet
  std::uint64_t next_ = 0, last_ = 0, count_ = 0;
};

// The last snapshot of the file at or before `ticks`; none where there is none so early. Every byte of the file is checked.
// resolved_yaml: the text of that file beside it. Throws SnapshotError.
std::optional<Snapshot> nearest_snapshot(const std::filesystem::path& file, std::string_view resolved_yaml, std::uint64_t ticks);

}  // namespace sim
