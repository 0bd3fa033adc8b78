#include "tests/torture/torture.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "firmware/parameter_store.h"
#include "firmware/registers.h"

namespace torture {

namespace {

constexpr std::size_t request_bytes = 49;
using std::clamp;

unsigned get16(std::span<const std::uint8_t> bytes, std::size_t at) { return bytes[at] * 256u + bytes[at + 1]; }
float get_float(std::span<const std::uint8_t> bytes, std::size_t at) {
  return std::bit_cast<float>(static_cast<std::uint32_t>(get16(bytes, at) << 16 | get16(bytes, at + 2)));
}

std::uint16_t crc16(std::span<const std::uint8_t> bytes) {
  unsigned crc = 0xFFFF;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 1u) ? (crc >> 1) ^ 0xA001u : crc >> 1;
  }
  return static_cast<std::uint16_t>(crc);
}

// Straight between powers of two: a libm's own logarithm may differ from machine to machine, and nothing here needs a better one.
double rough_log2(double value) {
  int exponent = 0;
  const double mantissa = std::frexp(value > 1e-12 ? value : 1e-12, &exponent);
  return exponent - 1 + (2.0 * mantissa - 1.0);
}

// NIST Monograph 175, type K, every 100 degC; straight between.
double type_k_mv(double degc) {
  constexpr std::array<double, 15> table{-3.554, 0.0,    4.096,  8.138,  12.209, 16.397, 20.644, 24.905,
                                         29.129, 33.275, 37.326, 41.276, 45.119, 48.838, 52.410};
  const double at = clamp(degc / 100.0 + 1.0, 0.0, 13.999);
  const auto i = static_cast<std::size_t>(at);
  return table[i] + (at - static_cast<double>(i)) * (table[i + 1] - table[i]);
}

double loop_ma(double value, double low, double high) { return clamp(4.0 + 16.0 * (value - low) / (high - low), 3.8, 20.5); }

}  // namespace

std::uint64_t Chance::word() {
  state_ += 0x9E3779B97F4A7C15u;
  std::uint64_t value = state_;
  value = (value ^ (value >> 30)) * 0xBF58476D1CE4E5B9u;
  value = (value ^ (value >> 27)) * 0x94D049BB133111EBu;
  return value ^ (value >> 31);
}

void put16(Bytes& bytes, unsigned value) {
  bytes.push_back(static_cast<std::uint8_t>(value >> 8));
  bytes.push_back(static_cast<std::uint8_t>(value));
}

void put_float(Bytes& bytes, float value) {
  const auto bits = std::bit_cast<std::uint32_t>(value);
  put16(bytes, bits >> 16);
  put16(bytes, bits & 0xFFFFu);
}

Bytes sealed(Bytes frame) {
  const std::uint16_t crc = crc16(frame);
  frame.push_back(static_cast<std::uint8_t>(crc));
  frame.push_back(static_cast<std::uint8_t>(crc >> 8));
  return frame;
}

// --- Furnace -----------------------------------------------------------------------------------------------------------

