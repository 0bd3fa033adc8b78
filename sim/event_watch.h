// What happened in a tick, read off its frame: segments and phases that begin, states, alarms raised and cleared, trips, and
// disturbances of the field line.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "sim/event.h"
#include "sim/scenario.h"
#include "sim/signals.h"

namespace sim {

class EventWatch {
 public:
  EventWatch(const SignalTable& table, const ProgrammeSource& programme);

  void take_over(const EventWatch& past);   // go on where `past` stands

  // Appends the events of this tick. line_errors: since the start. Allocates only when something happened.
  void observe(std::span<const double> frame, double time_s, std::uint64_t line_errors, double period_s, std::vector<Event>& events);

 private:
  struct Codes {
    double segment = -1.0, state = 0.0, phase = -1.0, alarms = 0.0, trip = 0.0, inhibit = 0.0;
  };

  void alarms(double before, double now, double time_s, std::vector<Event>& events) const;
  void line(std::uint64_t errors, double time_s, double period_s, std::vector<Event>& events);

  const ProgrammeSource& programme_;
  std::size_t segment_slot_, state_slot_, phase_slot_, alarms_slot_, trip_slot_, inhibit_slot_;
  Codes last_;
  double inhibit_told_ = 0.0;               // row last told: it may come and go every tick
  std::uint64_t errors_ = 0;
  std::uint64_t errors_at_burst_ = 0;
  std::uint64_t good_ticks_ = 0;
  bool in_burst_ = false;
};

}  // namespace sim
