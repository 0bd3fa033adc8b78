// The plant's step against CVODE on the same equations (plant_equations.h): the integrator's own error, nothing of the physics.
//
// Open loop: both are given the inputs that stand in tests/golden/plant_inputs.csv. Goals (SUNDIALS' CVODE, BDF, relative tolerance
// 1e-10, restarted at every change of an input, as the truth): 0.01 K for thermocouples and solids, 0.1 K for the gas, 2e-4 of the
// pressure, relative to max(p, 100 Pa). All are met over the demo cycle. Where the step misses a goal in a harder piece, the bound held
// stands beside the goal with its cause, as measured when this test was written ("measured").
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include "plant/chain.h"
#include "plant/properties.h"
#include "sim/scenario.h"
#include "tests/checkout.h"
#include "tests/plant/cvode.h"
#include "tests/plant/plant_reference.h"
#include "tests/plant/scripted_furnace.h"

namespace plant_test {
namespace {

constexpr double solid_k = 0.01, gas_k = 0.1, pressure_share = 2e-4;

struct Cycle {
  plant::Model model = plant::build(
      sim::load_scenario(std::string(source_folder) + "/configs/scenarios/cycles/titanium_stress_relief.yaml").furnace);
  InputCourse course = read_course(std::string(source_folder) + "/tests/golden/plant_inputs.csv");
  std::unique_ptr<plant::State> start = std::make_unique<plant::State>(plant::initial_state(model, 1));
};

std::string told(const Worst& w) { return w.column + " at " + std::to_string(w.at_s) + " s"; }

const Worst& of(const std::vector<Worst>& worst, Kind kind) { return worst[static_cast<std::size_t>(kind)]; }

TEST(Integrator, KeepsToCvodeOverTheDemoCycle) {
  const Cycle cycle;
  const std::vector<Sample> stored = read_trajectory(std::string(source_folder) + "/tests/golden/plant_trajectory.csv");
  const std::vector<std::uint64_t> ticks = sample_ticks(cycle.course);
  ASSERT_GT(ticks.size(), 500u);
  const auto worst = worst_by_kind(step_through(cycle.model, *cycle.start, cycle.course, ticks), stored, chain_ticks(cycle.model));
  for (const Kind kind : {Kind::thermocouple, Kind::solid, Kind::deep_cell}) {
    EXPECT_LT(of(worst, kind).size, solid_k) << told(of(worst, kind));
    EXPECT_GT(of(worst, kind).size, 0.0);
  }
  for (const Kind kind : {Kind::gas_temperature, Kind::thin_gas_temperature}) {
    EXPECT_LT(of(worst, kind).size, gas_k) << told(of(worst, kind));
    EXPECT_GT(of(worst, kind).size, 0.0);
  }
  for (const Kind kind : {Kind::pressure, Kind::thin_pressure}) {
    EXPECT_LT(of(worst, kind).size, pressure_share) << told(of(worst, kind));
    EXPECT_GT(of(worst, kind).size, 0.0);
  }
  // No goals. Slow sensors go by implicit Euler steps: the oxygen cell warms by 680 K at a lag of 90 s, off by h / (2 lag) of it at
  // most over e. Hose: where the pump's valve opens; measured 1.1e-3. Amounts: water, whose desorption is taken for two seconds at the
  // temperature they begin with; measured 5.4e-3.
  EXPECT_LT(of(worst, Kind::sensor).size, 680.0 * 0.1 / (2.0 * 90.0) / std::numbers::e) << told(of(worst, Kind::sensor));
  EXPECT_LT(of(worst, Kind::hose_pressure).size, 2e-3) << told(of(worst, Kind::hose_pressure));
  EXPECT_LT(of(worst, Kind::amount).size, 6e-3) << told(of(worst, Kind::amount));
}

// Short and hard pieces with CVODE itself, so that the equations go with the plant.
struct Piece {
  const char* name;
  ScriptedFurnace furnace{};
  std::vector<InputChange> changes{};
  std::uint64_t ticks = 0;

