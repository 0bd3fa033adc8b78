// Date and time of a place, as a logger stamps its rows, into UTC: with the place's offset and its rule for daylight saving.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "sim/log_mapping.h"

namespace sim {

// Seconds since 1970 of the stamp as it stands there, without regard to any zone. Pattern: YYYY, YY (20YY), MM, DD, hh, mm, ss (which
// may go on with `.` or `,` and decimals); anything else stands for itself. nullopt: the text does not fit or is no date.
std::optional<double> stamp_of(std::string_view text, std::string_view pattern);

// h:mm:ss, h any number, with decimals; in seconds.
std::optional<double> elapsed_of(std::string_view text);

class LocalClock {
 public:
  LocalClock(double utc_offset_s, LogMapping::DaylightSaving rule) : offset_s_(utc_offset_s), rule_(rule) {}

  // UTC of a stamp. In the hour that comes twice, the first until time would go back, then the second: stamps must be in
  // order. nullopt: the clock there never showed this (the hour left out in spring).
  std::optional<double> utc(double stamp_s);
  bool saving() const { return saving_; }       // daylight saving was in force at the last stamp
  bool daylight_saving(double utc_s) const;

 private:
  double offset_s_;
  LogMapping::DaylightSaving rule_;
  bool saving_ = false, started_ = false;
  double last_s_ = 0.0;
};

}  // namespace sim
