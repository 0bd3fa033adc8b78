#include "sim/moment_sentence.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "sim/event_match.h"
#include "sim/units.h"

namespace sim {

namespace {

using Word = std::pair<std::string_view, std::string_view>;

constexpr std::array<Word, 6> signs{{{"<=", "is at most"}, {">=", "is at least"}, {"==", "is"}, {"!=", "is not"}, {"<", "is below"},
                                     {">", "is above"}}};

// What stands before the parentheses of a function.
constexpr std::array<Word, 10> functions{{{"abs", "the size of "}, {"min", "the least of "}, {"max", "the greatest of "},
                                          {"rise", "the rise, since the window opened, of "},
                                          {"travel", "the travel, since the window opened, of "},
                                          {"reversals", "the changes of direction, signal and band being "},
                                          {"past", "the window has been open for "},
                                          {"time_when", "the time from the opening of the window until "},
                                          {"last_when", "the time from the opening of the window to the last moment at which "},
                                          {"held_for", "the time for which "}}};

// What stands before the window of an operator that looks ahead; its ends follow.
constexpr std::array<Word, 3> operators{{{"always", "throughout the time from "}, {"eventually", "at some moment in the time from "},
                                         {"until", "until, in the time from "}}};

template <std::size_t count>
std::string_view found_in(const std::array<Word, count>& words, std::string_view key) {
  const auto found = std::find_if(words.begin(), words.end(), [&](const Word& word) { return word.first == key; });
  return found == words.end() ? std::string_view() : found->second;
}

bool is_name_char(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '.';
}

class ConditionText {
 public:
  explicit ConditionText(const std::string& text) : text_(text) {}

  std::string in_words() {
    while (at_ < text_.size()) {
      if (is_name_char(text_[at_])) name();
      else sign();
    }
    return said_;
  }

 private:
  void name() {
    std::size_t end = at_;
    while (end < text_.size() && is_name_char(text_[end])) ++end;
    const std::string_view word = std::string_view(text_).substr(at_, end - at_);
    const char next = end < text_.size() ? text_[end] : ' ';
    at_ = end;
    if (word == "elapsed" && text_.compare(end, 2, "()") == 0) {
      at_ += 2;
      said_ += "the time since the window opened";
    } else if (next == '[' && !found_in(operators, word).empty()) {
      window(found_in(operators, word));
    } else {
      said_ += next == '(' ? found_in(functions, word) : std::string_view();
      if (next != '(' || found_in(functions, word).empty()) said_ += word;
    }
  }

  // "[0 s, 4 min]"
  void window(std::string_view words) {
    const std::size_t shut = std::min(text_.find(']', at_), text_.size());
    std::string ends = text_.substr(at_ + 1, shut - at_ - 1);
    if (const std::size_t comma = ends.find(','); comma != std::string::npos) ends.replace(comma, 1, " to");
    said_ += fmt::format("{}{} later", words, ends);
    at_ = std::min(shut + 1, text_.size());
  }

  void sign() {
    for (const auto& [written, words] : signs) {
      if (text_.compare(at_, written.size(), written) != 0) continue;
      at_ += written.size();
      said_ += said_.empty() || said_.back() == ' ' ? "" : " ";
      said_ += words;
      said_ += at_ < text_.size() && text_[at_] != ' ' ? " " : "";
      return;
    }
    said_ += text_[at_++];
  }

  const std::string& text_;
  std::string said_;
  std::size_t at_ = 0;
};

// What begins it; empty for a moment that a time alone gives.
std::string begin_sentence(const Moment& moment, const DisplayUnits& units) {
  std::string phase = moment.phase;
  std::replace(phase.begin(), phase.end(), '_', ' ');
  if (!moment.segment.empty()) return fmt::format("the segment `{}` begins", moment.segment);
  if (!moment.phase.empty()) return fmt::format("the phase `{}` of the atmosphere begins", phase);
  if (moment.event.given()) return describe(moment.event);
  return moment.condition.empty() ? "" : condition_sentence(moment.condition, units);
}

// The first time, without what is said of more.
std::string first_sentence(const Moment& moment, const DisplayUnits& units) {
  const std::string begin = begin_sentence(moment, units);
  const bool at = moment.at_s > 0.0, later = moment.after_s > 0.0;
  if (begin.empty() && !later) return at ? "at " + time_sentence(moment.at_s) : "at the start";
  if (begin.empty()) return fmt::format("{} after {}", time_sentence(moment.after_s), at ? time_sentence(moment.at_s) : "the start");
  const bool condition = !moment.condition.empty();
  if (later) return fmt::format("{} after {}{}", time_sentence(moment.after_s), condition ? "the first moment at which " : "", begin);
  return (condition ? "as soon as " : "when ") + begin;
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

// Half a minute goes up, also where a rate kept in single precision makes a little less of it.
std::string about_time_sentence(double s) {
  return time_sentence(s < 600.0 ? std::round(s) : 60.0 * std::floor(s / 60.0 + 0.5 + 1e-4));
}

std::string condition_sentence(std::string_view expression, const DisplayUnits& units) {
  return ConditionText(in_display_units(expression, units)).in_words();
}

std::string moment_sentence(const Moment& moment, const DisplayUnits& units) {
  const std::string first = first_sentence(moment, units);
  const std::string often = moment.times > 0 ? fmt::format(", {} {} in all", moment.times, moment.times == 1 ? "time" : "times") : "";
  if (moment.every_s > 0.0) return fmt::format("{}, then every {}{}", first, time_sentence(moment.every_s), often);
  return moment.times > 1 ? first + ", each time anew" + often : first;
}

}  // namespace sim