  // From now on these commands, for so many ticks.
  void then(std::uint64_t for_ticks) {
    changes.push_back({ticks, furnace.commands});
    ticks += for_ticks;
  }
  InputCourse course() const { return {ticks, changes}; }
};

struct Errors {
  Worst solid, gas, pressure;
};

Errors errors_of(Piece& piece, bool door_open = false) {
  const InputCourse course = piece.course();
  const plant::Model& model = piece.furnace.model;
  std::vector<std::uint64_t> ticks;
  for (std::uint64_t tick = 10; tick <= course.ticks; tick += 10) ticks.push_back(tick);
  plant::Disturbances disturbances;
  disturbances.door_open = door_open;
  const auto ours = step_through(model, piece.furnace.state(), course, ticks, disturbances);
  const auto exact = integrate(model, piece.furnace.state(), course, ticks, 1e-10, disturbances);
  const auto worst = worst_by_kind(ours, exact, chain_ticks(model));
  const auto larger = [](const Worst& a, const Worst& b) { return a.size < b.size ? b : a; };
  return {larger(larger(of(worst, Kind::thermocouple), of(worst, Kind::solid)), of(worst, Kind::deep_cell)),
          larger(of(worst, Kind::gas_temperature), of(worst, Kind::thin_gas_temperature)),
          larger(of(worst, Kind::pressure), of(worst, Kind::thin_pressure))};
}

TEST(Integrator, KeepsToCvodeInThePumpsFirstSeconds) {
  Piece piece{"pump-down"};
  piece.furnace.shut();
  piece.furnace.commands.inlet_vent_open = false;
  piece.furnace.commands.pump_run = true;
  piece.then(150);
  piece.furnace.commands.isolation_open = true;
  piece.then(150);
  const Errors e = errors_of(piece);
  EXPECT_LT(e.solid.size, solid_k) << told(e.solid);
  EXPECT_LT(e.gas.size, gas_k) << told(e.gas);
  EXPECT_LT(e.pressure.size, pressure_share) << told(e.pressure);
}

TEST(Integrator, KeepsToCvodeInABackfillAndAtAValvesSwitch) {
  Piece piece{"backfill"};
  piece.furnace.pump();
  piece.furnace.run(300.0);
  piece.furnace.stop_pump();
  piece.furnace.feed(plant::Gas::argon, 5.0);
  piece.then(200);
  piece.furnace.feed(plant::Gas::nitrogen, 1.0);
  piece.then(50);
  piece.furnace.commands.purge_open = true;
  piece.then(100);
  const Errors e = errors_of(piece);
  EXPECT_LT(e.solid.size, solid_k) << told(e.solid);
  EXPECT_LT(e.gas.size, gas_k) << told(e.gas);
  EXPECT_LT(e.pressure.size, pressure_share) << told(e.pressure);
}

TEST(Integrator, KeepsToCvodeOnARampWithTheExhaustValveMoving) {
  Piece piece{"ramp"};
  piece.furnace.commands.purge_open = false;
  piece.furnace.feed(plant::Gas::argon, 2.0);
  piece.furnace.commands.contactor = true;
  for (const double demand : {1.0, 0.3, 0.8}) {
    piece.furnace.commands.demand[0] = demand;
    piece.furnace.commands.valve_frac = demand > 0.5 ? 0.3 : 0.6;
    piece.then(600);
  }
  const Errors e = errors_of(piece);
  EXPECT_LT(e.solid.size, 2.0 * solid_k) << told(e.solid);  // goal missed on jumps of power from 1 to 0.3: measured 0.0186 K
  EXPECT_LT(e.gas.size, gas_k) << told(e.gas);
  EXPECT_LT(e.pressure.size, pressure_share) << told(e.pressure);
}

TEST(Integrator, KeepsToCvodeWhenTheDoorIsOpenedHot) {
  Piece piece{"door"};
  piece.furnace.commands.contactor = true;
  piece.furnace.commands.demand[0] = 1.0;
  piece.furnace.run(1200.0);
  piece.then(100);
  const Errors e = errors_of(piece, true);
  // Goals missed: what flows is solved for before what the gas takes up from the walls, so that pressure lags by what the gas warms
  // in a tick, which is much with cold air in a hot retort. Measured 0.045 K (in the plug's pores), 2.53 K, 5.8e-3 in the first
  // second.
  EXPECT_LT(e.solid.size, 5.0 * solid_k) << told(e.solid);
  EXPECT_LT(e.gas.size, 26.0 * gas_k) << told(e.gas);
  EXPECT_LT(e.pressure.size, 30.0 * pressure_share) << told(e.pressure);
}

// Elements whose resistance grows while they warm, against the same mean power into constant ones: whatever the step misses there, the
// resistance adds less than the goal to it.
TEST(Integrator, KeepsToCvodeWhileElementsOfSilicideWarm) {
  plant::Furnace furnace;
  furnace.electric.element.material = plant::ElementMaterial::molybdenum_disilicide;
  furnace.electric.element.rated_degc = 1000.0;
  furnace.electric.element.series_ohm = 0.8;
  for (const plant::Wiring wiring : {plant::Wiring::parallel, plant::Wiring::series}) {
    furnace.electric.element.wiring = wiring;
    Piece silicide{"silicide", ScriptedFurnace(furnace)}, constant{"constant"};
    ScriptedFurnace trial(furnace);
    for (ScriptedFurnace* one : {&silicide.furnace, &constant.furnace, &trial}) {
      one->commands.purge_open = false;
      one->commands.contactor = true;
    }
    const double first_ohm = plant::panel_ohm(trial.model.actuators.circuits, trial.state().actuators.circuits, 0, 293.15);
    for (const double demand : {0.03, 0.1, 0.3}) {
      const double before_kwh = trial.truth("plant.energy");
      trial.commands.demand[0] = silicide.furnace.commands.demand[0] = demand;
      trial.run(60.0);
      constant.furnace.commands.demand[0] = (trial.truth("plant.energy") - before_kwh) * 3.6e6 / 60.0 / 3000.0;
      silicide.then(600);
      constant.then(600);
    }
    const double last_k = trial.state().thermal.t_k[plant::node::panel];
    EXPECT_GT(plant::panel_ohm(trial.model.actuators.circuits, trial.state().actuators.circuits, 0, last_k), 1.5 * first_ohm);
    const Errors e = errors_of(silicide), plain = errors_of(constant);
    EXPECT_LT(e.solid.size, plain.solid.size + solid_k) << told(e.solid);
    EXPECT_LT(e.gas.size, plain.gas.size + gas_k) << told(e.gas);
  }
}

// --- Conservation ------------------------------------------------------------------------------------------------------

TEST(Integrator, ConservesEnergyAndSpeciesOverTheDemoCycle) {
  const Cycle cycle;
  plant::State state = *cycle.start;
  auto change = cycle.course.changes.begin();
  for (std::uint64_t tick = 0; tick < cycle.course.ticks; ++tick) {
    if (change != cycle.course.changes.end() && change->tick == tick) state.station.commands = (change++)->commands;
    state.station.silent_ns = 0;
    plant::step(cycle.model, state, {}, course_period_s);
  }
  const plant::Balance energy = plant::energy_balance(cycle.model, state);
  EXPECT_GT(energy.flowed, 1e7);
  EXPECT_LE(std::abs(energy.residual), 1e-7 * energy.flowed);
  for (int i = 0; i < plant::gas_species; ++i) {
    const plant::Balance b = plant::species_balance(cycle.model, state, i);
    EXPECT_LE(std::abs(b.residual), 1e-12 * b.flowed) << plant::species_name(static_cast<plant::Species>(i));
  }
}

// --- Order -------------------------------------------------------------------------------------------------------------

// A slab of equal cells, shut on one side and held on the other, has the modes cos((i + 1/2) phi), phi = pi / (2 N), which decay as
// exp(lambda t), lambda = -(g / C) (2 - 2 cos phi). A step multiplies one by R = (1 + (1 - theta) z) / (1 - theta z), z = lambda h,
// and ln R - z = (theta - 1/2) z^2 + (theta^2 - theta + 1/3) z^3 + ...: after t the mode is off by (theta - 1/2) lambda^2 h t of
// itself, first order, to a relative 1.7 z at theta = 0.55; so the order observed from 2 z to z is 1 - 1.7 z / ln 2.
double mode_error(double h_per_decay, int steps, double& predicted) {
  plant::ChainModel model;
  const plant::Material even{1000.0, 1.0, 0.0, 0.0, 1000.0, 0.0, 0.0};
  constexpr double thickness_m = 0.1, face_m = 1e-9;
  for (int l = 0; l < plant::chain_lanes; ++l) {
    plant::shape_lane(model, l, even, {thickness_m, face_m, 1.0, 0.0, 0.0, 1.0, 0.0});
    model.end_w_k[static_cast<std::size_t>(l)] = 1e12;
  }
  const double cell_m = (thickness_m - face_m) / plant::chain_cells, phi = std::numbers::pi / (2.0 * plant::chain_cells);
  const double lambda = -(1.0 / cell_m) / (1000.0 * 1000.0 * cell_m) * (2.0 - 2.0 * std::cos(phi));
  const double h = -h_per_decay / lambda;
  plant::ChainState state;
  plant::start_chain(model, state, 500.0);
  const auto mode = [&](int i) { return 10.0 * std::cos((i + 0.5) * phi); };
  for (int i = 0; i < plant::chain_cells; ++i)
    for (double& t_k : state.t_k[static_cast<std::size_t>(i)]) t_k += mode(i);
  plant::refresh_chain(model, state, h);
  for (int n = 0; n < steps; ++n) plant::step_chain(state, {}, {500.0, 500.0, 500.0, 500.0});
  predicted = (plant::implicitness - 0.5) * lambda * lambda * h * (steps * h);
  const double exact = mode(3) * std::exp(lambda * h * steps);
  return (state.t_k[3][0] - 500.0) / exact - 1.0;
}

TEST(Integrator, AChainErrsByTheFirstOrderTermOfItsScheme) {
  double predicted = 0.0, before = 0.0;
  for (const int halvings : {0, 1, 2, 3}) {
    const double z = 0.02 / (1 << halvings);
    const double error = mode_error(z, 50 << halvings, predicted);
    EXPECT_NEAR(error / predicted, 1.0, 2.0 * z);
    if (halvings > 0) { EXPECT_NEAR(std::log2(before / error), 1.0 - 1.7 * z / std::numbers::ln2, 0.2 * z) << "observed order"; }
    before = error;
  }
}

// The whole plant with nothing frozen (linearised at every tick, chains stepped at every tick): theta and the split between gas and
// solids are of first order, so that halving the period halves the error of the solids; gas and pressure, stepped to second order
// between solids that are right to first, err no slower. Linings and plug conduct alike
// at every temperature here: the step takes their first cells' conductivity half a refresh (5 s) ahead, which no shorter period
// makes right.
TEST(Integrator, ThePlantErrsInFirstOrderOfThePeriod) {
  const std::vector<Column>& all = columns();
  std::vector<Sample> exact;
  std::vector<std::vector<double>> errors;
  plant::Furnace furnace;
  for (plant::Material* material : {&furnace.lining.material, &furnace.plug.material, &furnace.retort.material})
    material->k1_w_mk2 = material->k2_w_mk3 = 0.0;
  for (const int parts : {1, 2, 4}) {
    ScriptedFurnace f(furnace, course_period_s / parts);
    f.model.thermal.macro_s = course_period_s / parts;
    f.commands.purge_open = false;
    f.feed(plant::Gas::argon, 2.0);
    f.commands.valve_frac = 0.4;
    f.commands.contactor = true;
    f.commands.demand[0] = 0.6;
    constexpr std::uint64_t ticks = 1200;
    if (exact.empty()) exact = integrate(f.model, f.state(), {ticks, {{0, f.commands}}}, {ticks}, 1e-10);
    for (std::uint64_t tick = 0; tick < ticks * static_cast<std::uint64_t>(parts); ++tick) {
      f.state().thermal.since_refresh_s = f.state().thermal.since_chain_refresh_s = 1e9;
      f.state().gas.fresh_age_s = f.state().gas.desorption_age_s = 1e9;
      f.tick();
    }
    const Equations equations(f.model, f.state());
    const std::vector<double> now = values_of(equations, equations.vector_of(f.state()));
    errors.emplace_back();
    for (std::size_t i = 0; i < all.size(); ++i) errors.back().push_back(now[i] - exact[0].value[i]);
  }
  int looked_at = 0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (std::string("zone_junction panel barrel_inside load_surface gas chamber_pa").find(all[i].name) == std::string::npos)
      continue;
    ++looked_at;
    const bool solid = all[i].kind == Kind::thermocouple || all[i].kind == Kind::solid;
    for (std::size_t halving = 0; halving < 2; ++halving) {
      const double order = std::log2(std::abs(errors[halving][i] / errors[halving + 1][i]));
      EXPECT_GT(order, 1.0 - 0.15) << all[i].name << " " << errors[halving][i];
      if (solid) { EXPECT_LT(order, 1.0 + 0.15) << all[i].name << " " << errors[halving][i]; }
    }
  }
  EXPECT_EQ(looked_at, 6);
}

}  // namespace
}  // namespace plant_test
