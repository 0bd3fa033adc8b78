#include "firmware/station.h"

#include <bit>
#include <cstring>

#include "firmware/correction.h"
#include "firmware/current_loop.h"
#include "firmware/flow.h"
#include "firmware/oxygen_cell.h"
#include "firmware/pt100.h"
#include "firmware/thermocouple.h"
#include "firmware/vacuum_gauge.h"

namespace fw {

namespace {

// Channels of the station.
enum Channel : int {
  zone_1 = 0, load = 4, load_2 = 5, cold_junction = 6, gauge = 7, capacitance = 8, pirani = 9, meter_1 = 10, meter_2 = 11,
  oxygen_cell = 12, oxygen_cell_heat = 13, dew_point = 14, barometer = 15, valve_position = 16, mains = 17, supply = 18, current_1 = 20
};

struct Answer {
  const std::uint16_t* registers;
  std::uint32_t status;    // bit per channel

  float raw(int channel) const {
    return register_float(registers[6 + 2 * channel], registers[7 + 2 * channel]);
  }
  bool flagged(int channel) const { return (status >> channel) & 1u; }
};

// --- Thermocouples: used by trips, a fault acts at once ----------------------------------------------------------------

void decode_temperatures(const Answer& answer, const Parameters& parameters, Inputs& inputs) {
  const Pt100Reading junction = pt100_reading(answer.raw(cold_junction));
  const bool junction_failed = answer.flagged(cold_junction) || !junction.in_range;
  const auto zone_type = static_cast<ThermocoupleType>(parameters.zone_thermocouple);
  const auto load_type = static_cast<ThermocoupleType>(parameters.load_thermocouple);
  const float zone_mv = thermocouple_mv(zone_type, junction.degc);
  const float load_mv = load_type == zone_type ? zone_mv : thermocouple_mv(load_type, junction.degc);
  const auto read = [&](int channel, ThermocoupleType type, float junction_mv, float& degc) {
    const ThermocoupleRange range = thermocouple_range(type);
    const float emf_mv = answer.raw(channel) + junction_mv;
    const bool good = !junction_failed && !answer.flagged(channel) && emf_mv >= range.low_mv && emf_mv <= range.high_mv;
    if (good) degc = corrected(parameters.corrections[channel - zone_1], thermocouple_degc(type, emf_mv));
    return good;
  };
  std::uint8_t failed = 0;
  float hottest = -300.0f;
  for (int z = 0; z < parameters.zones; ++z) {
    if (!read(zone_1 + z, zone_type, zone_mv, inputs.zone_degc[z])) failed = static_cast<std::uint8_t>(failed | (1u << z));
    inputs.zone_mv[z] = answer.raw(zone_1 + z);
    if (inputs.zone_degc[z] > hottest) hottest = inputs.zone_degc[z];
  }
  inputs.zone_failed = failed;
  inputs.hottest_degc = hottest;
  inputs.load_failed = !read(load, load_type, load_mv, inputs.load_degc);
  inputs.load_mv = answer.raw(load);
  if (!junction_failed) inputs.junction_degc = junction.degc;
  // Decoding costs a polynomial: only where something compares the two.
  if (parameters.load_difference_k > 0.0f) inputs.load_2_failed = !read(load_2, load_type, load_mv, inputs.load_2_degc);
}

// --- Transmitters ------------------------------------------------------------------------------------------------------

// The gauge cell is used by trips: a fault acts at once. Below its range it is legal in vacuum, and the station may flag it
// there; a broken wire stands lower (NE 43: 3.6 mA).
void decode_pressures(const Answer& answer, const Parameters& parameters, Inputs& inputs) {
  const VacuumReading vacuum = capacitance_reading(answer.raw(capacitance), parameters.capacitance_full_scale_pa);
  const float gauge_ma = answer.raw(gauge);
  const CurrentClass gauge_class = current_class(gauge_ma);
  const bool low = gauge_class == CurrentClass::below_range || (gauge_ma > 3.6f && gauge_ma <= 4.0f);
  const bool flagged = answer.flagged(gauge) && !low && gauge_class != CurrentClass::above_range;
  inputs.chamber_failed = current_failed(gauge_class) || flagged;
  inputs.chamber_below_range = !inputs.chamber_failed && low;
  if (!inputs.chamber_failed) {
    const float reading_pa = span_value(gauge_ma, parameters.gauge_low_pa, parameters.gauge_high_pa);
    inputs.chamber_pa = corrected(parameters.corrections[correction_pressure], reading_pa);
  }
  // Above its range the capacitance gauge is legal too. A dead one, at 0 V, must not pass for a vacuum: a gauge cell that
  // stands well above contradicts it, and so does a Pirani gauge above 1 kPa (6 V), wrong as it is in other gases.
  constexpr float pirani_rough_v = 6.0f, doubtful_pa = 200.0f;
  const bool contradicted =
      (!inputs.chamber_failed && !low && inputs.chamber_pa > -0.5f * inputs.barometer_pa) ||
      (vacuum.pa < doubtful_pa && !answer.flagged(pirani) && answer.raw(pirani) > pirani_rough_v);
  inputs.vacuum_pa = vacuum.pa;
  inputs.vacuum_in_range = vacuum.in_range && !answer.flagged(capacitance) && !contradicted;
}

// Good: the value. Out of NE 43: the last good value stays, and the channel is suspect.
bool decode_transmitter(const Answer& answer, int channel, float low, float high, std::uint32_t& suspect, float& value) {
  const float current_ma = answer.raw(channel);
  if (current_failed(current_class(current_ma)) || answer.flagged(channel)) {
    suspect |= 1u << channel;
    return false;
  }
  value = span_value(current_ma, low, high);
  return true;
}

void decode_oxygen(const Answer& answer, const Parameters& parameters, std::uint32_t& suspect, Inputs& inputs) {
  float cell_degc = 0.0f;
  decode_transmitter(answer, oxygen_cell_heat, 0.0f, parameters.oxygen_cell_full_scale_degc, suspect, cell_degc);
  const bool passed = (inputs.discrete & discrete::exhaust_open) != 0 && !inputs.chamber_below_range;
  const OxygenReading reading =
      oxygen_reading(answer.raw(oxygen_cell), cell_degc, inputs.barometer_pa, inputs.barometer_pa);
  inputs.oxygen_valid = reading.valid && passed && !answer.flagged(oxygen_cell);
  if (inputs.oxygen_valid) inputs.oxygen_ppm = reading.ppm;
}

// One that has failed keeps its last good flow. The second one counts only where a gas is blended.
void decode_meters(const Answer& answer, const Parameters& parameters, Gas gas, std::uint32_t& suspect, Inputs& inputs) {
  const bool blended = is_blended(parameters, gas);
  std::uint32_t failed = 0;
  for (int m = 0; m < (blended ? 2 : 1); ++m) {
    const float meter_ma = answer.raw(meter_1 + m);
    const FlowMeter meter{parameters.meter_full_scale_slm, gas_conversion(parameters, m == 0 ? gas : Gas::nitrogen)};
    if (current_failed(current_class(meter_ma)) || answer.flagged(meter_1 + m)) {
      failed |= 1u << (meter_1 + m);
    } else {
      inputs.meter_slm[m] = flow_slm(meter, meter_ma);
    }
  }
  if (!blended) inputs.meter_slm[1] = 0.0f;
  inputs.flow_failed = failed != 0;
  suspect |= failed;
  if (failed == 0) inputs.flow_slm = inputs.meter_slm[0] + inputs.meter_slm[1];
}

void decode_transmitters(StationLink& link, const Answer& answer, const Parameters& parameters, Gas gas, Inputs& inputs) {
  std::uint32_t suspect = 0;
  decode_meters(answer, parameters, gas, suspect, inputs);
  decode_transmitter(answer, dew_point, parameters.dew_point_low_degc, parameters.dew_point_high_degc, suspect,
                     inputs.dew_point_degc);
  decode_transmitter(answer, barometer, parameters.barometer_low_pa, parameters.barometer_high_pa, suspect,
                     inputs.barometer_pa);
  decode_transmitter(answer, mains, 0.0f, parameters.mains_full_scale_v, suspect, inputs.mains_v);
  inputs.valve_known = decode_transmitter(answer, valve_position, 0.0f, 1.0f, suspect, inputs.valve_frac);
  inputs.supply_known = decode_transmitter(answer, supply, 0.0f, parameters.supply_full_scale_pa, suspect, inputs.supply_pa);
  for (int z = 0; z < parameters.zones; ++z) {
    decode_transmitter(answer, current_1 + z, 0.0f, parameters.current_full_scale_a, suspect, inputs.current_a[z]);
  }
  // The capacitance gauge saturates at 10.2 V, legally; beyond, or flagged below, its wire is broken.
  const float gauge_v = answer.raw(capacitance);
  if (gauge_v > 10.3f || (gauge_v < 10.0f && answer.flagged(capacitance))) suspect |= 1u << capacitance;
  decode_oxygen(answer, parameters, suspect, inputs);
  if (parameters.retort_ceramic == 0 && parameters.atmosphere_required == 0) {
    suspect &= (1u << mains) | (0xFu << current_1);   // a furnace in air need not have the others
  }
  for (std::uint32_t gone = link.suspect & ~suspect; gone != 0; gone &= gone - 1) {
    link.suspect_ms[std::countr_zero(gone)] = 0;
  }
  link.suspect = suspect;
  inputs.transmitter_failed &= suspect;
}

// NE 43 delays run on with or without an answer: a line that drops out does not heal a transmitter.
void count_suspects(StationLink& link, std::uint32_t period_ms, Inputs& inputs) {
  for (std::uint32_t left = link.suspect; left != 0; left &= left - 1) {
    const int channel = std::countr_zero(left);
    const std::uint32_t stood = link.suspect_ms[channel] + period_ms;
    link.suspect_ms[channel] = static_cast<std::uint16_t>(stood > 60000u ? 60000u : stood);
    if (stood >= transmitter_fault_ms) inputs.transmitter_failed |= 1u << channel;
  }
}

void decode(StationLink& link, const ModbusReply& reply, const Parameters& parameters, Gas gas, Inputs& inputs) {
  const Answer answer{reply.values, reply.values[1] | (static_cast<std::uint32_t>(reply.values[2]) << 16)};
  inputs.known = true;
  inputs.discrete = reply.values[3];
  inputs.station = reply.values[4];
  const bool same = std::memcmp(link.analogue, reply.values + 6, sizeof link.analogue) == 0;
  if (!same) std::memcpy(link.analogue, reply.values + 6, sizeof link.analogue);
  inputs.same_ms = same ? inputs.same_ms + (inputs.same_ms < 1000000u ? static_cast<std::uint32_t>(parameters.period_ms) : 0u) : 0u;
  decode_temperatures(answer, parameters, inputs);
  decode_pressures(answer, parameters, inputs);
  decode_transmitters(link, answer, parameters, gas, inputs);
}

void put(float value, std::uint16_t* registers) {
  put_register_float(value, std::span<std::uint16_t, 2>(registers, 2));
}

}  // namespace

void station_receive(StationLink& link, const Parameters& parameters, Gas gas, std::uint64_t now_us, Inputs& inputs) {
  const auto period_ms = static_cast<std::uint32_t>(parameters.period_ms);
  const ModbusExpectation expectation{1, 0x17, station_read_registers};
  ModbusReply reply;
  inputs.fresh = false;
  while (link.receiver.size != 0 && modbus_next_reply(link.receiver, expectation, now_us, reply)) {
    const bool map = reply.exception == ModbusException::none && reply.values[5] == station_map_version;
    if (!map || !link.asked) continue;
    if (reply.values[0] != link.sequence) {
      ++link.late;
      continue;
    }
    decode(link, reply, parameters, gas, inputs);
    inputs.fresh = true;
  }
  if (inputs.fresh) {
    link.silent_ms = 0;
  } else {
    if (link.asked) ++link.errors;
    link.silent_ms += link.silent_ms < 1000000u ? period_ms : 0u;
  }
  link.lost = link.silent_ms >= station_silence_longest_ms;
  count_suspects(link, period_ms, inputs);
}

std::size_t station_request(StationLink& link, const Outputs& outputs, std::span<std::uint8_t> buffer) {
  std::uint16_t registers[station_write_registers];
  ++link.sequence;
  link.asked = true;
  registers[0] = link.sequence;
  registers[1] = outputs.coils;
  registers[2] = static_cast<std::uint16_t>(outputs.safe_row);
  registers[3] = outputs.gas;
  for (int z = 0; z < zone_count_max; ++z) put(outputs.demand_frac[z], registers + 4 + 2 * z);
  for (int m = 0; m < 2; ++m) put(outputs.flow_ma[m], registers + 12 + 2 * m);
  put(outputs.valve_frac, registers + 16);
  return modbus_read_write_request(1, station_read_address, station_read_registers, station_write_address, registers, buffer);
}

}  // namespace fw
