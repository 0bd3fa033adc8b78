#include "sim/injector.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "firmware/parameter_store.h"
#include "firmware/signals.h"
#include "plant/modbus.h"
#include "plant/thermocouple.h"

namespace sim {

namespace {

namespace modbus = plant::modbus;
constexpr double live_mv = 0.0005;   // half a microvolt: 0.02 K and less, below every step of the proof test
constexpr double junction_degc = 25.0, junction_ohm = 109.735;   // IEC 60751

double loop_ma(double value, double low, double high) { return 4.0 + 16.0 * (value - low) / (high - low); }

plant::ThermocoupleType type_of(std::int32_t letter) {
  for (std::size_t i = 0; i < plant::thermocouple_letter.size(); ++i) {
    if (letter == plant::thermocouple_letter[i]) return static_cast<plant::ThermocoupleType>(i);
  }
  throw std::runtime_error(std::string("the injector has no thermocouple of type ") + static_cast<char>(letter));
}

}  // namespace

Injector::Injector(Endpoint& core, const fw::Parameters& parameters) : core_(core), parameters_(parameters) {}

void Injector::start(const std::vector<fw::Segment>& segments) {
  std::vector<std::uint8_t> image(fw::store_image_bytes, 0xFF);
  const fw::ProgrammeSourceEntry entry{"proof test", segments};
  if (fw::build_store_image(parameters_, {&entry, 1}, 0, image) != image.size())
    throw std::runtime_error("the store does not take the proof test's programme");
  status_ = still_ = 0;
  forced_ = forced_on_ = 0;
  watchdog_ = silent_ = asked_ = false;
  pump_follows_ = valve_follows_ = true;
  valve_frac_ = 0.0f;
  swing_ = {};
  sequence_ = coils_ = 0;
  demand_ = {};
  flow_ma_.fill(4.0f);
  meter_ma_.fill(-1.0);
  now_us_ = 0;
  pump_s_ = 0.0;
  block_.clear();
  request_.clear();
  raw_.fill(4.0);
  current_a_.fill(-1.0);
  rise_k_per_s_.fill(0.0);
  for (int z = 0; z < 4; ++z) set_degc(channel::zone_1 + z, 25.0);
  set_degc(channel::load, 25.0);
  set_degc(channel::load + 1, 25.0);
  raw_[channel::cold_junction] = junction_ohm;
  const fw::Parameters& p = parameters_;
  set_cell_degc(700.0);
  set_dew_point_degc(-60.0);
  raw_[channel::barometer] = loop_ma(101325.0, static_cast<double>(p.barometer_low_pa), static_cast<double>(p.barometer_high_pa));
  set_mains_v(static_cast<double>(p.mains_nominal_v));
  set_supply_pa(std::max(0.5 * static_cast<double>(p.supply_full_scale_pa), 1.5 * static_cast<double>(p.supply_low_pa)));
  raw_[channel::pirani] = 8.5;
  raw_[channel::capacitance] = 10.2;
  set_gauge_pa(0.0);
  set_oxygen_ppm(2.0);
  core_.start(image, fw::ResetCause::power_on, 0);
}

void Injector::set_degc(int channel, double degc) {
  const std::int32_t letter = channel >= channel::load ? parameters_.load_thermocouple : parameters_.zone_thermocouple;
  set_raw(channel, plant::thermocouple_terminal_mv(type_of(letter), degc, junction_degc));
  degc_[static_cast<std::size_t>(channel)] = degc;
}

void Injector::set_rise(int channel, double k_per_s) { rise_k_per_s_[static_cast<std::size_t>(channel)] = k_per_s; }

void Injector::set_gauge_pa(double pa) {
  set_raw(channel::gauge, loop_ma(pa, static_cast<double>(parameters_.gauge_low_pa), static_cast<double>(parameters_.gauge_high_pa)));
}

void Injector::set_swing_pa(double middle_pa, double amplitude_pa, double period_s) {
  swing_ = {middle_pa, amplitude_pa, period_s, 0.0};
}

// Capacitance gauge; the gauge-pressure cell stands below its range.
void Injector::set_vacuum_pa(double absolute_pa) {
  set_raw(channel::capacitance, std::min(10.0 * absolute_pa / static_cast<double>(parameters_.capacitance_full_scale_pa), 10.2));
  set_raw(channel::pirani, std::clamp(1.0 + 1.25 * std::log10(absolute_pa / 0.1), 1.0, 9.0));
  set_raw(channel::gauge, 3.8);
}

// Nernst against air, E = R T / (4 F) ln(0.2095 / x) at equal pressures; R 8.314462618 J/(mol K), F 96485.33212 C/mol (CODATA 2018).
void Injector::set_oxygen_ppm(double ppm) {
  set_raw(channel::oxygen, 1000.0 * 8.314462618 * (700.0 + 273.15) / (4.0 * 96485.33212) * std::log(209500.0 / ppm));
}

void Injector::set_cell_degc(double degc) {
  set_raw(channel::oxygen_cell, loop_ma(degc, 0.0, static_cast<double>(parameters_.oxygen_cell_full_scale_degc)));
}

void Injector::set_dew_point_degc(double degc) {
  const fw::Parameters& p = parameters_;
  set_raw(channel::dew_point, loop_ma(degc, static_cast<double>(p.dew_point_low_degc), static_cast<double>(p.dew_point_high_degc)));
}

void Injector::set_mains_v(double v) {
  set_raw(channel::mains, loop_ma(v, 0.0, static_cast<double>(parameters_.mains_full_scale_v)));
}

void Injector::set_supply_pa(double pa) {
  set_raw(channel::supply, loop_ma(pa, 0.0, static_cast<double>(parameters_.supply_full_scale_pa)));
}

void Injector::set_valve_frac(double frac) {
  valve_follows_ = false;
  set_raw(channel::valve_position, loop_ma(frac, 0.0, 1.0));
}

void Injector::set_current_a(int zone, double a) { current_a_[static_cast<std::size_t>(zone)] = a; }
void Injector::set_raw(int channel, double value) { raw_[static_cast<std::size_t>(channel)] = value; }
void Injector::set_meter_slm(int meter, double slm) {
  meter_ma_[static_cast<std::size_t>(meter)] = loop_ma(slm, 0.0, static_cast<double>(parameters_.meter_full_scale_slm));
}

void Injector::set_flag(int channel, bool on) { status_ = on ? status_ | 1u << channel : status_ & ~(1u << channel); }

void Injector::force_input(std::uint16_t bit, bool on) {
  forced_ = static_cast<std::uint16_t>(forced_ | bit);
  forced_on_ = static_cast<std::uint16_t>(on ? forced_on_ | bit : forced_on_ & ~bit);
}

void Injector::release_input(std::uint16_t bit) { forced_ = static_cast<std::uint16_t>(forced_ & ~bit); }

std::uint16_t Injector::discrete() const {
  using namespace fw::discrete;
  namespace c = fw::coil;
  unsigned bits = door_closed | emergency_stop_healthy | supply_present | limiter_healthy;
  const auto follow = [&](bool on, std::uint16_t bit) { bits |= on ? bit : 0u; };
  follow(coil(c::contactor), contactor_closed);
  follow(pump_follows_ && pump_s_ >= 1.0, pump_at_speed);
  follow(!coil(c::exhaust_shut), exhaust_open);
  follow(coil(c::isolation_open), isolation_open);
  follow(coil(c::bypass_open), bypass_open);
  follow(coil(c::air_open), air_open);
  follow(coil(c::process_open), process_open);
  follow(!coil(c::purge_shut), purge_open);
  follow(coil(c::pilot), burn_off_proven);
  return static_cast<std::uint16_t>((bits & ~unsigned{forced_}) | (forced_on_ & forced_));
}

double Injector::terminal(int channel) const {
  if (channel == channel::meter_1 || channel == channel::meter_2) {
    const auto meter = static_cast<std::size_t>(channel - channel::meter_1);
    if (meter_ma_[meter] >= 0.0) return meter_ma_[meter];
    return coil(fw::coil::process_open) ? static_cast<double>(flow_ma_[meter]) : 4.0;
  }
  if (channel == channel::valve_position && valve_follows_) return loop_ma(static_cast<double>(valve_frac_), 0.0, 1.0);
  const bool odd = (now_us_ / (static_cast<std::uint64_t>(parameters_.period_ms) * 1000u)) % 2u != 0;
  const bool live = channel <= channel::load && ((still_ >> channel) & 1u) == 0 && odd;
  if (channel < channel::current_1) return raw_[static_cast<std::size_t>(channel)] + (live ? live_mv : 0.0);
  const auto zone = static_cast<std::size_t>(channel - channel::current_1);
  const double healthy_a = std::max(1.2 * static_cast<double>(parameters_.element_current_min_a), 5.0) *
                           std::sqrt(static_cast<double>(demand_[zone]));
  const double a = current_a_[zone] >= 0.0 ? current_a_[zone] : coil(fw::coil::contactor) ? healthy_a : 0.0;
  return loop_ma(a, 0.0, static_cast<double>(parameters_.current_full_scale_a));
}

std::size_t Injector::answer(std::span<std::uint8_t> frame) const {
  frame[0] = 1;
  frame[1] = 23;
  frame[2] = 108;
  const std::uint16_t head[] = {sequence_, static_cast<std::uint16_t>(status_), static_cast<std::uint16_t>(status_ >> 16), discrete(),
                                watchdog_ ? std::uint16_t{1} : std::uint16_t{0}, 1};
  for (std::size_t i = 0; i < std::size(head); ++i) modbus::put_u16(&frame[3 + 2 * i], head[i]);
  for (int c = 0; c < 24; ++c) modbus::put_f32(&frame[15 + 4 * static_cast<std::size_t>(c)], static_cast<float>(terminal(c)));
  return modbus::seal(frame, 111);
}

void Injector::take_request(std::span<const std::uint8_t> request) {
  if (request.size() != 49 || modbus::crc16(request) != 0)
    throw EndpointError("the core's request on the field line is not the one of the map");
  sequence_ = modbus::get_u16(&request[11]);
  coils_ = modbus::get_u16(&request[13]);
  for (std::size_t z = 0; z < 4; ++z) demand_[z] = modbus::get_f32(&request[19 + 4 * z]);
  for (std::size_t m = 0; m < 2; ++m) flow_ma_[m] = modbus::get_f32(&request[35 + 4 * m]);
  valve_frac_ = modbus::get_f32(&request[43]);
  asked_ = true;
}

void Injector::take_reply(std::span<const std::uint8_t> reply) {
  const std::size_t wanted = 2u * fw::monitor_registers(4);
  const bool block = reply.size() == wanted + 5 && (reply[1] == 4 || reply[1] == 23) && modbus::crc16(reply) == 0;
  if (block) block_.assign(reply.begin() + 3, reply.end() - 2);
}

void Injector::tick() {
  std::array<std::uint8_t, modbus::adu_bytes_max> field{}, supervisory{};
  now_us_ += static_cast<std::uint64_t>(parameters_.period_ms) * 1000u;
  for (std::size_t c = 0; c < rise_k_per_s_.size(); ++c)
    if (rise_k_per_s_[c] != 0.0) set_degc(static_cast<int>(c), degc_[c] + rise_k_per_s_[c] * period_s());
  if (swing_.period_s > 0.0) {
    swing_.elapsed_s += period_s();
    set_gauge_pa(swing_.middle_pa + swing_.amplitude_pa * std::sin(2.0 * std::numbers::pi * swing_.elapsed_s / swing_.period_s));
  }
  TickIn in;
  in.now_us = now_us_;
  in.field_arrival_us = in.supervisory_arrival_us = now_us_ - 5000u;
  if (asked_ && !silent_) in.field = {field.data(), answer(field)};
  if (request_.empty()) {
    in.supervisory = {supervisory.data(), modbus::encode_read(1, modbus::read_input, 0, fw::monitor_registers(4), supervisory)};
  } else {
    in.supervisory = request_;
  }
  TickOut out;
  core_.tick(in, out);
  request_.clear();
  take_request({out.field.data(), out.field_size});
  take_reply({out.supervisory.data(), out.supervisory_size});
  pump_s_ = coil(fw::coil::pump_motor) ? pump_s_ + period_s() : 0.0;
}

void Injector::run(double seconds) {
  for (auto left = std::llround(seconds / period_s()); left > 0; --left) tick();
}

fw::Refusal Injector::command(fw::Command code, std::uint16_t argument, float value) {
  std::array<std::uint8_t, 8> values{};
  modbus::put_u16(&values[0], static_cast<std::uint16_t>(code));
  modbus::put_u16(&values[2], argument);
  modbus::put_f32(&values[4], value);
  request_.resize(modbus::adu_bytes_max);
  request_.resize(modbus::encode_write_and_read(1, 0, fw::monitor_registers(4), fw::command_address, values, request_));
  tick();
  tick();
  return static_cast<fw::Refusal>(static_cast<std::uint16_t>(this->value("command.result")));
}

double Injector::value(const std::string& name) const {
  for (const fw::RegisterInfo& info : fw::monitor_table()) {
    if (name != info.name) continue;
    const std::size_t at = 2u * info.address;
    if (at + 2 > block_.size()) break;
    if (info.type == fw::RegisterType::u16) return modbus::get_u16(&block_[at]);
    if (info.type == fw::RegisterType::f32) return static_cast<double>(modbus::get_f32(&block_[at]));
    return modbus::get_u16(&block_[at]) * 65536.0 + modbus::get_u16(&block_[at + 2]);
  }
  throw std::out_of_range("the core has not told " + name);
}

}  // namespace sim
