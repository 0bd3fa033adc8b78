#include "plant/field_bus.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <string>
#include <vector>

#include "plant/modbus.h"
#include "tests/plant/published_table.h"

namespace plant {
namespace {

// The write block of DEVELOPERS.md, put together here apart from the station's own decoding.
struct Block {
  std::array<std::uint8_t, 2 * station_output_registers> bytes{};
  Block() {
    word(0x102, 2);
    value(0x10C, 4.0f);
    value(0x10E, 4.0f);
    value(0x110, 1.0f);
  }
  Block& word(int address, std::uint16_t w) {
    modbus::put_u16(&bytes[2 * static_cast<std::size_t>(address - 0x100)], w);
    return *this;
  }
  Block& value(int address, float v) {
    modbus::put_f32(&bytes[2 * static_cast<std::size_t>(address - 0x100)], v);
    return *this;
  }
};

class Station : public ::testing::Test {
 protected:
  static constexpr double period_s = 0.1;

  Station() {
    for (auto& at : settings.instruments.channel) at.noise = at.lag_s = 0.0;   // exact readings unless a test wants otherwise
    restart();
  }
  void restart(std::uint64_t seed = 1) {
    model = build_station(settings);
    state = initial_station(model, process, seed);
  }

  // One FC 23; true when answered without exception. The read block is kept.
  bool exchange(const Block& block) {
    std::array<std::uint8_t, modbus::adu_bytes_max> request{}, reply{};
    const std::size_t size = modbus::encode_write_and_read(1, 0, 54, 0x100, block.bytes, request);
    const std::size_t got = answer(model, state, process, disturbances, std::span(request).first(size), reply);
    const modbus::Reply checked = modbus::check_reply(std::span(request).first(size), std::span(reply).first(got));
    exception = checked.exception;
    if (checked.status != modbus::ReplyStatus::ok) return false;
    registers.assign(checked.registers.begin(), checked.registers.end());
    return true;
  }
  void tick() { advance(model, state, process, period_s); }
  void silence(int ticks) {
    for (int i = 0; i < ticks; ++i) tick();
  }
  std::uint16_t word(std::size_t place) const { return modbus::get_u16(&registers[2 * place]); }
  float raw(int channel) const { return modbus::get_f32(&registers[2 * (6 + 2 * static_cast<std::size_t>(channel))]); }
  bool broken(int channel) const { return ((std::uint32_t{word(2)} << 16 | word(1)) >> channel & 1u) != 0; }

