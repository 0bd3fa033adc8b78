// The instruments of the field line: from a physical quantity to the raw value a station input reads, per channel of the map
// in DEVELOPERS.md. Each has a span, a first-order lag, gaussian noise and a quantum. Units are SI inside, raw units per
// channel (mV, ohm, mA, V).
#pragma once

#include <array>
#include <cstdint>

#include "plant/process_values.h"
#include "plant/thermocouple.h"

namespace plant {

inline constexpr int channel_count = 24;

// Field-bus channels.
namespace channel {
inline constexpr int zone = 0;             // ..3, degC
inline constexpr int load = 4;             // degC
inline constexpr int load2 = 5;            // degC
inline constexpr int cold_junction = 6;    // degC
inline constexpr int gauge = 7;            // Pa gauge
inline constexpr int capacitance = 8;      // Pa abs
inline constexpr int pirani = 9;           // Pa abs, as a nitrogen-calibrated gauge indicates it
inline constexpr int meter = 10;           // ,11, slm of the calibration gas
inline constexpr int oxygen = 12;          // ppm by volume
inline constexpr int oxygen_cell = 13;     // degC
inline constexpr int dew_point = 14;       // degC
inline constexpr int barometer = 15;       // Pa
inline constexpr int valve = 16;           // 0..1
inline constexpr int mains = 17;           // V
inline constexpr int supply = 18;          // Pa gauge
inline constexpr int casing = 19;          // degC
inline constexpr int current = 20;         // ..23, A
}  // namespace channel

enum class SignalKind : std::uint8_t {
  thermocouple,   // mV against the terminal block
  pt100,          // ohm, IEC 60751
  current_loop,   // mA, 4..20 = low..high, NE 43: saturates at 3.8 and 20.5, failure 3.5
  voltage,        // V, 0..10 = low..high, saturates at 10.2
  pirani,         // V, 1 + 1.25 log10(p / 0.1 Pa), 0..10
  nernst          // mV
};

struct ChannelSettings {
  SignalKind kind = SignalKind::current_loop;
  bool fitted = true;          // an input that is not fitted is bridged: 0 mV or 4 mA, its status bit clear
  double low = 0.0;            // process value at 4 mA or 0 V (not used by the other kinds)
  double high = 1.0;           // at 20 mA or 10 V
  double lag_s = 0.0;          // time constant of the instrument, on the process value; 0 none
  double noise = 0.0;          // standard deviation, raw unit
  double quantum = 0.0;        // resolution of the input, raw unit; 0 none
};

struct Instruments {
  ThermocoupleType zone_thermocouple = ThermocoupleType::k;
  ThermocoupleType load_thermocouple = ThermocoupleType::k;
  std::array<ThermocoupleWiring, thermocouples_max> wiring = straight_wiring();
  std::array<ChannelSettings, channel_count> channel{};
};

// Spans of the map in DEVELOPERS.md, lags, noise and resolution of ordinary industrial instruments (common practice, no
// source). The lags are those of the transmitters: sheaths, cells and sample lines belong to the process (process_values.h).
// zones: how many heater-side thermocouples and current meters are fitted.
Instruments default_instruments(int zones);

// Throws std::invalid_argument naming channel and field: empty span, negative lag, noise or quantum, not finite.
void check_instruments(const Instruments& instruments);

// One reading. broken: the status bit of the map (broken wire, or outside what the input can convert); raw is then a finite
// clamp.
struct RawReading {
  double raw = 0.0;
  bool broken = false;
};

// What each instrument stands in, in the process unit of its channel (list above); before lag.
std::array<double, channel_count> instrument_inputs(const Instruments& instruments, const ProcessValues& process);

// Ideal conversion of a process value (after lag), without noise, saturation and quantum. process gives cold junction, barometer, cell
// pressure and cell temperature.
RawReading convert(const Instruments& instruments, int channel, double value, const ProcessValues& process);

// Where the transmitter or the input saturates (NE 43: 3.8 and 20.5 mA; 10.2 V), noise included.
struct RawLimits { double low, high; };
RawLimits raw_limits(SignalKind kind);

// Ideal raw = offset + scale * value of a loop or a voltage.
struct LinearScale { double offset, scale; };
LinearScale linear_scale(const ChannelSettings& settings);

// What a broken wire reads: thermocouple 100 mV (upscale burn-out), Pt100 400 ohm, loop 3.5 mA, voltage and Pirani 10.5 V
// (upscale, so that nobody takes it for vacuum), oxygen cell -100 mV (so that nobody takes it for low oxygen).
double broken_wire_raw(SignalKind kind);

double pt100_ohm(double degc);                                    // IEC 60751, clamped to -200..850 degC
// Indication [Pa] of a nitrogen-calibrated Pirani gauge at a true pressure, by gas: see the source note in instruments.cpp.
double pirani_indication_pa(double true_pa, double argon_fraction, double helium_fraction);
double pirani_v(double indicated_pa);                             // 0..10 V
// Nernst emf [mV] against air: R T / (4 F) ln(0.2095 reference_pa / oxygen_pa), T the cell's; oxygen_pa is floored at 1e-25
// of the reference.
double nernst_mv(double cell_degc, double reference_pa, double oxygen_pa);

}  // namespace plant
