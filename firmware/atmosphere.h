// The atmosphere of the chamber as a sequence of phases: what the running segment asks for is turned into positions of valves
// and pump, step by step, each step waiting for the feedback of the one before. The interlocks have the last word; these
// sequences never rely on it.
#pragma once

#include <cstdint>

#include "firmware/combustible.h"
#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/signals.h"

namespace fw {

enum class AtmospherePhase : std::uint8_t {
  rest = 0, evacuating = 1, leak_test = 2, backfilling = 3, purging = 4, holding = 5, safe = 6
};

// What is being done with valves and pump within a phase.
enum class AtmosphereStep : std::uint8_t {
  none,       // nothing asked: the safe values stand
  vent,       // over-pressure leaves through the exhaust before the pump may see the chamber
  close_off,  // exhaust and inlets shutting, pump running up
  pump,       // isolation open
  isolate,    // isolation shutting, then the pump stops
  settle,     // leak test: shut in, pressure settling
  measure,    // leak test: shut in, pressure watched
  fill,       // gas in, exhaust shut until the chamber stands above the exhaust line
  admit_air,  // air in, exhaust shut
  flow        // gas flows through, back-pressure loop in charge
};

struct Atmosphere {
  AtmospherePhase phase = AtmospherePhase::rest;
  AtmosphereStep step = AtmosphereStep::none;
  bool task_done = false, task_failed = false;   // of the segment whose serial this is
  std::uint32_t serial = 0;
  std::uint32_t step_ms = 0;         // in this step
  std::uint32_t at_speed_ms = 0;     // pump up to speed without a break
  std::uint32_t reached_ms = 0;      // pressure at or below an evacuation's target without a break
  std::uint16_t cycles = 0;          // vacuum cycles done
  float leak_start_pa = 0.0f;
  float pressure_rise_pa_min = 0.0f; // result of the last leak test
  float purged_sl = 0.0f;            // gas counted in this purge; with atmosphere.count_hot: litres at the chamber's state
  std::uint32_t dry_ms = 0;          // dew point at or below a purge's limit without a break
  Combustible combustible;           // what of it the chamber holds
  std::uint32_t gas_wait_ms = 0;     // combustible gas asked for and not permitted
};

// What the atmosphere wants of valves, pump and loops in a tick.
struct AtmosphereDemand {
  std::uint16_t coils = 0;           // contactor, pilot and horn are none of its business
  Gas gas = Gas::keep;
  float flow_slm = 0.0f;             // target of the flow loop
  bool valve_automatic = false;      // back-pressure loop in charge
  float valve_frac = 1.0f;           // else this
  float setpoint_pa = 0.0f;          // of the back-pressure loop, gauge
  bool stands = false;               // false: the safe values apply
};

// One control period.
AtmosphereDemand atmosphere_step(Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs,
                                 const ProgrammeRun& run);

// The safe values' row for the atmosphere in force.
SafeRow atmosphere_safe_row(const Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs,
                            const ProgrammeRun& run);

// Heat may be on as far as the atmosphere goes.
bool atmosphere_permits_heat(const Atmosphere& atmosphere, const Parameters& parameters, const Inputs& inputs);

// Volume changes counted in this purge.
float atmosphere_volume_changes(const Atmosphere& atmosphere, const Parameters& parameters);

}  // namespace fw
