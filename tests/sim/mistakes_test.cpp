// The operator's mistakes: each is read, written, refused where it changes nothing, and reaches the bench the way it would really.
#include "sim/mistake_file.h"

#include <bit>
#include <cmath>
#include <cstring>
#include <map>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "firmware/parameter_store.h"
#include "plant/step.h"
#include "sim/description.h"
#include "tests/plant/published_table.h"
#include "tests/sim/shipped_files.h"
#include "tests/sim/short_run.h"

namespace {

using sim::InputError;
using sim::MistakeSource;
using sim::Scenario;
using testing::HasSubstr;
using Kind = MistakeSource::Kind;

const char* const each_kind = R"(
- wrong_bottle: {gas: helium, instead_of: argon}
- wrong_bottle: {instead_of: helium, carries: 95 N2 5 CH4}
- wrong_gas_selected: {gas: nitrogen, instead_of: argon}
- wrong_thermocouple_type: {thermocouple: load, type: K}
- wrong_thermocouple_fitted: {thermocouple: heater, type: K}
- wrong_extension_wire: {thermocouple: load, type: K, head: 85 degC}
- thermocouples_swapped: {one: zone_1, other: load}
- hand_valve_shut: {valve: exhaust}
- hand_vent_open: {bore: 2 mm}
- door_not_shut: {for: 3 min}
- other_load: {factor: 2.5}
- decimal_slip: {parameter: heat.gains.1.gain, factor: 10}
- decimal_slip: {parameter: heat.gains.1.gain, factor: 0.1}
  segment: hold
  after: 1 min
- units_mistaken: {segment: ramp, typed: degC where degF is taken}
)";

Scenario shipped_scenario() { return sim_test::short_run(10.0, "sensors/load_thermocouple_opens"); }

std::vector<MistakeSource> read(const std::string& text, const Scenario& scenario = shipped_scenario()) {
  return sim::read_mistakes(sim::parse_yaml(text, "mistakes.yaml"), scenario, {scenario.programme, sim::SignalTable(1)});
}

Scenario with(const std::string& text, double seconds = 10.0) {
  Scenario scenario = sim_test::short_run(seconds, "sensors/load_thermocouple_opens");
  scenario.faults.clear();
  scenario.mistakes = read(text, scenario);
  return scenario;
}

TEST(Mistakes, ComeBackFromWhatIsWritten) {
  const auto mistakes = read(each_kind);
  ASSERT_EQ(mistakes.size(), sim::mistake_table().size() + 2);
  const std::string text = sim::write_mistakes(mistakes, 0);
  EXPECT_EQ(sim::write_mistakes(read(text), 0), text);
  std::map<std::string, int> sentences;
  for (const MistakeSource& mistake : mistakes) ++sentences[sim::sentence(mistake)];
  EXPECT_EQ(sentences.size(), mistakes.size());
  EXPECT_EQ(sentences.count("hangs a bottle of helium where argon belongs"), 1u);
  const std::string told = sim::describe(with("- hand_vent_open: {bore: 2 mm}"));
  EXPECT_THAT(told, HasSubstr("mistake: the operator forgets to shut the hand vent, bore 2 mm"));
}

TEST(Mistakes, AreRefusedWhereTheyChangeNothingOrCannotBe) {
  struct Bad { const char *text, *says; };
  const Bad bad[] = {
      {"- wrong_botle: {gas: helium}", "nearest: wrong_bottle"},
      {"- wrong_bottle: {gas: argon}", "the right gas"},
      {"- wrong_bottle: {gas: none}", "the right gas"},
      {"- wrong_bottle: {carries: carbn dioxide, instead_of: argon}", "nearest: carbon dioxide"},
      {"- wrong_bottle: {carries: 90 N2 10 NH3}", "`NH3`, which the plant's gas cannot hold"},
      {"- wrong_bottle: {carries: CO2, instead_of: air}", "comes in cylinders"},
      {"- wrong_gas_selected: {gas: argon, instead_of: helium}", "no segment selects"},
      {"- wrong_thermocouple_type: {type: N}", "the type that is fitted"},
      {"- wrong_extension_wire: {type: N}", "wire of the right type"},
      {"- thermocouples_swapped: {one: load, other: load}", "twice"},
      {"- thermocouples_swapped: {one: zone_2, other: load}", "does not have"},
      {"- other_load: {factor: 1}", "the load planned"},
      {"- decimal_slip: {parameter: heat.gains.1.gian, factor: 10}", "nearest: heat.gains.1.gain"},
      {"- decimal_slip: {parameter: unit.zones, factor: 10}", "the controller refuses"},
      {"- decimal_slip: {parameter: instruments.zone_thermocouple, factor: 10}", "no number"},
      {"- decimal_slip: {parameter: heat.gains.1.gain, factor: 1}", "leaves"},
      {"- units_mistaken: {segment: soak}", "a ramp or cool segment"},
      {"- units_mistaken: {segment: rampe}", "nearest: ramp"},
      {"- hand_valve_shut: {valve: suply}", "nearest: supply"},
      {"- hand_vent_open: {bore: 2}", "mm"},
      {"- hand_valve_shut: {valve: supply}\n  at: 3 min", "before the run"},
      {"- at: 3 min", "without a mistake"},
      {"- other_load: {factor: 2}\n  door_not_shut:", "one mistake"},
  };
  for (const Bad& one : bad) {
    try {
      read(one.text);
      ADD_FAILURE() << one.text << " was accepted";
    } catch (const InputError& error) {
      EXPECT_THAT(error.what(), HasSubstr(one.says)) << one.text;
      EXPECT_GT(error.line, 0) << one.text;
    }
  }
}

