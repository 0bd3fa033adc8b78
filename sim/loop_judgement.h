// A controller's law judged on a process: margins, courses of a set-point and a load step and their figures, and what noise makes of the
// output.
#pragma once

#include "sim/loop_margins.h"
#include "sim/loop_response.h"

namespace sim {

// period_s 0: the loop is continuous. Otherwise the law runs as the control core's recurrence once every period_s, its output held, and
// takes effect latency_s after the sample it was made from; the bench's latency is exactly one period.
struct Sampling {
  double period_s = 0.0;
  double latency_s = 0.0;
};

struct LoopJudgement {
  LoopMargins margins;
  LoopFigures setpoint, load;
  LoopCourse setpoint_course, load_course;  // of unit steps
  // Standard deviation of the output by that of a noise of the process value, which is new at every sample. Of a continuous loop, whose
  // noise knows no samples: the law's gain at high frequencies, infinite with an ideal derivative.
  double noise_gain = 0.0;
};

struct JudgementWish {
  bool courses = true;     // false: margins alone, in a tenth of the time
  double longest_s = 1e9;  // of a course
};

// Throws std::domain_error for an ideal derivative on a process that answers at once, and where nothing says which is first, process or
// controller. An ideal derivative (filter_s 0) is judged as such in the margins; in the courses of a continuous loop it has a filter of a
// hundredth of Td.
LoopJudgement judge(const Process& process, const PidLaw& law, const Sampling& sampling, const JudgementWish& wish = {});
// Of a process in state space with its delay.
LoopJudgement judge(const StateSpace& process, double delay_s, const PidLaw& law, const Sampling& sampling,
                    const JudgementWish& wish = {});

// The open loop itself, for curves: L = law times process.
OpenLoop open_loop(const Process& process, const PidLaw& law, const Sampling& sampling);

}  // namespace sim
