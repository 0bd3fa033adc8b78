// What the core knows of the plant in a tick, and what it wants of it: between decode and encode everything is a pure
// function from fw::Inputs to fw::Outputs. Units last in the names; pressures are gauge unless the name says absolute.
#pragma once

#include <cstdint>

#include "firmware/programme.h"

namespace fw {

// Bits of Inputs::discrete, as the station sends them.
namespace discrete {
inline constexpr std::uint16_t door_closed = 1u << 0, emergency_stop_healthy = 1u << 1, contactor_closed = 1u << 2,
                               pump_at_speed = 1u << 3, exhaust_open = 1u << 4, isolation_open = 1u << 5,
                               supply_present = 1u << 6, over_pressure = 1u << 7, limiter_healthy = 1u << 8,
                               key_commissioning = 1u << 9, bypass_open = 1u << 10, air_open = 1u << 11,
                               process_open = 1u << 12, purge_open = 1u << 13,
                               burn_off_proven = 1u << 14;
}

// Bits of Outputs::coils, as the station takes them: energised is 1.
namespace coil {
inline constexpr std::uint16_t contactor = 1u << 0, process_open = 1u << 1, purge_shut = 1u << 2, exhaust_shut = 1u << 3,
                               bypass_open = 1u << 4, air_open = 1u << 5, pump_motor = 1u << 6, isolation_open = 1u << 7,
                               inlet_vent_shut = 1u << 8, pilot = 1u << 9, horn = 1u << 10, door_release = 1u << 11;
}

enum class SafeRow : std::uint8_t { none = 0, air = 1, inert = 2, combustible = 3, vacuum = 4, over_pressure = 5 };

// Values stand finite always. Where an instrument has failed its last good value stays, and a flag says so.
struct Inputs {
  bool known = false;                 // an answer of the station has come since start
  bool fresh = false;                 // this tick's answer came in time
  bool load_failed = false;           // acts at once, as every value a trip uses
  bool chamber_failed = false;
  bool chamber_below_range = false;   // legal in vacuum
  bool vacuum_in_range = false;       // capacitance gauge not saturated
  bool oxygen_valid = false;          // cell hot, gas passing it
  bool flow_failed = false;           // acts at once: a purge is not proven by a meter's last good value
  std::uint8_t zone_failed = 0;       // bit per zone in use
  std::uint16_t discrete = 0;
  std::uint16_t station = 0;          // bit 0 its watchdog has acted, bits 8..11 the row it imposes
  std::uint32_t transmitter_failed = 0;  // bit per channel: NE 43 failure for 4 s
  float zone_degc[4] = {};
  float hottest_degc = 0.0f;          // of the zones in use
  float load_degc = 0.0f;
  float chamber_pa = 0.0f;            // gauge
  float vacuum_pa = 101325.0f;        // absolute; before the first answer nothing may pass for a vacuum
  float barometer_pa = 101325.0f;     // absolute
  float flow_slm = 0.0f;
  float oxygen_ppm = 209500.0f;
  float dew_point_degc = 20.0f;
  float mains_v = 0.0f;
  float current_a[4] = {};
  bool valve_known = false;           // position of the back-pressure valve measured in this tick
  bool supply_known = false;
  float valve_frac = 1.0f;
  float supply_pa = 0.0f;             // gauge
  float meter_slm[2] = {};            // each mass-flow controller, of its own gas; flow_slm is what flows in all
  float zone_mv[4] = {};              // at the terminals, as read: what stands still shows there to the bit
  float load_mv = 0.0f;
  float junction_degc = 25.0f;        // of the terminals
  float load_2_degc = 0.0f;
  bool load_2_failed = false;
  std::uint32_t same_ms = 0;          // every input of the station has been the same for so long, to the bit
};

struct Outputs {
  std::uint16_t coils = 0;
  SafeRow safe_row = SafeRow::air;    // what the station imposes when the line goes silent
  std::uint8_t gas = 0;               // gas select of the station
  Gas gas_wanted = Gas::keep;         // what that is for: forming gas is hydrogen at the selector
  float demand_frac[4] = {};
  float flow_ma[2] = {4.0f, 4.0f};    // 4..20
  float valve_frac = 1.0f;            // back-pressure valve, 1 open
};

}  // namespace fw
