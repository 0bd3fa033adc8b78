#include "firmware/oxygen_cell.h"

#include <cmath>

#include "firmware/exponential.h"

namespace fw {

OxygenReading oxygen_reading(float cell_mv, float cell_degc, float barometer_pa, float sample_pa) {
  // p_sample = p_reference exp(-4 F E / (R T)), F = 96485.33212 C/mol, R = 8.314462618 J/(mol K) (CODATA 2018).
  constexpr float four_f_by_r_k_per_mv = 46.418072f;
  constexpr float ppm_max = 1.0e6f;
  const bool finite = std::isfinite(cell_mv) && std::isfinite(cell_degc) && barometer_pa > 0.0f && sample_pa > 0.0f &&
                      std::isfinite(barometer_pa) && std::isfinite(sample_pa);
  if (!finite) return {ppm_max, false};
  // Below the useful range the temperature is held: the number stays defined, valid says not to use it.
  const float cell_k = (cell_degc > 0.0f ? cell_degc : 0.0f) + 273.15f;
  const float ratio = exponential(-four_f_by_r_k_per_mv * cell_mv / cell_k);
  const float ppm = oxygen_of_air_frac * 1.0e6f * (barometer_pa / sample_pa) * ratio;
  return {ppm < ppm_max ? ppm : ppm_max, cell_degc >= oxygen_cell_min_degc};
}

}  // namespace fw
