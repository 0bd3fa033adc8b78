// States of a programme after the example of ISA-88.01 / IEC 61512-1, every state and every event of
// tests/reference/procedural_states.csv: each pair of them is brought about by bytes, and what the table does not hold must leave the
// state as it is. The core claims no pause, and passes Holding and Restarting in no time: nothing has to be brought anywhere to
// hold a temperature. Abort is no command: a trip does it.
#include <map>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "tests/csv_table.h"
#include "tests/firmware/stand_in.h"
#include "tests/firmware/state_table.h"

namespace {

using namespace stand_in;

const std::map<std::string, fw::ProgrammeState> states{
    {"Idle", fw::ProgrammeState::idle}, {"Running", fw::ProgrammeState::running}, {"Held", fw::ProgrammeState::held},
    {"Stopping", fw::ProgrammeState::stopping}, {"Stopped", fw::ProgrammeState::stopped}, {"Aborting", fw::ProgrammeState::aborting},
    {"Aborted", fw::ProgrammeState::aborted}, {"Complete", fw::ProgrammeState::complete}};
const std::map<std::string, fw::Command> commands{
    {"Start", fw::Command::start}, {"Hold", fw::Command::hold}, {"Restart", fw::Command::resume}, {"Stop", fw::Command::stop},
    {"Reset", fw::Command::reset}, {"Start at value", fw::Command::start_at_value}, {"Shut down", fw::Command::shut_down}};

// Its run is over and its record closed: a trip that comes now acts on the outputs and is told, but is none of the run's.
const StateTable::Pair not_aborted{"Stopped", "Abort"};

// The reference as the core claims it, and what of it falls away.
struct Claimed {
  StateTable table;
  std::set<std::string> left_out;   // states and commands
};

Claimed claimed() {
  StateTable whole;
  const CsvTable reference("procedural_states.csv");
  for (const CsvTable::Row& row : reference.rows()) whole.add(row["from"], row["event"], row["to"]);
  Claimed claimed;
  for (const auto& [pair, to] : whole.rows()) {
    const auto& [from, event] = pair;
    const std::string at_last = states.contains(to) ? to : whole.after(to, "done");
    if (!states.contains(from)) claimed.left_out.insert(from);
    if (event == "Pause" || event == "Resume") claimed.left_out.insert(event);
    if (states.contains(from) && states.contains(at_last) && pair != not_aborted) claimed.table.add(from, event, at_last);
  }
  return claimed;
}

class Programme {
 public:
  Programme() : s_(store_of(in_air(), {wait(10.0), wait(10.0), end()})) { s_.run(1.0); }

  std::string state() const {
    for (const auto& [name, state] : states) {
      if (static_cast<int>(state) == s_.state()) return name;
    }
    return "no state";
  }

  void happen(const std::string& event) {
    if (event == "done") {
      const int before = s_.state();
      s_.run_until([&] { return s_.state() != before; }, 60.0);
    } else if (event == "Abort") {
      s_.discrete_clear = 1u << 1;   // emergency stop
      s_.run(0.2);
      s_.discrete_clear = 0;
      s_.run(0.2);
    } else {
      // A trip is acknowledged before the state is reset.
      if (event == "Reset") static_cast<void>(s_.command(fw::Command::acknowledge));
      send(static_cast<unsigned>(commands.at(event)));
    }
  }

  void send(unsigned code) { static_cast<void>(s_.command(static_cast<fw::Command>(code))); }
  fw::Refusal result() const { return static_cast<fw::Refusal>(static_cast<int>(s_.value("command.result"))); }

 private:
  StandIn s_;
};

Programme brought_by(const std::vector<std::string>& way) {
  Programme programme;
  for (const std::string& event : way) programme.happen(event);
  return programme;
}

TEST(ProceduralStates, AreThoseOfTheStandardOverTheLines) {
  const Claimed core = claimed();
  EXPECT_EQ(core.left_out, (std::set<std::string>{"Holding", "Pause", "Paused", "Pausing", "Restarting", "Resume"}));
  const auto ways = core.table.ways("Idle");
  ASSERT_EQ(ways.size(), states.size()) << "a state that nothing leads to";
  std::set<StateTable::Pair> visited;
  for (const auto& [state, way] : ways) {
    for (const std::string& event : core.table.events()) {
      SCOPED_TRACE(event + " in " + state);
      Programme programme = brought_by(way);
      ASSERT_EQ(programme.state(), state);
      programme.happen(event);
      EXPECT_EQ(programme.state(), core.table.after(state, event));
      const bool held = core.table.holds(state, event);
      if (commands.contains(event)) {
        EXPECT_EQ(programme.result(), held ? fw::Refusal::accepted : fw::Refusal::wrong_state);
      }
      if (held) visited.insert({state, event});
    }
  }
  EXPECT_EQ(visited.size(), core.table.rows().size());
}

TEST(ProceduralStates, AreLeftAloneByEveryOtherCommand) {
  std::set<unsigned> moving{static_cast<unsigned>(fw::Command::skip)};   // to the next segment, and at the last one to the end
  for (const auto& [name, code] : commands) moving.insert(static_cast<unsigned>(code));
  const StateTable table = claimed().table;
  for (const auto& [state, way] : table.ways("Idle")) {
    for (unsigned code = 0; code <= 80; ++code) {
      if (moving.contains(code)) continue;
      Programme programme = brought_by(way);
      programme.send(code);
      EXPECT_EQ(programme.state(), state) << "command " << code;
    }
  }
}

TEST(ProceduralStates, AreNotLeftByResetWhileATripStands) {
  Programme programme = brought_by({"Start", "Abort", "done"});
  ASSERT_EQ(programme.state(), "Aborted");
  programme.send(static_cast<unsigned>(fw::Command::reset));
  EXPECT_EQ(programme.state(), "Aborted");
  EXPECT_EQ(programme.result(), fw::Refusal::trip_stands);
}

}  // namespace