void Furnace::move(const Told& told, double dt) {
  using namespace fw::coil;
  const bool closed = told.coil(contactor) || welded;
  double mean = 0.0;
  for (std::size_t z = 0; z < 4; ++z) {
    const double demand = closed && !element_broken ? (switch_shorted ? 1.0 : static_cast<double>(told.demand[z])) : 0.0;
    zone_degc[z] += dt * (1500.0 * demand - (zone_degc[z] - 20.0)) / (20.0 + 2.0 * static_cast<double>(z));
    mean += 0.25 * zone_degc[z];
  }
  load_degc += dt * (mean - load_degc) / 8.0;
  const double asked = supply && told.coil(process_open) && told.gas != 0 ? (static_cast<double>(told.flow_ma) - 4.0) / 16.0 * 7.0 : 0.0;
  flow_slm += dt / (0.3 + dt) * (asked - flow_slm);
  const double in_slm = flow_slm + (supply && !told.coil(purge_shut) ? 1.0 : 0.0);
  const double air_slm = told.coil(air_open) ? 100.0 * std::max(0.0, 1.0 - chamber_pa / barometer_pa) : 0.0;
  const double before_pa = chamber_pa;
  const double risen_pa = dt * 8.0 * (in_slm + air_slm) * 120.0 + leak_pa_s * dt;
  oxygen_frac = (oxygen_frac * before_pa + 0.2095 * dt * 8.0 * air_slm * 120.0 + 2e-6 * dt * 8.0 * in_slm * 120.0) /
                (before_pa + risen_pa + 1e-9);
  oxygen_frac = clamp(oxygen_frac, 1e-8, 1.0);
  chamber_pa += risen_pa;
  const double over_pa = chamber_pa - barometer_pa - 300.0;
  if (!told.coil(exhaust_shut) && !exhaust_blocked && over_pa > 0.0) {
    const auto valve = static_cast<double>(told.valve_frac);
    const double opening = 0.02 + 0.98 * valve * valve * valve +
                           (told.coil(bypass_open) ? 1.0 : 0.0);
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
  if (number < 4) return type_k_mv(f.zone_degc[static_cast<std::size_t>(number)]) - 1.0;
  if (number >= 20) {
    const double demand = f.switch_shorted ? 1.0 : static_cast<double>(told_.demand[static_cast<std::size_t>(number - 20)]);
    return loop_ma(closed && !f.element_broken ? 13.0 * std::sqrt(demand) : 0.0, 0.0, 30.0);
  }
  switch (number) {
    case 4: case 5: return type_k_mv(f.load_degc) - 1.0;
    case 6: return 109.735;  // Pt100 at 25 degC, IEC 60751
    case 7: return loop_ma(gauge_pa, -5000.0, 20000.0);
    case 8: return std::min(f.chamber_pa / 133.322, 10.2);
    case 9: return clamp(1.0 + 1.25 * 0.30103 * rough_log2(f.chamber_pa / 0.1), 1.0, 9.0);
    case 10: return loop_ma(f.flow_slm / 1.4, 0.0, 5.0);
    case 11: return 4.0;
    case 12: return 20.96 * 0.693147 * rough_log2(0.2095 / f.oxygen_frac);
    case 13: return loop_ma(700.0, 0.0, 1000.0);
    case 14: return loop_ma(-60.0, -100.0, 20.0);
    case 15: return loop_ma(f.barometer_pa, 80000.0, 110000.0);
    case 16: return loop_ma(static_cast<double>(told_.valve_frac), 0.0, 1.0);
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
         at(!told_.coil(coil::purge_shut), purge_open);
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
  switch (trouble.which % 8) {
    case 0: furnace_.welded = begins; break;
    case 1: furnace_.element_broken = begins; break;
    case 2: furnace_.exhaust_blocked = begins; break;
    case 3: furnace_.supply = !begins; break;
    case 4: furnace_.switch_shorted = begins; break;
    case 5: furnace_.leak_pa_s = begins ? chance_.between(1.0, 3000.0) : 0.0; break;
    case 6: if (begins) furnace_.load_degc += chance_.between(-300.0, 900.0); break;
    default: if (begins) furnace_.oxygen_frac = chance_.between(1e-5, 0.2); break;
  }
}

// One trouble for each thing the core watches that chance alone seldom hits: what to do to the station, when, how long.
struct Torture::Aim {
  Trouble::Kind kind;
  unsigned which;
  float value;
  bool on;
  enum When { heating, holding, evacuating } when;
  std::uint32_t last_ms;
};

void Torture::take_aim() {
  using Kind = Trouble::Kind;
  constexpr Aim aims[] = {
      {Kind::channel, 0, 55.0f, true, Aim::heating, 3000},         // heater side above its trip
      {Kind::channel, 4, 55.0f, true, Aim::heating, 3000},         // load above its trip
      {Kind::channel, 4, 35.0f, true, Aim::heating, 70000},        // load hotter than the heater side
      {Kind::channel, 0, 6.0f, true, Aim::heating, 30000},         // a zone that does not respond
      {Kind::channel, 20, 4.0f, true, Aim::heating, 15000},        // an element without current
      {Kind::channel, 4, -20.0f, true, Aim::holding, 2000},        // load thermocouple out of its range
      {Kind::channel, 7, 3.0f, true, Aim::holding, 2000},          // gauge-pressure transmitter
      {Kind::channel, 12, 10.0f, true, Aim::holding, 60000},       // oxygen at some ten per cent
      {Kind::channel, 13, 4.0f, true, Aim::holding, 45000},        // oxygen cell cold
      {Kind::channel, 14, 19.0f, true, Aim::holding, 40000},       // moist
      {Kind::channel, 10, 4.0f, true, Aim::holding, 40000},        // no flow
      {Kind::channel, 17, 10.0f, true, Aim::heating, 5000},        // mains low
      {Kind::plant, 3, 0.0f, true, Aim::holding, 12000},           // supply gone
      {Kind::plant, 2, 0.0f, true, Aim::holding, 20000},           // exhaust line blocked
      {Kind::discrete, 4, 0.0f, false, Aim::holding, 9000},        // exhaust shut
      {Kind::discrete, 7, 0.0f, true, Aim::holding, 1000},         // over-pressure switch
      {Kind::discrete, 0, 0.0f, false, Aim::heating, 1000},        // door
      {Kind::discrete, 3, 0.0f, false, Aim::evacuating, 2000},     // pump lost
      {Kind::discrete, 12, 0.0f, true, Aim::evacuating, 4000},     // an inlet that does not shut
      {Kind::plant, 5, 0.0f, true, Aim::evacuating, 8000},         // a leak
  };
  if (troubles_.back().left > 0 || rest_ > 0) {
    rest_ -= rest_ > 0 ? 1 : 0;
    return;
  }
  const Aim& aim = aims[aim_ % std::size(aims)];
  const bool now = aim.when == Aim::heating ? heats_ : aim.when == Aim::holding ? holds_ : told_.coil(fw::coil::isolation_open);
  if (!now || !chance_.once_in(20)) return;
  ++aim_;
  rest_ = 300;
  troubles_.back() = {aim.kind, aim.which, aim.value, aim.on, 1 + aim.last_ms / period_ms_};
  if (aim.kind == Trouble::plant) apply_to_plant(troubles_.back(), true);
}

// Where heat and gas are at work troubles come oftener and stay longer than the delays of the interlock rows.
void Torture::new_troubles() {
  for (Trouble& trouble : troubles_) {
    if (trouble.left > 0 && --trouble.left == 0 && trouble.kind == Trouble::plant) apply_to_plant(trouble, false);
    if (&trouble == &troubles_.back() || trouble.left > 0 || !chance_.once_in(calm_ ? (heats_ || holds_ ? 3000 : 6000) : 500)) continue;
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
      case Trouble::late: answer[4] = static_cast<std::uint8_t>(answer[4] - 1); break;
      default: break;
    }
  }
  answer = sealed(std::move(answer));
  for (const Trouble& trouble : troubles_) {
    if (trouble.left == 0) continue;
    if (trouble.kind == Trouble::silent) answer.clear();
    if (answer.empty()) return;
    if (trouble.kind == Trouble::exception) answer = sealed({1, 0x97, static_cast<std::uint8_t>(1 + trouble.which % 8)});
    if (trouble.kind == Trouble::damaged) answer[trouble.which % answer.size()] ^= static_cast<std::uint8_t>(1u << (trouble.which % 8));
    if (trouble.kind == Trouble::truncated) answer.resize(answer.size() / (1 + trouble.which % 4));
    if (trouble.kind == Trouble::junk) {
      Bytes junk(1 + trouble.which * 5);
      for (std::uint8_t& byte : junk) byte = static_cast<std::uint8_t>(chance_.word());
      if (trouble.on) answer.insert(answer.begin(), junk.begin(), junk.end());
      else answer.insert(answer.end(), junk.begin(), junk.end());
    }
  }
}

// --- The turn of a tick ------------------------------------------------------------------------------------------------

Torture::Torture(std::uint64_t seed) : chance_(seed) {}

TickIn Torture::tick(const fw::Controller& core) {
  TickIn in;
  --act_left_;
  heats_ = core.outputs.demand_frac[0] > 0.3f;
  holds_ = core.atmosphere.phase == fw::AtmospherePhase::holding && core.run.heat_wanted;
  now_us_ += period_ms_ * 1000u;
  if (chance_.once_in(3000)) now_us_ += chance_.below(5000000);     // a clock that jumps
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
  if (field.size() == request_bytes && crc16(field) == 0) {
    constexpr std::size_t data = 11;
    told_.known = true;
    told_.sequence = get16(field, data);
    told_.coils = get16(field, data + 2);
    told_.gas = get16(field, data + 6);
    for (std::size_t z = 0; z < 4; ++z) told_.demand[z] = get_float(field, data + 8 + 4 * z);
    told_.flow_ma = get_float(field, data + 24);
    told_.valve_frac = get_float(field, data + 32);
  }
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
