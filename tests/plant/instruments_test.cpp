#include "plant/instruments.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "tests/plant/published_table.h"

namespace plant {
namespace {

double raw_of(int channel, double value, const ProcessValues& process = {}) {
  const Instruments instruments = default_instruments(4);
  const RawReading reading = convert(instruments, channel, value, process);
  const RawLimits limits = raw_limits(instruments.channel[static_cast<std::size_t>(channel)].kind);
  return std::clamp(reading.raw, limits.low, limits.high);
}

// tests/reference/pt100_check_points.csv, IEC 60751: 0.005 ohm against the print, the printed digits against the formula.
TEST(Pt100, ReproducesThePublishedTable) {
  int printed = 0;
  for (const auto& row : PublishedTable("pt100_check_points.csv").rows()) {
    const double degc = PublishedTable::number(row, "t_C");
    EXPECT_NEAR(pt100_ohm(degc), PublishedTable::number(row, "R_computed_ohm"), 0.51e-6) << degc;
    if (row.at("R_published_ohm").empty()) continue;
    EXPECT_NEAR(pt100_ohm(degc), PublishedTable::number(row, "R_published_ohm"), 0.005 + 1e-9) << degc;
    ++printed;
  }
  EXPECT_EQ(printed, 82);
}

// Map in DEVELOPERS.md: 4..20 mA over the span, both ends and the middle.
TEST(CurrentLoop, MapsItsSpanToFourToTwentyMilliampere) {
  struct Case { int channel; double low, high; };
  for (const Case& at : {Case{channel::gauge, -5e3, 20e3}, Case{channel::meter, 0.0, 5.0}, Case{channel::meter + 1, 0.0, 5.0},
                         Case{channel::oxygen_cell, 0.0, 1000.0}, Case{channel::dew_point, -100.0, 20.0},
                         Case{channel::barometer, 80e3, 110e3}, Case{channel::valve, 0.0, 1.0}, Case{channel::mains, 0.0, 300.0},
                         Case{channel::supply, 0.0, 100e3}, Case{channel::casing, 0.0, 200.0}, Case{channel::current, 0.0, 30.0},
                         Case{channel::current + 3, 0.0, 30.0}}) {
    EXPECT_NEAR(raw_of(at.channel, at.low), 4.0, 1e-12) << at.channel;
    EXPECT_NEAR(raw_of(at.channel, at.high), 20.0, 1e-12) << at.channel;
    EXPECT_NEAR(raw_of(at.channel, 0.5 * (at.low + at.high)), 12.0, 1e-12) << at.channel;
  }
}

// NE 43 (common practice, no source): a sound transmitter saturates at 3.8 and 20.5 mA.
TEST(CurrentLoop, SaturatesAtTheLimitsOfNe43) {
  EXPECT_EQ(raw_of(channel::gauge, -101e3), 3.8);   // vacuum, legally below range
  EXPECT_EQ(raw_of(channel::gauge, 500e3), 20.5);
  EXPECT_EQ(raw_of(channel::supply, -1e9), 3.8);
  EXPECT_FALSE(convert(default_instruments(1), channel::gauge, -101e3, ProcessValues{}).broken);
}

TEST(CapacitanceGauge, GivesTenVoltAtFullScaleAndSaturatesAtTenPointTwo) {
  EXPECT_NEAR(raw_of(channel::capacitance, 1333.22), 10.0, 1e-12);
  EXPECT_NEAR(raw_of(channel::capacitance, 133.322), 1.0, 1e-12);
  EXPECT_EQ(raw_of(channel::capacitance, 101325.0), 10.2);
  EXPECT_EQ(raw_of(channel::capacitance, 0.0), 0.0);
}

// Map: p = 0.1 Pa * 10^((V - 1) / 1.25).
TEST(Pirani, InvertsTheMapsFormulaInNitrogen) {
  for (const double pa : {0.1, 1.0, 10.0, 100.0, 1e3, 1e4, 1e5}) {
    EXPECT_NEAR(0.1 * std::pow(10.0, (pirani_v(pirani_indication_pa(pa, 0.0, 0.0)) - 1.0) / 1.25), pa, 1e-9 * pa);
  }
  EXPECT_EQ(pirani_v(0.0), 0.0);
  EXPECT_EQ(pirani_v(1e9), 10.0);
}

// Rarefied argon reads 1/1.7 of the truth and helium 1/0.8 (common practice, no source); argon at atmospheric pressure must read far too
// low, a few kPa (common practice, no source: 2 to 6 kPa on gauges with convection).
TEST(Pirani, MisreadsArgonAndHelium) {
  EXPECT_NEAR(pirani_indication_pa(1.0, 1.0, 0.0) / 1.0, 1.0 / 1.7, 0.002);
  EXPECT_NEAR(pirani_indication_pa(1.0, 0.0, 1.0) / 1.0, 1.0 / 0.8, 0.002);
  const double argon_atmosphere = pirani_indication_pa(101325.0, 1.0, 0.0);
  EXPECT_GT(argon_atmosphere, 2e3);
  EXPECT_LT(argon_atmosphere, 6e3);
  double last = 0.0;
  for (double pa = 0.01; pa < 3e5; pa *= 1.3) {
    EXPECT_GT(pirani_indication_pa(pa, 1.0, 0.0), last);   // monotonic
    last = pirani_indication_pa(pa, 1.0, 0.0);
    EXPECT_LT(last, pa);
  }
}

// Nernst: R/(4F) = 0.0215435 mV/K (CODATA 2018), so that a decade of oxygen at 700 degC (973.15 K) is 48.27 mV.
TEST(OxygenCell, FollowsNernstAgainstAir) {
  ProcessValues process;
  process.oxygen_cell_degc = 700.0;
  EXPECT_NEAR(raw_of(channel::oxygen, 209500.0, process), 0.0, 1e-9);
  EXPECT_NEAR(raw_of(channel::oxygen, 20950.0, process), 0.0215434 * 973.15 * std::log(10.0), 2e-3);
  EXPECT_NEAR(raw_of(channel::oxygen, 10.0, process), 0.0215434 * 973.15 * std::log(20950.0), 5e-3);
  EXPECT_GT(raw_of(channel::oxygen, 10.0, process), 0.0);   // less oxygen than air: positive
  process.cell_pa = 2.0 * process.barometer_pa;             // the cell sees partial pressures
  EXPECT_NEAR(raw_of(channel::oxygen, 104750.0, process), 0.0, 1e-9);
  EXPECT_TRUE(std::isfinite(raw_of(channel::oxygen, 0.0, process)));
}

TEST(ThermocoupleChannel, ReadsHotMinusColdOfItsOwnType) {
  Instruments instruments = default_instruments(1);
  instruments.load_thermocouple = ThermocoupleType::n;
  ProcessValues process;
  process.cold_junction_degc = 25.0;
  // tests/reference/thermocouple_cold_junction_examples.csv: K 1000/25 and N 1100/30.
  EXPECT_NEAR(convert(instruments, channel::zone, 1000.0, process).raw, 40.275364, 1e-6);
  process.cold_junction_degc = 30.0;
  EXPECT_NEAR(convert(instruments, channel::load, 1100.0, process).raw, 39.293591, 1e-6);
}

TEST(ThermocoupleChannel, SetsItsStatusOutsideTheTypesRange) {
  const Instruments instruments = default_instruments(1);
  EXPECT_FALSE(convert(instruments, channel::zone, 1372.0, ProcessValues{}).broken);
  EXPECT_TRUE(convert(instruments, channel::zone, 1372.1, ProcessValues{}).broken);
}

TEST(Instruments, NeverGiveANumberThatIsNotFinite) {
  const Instruments instruments = default_instruments(4);
  for (int c = 0; c < channel_count; ++c) {
    for (const double value : {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(), -1e300}) {
      const RawReading reading = convert(instruments, c, value, ProcessValues{});
      EXPECT_TRUE(std::isfinite(reading.raw)) << c;
      if (!std::isfinite(value)) {
        EXPECT_TRUE(reading.broken) << c;
      }
    }
  }
}

TEST(Instruments, BridgeInputsThatAreNotFitted) {
  const Instruments instruments = default_instruments(1);
  EXPECT_EQ(convert(instruments, channel::zone + 1, 900.0, ProcessValues{}).raw, 0.0);
  EXPECT_EQ(convert(instruments, channel::current + 1, 9.0, ProcessValues{}).raw, 4.0);
  EXPECT_FALSE(convert(instruments, channel::zone + 1, 900.0, ProcessValues{}).broken);
}

TEST(Instruments, RefuseImpossibleSettingsByName) {
  Instruments instruments = default_instruments(1);
  instruments.channel[channel::gauge].high = instruments.channel[channel::gauge].low;
  try {
    check_instruments(instruments);
    FAIL() << "an empty span was accepted";
  } catch (const std::invalid_argument& error) {
    EXPECT_STREQ(error.what(), "instruments.channel.7.high must lie above low");
  }
  instruments = default_instruments(1);
  instruments.channel[3].noise = -1.0;
  EXPECT_THROW(check_instruments(instruments), std::invalid_argument);
  instruments = default_instruments(1);
  instruments.channel[3].lag_s = std::numeric_limits<double>::infinity();
  EXPECT_THROW(check_instruments(instruments), std::invalid_argument);
}

}  // namespace
}  // namespace plant
