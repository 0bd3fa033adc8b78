// A torture of the control core, from a seed: a furnace in quick motion behind raw station bytes, faults of every seam,
// an operator who does everything the line allows and much that it does not, and resets from stores whole, cut and spoilt.
// What goes in depends on what the core sent before (an answer must echo its sequence), so a tape of it is made once, with one
// core, and every other build of the core is held against that tape. Only + - * / and sqrt: the tape is the same on any machine.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "firmware/controller.h"
#include "firmware/controller_state.h"

namespace torture {

using Bytes = std::vector<std::uint8_t>;

// SplitMix64 (Steele, Lea, Flood 2014).
class Chance {
 public:
  explicit Chance(std::uint64_t seed) : state_(seed) {}
  std::uint64_t word();
  std::uint32_t below(std::uint32_t limit) { return static_cast<std::uint32_t>((word() >> 32) * limit >> 32); }
  bool once_in(std::uint32_t n) { return below(n) == 0; }
  double between(double low, double high) { return low + (high - low) * static_cast<double>(word() >> 11) * 0x1.0p-53; }

 private:
  std::uint64_t state_;
};

// What the core has the station do, taken from the request's bytes.
struct Told {
  bool known = false;
  unsigned sequence = 0, coils = 0, gas = 0;
  std::array<float, 4> demand{};
  float flow_ma = 4.0f, valve_frac = 1.0f;
  bool coil(unsigned mask) const { return (coils & mask) != 0; }
};

// A furnace some hundred times quicker than a real one.
struct Furnace {
  std::array<double, 4> zone_degc{20.0, 20.0, 20.0, 20.0};
  double load_degc = 20.0, chamber_pa = 101000.0, barometer_pa = 101000.0, oxygen_frac = 0.2095, flow_slm = 0.0, pump_s = 0.0;
  double leak_pa_s = 0.0;
  bool welded = false, element_broken = false, exhaust_blocked = false, supply = true, switch_shorted = false;

  void move(const Told& told, double period_s);
};

// Inputs of one tick.
struct TickIn {
  std::uint64_t now_us = 0, field_arrival_us = 0, supervisory_arrival_us = 0;
  Bytes field, supervisory;
};

struct Start {
  Bytes image;
  fw::ResetCause cause = fw::ResetCause::power_on;
  std::uint32_t outage_s = 0;
};

// Something wrong at the station for some ticks.
struct Trouble {
  enum Kind { none, channel, discrete, status, silent, late, damaged, truncated, junk, exception, old_map, watchdog, plant, count_ };
  Kind kind = none;
  unsigned which = 0;
  float value = 0.0f;
  bool on = false;
  std::uint32_t left = 0;
};

class Torture {
 public:
  explicit Torture(std::uint64_t seed);

  // True: the next thing is a start, made by start(). Else tick().
  bool start_due() const { return act_left_ == 0; }
  Start start();
  TickIn tick(const fw::Controller& core);
  // What the core answered to the tick.
  void answered(std::span<const std::uint8_t> field, std::span<const std::uint8_t> supervisory, std::uint32_t store_offset,
                std::span<const std::uint8_t> store);

 private:
  // store images
  Bytes fresh_image();
  void spoil(Bytes& image);
  fw::Parameters parameters();
  void disturb(fw::Parameters& parameters);
  std::vector<fw::Segment> programme();
  std::vector<fw::Segment> gas_cycle();
  std::vector<fw::Segment> heat_cycle();
  fw::Segment any_segment(int index);
  // station
  Bytes station_answer();
  double channel(int number) const;
  unsigned discrete() const;
  struct Aim;
  void new_troubles();
  void take_aim();
  void apply(Bytes& answer);
  void apply_to_plant(Trouble& trouble, bool begins);
  float odd_value();
  // operator
  Bytes operator_request(const fw::Controller& core);
  Bytes drive_programme(const fw::Controller& core);
  Bytes any_request(const fw::Controller& core);
  Bytes window_request();
  Bytes parameter_request();
  Bytes command(unsigned code, unsigned argument, float value);
  void mangle(Bytes& frame);

  Chance chance_;
  Furnace furnace_;
  Told told_;
  Bytes image_;                     // of the store as the core has written it
  Bytes answer_;                    // waits for the next tick
  Bytes split_;                     // rest of a request that comes in two pieces
  std::array<Trouble, 4> troubles_{};
  std::uint64_t now_us_ = 0;
  std::uint32_t act_left_ = 0, period_ms_ = 100;
  bool retort_ = false;
  bool calm_ = false;               // this act has few troubles, so that cycles come to their end
  bool heats_ = false, holds_ = false;   // the core does
  std::uint32_t aim_ = 0, rest_ = 0;     // the next aim, and ticks until it may be taken
};

// Modbus RTU, written here once more.
Bytes sealed(Bytes frame);
void put16(Bytes& bytes, unsigned value);
void put_float(Bytes& bytes, float value);

}  // namespace torture
