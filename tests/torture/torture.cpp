#include "tests/torture/torture.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "firmware/parameter_store.h"
#include "firmware/registers.h"
#include "tests/transmitters.h"

namespace torture {

namespace {

using std::clamp;
using transmitters::loop_ma;
using transmitters::type_k_mv;

// Straight between powers of two: a libm's own logarithm may differ from machine to machine, and nothing here needs a better one.
double rough_log2(double value) {
  int exponent = 0;
  const double mantissa = std::frexp(value > 1e-12 ? value : 1e-12, &exponent);
  return exponent - 1 + (2.0 * mantissa - 1.0);
}

}  // namespace

std::uint64_t Chance::word() {
  state_ += 0x9E3779B97F4A7C15u;
  std::uint64_t value = state_;
  value = (value ^ (value >> 30)) * 0xBF58476D1CE4E5B9u;
  value = (value ^ (value >> 27)) * 0x94D049BB133111EBu;
  return value ^ (value >> 31);
}

// --- Furnace -----------------------------------------------------------------------------------------------------------

// What the meters let in, and the flame that burns off what leaves.
void Furnace::move_gas(const rtu::Order& told, double dt) {
  for (std::size_t m = 0; m < 2; ++m) {
    const bool open = supply && told.coil(fw::coil::process_open) && told.gas != 0;
    const double asked_slm = open ? (static_cast<double>(told.flow_ma[m]) - 4.0) / 16.0 * 7.0 : 0.0;
    flow_slm[m] += dt / (0.3 + dt) * (asked_slm - flow_slm[m]);
  }
  flame_s = told.coil(fw::coil::pilot) && !flame_out ? flame_s + dt : 0.0;
  if (!valve_sticks) valve_frac = static_cast<double>(told.valve_frac);
}

void Furnace::move(const rtu::Order& told, double dt) {
  using namespace fw::coil;
  const bool closed = told.coil(contactor) || welded;
  double mean = 0.0;
  for (std::size_t z = 0; z < 4; ++z) {
    const double demand = closed && !element_broken ? (switch_shorted ? 1.0 : static_cast<double>(told.demand[z])) : 0.0;
    zone_degc[z] += dt * (1500.0 * demand - (zone_degc[z] - 20.0)) / (20.0 + 2.0 * static_cast<double>(z));
    mean += 0.25 * zone_degc[z];
  }
  load_degc += dt * (mean - load_degc) / 8.0;
  move_gas(told, dt);
  const double in_slm = flow_slm[0] + flow_slm[1] + (supply && !told.coil(purge_shut) ? 1.0 : 0.0);
  const double air_slm = told.coil(air_open) ? 100.0 * std::max(0.0, 1.0 - chamber_pa / barometer_pa) : 0.0;
  const double before_pa = chamber_pa;
  const double quick = chamber_pa < 0.9 * barometer_pa ? 3.0 : 1.0;   // emptied, it is filled in some seconds
  const double risen_pa = quick * dt * 8.0 * (in_slm + air_slm) * 120.0 + leak_pa_s * dt;
  oxygen_frac = (oxygen_frac * before_pa + 0.2095 * dt * 8.0 * air_slm * 120.0 + 2e-6 * dt * 8.0 * in_slm * 120.0) /
                (before_pa + risen_pa + 1e-9);
  oxygen_frac = clamp(oxygen_frac, 1e-8, 1.0);
  chamber_pa += risen_pa;
  const double over_pa = chamber_pa - barometer_pa - 300.0;
  if (!told.coil(exhaust_shut) && !exhaust_blocked && over_pa > 0.0) {
    const double opening = 0.005 + 0.995 * valve_frac * valve_frac * valve_frac + (told.coil(bypass_open) ? 1.0 : 0.0);
    chamber_pa -= std::min(over_pa, dt * 8.0 * 12.0 * opening * std::sqrt(over_pa / 4000.0) * 120.0);
    oxygen_frac += dt * (2e-6 - oxygen_frac) * 0.5 * (in_slm > 0.2 ? 1.0 : 0.0);
  }
  pump_s = told.coil(pump_motor) ? pump_s + dt : 0.0;
  if (told.coil(isolation_open) && pump_s > 2.0) chamber_pa += dt / (0.5 + dt) * (2.0 - chamber_pa);
  chamber_pa = clamp(chamber_pa, 0.5, 2.0e5);
}

// --- Station -----------------------------------------------------------------------------------------------------------

double Torture::channel(int number) const {
  const Furnace& f = furnace_;
  const double gauge_pa = f.chamber_pa - f.barometer_pa;
  const bool closed = told_.coil(fw::coil::contactor) || f.welded;
  if (number < 4) return emf_share_[0] * (type_k_mv(f.zone_degc[static_cast<std::size_t>(number)]) - 1.0);
  if (number >= 20) {
    const double demand = f.switch_shorted ? 1.0 : static_cast<double>(told_.demand[static_cast<std::size_t>(number - 20)]);
    return loop_ma(closed && !f.element_broken ? 13.0 * std::sqrt(demand) : 0.0, 0.0, 30.0);
  }
  switch (number) {
    case 4: case 5: return emf_share_[1] * (type_k_mv(f.load_degc) - 1.0);
    case 6: return 109.735;  // Pt100 at 25 degC, IEC 60751
    case 7: return loop_ma(gauge_pa, -5000.0, 20000.0);
    case 8: return std::min(f.chamber_pa / 133.322, 10.2);
    case 9: return clamp(1.0 + 1.25 * 0.30103 * rough_log2(f.chamber_pa / 0.1), 1.0, 9.0);
    case 10: case 11: return loop_ma(f.flow_slm[static_cast<std::size_t>(number - 10)] / 1.4, 0.0, 5.0);
    case 12: return 20.96 * 0.693147 * rough_log2(0.2095 / f.oxygen_frac);
    case 13: return loop_ma(700.0, 0.0, 1000.0);
    case 14: return loop_ma(-60.0, -100.0, 20.0);
    case 15: return loop_ma(f.barometer_pa, 80000.0, 110000.0);
    case 16: return loop_ma(f.valve_frac, 0.0, 1.0);
    case 17: return loop_ma(230.0, 0.0, 300.0);
    case 18: return loop_ma(f.supply ? 40000.0 : 0.0, 0.0, 100000.0);
    default: return loop_ma(35.0, 0.0, 200.0);
  }
}

unsigned Torture::discrete() const {
  using namespace fw::discrete;
  namespace coil = fw::coil;
  const auto at = [](bool on, unsigned bit) { return on ? bit : 0u; };
  return door_closed | emergency_stop_healthy | limiter_healthy | at(told_.coil(coil::contactor) || furnace_.welded, contactor_closed) |
         at(furnace_.pump_s > 2.0, pump_at_speed) | at(!told_.coil(coil::exhaust_shut), exhaust_open) |
         at(told_.coil(coil::isolation_open), isolation_open) | at(furnace_.supply, supply_present) |
         at(furnace_.chamber_pa - furnace_.barometer_pa > 12000.0, over_pressure) | at(told_.coil(coil::bypass_open), bypass_open) |
         at(told_.coil(coil::air_open), air_open) | at(told_.coil(coil::process_open), process_open) |
         at(!told_.coil(coil::purge_shut), purge_open) | at(key_, key_commissioning) | at(furnace_.flame_s > 0.5, burn_off_proven);
}

Bytes Torture::station_answer() {
  Bytes bytes{1, 23, 108};
  put16(bytes, told_.sequence);
  put16(bytes, 0);
  put16(bytes, 0);
  put16(bytes, discrete());
  put16(bytes, 0);
  put16(bytes, 1);
  for (int c = 0; c < 24; ++c) put_float(bytes, static_cast<float>(channel(c) + chance_.between(-1e-3, 1e-3)));
  return bytes;
}

float Torture::odd_value() {
  constexpr std::uint32_t patterns[] = {0x7FC00000u, 0xFFC00001u, 0x7F800001u, 0x7FBFFFFFu, 0x7F800000u, 0xFF800000u, 0x00000001u,
                                        0x80000001u, 0x007FFFFFu, 0x80000000u, 0x00000000u, 0x7F7FFFFFu, 0xFF7FFFFFu, 0x4F000000u,
                                        0xCF000000u, 0x5F000000u, 0x00800000u, 0x3F800001u};
  constexpr float levels[] = {3.5f, 3.599f, 3.6f, 3.7f, 3.8f, 3.95f, 4.0f, 20.0f, 20.5f, 20.8f, 21.0f, 21.01f, 22.0f, 0.0f, -10.0f,
                              60.0f, 110.0f, 10.25f, 10.4f, 1.0e4f};
  if (chance_.once_in(2)) return std::bit_cast<float>(patterns[chance_.below(std::size(patterns))]);
  if (chance_.once_in(8)) return std::bit_cast<float>(static_cast<std::uint32_t>(chance_.word()));
  return levels[chance_.below(std::size(levels))];
}

void Torture::apply_to_plant(Trouble& trouble, bool begins) {
  switch (trouble.which % 10) {
    case 0: furnace_.welded = begins; break;
    case 1: furnace_.element_broken = begins; break;
    case 2: furnace_.exhaust_blocked = begins; break;
    case 3: furnace_.supply = !begins; break;
    case 4: furnace_.switch_shorted = begins; break;
    case 5: furnace_.leak_pa_s = begins ? chance_.between(1.0, 3000.0) : 0.0; break;
    case 6: if (begins) furnace_.load_degc += chance_.between(-300.0, 900.0); break;
    case 7: if (begins) furnace_.oxygen_frac = chance_.between(1e-5, 0.2); break;
    case 8: furnace_.flame_out = begins; break;
    default: furnace_.valve_sticks = begins; break;
  }
}

// One trouble for each thing the core watches that chance alone seldom hits: what to do to the station, when, how long.
struct Torture::Aim {
  Trouble::Kind kind;
  unsigned which;
  float value;
  bool on;
  enum When { heating, holding, evacuating, flowing, resting } when;
  std::uint32_t last_ms;
};

bool Torture::aimed_at(const Aim& aim) const {
  switch (aim.when) {
    case Aim::heating: return heats_;
    case Aim::holding: return holds_;
    case Aim::evacuating: return told_.coil(fw::coil::isolation_open);
    case Aim::flowing: return flows_;
    default: return rests_;
  }
}

// Of those whose moment it is the one that has come least often.
void Torture::take_aim() {
  using Kind = Trouble::Kind;
  static constexpr Aim aims[] = {
      {Kind::channel, 0, 45.0f, true, Aim::heating, 3000},         // heater side above its trip
      {Kind::channel, 4, 45.0f, true, Aim::heating, 3000},         // load above its trip
      {Kind::channel, 4, 35.0f, true, Aim::heating, 70000},        // load hotter than the heater side
      {Kind::channel, 0, 6.0f, true, Aim::heating, 30000},         // a zone that does not respond
      {Kind::channel, 20, 4.0f, true, Aim::heating, 15000},        // an element without current
      {Kind::channel, 1, -2.0f, true, Aim::heating, 4000},         // wires swapped
      {Kind::channel, 6, 85.0f, true, Aim::heating, 500},          // frost at the terminals
      {Kind::channel, 17, 10.0f, true, Aim::heating, 5000},        // mains low
      {Kind::channel, 17, 3.0f, true, Aim::heating, 9000},         // mains not measured
      {Kind::discrete, 0, 0.0f, false, Aim::heating, 1000},        // door
      {Kind::discrete, 1, 0.0f, false, Aim::heating, 1000},        // emergency stop
      {Kind::discrete, 2, 0.0f, false, Aim::heating, 4000},        // contactor open though told to close
      {Kind::still, 0, 0.0f, true, Aim::heating, 9000},            // nothing moves any more
      {Kind::silent, 0, 0.0f, true, Aim::heating, 2000},           // the line
      {Kind::watchdog, 0, 0.0f, true, Aim::heating, 1000},         // the station has acted
      {Kind::channel, 5, 30.0f, true, Aim::heating, 65000},        // second load thermocouple
      {Kind::channel, 4, -20.0f, true, Aim::holding, 2000},        // load thermocouple out of its range
      {Kind::channel, 7, 3.0f, true, Aim::holding, 2000},          // gauge-pressure transmitter
      {Kind::channel, 7, 3.7f, true, Aim::holding, 9000},          // below its range
      {Kind::channel, 12, 10.0f, true, Aim::holding, 60000},       // oxygen at some ten per cent
      {Kind::channel, 13, 4.0f, true, Aim::holding, 45000},        // oxygen cell cold
      {Kind::channel, 14, 19.0f, true, Aim::holding, 40000},       // moist
      {Kind::channel, 14, 3.0f, true, Aim::holding, 9000},         // dew point not measured
      {Kind::channel, 10, 4.0f, true, Aim::holding, 40000},        // no flow
      {Kind::channel, 18, 4.5f, true, Aim::holding, 4000},         // supply pressure low
      {Kind::plant, 3, 0.0f, true, Aim::holding, 12000},           // supply gone
      {Kind::plant, 2, 0.0f, true, Aim::holding, 20000},           // exhaust line blocked
      {Kind::plant, 9, 0.0f, true, Aim::holding, 20000},           // the valve sticks
      {Kind::discrete, 4, 0.0f, false, Aim::holding, 9000},        // exhaust shut
      {Kind::discrete, 7, 0.0f, true, Aim::holding, 1000},         // over-pressure switch
      {Kind::discrete, 3, 0.0f, false, Aim::evacuating, 2000},     // pump lost
      {Kind::discrete, 12, 0.0f, true, Aim::evacuating, 4000},     // an inlet that does not shut
      {Kind::channel, 8, 9.0f, true, Aim::evacuating, 4000},       // vacuum lost
      {Kind::channel, 9, 8.0f, true, Aim::evacuating, 3000},       // the gauges contradict one another
      {Kind::plant, 5, 0.0f, true, Aim::evacuating, 8000},         // a leak
      {Kind::plant, 8, 0.0f, true, Aim::flowing, 2000},            // burn-off flame out
      {Kind::channel, 11, 12.0f, true, Aim::flowing, 7000},        // too much of the other gas
      {Kind::channel, 10, 3.0f, true, Aim::flowing, 7000},         // hydrogen not measured
      {Kind::channel, 12, 20.0f, true, Aim::flowing, 4000},        // air in it
      {Kind::channel, 7, 7.25f, true, Aim::flowing, 4000},         // no pressure left
      {Kind::discrete, 0, 0.0f, false, Aim::flowing, 1000},        // door
      {Kind::discrete, 12, 0.0f, true, Aim::resting, 6000},        // process valve does not shut
      {Kind::channel, 10, 12.0f, true, Aim::resting, 6000},        // its meter passes
      {Kind::discrete, 2, 0.0f, true, Aim::resting, 3000},         // contactor welded
      {Kind::channel, 20, 12.0f, true, Aim::resting, 3000},        // a switch conducts
      {Kind::channel, 0, 12.0f, true, Aim::resting, 4000},         // heat that nobody asked for
      {Kind::discrete, 8, 0.0f, false, Aim::resting, 1000},        // limiter
      {Kind::discrete, 0, 0.0f, false, Aim::resting, 3000},        // door
  };
  static_assert(std::size(aims) <= 64);
  if (troubles_.back().left > 0 || rest_ > 0) {
    rest_ -= rest_ > 0 ? 1 : 0;
    return;
  }
  const bool watched = drill_ == nullptr || (drill_line_ > drill_->lines.size() && drill_->watched_ticks > 0);
  if (!watched || !chance_.once_in(8)) return;
  std::size_t chosen = std::size(aims);
  for (std::size_t i = 0; i < std::size(aims); ++i) {
    if (aimed_at(aims[i]) && (chosen == std::size(aims) || aimed_[i] < aimed_[chosen])) chosen = i;
  }
  if (chosen == std::size(aims)) return;
  const Aim& aim = aims[chosen];
  ++aimed_[chosen];
  rest_ = 80;
  troubles_.back() = {aim.kind, aim.which, aim.value, aim.on, 1 + aim.last_ms / period_ms_};
  if (aim.kind == Trouble::plant) apply_to_plant(troubles_.back(), true);
}

// Where heat and gas are at work troubles come oftener and stay longer than the delays of the interlock rows.
void Torture::new_troubles() {
  const std::uint32_t often_in = drill_ != nullptr ? 8000 : !calm_ ? 500 : heats_ || holds_ ? 3000 : 6000;
  for (Trouble& trouble : troubles_) {
    if (trouble.left > 0 && --trouble.left == 0 && trouble.kind == Trouble::plant) apply_to_plant(trouble, false);
    if (&trouble == &troubles_.back() || trouble.left > 0 || !chance_.once_in(often_in)) continue;
    constexpr Trouble::Kind often[] = {Trouble::channel, Trouble::channel, Trouble::channel, Trouble::discrete, Trouble::discrete,
                                       Trouble::plant, Trouble::plant, Trouble::plant};
    trouble.kind = chance_.once_in(2) || holds_ ? often[chance_.below(std::size(often))]
                                               : static_cast<Trouble::Kind>(1 + chance_.below(Trouble::count_ - 1));
    trouble.which = chance_.below(trouble.kind == Trouble::discrete ? 16 : 24);
    trouble.value = odd_value();
    trouble.on = chance_.once_in(2);
    trouble.left = 1 + (heats_ || holds_ ? 60 + chance_.below(240) : chance_.below(chance_.once_in(3) ? 120 : 6));
    if (trouble.kind == Trouble::plant) apply_to_plant(trouble, true);
  }
}

void Torture::apply(Bytes& answer) {
  for (const Trouble& trouble : troubles_) {
    if (trouble.left == 0) continue;
    const std::size_t at = 3 + 12 + 4 * std::size_t{trouble.which % 24};
    const auto bits = std::bit_cast<std::uint32_t>(trouble.value);
    switch (trouble.kind) {
      case Trouble::channel:
        for (std::size_t i = 0; i < 4; ++i) answer[at + i] = static_cast<std::uint8_t>(bits >> (24 - 8 * i));
        break;
      case Trouble::discrete: {
        std::uint8_t& byte = answer[3 + 6 + (trouble.which < 8 ? 1 : 0)];
        const auto bit = static_cast<std::uint8_t>(1u << (trouble.which % 8));
        byte = static_cast<std::uint8_t>(trouble.on ? byte | bit : byte & ~bit);
        break;
      }
      case Trouble::status: {
        std::uint8_t& byte = answer[3 + (trouble.which < 16 ? 2 : 4) + (trouble.which % 16 < 8 ? 1 : 0)];
        byte = static_cast<std::uint8_t>(byte | 1u << (trouble.which % 8));
        break;
      }
      case Trouble::watchdog: answer[3 + 9] = 1; break;
      case Trouble::old_map: answer[3 + 11] = 7; break;
      case Trouble::still:
        if (before_.size() >= answer.size()) std::copy_n(before_.begin() + 15, answer.size() - 15, answer.begin() + 15);
        break;
      case Trouble::late: answer[4] = static_cast<std::uint8_t>(answer[4] - 1); break;
      default: break;
    }
  }
  before_ = answer;
  answer = sealed(std::move(answer));
  for (const Trouble& trouble : troubles_) {
    if (trouble.left == 0) continue;
    if (trouble.kind == Trouble::silent) answer.clear();
    if (answer.empty()) return;
    if (trouble.kind == Trouble::exception) answer = sealed({1, 0x97, static_cast<std::uint8_t>(1 + trouble.which % 8)});
    if (trouble.kind == Trouble::damaged) answer[trouble.which % answer.size()] ^= static_cast<std::uint8_t>(1u << (trouble.which % 8));
    if (trouble.kind == Trouble::truncated) answer.resize(answer.size() / (1 + trouble.which % 4));
    if (trouble.kind == Trouble::junk) {
      Bytes junk(1 + trouble.which * (trouble.on ? 5 : 35));
      for (std::uint8_t& byte : junk) byte = static_cast<std::uint8_t>(chance_.word());
      if (trouble.on) answer.insert(answer.begin(), junk.begin(), junk.end());
      else answer.insert(answer.end(), junk.begin(), junk.end());
    }
  }
}

// --- The turn of a tick ------------------------------------------------------------------------------------------------

Torture::Torture(std::uint64_t seed) : chance_(seed), acts_(chance_.below(2)), drill_next_(chance_.below(64)) {}

TickIn Torture::tick(const fw::Controller& core) {
  TickIn in;
  --act_left_;
  heats_ = core.outputs.demand_frac[0] > 0.15f;
  holds_ = core.atmosphere.phase == fw::AtmospherePhase::holding && core.run.heat_wanted;
  flows_ = core.atmosphere.combustible.flowing;
  rests_ = core.inputs.known && !fw::programme_active(core.run) && core.interlocks.latched == 0;
  now_us_ += period_ms_ * 1000u;
  if (chance_.once_in(3000)) now_us_ += chance_.below(30000000);     // a clock that jumps
  if (chance_.once_in(8000) && now_us_ > 10000000u) now_us_ -= 3000000u;
  in.now_us = now_us_;
  in.field_arrival_us = now_us_ - (chance_.once_in(50) ? chance_.below(2000) : period_ms_ * 800u);
  in.supervisory_arrival_us = now_us_ - (chance_.once_in(50) ? chance_.below(2000) : period_ms_ * 500u);
  in.field = std::move(answer_);
  answer_.clear();
  in.supervisory = operator_request(core);
  return in;
}

void Torture::answered(std::span<const std::uint8_t> field, std::span<const std::uint8_t>, std::uint32_t store_offset,
                       std::span<const std::uint8_t> store) {
  static_cast<void>(rtu::take_order(field, told_));
  if (!store.empty() && store_offset + store.size() <= image_.size()) {
    std::copy(store.begin(), store.end(), image_.begin() + store_offset);
  }
  new_troubles();
  take_aim();
  furnace_.move(told_, 0.1);
  answer_ = station_answer();
  apply(answer_);
}

}  // namespace torture
