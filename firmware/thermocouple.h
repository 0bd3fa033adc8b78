// Thermocouples of types K and N. Reference functions and inverses of ITS-90 (NIST Monograph 175, adopted by IEC 60584-1)
// in float32. The cold junction is compensated by adding emf, never temperature.
#pragma once

#include <cstdint>

namespace fw {

// Values are the letters, as they stand in the parameters.
enum class ThermocoupleType : std::uint8_t { k = 'K', n = 'N' };

struct ThermocoupleRange {
  float low_degc, high_degc;   // of the inverse function
  float low_mv, high_mv;       // emf at those ends, reference junction 0 degC
};

// K: -200..1372 degC, -5.891..54.886 mV. N: -200..1300 degC, -3.990..47.513 mV.
ThermocoupleRange thermocouple_range(ThermocoupleType type);

// Reference function: emf in mV at a junction temperature, the other junction at 0 degC. Temperature is clamped to
// -270..1372 (K) or -270..1300 (N) degC; NaN is taken as the low end.
float thermocouple_mv(ThermocoupleType type, float junction_degc);

// Inverse function: junction temperature from emf against 0 degC, clamped to thermocouple_range; NaN is taken as the low end.
float thermocouple_degc(ThermocoupleType type, float emf_mv);

// Hot junction from the emf between the terminals and the temperature of the terminals (the cold junction).
struct ThermocoupleReading {
  float degc;      // finite always, clamped to the range
  bool in_range;   // false: the compensated emf lies outside the inverse's range (or was not finite)
};
ThermocoupleReading thermocouple_reading(ThermocoupleType type, float terminal_mv, float cold_junction_degc);

}  // namespace fw
