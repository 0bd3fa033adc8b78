#include "sim/fault_bank.h"

#include <functional>
#include <set>
#include <stdexcept>

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "firmware/interlocks.h"
#include "tests/sim/short_run.h"

#include "plant/field_bus.h"

namespace {

using sim::FaultBank;
using sim::FaultSource;
using sim::LineFault;

FaultSource fault(const char* kind, std::vector<double> values = {}) {
  FaultSource source;
  source.kind = kind;
  source.values = std::move(values);
  return source;
}

TEST(Faults, TableHasPresetsWithinBoundsAndNoNameTwice) {
  std::set<std::string> names;
  for (const sim::FaultKind& kind : sim::fault_table()) {
    EXPECT_TRUE(names.insert(kind.name).second) << kind.name;
    EXPECT_EQ(sim::find_fault(kind.name), &kind);
    for (const sim::FaultParameter& parameter : kind.parameters) {
      EXPECT_LE(parameter.low, parameter.preset) << kind.name << '.' << parameter.name;
      EXPECT_GE(parameter.high, parameter.preset) << kind.name << '.' << parameter.name;
    }
  }
  EXPECT_EQ(sim::find_fault("no_such_fault"), nullptr);
}

TEST(Faults, ChannelsAreFoundByNameAndByNumber) {
  EXPECT_EQ(sim::find_channel("load"), 4);
  EXPECT_EQ(sim::find_channel("gauge_pressure"), 7);
  EXPECT_EQ(sim::find_channel("23"), 23);
  EXPECT_EQ(sim::find_channel("24"), -1);
  EXPECT_EQ(sim::find_channel("laod"), -1);
  EXPECT_STREQ(sim::channel_name(24), "");
  EXPECT_STREQ(sim::channel_unit(7), "Pa");
}

TEST(Faults, ListingNamesEveryKindParameterAndChannel) {
  const std::string text = sim::describe_faults();
  for (const sim::FaultKind& kind : sim::fault_table()) {
    EXPECT_THAT(text, testing::HasSubstr(kind.name));
    for (const sim::FaultParameter& parameter : kind.parameters) EXPECT_THAT(text, testing::HasSubstr(parameter.meaning));
  }
  for (int channel = 0; channel < sim::channel_count; ++channel) EXPECT_THAT(text, testing::HasSubstr(sim::channel_name(channel)));
}

// Two faults of a kind at one seam, hand calculation beside each, and the same in the other order: what they come to is no matter of who
// stands first in the file.
struct Met {
  plant::Disturbances plant;
  LineFault line;
};

Met met(std::vector<FaultSource> faults) {
  FaultBank bank(faults);
  Met seen;
  for (std::size_t index = 0; index < bank.size(); ++index) bank.begin(index);
  bank.apply(0.1, seen.plant, seen.line);
  bank.renew();
  bank.apply(0.1, seen.plant, seen.line);    // a tick on: a drift of r has gained 0.1 r
  return seen;
}

void expect_met(const std::vector<FaultSource>& faults, const std::function<void(const Met&)>& expect) {
  expect(met(faults));
  expect(met({faults.rbegin(), faults.rend()}));
}

TEST(FaultBank, ReachesItsFieldOfThePlantWhileItIsActive) {
  FaultBank bank({fault("element_broken", {2}), fault("switch_shorted", {4}), fault("supply_exhausted"), fault("exhaust_blocked"),
                  fault("door_opened"), fault("mains_dip", {0.7}), fault("emergency_stop")});
  plant::Disturbances plant;
  LineFault line;
  EXPECT_FALSE(bank.apply(0.1, plant, line));
  for (std::size_t index = 0; index < bank.size(); ++index) bank.begin(index);
  EXPECT_TRUE(bank.apply(0.1, plant, line));
  EXPECT_TRUE(plant.element_broken[1]);
  EXPECT_FALSE(plant.element_broken[0]);
  EXPECT_TRUE(plant.switch_shorted[3]);
  EXPECT_TRUE(plant.supply_exhausted && plant.exhaust_blocked && plant.door_open && plant.emergency_stop_pressed);
  EXPECT_EQ(plant.mains_scale, 0.7);
  EXPECT_FALSE(bank.apply(0.1, plant, line));  // nothing moves, nothing is rebuilt
  for (std::size_t index = 0; index < bank.size(); ++index) bank.end(index);
  EXPECT_TRUE(bank.apply(0.1, plant, line));
  EXPECT_FALSE(plant.element_broken[1] || plant.supply_exhausted || plant.emergency_stop_pressed);
  EXPECT_EQ(plant.mains_scale, 1.0);
}

TEST(FaultBank, LetsADriftGrowFromZeroAndAGlitchStandAtItsSize) {
  FaultBank bank({fault("sensor_drift", {4, 0.5}), fault("glitch", {7, 300}), fault("thermocouple_open", {0}), fault("sensor_stuck", {6})});
  plant::Disturbances plant;
  LineFault line;
  for (std::size_t index = 0; index < bank.size(); ++index) bank.begin(index);
  for (int tick = 0; tick < 3; ++tick) {
    EXPECT_TRUE(bank.apply(0.1, plant, line));
    EXPECT_DOUBLE_EQ(plant.channel[4].shift, 0.5 * 0.1 * tick);
    EXPECT_EQ(plant.channel[7].shift, 300.0);
  }
  EXPECT_TRUE(plant.channel[0].open && plant.any_channel);
  EXPECT_TRUE(plant.channel[6].stuck);
  EXPECT_TRUE(bank.one_tick(1));
  EXPECT_FALSE(bank.one_tick(0));
}

// Hand calculation: the gauge's loop is 4 to 20 mA over -5 to 20 kPa, so 2.5 kPa are 16 mA * 2.5 / 25 = 1.6 mA. The input
// resolves 20 mA / 65536 = 0.0003 mA; both readings are of one instant and so carry the same noise.
TEST(FaultBank, ShiftsTheZeroOfAnInstrumentAsLongAsItStays) {
  FaultBank bank({fault("sensor_offset", {7, 2500}), fault("key_turned")});
  const plant::StationModel station = plant::build_station({});
  const plant::ProcessValues process;
  plant::StationState state = plant::initial_station(station, process, 1);
  plant::Disturbances plant;
  LineFault line;
  const double sound_ma = plant::latch_channel(station, state, process, plant, 7).raw;
  bank.begin(0);
  bank.begin(1);
  for (int tick = 0; tick < 3; ++tick) {
    EXPECT_EQ(bank.apply(0.1, plant, line), tick == 0);   // an error that does not grow is told once
    EXPECT_NEAR(plant::latch_channel(station, state, process, plant, 7).raw - sound_ma, 1.6, 0.0007);
  }
  EXPECT_TRUE(plant.key_commissioning);
  EXPECT_FALSE(bank.one_tick(0));
  bank.end(0);
  bank.end(1);
  EXPECT_TRUE(bank.apply(0.1, plant, line));
  EXPECT_EQ(plant::latch_channel(station, state, process, plant, 7).raw, sound_ma);
  EXPECT_FALSE(plant.key_commissioning);
}

// --- wiring and amplifiers of instruments, through the reading the station would give; noise is of the same sample on both sides ---

struct Wired {
  plant::StationModel station = plant::build_station({});
  plant::ProcessValues process;
  plant::StationState state = plant::initial_station(station, process, 1);

