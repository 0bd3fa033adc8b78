// Heated zirconia oxygen cell against air: Nernst, E = R T / (4 F) ln(p_reference / p_sample).
#pragma once

namespace fw {

inline constexpr float oxygen_of_air_frac = 0.2095f;       // dry air, by volume
inline constexpr float oxygen_cell_min_degc = 600.0f;      // colder, the cell does not conduct well enough to be believed

struct OxygenReading {
  float ppm;     // oxygen in the sample, ppm by volume, 0..1,000,000; finite always
  bool valid;    // cell hot enough, all inputs finite and positive pressures
};

// cell_mv positive when the sample holds less oxygen than air; cell_degc the cell's own temperature; barometer_pa the
// pressure of the reference air; sample_pa the pressure at the cell (equal to the barometer's when it sits in the exhaust).
OxygenReading oxygen_reading(float cell_mv, float cell_degc, float barometer_pa, float sample_pa);

}  // namespace fw
