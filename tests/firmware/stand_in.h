// A small plant behind a station of its own, for driving the core through its bytes only. Its framing is written here a third
// time on purpose. The physics is coarse: one thermal mass, one gas volume, well mixed; what the tests judge is the core.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "firmware/controller.h"
#include "firmware/controller_state.h"
#include "firmware/parameter_store.h"
#include "firmware/registers.h"

namespace stand_in {

using Bytes = std::vector<std::uint8_t>;

inline std::uint16_t crc16(std::span<const std::uint8_t> bytes) {
  std::uint16_t crc = 0xFFFF;
  for (const std::uint8_t byte : bytes) {
    crc = static_cast<std::uint16_t>(crc ^ byte);
    for (int bit = 0; bit < 8; ++bit) crc = static_cast<std::uint16_t>((crc & 1) ? (crc >> 1) ^ 0xA001 : crc >> 1);
  }
  return crc;
}

inline void put16(Bytes& bytes, unsigned value) {
  bytes.push_back(static_cast<std::uint8_t>(value >> 8));
  bytes.push_back(static_cast<std::uint8_t>(value));
}

inline void put_float(Bytes& bytes, double value) {
  const float single = static_cast<float>(value);
  std::uint32_t bits = 0;
  std::memcpy(&bits, &single, 4);
  put16(bytes, bits >> 16);
  put16(bytes, bits & 0xFFFF);
}

inline void seal(Bytes& bytes) {
  const std::uint16_t crc = crc16(bytes);
  bytes.push_back(static_cast<std::uint8_t>(crc));
  bytes.push_back(static_cast<std::uint8_t>(crc >> 8));
}

inline unsigned get16(std::span<const std::uint8_t> bytes, std::size_t at) { return bytes[at] * 256u + bytes[at + 1]; }

inline float get_float(std::span<const std::uint8_t> bytes, std::size_t at) {
  const std::uint32_t bits = (get16(bytes, at) << 16) | get16(bytes, at + 2);
  float value = 0.0f;
  std::memcpy(&value, &bits, 4);
  return value;
}

// Type K, published table values (NIST Monograph 175, reference junction 0 degC): mV at 0, 100, ... 1200 degC. Linear in
// between is good to 1.5 K, which is enough to drive logic.
inline double type_k_mv(double degc) {
  constexpr std::array<double, 13> table{0.0,    4.096,  8.138,  12.209, 16.397, 20.644, 24.905,
                                         29.129, 33.275, 37.326, 41.276, 45.119, 48.838};
  const double at = std::min(std::max(degc / 100.0, 0.0), 11.999);
  const auto i = static_cast<std::size_t>(at);
  return table[i] + (at - static_cast<double>(i)) * (table[i + 1] - table[i]);
}

// What the station was last told.
struct Told {
  unsigned sequence = 0, coils = 0, safe_row = 0, gas = 0;
  std::array<float, 4> demand{};
  float flow_ma = 4.0f, valve_frac = 1.0f;
  bool coil(unsigned bit) const { return (coils >> bit) & 1u; }
};

namespace bit {  // of the coils
enum : unsigned { contactor, process, purge_shut, exhaust_shut, bypass, air, pump, isolation, vent_shut, pilot, horn };
}

struct Process {
  double zone_degc = 20.0, load_degc = 20.0, ambient_degc = 20.0;
  double chamber_pa = 100800.0, barometer_pa = 100800.0;   // absolute
  double oxygen_frac = 0.2095;
  double leak_pa_s = 0.0;         // pressure rise by a leak, in vacuum
  double flow_slm = 0.0;          // through the meter
  double pump_s = 0.0;            // since the motor runs
  double dew_point_degc = -60.0;
  double volume_l = 14.0;
  bool exhaust_blocked = false, contactor_welded = false, switch_shorted = false, element_broken = false;
  double heat_gain_k = 1400.0;    // above ambient at full demand, for ever
  double heat_time_s = 2400.0;

  void heat(const Told& told, bool closed, double dt) {
    const double demand = closed && !element_broken ? (switch_shorted ? 1.0 : told.demand[0]) : 0.0;
    zone_degc += dt * (heat_gain_k * demand - (zone_degc - ambient_degc)) / heat_time_s;
    load_degc += dt * (zone_degc - load_degc) / 200.0;
  }

  void gas_in(double slm, double oxygen, double dt) {
    const double dp = slm / 60.0 * dt / volume_l * 101325.0 * 293.15 / 273.15;
    oxygen_frac = (oxygen_frac * chamber_pa + oxygen * dp) / (chamber_pa + dp);
    chamber_pa += dp;
  }

