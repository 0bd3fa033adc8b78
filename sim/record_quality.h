// What a record is like before any model is tried: noise, quantum, spacing, and whether input and output have lived.
#pragma once

#include "sim/test_record.h"

namespace sim {

struct RecordQuality {
  int readings = 0;         // without gaps
  double duration_s = 0.0;  // first row to last reading
  double period_s = 0.0;    // median spacing of the readings
  double input_span = 0.0, output_span = 0.0;
  int input_moves = 0;
  double first_move_s = 0.0;     // since the first row; 0 without one
  double noise = 0.0;            // rms of what no neighbouring readings share, quantum included
  double quantum = 0.0;          // step of the output's readings, 0: none found
  double longest_stuck_s = 0.0;  // the output stands still while it should not: at most this long, 0 if never
  bool stuck_at_limit = false;   // at its highest or lowest value
  double follows_share = 0.0;    // of the input's moves, what the output's readings explain by a straight rule (R^2)
  double moving_share = 0.0;     // of the rows, those at which the input moves
};

// Throws std::invalid_argument: lengths differ, times do not rise, infinite values, input a gap from the start.
RecordQuality quality(const TestRecord& record);

// Rms of the noise from each reading's distance to the line between its neighbours, the tenth furthest left out (a response may bend
// there).
double noise_of(const std::vector<double>& times, const std::vector<double>& readings);

// The step all readings are multiples of, 0 where there is none (or it is below 1e-4 of the span).
double quantum_of(std::vector<double> readings);

}  // namespace sim