  plant::RawReading read(const std::vector<FaultSource>& faults, int channel) {
    return plant::latch_channel(station, state, process, met(faults).plant, channel);
  }
  double quantum(int channel) const { return station.quantum[static_cast<std::size_t>(channel)]; }
};

TEST(InstrumentFaults, GainScalesTheSignal) {
  Wired w;
  w.process.retort_pa = w.process.barometer_pa + 5e3;
  w.process.cold_junction_degc = 50.0;
  w.state = plant::initial_station(w.station, w.process, 1);
  // 5 kPa gauge of -5..20 kPa: 4 + 16 * 10 / 25 = 10.4 mA; above the 4 times 0.8 * 1.1: 4 + 6.4 * 0.88 = 9.632
  const double loop = w.read({}, 7).raw, ohm = w.read({}, 6).raw;
  EXPECT_NEAR(loop, 10.4, 0.01);
  const double scaled = w.read({fault("sensor_gain", {7, 0.8}), fault("sensor_gain", {7, 1.1})}, 7).raw;
  EXPECT_NEAR(scaled, 9.632, 0.01);
  EXPECT_NEAR(w.read({fault("sensor_gain", {6, 1.05})}, 6).raw, 1.05 * ohm, 0.02);
}

TEST(InstrumentFaults, SwappedWiresTurnAVoltageRoundAndStopALoop) {
  Wired w;
  w.process.zone_junction_degc[0] = 600.0;
  w.state = plant::initial_station(w.station, w.process, 1);
  const double sound_mv = w.read({}, 0).raw;
  EXPECT_GT(sound_mv, 10.0);
  EXPECT_NEAR(w.read({fault("sensor_reversed", {0})}, 0).raw, -sound_mv, 0.05);      // but for the noise, of twice its size
  const plant::RawReading loop = w.read({fault("sensor_reversed", {7})}, 7);
  EXPECT_EQ(loop.raw, 3.5);                                                          // NE 43: no current is a failure
  EXPECT_TRUE(loop.broken);
  EXPECT_EQ(w.read({fault("sensor_reversed", {6})}, 6).raw, w.read({}, 6).raw);      // a resistance has no sign
}

// Terminals 5 K above what the Pt100 feels: the emf is that against 30 degC, while the Pt100 still says 25.
TEST(InstrumentFaults, TerminalsWarmerThanTheirSensorTakeFromTheEmf) {
  Wired w;
  w.process.zone_junction_degc[0] = 600.0;
  w.state = plant::initial_station(w.station, w.process, 1);
  const auto type = w.station.settings.instruments.zone_thermocouple;
  const double less = plant::thermocouple_terminal_mv(type, 600.0, 25.0) - plant::thermocouple_terminal_mv(type, 600.0, 30.0);
  EXPECT_GT(less, 0.1);
  const std::vector<FaultSource> faults{fault("cold_junction_off", {3}), fault("cold_junction_off", {2})};
  EXPECT_NEAR(w.read({}, 0).raw - w.read(faults, 0).raw, less, 1.01 * w.quantum(0));
  EXPECT_EQ(w.read(faults, 6).raw, w.read({}, 6).raw);
}

// n samples of two noises of 0.3 and 0.4 slm: together 0.5 slm, 1.6 mA of 16 mA over 5 slm. The chi-square of their variance lies within
// 3.29 sqrt(2 n) of n (two-sided 0.1 %).
TEST(InstrumentFaults, NoisesAddByTheirSquaresAndAreNewInEveryTick) {
  Wired w;
  w.process.meter_slm[0] = 2.5;
  w.state = plant::initial_station(w.station, w.process, 1);
  const std::vector<FaultSource> faults{fault("sensor_noise", {10, 0.3}), fault("sensor_noise", {10, 0.4})};
  constexpr int n = 4000;
  double sum = 0.0, squares = 0.0, lagged = 0.0, before = 0.0;
  for (int i = 0; i < n; ++i, ++w.state.sample) {
    const double ma = w.read(faults, 10).raw - w.read({}, 10).raw;
    sum += ma;
    squares += ma * ma;
    lagged += ma * before;
    before = ma;
  }
  EXPECT_EQ(w.read(faults, 10).raw, w.read(faults, 10).raw);
  EXPECT_NEAR(squares / (1.6 * 1.6), n, 3.29 * std::sqrt(2.0 * n));
  EXPECT_NEAR(sum / n, 0.0, 3.29 * 1.6 / std::sqrt(n));
  EXPECT_NEAR(lagged / squares, 0.0, 3.29 / std::sqrt(n));
}

// Lags of 20 and 10 s act as one of 30 s: 30 s after a step of 10 kPa it has shown 1 - 1/e of it.
TEST(InstrumentFaults, SlowInstrumentFollowsByItsLag) {
  Wired w;
  w.process.retort_pa = w.process.barometer_pa;
  w.state = plant::initial_station(w.station, w.process, 1);
  const plant::Disturbances slow = met({fault("sensor_slow", {7, 20}), fault("sensor_slow", {7, 10})}).plant;
  const auto tick = [&](const plant::Disturbances& disturbances) {
    plant::advance(w.station, w.state, w.process, 0.1);
    plant::slow_down(w.state, disturbances, 0.1);
  };
  tick(slow);
  w.process.retort_pa += 10e3;
  for (int i = 0; i < 300; ++i) tick(slow);
  const double ma = plant::latch_channel(w.station, w.state, w.process, slow, 7).raw;
  EXPECT_NEAR(ma, 7.2 + 6.4 * (1.0 - std::exp(-1.0)), 0.03);     // its own lag of a fraction of a second behind
  tick({});
  EXPECT_NEAR(w.read({}, 7).raw, 13.6, 0.01);
}

TEST(StationFaults, StuckInputReadsTheSameAndOffGoesBeforeOn) {
  expect_met({fault("input_stuck", {8, 0}), fault("input_stuck", {8, 1}), fault("input_stuck", {4, 1})}, [](const Met& met) {
    EXPECT_EQ(met.plant.station.inputs_off, 1u << 8);
    EXPECT_EQ(met.plant.station.inputs_on & ~met.plant.station.inputs_off, 1u << 4);
  });
}

TEST(FaultBank, ComposesWhatPlantAndActuatorsSuffer) {
  expect_met({fault("retort_leak", {1e-3}), fault("retort_leak", {2e-3}), fault("supply_contaminated", {30}),
              fault("supply_contaminated", {20}), fault("regulator_off", {-5e3}), fault("regulator_off", {2e3}),
              fault("regulator_droops", {1e3}), fault("regulator_droops", {2e3})},
             [](const Met& met) {
               EXPECT_DOUBLE_EQ(met.plant.leak_pa_m3_s, 3e-3);
               EXPECT_DOUBLE_EQ(met.plant.supply_oxygen, 50e-6);
               EXPECT_DOUBLE_EQ(met.plant.regulator_pa, -3e3);
               EXPECT_DOUBLE_EQ(met.plant.droop_pa_slm, 3e3);
             });
  expect_met({fault("element_aged", {2, 1.25}), fault("element_shorted", {2, 0.2}), fault("element_shorted", {2, 0.5}),
              fault("pump_weak", {0.5}), fault("pump_weak", {0.4}), fault("relief_opens_early", {0.5}), fault("relief_opens_early", {0.5}),
              fault("check_valve_leaks", {1}), fault("check_valve_leaks", {2}), fault("back_pressure_valve_worn", {0.7}),
              fault("back_pressure_valve_worn", {0.6})},
             [](const Met& met) {
               EXPECT_DOUBLE_EQ(met.plant.element_conductance[1], 1.0 / (1.25 * 0.8 * 0.5));
               EXPECT_DOUBLE_EQ(met.plant.pump_strength, 0.2);
               EXPECT_DOUBLE_EQ(met.plant.relief_scale, 0.25);
               EXPECT_DOUBLE_EQ(met.plant.check_leak_m2, 3e-6);
               EXPECT_EQ(met.plant.back_pressure_leak, 1.0);       // no more than all of it
             });
  expect_met({fault("meter_zero", {2, 0.1}), fault("meter_zero", {2, 0.2}), fault("meter_span", {2, 1.2}), fault("meter_span", {2, 0.5}),
              fault("thermocouple_loose", {1, 0.5}), fault("thermocouple_loose", {1, 0.4})},
             [](const Met& met) {
               EXPECT_DOUBLE_EQ(met.plant.meter[1].shift_slm, 0.3);
               EXPECT_DOUBLE_EQ(met.plant.meter[1].span, 0.6);
               EXPECT_DOUBLE_EQ(met.plant.load_contact[1], 0.2);
             });
  // over ice at -20 degC 103.26 Pa (WMO)
  expect_met({fault("supply_wet", {-20}), fault("supply_wet", {-20})},
             [](const Met& met) { EXPECT_NEAR(met.plant.supply_water, 2.0 * 103.26 / 101325.0, 2e-5 * 0.3); });
}

TEST(FaultBank, ReachesTheLine) {
  FaultBank bank({fault("line_drop", {0.25, 3}), fault("line_corrupt", {0.5}), fault("line_late", {120}), fault("line_silent")});
  plant::Disturbances plant;
  LineFault line;
  for (std::size_t index = 0; index < bank.size(); ++index) bank.begin(index);
  EXPECT_TRUE(bank.apply(0.1, plant, line));
  EXPECT_EQ(line.drop_rate, 0.25);
  EXPECT_EQ(line.drop_bytes, 3u);
  EXPECT_EQ(line.corrupt_rate, 0.5);
  EXPECT_EQ(line.late_ns, 120'000'000);
  EXPECT_TRUE(line.request_lost && line.answer_lost);
}

TEST(FaultBank, ComposesWhatMeetsInOneField) {
  expect_met({fault("mains_dip", {0.8}), fault("mains_dip", {0.5})}, [](const Met& met) { EXPECT_DOUBLE_EQ(met.plant.mains_scale, 0.4); });
  expect_met({fault("sensor_offset", {4, 5}), fault("sensor_drift", {4, -20}), fault("glitch", {4, 50}), fault("sensor_offset", {5, 1})},
             [](const Met& met) {
               EXPECT_DOUBLE_EQ(met.plant.channel[4].shift, 5.0 - 2.0 + 50.0);
               EXPECT_DOUBLE_EQ(met.plant.channel[5].shift, 1.0);
             });
  expect_met({fault("line_drop", {0.1, 2}), fault("line_drop", {0.2, 3}), fault("line_corrupt", {0.5}), fault("line_corrupt", {0.5})},
             [](const Met& met) {
               EXPECT_DOUBLE_EQ(met.line.drop_rate, 0.28);       // 1 - 0.9 * 0.8
               EXPECT_EQ(met.line.drop_bytes, 5u);
               EXPECT_DOUBLE_EQ(met.line.corrupt_rate, 0.75);    // 1 - 0.5 * 0.5
             });
  expect_met({fault("line_late", {30}), fault("line_late", {45})}, [](const Met& met) { EXPECT_EQ(met.line.late_ns, 75'000'000); });
  expect_met({fault("valve_stuck_open", {1}), fault("valve_stuck_shut", {1}), fault("valve_stuck_open", {2})}, [](const Met& met) {
    EXPECT_EQ(met.plant.valve[1], plant::ValveFault::stuck_shut);
    EXPECT_EQ(met.plant.valve[2], plant::ValveFault::stuck_open);
  });
}

TEST(FaultBank, TakesTheLesserOrGreaterOfWhatCanOnlyBeOne) {
  expect_met({fault("line_gap", {5, 20}), fault("line_gap", {9, 60}), fault("line_foreign", {7}), fault("line_foreign", {3})},
             [](const Met& met) {
               EXPECT_EQ(met.line.gap_ns, 9'000'000);
               EXPECT_EQ(met.line.gap_place, 60u);
               EXPECT_EQ(met.line.foreign_unit, 3);
             });
  expect_met({fault("station_exception", {6}), fault("station_exception", {4}), fault("station_map_wrong", {3}),
              fault("station_map_wrong", {2})},
             [](const Met& met) {
               EXPECT_EQ(met.plant.station.exception, 4);
               EXPECT_EQ(met.plant.station.map_version, 2);
             });
}

TEST(FaultBank, GoesOnUntilEachBeginningHasEnded) {
  FaultBank bank({fault("door_opened")});
  bank.begin(0);
  bank.begin(0);
  bank.end(0);
  EXPECT_TRUE(bank.active(0));
  bank.end(0);
  EXPECT_FALSE(bank.active(0));
  bank.end(0);
  bank.begin(0);
  EXPECT_TRUE(bank.active(0));      // an end too many is forgotten
}

TEST(FaultBank, RefusesWhatItDoesNotKnow) {
  EXPECT_THROW(FaultBank({fault("gremlin")}), std::invalid_argument);
  EXPECT_THROW(FaultBank({fault("element_broken")}), std::invalid_argument);
  EXPECT_THROW(FaultBank({fault("element_broken", {5})}), std::invalid_argument);
  EXPECT_THROW(FaultBank({fault("thermocouple_open", {24})}), std::invalid_argument);
  EXPECT_THROW(FaultBank(std::vector<FaultSource>(sim::faults_max + 1, fault("line_silent"))), std::invalid_argument);
}

// --- actuators that do not obey: what the truth shows beside the same run without the fault ---

std::vector<double> last_frame(sim::Scenario scenario, std::vector<sim::FaultSource> faults, const std::vector<const char*>& names) {
  scenario.faults = std::move(faults);
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  std::vector<double> values;
  for (const char* name : names) values.push_back(bench.frame()[static_cast<std::size_t>(bench.table().find(name))]);
  return values;
}

TEST(ActuatorFaults, StoppedPumpTripsTheCoreWithinASecond) {
  // Below 0.9 of its speed after 3 s * ln(1 / 0.9) = 0.32 s, by the pump's own lag; the core looks every 0.1 s.
  const sim::Scenario scenario = sim_test::short_run(61.0);
  const std::vector<const char*> names{"interlock.trip", "plant.valve.pump"};
  EXPECT_EQ(last_frame(scenario, {}, names), (std::vector<double>{0.0, 1.0}));
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("pump_stopped", {}, 60.0)}, names),
            (std::vector<double>{static_cast<double>(fw::row::pump_lost), 0.0}));
}

