// Barometer, mains, room and gas supply that change in a run: what physics says of each, in the plant and in the bytes it sends.
#include "plant/environment.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstring>

#include "plant/modbus.h"
#include "plant/properties.h"
#include "tests/plant/scripted_furnace.h"

namespace plant {
namespace {

// The raw value of a channel, as the next answer on the field line carries it (registers of DEVELOPERS.md).
double raw(ScriptedFurnace& f, int channel) {
  const std::array<std::uint8_t, 36> outputs{};
  std::array<std::uint8_t, modbus::adu_bytes_max> request{}, reply{};
  const std::size_t size = modbus::encode_write_and_read(1, 0, 54, 0x100, outputs, request);
  const std::size_t got = exchange(f.model, f.state(), f.disturbances, std::span(request).first(size), reply);
  const modbus::Reply checked = modbus::check_reply(std::span(request).first(size), std::span(reply).first(got));
  EXPECT_EQ(checked.status, modbus::ReplyStatus::ok);
  return modbus::get_f32(&checked.registers[2 * (6 + 2 * static_cast<std::size_t>(channel))]);
}

void surround(ScriptedFurnace& f, const Environment& environment) { set_environment(f.model, f.state(), environment); }

// Without leak and without water on its walls: moles change only by the valves.
Furnace tight_furnace() {
  Furnace furnace;
  furnace.leak.flow_pa_m3_s = 0.0;
  for (auto& site : furnace.outgassing.site) site.held_mol = 0.0;
  return furnace;
}

TEST(Environment, OfTheFurnaceFileLeavesARunAsItIs) {
  ScriptedFurnace plain, told;
  for (ScriptedFurnace* f : {&plain, &told}) {
    f->commands.contactor = true;
    f->commands.demand = {0.5, 0.5, 0.5, 0.5};
    f->feed(Gas::argon, 1.0);
  }
  // Compared as bytes, so those between the members begin alike.
  std::memcpy(&told.commands, &plain.commands, sizeof plain.commands);
  std::memcpy(&told.state(), &plain.state(), sizeof(State));
  for (int i = 0; i < 3000; ++i) {
    surround(told, environment_of(told.model));
    plain.tick();
    told.tick();
  }
  EXPECT_EQ(std::memcmp(&plain.state(), &told.state(), sizeof(State)), 0);
}

// P = V^2 / R and I = V / R (published physics): 0.9 of the voltage is 0.81 of the power and 0.9 of the current.
TEST(Environment, MainsMovePowerAsTheSquareAndCurrentInProportion) {
  ScriptedFurnace f;
  f.commands.contactor = true;
  f.commands.demand = {1.0, 1.0, 1.0, 1.0};
  f.run(10.0);
  const double power_w = f.truth("plant.power"), current_ma = raw(f, 20) - 4.0;
  ASSERT_GT(power_w, 1000.0);
  ASSERT_GT(current_ma, 1.0);
  EXPECT_NEAR(raw(f, 17), 4.0 + 16.0 * 230.0 / 300.0, 0.01);
  Environment low = environment_of(f.model);
  low.mains_v = 207.0;
  surround(f, low);
  f.run(10.0);
  EXPECT_NEAR(f.truth("plant.power") / power_w, 0.81, 1e-9);
  EXPECT_NEAR((raw(f, 20) - 4.0) / current_ma, 0.9, 0.002);
  EXPECT_NEAR(raw(f, 17), 4.0 + 16.0 * 207.0 / 300.0, 0.01);
  EXPECT_DOUBLE_EQ(f.truth("plant.mains"), 207.0);

  f.disturbances.mains_scale = 0.9;              // a dip of low mains: both count
  f.run(1.0);
  EXPECT_NEAR(f.truth("plant.power") / power_w, 0.81 * 0.81, 1e-9);
}

// p V = n R T: moles, volume and temperature of a tight vessel do not know the weather, its gauge does.
TEST(Environment, BarometerMovesTheGaugeOfAShutVesselTheOtherWay) {
  ScriptedFurnace f(tight_furnace());
  f.feed(Gas::argon, 5.0);
  f.commands.purge_open = f.commands.exhaust_open = false;
  ASSERT_GT(f.run_until(600.0, [&] { return f.gauge_pa() > 4000.0; }), 0.0);
  f.shut();
  f.run(600.0);
  const double pressure_pa = f.truth("plant.gas.pressure"), gauge_pa = f.truth("plant.gas.gauge");
  const double gauge_ma = raw(f, 7), barometer_ma = raw(f, 15);
  Environment fine = environment_of(f.model);
  fine.barometer_pa -= 2000.0;
  surround(f, fine);
  f.run(20.0);
  EXPECT_NEAR(f.truth("plant.gas.pressure"), pressure_pa, 1.0);
  EXPECT_NEAR(f.truth("plant.gas.gauge") - gauge_pa, 2000.0, 1.0);
  EXPECT_DOUBLE_EQ(f.truth("plant.barometer"), 98.8e3);
  // 16 mA over 25 kPa and over 30 kPa
  EXPECT_NEAR(raw(f, 7) - gauge_ma, 16.0 * 2.0 / 25.0, 0.004);
  EXPECT_NEAR(raw(f, 15) - barometer_ma, -16.0 * 2.0 / 30.0, 0.004);
}

// The exhaust line is at the barometer: what stands above a check valve that cracks at 0.3 kPa follows it down.
TEST(Environment, OpenExhaustFollowsTheBarometer) {
  ScriptedFurnace f(tight_furnace());
  f.run(300.0);                                  // purge and exhaust open
  const double gauge_pa = f.gauge_pa();
  ASSERT_GT(gauge_pa, 300.0);
  Environment low = environment_of(f.model);
  low.barometer_pa -= 2500.0;
  surround(f, low);
  f.run(120.0);
  EXPECT_NEAR(f.truth("plant.gas.gauge"), gauge_pa, 20.0);
  EXPECT_NEAR(f.truth("plant.gas.pressure"), 98.3e3 + gauge_pa, 20.0);
  // a rising barometer leaves a shut retort behind: its gauge falls below zero
  f.shut();
  f.run(300.0);
  const double pressure_pa = f.truth("plant.gas.pressure");
  surround(f, environment_of(f.model));
  f.run(60.0);
  EXPECT_NEAR(f.truth("plant.gas.gauge"), pressure_pa - 100.8e3, 2.0);
  EXPECT_LT(f.truth("plant.gas.gauge"), -1900.0);
}

// The relief valve lifts at 15 kPa above the barometer of the moment, the over-pressure switch at 12.
TEST(Environment, ReliefAndSwitchCountFromTheBarometer) {
  ScriptedFurnace f(tight_furnace());
  f.feed(Gas::nitrogen, 5.0);
  f.commands.purge_open = f.commands.exhaust_open = false;
  ASSERT_GT(f.run_until(3600.0, [&] { return f.gauge_pa() > 10e3; }), 0.0);
  f.shut();
  f.run(60.0);
  EXPECT_FALSE(f.state().process.over_pressure);
  Environment low = environment_of(f.model);
  low.barometer_pa = f.truth("plant.gas.pressure") - 13e3;
  surround(f, low);
  f.run(10.0);
  EXPECT_TRUE(f.state().process.over_pressure);
  EXPECT_EQ(f.truth("plant.flow.relief"), 0.0);
  low.barometer_pa = f.truth("plant.gas.pressure") - 18e3;
  surround(f, low);
  f.tick();
  EXPECT_GT(f.truth("plant.flow.relief"), 0.0);
  f.run(30.0);
  EXPECT_NEAR(f.truth("plant.gas.gauge"), 15e3, 200.0);
}

// Nernst against air at the barometer, the sample at it too: the same gas gives the same emf in any weather.
TEST(Environment, OxygenCellSeesTheSameFractionInAnyWeather) {
  ScriptedFurnace f(tight_furnace());
  f.run(3600.0);
  Environment low = environment_of(f.model);
  low.barometer_pa -= 2500.0;
  const double mv = raw(f, 12);
  surround(f, low);
  f.tick();
  EXPECT_DOUBLE_EQ(f.state().process.cell_pa, 98.3e3);
  EXPECT_DOUBLE_EQ(f.state().process.barometer_pa, 98.3e3);
  EXPECT_NEAR(raw(f, 12), mv, 0.3);
}

// Heat through the casing (natural convection ~ rise^1.25 and Stefan's law, with the areas of the furnace file).
double casing_loss_w(const ThermalModel& m, double casing_k, double room_k) {
  const double fourth = casing_k * casing_k * casing_k * casing_k - room_k * room_k * room_k * room_k;
  return m.casing_m2 * (m.casing_convection * std::pow(casing_k - room_k, 1.25) + m.casing_emissivity * 5.670374419e-8 * fourth);
}

double casing_that_gives(const ThermalModel& m, double loss_w, double room_k) {
  double low = room_k, high = room_k + 200.0;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (casing_loss_w(m, middle, room_k) < loss_w ? low : high) = middle;
  }
  return low;
}

struct Steady { double power_w, casing_w, plug_w, casing_k; };

// At constant power until nothing moves any more; the losses are means of the last hour.
Steady steady_in(double room_degc) {
  ScriptedFurnace f(tight_furnace(), 1.0);
  Environment room = environment_of(f.model);
  room.ambient_degc = room_degc;
  surround(f, room);
  f.shut();
  f.commands.contactor = true;
  f.commands.demand = {0.15, 0.15, 0.15, 0.15};
  f.run(80.0 * 3600.0);
  const ThermalState before = f.state().thermal;
  f.run(3600.0);
  const ThermalState& after = f.state().thermal;
  return {f.truth("plant.power"), (after.casing_loss_j - before.casing_loss_j) / 3600.0,
          (after.plug_loss_j - before.plug_loss_j) / 3600.0, f.truth("plant.casing") + 273.15};
}

// Energy balance: in a steady state casing and plug give away what the heaters take in. In a room 10 K warmer they must give away
// as much, from a casing warmer by nearly as much: what is missing to 10 K is what radiation gains at the higher temperature.
TEST(Environment, WarmerRoomRaisesTheCasingAsTheBalanceSays) {
  const Steady cold = steady_in(20.0), warm = steady_in(30.0);
  const ThermalModel model = build(tight_furnace()).thermal;
  for (const Steady* one : {&cold, &warm}) {
    ASSERT_GT(one->power_w, 300.0);
    EXPECT_NEAR(one->casing_w + one->plug_w, one->power_w, 0.005 * one->power_w);
  }
  const double cold_k = casing_that_gives(model, cold.power_w - cold.plug_w, 293.15);
  const double warm_k = casing_that_gives(model, warm.power_w - warm.plug_w, 303.15);
  EXPECT_NEAR(cold.casing_k, cold_k, 0.2);
  EXPECT_NEAR(warm.casing_k, warm_k, 0.2);
  EXPECT_NEAR(warm.casing_k - cold.casing_k, warm_k - cold_k, 0.1);
  EXPECT_LT(warm.casing_k - cold.casing_k, 10.0);
}

// Zeroth law: a furnace as warm as its room keeps its temperature, and nothing crosses its casing.
TEST(Environment, NothingFlowsInARoomAsWarmAsTheFurnace) {
  Furnace furnace = tight_furnace();
  furnace.initial.furnace_degc = 35.0;
  ScriptedFurnace f(furnace);
  Environment room = environment_of(f.model);
  room.ambient_degc = 35.0;
  surround(f, room);
  f.shut();
  f.run(4.0 * 3600.0);
  EXPECT_NEAR(f.truth("plant.casing"), 35.0, 1e-3);
  EXPECT_NEAR(f.state().thermal.casing_loss_j, 0.0, 1.0);
  EXPECT_NEAR(f.state().cold_junction_k, 308.15, 0.01);
}

// The open furnace radiates to the room there is, not to the one at which its equations were taken.
TEST(Environment, OpenFurnaceRadiatesToTheRoomThereIs) {
  Furnace furnace = tight_furnace();
  furnace.initial.furnace_degc = 35.0;
  ScriptedFurnace f(furnace);
  f.disturbances.door_open = true;
  f.tick();
  Environment room = environment_of(f.model);
  room.ambient_degc = 35.0;
  surround(f, room);
  f.tick();
  const double before_j = f.state().thermal.opening_loss_j;
  f.run(5.0);
  EXPECT_NEAR(f.state().thermal.opening_loss_j, before_j, 0.01 * before_j);
}

// The regulator's new set pressure reaches the transmitter (0 to 100 kPa gauge on 16 mA), and the purge goes as sonic flow does: with
// the absolute supply pressure.
TEST(Environment, SupplyPressureMovesThePurge) {
  ScriptedFurnace f(tight_furnace());
  f.run(600.0);
  const double flow_slm = f.truth("plant.flow.in"), supply_ma = raw(f, 18);
  Environment strong = environment_of(f.model);
  strong.supply_pa = 200e3;                      // twice the back pressure and more: choked
  surround(f, strong);
  f.run(600.0);
  const double choked_slm = f.truth("plant.flow.in");
  strong.supply_pa = 300e3;
  surround(f, strong);
  f.run(600.0);
  EXPECT_GT(choked_slm, flow_slm);
  EXPECT_NEAR(f.truth("plant.flow.in") / choked_slm, (300.0 + 100.8) / (200.0 + 100.8), 1e-3);
  EXPECT_NEAR(supply_ma, 4.0 + 16.0 * 0.4, 0.01);
}

}  // namespace
}  // namespace plant
