#include "sim/local_time.h"

#include <chrono>
#include <cmath>

#include "sim/units.h"

namespace sim {

namespace {

namespace ch = std::chrono;

double midnight_s(ch::sys_days day) { return static_cast<double>(day.time_since_epoch().count()) * 86400.0; }

bool digit(char c) { return c >= '0' && c <= '9'; }

// Exactly `digits` digits from `at`; moves it. Negative: they are not there.
int digits_at(std::string_view text, std::size_t& at, int digits) {
  int value = 0;
  for (int i = 0; i < digits; ++i, ++at) {
    if (at >= text.size() || !digit(text[at])) return -1;
    value = value * 10 + (text[at] - '0');
  }
  return value;
}

double fraction_at(std::string_view text, std::size_t& at) {
  if (at + 1 >= text.size() || (text[at] != '.' && text[at] != ',') || !digit(text[at + 1])) return 0.0;
  double value = 0.0, weight = 0.1;
  for (++at; at < text.size() && digit(text[at]); ++at, weight /= 10.0) value += weight * (text[at] - '0');
  return value;
}

}  // namespace

std::optional<double> stamp_of(std::string_view text, std::string_view pattern) {
  int year = 1970, month = 1, day = 1, hour = 0, minute = 0, second = 0;
  double fraction = 0.0;
  std::size_t at = 0;
  while (!pattern.empty()) {
    struct Part {
      std::string_view letters;
      int* value;
    };
    const Part parts[] = {{"YYYY", &year}, {"YY", &year}, {"MM", &month}, {"DD", &day}, {"hh", &hour}, {"mm", &minute}, {"ss", &second}};
    const Part* found = nullptr;
    for (const Part& part : parts) {
      if (!found && pattern.starts_with(part.letters)) found = &part;
    }
    if (!found) {
      if (at >= text.size() || text[at] != pattern.front()) return std::nullopt;
      ++at;
      pattern.remove_prefix(1);
      continue;
    }
    *found->value = digits_at(text, at, static_cast<int>(found->letters.size()));
    if (*found->value < 0) return std::nullopt;
    if (found->letters == "YY") year += 2000;
    if (found->letters == "ss") fraction = fraction_at(text, at);
    pattern.remove_prefix(found->letters.size());
  }
  const ch::year_month_day date{ch::year(year), ch::month(static_cast<unsigned>(month)), ch::day(static_cast<unsigned>(day))};
  if (at != text.size() || !date.ok() || hour > 23 || minute > 59 || second > 59) return std::nullopt;
  return midnight_s(ch::sys_days(date)) + hour * 3600.0 + minute * 60.0 + second + fraction;
}

std::optional<double> elapsed_of(std::string_view text) {
  const std::size_t first = text.find(':'), second = first == std::string_view::npos ? first : text.find(':', first + 1);
  if (second == std::string_view::npos) return std::nullopt;
  const std::optional<double> hours = number_of(text.substr(0, first));
  std::size_t at = first + 1;
  const int minutes = digits_at(text, at, 2);
  if (!hours || *hours < 0.0 || *hours != std::floor(*hours) || minutes < 0 || minutes > 59 || at != second) return std::nullopt;
  at = second + 1;
  const int seconds = digits_at(text, at, 2);
  const double fraction = fraction_at(text, at);
  if (seconds < 0 || seconds > 59 || at != text.size()) return std::nullopt;
  return *hours * 3600.0 + minutes * 60.0 + seconds + fraction;
}

bool LocalClock::daylight_saving(double utc_s) const {
  if (rule_ == LogMapping::DaylightSaving::none) return false;
  const ch::sys_days today{ch::days(static_cast<int>(std::floor((utc_s + offset_s_) / 86400.0)))};
  const ch::year year = ch::year_month_day(today).year();
  if (rule_ == LogMapping::DaylightSaving::europe) {
    return utc_s >= midnight_s(ch::sys_days(year / ch::March / ch::Sunday[ch::last])) + 3600.0 &&
           utc_s < midnight_s(ch::sys_days(year / ch::October / ch::Sunday[ch::last])) + 3600.0;
  }
  return utc_s >= midnight_s(ch::sys_days(year / ch::March / ch::Sunday[2])) + 7200.0 - offset_s_ &&
         utc_s < midnight_s(ch::sys_days(year / ch::November / ch::Sunday[1])) + 3600.0 - offset_s_;   // 02:00 daylight time
}

std::optional<double> LocalClock::utc(double stamp_s) {
  const double standard = stamp_s - offset_s_, saved = standard - 3600.0;
  const bool may_save = daylight_saving(saved), may_not = !daylight_saving(standard);
  if (!may_save && !may_not) return std::nullopt;
  saving_ = may_save && (!may_not || !started_ || saved >= last_s_);
  started_ = true;
  last_s_ = saving_ ? saved : standard;
  return last_s_;
}

}  // namespace sim
