#include "sim/loop_response.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include <unsupported/Eigen/MatrixFunctions>

namespace sim {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::RowVectorXd;
using Eigen::VectorXd;

namespace {

constexpr std::size_t most_points = 4'000'000;

// Process and controller side by side. The process's input v (delayed output, and load) is one of the inputs: dz/dt = A z + B v + E r,
// y = Cy z + Dy v, u = Cu z + Du v + Fu r.
struct OpenedLoop {
  MatrixXd a;
  VectorXd b, e;
  RowVectorXd value, output;
  double value_direct = 0.0, output_direct = 0.0, output_setpoint = 0.0;
};

OpenedLoop opened(const StateSpace& process, const StateSpace& controller) {
  const Index n = process.states(), m = controller.states();
  OpenedLoop loop{MatrixXd::Zero(n + m, n + m), VectorXd::Zero(n + m), VectorXd::Zero(n + m), RowVectorXd::Zero(n + m),
                  RowVectorXd::Zero(n + m)};
  loop.a.topLeftCorner(n, n) = process.a;
  loop.a.bottomLeftCorner(m, n) = controller.b.col(1) * process.c;
  loop.a.bottomRightCorner(m, m) = controller.a;
  loop.b << process.b, controller.b.col(1) * process.d(0, 0);
  loop.e.tail(m) = controller.b.col(0);
  loop.value.head(n) = process.c;
  loop.output << controller.d(0, 1) * process.c, controller.c;
  loop.value_direct = process.d(0, 0);
  loop.output_direct = controller.d(0, 1) * process.d(0, 0);
  loop.output_setpoint = controller.d(0, 0);
  return loop;
}

// Fades out of a course's last stretch: whether all of it lies within `still` of where it has come to rest.
class Rest {
 public:
  Rest(double target, double still) : target_(target), still_(still) {}
  // True once the last half of the course, at least `least` points, has been at rest.
  bool reached(double value, std::size_t least) {
    const double error = std::abs(value - target_);
    largest_ = std::max(largest_, error);
    ++count_;
    if (error > still_ * largest_) moved_ = count_;
    return count_ >= least && 2 * moved_ < count_;
  }