TEST(ActuatorFaults, TrippedLimiterIsSeenAndStays) {
  const sim::Scenario scenario = sim_test::short_run(61.0);
  const std::vector<double> seen = last_frame(scenario, {sim_test::fault("limiter_tripped", {}, 60.0, 0.2)}, {"interlock.trip"});
  EXPECT_EQ(seen[0], static_cast<double>(fw::row::limiter));
}

TEST(ActuatorFaults, StuckValveStandsWhereItIsStuckWhateverItsCommand) {
  const sim::Scenario scenario = sim_test::short_run(60.0);   // evacuating: purge shut, pump isolation open
  const std::vector<const char*> names{"plant.valve.purge", "plant.valve.pump"};
  EXPECT_EQ(last_frame(scenario, {}, names), (std::vector<double>{0.0, 1.0}));
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("valve_stuck_open", {1}, 50.0)}, names)[0], 1.0);
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("valve_stuck_shut", {5}, 50.0)}, names)[1], 0.0);
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("valve_stuck_open", {1}, 50.0, 5.0)}, names)[0], 0.0);   // healed
}

TEST(ActuatorFaults, WeldedContactorStaysClosedThroughAnEmergencyStop) {
  const sim::Scenario scenario = sim_test::short_run(400.0, "cycles/air_cycle");
  const std::vector<const char*> names{"plant.contactor"};
  const sim::FaultSource stop = sim_test::fault("emergency_stop", {}, 390.0);
  EXPECT_EQ(last_frame(scenario, {}, names)[0], 1.0);
  EXPECT_EQ(last_frame(scenario, {stop}, names)[0], 0.0);
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("contactor_welded", {}, 380.0), stop}, names)[0], 1.0);
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("contactor_welded", {}, 395.0), stop}, names)[0], 0.0);   // was open by then
  EXPECT_EQ(last_frame(scenario, {sim_test::fault("contactor_stuck_open", {}, 380.0)}, names)[0], 0.0);
}

}  // namespace
