// The data sheet against calculations by hand and published values, and against the plant's own limits. Every expected number
// is worked out here from the furnace's description, never from an earlier sheet.
#include "sim/data_sheet.h"

#include <cmath>
#include <numbers>
#include <regex>
#include <string>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "sim/data_sheet_text.h"
#include "sim/furnace_file.h"
#include "sim/handbook.h"
#include "sim/test_stand.h"
#include "tests/checkout.h"

namespace {

constexpr double gas_r = 8.31446261815324, slm = 101325.0 * 1e-3 / (gas_r * 273.15) / 60.0;

// Nothing leaks, nothing desorbs, no pores; 10 L; nitrogen, which needs no conversion.
plant::Furnace clean_furnace() {
  plant::Furnace f;
  f.retort.volume_m3 = 10e-3;
  f.plug.pore_m3 = 0.0;
  f.leak.flow_pa_m3_s = 0.0;
  for (plant::Site& site : f.outgassing.site) site.held_mol = 0.0;
  f.supply.purge = plant::Gas::nitrogen;
  f.supply.nitrogen = {0.0, 0.0};
  f.meter.full_scale_slm = 0.5;
  f.purge.flow_slm = 0.5;
  f.surroundings.barometer_pa = f.initial.pressure_pa = 101325.0;
  return f;
}

const sim::DataSheet& clean_sheet() {
  static const sim::DataSheet sheet = sim::make_data_sheet("clean", clean_furnace());
  return sheet;
}

const sim::DataSheet& demo_sheet() {
  static const sim::DataSheet sheet = sim::make_data_sheet("demo", plant::Furnace{});
  return sheet;
}

// Published in the trade and by the gas law: 0.5 slm into 10 L at 20 degC, outlet blocked, 5.44 kPa a minute. Compression warms
// the gas a little against the wall, so a few per cent more at the most.
TEST(DataSheet, blocked_outlet_cold_rises_as_the_gas_law_has_it) {
  const double isothermal_pa_s = 0.5 * slm * gas_r * 293.15 / 10e-3;
  EXPECT_NEAR(60.0 * isothermal_pa_s, 5.44e3, 10.0);
  EXPECT_GE(clean_sheet().blocked_cold.meter_pa_s, 0.99 * isothermal_pa_s);
  EXPECT_LE(clean_sheet().blocked_cold.meter_pa_s, 1.4 * isothermal_pa_s);  // adiabatic: gamma
  EXPECT_NEAR(clean_sheet().blocked_cold.restrictor_pa_s / clean_sheet().blocked_cold.meter_pa_s, 1.0, 0.05);
}

// The same moles into hot gas raise it by the ratio of the temperatures, less what warming the cold gas takes from the gas in
// the chamber meanwhile: between ambient gas that stays cold and gas that is hot at once.
TEST(DataSheet, blocked_outlet_hot_rises_faster) {
  ASSERT_TRUE(clean_sheet().blocked_hot);
  const sim::Blocked& hot = *clean_sheet().blocked_hot;
  const double hot_k = hot.gas_degc + 273.15;
  EXPECT_GT(hot.meter_pa_s, 1.2 * clean_sheet().blocked_cold.meter_pa_s);
  EXPECT_LE(hot.meter_pa_s, 0.5 * slm * gas_r * hot_k / 10e-3 * 1.01);
}

// t = (V/S) ln((p0 - pu)/(p1 - pu)), vacuum_pumpdown.csv; with the hose's volume evacuated before the isolation opens, so that
// gas rushes into it, and a hose 16 mm wide that costs little above 10 Pa.
TEST(DataSheet, pumps_down_as_the_textbook_has_it) {
  const plant::Furnace f = clean_furnace();
  const double tau_s = (10e-3 + f.hose.volume_m3) / f.pump.speed_m3_s;
  const double begin_pa = 101325.0 * 10e-3 / (10e-3 + f.hose.volume_m3);
  const double want_s = tau_s * std::log((begin_pa - f.pump.base_pa) / (100.0 - f.pump.base_pa));
  ASSERT_TRUE(clean_sheet().pump_down.time_s[0]);
  EXPECT_NEAR(*clean_sheet().pump_down.time_s[0], want_s, 0.03 * want_s);
  EXPECT_NEAR(clean_sheet().pump_down.after_pa, f.pump.base_pa, 0.1 * f.pump.base_pa);
}

// Well mixed: (n / q) ln(c0 / c), purge_sweep.csv. Nothing real is faster; the plant's chamber stands a little above the
// barometer.
TEST(DataSheet, purges_as_fast_as_perfect_mixing_allows) {
  const double held_mol = 101325.0 * 10e-3 / (gas_r * 293.15), each_s = held_mol / (0.5 * slm);
  EXPECT_NEAR(std::exp(-5.0), 0.0067, 0.00005);  // five volumes leave 0.67 %
  for (std::size_t i = 0; i < 3; ++i) {
    const double want_s = each_s * std::log(209500.0 * 0.99 / clean_sheet().oxygen.limit_ppm[i]);
    ASSERT_TRUE(clean_sheet().oxygen.meter_s[i] && clean_sheet().oxygen.restrictor_s[i]);
    EXPECT_GE(*clean_sheet().oxygen.meter_s[i], 0.99 * want_s);
    EXPECT_NEAR(*clean_sheet().oxygen.restrictor_s[i], want_s, 0.03 * want_s);
  }
}

// Cn = C0 (p_low / p_high)^n, CEN/TR 15281: air to 15 Pa and back leaves 31 ppm, two cycles none to speak of.
TEST(DataSheet, vacuum_cycles_leave_what_the_rule_says) {
  EXPECT_EQ(clean_sheet().oxygen.low_pa, 15.0);
  const double want_ppm = 209500.0 * 0.99 * 15.0 / 101325.0;
  EXPECT_NEAR(clean_sheet().oxygen.first_cycle_ppm, want_ppm, 0.02 * want_ppm);
  EXPECT_EQ(clean_sheet().oxygen.cycles, (std::array<int, 3>{1, 1, 2}));
}

// Heaters are resistors here: a tenth less voltage leaves 81 % of the power.
TEST(DataSheet, low_mains_leave_the_square_of_the_voltage) {
  EXPECT_NEAR(demo_sheet().installed_w, 3000.0, 0.5);
  for (const sim::HoldLevel& level : demo_sheet().levels) {
    ASSERT_TRUE(level.power_w) << level.degc;
    EXPECT_NEAR(level.low_mains_w, 0.81 * 3000.0, 0.5) << level.degc;
    EXPECT_LT(*level.power_w, level.low_mains_w);
  }
}

// What a furnace takes in a steady state it gives to the room: with a plug that conducts next to nothing all of it through the
// casing, whose loss at the temperature shown is radiation and natural convection.
TEST(DataSheet, steady_power_is_what_the_casing_gives_to_the_room) {
  plant::Furnace f;
  f.plug.neck_wall_m = 0.0;
  f.plug.material.k0_w_mk = 0.01;
  f.plug.material.k1_w_mk2 = f.plug.material.k2_w_mk3 = 0.0;
  f.casing.area_m2 = 1.2;
  f.limiter.trip_degc = 650.0;  // three levels are enough
  const sim::DataSheet sheet = sim::make_data_sheet("closed", f);
  ASSERT_EQ(sheet.levels.size(), 3u);
  for (const sim::HoldLevel& level : sheet.levels) {
    ASSERT_TRUE(level.power_w) << level.degc;
    const double casing_k = level.casing_degc + 273.15, rise_k = level.casing_degc - 20.0;
    const double radiated = 5.670374419e-8 * 0.85 * 1.2 * (std::pow(casing_k, 4.0) - std::pow(293.15, 4.0));
    const double convected = 1.6 * 1.2 * std::pow(rise_k, 1.25);
    const double plug = 0.01 * 0.25 * std::numbers::pi * 0.04 * (level.degc - 20.0) / 0.2;
    EXPECT_NEAR(*level.power_w, radiated + convected + plug, 0.01 * *level.power_w) << level.degc;
  }
}

TEST(DataSheet, heats_faster_with_more_power_and_cools_in_order) {
  double before_s = 0.0;
  for (const sim::HoldLevel& level : demo_sheet().levels) {
    ASSERT_TRUE(level.heating_k_min && level.heating_low_mains_k_min && level.reach_s) << level.degc;
    EXPECT_GT(*level.heating_k_min, *level.heating_low_mains_k_min) << level.degc;
    EXPECT_GT(*level.reach_s, before_s);
    before_s = *level.reach_s;
  }
  before_s = 0.0;
  ASSERT_FALSE(demo_sheet().cooling.empty());
  for (const sim::Cooling& one : demo_sheet().cooling) {
    ASSERT_TRUE(one.time_s);
    EXPECT_GT(*one.time_s, before_s);
    before_s = *one.time_s;
  }
}

// No more heat can be stored than was given: on the way to 800 degC the retort (about 6 kg), the load and the panels alone take
// some 6.2 kg * 1.07 kJ/(kg K) * 780 K = 5.2 MJ, half an hour of 3 kW.
TEST(DataSheet, full_power_cannot_beat_the_heat_that_is_stored) {
  ASSERT_TRUE(demo_sheet().levels.back().reach_s);
  EXPECT_EQ(demo_sheet().levels.back().degc, 800.0);
  EXPECT_GT(*demo_sheet().levels.back().reach_s, 1700.0);
}

TEST(DataSheet, does_not_depend_on_the_period_of_its_experiments) {
  sim::TestStand slow(plant::Furnace{}, 1.0), quick(plant::Furnace{}, 0.1);
  for (sim::TestStand* stand : {&slow, &quick}) {
    stand->shut();
    stand->commands.exhaust_open = true;
    stand->heat(0.2);
    stand->run(4.0 * 3600.0);
  }
  EXPECT_NEAR(slow.zone_degc(0), quick.zone_degc(0), 0.2);
  EXPECT_NEAR(slow.truth("plant.load.core"), quick.truth("plant.load.core"), 0.2);
}

TEST(DataSheet, says_what_is_not_reached) {
  plant::Furnace f;
  f.heaters.panel = {plant::Panel{1, 60.0}, plant::Panel{1, 60.0}, plant::Panel{1, 60.0}, plant::Panel{1, 60.0}};
  f.leak.flow_pa_m3_s = 1.0;
  const sim::DataSheet sheet = sim::make_data_sheet("weak", f);
  EXPECT_TRUE(sheet.levels[0].power_w);
  EXPECT_FALSE(sheet.levels[2].power_w);  // 240 W do not hold 600 degC
  EXPECT_FALSE(sheet.levels[2].limiter);
  EXPECT_FALSE(sheet.pump_down.time_s[0]);  // 1 Pa m3/s against 0.5 L/s: 2 kPa
  EXPECT_EQ(sheet.oxygen.low_pa, 0.0);
  const std::string text = sim::data_sheet_text(sheet, {});
  EXPECT_NE(text.find("not held by full power"), std::string::npos) << text;
  EXPECT_NE(text.find("does not get low enough"), std::string::npos) << text;
  const auto json = nlohmann::json::parse(sim::data_sheet_json(sheet, {}));
  EXPECT_TRUE(json["heat"]["levels"][2]["power_w"].is_null());
  EXPECT_TRUE(json["gas"]["pump_down"]["time_s"][0].is_null());
}

// Isothermal 5.44 kPa a minute, adiabatic 1.4 times that (above); a rise is no gauge, absolute or differential pressure.
TEST(DataSheet, rises_are_written_as_rates) {
  const std::string text = sim::data_sheet_text(clean_sheet(), {});
  const std::regex form("exhaust blocked, cold, .*: pressure rises by ([0-9.]+) Pa/s \\(([0-9.]+) kPa/min\\) with the mass-flow");
  std::smatch rates;
  ASSERT_TRUE(std::regex_search(text, rates, form)) << text;
  const double pa_s = std::stod(rates[1]), kpa_min = std::stod(rates[2]);
  EXPECT_GE(kpa_min, 0.99 * 5.44);
  EXPECT_LE(kpa_min, 1.4 * 5.44);
  EXPECT_NEAR(60e-3 * pa_s, kpa_min, 0.01 * kpa_min) << "three digits of both";
  EXPECT_EQ(text.find(" diff"), std::string::npos) << text;
}

TEST(Handbook, remarks_on_what_no_handbook_has_and_says_where) {
  const std::string text =
      "title: t\nboundary: retort\nlining:\n  material:\n    conductivity: 3 W/(m K)\n  emissivity: 0.05\n"
      "meter: {conversion: {argon: 1.39, helium: 1.2}}\n";
  const sim::YamlNode root = sim::parse_yaml(text, "f.yaml");
  const auto remarks = sim::handbook_remarks(sim::read_furnace(root).furnace, root);
  std::vector<std::string> keys;
  for (const sim::HandbookRemark& one : remarks) keys.push_back(one.key);
  EXPECT_EQ(keys, (std::vector<std::string>{"lining.material.conductivity", "lining.material.conductivity", "lining.emissivity",
                                            "meter.conversion.helium"}));
  const std::string said = sim::sentence(remarks.front());
  for (const char* part :
       {"f.yaml:5:19: ", "`lining.material.conductivity`", "at 400 degC", "0.0675 to 0.495", "VDI Heat Atlas"})
    EXPECT_NE(said.find(part), std::string::npos) << said;
}

// 750 W a panel over 100 cm2 are 7.5 W/cm2. The published rows: 1.044 at 1000 degC, 1 at 20 degC. By hand, nothing of the plant.
TEST(DataSheet, says_what_the_elements_bear) {
  plant::Furnace f;
  f.limiter.trip_degc = 500.0;
  f.electric.element.material = plant::ElementMaterial::fecral;
  f.electric.element.rated_degc = 1000.0;
  f.electric.element.surface_m2 = 0.01;
  f.electric.element.hours = 2000.0;
  f.electric.element.ageing = 0.02;
  f.electric.element.limit_degc = 401.0;   // what gives heat is hotter than the heater side that it holds at 400
  const sim::DataSheet sheet = sim::make_data_sheet("elements", f);
  ASSERT_EQ(sheet.elements.size(), 1u);
  EXPECT_NEAR(sheet.elements[0].load_w_cm2, 7.5, 1e-12);
  EXPECT_NEAR(sheet.elements[0].cold_share, 1.0 / 1.044, 1e-12);
  EXPECT_NEAR(sheet.elements[0].age, 1.04, 1e-12);
  EXPECT_NEAR(sheet.installed_w, 3000.0, 1e-9);
  ASSERT_TRUE(sheet.levels[1].power_w);
  EXPECT_GT(sheet.levels[0].element_degc, 200.0) << "what gives heat is hotter than what takes it";
  EXPECT_GT(sheet.levels[1].element_degc, 401.0);
  const std::string text = sim::data_sheet_text(sheet, {});
  EXPECT_NE(text.find("7.5 W/cm2"), std::string::npos) << text;
  const std::size_t caution = text.find("more than it may have");
  EXPECT_NE(caution, std::string::npos) << text;
  EXPECT_GT(caution, text.find("holding 400 degC")) << "the lower level is within the limit";
}

TEST(Handbook, remarks_on_elements_that_are_asked_too_much) {
  const std::string text =
      "title: t\nboundary: retort\nlimiter: {trip: 1300 degC}\nheaters:\n  element:\n    material: fecral\n    surface: 10 cm2\n";
  const sim::YamlNode root = sim::parse_yaml(text, "f.yaml");
  const auto remarks = sim::handbook_remarks(sim::read_furnace(root).furnace, root);
  ASSERT_EQ(remarks.size(), 2u);
  EXPECT_EQ(remarks[0].key, "limiter.trip");
  EXPECT_EQ(remarks[0].high, 1250.0);                 // published for this alloy
  EXPECT_EQ(remarks[1].key, "heaters.element.surface");
  EXPECT_NEAR(remarks[1].value, 75.0, 1e-9);          // 750 W over 10 cm2
  EXPECT_EQ(remarks[1].place.line, 7);
}

TEST(Handbook, has_nothing_against_the_shipped_furnaces) {
  for (const auto& entry : std::filesystem::directory_iterator(std::filesystem::path(source_folder) / "configs/furnaces")) {
    const sim::YamlNode root = sim::read_yaml(entry.path());
    for (const sim::HandbookRemark& one : sim::handbook_remarks(sim::read_furnace(root).furnace, root))
      ADD_FAILURE() << sim::sentence(one);
  }
}

}  // namespace
