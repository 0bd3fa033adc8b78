// A signal injector at the station's terminals, in place of a plant: every channel holds what it was set to, discrete inputs follow the
// coils the core sends unless they are forced, and a few readings are consistent with the outputs (heater current with demand, flow
// with its set point, the back-pressure valve with its own, the burn-off flame with its pilot). It speaks to a core through bytes on
// both of its lines and knows nothing of what the core makes of them.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "firmware/parameters.h"
#include "firmware/registers.h"
#include "sim/endpoint.h"

namespace sim {

// Channels of the station by place (DEVELOPERS.md, "Field line").
namespace channel {
enum : int { zone_1 = 0, load = 4, cold_junction = 6, gauge = 7, capacitance = 8, pirani = 9, meter_1 = 10, meter_2 = 11, oxygen = 12,
             oxygen_cell = 13, dew_point = 14, barometer = 15, valve_position = 16, mains = 17, supply = 18, current_1 = 20 };
}

class Injector {
 public:
  Injector(Endpoint& core, const fw::Parameters& parameters);

  // The core starts from a store with these segments as its one programme; everything is healthy, cold and at rest.
  void start(const std::vector<fw::Segment>& segments);
  void tick();
  void run(double seconds);
  fw::Refusal command(fw::Command code, std::uint16_t argument = 0, float value = 0.0f);

  // Physical values to terminals. Pressures gauge unless the name says absolute.
  void set_degc(int channel, double degc);                 // thermocouples, by the type the parameters give
  void set_rise(int channel, double k_per_s);              // of a thermocouple, from where it was set
  void set_gauge_pa(double pa);
  void set_swing_pa(double middle_pa, double amplitude_pa, double period_s);   // of the gauge pressure, a sine that rises now
  void set_vacuum_pa(double absolute_pa);
  void set_oxygen_ppm(double ppm);
  void set_cell_degc(double degc);                         // of the oxygen cell itself
  void set_dew_point_degc(double degc);
  void set_mains_v(double v);
  void set_supply_pa(double pa);
  void set_valve_frac(double frac);                        // fixed; else it stands where it was told to
  void set_current_a(int zone, double a);                  // fixed; negative: follows the demand again
  void set_meter_slm(int meter, double slm);               // 0 or 1, calibration gas; whatever its valve does
  void set_raw(int channel, double value);                 // mV, mA, V or ohm as they stand on the terminals
  void set_flag(int channel, bool on);                     // the station's own word that a channel is broken
  void force_input(std::uint16_t bit, bool on);            // of fw::discrete
  void release_input(std::uint16_t bit);
  void set_watchdog(bool acted) { watchdog_ = acted; }
  void set_silent(bool silent) { silent_ = silent; }
  // Thermocouples move by half their input's last place from period to period, as live ones do, unless held.
  void hold_still(int channel) { still_ |= 1u << channel; }
  void hold_all_still() { still_ = ~0u; }
  void follow_pump(bool follows) { pump_follows_ = follows; }   // else the pump is at speed as forced

  // The zone, from 0, that stimuli of a row for each zone are given to.
  void choose_zone(int zone) { zone_ = zone; }
  int zone() const { return zone_; }

  double value(const std::string& name) const;             // of the monitor block after the last tick; throws std::out_of_range
  bool coil(std::uint16_t mask) const { return (coils_ & mask) != 0; }
  std::uint16_t coils() const { return coils_; }           // as last asked for, a bit each (fw::coil)
  double period_s() const { return static_cast<double>(parameters_.period_ms) * 1e-3; }
  const fw::Parameters& parameters() const { return parameters_; }

 private:
  void take_request(std::span<const std::uint8_t> request);
  void take_reply(std::span<const std::uint8_t> reply);
  std::size_t answer(std::span<std::uint8_t> frame) const;
  std::uint16_t discrete() const;
  double terminal(int channel) const;

  Endpoint& core_;
  fw::Parameters parameters_;
  std::array<double, 24> raw_{};
  std::array<double, channel::load + 2> degc_{}, rise_k_per_s_{};
  std::array<double, 4> current_a_{};
  int zone_ = 0;
  std::uint32_t status_ = 0, still_ = 0;
  std::uint16_t forced_ = 0, forced_on_ = 0;
  bool watchdog_ = false, silent_ = false, pump_follows_ = true, valve_follows_ = true;
  struct Swing {
    double middle_pa = 0.0, amplitude_pa = 0.0, period_s = 0.0, elapsed_s = 0.0;
  } swing_;                                                // without a period: none
  std::uint16_t sequence_ = 0, coils_ = 0;
  std::array<float, 4> demand_{};
  std::array<float, 2> flow_ma_{};
  float valve_frac_ = 0.0f;                                // as last asked for
  std::array<double, 2> meter_ma_{};                       // fixed; negative: follows its set point
  bool asked_ = false;
  std::uint64_t now_us_ = 0;
  double pump_s_ = 0.0;
  std::vector<std::uint8_t> request_;                      // of the supervisory line, for the next tick
  std::vector<std::uint8_t> block_;                        // the monitor block's registers, big-endian
};

}  // namespace sim
