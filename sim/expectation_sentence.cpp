#include "sim/expectation_sentence.h"

#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "sim/event_match.h"
#include "sim/ready_word.h"
#include "sim/units.h"

namespace sim {

namespace {

std::string either(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) text += (i == 0 ? "" : i + 1 == names.size() ? " or " : ", ") + names[i];
  return text;
}

std::string statement(const ExpectationSource& judged) {
  switch (judged.form) {
    case ExpectationSource::Form::always: return "at every moment " + judged.predicate;
    case ExpectationSource::Form::never: return "at no moment " + judged.predicate;
    case ExpectationSource::Form::at_opening: return "at the moment at which the window opens " + judged.predicate;
    case ExpectationSource::Form::eventually: break;
  }
  const std::string by = judged.within_s < 0.0 ? "" : fmt::format(", at most {} after the window opens", time_sentence(judged.within_s));
  return "at some moment " + judged.predicate + by;
}

std::string window(const ExpectationSource& judged) {
  std::string text;
  if (!judged.segments.empty()) text += ", in the segment " + either(judged.segments);
  if (!judged.phases.empty()) text += ", in the phase " + either(judged.phases) + " of the atmosphere";
  if (judged.from_s >= 0.0) text += ", from " + time_sentence(judged.from_s) + " after the start";
  if (judged.to_s >= 0.0) text += ", to " + time_sentence(judged.to_s) + " after the start";
  if (!judged.after.empty()) text += ", once there has been " + judged.after;
  if (judged.after_event.given()) text += ", from the moment at which " + describe(judged.after_event);
  if (!judged.until.empty()) text += ", until there is " + judged.until;
  if (judged.until_event.given()) text += ", until " + describe(judged.until_event);
  if (!judged.while_.empty()) text += ", at the moments with " + judged.while_;
  return text;
}

}  // namespace

std::string time_sentence(double s) {
  const auto thousandths = static_cast<long long>(std::llround(s * 1e3));
  const long long hours = thousandths / 3'600'000, minutes = thousandths / 60'000 % 60, rest = thousandths % 60'000;
  std::string text;
  if (hours > 0) text += fmt::format("{} h", hours);
  if (minutes > 0) text += fmt::format("{}{} min", text.empty() ? "" : " ", minutes);
  if (rest > 0 || text.empty()) text += fmt::format("{}{} s", text.empty() ? "" : " ", text_of(static_cast<double>(rest) / 1e3));
  return text;
}

std::string sentence(const ExpectationSource& expectation) {
  const ExpectationSource judged = expanded(expectation);
  const std::string word = word_sentence(expectation), where = window(expectation);
  const std::string span = where.empty() ? ", over the whole run" : where;
  if (word.empty()) return expectation.name + ": " + statement(judged) + span;
  ExpectationSource own;      // of the window, what the word itself adds
  if (expectation.after.empty()) own.after = judged.after;
  if (expectation.until.empty()) own.until = judged.until;
  const std::string due = judged.due_s > 0.0 ? "; the window must be open for " + time_sentence(judged.due_s) : "";
  const std::string added = window(own);
  return expectation.name + ": " + word + (added.empty() ? span : where) + " (" + statement(judged) + added + due + ")";
}

}  // namespace sim
