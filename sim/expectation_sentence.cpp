#include "sim/expectation_sentence.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "sim/event_match.h"
#include "sim/moment_sentence.h"
#include "sim/ready_word.h"
#include "sim/units.h"

namespace sim {

namespace {

using Form = ExpectationSource::Form;

std::string either(const std::vector<std::string>& names, const char* between) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) text += (i == 0 ? "" : i + 1 == names.size() ? " or " : between) + names[i];
  return text;
}

// The two ways to say a list, a time, a condition.
struct Voice {
  bool plain;                        // for people
  const DisplayUnits& units;
  std::string names(const std::vector<std::string>& of) const { return either(of, plain ? ", " : " or "); }
  std::string phases(std::vector<std::string> of) const {
    for (std::string& name : of)
      if (plain) std::replace(name.begin(), name.end(), '_', ' ');
    return names(of);
  }
  std::string time(double s) const { return s < 0.0 ? "" : plain ? time_sentence(s) : text_of(s) + " s"; }
  std::string event(const EventPattern& pattern) const { return pattern.given() ? describe(pattern) : ""; }
  std::string condition(const std::string& text) const { return plain ? condition_sentence(text, units) : text; }
};

// A part of the window; empty when the expectation does not give it.
struct WindowPart {
  std::string (*said)(const ExpectationSource& source, const Voice& voice);
  const char *terse, *plain, *plain_end;
};

using Source = ExpectationSource;
constexpr std::array<WindowPart, 9> window_parts{{
    {[](const Source& source, const Voice& voice) { return voice.names(source.segments); }, ", in segment ", ", in the segment ",
     ""},
    {[](const Source& source, const Voice& voice) { return voice.phases(source.phases); }, ", in phase ", ", in the phase ",
     " of the atmosphere"},
    {[](const Source& source, const Voice& voice) { return voice.time(source.from_s); }, ", from ", ", from ", " after the start"},
    {[](const Source& source, const Voice& voice) { return voice.time(source.to_s); }, ", to ", ", to ", " after the start"},
    {[](const Source& source, const Voice& voice) { return voice.condition(source.while_); }, ", while ",
     ", at the moments at which ", ""},
    {[](const Source& source, const Voice& voice) { return voice.condition(source.after); }, ", after ",
     ", from the first moment at which ", ""},
    {[](const Source& source, const Voice& voice) { return voice.event(source.after_event); }, ", once ",
     ", from the moment at which ", ""},
    {[](const Source& source, const Voice& voice) { return voice.condition(source.until); }, ", until ", ", until ", ""},
    {[](const Source& source, const Voice& voice) { return voice.event(source.until_event); }, ", until ", ", until ", ""},
}};

std::string window(const ExpectationSource& source, const Voice& voice) {
  std::string text;
  for (const WindowPart& part : window_parts) {
    const std::string said = part.said(source, voice);
    if (!said.empty()) text += (voice.plain ? part.plain : part.terse) + said + (voice.plain ? part.plain_end : "");
  }
  return text;
}

std::string plain_statement(const ExpectationSource& judged, const Voice& voice) {
  constexpr const char* forms[] = {"at every moment ", "at no moment ", "at some moment ", "at the moment at which the window opens "};
  const std::string by = judged.within_s < 0.0 ? "" : ", at most " + time_sentence(judged.within_s) + " after the window opens";
  return forms[static_cast<int>(judged.form)] + voice.condition(judged.predicate) + by;
}

}  // namespace

std::string statement_of(const ExpectationSource& judged) {
  static const DisplayUnits as_recorded;
  constexpr const char* forms[] = {"always ", "never ", "eventually ", "at opening "};
  const std::string word = judged.word.empty() ? "" : word_sentence(judged) + ": ";
  const std::string within = judged.within_s < 0.0 ? "" : " within " + text_of(judged.within_s) + " s";
  return word + forms[static_cast<int>(judged.form)] + judged.predicate + within + window(judged, Voice{false, as_recorded});
}

std::string sentence(const ExpectationSource& expectation, const DisplayUnits& units) {
  const Voice voice{true, units};
  const ExpectationSource judged = expanded(expectation);
  const std::string word = in_display_units(word_sentence(expectation), units), where = window(expectation, voice);
  const std::string span = where.empty() ? ", over the whole run" : where;
  if (word.empty()) return expectation.name + ": " + plain_statement(judged, voice) + span;
  ExpectationSource own;      // of the window, what the word itself adds
  if (expectation.after.empty()) own.after = judged.after;
  if (expectation.until.empty()) own.until = judged.until;
  const std::string due = judged.due_s > 0.0 ? "; the window must be open for " + time_sentence(judged.due_s) : "";
  const std::string added = window(own, voice);
  return expectation.name + ": " + word + (added.empty() ? span : where) + " (" + plain_statement(judged, voice) + added + due + ")";
}

}  // namespace sim