// What is typed stands in the store image that the core starts from; what was meant stays in the scenario.
TEST(Mistakes, TypedBeforeTheRunStandInTheStore) {
  const Scenario meant = with("- decimal_slip: {parameter: heat.gains.1.gain, factor: 10}\n- wrong_thermocouple_type: {type: K}\n"
                              "- wrong_gas_selected: {gas: nitrogen}\n"
                              "- units_mistaken: {segment: ramp, typed: degC where degF is taken}\n");
  const sim::Bench bench(meant, sim_test::endpoint("host"));
  fw::Parameters parameters{};
  fw::ProgrammeStore programmes{};
  fw::Journal journal{};
  fw::StoreWriter writer{};
  int bad = 0;
  ASSERT_EQ(fw::load_store(bench.store_image(), parameters, programmes, journal, writer, bad), 0);
  EXPECT_FLOAT_EQ(parameters.heat_gains[0].gain_per_k, 10.0f * meant.parameters.heat_gains[0].gain_per_k);
  EXPECT_EQ(parameters.zone_thermocouple, 'K');
  EXPECT_EQ(parameters.load_thermocouple, 'N');
  const fw::Segment* segments = programmes.segments + programmes.entries[0].first_segment;
  EXPECT_EQ(segments[1].gas, fw::Gas::nitrogen);
  EXPECT_NEAR(segments[4].target, (792.0 - 32.0) * 5.0 / 9.0, 1e-3);      // a furnace told 792 degF is told 422 degC
  EXPECT_EQ(meant.programme.segments[1].gas, fw::Gas::argon);
}

std::vector<sim::Event> run(sim::Bench& bench) {
  std::vector<sim::Event> events;
  while (bench.advance()) events.insert(events.end(), bench.events().begin(), bench.events().end());
  return events;
}

double value(const sim::Bench& bench, const char* signal) { return bench.frame()[static_cast<std::size_t>(bench.table().find(signal))]; }

TEST(Mistakes, AreSaidWhenTheRunBegins) {
  sim::Bench bench(with("- hand_valve_shut: {valve: pump}\n- other_load: {factor: 2}"), sim_test::endpoint("host"));
  std::vector<std::string> told;
  for (const sim::Event& event : run(bench))
    if (event.source == "operator" && event.kind == "mistake") told.push_back(event.text);
  EXPECT_THAT(told, testing::ElementsAre("the operator forgets to open the hand valve of the pump",
                                         "the operator puts in a load 2 times as heavy as planned"));
}

// Published emf of the types (tests/reference/thermocouple_check_points.csv): what input sees which couple, and what foreign wire adds.
TEST(Mistakes, InTheWiringReachTheStationsInputs) {
  std::map<std::string, double> emf;
  for (const auto& row : PublishedTable("thermocouple_check_points.csv").rows())
    emf[row.at("type") + row.at("T_C")] = PublishedTable::number(row, "E_published_mV");
  plant::ProcessValues process;
  process.zone_junction_degc[0] = 700.0;
  process.load_junction_degc = 600.0;
  process.cold_junction_degc = 25.0;
  const auto raw = [&](const char* mistake, int channel) {
    const plant::Model model = plant::build(sim::with_mistakes(with(mistake)).furnace);
    const plant::Instruments& instruments = model.station.settings.instruments;
    const double degc = plant::instrument_inputs(instruments, process)[static_cast<std::size_t>(channel)];
    return plant::convert(instruments, channel, degc, process).raw;
  };
  EXPECT_NEAR(raw("- other_load:", 0), emf["N700"] - emf["N25"], 1e-3);                      // as it should be
  EXPECT_NEAR(raw("- thermocouples_swapped:", 0), emf["N600"] - emf["N25"], 1e-3);
  EXPECT_NEAR(raw("- thermocouples_swapped:", 4), emf["N700"] - emf["N25"], 1e-3);
  EXPECT_NEAR(raw("- wrong_thermocouple_fitted: {thermocouple: heater, type: K}", 0), emf["K700"] - emf["K25"], 1e-3);
  EXPECT_NEAR(raw("- wrong_extension_wire: {thermocouple: zone_1, type: K, head: 60 degC}", 0),
              emf["N700"] - emf["N60"] + emf["K60"] - emf["K25"], 2e-3);
  EXPECT_NEAR(raw("- wrong_extension_wire: {thermocouple: zone_1, type: K, head: 60 degC}", 4), emf["N600"] - emf["N25"], 1e-3);
  EXPECT_NEAR(raw("- wrong_thermocouple_fitted: {thermocouple: load, type: K}\n- thermocouples_swapped:", 0),
              emf["K600"] - emf["K25"], 1e-3);
}

