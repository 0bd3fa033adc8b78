// The life cycle of alarms after ISA-18.2 / IEC 62682, every state and every event of tests/reference/alarm_states.csv: each pair
// of them is brought about, whatever the table does not hold must leave the state as it is. Once for every alarm of the core by its
// functions, once for one alarm of each sort by bytes: conditions at the station, commands and states over the supervisory line.
#include <map>
#include <memory>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "firmware/alarms.h"
#include "tests/csv_table.h"
#include "tests/firmware/stand_in.h"
#include "tests/firmware/state_table.h"

namespace {

using namespace stand_in;

constexpr double shelf_s = 400.0;

const CsvTable& reference() {
  static const CsvTable table("alarm_states.csv");
  return table;
}

const fw::AlarmInfo& info_of(int alarm) { return fw::alarm_table()[static_cast<std::size_t>(alarm)]; }
bool high(int alarm) { return info_of(alarm).priority == fw::AlarmPriority::high; }

// What the core leaves to an alarm: those of high priority are neither shelved nor removed, and only what is judged from readings is
// suppressed while there are none (common practice, no source: the standard leaves it to the alarm philosophy).
bool may_happen(int alarm, const std::string& event) {
  if (event == "shelve" || event == "unshelve" || event == "time over" || event == "remove" || event == "put back") return !high(alarm);
  if (event == "suppress" || event == "unsuppress") return info_of(alarm).of_readings;
  return true;
}

// The standard's table for one alarm.
StateTable table_of(int alarm) {
  StateTable table;
  for (const CsvTable::Row& row : reference().rows()) {
    const std::string sort = row["alarms"];
    const bool mine = sort == "any" || (sort == "latching") == info_of(alarm).latching;
    if (mine && may_happen(alarm, row["event"])) table.add(row["from"], row["event"], row["to"]);
  }
  return table;
}

// "GH stands" shows H: of several suppressions the one of whoever answers for more (ours; the standard draws none at a time).
char shown(const std::string& state) { return state[state.find_first_of(' ') == std::string::npos ? 0 : state.find(' ') - 1]; }
bool suppressed(const std::string& state) { return shown(state) >= 'G'; }
bool shelved(const std::string& state) { return state.front() == 'G'; }
bool told(char letter) { return letter == 'B' || letter == 'C' || letter == 'E' || letter == 'F'; }

// One alarm of a core.
class Alarm {
 public:
  virtual ~Alarm() = default;
  virtual void happen(const std::string& event) = 0;
  virtual char letter() = 0;
  virtual bool is_told() = 0;
  virtual bool accepted() const = 0;                         // the last command
  virtual bool sees(const std::string& state) const = 0;     // a change of the condition in this state
};

class ByFunctions : public Alarm {
 public:
  explicit ByFunctions(int number) : number_(number) {}

  void happen(const std::string& event) override {
    if (event == "occurs" || event == "clears") condition_ = event == "occurs";
    if (event == "suppress" || event == "unsuppress") lost_ = event == "suppress";
    if (event == "acknowledge") accepted_ = fw::alarm_acknowledge(alarms_, number_);
    if (event == "acknowledge all") fw::alarms_acknowledge(alarms_);
    if (event == "reset") accepted_ = fw::alarm_reset(alarms_, number_);
    if (event == "shelve") accepted_ = fw::alarm_shelve(alarms_, number_, static_cast<std::uint32_t>(shelf_s * 1000.0));
    if (event == "unshelve") accepted_ = fw::alarm_unshelve(alarms_, number_);
    if (event == "remove" || event == "put back") accepted_ = fw::alarm_service(alarms_, number_, event == "remove");
    const bool delayed = event == "occurs" || event == "clears";
    pass(event == "time over" ? shelf_s : delayed ? 62.0 : 1.0);
  }
  char letter() override { return static_cast<char>('A' + static_cast<int>(fw::alarm_state(alarms_, number_))); }
  bool is_told() override { return ((fw::alarms_told(alarms_) >> number_) & 1u) != 0; }
  bool accepted() const override { return accepted_; }
  bool sees(const std::string&) const override { return true; }

 private:
  void pass(double seconds) {
    for (int i = 0; i < static_cast<int>(seconds); ++i) {
      fw::alarms_step(alarms_, condition_ ? fw::AlarmSet{1} << number_ : 0, lost_, 1000);
    }
  }
  fw::Alarms alarms_;
  int number_;
  bool condition_ = false, lost_ = false, accepted_ = false;
};

// Conditions at the terminals of the station, for one alarm of each sort.
void set_condition(StandIn& s, int alarm, bool there) {
  switch (alarm) {
    case fw::alarm::load_differs:
      s.raw[5] = type_k_mv(s.process.load_degc + (there ? 20.0 : 0.0)) - 1.0;
      return;
    case fw::alarm::contactor_welded:
      s.discrete_set = there ? s.discrete_set | 1u << 2 : s.discrete_set & ~(1u << 2);
      return;
    case fw::alarm::mains_low:
      s.raw[17] = 4.0 + 16.0 * (there ? 180.0 : 230.0) / 300.0;
      return;
    case fw::alarm::zone_sensor:
      s.status = there ? 1u : 0u;
      return;
    default:
      FAIL() << "no stimulus for alarm " << alarm;
  }
}

class ByBytes : public Alarm {
 public:
  explicit ByBytes(int number) : number_(number), s_(store_of(parameters(), {ramp(400.0f, 0.1f), end()})) {
    s_.discrete_set = 1u << 9;   // key switch: out of service is maintenance's word
    s_.run(1.0);
  }

