#include "plant/instruments.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <stdexcept>
#include <string>

namespace plant {

namespace {

constexpr double loop_low_ma = 4.0, loop_span_ma = 16.0;
constexpr double loop_min_ma = 3.8, loop_max_ma = 20.5, loop_failed_ma = 3.5;   // NAMUR NE 43 (common practice: not read)
constexpr double voltage_span_v = 10.0, voltage_min_v = 0.0, voltage_max_v = 10.2, voltage_open_v = 10.5;
constexpr double kelvin = 273.15;

// Resolution of the station's inputs: 16 bits over 20 mA and 10 V, 24-bit class for thermocouples (common practice, no source).
constexpr double loop_quantum_ma = 20.0 / 65536.0;
constexpr double voltage_quantum_v = 10.0 / 65536.0;

ChannelSettings loop(double low, double high, double lag_s, double noise_ma) {
  return {SignalKind::current_loop, true, low, high, lag_s, noise_ma, loop_quantum_ma};
}

ChannelSettings thermocouple(bool fitted) {
  return {SignalKind::thermocouple, fitted, 0.0, 0.0, 0.0, 0.0005, 0.001};
}

double bridged_raw(SignalKind kind) { return kind == SignalKind::current_loop ? loop_low_ma : 0.0; }

RawReading broken(SignalKind kind) { return {broken_wire_raw(kind), true}; }

// From the hot junction to the head in the couple's own wire, from there to the terminal block in what was laid.
RawReading convert_thermocouple(const Instruments& instruments, int input, double hot_degc, double cold_degc) {
  const ThermocoupleWiring& wiring = instruments.wiring[static_cast<std::size_t>(input)];
  const ThermocoupleTable& table =
      thermocouple_table(wiring.couple < channel::load ? instruments.zone_thermocouple : instruments.load_thermocouple);
  if (!wiring.wrong_wire) return {table.emf_mv(hot_degc) - table.emf_mv(cold_degc), !table.covers(hot_degc)};
  const ThermocoupleTable& wire = thermocouple_table(wiring.wire);
  return {table.emf_mv(hot_degc) - table.emf_mv(wiring.head_degc) + wire.emf_mv(wiring.head_degc) - wire.emf_mv(cold_degc),
          !table.covers(hot_degc)};
}

double indication_of(const ProcessValues& process) {
  return pirani_indication_pa(process.retort_pa, process.argon_fraction, process.helium_fraction);
}

}  // namespace

Instruments default_instruments(int zones) {
  Instruments instruments;
  auto& at = instruments.channel;
  for (int zone = 0; zone < zones_max; ++zone) {
    at[static_cast<std::size_t>(channel::zone + zone)] = thermocouple(zone < zones);
    at[static_cast<std::size_t>(channel::current + zone)] = loop(0.0, 30.0, 0.1, 0.001);
    at[static_cast<std::size_t>(channel::current + zone)].fitted = zone < zones;
  }
  at[channel::load] = thermocouple(true);
  at[channel::load2] = thermocouple(true);
  at[channel::cold_junction] = {SignalKind::pt100, true, 0.0, 0.0, 1.0, 0.001, 0.002};
  at[channel::gauge] = loop(-5e3, 20e3, 0.1, 0.0004);
  at[channel::capacitance] = {SignalKind::voltage, true, 0.0, 1333.22, 0.05, 0.0002, voltage_quantum_v};
  at[channel::pirani] = {SignalKind::pirani, true, 0.0, 0.0, 0.1, 0.001, voltage_quantum_v};
  at[channel::meter] = loop(0.0, 5.0, 0.2, 0.001);
  at[channel::meter + 1] = loop(0.0, 5.0, 0.2, 0.001);
  at[channel::oxygen] = {SignalKind::nernst, true, 0.0, 0.0, 0.2, 0.02, 0.01};
  at[channel::oxygen_cell] = loop(0.0, 1000.0, 0.5, 0.001);
  at[channel::dew_point] = loop(-100.0, 20.0, 0.5, 0.001);
  at[channel::barometer] = loop(80e3, 110e3, 1.0, 0.0004);
  at[channel::valve] = loop(0.0, 1.0, 0.05, 0.001);
  at[channel::mains] = loop(0.0, 300.0, 0.2, 0.002);
  at[channel::supply] = loop(0.0, 100e3, 0.1, 0.001);
  at[channel::casing] = loop(0.0, 200.0, 1.0, 0.001);
  return instruments;
}

void check_instruments(const Instruments& instruments) {
  for (std::size_t c = 0; c < instruments.channel.size(); ++c) {
    const ChannelSettings& at = instruments.channel[c];
    const std::string name = "instruments.channel." + std::to_string(c) + ".";
    const bool spanned = at.kind == SignalKind::current_loop || at.kind == SignalKind::voltage;
    if (!std::isfinite(at.low)) throw std::invalid_argument(name + "low is not finite");
    if (!std::isfinite(at.high)) throw std::invalid_argument(name + "high is not finite");
    if (spanned && !(at.high > at.low)) throw std::invalid_argument(name + "high must lie above low");
    if (!(at.lag_s >= 0.0) || !std::isfinite(at.lag_s)) throw std::invalid_argument(name + "lag must be finite and not negative");
    if (!(at.noise >= 0.0) || !std::isfinite(at.noise)) throw std::invalid_argument(name + "noise must be finite and not negative");
    if (!(at.quantum >= 0.0) || !std::isfinite(at.quantum)) {
      throw std::invalid_argument(name + "quantum must be finite and not negative");
    }
  }
}

std::array<double, channel_count> instrument_inputs(const Instruments& instruments, const ProcessValues& process) {
  const std::array<double, thermocouples_max> junction{process.zone_junction_degc[0], process.zone_junction_degc[1],
                                                       process.zone_junction_degc[2], process.zone_junction_degc[3],
                                                       process.load_junction_degc,    process.load2_junction_degc};
  const auto plugged = [&](std::size_t input) { return junction[static_cast<std::size_t>(instruments.wiring[input].couple)]; };
  return {plugged(0),
          plugged(1),
          plugged(2),
          plugged(3),
          plugged(4),
          plugged(5),
          process.cold_junction_degc,
          process.retort_pa - process.barometer_pa,
          process.retort_pa,
          indication_of(process),
          process.meter_slm[0] / process.meter_conversion[0],
          process.meter_slm[1] / process.meter_conversion[1],
          process.oxygen_ppm,
          process.oxygen_cell_degc,
          process.dew_point_degc,
          process.barometer_pa,
          process.valve_frac,
          process.mains_v,
          process.supply_pa,
          process.casing_degc,
          process.current_a[0],
          process.current_a[1],
          process.current_a[2],
          process.current_a[3]};
}

RawReading convert(const Instruments& instruments, int channel, double value, const ProcessValues& process) {
  const ChannelSettings& at = instruments.channel[static_cast<std::size_t>(channel)];
  if (!at.fitted) return {bridged_raw(at.kind), false};
  if (!std::isfinite(value)) return broken(at.kind);
  switch (at.kind) {
    case SignalKind::thermocouple:
      return convert_thermocouple(instruments, channel, value, process.cold_junction_degc);
    case SignalKind::pt100:
      return {pt100_ohm(value), value < -200.0 || value > 850.0};
    case SignalKind::current_loop:
    case SignalKind::voltage:
      return {linear_scale(at).offset + linear_scale(at).scale * value, false};
    case SignalKind::pirani:
      return {pirani_v(value), false};
    case SignalKind::nernst:
      return {nernst_mv(process.oxygen_cell_degc, process.barometer_pa, value * 1e-6 * process.cell_pa), false};
  }
  return broken(at.kind);
}

RawLimits raw_limits(SignalKind kind) {
  switch (kind) {
    case SignalKind::current_loop: return {loop_min_ma, loop_max_ma};
    case SignalKind::voltage: return {voltage_min_v, voltage_max_v};
    case SignalKind::pirani: return {0.0, 10.0};
    case SignalKind::pt100: return {0.0, 400.0};
    case SignalKind::thermocouple: return {-100.0, 100.0};
    case SignalKind::nernst: return {-200.0, 1800.0};
  }
  return {0.0, 0.0};
}

LinearScale linear_scale(const ChannelSettings& settings) {
  const bool loop = settings.kind == SignalKind::current_loop;
  const double scale = (loop ? loop_span_ma : voltage_span_v) / (settings.high - settings.low);
  return {(loop ? loop_low_ma : 0.0) - scale * settings.low, scale};
}

double broken_wire_raw(SignalKind kind) {
  switch (kind) {
    case SignalKind::thermocouple: return 100.0;
    case SignalKind::pt100: return 400.0;
    case SignalKind::current_loop: return loop_failed_ma;
    case SignalKind::voltage:
    case SignalKind::pirani: return voltage_open_v;
    case SignalKind::nernst: return -100.0;
  }
  return 0.0;
}

// IEC 60751: R = R0 (1 + A t + B t^2), below 0 degC with C (t - 100) t^3.
double pt100_ohm(double degc) {
  constexpr double a = 3.9083e-3, b = -5.775e-7, c = -4.183e-12;
  const double t = std::clamp(degc, -200.0, 850.0);
  const double cold = t < 0.0 ? c * (t - 100.0) * t * t * t : 0.0;
  return 100.0 * (1.0 + t * (a + t * b) + cold);
}

// The gauge's hot wire loses s p / (1 + s p / (kr p0)): proportional to pressure while the gas is rarefied (s by gas), and
// bounded by the gas's conductivity (kr, against nitrogen) when it is dense, with p0 the pressure where the two meet. The
// indication is the nitrogen pressure that loses as much. From memory: s = 1 / 1.7 for argon and 1 / 0.8 for helium (the factors
// printed in gauge tables for below 1 hPa), p0 = 2 kPa of a gauge with convection, so that argon at atmospheric pressure reads about
// 4 kPa: the well-known trap of backfilling by such a gauge. kr at 300 K: argon 17.8 / 25.9, helium 156 / 25.9.
double pirani_indication_pa(double true_pa, double argon_fraction, double helium_fraction) {
  constexpr double meeting_pa = 2000.0, full_scale_pa = 1.6e6;
  const double rest = 1.0 - argon_fraction - helium_fraction;
  const double sensitivity = rest + argon_fraction / 1.7 + helium_fraction / 0.8;
  const double conductivity = rest + argon_fraction * (17.8 / 25.9) + helium_fraction * (156.0 / 25.9);
  const double rarefied_pa = sensitivity * std::max(true_pa, 0.0);
  const double loss_pa = rarefied_pa / (1.0 + rarefied_pa / (conductivity * meeting_pa));
  const double left = 1.0 - loss_pa / meeting_pa;
  return left > loss_pa / full_scale_pa ? loss_pa / left : full_scale_pa;
}

double pirani_v(double indicated_pa) {
  constexpr double v_per_log = 1.25 / 2.302585092994045684;   // 1.25 V a decade
  return std::clamp(1.0 + v_per_log * std::log(std::max(indicated_pa, 1e-3) * 10.0), 0.0, 10.0);
}

double nernst_mv(double cell_degc, double reference_pa, double oxygen_pa) {
  constexpr double r_over_4f_mv_k = 1e3 * 8.31446261815324 / (4.0 * 96485.33212331);   // CODATA 2018
  const double reference_oxygen_pa = 0.2095 * reference_pa;
  const double sample_pa = std::max(oxygen_pa, 1e-25 * reference_pa);
  return r_over_4f_mv_k * (cell_degc + kelvin) * std::log(reference_oxygen_pa / sample_pa);
}

}  // namespace plant
