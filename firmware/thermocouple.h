// Thermocouples of types K, N, S, R, B, J, T and E. Reference functions and inverses of ITS-90 (NIST Monograph 175, adopted by IEC 60584-1)
// in float32. The cold junction is compensated by adding emf, never temperature.
#pragma once

#include <cstdint>

namespace fw {

// Values are the letters, as they stand in the parameters.
enum class ThermocoupleType : std::uint8_t { k = 'K', n = 'N', s = 'S', r = 'R', b = 'B', j = 'J', t = 'T', e = 'E' };
inline constexpr char thermocouple_letters[] = "KNSRBJTE";

struct ThermocoupleRange {
  float low_degc, high_degc;   // of the inverse function
  float low_mv, high_mv;       // emf at those ends, reference junction 0 degC
};

// K -200..1372, N -200..1300, S and R -50..1768.1, B 50..1820, J -210..1200, T -200..400, E -200..1000 degC.
//
// Type B tells nothing below 50 degC: its emf there lies between -0.0026 and +0.0023 mV and belongs to two temperatures. Such an
// emf is legal (a cold furnace) and reads 50 degC, which means "at most 50"; so does a short circuit, which only a missing response
// to heat reveals. low_mv is -0.03 mV: what no type B gives (with 27 uV for the errors of an input; common practice, no source),
// as a couple with its wires crossed does from about 95 degC on. Up to 250 degC one uV is 0.4 to 3 K: no control by it.
ThermocoupleRange thermocouple_range(ThermocoupleType type);

// Reference function: emf in mV at a junction temperature, the other junction at 0 degC. Temperature is clamped to the range of
// the reference function, -270 degC (S, R -50; J -210; B 0) to high_degc; NaN is taken as the low end.
float thermocouple_mv(ThermocoupleType type, float junction_degc);

// Inverse function: junction temperature from emf against 0 degC, clamped to thermocouple_range; NaN is taken as the low end.
float thermocouple_degc(ThermocoupleType type, float emf_mv);

// Hot junction from the emf between the terminals and the temperature of the terminals (the cold junction).
struct ThermocoupleReading {
  float degc;      // finite always, clamped to the range
  bool in_range;   // false: the compensated emf lies outside the inverse's range (or was not finite)
  bool folded;     // type B at or below 50 degC: degc is 50, the true temperature anything from 0 to there
};
ThermocoupleReading thermocouple_reading(ThermocoupleType type, float terminal_mv, float cold_junction_degc);

}  // namespace fw
