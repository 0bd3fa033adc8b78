// A small plant behind a station of its own, for driving the core through its bytes only. The physics is coarse: one thermal mass,
// one gas volume, well mixed; what the tests judge is the core.
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
#include "tests/rtu_bytes.h"
#include "tests/segments.h"
#include "tests/transmitters.h"

namespace stand_in {

using rtu::Bytes;
using rtu::get16;
using rtu::get_float;
using rtu::put16;
using rtu::put_float;
using transmitters::loop_ma;
using transmitters::type_k_mv;
using namespace segments;

namespace bit {  // of the coils, as DEVELOPERS.md lists them
enum : unsigned {
  contactor = 1u << 0, process = 1u << 1, purge_shut = 1u << 2, exhaust_shut = 1u << 3, bypass = 1u << 4, air = 1u << 5, pump = 1u << 6,
  isolation = 1u << 7, vent_shut = 1u << 8, pilot = 1u << 9, horn = 1u << 10
};
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

  void heat(const rtu::Order& told, bool closed, double dt) {
    const double demand = closed && !element_broken ? (switch_shorted ? 1.0 : told.demand[0]) : 0.0;
    zone_degc += dt * (heat_gain_k * demand - (zone_degc - ambient_degc)) / heat_time_s;
    load_degc += dt * (zone_degc - load_degc) / 200.0;
  }

  void gas_in(double slm, double oxygen, double dt) {
    const double dp = slm / 60.0 * dt / volume_l * 101325.0 * 293.15 / 273.15;
    oxygen_frac = (oxygen_frac * chamber_pa + oxygen * dp) / (chamber_pa + dp);
    chamber_pa += dp;
  }

  void gas(const rtu::Order& told, bool supply, double dt) {
    const double asked = supply && told.coil(bit::process) && told.gas != 0 ? (told.flow_ma[0] - 4.0) / 16.0 * 5.0 * 1.4 : 0.0;
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
  rtu::Order told;
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
    if (request.empty()) request = rtu::monitor_read();
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

  static Bytes read_request(unsigned function, unsigned address, unsigned count) { return rtu::read_request(function, address, count); }
  static Bytes write_request(unsigned address, const Bytes& data) { return rtu::write_request(address, data); }
  static Bytes command_request(fw::Command code, unsigned argument, double value_given) {
    return rtu::command_request(static_cast<unsigned>(code), argument, value_given);
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
    if (!rtu::take_order(frame, told)) throw std::runtime_error("field request");
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
    bytes = rtu::sealed(std::move(bytes));
    if (damaged) bytes[20] ^= 0x10;
    return bytes;
  }

  void move(double dt) {
    process.heat(told, contactor_closed(), dt);
    process.gas(told, supply, dt);
  }
};

// --- Programmes and parameters the tests start from ---------------------------------------------------------------------

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
