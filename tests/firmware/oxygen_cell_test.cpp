#include "firmware/oxygen_cell.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace {

constexpr double baro_pa = 100800.0;

// Nernst with the CODATA 2018 constants F = 96485.33212 C/mol and R = 8.314462618 J/(mol K), reference 20.95 % oxygen.
double nernst_mv(double ppm, double cell_degc, double sample_pa) {
  const double kelvin = cell_degc + 273.15;
  return 1e3 * 8.314462618 * kelvin / (4.0 * 96485.33212) * std::log(0.2095 * baro_pa / (ppm * 1e-6 * sample_pa));
}

TEST(OxygenCell, InvertsNernstOverSevenDecades) {
  for (double ppm = 0.1; ppm < 209500.0; ppm *= 1.7) {
    for (const double degc : {600.0, 700.0, 735.5, 800.0}) {
      const double mv = nernst_mv(ppm, degc, baro_pa);
      const auto reading = fw::oxygen_reading(static_cast<float>(mv), static_cast<float>(degc), static_cast<float>(baro_pa),
                                              static_cast<float>(baro_pa));
      // Exponent x = 4 F E / (R T): inputs, constant, product and quotient round (6 u of x), the exponential adds 3e-7 + 1.2e-7 x
      // and the product with the reference 4 u.
      const double x = std::log(0.2095e6 / ppm);
      const double relative = x * (6.0 * 0x1p-24 + 1.2e-7) + 3e-7 + 4.0 * 0x1p-24;
      EXPECT_TRUE(reading.valid);
      EXPECT_NEAR(static_cast<double>(reading.ppm), ppm, ppm * relative) << degc;
    }
  }
}

TEST(OxygenCell, ReadsPartialPressure) {
  // Same emf, sample at half the reference's pressure: twice the fraction.
  const auto mv = static_cast<float>(nernst_mv(1000.0, 700.0, baro_pa));
  EXPECT_NEAR(fw::oxygen_reading(mv, 700.0f, 100800.0f, 50400.0f).ppm, 2000.0f, 0.01f);
}

TEST(OxygenCell, ReadsAirAtZeroMillivolts) {
  EXPECT_FLOAT_EQ(fw::oxygen_reading(0.0f, 700.0f, 100800.0f, 100800.0f).ppm, 209500.0f);
}

TEST(OxygenCell, IsNotBelievedWhenColdOrFedNonsense) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  EXPECT_FALSE(fw::oxygen_reading(100.0f, 599.0f, 1e5f, 1e5f).valid);
  EXPECT_TRUE(fw::oxygen_reading(100.0f, 600.0f, 1e5f, 1e5f).valid);
  EXPECT_FALSE(fw::oxygen_reading(nan, 700.0f, 1e5f, 1e5f).valid);
  EXPECT_FALSE(fw::oxygen_reading(100.0f, nan, 1e5f, 1e5f).valid);
  EXPECT_FALSE(fw::oxygen_reading(100.0f, 700.0f, 1e5f, 0.0f).valid);
  for (const float mv : {-1e9f, 1e9f, nan}) {
    const auto reading = fw::oxygen_reading(mv, -400.0f, 1e5f, 1e-3f);
    EXPECT_GE(reading.ppm, 0.0f);
    EXPECT_LE(reading.ppm, 1e6f);
  }
}

}  // namespace
