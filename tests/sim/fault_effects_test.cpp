// Every kind of the table at work on the bench: beside the same run without it, it changes what the trace, the controller's bytes or its
// store hold; at its neutral value, where it has one, nothing. A kind without a row here fails.
#include <map>
#include <set>

#include <gtest/gtest.h>

#include "sim/fault_bank.h"
#include "sim/hash.h"
#include "tests/sim/short_run.h"

namespace {

using sim_test::fault;

enum class Where { evacuating, vented, backfilling, purging, over_pressure, heating, stopping,
                   unheard, restarting, burning, drying, pump_stands };

struct Circumstances {
  const char* scenario;
  double run_s, at_s;                       // how long, and when the fault begins
  std::vector<sim::FaultSource> beside;     // faults that make it matter
  bool dryer = false;                       // fitted, in gas that comes wet
};

Circumstances circumstances(Where where) {
  const char* const demo = "cycles/titanium_stress_relief";
  const char* const air = "cycles/air_cycle";
  switch (where) {
    case Where::evacuating: return {demo, 61.0, 50.0, {}};
    case Where::vented: return {demo, 61.0, 50.0, {fault("valve_stuck_open", {2}, 40.0), fault("valve_stuck_open", {3}, 40.0)}};
    case Where::backfilling: return {demo, 345.0, 312.0, {}};
    case Where::purging: return {demo, 1320.0, 1285.0, {}};
    case Where::over_pressure:
      return {demo, 300.0, 0.0,
              {fault("valve_stuck_open", {1}, 0.0), fault("valve_stuck_shut", {5}, 0.0), fault("exhaust_blocked", {}, 0.0)}};
    case Where::heating: return {air, 400.0, 380.0, {}};
    case Where::stopping: return {air, 400.0, 380.0, {fault("emergency_stop", {}, 390.0)}};
    case Where::unheard: return {air, 400.0, 380.0, {fault("line_silent", {}, 385.0)}};
    case Where::restarting: return {demo, 372.0, 300.0, {fault("controller_power_lost", {0}, 364.0, 2.0)}};
    case Where::drying: return {demo, 345.0, 312.0, {}, true};
    case Where::pump_stands: return {demo, 61.0, 50.0, {fault("pump_stopped", {}, 45.0)}};
    case Where::burning: return {"combustible/forming_gas_anneal", 61.0, 50.0, {fault("line_silent", {}, 45.0)}};   // its safe row
  }
  return {};
}

struct Effect {
  const char* kind;
  Where where;
  std::vector<double> values;
  std::vector<double> neutral;              // empty: it has no neutral value
};

const Effect effects[] = {
    {"element_broken", Where::heating, {1}, {}},
    {"switch_shorted", Where::heating, {1}, {}},
    {"supply_exhausted", Where::backfilling, {}, {}},
    {"exhaust_blocked", Where::purging, {}, {}},
    {"door_opened", Where::evacuating, {}, {}},
    {"mains_dip", Where::evacuating, {0.8}, {1.0}},
    {"emergency_stop", Where::evacuating, {}, {}},
    {"key_turned", Where::evacuating, {}, {}},
    {"pump_stopped", Where::evacuating, {}, {}},
    {"contactor_welded", Where::stopping, {}, {}},
    {"contactor_stuck_open", Where::heating, {}, {}},
    {"limiter_tripped", Where::evacuating, {}, {}},
    {"back_pressure_valve_stuck", Where::purging, {}, {}},
    {"valve_stuck_shut", Where::evacuating, {5}, {}},
    {"valve_stuck_open", Where::evacuating, {1}, {}},
    {"retort_leak", Where::evacuating, {1e-2}, {0}},
    {"supply_contaminated", Where::backfilling, {50}, {0}},
    {"supply_wet", Where::backfilling, {-20}, {}},
    {"regulator_off", Where::evacuating, {-20e3}, {0}},
    {"regulator_droops", Where::backfilling, {5e3}, {0}},
    {"oxygen_cell_cold", Where::heating, {}, {}},
    {"element_aged", Where::heating, {1, 1.3}, {1, 1}},
    {"element_shorted", Where::heating, {1, 0.2}, {1, 0}},
    {"relief_stuck_shut", Where::over_pressure, {}, {}},
    {"relief_opens_early", Where::over_pressure, {0.3}, {1}},
    {"check_valve_leaks", Where::vented, {0.1}, {0}},
    {"back_pressure_valve_worn", Where::purging, {0.05}, {0}},
    {"pump_weak", Where::evacuating, {0.3}, {1}},
    {"meter_zero", Where::purging, {1, 0.1}, {1, 0}},
    {"meter_span", Where::purging, {1, 1.2}, {1, 1}},
    {"meter_stuck", Where::purging, {1}, {}},
    {"thermocouple_loose", Where::heating, {0, 0}, {0, 1}},
    {"thermocouple_open", Where::evacuating, {7}, {}},
    {"sensor_stuck", Where::heating, {7}, {}},
    {"sensor_drift", Where::heating, {7, 1}, {7, 0}},
    {"sensor_offset", Where::heating, {7, 100}, {7, 0}},
    {"glitch", Where::heating, {7, 5000}, {7, 0}},
    {"sensor_reversed", Where::heating, {0}, {}},
    {"sensor_gain", Where::heating, {7, 1.1}, {7, 1}},
    {"sensor_noise", Where::heating, {7, 50}, {7, 0}},
    {"sensor_slow", Where::heating, {7, 30}, {7, 0}},
    {"cold_junction_off", Where::evacuating, {5}, {0}},
    {"input_stuck", Where::evacuating, {8, 0}, {}},
    {"mains_lost", Where::evacuating, {}, {}},
    {"line_drop", Where::evacuating, {0.01, 0}, {0, 0}},
    {"line_corrupt", Where::evacuating, {0.01}, {0}},
    {"line_late", Where::evacuating, {100}, {0}},
    {"line_silent", Where::evacuating, {}, {}},
    {"line_requests_lost", Where::evacuating, {}, {}},
    {"line_answers_lost", Where::evacuating, {}, {}},
    {"line_bit_errors", Where::evacuating, {100}, {0}},
    {"line_inserted", Where::evacuating, {0.01}, {0}},
    {"line_truncated", Where::evacuating, {1}, {}},
    {"line_gap", Where::evacuating, {100, 50}, {}},
    {"line_tick_late", Where::evacuating, {}, {}},
    {"line_swapped", Where::evacuating, {}, {}},
    {"line_duplicated", Where::evacuating, {}, {}},
    {"line_repeated", Where::evacuating, {}, {}},
    {"line_echoed", Where::evacuating, {}, {}},
    {"line_foreign", Where::evacuating, {2}, {}},
    {"station_reset", Where::evacuating, {}, {}},
    {"station_watchdog_dead", Where::unheard, {}, {}},
    {"station_answers_frozen", Where::evacuating, {}, {}},
    {"station_inputs_frozen", Where::evacuating, {}, {}},
    {"station_output_dead", Where::purging, {18}, {}},
    {"station_map_wrong", Where::evacuating, {2}, {1}},
    {"station_exception", Where::evacuating, {4}, {}},
    {"supervisory_silent", Where::evacuating, {}, {}},
    {"supervisory_corrupt", Where::evacuating, {0.1}, {0}},
    {"supervisory_noise", Where::evacuating, {16}, {}},
    {"supervisory_write_doubled", Where::restarting, {}, {}},
    {"supervisory_foreign", Where::evacuating, {2}, {}},
    {"controller_power_lost", Where::evacuating, {0}, {}},
    {"controller_brown_out", Where::evacuating, {0}, {}},
    {"controller_watchdog_reset", Where::evacuating, {0}, {}},
    {"controller_clock_ahead", Where::evacuating, {60}, {0}},
    {"power_lost", Where::evacuating, {0}, {}},
    {"store_write_lost", Where::restarting, {}, {}},
    {"store_write_torn", Where::restarting, {1}, {}},
    {"store_slow", Where::restarting, {60}, {0}},
    {"back_pressure_valve_sticks", Where::purging, {0.2}, {0}},
    {"burn_off_out", Where::burning, {}, {}},
    {"combustible_valve_leaks", Where::burning, {0.3}, {0}},
    {"back_pressure_valve_plugs", Where::purging, {0.5, 10}, {0, 10}},
    {"dryer_exhausted", Where::drying, {}, {}},
    {"insulation_lost", Where::heating, {0, 300}, {}},
    {"pump_sucks_back", Where::pump_stands, {1}, {0}},
    {"store_bit_flipped", Where::restarting, {10, 3}, {}},
};

// What a kind may leave exactly as it was: the receiver's framing is to shrug it off. That it is told at all is asked instead.
const std::set<std::string> shrugged_off = {"line_duplicated", "line_echoed", "line_foreign", "supervisory_noise",
                                            "supervisory_write_doubled", "supervisory_foreign"};

struct Outcome {
  sim_test::Hashes hashes;
  std::uint64_t store = 0;
  bool operator==(const Outcome&) const = default;
};

Outcome outcome(const Circumstances& at, const std::vector<sim::FaultSource>& more) {
  sim::Scenario scenario = sim_test::short_run(at.run_s, at.scenario);
  scenario.faults = at.beside;
  if (at.dryer) scenario.furnace.dryer = {1.0, 1000.0};
  scenario.faults.insert(scenario.faults.end(), more.begin(), more.end());
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  sim::Hash store;
  store.add(bench.store_image());
  return {{bench.controller_hash(), bench.trace_hash(), bench.ticks()}, store.value()};
}

bool is_told(const sim::FaultSource& source) {
  sim::FaultBank bank({source});
  plant::Disturbances plant;
  sim::LineFault line;
  bank.begin(0);
  bank.apply(0.1, plant, line);
  const sim::ControllerFault& controller = bank.controller();
  return line.any() || controller.any_line || controller.any_power || controller.any_store;
}

TEST(FaultEffects, EveryKindShowsOneAndNoneAtItsNeutralValue) {
  std::map<Where, Outcome> sound;
  std::set<std::string> seen;
  for (const Effect& effect : effects) {
    ASSERT_NE(sim::find_fault(effect.kind), nullptr) << effect.kind;
    seen.insert(effect.kind);
    const Circumstances at = circumstances(effect.where);
    if (!sound.contains(effect.where)) sound[effect.where] = outcome(at, {});
    const Outcome& measure = sound[effect.where];
    const sim::FaultSource source = fault(effect.kind, effect.values, at.at_s);
    const bool shows = shrugged_off.contains(effect.kind) ? is_told(source) : outcome(at, {source}) != measure;
    EXPECT_TRUE(shows) << effect.kind << " has no effect";
    const bool neutral = effect.neutral.empty() || outcome(at, {fault(effect.kind, effect.neutral, at.at_s)}) == measure;
    EXPECT_TRUE(neutral) << effect.kind << " acts at its neutral value";
  }
  for (const sim::FaultKind& kind : sim::fault_table()) EXPECT_TRUE(seen.contains(kind.name)) << kind.name << " is in no test";
}

}  // namespace
