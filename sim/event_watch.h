// What happened in a tick, read off its frame: segments and phases that begin, states, alarms raised and cleared, trips, and
// disturbances of the field line.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "sim/archive.h"
#include "sim/event.h"
#include "sim/scenario.h"
#include "sim/signals.h"

namespace sim {

class EventWatch {
 public:
  EventWatch(const SignalTable& table, const ProgrammeSource& programme);

  void visit(Archive& archive);             // everything of it that changes
  void take_over(const EventWatch& past);   // go on where `past` stands

  // Appends the events of this tick. line_errors, missed: answers of the station, readings of the controller, missing since the
  // start. Allocates only when something happened.
  void observe(std::span<const double> frame, double time_s, std::uint64_t line_errors, std::uint64_t missed, double period_s,
               std::vector<Event>& events);

 private:
  struct Codes {
    double segment = -1.0, state = 0.0, phase = -1.0, trip = 0.0, inhibit = 0.0;
    std::uint64_t alarms = 0, withheld = 0;
  };

  void alarms(std::uint64_t before, const Codes& now, double time_s, std::vector<Event>& events) const;

  // What goes missing now and again, told as one burst.
  struct Burst {
    std::uint64_t count = 0;
    std::uint64_t count_before = 0;
    std::uint64_t good_ticks = 0;
    bool lasts = false;
  };
  struct BurstWords {
    const char* source;
    const char* begins;
    const char* what;
  };
  static void follow(Burst& burst, std::uint64_t count, const BurstWords& words, double time_s, double period_s,
                     std::vector<Event>& events);

  const ProgrammeSource& programme_;
  std::size_t segment_slot_, number_slot_, state_slot_, phase_slot_, alarms_slot_, alarms_2_slot_, withheld_slot_, withheld_2_slot_,
      trip_slot_, inhibit_slot_;
  Codes last_;
  double inhibit_told_ = 0.0;               // row last told: it may come and go every tick
  Burst line_, supervisory_;
};

}  // namespace sim