  void gas(const Told& told, bool supply, double dt) {
    const double asked = supply && told.coil(bit::process) && told.gas != 0 ? (told.flow_ma - 4.0) / 16.0 * 5.0 * 1.4 : 0.0;
    flow_slm += dt / (0.3 + dt) * (asked - flow_slm);
    gas_in(flow_slm, 2e-6, dt);
    if (supply && !told.coil(bit::purge_shut)) gas_in(1.0, 2e-6, dt);
    if (told.coil(bit::air)) gas_in(60.0 * std::max(0.0, 1.0 - chamber_pa / barometer_pa), 0.2095, dt);
    const bool out = !told.coil(bit::exhaust_shut) && !exhaust_blocked;
    const double over_pa = chamber_pa - barometer_pa - 300.0;
    if (out && over_pa > 0.0) {
      const double capacity = (told.valve_frac > 0.0f ? std::pow(50.0, told.valve_frac - 1.0) : 0.0) + (told.coil(bit::bypass) ? 1.0 : 0.0);
      const double slm = 12.0 * capacity * std::sqrt(over_pa / 4000.0);
      chamber_pa -= slm / 60.0 * dt / volume_l * 101325.0;
    }
    pump_s = told.coil(bit::pump) ? pump_s + dt : 0.0;
    if (told.coil(bit::isolation) && pump_s > 2.0) chamber_pa += dt * (2.0 - chamber_pa) * 0.6 / volume_l;
    chamber_pa += leak_pa_s * dt;
  }
};

struct StandIn {
  std::unique_ptr<fw::Controller> core = std::make_unique<fw::Controller>();
  Bytes image;                                    // of the store, kept up to date
  Process process;
  Told told;
  std::uint64_t tick_number = 0;
  std::map<std::string, double> seen;             // the monitor block after the last tick
  std::vector<std::uint16_t> last_read;           // registers of the last reply that carried some
  Bytes reply;                                    // last supervisory reply
  // what is planted
  std::array<std::optional<double>, 24> raw{};    // a channel's raw value
  std::uint32_t status = 0;                       // channel flags
  unsigned discrete_set = 0, discrete_clear = 0;
  unsigned station_flags = 0;
  bool silent = false, late = false, damaged = false;
  std::uint64_t ahead_us = 0;                     // of the clock by which the core is called
  bool supply = true;

  explicit StandIn(Bytes store_image) : image(std::move(store_image)) { restart(); }

  void forget_answer() { answer_.clear(); }

  void restart() {
    fw::start(*core, image, fw::ResetCause::power_on, 0);
    answer_.clear();
    tick_number = 0;
  }

  double value(const std::string& name) const {
    const auto found = seen.find(name);
    if (found == seen.end()) throw std::out_of_range("no register " + name);
    return found->second;
  }
  int trip() const { return static_cast<int>(value("interlock.trip")); }
  int state() const { return static_cast<int>(value("programme.state")); }
  int segment() const { return value("programme.segment") == 65535.0 ? -1 : static_cast<int>(value("programme.segment")); }
  int phase() const { return static_cast<int>(value("atmosphere.phase")); }
  bool alarm(int number) const {
    return (static_cast<std::uint32_t>(value(number < 32 ? "alarms.bits" : "alarms.bits_2")) >> (number % 32)) & 1u;
  }
  double gauge_pa() const { return process.chamber_pa - process.barometer_pa; }

  // One control period; request: sent on the supervisory line before it, empty for the monitor's read.
  void tick(Bytes request = {}) {
    const std::uint64_t now_us = tick_number * 100000u + ahead_us;
    if (!answer_.empty() && !silent) fw::receive(*core, fw::Port::field, answer_, now_us - 80000u);
    if (request.empty()) request = read_request(4, 0, fw::monitor_registers(4));
    fw::receive(*core, fw::Port::supervisory, request, now_us - 50000u);
    fw::step(*core, now_us);
    std::array<std::uint8_t, 256> buffer{};
    take_request({buffer.data(), fw::transmit(*core, fw::Port::field, buffer)});
    const std::size_t size = fw::transmit(*core, fw::Port::supervisory, buffer);
    reply.assign(buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(size));
    read_reply();
    const fw::StoreWrite write = fw::store(*core, buffer);
    std::copy(buffer.begin(), buffer.begin() + write.size, image.begin() + write.offset);
    answer_ = answer();
    move(0.1);
    ++tick_number;
  }

  void run(double seconds) {
    const long ticks = std::lround(seconds * 10.0);
    for (long i = 0; i < ticks; ++i) tick();
  }

  template <typename Condition>
  bool run_until(Condition condition, double longest_s) {
    const long ticks = std::lround(longest_s * 10.0);
    for (long i = 0; i < ticks; ++i) {
      tick();
      if (condition()) return true;
    }
    return false;
  }

  // Sends a command the way an operator's station does, FC 23 with the monitor block; the outcome shows a tick later.
  fw::Refusal command(fw::Command code, unsigned argument = 0, double value_given = 0.0) {
    tick(command_request(code, argument, value_given));
    tick();
    return static_cast<fw::Refusal>(static_cast<int>(value("command.result")));
  }

