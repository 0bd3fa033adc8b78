// What people see against published factors (tests/reference/pressure_units.csv; strength in its column `basis`), the definitions of
// the temperature scales (SI Brochure, 9th edition, 2.3.1: t/degC = T/K - 273.15; degree Fahrenheit: t/degF = 1.8 t/degC + 32, exact, so a
// difference has the factor 9/5 alone) and calculation by hand.
#include "sim/display_units.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <string>

#include "tests/csv_table.h"

namespace {

using sim::Digits;
using sim::DisplayUnits;
using sim::InputError;
using sim::ShownUnit;
using sim::choose_units;
using sim::in_display_units;
using sim::shown;
using sim::shown_difference;
using sim::shown_difference_unit;
using sim::shown_unit;

DisplayUnits chosen(const std::string& text) {
  DisplayUnits units;
  choose_units(units, text);
  return units;
}

std::string refusal(const std::string& text) {
  try {
    (void)chosen(text);
  } catch (const InputError& error) {
    EXPECT_EQ(error.file, "--units");
    return error.what();
  }
  return "";
}

// A chosen unit of pressure; the file's names are those of the table, without its remarks.
std::string unit_name(const std::string& row) {
  if (row == "at = kgf/cm2") return "kgf/cm2";
  if (row.starts_with("mTorr")) return "mTorr";
  return row.substr(0, row.find(" ("));
}

TEST(DisplayUnits, HaveThePublishedPressureFactors) {
  const CsvTable table("pressure_units.csv");
  // Columns of liquid at other temperatures than the conventional ones, and the dyne, are not offered.
  const auto offered = [](const std::string& row) {
    return row.find("(32 F)") == std::string::npos && row.find("(60 F)") == std::string::npos && row.find("(4 C)") == std::string::npos &&
           row != "dyn/cm2";
  };
  std::size_t seen = 0;
  for (const CsvTable::Row& row : table.rows()) {
    const std::string name = row["unit"], basis = row["basis"];
    if (!offered(name)) continue;
    const double pa = row.number("Pa_per_unit");
    EXPECT_TRUE(basis.starts_with("exact")) << name << ": " << basis;    // so a double's own rounding is all that may differ
    const std::string unit = unit_name(name);
    const ShownUnit gauge = shown_unit("Pa gauge", chosen("pressure=" + unit + " gauge"));
    EXPECT_EQ(gauge.text, unit + " gauge");
    EXPECT_NEAR(gauge.number(pa), 1.0, 1e-14) << name;
    EXPECT_NEAR(gauge.number(4000.0), 4000.0 / pa, 4e-15 * 4000.0 / pa) << name;
    EXPECT_EQ(gauge.offset, 0.0) << name;
    const ShownUnit vacuum = shown_unit("Pa abs", chosen("vacuum=" + unit + " abs"));
    EXPECT_NEAR(vacuum.number(pa), 1.0, 1e-14) << name;
    const ShownUnit rate = shown_unit("Pa/min", chosen("pressure=" + unit + " gauge"));
    EXPECT_EQ(rate.text, unit + "/min");
    EXPECT_NEAR(rate.number(pa), 1.0, 1e-14) << name;
    ++seen;
  }
  EXPECT_EQ(seen, 15u);
  EXPECT_NEAR(shown_unit("Pa abs", chosen("vacuum=micron abs")).number(101325.0), 760e3, 1e-9);      // a thousandth of a Torr
}

TEST(DisplayUnits, ExchangeGaugeAndAbsoluteByTheBarometer) {
  DisplayUnits units = chosen("pressure=mbar abs,vacuum=inHg gauge");
  units.barometer_pa = 98000.0;
  EXPECT_NEAR(shown_unit("Pa gauge", units).number(4000.0), 1020.0, 1e-10);                   // 980 + 40 mbar
  EXPECT_NEAR(shown_unit("Pa abs", units).number(98000.0), 0.0, 1e-10);
  EXPECT_NEAR(shown_unit("Pa abs", units).number(0.0), -98000.0 / 3386.388640341, 1e-10);     // conventional inHg, exact
  EXPECT_NEAR(shown_difference_unit("Pa gauge", units).number(4000.0), 40.0, 1e-12);          // a difference knows no barometer
  EXPECT_EQ(shown_difference_unit("Pa gauge", units).text, "mbar diff");
  EXPECT_NEAR(shown_difference_unit("Pa abs", units).number(3386.388640341), 1.0, 1e-12);
  EXPECT_EQ(shown_difference_unit("Pa abs", units).text, "inHg diff");
  EXPECT_NE(display_remark(units).find("98 kPa abs"), std::string::npos) << display_remark(units);
  EXPECT_EQ(display_remark(chosen("pressure=mbar gauge")).find("barometer"), std::string::npos);
}

// The transmitter counts from the barometer there is, so what people see of it does too.
TEST(DisplayUnits, TakeTheBarometerOfTheEnvironmentBeforeThatOfTheFurnace) {
  const auto read = [](const char* text) { return sim::display_of(sim::parse_yaml(text, "run.yaml")); };
  const DisplayUnits furnace = read("display: {pressure: mbar abs}\nfurnace: {surroundings: {barometer: 100 kPa abs}}\n");
  EXPECT_DOUBLE_EQ(furnace.barometer_pa, 100e3);
  const DisplayUnits upland = read("display: {pressure: mbar abs}\nfurnace: {surroundings: {barometer: 100 kPa abs}}\n"
                                   "environment: {barometer: 95 kPa abs}\n");
  EXPECT_DOUBLE_EQ(upland.barometer_pa, 95e3);
  EXPECT_FALSE(upland.barometer_moves);
  const DisplayUnits room = read("display: {pressure: mbar abs}\nfurnace: {surroundings: {barometer: 100 kPa abs}}\n"
                                 "environment: {ambient: 30 degC}\n");
  EXPECT_DOUBLE_EQ(room.barometer_pa, 100e3);
  const DisplayUnits front = read("display: {pressure: mbar abs}\nenvironment: {barometer: {between: linear, points: "
                                  "[{at: 0 s, value: 101 kPa abs}, {at: 2 h, value: 98 kPa abs}]}}\n");
  EXPECT_DOUBLE_EQ(front.barometer_pa, 101e3);
  EXPECT_NE(display_remark(front).find("101 kPa abs apart, as at the start"), std::string::npos) << display_remark(front);
}

TEST(DisplayUnits, TakeTheUnitOfPressureForVacuumWhenNoneIsChosen) {
  EXPECT_EQ(shown_unit("Pa abs", chosen("pressure=Torr gauge")).text, "Torr abs");
  EXPECT_NEAR(shown_unit("Pa abs", chosen("pressure=Torr gauge")).number(101325.0), 760.0, 1e-11);
  EXPECT_TRUE(shown_unit("Pa gauge", chosen("vacuum=Torr abs")).same);
}

// Fixed points of the definitions: ice 0 degC = 32 degF = 273.15 K, steam 100 degC = 212 degF, -40 the same on both.
TEST(DisplayUnits, TellATemperatureFromADifference) {
  const DisplayUnits fahrenheit = chosen("temperature=degF"), kelvin = chosen("temperature=K");
  const ShownUnit scale = shown_unit("degC", fahrenheit);
  EXPECT_NEAR(scale.number(0.0), 32.0, 1e-13);
  EXPECT_NEAR(scale.number(100.0), 212.0, 1e-12);
  EXPECT_NEAR(scale.number(-40.0), -40.0, 1e-13);
  for (const ShownUnit& difference :
       {shown_unit("K", fahrenheit), shown_difference_unit("K", fahrenheit), shown_difference_unit("degC", fahrenheit)}) {
    EXPECT_DOUBLE_EQ(difference.number(0.0), 0.0);
    EXPECT_DOUBLE_EQ(difference.number(10.0), 18.0);
    EXPECT_DOUBLE_EQ(difference.number(-5.0), -9.0);
    EXPECT_EQ(difference.text, "degF diff");
  }
  EXPECT_DOUBLE_EQ(shown_unit("K/min", fahrenheit).number(5.0), 9.0);
  EXPECT_EQ(shown_unit("K/min", fahrenheit).text, "degF/min");
  EXPECT_DOUBLE_EQ(shown_unit("degC", kelvin).number(0.0), 273.15);
  EXPECT_EQ(shown_unit("degC", kelvin).text, "K");
  EXPECT_TRUE(shown_difference_unit("degC", kelvin).same);
  EXPECT_DOUBLE_EQ(shown_difference_unit("degC", kelvin).number(10.0), 10.0);
}

TEST(DisplayUnits, ScaleFlows) {
  EXPECT_NEAR(shown_unit("slm", chosen("flow=sL/h")).number(0.6), 36.0, 1e-12);
  EXPECT_NEAR(shown_unit("slm", chosen("flow=sccm")).number(0.6), 600.0, 1e-10);
  // a litre at 20 degC holds less gas: 293.15 / 273.15 as many litres
  EXPECT_NEAR(shown_unit("slm", chosen("flow=slm(20 degC)")).number(1.0), 293.15 / 273.15, 1e-12);
  const DisplayUnits units = chosen("flow=slm(20 degC, 100 kPa), temperature=K");
  EXPECT_NEAR(shown_unit("slm", units).number(1.0), 293.15 / 273.15 * 1.01325, 1e-12);
  EXPECT_EQ(units.temperature, "K");
  EXPECT_TRUE(shown_unit("sL", units).same);
}

TEST(DisplayUnits, LeaveWhatIsNotChosenAsItIsRecorded) {
  for (const char* unit : {"Pa gauge", "Pa abs", "Pa", "Pa/min", "degC", "K", "K/min", "slm", "1", "ppm", "kWh", "W", "s"}) {
    EXPECT_TRUE(shown_unit(unit, {}).same) << unit;
    EXPECT_DOUBLE_EQ(shown_unit(unit, {}).number(12.5), 12.5) << unit;
  }
  const DisplayUnits all = chosen("pressure=psi gauge,vacuum=mTorr abs,flow=sL/h,temperature=degF");
  for (const char* unit : {"1", "ppm", "kWh", "W", "s", "sL", "1/K", "W/K", "Pa m3/s", "us", "V"})
    EXPECT_TRUE(shown_unit(unit, all).same) << unit;
  EXPECT_EQ(shown_unit("1", all).text, "");
}

// The rule of the header, by hand: 296 Pa / 9.80665 = 30.18; 4.00 kPa = 407.9 mmH2O, whose last digit is worth 1.02 mmH2O.
TEST(DisplayUnits, ShowBothWhereTheyDifferWithDigitsThatAreKnown) {
  const DisplayUnits water = chosen("pressure=mmH2O gauge,flow=sL/h,temperature=degF");
  EXPECT_EQ(shown(296.0, "Pa gauge", water), "30.2 mmH2O gauge (296 Pa gauge)");
  EXPECT_EQ(shown(4000.0, "Pa gauge", water), "408 mmH2O gauge (4.00 kPa gauge)");
  EXPECT_EQ(shown(792.0, "degC", water), "1458 degF (792 degC)");
  EXPECT_EQ(shown(792.0, "degC", water, Digits::written), "1457.6 degF (792 degC)");
  EXPECT_EQ(shown_difference(10.0, "degC", water), "18.0 degF diff (10.0 K)");
  EXPECT_EQ(shown(8.0, "K/min", water, Digits::written), "14.4 degF/min (8 K/min)");
  EXPECT_EQ(shown(static_cast<double>(0.6F), "slm", water, Digits::written), "36 sL/h (0.6 slm)");
  EXPECT_EQ(shown(15.0, "Pa abs", chosen("vacuum=mTorr abs"), Digits::written), "112.51 mTorr abs (15 Pa abs)");
  EXPECT_EQ(shown_difference(-512.0, "Pa gauge", water), "-52.2 mmH2O diff (-512 Pa diff)");
  EXPECT_EQ(shown(std::nan(""), "Pa gauge", water), "no value");
}

TEST(DisplayUnits, ShowSiAloneWhereNothingElseIsChosen) {
  EXPECT_EQ(shown(4000.0, "Pa gauge", {}), "4.00 kPa gauge");
  EXPECT_EQ(shown(296.2, "Pa gauge", {}), "296 Pa gauge");
  EXPECT_EQ(shown(0.0, "Pa gauge", {}), "0 Pa gauge");
  EXPECT_EQ(shown(9.996, "K", {}), "10.0 K");
  EXPECT_EQ(shown(14.0, "kPa gauge", {}, Digits::written), "14 kPa gauge");
  EXPECT_EQ(shown(4000.0, "Pa gauge", {}, Digits::written), "4 kPa gauge");
  EXPECT_EQ(shown(4000.0, "Pa gauge", chosen("pressure=Pa gauge")), "4.00 kPa gauge");
  EXPECT_EQ(shown(296.2, "Pa gauge", chosen("pressure=kPa gauge")), "0.296 kPa gauge");     // another prefix only
  EXPECT_EQ(shown(0.5, "1", {}), "0.500");
  EXPECT_EQ(shown(25.0, "degC", chosen("temperature=degC")), "25.0 degC");
}

// No more is claimed than is known and no more thrown away: the last digits are worth the same within half a power of ten.
TEST(DisplayUnits, KeepTheWorthOfTheLastDigit) {
  for (const char* unit : {"Pa", "hPa", "kPa", "MPa", "bar", "mbar", "atm", "Torr", "mTorr", "mmHg", "inHg", "psi", "psf", "kgf/cm2",
                           "mmH2O", "inH2O", "micron"}) {
    const ShownUnit seen = shown_unit("Pa gauge", chosen(std::string("pressure=") + unit + " gauge"));
    for (int decimals = 0; decimals <= 3; ++decimals) {
      const double recorded = std::pow(10.0, -decimals) * seen.factor, drawn = std::pow(10.0, -seen.decimals(decimals));
      EXPECT_LE(drawn, recorded * 3.17) << unit;
      if (seen.decimals(decimals) > 0) {
        EXPECT_GE(drawn, recorded / 3.17) << unit;
      }
    }
  }
}

TEST(DisplayUnits, ShowTheQuantitiesInATextInBoth) {
  const DisplayUnits units = chosen("pressure=mmH2O gauge,flow=sL/h,temperature=degF");
  EXPECT_EQ(in_display_units("plant.gas.gauge < 6 kPa", units), "plant.gas.gauge < 611.83 mmH2O (6 kPa)");
  EXPECT_EQ(in_display_units("abs(heat.1.sp - heat.1.pv) < 10 K", units), "abs(heat.1.sp - heat.1.pv) < 18 degF diff (10 K)");
  EXPECT_EQ(in_display_units("plant.gas.dew_point < -40 degC", units), "plant.gas.dew_point < -40 degF (-40 degC)");
  EXPECT_EQ(in_display_units("load.pv-10 K < 100 degC", units), "load.pv-18 degF diff (10 K) < 212 degF (100 degC)");
  EXPECT_EQ(in_display_units("set flow to 0.6 slm", units), "set flow to 36 sL/h (0.6 slm)");
  EXPECT_EQ(in_display_units("4 kPa gauge, then 20 Pa/min.", units),
            "407.89 mmH2O gauge (4 kPa gauge), then 2.0394 mmH2O/min (20 Pa/min).");
  EXPECT_EQ(in_display_units("leak 1e-3 Pa m3/s, 0.15 * 4.6 kWh, 5 minutes, 3 in 4, heat.1.pv, 2 h", units),
            "leak 1e-3 Pa m3/s, 0.15 * 4.6 kWh, 5 minutes, 3 in 4, heat.1.pv, 2 h");
  EXPECT_EQ(in_display_units("plant.gas.gauge < 6 kPa", {}), "plant.gas.gauge < 6 kPa");
  EXPECT_EQ(sim::event_in_display_units("operator", "set_flow 0.6 slm", units), "set_flow 36 sL/h (0.6 slm)");
  EXPECT_EQ(sim::event_in_display_units("programme", "hold at 100 degC", units), "hold at 100 degC");     // a name
}

TEST(DisplayUnits, SayWhatIsWrongWithAChoice) {
  EXPECT_NE(refusal("presure=kPa gauge").find("nearest: pressure"), std::string::npos) << refusal("presure=kPa gauge");
  EXPECT_NE(refusal("pressure=mmH2O").find("nearest: mmH2O gauge"), std::string::npos) << refusal("pressure=mmH2O");
  EXPECT_NE(refusal("pressure=mmH20 gauge").find("nearest: mmH2O"), std::string::npos) << refusal("pressure=mmH20 gauge");
  EXPECT_NE(refusal("pressure=mmH20 gauge").find("kgf/cm2"), std::string::npos);
  EXPECT_NE(refusal("pressure=kPa diff").find("a difference"), std::string::npos);
  EXPECT_NE(refusal("pressure=slm").find("gas flow"), std::string::npos);
  EXPECT_NE(refusal("flow=kPa gauge").find("sL/h"), std::string::npos);
  EXPECT_NE(refusal("temperature=degf").find("nearest: degF"), std::string::npos) << refusal("temperature=degf");
  EXPECT_NE(refusal("temperature=mK").find("degC, K or degF"), std::string::npos);
  EXPECT_NE(refusal("flow=").find("nothing for `flow`"), std::string::npos);
  EXPECT_NE(refusal("flow=slm,flow=sccm").find("twice"), std::string::npos);
  EXPECT_NE(refusal("").find("one of pressure, vacuum, flow, temperature"), std::string::npos) << refusal("");
}

}  // namespace
