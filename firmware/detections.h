// What no single reading shows: instruments that stand still, jump or have their wires swapped, heat that comes unasked, a vacuum
// that is being lost, partners that differ, a contactor that does not open, a clock that is wrong. Each is judged from one tick to the
// next and given as a bit; interlock rows and alarms act upon the bits, with their own delays. A limit of 0 switches a detection off.
#pragma once

#include <cstdint>

#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/signals.h"

namespace fw {

// Bits of Detections::found.
namespace detection {
inline constexpr std::uint32_t zone_stuck = 1u << 0, load_stuck = 1u << 1, zone_reversed = 1u << 2, load_reversed = 1u << 3,
                               zone_jumped = 1u << 4, load_jumped = 1u << 5, runaway = 1u << 6, vacuum_lost = 1u << 7,
                               load_differs = 1u << 8, heater_differs = 1u << 9, inputs_frozen = 1u << 10,
                               tick_late = 1u << 11, clock_jumped = 1u << 12, contactor_welded = 1u << 13;
}

inline constexpr int watched_thermocouples = zone_count_max + 1;   // the zones, then the load

struct Detections {
  std::uint32_t found = 0;
  std::uint32_t late_ticks = 0;                  // since start
  std::uint32_t clock_jumps = 0;
  bool clock_runs = false;                       // last_us is of this start
  bool followed[watched_thermocouples] = {};     // follower_degc is of this start
  std::uint64_t last_us = 0;
  float still_mv[watched_thermocouples] = {};    // where a thermocouple has stood, to the bit
  std::uint32_t still_ms[watched_thermocouples] = {};      // so long, while heat was on
  float follower_degc[watched_thermocouples] = {};         // behind the reading, at most limits.sensor_rate fast
  std::uint32_t cold_ms[zone_count_max] = {};    // at no demand
  float coldest_degc[zone_count_max] = {};       // since the zone had settled at no demand
  float vacuum_pa = -1.0f;                       // lowest since the pump was opened, negative: none
};

struct DetectionView {
  const Parameters& parameters;
  const Inputs& inputs;
  const ProgrammeRun& run;
  const Outputs& before;      // what went out in the tick before
  std::uint64_t now_us;
};

// The load thermocouple matters: a segment or the atmosphere judges by it.
bool load_in_use(const Parameters& parameters, const ProgrammeRun& run);

// One control period.
void detections_step(Detections& detections, const DetectionView& view);

}  // namespace fw