  static Bytes read_request(unsigned function, unsigned address, unsigned count) {
    Bytes bytes{1, static_cast<std::uint8_t>(function)};
    put16(bytes, address);
    put16(bytes, count);
    seal(bytes);
    return bytes;
  }

  static Bytes write_request(unsigned address, const Bytes& data) {
    Bytes bytes{1, 16};
    put16(bytes, address);
    put16(bytes, static_cast<unsigned>(data.size() / 2));
    bytes.push_back(static_cast<std::uint8_t>(data.size()));
    bytes.insert(bytes.end(), data.begin(), data.end());
    seal(bytes);
    return bytes;
  }

  static Bytes command_request(fw::Command code, unsigned argument, double value_given) {
    Bytes bytes{1, 23};
    put16(bytes, 0);
    put16(bytes, fw::monitor_registers(4));
    put16(bytes, fw::command_address);
    put16(bytes, 4);
    bytes.push_back(8);
    put16(bytes, static_cast<unsigned>(code));
    put16(bytes, argument);
    put_float(bytes, value_given);
    seal(bytes);
    return bytes;
  }

 private:
  Bytes answer_;

  void read_reply() {
    if (reply.size() < 5 || (reply[1] != 3 && reply[1] != 4 && reply[1] != 23)) return;
    last_read.clear();
    for (std::size_t i = 0; i < reply[2] / 2u; ++i) last_read.push_back(static_cast<std::uint16_t>(get16(reply, 3 + 2 * i)));
    if (last_read.size() != fw::monitor_registers(4)) return;
    for (const fw::RegisterInfo& info : fw::monitor_table()) {
      const std::size_t at = 3 + 2u * info.address;
      seen[info.name] = info.type == fw::RegisterType::u16   ? get16(reply, at)
                        : info.type == fw::RegisterType::u32 ? get16(reply, at) * 65536.0 + get16(reply, at + 2)
                                                             : static_cast<double>(get_float(reply, at));
    }
  }

  void take_request(std::span<const std::uint8_t> frame) {
    if (frame.size() != 49 || crc16(frame) != 0 || frame[0] != 1 || frame[1] != 23) throw std::runtime_error("field request");
    if (get16(frame, 2) != 0 || get16(frame, 4) != 54 || get16(frame, 6) != 0x100 || get16(frame, 8) != 18) {
      throw std::runtime_error("field request's ranges");
    }
    constexpr std::size_t data = 11;
    told.sequence = get16(frame, data);
    told.coils = get16(frame, data + 2);
    told.safe_row = get16(frame, data + 4);
    told.gas = get16(frame, data + 6);
    for (std::size_t z = 0; z < 4; ++z) told.demand[z] = get_float(frame, data + 8 + 4 * z);
    told.flow_ma = get_float(frame, data + 24);
    told.valve_frac = get_float(frame, data + 32);
  }

  bool contactor_closed() const { return told.coil(bit::contactor) || process.contactor_welded; }

  unsigned discrete() const {
    const auto at = [](bool on, unsigned place) { return on ? 1u << place : 0u; };
    const unsigned natural = at(true, 0) | at(true, 1) | at(contactor_closed(), 2) | at(process.pump_s > 2.0, 3) |
                             at(!told.coil(bit::exhaust_shut), 4) | at(told.coil(bit::isolation), 5) | at(supply, 6) |
                             at(gauge_pa() > 12000.0, 7) | at(true, 8) | at(told.coil(bit::bypass), 10) |
                             at(told.coil(bit::air), 11) | at(told.coil(bit::process), 12) | at(!told.coil(bit::purge_shut), 13);
    return (natural | discrete_set) & ~discrete_clear;
  }

  static double loop_ma(double value, double low, double high) {
    return std::min(std::max(4.0 + 16.0 * (value - low) / (high - low), 3.8), 20.5);
  }

  double channel(int c) const {
    const double junction_mv = 1.000;   // type K at 25 degC, published
    const bool closed = contactor_closed();
    switch (c) {
      case 0: case 1: case 2: case 3: return type_k_mv(process.zone_degc) - junction_mv;
      case 4: case 5: return type_k_mv(process.load_degc) - junction_mv;
      case 6: return 109.735;           // Pt100 at 25 degC, published
      case 7: return loop_ma(gauge_pa(), -5000.0, 20000.0);
      case 8: return std::min(process.chamber_pa / 133.322, 10.2);
      case 9: return std::min(std::max(1.0 + 1.25 * std::log10(process.chamber_pa / 0.1), 1.0), 9.0);
      case 10: return loop_ma(process.flow_slm / 1.4, 0.0, 5.0);
      case 12: return 8.617333e-5 * 973.15 / 4.0 * 1000.0 * std::log(0.2095 / std::max(process.oxygen_frac, 1e-9));
      case 13: return loop_ma(700.0, 0.0, 1000.0);
      case 14: return loop_ma(process.dew_point_degc, -100.0, 20.0);
      case 15: return loop_ma(process.barometer_pa, 80000.0, 110000.0);
      case 17: return loop_ma(230.0, 0.0, 300.0);
      case 20: {
        const double demand = process.switch_shorted ? 1.0 : told.demand[0];
        return loop_ma(closed && !process.element_broken ? 13.0 * std::sqrt(demand) : 0.0, 0.0, 30.0);
      }
      default: return 4.0;
    }
  }

