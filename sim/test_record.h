// What identification works on: a test on the bench, or any log of an input and an output.
#pragma once

#include <vector>

namespace sim {

// Three vectors of one length. Times rise strictly and may be uneven; the input holds from its time to the next; the output is
// read at its time. NaN is a gap: an output left out, an input that goes on as it was. Infinite values are refused.
struct TestRecord {
  std::vector<double> times_s;
  std::vector<double> input;
  std::vector<double> output;
};

}  // namespace sim