  StationSettings settings{default_instruments(4), 1'000'000'000, 2'000'000'000, 500.0};
  StationModel model;
  StationState state;
  ProcessValues process;
  Disturbances disturbances;
  std::vector<std::uint8_t> registers;
  std::uint8_t exception = 0;
};

TEST_F(Station, EchoesTheSequenceAndNamesItsMap) {
  ASSERT_TRUE(exchange(Block().word(0x100, 0xBEEF)));
  EXPECT_EQ(word(0), 0xBEEF);
  EXPECT_EQ(word(5), 1);
  EXPECT_EQ(registers.size(), 108u);
}

TEST_F(Station, DecodesEveryCoilIntoOpenOrShut) {
  ASSERT_TRUE(exchange(Block().word(0x101, 0)));
  const Commands none = state.commands;
  EXPECT_TRUE(none.purge_open && none.exhaust_open && none.inlet_vent_open);
  EXPECT_FALSE(none.contactor || none.process_open || none.bypass_open || none.air_open || none.pump_run || none.isolation_open);
  bool Commands::* const fields[] = {
      &Commands::contactor, &Commands::process_open,   &Commands::purge_open,      &Commands::exhaust_open,
      &Commands::bypass_open, &Commands::air_open,     &Commands::pump_run,        &Commands::isolation_open,
      &Commands::inlet_vent_open, &Commands::pilot,    &Commands::horn};
  for (int bit = 0; bit < 11; ++bit) {
    ASSERT_TRUE(exchange(Block().word(0x101, static_cast<std::uint16_t>(1u << bit))));
    for (int other = 0; other < 11; ++other) {
      const bool normally = none.*fields[other];
      EXPECT_EQ(state.commands.*fields[other], bit == other ? !normally : normally) << bit << " " << other;
    }
  }
}

TEST_F(Station, ScalesAndClampsAnalogueOutputs) {
  ASSERT_TRUE(exchange(Block().value(0x104, 0.25f).value(0x106, 1.5f).value(0x108, -3.0f).value(0x10A, 1.0f).value(0x10C, 12.0f)
                           .value(0x10E, 30.0f).value(0x110, 0.5f).word(0x103, 3)));
  EXPECT_EQ(state.commands.demand, (std::array<double, 4>{0.25, 1.0, 0.0, 1.0}));
  EXPECT_EQ(state.commands.meter_set, (std::array<double, 2>{0.5, 1.0}));
  EXPECT_EQ(state.commands.valve_frac, 0.5);
  EXPECT_EQ(state.commands.gas, 3);
  EXPECT_EQ(state.commands.safe_row, 2);
}

TEST_F(Station, RefusesWhatIsNotFiniteOrUnknownAndAppliesNothing) {
  ASSERT_TRUE(exchange(Block().value(0x104, 0.25f).word(0x101, 1)));
  const Commands before = state.commands;
  const float nan = std::numeric_limits<float>::quiet_NaN(), inf = std::numeric_limits<float>::infinity();
  std::vector<Block> bad{Block().word(0x102, 6), Block().word(0x103, 6)};
  for (int address = 0x104; address <= 0x110; address += 2) {
    bad.push_back(Block().value(address, nan));
    bad.push_back(Block().value(address, -inf));
  }
  for (Block& block : bad) {
    block.word(0x100, 77).word(0x101, 0x7FF);
    EXPECT_FALSE(exchange(block));
    EXPECT_EQ(exception, 3);
    EXPECT_EQ(state.commands.contactor, before.contactor);
    EXPECT_EQ(state.commands.pump_run, before.pump_run);
    EXPECT_EQ(state.commands.demand, before.demand);
    EXPECT_NE(state.output[0], 77);
  }
}

TEST_F(Station, RefusesAddressesOutsideTheMap) {
  std::array<std::uint8_t, 256> request{}, reply{};
  const auto refused = [&](std::size_t size) {
    const std::size_t got = answer(model, state, process, disturbances, std::span(request).first(size), reply);
    return got == 5 && reply[2] == modbus::illegal_address;
  };
  EXPECT_TRUE(refused(modbus::encode_read(1, modbus::read_input, 0, 55, request)));
  EXPECT_TRUE(refused(modbus::encode_read(1, modbus::read_holding, 0x100, 19, request)));
  EXPECT_TRUE(refused(modbus::encode_read(1, modbus::read_input, 0x36, 1, request)));
  EXPECT_TRUE(refused(modbus::encode_read(1, modbus::read_input, 0xFFFF, 2, request)));
  EXPECT_TRUE(refused(modbus::encode_write_single(1, 0, 1, request)));        // inputs are read-only
  EXPECT_TRUE(refused(modbus::encode_write_single(1, 0x112, 1, request)));
  EXPECT_FALSE(refused(modbus::encode_read(1, modbus::read_input, 0, 54, request)));
  EXPECT_FALSE(refused(modbus::encode_read(1, modbus::read_holding, 0x100, 18, request)));
}

TEST_F(Station, ReportsEveryDiscreteInputAtItsBit) {
  bool ProcessValues::* const fields[] = {
      &ProcessValues::door_closed,     &ProcessValues::emergency_stop_healthy, &ProcessValues::contactor_closed,
      &ProcessValues::pump_at_speed,   &ProcessValues::exhaust_open,           &ProcessValues::isolation_open,
      &ProcessValues::supply_present,  &ProcessValues::over_pressure,          &ProcessValues::limiter_healthy,
      &ProcessValues::key_commissioning, &ProcessValues::bypass_open,          &ProcessValues::air_open,
      &ProcessValues::process_open,    &ProcessValues::purge_open};
  for (const auto field : fields) process.*field = false;
  for (int bit = 0; bit < 14; ++bit) {
    process.*fields[bit] = true;
    ASSERT_TRUE(exchange(Block()));
    EXPECT_EQ(word(3), 1u << bit);
    process.*fields[bit] = false;
  }
}

// Each channel at a value whose raw reading is easy to say by hand from the map.
TEST_F(Station, PutsEveryChannelAtItsPlaceInRawUnits) {
  process.cold_junction_degc = 0.0;
  process.zone_junction_degc = {100.0, 200.0, 300.0, 400.0};
  process.load_junction_degc = 500.0;
  process.load2_junction_degc = 600.0;
  process.barometer_pa = 95e3;
  process.retort_pa = 95e3 + 7.5e3;
  process.meter_slm = {1.4 * 2.5, 1.0};
  process.meter_conversion = {1.4, 1.0};
  process.oxygen_ppm = 20950.0;
  process.cell_pa = 95e3;
  process.oxygen_cell_degc = 700.0;
  process.dew_point_degc = -40.0;
  process.valve_frac = 0.25;
  process.mains_v = 225.0;
  process.supply_pa = 40e3;
  process.casing_degc = 50.0;
  process.current_a = {0.0, 7.5, 15.0, 30.0};
  restart();
  ASSERT_TRUE(exchange(Block()));
  // Type K of the ITS-90 table, printed to 0.001 mV; half a quantum (0.0005 mV) and half a digit.
  const double emf[] = {4.096, 8.138, 12.209, 16.397, 20.644, 24.905};
  for (int c = 0; c < 6; ++c) EXPECT_NEAR(raw(c), emf[c], 0.00101) << c;
  EXPECT_NEAR(raw(6), 100.0, 0.0011);
  EXPECT_NEAR(raw(7), 12.0, 0.0002);     // middle of -5..20 kPa
  EXPECT_NEAR(raw(8), 10.2, 0.0001);
  EXPECT_NEAR(0.1 * std::pow(10.0, (raw(9) - 1.0) / 1.25), 102.5e3, 40.0);   // 0.15 mV is 0.03 %
  EXPECT_NEAR(raw(10), 12.0, 0.0002);    // 2.5 of 5 slm in nitrogen
  EXPECT_NEAR(raw(11), 7.2, 0.0002);
  EXPECT_NEAR(raw(12), 48.27, 0.012);    // one decade at 973.15 K
  EXPECT_NEAR(raw(13), 15.2, 0.0002);
  EXPECT_NEAR(raw(14), 12.0, 0.0002);
  EXPECT_NEAR(raw(15), 12.0, 0.0002);
  EXPECT_NEAR(raw(16), 8.0, 0.0002);
  EXPECT_NEAR(raw(17), 16.0, 0.0002);
  EXPECT_NEAR(raw(18), 10.4, 0.0002);
  EXPECT_NEAR(raw(19), 8.0, 0.0002);
  const double current[] = {4.0, 8.0, 12.0, 20.0};
  for (int z = 0; z < 4; ++z) EXPECT_NEAR(raw(20 + z), current[z], 0.0002);
  EXPECT_EQ(word(1), 0);
  EXPECT_EQ(word(2), 0);
}

// --- faults of a channel --------------------------------------------------------------------------------------------------

TEST_F(Station, OpenChannelReadsItsClampAndSetsItsBit) {
  const double clamp[channel_count] = {100, 100, 100, 100, 100, 100, 400, 3.5, 10.5, 10.5, 3.5, 3.5,
                                       -100, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5, 3.5};
  for (int c = 0; c < channel_count; ++c) {
    disturbances = Disturbances();
    disturbances.any_channel = true;
    disturbances.channel[c].open = true;
    ASSERT_TRUE(exchange(Block()));
    EXPECT_EQ(raw(c), static_cast<float>(clamp[c])) << c;
    EXPECT_EQ(std::uint32_t{word(2)} << 16 | word(1), std::uint32_t{1} << c);
  }
  disturbances = Disturbances();
  ASSERT_TRUE(exchange(Block()));
  EXPECT_EQ(word(1), 0);
  EXPECT_EQ(word(2), 0);
}

TEST_F(Station, StuckChannelHoldsTheValueFromWhenItBegan) {
  settings.instruments = default_instruments(4);   // noise and all
  process.zone_junction_degc[0] = 500.0;
  restart();
  disturbances.any_channel = true;
  disturbances.channel[0].stuck = true;
  ASSERT_TRUE(exchange(Block()));
  const float held = raw(0), load = raw(4);
  EXPECT_NEAR(held, 20.644 - 1.000, 0.005);   // cold junction 25 degC
  process.zone_junction_degc[0] = 700.0;
  process.load_junction_degc = 300.0;
  for (int i = 0; i < 5; ++i) {
    tick();
    ASSERT_TRUE(exchange(Block()));
    EXPECT_EQ(raw(0), held);
    EXPECT_NE(raw(4), load);
    EXPECT_FALSE(broken(0));
  }
  disturbances = Disturbances();
  ASSERT_TRUE(exchange(Block()));
  EXPECT_GT(raw(0), held + 7.0f);
  disturbances.any_channel = true;
  disturbances.channel[0].stuck = true;   // a second fault holds the new value
  ASSERT_TRUE(exchange(Block()));
  EXPECT_GT(raw(0), held + 7.0f);
}

TEST_F(Station, DriftAddsInTheProcessUnitBeforeConversion) {
  process.zone_junction_degc[0] = 500.0;
  process.barometer_pa = process.retort_pa = 100e3;
  restart();
  disturbances.any_channel = true;
  disturbances.channel[0].shift = -100.0;
  disturbances.channel[channel::gauge].shift = 1000.0;
  ASSERT_TRUE(exchange(Block()));
  EXPECT_NEAR(raw(0), thermocouple_terminal_mv(ThermocoupleType::k, 400.0, 25.0), 0.00051);
  EXPECT_NEAR(raw(channel::gauge), 4.0 + 16.0 * 6e3 / 25e3, 0.0002);
  disturbances.channel[0].shift = -5e8;
  ASSERT_TRUE(exchange(Block()));
  EXPECT_TRUE(std::isfinite(raw(0)));
  EXPECT_TRUE(broken(0));
}

// Every row of the NIST tables through the station's answer, on both kinds of input; emf printed to 0.0005 mV, twice, and the input's
// quantum of 0.001 mV.
TEST_F(Station, GivesTheTabledEmfOfEveryTypeOfThermocouple) {
  const PublishedTable table("thermocouple_check_points.csv");
  int rows = 0;
  for (int i = 0; i < thermocouple_types; ++i) {
    const std::string letter(1, thermocouple_letter[static_cast<std::size_t>(i)]);
    settings.instruments.zone_thermocouple = static_cast<ThermocoupleType>(i);
    settings.instruments.load_thermocouple = static_cast<ThermocoupleType>((i + 1) % thermocouple_types);
    double cold_mv = 0.0;
    for (const auto& row : table.rows())
      if (row.at("type") == letter && row.at("T_C") == "30") cold_mv = PublishedTable::number(row, "E_published_mV");
    process.cold_junction_degc = 30.0;
    for (const auto& row : table.rows()) {
      if (row.at("type") != letter) continue;
      process.zone_junction_degc[0] = PublishedTable::number(row, "T_C");
      restart();
      ASSERT_TRUE(exchange(Block()));
      EXPECT_NEAR(raw(0), PublishedTable::number(row, "E_published_mV") - cold_mv, 0.001 + 0.0005 + 1e-5) << letter << row.at("T_C");
      EXPECT_FALSE(broken(0)) << letter << row.at("T_C");
      ++rows;
    }
  }
  EXPECT_EQ(rows, 1229);
}

// --- lag, noise, quantum --------------------------------------------------------------------------------------------------

// Step response of a first-order lag: 1 - exp(-t / tau), exact at the samples.
TEST_F(Station, LagIsExactAtTheSamples) {
  settings.instruments.channel[channel::casing].lag_s = 0.37;
  process.casing_degc = 0.0;
  restart();
  process.casing_degc = 100.0;
  for (int k = 1; k <= 20; ++k) {
    tick();
    EXPECT_NEAR(state.lagged[channel::casing], 100.0 * (1.0 - std::exp(-0.1 * k / 0.37)), 1e-10);
  }
  advance(model, state, process, 1.3);   // another period
  EXPECT_NEAR(state.lagged[channel::casing], 100.0 * (1.0 - std::exp(-(2.0 + 1.3) / 0.37)), 1e-10);
}

// 20,000 readings; bounds five standard errors. A reading is noise of sigma plus rounding to q, variance sigma^2 + q^2 / 12; the
// kurtosis of the sum is below 3.
TEST_F(Station, NoiseHasItsStatedSpreadAndNoBias) {
  const double sigma = 0.01;
  auto& at = settings.instruments.channel[channel::casing];
  at.noise = sigma;
  at.quantum = 0.002;
  process.casing_degc = 100.0;
  restart();
  const double ideal = 12.0;
  constexpr int count = 20'000;
  double sum = 0.0, squares = 0.0;
  for (int i = 0; i < count; ++i) {
    ASSERT_TRUE(exchange(Block()));
    const double error = raw(channel::casing) - ideal;
    sum += error;
    squares += error * error;
    tick();
  }
  const double variance = sigma * sigma + 0.002 * 0.002 / 12.0;
  EXPECT_NEAR(sum / count, 0.0, 5.0 * std::sqrt(variance / count));
  EXPECT_NEAR(squares / count, variance, 5.0 * variance * std::sqrt(2.0 / count));
}

TEST_F(Station, ReadingsAreMultiplesOfTheQuantum) {
  settings.instruments = default_instruments(4);
  process.zone_junction_degc[0] = 612.3;
  restart();
  for (int i = 0; i < 50; ++i) {
    ASSERT_TRUE(exchange(Block()));
    const double steps = raw(0) / 0.001;
    EXPECT_NEAR(steps, std::round(steps), 2e-3);   // float32 of 24 mV: 1e-6 mV
    tick();
  }
}

// The quick way over sound channels and the channel-by-channel way must not differ by a bit. A stuck channel elsewhere takes the slow
// one.
TEST_F(Station, BothWaysToLatchGiveTheSameBytes) {
  settings.instruments = default_instruments(2);
  settings.instruments.channel[channel::casing].quantum = 0.0;
  process.zone_junction_degc = {1500.0, 431.7, 88.0, -20.0};   // the first outside its range
  process.retort_pa = 8.25;
  process.argon_fraction = 0.97;
  process.supply_pa = 400e3;
  process.oxygen_ppm = 3.2;
  restart();
  for (int i = 0; i < 200; ++i) {
    process.retort_pa *= 1.07;
    process.zone_junction_degc[1] += 1.37;
    tick();
    disturbances = Disturbances();
    ASSERT_TRUE(exchange(Block()));
    const auto quick = registers;
    disturbances.any_channel = true;
    disturbances.channel[channel::zone + 3].stuck = true;   // not fitted: reads the same
    ASSERT_TRUE(exchange(Block()));
    ASSERT_EQ(registers, quick) << i;
    disturbances = Disturbances();
    ASSERT_TRUE(exchange(Block()));   // and back
  }
}

TEST_F(Station, AskingTwiceAtOneBoundaryGivesTheSameReadings) {
  settings.instruments = default_instruments(4);
  restart();
  ASSERT_TRUE(exchange(Block()));
  const auto first = registers;
  ASSERT_TRUE(exchange(Block()));
  EXPECT_EQ(first, registers);
  tick();
  ASSERT_TRUE(exchange(Block()));
  EXPECT_NE(first, registers);
}

TEST_F(Station, IsTheSameRunToRunAndAfterACopyAndAfterLostExchanges) {
  settings.instruments = default_instruments(4);
  const auto run = [&](std::uint64_t seed, bool lossy) {
    restart(seed);
    for (int i = 0; i < 8; ++i) {
      if (!lossy || i % 2 == 0) {
        EXPECT_TRUE(exchange(Block()));
      }
      tick();
    }
    StationState copy;
    std::memcpy(&copy, &state, sizeof copy);   // a snapshot is a copy of bytes
    state = copy;
    EXPECT_TRUE(exchange(Block()));
    return registers;
  };
  const auto once = run(5, false);
  EXPECT_EQ(once, run(5, false));
  EXPECT_EQ(once, run(5, true));    // readings depend on the tick, not on how often one asked
  EXPECT_NE(once, run(6, false));
}

// --- watchdog -------------------------------------------------------------------------------------------------------------

void expect_heat_off_and_isolated(const Commands& commands) {
  EXPECT_EQ(commands.demand, (std::array<double, 4>{}));
  EXPECT_EQ(commands.meter_set, (std::array<double, 2>{}));
  EXPECT_FALSE(commands.contactor);
  EXPECT_FALSE(commands.isolation_open);
  EXPECT_FALSE(commands.process_open);
  EXPECT_FALSE(commands.air_open);
}

TEST_F(Station, IsWithoutPowerUntilTheFirstExchange) {
  EXPECT_TRUE(state.commands.purge_open && state.commands.exhaust_open && state.commands.inlet_vent_open);
  EXPECT_EQ(state.commands.valve_frac, 1.0);
  expect_heat_off_and_isolated(state.commands);
  EXPECT_FALSE(state.commands.pump_run || state.commands.bypass_open);
  silence(30);   // nothing was commanded: no row to impose
  EXPECT_TRUE(state.commands.purge_open && state.commands.exhaust_open && state.commands.inlet_vent_open);
  EXPECT_EQ(state.imposed_row, 0);
}

TEST_F(Station, WatchdogActsAfterOneSecondOfSilenceAndNotBefore) {
  ASSERT_TRUE(exchange(Block().word(0x101, 1).value(0x104, 0.7f)));
  silence(9);
  EXPECT_TRUE(state.commands.contactor);
  EXPECT_EQ(state.commands.demand[0], static_cast<double>(0.7f));
  tick();
  EXPECT_FALSE(state.commands.contactor);
  EXPECT_EQ(state.commands.demand[0], 0.0);
}

// The design's safe values by atmosphere.
TEST_F(Station, WatchdogImposesTheRowLastCommanded) {
  struct Row { std::uint16_t row; bool purge_open, bypass_open; };
  for (const Row& row : {Row{1, false, false}, Row{2, true, false}, Row{3, true, false}, Row{4, true, false}, Row{5, false, true}}) {
    process.retort_pa = process.barometer_pa + 9e3;   // above the release pressure
    restart();
    ASSERT_TRUE(exchange(Block().word(0x101, 0x7F & ~4).word(0x102, row.row).value(0x104, 1.0f).value(0x10C, 20.0f).value(0x110, 0.1f)));
    silence(40);
    expect_heat_off_and_isolated(state.commands);
    EXPECT_EQ(state.commands.purge_open, row.purge_open) << row.row;
    EXPECT_EQ(state.commands.bypass_open, row.bypass_open) << row.row;
    EXPECT_TRUE(state.commands.exhaust_open);
    EXPECT_EQ(state.commands.valve_frac, 1.0);
    EXPECT_FALSE(state.commands.pump_run);
    EXPECT_TRUE(state.commands.inlet_vent_open);
    std::array<std::uint8_t, 256> request{}, reply{};   // a read alone reports it and changes nothing
    const std::size_t size = modbus::encode_read(1, modbus::read_input, 4, 1, request);
    ASSERT_EQ(answer(model, state, process, disturbances, std::span(request).first(size), reply), 7u);
    EXPECT_EQ(modbus::get_u16(&reply[3]), 1u | row.row << 8) << row.row;
    EXPECT_TRUE(state.watchdog_acted);
    ASSERT_TRUE(exchange(Block().word(0x102, row.row)));
    EXPECT_EQ(word(4), 1u | row.row << 8);              // the answer that ends the silence still tells
    ASSERT_TRUE(exchange(Block().word(0x102, row.row)));
    EXPECT_EQ(word(4), 0);
  }
}

TEST_F(Station, OverPressureRowGivesWayToTheAtmospheresRowBelowHalfAKilopascal) {
  process.retort_pa = process.barometer_pa + 9e3;
  restart();
  ASSERT_TRUE(exchange(Block().word(0x102, 2)));
  ASSERT_TRUE(exchange(Block().word(0x102, 5)));
  silence(12);
  EXPECT_TRUE(state.commands.bypass_open);
  EXPECT_FALSE(state.commands.purge_open);
  process.retort_pa = process.barometer_pa + 501.0;
  tick();
  EXPECT_TRUE(state.commands.bypass_open);
  process.retort_pa = process.barometer_pa + 499.0;
  tick();
  EXPECT_FALSE(state.commands.bypass_open);
  EXPECT_TRUE(state.commands.purge_open);
  EXPECT_EQ(state.imposed_row, 2);
  process.retort_pa = process.barometer_pa + 9e3;   // no way back without the core
  tick();
  EXPECT_FALSE(state.commands.bypass_open);
}

TEST_F(Station, WatchdogIsolatesTheRunningPumpBeforeItStopsIt) {
  process.retort_pa = 20.0;
  restart();
  ASSERT_TRUE(exchange(Block().word(0x101, 1u << 6 | 1u << 7 | 1u << 8).word(0x102, 4)));
  EXPECT_TRUE(state.commands.pump_run && state.commands.isolation_open && !state.commands.inlet_vent_open);
  silence(10);
  EXPECT_FALSE(state.commands.isolation_open);
  EXPECT_TRUE(state.commands.pump_run);
  EXPECT_FALSE(state.commands.inlet_vent_open);
  silence(19);
  EXPECT_TRUE(state.commands.pump_run);
  tick();
  EXPECT_FALSE(state.commands.pump_run);
  EXPECT_TRUE(state.commands.inlet_vent_open);
}

TEST_F(Station, OnlyAnAcceptedWriteFeedsTheWatchdog) {
  ASSERT_TRUE(exchange(Block()));
  for (int i = 0; i < 10; ++i) {
    std::array<std::uint8_t, 256> request{}, reply{};
    const std::size_t size = modbus::encode_read(1, modbus::read_input, 0, 54, request);
    EXPECT_GT(answer(model, state, process, disturbances, std::span(request).first(size), reply), 0u);
    EXPECT_FALSE(exchange(Block().value(0x104, std::numeric_limits<float>::quiet_NaN())));
    request[3] = static_cast<std::uint8_t>(request[3] ^ 1);   // a damaged frame
    EXPECT_EQ(answer(model, state, process, disturbances, std::span(request).first(size), reply), 0u);
    tick();
  }
  EXPECT_TRUE(state.watchdog_acted);
}

TEST_F(Station, TakesABroadcastWriteInSilence) {
  std::array<std::uint8_t, 256> request{}, reply{};
  const Block block = Block().word(0x101, 1);
  const std::size_t size = modbus::encode_write_multiple(0, 0x100, block.bytes, request);
  EXPECT_EQ(answer(model, state, process, disturbances, std::span(request).first(size), reply), 0u);
  EXPECT_TRUE(state.commands.contactor);
}

}  // namespace
}  // namespace plant
