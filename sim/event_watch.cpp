#include "sim/event_watch.h"

#include <stdexcept>

#include <fmt/format.h>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"

namespace sim {

namespace {

constexpr double burst_ends_s = 10.0;   // a line without error for so long is taken as recovered

std::size_t slot_of(const SignalTable& table, const char* name) {
  const int slot = table.find(name);
  if (slot < 0) throw std::logic_error(fmt::format("there is no signal {}", name));
  return static_cast<std::size_t>(slot);
}

std::string code_name(std::span<const std::string_view> names, double code) {
  const auto index = static_cast<std::size_t>(code);
  return index < names.size() ? std::string(names[index]) : fmt::format("code {}", code);
}

std::string row_name(double number) {
  for (const fw::InterlockRow& row : fw::interlock_table())
    if (row.number == number) return fmt::format("{}: {}", row.name, row.cause);
  return fmt::format("row {}", number);
}

// Two registers of 32 bits each, exact as doubles.
std::uint64_t alarm_set(double low, double high) {
  return static_cast<std::uint64_t>(low) | static_cast<std::uint64_t>(high) << 32;
}

const char* priority_name(fw::AlarmPriority priority) {
  switch (priority) {
    case fw::AlarmPriority::low: return "low";
    case fw::AlarmPriority::medium: return "medium";
    case fw::AlarmPriority::high: return "high";
  }
  return "";
}

}  // namespace

EventWatch::EventWatch(const SignalTable& table, const ProgrammeSource& programme)
    : programme_(programme), segment_slot_(slot_of(table, "programme.segment")),
      number_slot_(slot_of(table, "programme.number")), state_slot_(slot_of(table, "programme.state")),
      phase_slot_(slot_of(table, "atmosphere.phase")), alarms_slot_(slot_of(table, "alarms.bits")),
      alarms_2_slot_(slot_of(table, "alarms.bits_2")), withheld_slot_(slot_of(table, "alarms.withheld")),
      withheld_2_slot_(slot_of(table, "alarms.withheld_2")),
      trip_slot_(slot_of(table, "interlock.trip")), inhibit_slot_(slot_of(table, "interlock.inhibit")) {}

void EventWatch::visit(Archive& archive) {
  archive(last_, inhibit_told_, line_, supervisory_);
}

void EventWatch::take_over(const EventWatch& past) {
  last_ = past.last_;
  inhibit_told_ = past.inhibit_told_;
  line_ = past.line_;
  supervisory_ = past.supervisory_;
}

// One that is shelved, suppressed or taken out of service goes as well, but is not cleared.
void EventWatch::alarms(std::uint64_t before, const Codes& now, double time_s, std::vector<Event>& events) const {
  const std::uint64_t changed = now.alarms ^ before;
  const auto table = fw::alarm_table();
  for (std::size_t number = 0; number < table.size(); ++number) {
    const std::uint64_t bit = std::uint64_t{1} << number;
    if ((changed & bit) == 0) continue;
    const char* const kind = (now.alarms & bit) != 0 ? "raised" : (now.withheld & bit) != 0 ? "withheld" : "cleared";
    events.push_back({time_s, "alarm", kind,
                      fmt::format("{} ({} priority)", table[number].name, priority_name(table[number].priority))});
  }
}

void EventWatch::follow(Burst& burst, std::uint64_t count, const BurstWords& words, double time_s, double period_s,
                        std::vector<Event>& events) {
  if (count != burst.count) {
    burst.good_ticks = 0;
    if (!burst.lasts) {
      burst.lasts = true;
      burst.count_before = burst.count;
      events.push_back({time_s, words.source, "disturbed", words.begins});
    }
    burst.count = count;
  } else if (burst.lasts && static_cast<double>(++burst.good_ticks) * period_s >= burst_ends_s) {
    burst.lasts = false;
    events.push_back({time_s, words.source, "recovered", fmt::format("{} {}", count - burst.count_before, words.what)});
  }
}

void EventWatch::observe(std::span<const double> frame, double time_s, std::uint64_t line_errors, std::uint64_t missed,
                         double period_s, std::vector<Event>& events) {
  const Codes now{programme_.place(frame[number_slot_], frame[segment_slot_]), frame[state_slot_], frame[phase_slot_],
                  frame[trip_slot_], frame[inhibit_slot_], alarm_set(frame[alarms_slot_], frame[alarms_2_slot_]),
                  alarm_set(frame[withheld_slot_], frame[withheld_2_slot_])};
  constexpr BurstWords line_words{"line", "an answer of the station is missing, late or damaged", "answers missing, late or damaged"};
  constexpr BurstWords supervisory_words{"supervisory", "no reading of the controller came through: the last one stands",
                                         "readings of the controller missing, in whose place the last one stood"};
  if (line_errors != line_.count || line_.lasts) follow(line_, line_errors, line_words, time_s, period_s, events);
  if (missed != supervisory_.count || supervisory_.lasts) follow(supervisory_, missed, supervisory_words, time_s, period_s, events);
  if (now.state != last_.state) events.push_back({time_s, "programme", "state", code_name(state_names(), now.state)});
  if (now.segment != last_.segment && now.segment >= 0.0) {
    const auto index = static_cast<std::size_t>(now.segment);
    const std::string name = index < programme_.names.size() ? programme_.names[index] : fmt::format("segment {}", index);
    events.push_back({time_s, "programme", "begins", name});
  }
  if (now.phase != last_.phase) events.push_back({time_s, "atmosphere", "begins", code_name(phase_names(), now.phase)});
  if (now.alarms != last_.alarms) alarms(last_.alarms, now, time_s, events);
  if (now.trip != last_.trip) {
    if (now.trip > 0.0) events.push_back({time_s, "interlock", "trips", row_name(now.trip)});
    else events.push_back({time_s, "interlock", "re-armed", row_name(last_.trip)});
  }
  if (now.inhibit != last_.inhibit && now.inhibit > 0.0 && now.inhibit != inhibit_told_) {
    events.push_back({time_s, "interlock", "refuses", row_name(now.inhibit)});
    inhibit_told_ = now.inhibit;
  }
  last_ = now;
}

}  // namespace sim