  Bytes answer() const {
    Bytes bytes{1, 23, 108};
    put16(bytes, late ? told.sequence - 1 : told.sequence);
    put16(bytes, status & 0xFFFF);
    put16(bytes, status >> 16);
    put16(bytes, discrete());
    put16(bytes, station_flags);
    put16(bytes, 1);
    for (int c = 0; c < 24; ++c) put_float(bytes, raw[static_cast<std::size_t>(c)].value_or(channel(c)));
    seal(bytes);
    if (damaged) bytes[20] ^= 0x10;
    return bytes;
  }

  void move(double dt) {
    process.heat(told, contactor_closed(), dt);
    process.gas(told, supply, dt);
  }
};

// --- Programmes and parameters the tests start from ---------------------------------------------------------------------

inline fw::Segment segment(fw::SegmentKind kind) {
  fw::Segment s;
  s.kind = kind;
  return s;
}
inline fw::Segment ramp(float target_degc, float rate_k_per_s) {
  fw::Segment s = segment(fw::SegmentKind::ramp);
  s.target = target_degc;
  s.rate = rate_k_per_s;
  return s;
}
inline fw::Segment soak(double seconds, float tolerance_k) {
  fw::Segment s = segment(fw::SegmentKind::soak);
  s.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  s.tolerance_k = tolerance_k;
  return s;
}
inline fw::Segment wait(double seconds) {
  fw::Segment s = segment(fw::SegmentKind::wait);
  s.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  return s;
}
inline fw::Segment evacuate(float target_pa) {
  fw::Segment s = segment(fw::SegmentKind::evacuate);
  s.target = target_pa;
  return s;
}
inline fw::Segment backfill(float target_pa, float flow_slm, fw::Gas gas = fw::Gas::argon) {
  fw::Segment s = segment(fw::SegmentKind::backfill);
  s.target = target_pa;
  s.flow_slm = flow_slm;
  s.gas = gas;
  return s;
}
inline fw::Segment purge(float changes, float target_pa, float flow_slm) {
  fw::Segment s = segment(fw::SegmentKind::purge);
  s.amount = changes;
  s.target = target_pa;
  s.flow_slm = flow_slm;
  return s;
}
inline fw::Segment leak_test(double seconds, float rise_pa_s) {
  fw::Segment s = segment(fw::SegmentKind::leak_test);
  s.duration_ms = static_cast<std::uint32_t>(seconds * 1000.0);
  s.rate = rise_pa_s;
  return s;
}
inline fw::Segment cool(float load_degc) {
  fw::Segment s = segment(fw::SegmentKind::cool);
  s.target = load_degc;
  return s;
}
inline fw::Segment end() { return segment(fw::SegmentKind::end); }
inline fw::Segment with_flow(fw::Segment s, float flow_slm) {
  s.flow_slm = flow_slm;
  return s;
}

inline fw::Parameters in_air() {
  fw::Parameters p = fw::default_parameters();
  p.heat_gains[0] = {0.02f, 400.0f, 0.0f, 1.0f};
  p.element_current_min_a = 8.0f;
  p.sensor_jump_k = 0.0f;      // tests plant readings as they like
  return p;
}

inline fw::Parameters in_argon() {
  fw::Parameters p = in_air();
  p.retort_ceramic = 1;
  p.load_titanium = 1;
  p.atmosphere_required = 1;
  return p;
}

inline Bytes store_of(const fw::Parameters& parameters, const std::vector<fw::Segment>& segments, const char* title = "test") {
  Bytes image(fw::store_image_bytes);
  const fw::ProgrammeSourceEntry entry{title, segments};
  if (fw::build_store_image(parameters, {&entry, 1}, 0, image) != image.size()) throw std::runtime_error("store image");
  return image;
}

// A stand-in whose programme has begun.
inline StandIn started(const fw::Parameters& parameters, const std::vector<fw::Segment>& segments) {
  StandIn s(store_of(parameters, segments));
  s.run(1.0);
  if (s.command(fw::Command::start) != fw::Refusal::accepted) throw std::runtime_error("start refused");
  return s;
}

}  // namespace stand_in