 private:
  double target_, still_, largest_ = 0.0;
  std::size_t count_ = 0, moved_ = 0;
};

// Where the process value comes to rest: on the set point with an integral, short of it without. static_gain: of the process; infinite
// with an integrator.
double final_value(double static_gain, const PidLaw& law, LoopStep step) {
  const bool setpoint = step == LoopStep::setpoint;
  const double gain = law.gains.proportional;
  if (law.gains.integral != 0.0) return setpoint ? 1.0 : 0.0;
  if (std::isinf(static_gain)) return setpoint ? law.setpoint_weight : 1.0 / gain;
  return (setpoint ? law.setpoint_weight * gain : 1.0) * static_gain / (1.0 + gain * static_gain);
}

double static_gain(const SampledSystem& system) {
  if (system.states() == 0) return system.d(0, 0);
  const Eigen::FullPivLU<MatrixXd> still(MatrixXd::Identity(system.states(), system.states()) - system.a);
  if (!still.isInvertible()) return std::numeric_limits<double>::infinity();
  return system.d(0, 0) + system.c.row(0).dot(still.solve(system.b).col(0));
}

// The time in which the fastest that matters happens: what is faster than a thousandth of the slowest only shows in the output's first
// movement.
double shortest_time(const Process& process, const PidLaw& law) {
  double slowest = process.delay_s, fastest = std::numeric_limits<double>::infinity();
  const auto counts = [&](double time_s) {
    slowest = std::max(slowest, time_s);
    fastest = std::min(fastest, time_s);
  };
  for (const double lag : process.lags_s) counts(lag);
  for (const SecondOrderLag& pair : process.pairs) counts(pair.time_s);
  if (process.delay_s > 0.0) counts(process.delay_s);
  const auto isa_gains = isa(law.gains);
  if (isa_gains && isa_gains->integral_s > 0.0) counts(isa_gains->integral_s);
  if (law.gains.derivative != 0.0) counts(law.filter_s * 10.0);
  if (!std::isfinite(fastest)) fastest = slowest = 1.0;
  return std::max(fastest, slowest * 1e-3);
}

// Without a delay the loop closes within itself, and its course is exact.
LoopCourse undelayed(const OpenedLoop& open, LoopStep step, double final, double stride_s, const CourseLength& length) {
  const double closing = 1.0 / (1.0 - open.output_direct);  // u = Cu z + Du (u + d) + Fu r
  const double setpoint = step == LoopStep::setpoint ? 1.0 : 0.0, load = 1.0 - setpoint;
  const RowVectorXd output = closing * open.output;
  const double output_constant = closing * (open.output_direct * load + open.output_setpoint * setpoint);
  const Index n = open.a.rows();
  MatrixXd joint = MatrixXd::Zero(n + 1, n + 1);
  joint.topLeftCorner(n, n) = (open.a + open.b * output) * stride_s;
  joint.topRightCorner(n, 1) = (open.b * (output_constant + load) + open.e * setpoint) * stride_s;
  const MatrixXd grown = joint.exp();
  VectorXd z = VectorXd::Zero(n + 1);
  z(n) = 1.0;
  LoopCourse course;
  course.step = step;
  Rest rest(final, length.still);
  for (std::size_t k = 0; k < most_points; ++k, z = (grown * z).eval()) {
    const double u = output.dot(z.head(n)) + output_constant;
    course.time_s.push_back(static_cast<double>(k) * stride_s);
    course.output.push_back(u);
    course.value.push_back(open.value.dot(z.head(n)) + open.value_direct * (u + load));
    if (!std::isfinite(course.value.back()) || course.time_s.back() > length.longest_s || rest.reached(course.value.back(), 200)) break;
  }
  return course;
}

// How a state grows in a stride under an input that runs straight from v0 to v1: z' = state z + from v0 + to v1 + step r.
struct Stride {
  MatrixXd state;
  VectorXd from, to, step;
};

Stride stride_of(const OpenedLoop& open, double stride_s) {
  const Index n = open.a.rows();
  MatrixXd joint = MatrixXd::Zero(n + 3, n + 3);  // states, v, its slope, r
  joint.topLeftCorner(n, n) = open.a * stride_s;
  joint.block(0, n, n, 1) = open.b * stride_s;
  joint(n, n + 1) = 1.0;
  joint.block(0, n + 2, n, 1) = open.e * stride_s;
  const MatrixXd grown = joint.exp();
  return {grown.topLeftCorner(n, n), grown.block(0, n, n, 1) - grown.block(0, n + 1, n, 1), grown.block(0, n + 1, n, 1),
          grown.block(0, n + 2, n, 1)};
}

// Behind a delay of `late` strides the input is known. It may jump at an instant of the course: each is kept as it is before and after.
LoopCourse delayed(const OpenedLoop& open, LoopStep step, double final, double stride_s, std::size_t late, const CourseLength& length) {
  const double setpoint = step == LoopStep::setpoint ? 1.0 : 0.0, load = 1.0 - setpoint;
  const Stride stride = stride_of(open, stride_s);
  VectorXd z = VectorXd::Zero(open.a.rows());
  std::vector<double> before, after;  // the output at each instant; at rest before the first
  const auto input = [&](const std::vector<double>& outputs, std::size_t k) { return load + (k >= late ? outputs[k - late] : 0.0); };
  LoopCourse course;
  course.step = step;
  Rest rest(final, length.still);
  for (std::size_t k = 0; k < most_points; ++k) {
    const double v_before = input(before, k), v_after = input(after, k);
    const double own = open.output.dot(z) + open.output_setpoint * setpoint;
    before.push_back(k == 0 ? 0.0 : own + open.output_direct * v_before);
    after.push_back(own + open.output_direct * v_after);
    course.time_s.push_back(static_cast<double>(k) * stride_s);
    course.output.push_back(after.back());
    course.value.push_back(open.value.dot(z) + open.value_direct * v_after);
    if (!std::isfinite(course.value.back()) || course.time_s.back() > length.longest_s ||
        rest.reached(course.value.back(), 200 + 4 * late))
      break;
    z = (stride.state * z + stride.from * v_after + stride.to * input(before, k + 1) + stride.step * setpoint).eval();
  }
  return course;
}

}  // namespace

LoopCourse course_of(const Process& process, const PidLaw& law, LoopStep step, const CourseLength& length) {
  const OpenedLoop open = opened(realised(process), realised(law));
  const double final = final_value(process.integrators > 0 ? std::numeric_limits<double>::infinity() : process.gain, law, step);
  const double fine_s = shortest_time(process, law) / 100.0;
  if (process.delay_s <= 0.0) return undelayed(open, step, final, fine_s, length);
  if (std::abs(open.output_direct) >= 1.0)
    throw std::invalid_argument("a loop gain of 1 or more at once behind a delay: it swings with the delay for ever");
  const auto late = static_cast<std::size_t>(std::max(50.0, std::ceil(process.delay_s / fine_s)));
  return delayed(open, step, final, process.delay_s / static_cast<double>(late), late, length);
}

LoopCourse course_of(const DelayedSystem& delayed, const PidLaw& law, LoopStep step, const CourseLength& length) {
  const SampledSystem& process = delayed.system;
  const SampledSystem machine = sampled(law, process.period_s);
  const std::size_t late = delayed.periods;
  const double setpoint = step == LoopStep::setpoint ? 1.0 : 0.0, load = 1.0 - setpoint;
  if (late == 0 && process.d(0, 0) != 0.0)
    throw std::invalid_argument("the process answers within the sample: its one-period delay is not counted in");
  VectorXd x = VectorXd::Zero(process.states()), z = VectorXd::Zero(machine.states());
  LoopCourse course;
  course.step = step;
  Rest rest(final_value(static_gain(process), law, step), length.still);
  Eigen::Vector2d in(setpoint, 0.0);
  for (std::size_t k = 0; k < most_points; ++k) {
    const double coming = k >= late && late > 0 ? course.output[k - late] : 0.0;  // and the load, which meets no dead time
    in(1) = process.c.row(0).dot(x) + (late > 0 ? process.d(0, 0) * (coming + load) : 0.0);
    const double output = machine.c.row(0).dot(z) + machine.d.row(0).dot(in);
    course.time_s.push_back(static_cast<double>(k) * process.period_s);
    course.value.push_back(in(1));
    course.output.push_back(output);
    if (!std::isfinite(output) || course.time_s.back() > length.longest_s || rest.reached(in(1), 200 + 4 * late)) break;
    x = (process.a * x + process.b * ((late > 0 ? coming : output) + load)).eval();
    z = (machine.a * z + machine.b * in).eval();
  }
  return course;
}

LoopFigures figures_of(const LoopCourse& course) {
  const double target = course.step == LoopStep::setpoint ? 1.0 : 0.0;
  LoopFigures figures;
  double last_output = 0.0, before = target, deviation = 0.0;
  for (std::size_t k = 0; k < course.value.size(); ++k) {
    const double error = target - course.value[k];
    if (k > 0) {
      // Straight between two instants; where it crosses the target, two triangles.
      const double width_s = course.time_s[k] - course.time_s[k - 1], sum = std::abs(before) + std::abs(error);
      figures.absolute_error +=
          0.5 * width_s * ((before > 0.0) == (error > 0.0) || sum == 0.0 ? sum : (before * before + error * error) / sum);
    }
    before = error;
    deviation = std::max(deviation, std::abs(error));
    if (target > 0.0) figures.overshoot = std::max(figures.overshoot, -error);
    figures.travel += std::abs(course.output[k] - last_output);
    last_output = course.output[k];
  }
  figures.largest_error = deviation;
  const double band = 0.02 * (target > 0.0 ? 1.0 : deviation);
  std::size_t k = course.value.size();
  while (k > 0 && std::abs(target - course.value[k - 1]) <= band) --k;
  figures.settled = k < course.value.size() && std::abs(before) < 1e-3 * deviation;
  figures.settling_s = figures.settled ? course.time_s[k] : std::numeric_limits<double>::infinity();
  if (!figures.settled) figures.absolute_error = std::numeric_limits<double>::infinity();
  return figures;
}

}  // namespace sim