// Every type there is, either way round: fitted (the emf at the input) and told (the letter in the store).
TEST(Mistakes, OfTheThermocoupleKnowEveryType) {
  std::map<std::string, double> emf;
  for (const auto& row : PublishedTable("thermocouple_check_points.csv").rows())
    emf[row.at("type") + row.at("T_C")] = PublishedTable::number(row, "E_published_mV");
  plant::ProcessValues process;
  process.load_junction_degc = 300.0;
  process.cold_junction_degc = 20.0;
  for (const std::string type : {"K", "S", "R", "B", "J", "T", "E"}) {
    const Scenario fitted = sim::with_mistakes(with("- wrong_thermocouple_fitted: {thermocouple: load, type: " + type + "}"));
    const plant::Model model = plant::build(fitted.furnace);
    const plant::Instruments& instruments = model.station.settings.instruments;
    const double degc = plant::instrument_inputs(instruments, process)[4];
    EXPECT_NEAR(plant::convert(instruments, 4, degc, process).raw, emf.at(type + "300") - emf.at(type + "20"), 1e-3) << type;
    const Scenario told = sim::with_mistakes(with("- wrong_thermocouple_type: {thermocouple: load, type: " + type + "}"));
    EXPECT_EQ(told.parameters.load_thermocouple, type[0]);
    EXPECT_EQ(told.parameters.zone_thermocouple, 'N');
  }
  EXPECT_EQ(read("- wrong_thermocouple_type: {thermocouple: load, type: E}").size(), 1u);
}

TEST(Mistakes, AtValvesBottlesAndDoorsShowInTheFurnace) {
  const double evacuated_s = 900.0;
  sim::Bench right(with("- other_load: {factor: 2}", evacuated_s), sim_test::endpoint("host"));
  sim::Bench pump(with("- hand_valve_shut: {valve: pump}", evacuated_s), sim_test::endpoint("host"));
  sim::Bench bottle(with("- wrong_bottle: {gas: nitrogen}", evacuated_s), sim_test::endpoint("host"));
  sim::Bench supply(with("- hand_valve_shut: {valve: supply}", evacuated_s), sim_test::endpoint("host"));
  sim::Bench door(with("- door_not_shut: {for: 5 min}", evacuated_s), sim_test::endpoint("host"));
  for (sim::Bench* bench : {&right, &pump, &bottle, &supply, &door}) run(*bench);
  // The programme of the file: evacuated below 15 Pa, then filled with argon from the bottle.
  EXPECT_GT(value(right, "plant.gas.argon"), 990000.0);
  EXPECT_LT(value(bottle, "plant.gas.argon"), 1000.0);
  EXPECT_GT(value(bottle, "plant.flow.in"), 0.1);
  EXPECT_GT(value(pump, "plant.gas.pressure"), 90e3);         // the pump never saw the retort
  EXPECT_LT(value(supply, "plant.supply"), 1.0);
  EXPECT_LT(value(supply, "plant.gas.pressure"), 1000.0);     // evacuated, and nothing to fill it
  EXPECT_GT(value(door, "interlock.trip"), 0.0);
}

TEST(Mistakes, ThatLeaveAHoleLetTheRoomIn) {
  sim::Bench tight(with("- other_load: {factor: 2}", 200.0), sim_test::endpoint("host"));
  sim::Bench vent(with("- hand_vent_open: {bore: 2 mm}", 200.0), sim_test::endpoint("host"));
  for (sim::Bench* bench : {&tight, &vent}) run(*bench);
  // Choked air of 101 kPa through 3.14 mm2 (coefficient 1): 0.0404 * 3.14e-6 * 100.8e3 / sqrt(293) = 0.75 g/s = 35 slm; the pump's
  // displacement of 0.5 L/s then holds the retort near the room's pressure.
  EXPECT_LT(value(tight, "plant.gas.pressure"), 1000.0);
  EXPECT_GT(value(vent, "plant.gas.pressure"), 50e3);
}

}  // namespace
