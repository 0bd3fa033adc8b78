// Progress of a run on standard error, when that is a terminal: done, simulated time, times real time, time left.
#pragma once

#include <chrono>
#include <string>
#include <vector>

#include "sim/scenario.h"

namespace tools {

// How far a programme has come, by the time its segments take nominally. Segments whose length depends on the furnace
// (evacuate, cool, ...) count with a guess; the display says "about" for that reason.
class ProgrammeShare {
 public:
  explicit ProgrammeShare(const sim::Scenario& scenario);
  // segment: index running, -1 none; returns 0..1 and never falls.
  double done(int segment, double time_s);

 private:
  std::vector<double> begin_s_;   // nominal, one per segment, then the total
  int segment_ = -1;
  double segment_begin_s_ = 0.0;
  double done_ = 0.0;
};

class Progress {
 public:
  Progress(std::string title, bool quiet, std::chrono::steady_clock::time_point begin);
  ~Progress();
  bool shown() const { return shown_; }
  // Cheap when called every few hundred ticks; draws at most five times a second.
  void show(double done, double simulated_s);
  void clear();

 private:
  std::string title_;
  bool shown_;
  bool drawn_ = false;
  std::chrono::steady_clock::time_point begin_, next_;
};

// "2 h 05 min", "35 s": for people.
std::string duration_text(double seconds);

// Whether escape sequences may go to this stream: a terminal, and NO_COLOR is not set.
bool may_colour(int descriptor);

}  // namespace tools
