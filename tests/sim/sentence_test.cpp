// What `saggar check` says: the demo's programme word for word (times by hand: way / rate), and every kind that a table has, so that
// a new one without a sentence is found here.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "sim/action_file.h"
#include "sim/action_sentence.h"
#include "sim/description.h"
#include "sim/expectation_file.h"
#include "sim/expectation_sentence.h"
#include "sim/fault_file.h"
#include "sim/fault_sentence.h"
#include "sim/moment.h"
#include "sim/moment_sentence.h"
#include "sim/programme_file.h"
#include "sim/programme_sentence.h"
#include "tests/checkout.h"
#include "tests/sim/shipped_files.h"

namespace {

using sim::DisplayUnits;
using sim::Field;
using sim::FieldType;
using sim::FieldValue;
using sim::Moment;
using testing::HasSubstr;

const DisplayUnits si{};

DisplayUnits chosen(const std::string& text) {
  DisplayUnits units;
  sim::choose_units(units, text);
  return units;
}

sim::Scenario demo() {
  return sim::load_scenario(std::filesystem::path(source_folder) / "configs/scenarios/cycles/titanium_stress_relief.yaml");
}

// A value that a field may have; `which`: one of two.
FieldValue value_for(const Field& field, int which) {
  FieldValue value;
  value.number = field.low + (which == 0 ? 0.25 : 0.5) * (field.high - field.low);
  if (field.type == FieldType::integer || field.whole) value.number = std::floor(value.number) + which;
  if (field.type == FieldType::choice) value.number = which;
  if (field.type == FieldType::yes_no) value.number = which;
  value.text = field.type == FieldType::choice ? field.choices[static_cast<std::size_t>(which)] : which == 0 ? "soak" : "cool";
  value.list = {value.text};
  return value;
}

TEST(Sentence, SaysTheDemoProgrammeWordForWord) {
  // 20 degC to 180 degC at 5 K/min: 32 min; 180 degC to 792 degC at 8 K/min: 76.5 min
  const sim::Scenario scenario = demo();
  const std::vector<std::string> said = sim::programme_sentences(scenario.programme, 20.0, si);
  const std::vector<std::string> expected = {
      "Pump down to below 15 Pa abs; failed if it takes longer than 15 min",
      "Fill with gas up to 1 kPa gauge; gas: argon; flow: 5 slm; failed if it takes longer than 10 min",
      "Pump down to below 15 Pa abs; failed if it takes longer than 15 min",
      "Leave the retort shut for 5 min; its pressure may rise by at most 20 Pa/min",
      "Fill with gas up to 4 kPa gauge; gas: argon; flow: 5 slm; failed if it takes longer than 10 min",
      "Exchange the gas 3 times over at 4 kPa gauge; gas: argon; flow: 5 slm; failed if it takes longer than 30 min",
      "Wait for 5 min; flow: 0.6 slm; back-pressure: 4 kPa gauge",
      "From 20 degC at 5 K/min to 180 degC (about 32 min); gain set 2",
      "Wait for 1 h",
      "From 180 degC at 8 K/min to 792 degC (about 1 h 17 min); gain set 1",
      "Hold 792 degC for 2 h; only time counts in which the load thermocouple is within 10 K of it; failed if it takes longer than 4 h",
      "Cool until the load is below 150 degC; failed if it takes longer than 15 h",
      "The programme is over; the safe values stay in force"};
  EXPECT_EQ(said, expected);
}

TEST(Sentence, SaysTheDemoProgrammeInTheUnitsChosen) {
  const std::vector<std::string> said = sim::programme_sentences(
      demo().programme, 20.0, chosen("pressure=mmH2O gauge,vacuum=mTorr abs,flow=sL/h,temperature=degF"));
  EXPECT_EQ(said[0], "Pump down to below 112.51 mTorr abs (15 Pa abs); failed if it takes longer than 15 min");
  EXPECT_EQ(said[3], "Leave the retort shut for 5 min; its pressure may rise by at most 2.0394 mmH2O/min (20 Pa/min)");
  EXPECT_EQ(said[6], "Wait for 5 min; flow: 36 sL/h (0.6 slm); back-pressure: 407.89 mmH2O gauge (4 kPa gauge)");
  // 9 degF/min are 5 K/min: a rate knows no offset of 32
  EXPECT_EQ(said[7], "From 68 degF (20 degC) at 9 degF/min (5 K/min) to 356 degF (180 degC) (about 32 min); gain set 2");
  EXPECT_THAT(said[10], HasSubstr("within 18 degF diff (10 K) of it"));
}

TEST(Sentence, SaysTimesExactlyAndAbout) {
  EXPECT_EQ(sim::time_sentence(9180.0), "2 h 33 min");
  EXPECT_EQ(sim::time_sentence(61.5), "1 min 1.5 s");
  EXPECT_EQ(sim::time_sentence(0.0), "0 s");
  EXPECT_EQ(sim::time_sentence(7200.25), "2 h 0.25 s");
  EXPECT_EQ(sim::about_time_sentence(9192.0), "2 h 33 min");
  EXPECT_EQ(sim::about_time_sentence(65.4), "1 min 5 s");
}

TEST(Sentence, SaysConditionsInWords) {
  const auto said = [](const char* text) { return sim::condition_sentence(text, si); };
  EXPECT_EQ(said("plant.load.core > 500 degC and heat.1.out <= 0.5"), "plant.load.core is above 500 degC and heat.1.out is at most 0.5");
  EXPECT_EQ(said("programme.state==held or interlock.trip != 0"), "programme.state is held or interlock.trip is not 0");
  EXPECT_EQ(said("abs(heat.1.sp - heat.1.pv) < 10 K"), "the size of (heat.1.sp - heat.1.pv) is below 10 K");
  EXPECT_EQ(said("rise(plant.gas.pressure) < 20 Pa/min * elapsed() + 1 Pa"),
            "the rise, since the window opened, of (plant.gas.pressure) is below 20 Pa/min * the time since the window opened + 1 Pa");
  EXPECT_EQ(said("always[0 s, 4 min] (vacuum.pv < 15 Pa)"), "throughout the time from 0 s to 4 min later (vacuum.pv is below 15 Pa)");
  EXPECT_EQ(sim::condition_sentence("plant.load.core > 500 degC", chosen("temperature=degF")),
            "plant.load.core is above 932 degF (500 degC)");
}

TEST(Sentence, SaysMomentsAsAPersonWould) {
  Moment moment;
  EXPECT_EQ(sim::moment_sentence(moment, si), "at the start");
  moment.after_s = 90.0;
  EXPECT_EQ(sim::moment_sentence(moment, si), "1 min 30 s after the start");
  moment.segment = "soak";
  EXPECT_EQ(sim::moment_sentence(moment, si), "1 min 30 s after the segment `soak` begins");
  moment = {};
  moment.at_s = 9180.0;
  EXPECT_EQ(sim::moment_sentence(moment, si), "at 2 h 33 min");
  moment = {};
  moment.phase = "leak_test";
  EXPECT_EQ(sim::moment_sentence(moment, si), "when the phase `leak test` of the atmosphere begins");
  moment = {};
  moment.condition = "plant.load.core > 500 degC";
  EXPECT_EQ(sim::moment_sentence(moment, si), "as soon as plant.load.core is above 500 degC");
  moment.after_s = 600.0;
  EXPECT_EQ(sim::moment_sentence(moment, si), "10 min after the first moment at which plant.load.core is above 500 degC");
  moment = {};
  moment.segment = "soak";
  moment.every_s = 300.0;
  moment.times = 3;
  EXPECT_EQ(sim::moment_sentence(moment, si), "when the segment `soak` begins, then every 5 min, 3 times in all");
}

TEST(Sentence, LeavesOutNoKeyOfAMoment) {
  for (const Field& field : sim::moment_fields()) {
    std::string said[2];
    for (const int which : {0, 1}) {
      Moment moment;
      field.set(&moment, value_for(field, which));
      said[which] = sim::moment_sentence(moment, si);
      EXPECT_NE(said[which], sim::moment_sentence({}, si)) << field.key;
    }
    if (field.key != "event.kind") {
      EXPECT_NE(said[0], said[1]) << field.key;
    }
  }
}

TEST(Sentence, LeavesOutNoKindOfSegmentAndNoneOfItsKeys) {
  const std::vector<std::string> names{"first", "second"};
  for (std::size_t i = 0; i < sim::segment_fields().size(); ++i) {
    const sim::FieldTable& table = sim::segment_fields()[i];
    sim::SegmentDraft base;
    base.segment.kind = static_cast<fw::SegmentKind>(i + 1);
    base.segment.rate = 0.1f;
    base.segment.duration_ms = 60000;
    double from_degc = 20.0;
    EXPECT_GT(sim::segment_sentence(base.segment, names, si, from_degc).size(), 10u) << table.kind;
    for (const Field& field : table.fields) {
      std::string said[2];
      for (const int which : {0, 1}) {
        sim::SegmentDraft draft = base;
        field.set(&draft, value_for(field, which));
        if (!draft.back_to.empty()) draft.segment.jump = static_cast<std::uint16_t>(which);      // as the reader resolves it
        from_degc = 20.0;
        said[which] = sim::segment_sentence(draft.segment, names, si, from_degc);
      }
      EXPECT_NE(said[0], said[1]) << table.kind << " says nothing of `" << field.key << "`";
    }
  }
}

TEST(Sentence, LeavesOutNoKindOfAction) {
  for (const sim::ActionKind& kind : sim::action_table()) {
    std::string said[2];
    for (const int which : {0, 1}) {
      sim::OperatorAction action;
      action.command = kind.command;
      action.text = std::string(kind.name) + " " + std::to_string(which);
      action.argument = static_cast<std::uint16_t>(which);
      action.value = static_cast<float>(10 + which);
      action.when.segment = "soak";
      said[which] = sim::action_sentence(action, si);
      EXPECT_THAT(said[which], HasSubstr("when the segment `soak` begins: ")) << kind.name;
      EXPECT_THAT(said[which], HasSubstr(kind.meaning));
    }
    if (kind.takes != sim::ActionValue::nothing) {
      EXPECT_NE(said[0], said[1]) << kind.name;
    }
  }
  sim::OperatorAction action;
  action.text = "set_heat 500 degC";
  action.value = 500.0f;
  action.when.at_s = 7200.0;
  EXPECT_EQ(sim::action_sentence(action, chosen("temperature=degF")), "at 2 h: heat set point to 932 degF (500 degC)");
}

TEST(Sentence, LeavesOutNoKindOfFaultAndNoneOfItsKeys) {
  for (const sim::FaultKind& kind : sim::fault_table()) {
    sim::FaultSource fault;
    fault.kind = kind.name;
    for (const sim::FaultParameter& parameter : kind.parameters) fault.values.push_back(parameter.preset);
    fault.from.condition = "plant.power > 1 W";
    const std::string said = sim::fault_sentence(fault, si);
    EXPECT_THAT(said, HasSubstr("as soon as plant.power is above 1 W, ")) << kind.name;
    EXPECT_THAT(said, HasSubstr(kind.meaning));
    for (std::size_t i = 0; i < kind.parameters.size(); ++i) {
      sim::FaultSource other = fault;
      other.values[i] = kind.parameters[i].preset == kind.parameters[i].low ? kind.parameters[i].low + 1.0 : kind.parameters[i].low;
      EXPECT_NE(sim::fault_sentence(other, si), said) << kind.name << " says nothing of `" << kind.parameters[i].name << "`";
    }
  }
  sim::FaultSource fault;
  fault.kind = "supply_exhausted";
  fault.chance = {1e-3, 10.0, 20.0};
  for (const Field& field : sim::fault_time_fields().fields) {
    sim::FaultSource other = fault;
    field.set(&other, value_for(field, 1));
    EXPECT_NE(sim::fault_sentence(other, si), sim::fault_sentence(fault, si)) << field.key;
  }
  EXPECT_THAT(sim::fault_sentence(fault, si), HasSubstr("to the end, by chance about 3.6 times an hour, each time for 10 s to 20 s: "));
  fault.chance = {};
  fault.kind = "sensor_drift";
  fault.values = {4.0, 0.05};
  fault.from.segment = "soak";
  fault.from.after_s = 1200.0;
  fault.for_s = 600.0;
  EXPECT_EQ(sim::fault_sentence(fault, chosen("temperature=degF")),
            "20 min after the segment `soak` begins, for 10 min: an instrument's error grows steadily "
            "(channel: load, rate: 0.09 degF/s (0.05 K/s))");
}

// Window, form and bound of an expectation: in the sentence for people and in the statement of the files.
TEST(Sentence, LeavesOutNoKeyOfAWindow) {
  sim::ExpectationSource base;
  base.name = "it";
  base.predicate = "plant.power < 1 W";
  base.form = sim::ExpectationSource::Form::eventually;
  std::size_t windows = 0;
  for (const Field& field : sim::expectation_fields().fields) {
    if (!field.meaning.starts_with("window") && field.key != "within") continue;
    ++windows;
    sim::ExpectationSource other[2] = {base, base};
    for (const int which : {0, 1}) field.set(&other[which], value_for(field, which));
    for (const auto& one : other) {
      EXPECT_NE(sim::sentence(one, si), sim::sentence(base, si)) << field.key;
      EXPECT_NE(sim::statement_of(one), sim::statement_of(base)) << field.key;
    }
    if (field.key.ends_with(".kind")) continue;                // means something only beside its source
    EXPECT_NE(sim::sentence(other[0], si), sim::sentence(other[1], si)) << field.key;
    EXPECT_NE(sim::statement_of(other[0]), sim::statement_of(other[1])) << field.key;
  }
  EXPECT_GE(windows, 8u);
  base.form = sim::ExpectationSource::Form::never;
  base.segments = {"dry out", "soak", "cool"};
  base.phases = {"leak_test"};
  base.from_s = 5400.0;
  base.until = "interlock.trip > 0";
  EXPECT_EQ(sim::sentence(base, si),
            "it: at no moment plant.power is below 1 W, in the segment dry out, soak or cool, in the phase leak test of the atmosphere, "
            "from 1 h 30 min after the start, until interlock.trip is above 0");
  EXPECT_EQ(sim::statement_of(base), "never plant.power < 1 W, in segment dry out or soak or cool, in phase leak_test, from 5400 s, "
                                     "until interlock.trip > 0");
}

TEST(Sentence, SayWhatTheNamesMean) {
  const std::string text = sim::describe(demo());
  EXPECT_THAT(text, HasSubstr("  names used above:\n"));
  EXPECT_THAT(text, HasSubstr("    vacuum.pv: capacitance gauge, absolute [Pa abs]\n"));
  EXPECT_THAT(text, testing::Not(HasSubstr("    plant.valve.bypass: ")));
  EXPECT_THAT(text, HasSubstr("at some moment vacuum.pv is below 15 Pa abs, at most 15 min after the window opens, in the segment first "
                              "evacuation"));
}

}  // namespace
