#include "sim/event_match.h"

#include <algorithm>
#include <array>
#include <string_view>

#include <fmt/format.h>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"
#include "sim/signals.h"

namespace sim {

namespace {

struct EventKind {
  const char* source;
  const char* kind;
  const char* sentence;
};

constexpr std::array<EventKind, 25> kinds{{
    {"alarm", "raised", "an alarm is raised"},
    {"alarm", "cleared", "an alarm is cleared"},
    {"alarm", "withheld", "an alarm that stands is shelved, suppressed or out of service"},
    {"interlock", "trips", "an interlock trips"},
    {"interlock", "re-armed", "an interlock is armed again"},
    {"interlock", "refuses", "an interlock refuses an action"},
    {"operator", "sent", "the operator acts"},
    {"operator", "accepted", "an action is accepted"},
    {"operator", "refused", "an action is refused"},
    {"operator", "unanswered", "an action is not answered"},
    {"operator", "mistake", "the operator makes a mistake"},
    {"programme", "state", "the programme changes its state"},
    {"programme", "begins", "a segment begins"},
    {"atmosphere", "begins", "a phase of the atmosphere begins"},
    {"fault", "begins", "a fault begins"},
    {"fault", "ends", "a fault ends"},
    {"line", "disturbed", "the field line is disturbed"},
    {"line", "recovered", "the field line has recovered"},
    {"supervisory", "disturbed", "the supervisory line is disturbed"},
    {"supervisory", "recovered", "the supervisory line has recovered"},
    {"controller", "stops", "the controller stops"},
    {"controller", "starts", "the controller starts anew"},
    {"bench", "begins", "the run begins"},
    {"bench", "forks", "the run forks"},
    {"bench", "ends", "the run ends"},
}};

std::vector<std::string> sources() {
  std::vector<std::string> names;
  for (const EventKind& kind : kinds)
    if (names.empty() || names.back() != kind.source) names.emplace_back(kind.source);
  return names;
}

std::vector<std::string> kinds_of(std::string_view source) {
  std::vector<std::string> names;
  for (const EventKind& kind : kinds)
    if (source == kind.source) names.emplace_back(kind.kind);
  return names;
}

// Every text an event of this kind can have, as far as that is settled beforehand; empty: it is not.
std::vector<std::string> texts_of(const EventPattern& pattern, const std::vector<std::string>& segments) {
  std::vector<std::string> texts;
  if (pattern.source == "alarm")
    for (const fw::AlarmInfo& alarm : fw::alarm_table()) texts.emplace_back(alarm.name);
  if (pattern.source == "interlock")
    for (const fw::InterlockRow& row : fw::interlock_table()) texts.emplace_back(row.name);
  if (pattern.source == "programme" && pattern.kind == "begins") texts = segments;
  if (pattern.source == "programme" && pattern.kind == "state") texts.assign(state_names().begin(), state_names().end());
  if (pattern.source == "atmosphere") texts.assign(phase_names().begin(), phase_names().end());
  return texts;
}

SourcePlace place_in(const YamlNode& map, const char* key) {
  const YamlNode* node = map.is_map() ? map.child(key) : nullptr;
  return node ? node->place : map.place;
}

}  // namespace

bool matches(const EventPattern& pattern, const Event& event) {
  return pattern.source == event.source && (pattern.kind.empty() || pattern.kind == event.kind) &&
         (pattern.text.empty() || event.text.find(pattern.text) != std::string::npos);
}

bool known_event(const Event& event) {
  return std::any_of(kinds.begin(), kinds.end(),
                     [&](const EventKind& kind) { return event.source == kind.source && event.kind == kind.kind; });
}

void check_event(const YamlNode& map, const EventPattern& pattern, const std::vector<std::string>& segments) {
  const auto check = [&](const char* key, const std::string& word, const std::vector<std::string>& words) {
    if (std::find(words.begin(), words.end(), word) != words.end()) return;
    throw InputError(place_in(map, key), "`" + word + "` as " + key + " of an event", "one of " + listed(words), nearest_name(word, words));
  };
  if (pattern.source.empty()) throw InputError(map.place, "an event without `source`", "`source`: one of " + listed(sources()));
  check("source", pattern.source, sources());
  if (!pattern.kind.empty()) check("kind", pattern.kind, kinds_of(pattern.source));
  const std::vector<std::string> texts = texts_of(pattern, segments);
  const auto within = [&](const std::string& text) { return text.find(pattern.text) != std::string::npos; };
  if (!texts.empty() && std::none_of(texts.begin(), texts.end(), within)) check("text", pattern.text, texts);
}

std::string describe(const EventPattern& pattern) {
  std::string text = "something happens: " + pattern.source;
  for (const EventKind& kind : kinds)
    if (pattern.source == kind.source && pattern.kind == kind.kind) text = kind.sentence;
  return pattern.text.empty() ? text : text + ": " + pattern.text;
}

}  // namespace sim
