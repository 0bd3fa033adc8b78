// What happened in a tick.
#pragma once

#include <string>

namespace sim {

struct Event {
  double time_s = 0.0;
  std::string source;    // operator, programme, atmosphere, alarm, interlock, fault, line, bench (sim/event_match.cpp has the table)
  std::string kind;      // short word: begins, ends, raised, cleared, sent, refused, ...
  std::string text;
};

}  // namespace sim
