// The shipped demo as a whole: what holds over the full cycle, whatever the expectations in its file say.
#include <cmath>

#include <gtest/gtest.h>

#include "plant/gas.h"
#include "plant/step.h"
#include "sim/bench.h"
#include "sim/expectations.h"
#include "tests/checkout.h"
#include "tests/sim/short_run.h"

namespace {

constexpr const char* demo = "cycles/titanium_stress_relief";

// Conservation is structural (every link takes here and gives there): what is left is rounding, far below this bound.
constexpr double closed = 1e-6;

TEST(DemoCycle, ClosesEnergyAndEverySpeciesAndCountsEveryTick) {
  const sim::Scenario scenario = sim::load_scenario(std::string(source_folder) + "/configs/scenarios/" + demo + ".yaml");
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {
  }
  ASSERT_GT(bench.time_s(), 10.0 * 3600.0) << "the cycle was cut short";

  const plant::Balance energy = plant::energy_balance(bench.plant_model(), bench.plant_state());
  EXPECT_GT(energy.flowed, 4.0 * 3.6e6);
  EXPECT_LT(std::fabs(energy.residual), closed * energy.flowed);
  RecordProperty("energy_residual_share", std::to_string(energy.residual / energy.flowed));
  int moved = 0;
  for (int species = 0; species < plant::gas_species; ++species) {
    const plant::Balance balance = plant::species_balance(bench.plant_model(), bench.plant_state(), species);
    EXPECT_LE(std::fabs(balance.residual), closed * balance.flowed) << "species " << species;
    moved += balance.flowed > 0.0;
    std::printf("species %d: %.3e mol flowed, residual %.1e of it\n", species, balance.flowed,
                balance.flowed > 0.0 ? balance.residual / balance.flowed : 0.0);
  }
  std::printf("energy: %.4e J flowed, residual %.1e of it\n", energy.flowed, energy.residual / energy.flowed);
  EXPECT_GE(moved, 4) << "nitrogen, oxygen, argon and water at least";

  const double period_s = scenario.parameters.period_ms / 1000.0;
  const auto due = static_cast<std::uint64_t>(std::llround(bench.time_s() / period_s)) + 1;   // the first tick stands at 0
  EXPECT_EQ(bench.ticks(), due);
  EXPECT_EQ(bench.line().frames, due);
  EXPECT_EQ(bench.line().evaluations, due);
  EXPECT_EQ(bench.line().errors, 0u);
}

// One tick in six thousand, at an instant the seed draws: `never` must see it, and must be silent without it.
TEST(DemoCycle, ANeverSeesAGlitchOfOneTickAtASeededInstant) {
  sim::ExpectationSource never;
  never.name = "load never above 100 degC";
  never.form = sim::ExpectationSource::Form::never;
  never.predicate = "load.pv > 100 degC";
  for (const std::uint64_t seed : {1u, 2u, 3u, 4u, 5u}) {
    const double at_s = 10.0 + static_cast<double>(seed * 2654435761u % 5800u) / 10.0;
    for (const bool glitch : {false, true}) {
      sim::Scenario scenario = sim_test::short_run(600, demo);
      scenario.seed = seed;
      if (glitch) scenario.faults = {sim_test::fault("glitch", {4, 200.0}, at_s)};
      sim::Bench bench(scenario, sim_test::endpoint("host"));
      sim::Expectations expectations({never}, bench.table(), scenario.programme.names, 0.1);
      while (bench.advance()) expectations.tick(bench.frame(), bench.time_s(), bench.segment());
      expectations.finish();
      const sim::ExpectationResult result = expectations.results().at(0);
      EXPECT_EQ(result.pass, !glitch) << "seed " << seed;
      EXPECT_EQ(result.ticks, bench.ticks()) << "judged at every tick";
      EXPECT_NEAR(result.failed_s, glitch ? at_s + 0.1 : -1.0, 1e-9) << "seen one period after the instrument shows it";
    }
  }
}

}  // namespace
