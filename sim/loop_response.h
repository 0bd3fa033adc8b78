// What a closed loop does when its set point or the process's input steps by one: course and figures. Exact at the instants of the
// course: of a sampled loop always, of a continuous one as far as the delayed input is straight between two of them.
#pragma once

#include <vector>

#include "sim/pid_law.h"
#include "sim/process.h"
#include "sim/state_space.h"

namespace sim {

enum class LoopStep : std::uint8_t { setpoint, load };  // load: added to the controller's output, at the process's input

struct LoopCourse {
  std::vector<double> time_s, value, output;  // process value and controller's output, both from rest at 0
  LoopStep step = LoopStep::setpoint;
};

struct LoopFigures {
  double absolute_error = 0.0;  // IAE: of process value times s; infinite where the loop does not settle
  double overshoot = 0.0;       // set point: how far beyond it, as a share of the step
  double largest_error = 0.0;   // load: the largest deviation
  double settling_s = 0.0;      // set point: until it stays within 2 % of the step; load: of the largest deviation. Infinite: never
  double travel = 0.0;          // of the output: the sum of all its movements
  bool settled = false;
};

// The course goes on until nothing moves any more, or for longest_s.
struct CourseLength {
  double longest_s = 1e9;
  double still = 1e-6;  // of the step or the largest deviation: less than this for long is rest
};

// Continuous. Throws std::invalid_argument where the derivative is ideal, and for a process that answers at once (excess() 0) behind a
// delay with a loop gain of 1 or more.
LoopCourse course_of(const Process& process, const PidLaw& law, LoopStep step, const CourseLength& length = {});
// Sampled by the law's recurrence. The process as the controller sees it, its one-period delay counted in; nothing of its input may come
// out within the period.
LoopCourse course_of(const DelayedSystem& process, const PidLaw& law, LoopStep step, const CourseLength& length = {});

LoopFigures figures_of(const LoopCourse& course);

}  // namespace sim
