// A torture of the control core, from a seed: a furnace in quick motion behind raw station bytes, faults of every seam,
// an operator who does everything the line allows and much that it does not, and resets from stores whole, cut and spoilt.
// Of six acts two are drills (torture_script.cpp: scripts that go where chance seldom gets), two short resets, two left to chance.
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
#include "tests/rtu_bytes.h"

namespace torture {

using rtu::Bytes;
using rtu::put16;
using rtu::put_float;
using rtu::sealed;

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

// A furnace some hundred times quicker than a real one.
struct Furnace {
  std::array<double, 4> zone_degc{20.0, 20.0, 20.0, 20.0};
  double load_degc = 20.0, chamber_pa = 101000.0, barometer_pa = 101000.0, oxygen_frac = 0.2095, pump_s = 0.0, flame_s = 0.0;
  std::array<double, 2> flow_slm{};      // through the meters
  double leak_pa_s = 0.0, valve_frac = 1.0;
  bool welded = false, element_broken = false, exhaust_blocked = false, supply = true, switch_shorted = false, flame_out = false;
  bool valve_sticks = false;

  void move(const rtu::Order& told, double period_s);

 private:
  void move_gas(const rtu::Order& told, double period_s);
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
  enum Kind {
    none, channel, discrete, status, silent, late, damaged, truncated, junk, exception, old_map, watchdog, plant, still, count_
  };
  Kind kind = none;
  unsigned which = 0;
  float value = 0.0f;
  bool on = false;
  std::uint32_t left = 0;
};

// A line of an operator's script.
struct DrillLine {
  enum When : std::uint8_t { now, idle, soaking, holding, pumping, flowing, over, tuned, heating, leaking } when;
  std::uint16_t ticks;                  // after that
  enum What : std::uint8_t { command, parameter, segment, read, key, trouble, restart } what;
  unsigned code = 0, argument = 0;      // command and its argument; kind of a trouble and what of it; register and how many
  float value = 0.0f;                   // of command, parameter or trouble; seconds of an outage
  std::uint32_t last_ticks = 0;         // of a trouble
  const char* name = nullptr;           // parameter
};

// What an act is about: the unit it needs, the programme that runs, what the operator does.
enum class Unit : std::uint8_t { air, retort, combustible };
struct Drill {
  const char* name;
  Unit unit;
  bool drives;                          // cycles are kept going beside the script
  std::uint32_t period_ms;
  std::uint32_t watched_ticks;          // so long after the script the troubles come that the core watches for
  std::vector<fw::Segment> (*programme)();
  void (*prepare)(fw::Parameters&);
  std::span<const DrillLine> lines;
};
std::span<const Drill> drills();
fw::Segment drill_segment(unsigned number);   // what scripts write into the programme window

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
  Start after_cut();
  void begin_act(bool anew);
  // store images
  Bytes fresh_image();
  void spoil(Bytes& image);
  void reseal(Bytes& image);
  fw::Parameters parameters();
  void fit_out(fw::Parameters& parameters);
  void fit_out_heat(fw::Parameters& parameters);
  void fit_out_gas(fw::Parameters& parameters);
  void disturb(fw::Parameters& parameters);
  Bytes layout_1_image();
  std::vector<fw::Segment> programme();
  std::vector<fw::Segment> gas_cycle();
  std::vector<fw::Segment> heat_cycle();
  std::vector<fw::Segment> combustible_cycle();
  fw::Segment any_segment(int index);
  // station
  Bytes station_answer();
  double channel(int number) const;
  unsigned discrete() const;
  struct Aim;
  bool aimed_at(const Aim& aim) const;
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
  Bytes window_write(const fw::Segment& segment, unsigned programme, std::size_t words);
  Bytes parameter_request();
  Bytes drill_request(const fw::Controller& core);
  bool drill_waits(const fw::Controller& core, const DrillLine& line);
  void mangle(Bytes& frame);

  Chance chance_;
  Furnace furnace_;
  rtu::Order told_;
  Bytes image_;                     // of the store as the core has written it
  Bytes answer_;                    // waits for the next tick
  Bytes split_;                     // rest of a request that comes in two pieces
  std::array<Trouble, 4> troubles_{};
  std::uint64_t now_us_ = 0;
  std::uint32_t act_left_ = 0, period_ms_ = 100;
  Unit unit_ = Unit::air;
  std::array<double, 2> emf_share_{1.0, 1.0};   // of the thermocouples in the zones and in the load, over that of type K
  const Drill* drill_ = nullptr;
  std::uint32_t acts_ = 0, drill_next_ = 0, drill_line_ = 0, drill_since_ = 0;
  std::uint32_t drill_left_ = 0, outage_s_ = 0;   // an act that a power cut breaks off goes on for so long
  bool drill_met_ = false, key_ = false;
  bool calm_ = false;               // this act has few troubles, so that cycles come to their end
  bool heats_ = false, holds_ = false, flows_ = false, rests_ = false;   // the core does
  std::array<std::uint16_t, 64> aimed_{};   // how often, by aim
  std::uint32_t rest_ = 0;                  // ticks until one may be taken
  Bytes before_;                            // the answer before
};

}  // namespace torture