  void happen(const std::string& event) override {
    static const std::map<std::string, fw::Command> commands{
        {"acknowledge", fw::Command::acknowledge_alarm}, {"reset", fw::Command::reset_alarm}, {"shelve", fw::Command::shelve_alarm},
        {"unshelve", fw::Command::unshelve_alarm}, {"remove", fw::Command::alarm_out_of_service},
        {"put back", fw::Command::alarm_in_service}, {"acknowledge all", fw::Command::acknowledge}};
    if (const auto found = commands.find(event); found != commands.end()) {
      accepted_ = s_.command(found->second, static_cast<unsigned>(number_), event == "shelve" ? shelf_s : 0.0) == fw::Refusal::accepted;
      s_.tick();
      return;
    }
    if (event == "occurs" || event == "clears") {
      set_condition(s_, number_, event == "occurs");
      s_.run(62.0);
      return;
    }
    if (event == "suppress" || event == "unsuppress") s_.silent = event == "suppress";
    s_.run(event == "time over" ? shelf_s : 1.5);
  }
  char letter() override {
    s_.tick(StandIn::read_request(4, fw::alarm_state_address, 64));
    return static_cast<char>('A' + s_.last_read.at(static_cast<std::size_t>(number_)));
  }
  bool is_told() override {
    s_.tick();
    return s_.alarm(number_);
  }
  bool accepted() const override { return accepted_; }
  // A silent line does not tell that the condition has changed.
  bool sees(const std::string& state) const override { return state.find('H') == std::string::npos; }

 private:
  static fw::Parameters parameters() {
    fw::Parameters p = in_air();
    p.load_difference_k = 15.0f;
    return p;
  }
  int number_;
  StandIn s_;
  bool accepted_ = false;
};

bool is_command(const std::string& event) {
  return event == "acknowledge" || event == "reset" || event == "shelve" || event == "unshelve" || event == "remove" || event == "put back";
}

// All suppressions taken back: the alarm is normal, or it comes anew.
void expect_release(Alarm& alarm, const std::string& state) {
  for (const char* event : {"unshelve", "put back", "unsuppress"}) alarm.happen(event);
  EXPECT_EQ(alarm.letter(), state.find("stands") == std::string::npos ? 'A' : 'B') << "released from " << state;
}

using Visited = std::set<StateTable::Pair>;

std::set<std::string> every_event() {
  std::set<std::string> events;
  for (const CsvTable::Row& row : reference().rows()) events.insert(row["event"]);
  return events;
}

// Every state that the alarm can be in, and in each of them every event there is.
template <typename Kind>
void walk(int number, Visited& visited) {
  const StateTable table = table_of(number);
  for (const auto& [state, way] : table.ways("A")) {
    for (const std::string& event : every_event()) {
      SCOPED_TRACE(info_of(number).name + std::string(": ") + event + " in " + state);
      const std::unique_ptr<Alarm> alarm = std::make_unique<Kind>(number);
      for (const std::string& step : way) alarm->happen(step);
      ASSERT_EQ(alarm->letter(), shown(state));
      const std::string after = table.after(state, event);
      alarm->happen(event);
      EXPECT_EQ(alarm->letter(), shown(after));
      EXPECT_EQ(alarm->is_told(), told(shown(after)));
      // Shelving what is shelved begins its time anew.
      const bool anew = event == "shelve" && shelved(state);
      if (is_command(event)) {
        EXPECT_EQ(alarm->accepted(), table.holds(state, event) || anew);
      }
      if (suppressed(after) && (alarm->sees(state) || !(event == "occurs" || event == "clears"))) expect_release(*alarm, after);
      if (table.holds(state, event)) visited.insert({state, event});
    }
  }
}

// Pairs of the reference that no alarm went through: those of E and F which need an alarm that latches and may be suppressed.
Visited missed(const Visited& visited) {
  Visited missed;
  for (const CsvTable::Row& row : reference().rows()) {
    if (!visited.contains({row["from"], row["event"]})) missed.insert({row["from"], row["event"]});
  }
  return missed;
}

Visited without_such_an_alarm() {
  for (int n = 0; n < fw::alarm::count_; ++n) EXPECT_FALSE(info_of(n).latching && (!high(n) || info_of(n).of_readings)) << n;
  return {{"E", "remove"}, {"E", "shelve"}, {"E", "suppress"}, {"F", "remove"}, {"F", "shelve"}, {"F", "suppress"}};
}

TEST(AlarmStates, AreThoseOfTheStandardForEveryAlarmOfTheCore) {
  Visited visited;
  for (int n = 0; n < fw::alarm::count_; ++n) walk<ByFunctions>(n, visited);
  EXPECT_EQ(missed(visited), without_such_an_alarm());
}

TEST(AlarmStates, AreThoseOfTheStandardOverTheLines) {
  ASSERT_TRUE(info_of(fw::alarm::load_differs).of_readings && info_of(fw::alarm::contactor_welded).latching);
  ASSERT_TRUE(high(fw::alarm::zone_sensor) && !high(fw::alarm::mains_low) && !info_of(fw::alarm::mains_low).of_readings);
  Visited visited;
  for (const int n : {fw::alarm::load_differs, fw::alarm::contactor_welded, fw::alarm::mains_low, fw::alarm::zone_sensor}) {
    walk<ByBytes>(n, visited);
  }
  EXPECT_EQ(missed(visited), without_such_an_alarm());
}

}  // namespace
