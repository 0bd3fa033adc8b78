#include "sim/linearisation.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <Eigen/Eigenvalues>
#include <fmt/format.h>

#include "plant/equations.h"
#include "plant/step.h"
#include "sim/model_reduction.h"
#include "sim/units.h"

namespace sim {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXcd;
using Eigen::VectorXd;
using plant::EquationState;

namespace {

// How far a state is moved for a difference: a part of its size, and of what sizes of its kind are.
double stride(std::size_t at, double value) {
  namespace slot = plant::slot;
  const auto i = static_cast<int>(at);
  const double usual = i < slot::chamber_mol                                ? 300.0
                       : i == slot::chamber_pa                              ? 1e5
                       : i < slot::chamber_pa                               ? 1e-3
                       : i >= slot::adsorbed_mol + 4 && i < slot::supply_pa ? 1e-4
                                                                            : 1.0;
  return 1e-6 * std::max(std::abs(value), usual);
}

EquationState rate_at(const plant::Equations& equations, const EquationState& y) {
  EquationState rate(y.size());
  equations.rate(y, rate);
  return rate;
}

MatrixXd jacobian(const plant::Equations& equations, const EquationState& y) {
  const auto n = static_cast<Index>(y.size());
  MatrixXd a(n, n);
  EquationState moved = y;
  for (std::size_t i = 0; i < y.size(); ++i) {
    const double by = stride(i, y[i]);
    moved[i] = y[i] + by;
    const EquationState above = rate_at(equations, moved);
    moved[i] = y[i] - by;
    const EquationState below = rate_at(equations, moved);
    moved[i] = y[i];
    for (std::size_t k = 0; k < y.size(); ++k) a(static_cast<Index>(k), static_cast<Index>(i)) = (above[k] - below[k]) / (2.0 * by);
  }
  return a;
}

// How the rates answer to the demand: by difference, which of elements with constant resistance is exact.
VectorXd input_column(const OperatingPoint& point, plant::Equations& equations, EquationState& y) {
  constexpr double by = 1e-3;
  plant::Commands commands = point.state.station.commands;
  const auto rate_with = [&](double demand) {
    commands.demand[static_cast<std::size_t>(point.zone)] = demand;
    equations.enter(plant::inputs_of(*point.model, commands, {}), y);
    return rate_at(equations, y);
  };
  const double low = std::max(0.0, point.demand - by), high = std::min(1.0, point.demand + by);
  const EquationState above = rate_with(high), below = rate_with(low);
  VectorXd b(static_cast<Index>(y.size()));
  for (std::size_t k = 0; k < y.size(); ++k) b(static_cast<Index>(k)) = (above[k] - below[k]) / (high - low);
  (void)rate_with(point.demand);
  return b;
}

StateSpace whole_system(const OperatingPoint& point) {
  plant::Equations equations(*point.model, point.state);
  EquationState y = equations.vector_of(point.state);
  plant::Commands commands = point.state.station.commands;
  commands.demand[static_cast<std::size_t>(point.zone)] = point.demand;
  try {
    equations.enter(plant::inputs_of(*point.model, commands, {}), y);
  } catch (const std::invalid_argument& error) {
    throw std::domain_error(std::string("the loop cannot be made linear: ") + error.what());
  }
  const VectorXd column = input_column(point, equations, y);
  const auto n = static_cast<Index>(y.size());
  const double lag_s = point.model->station.settings.instruments.channel[static_cast<std::size_t>(point.zone)].lag_s;
  const Index all = lag_s > 0.0 ? n + 1 : n, seen = plant::slot::core + plant::node::zone_junction + point.zone;
  StateSpace system{MatrixXd::Zero(all, all), MatrixXd::Zero(all, 1), MatrixXd::Zero(1, all), MatrixXd::Zero(1, 1)};
  system.a.topLeftCorner(n, n) = jacobian(equations, y);
  system.b.topRows(n) = column;
  if (lag_s > 0.0) {
    system.a(n, seen) = 1.0 / lag_s;
    system.a(n, n) = -1.0 / lag_s;
    system.c(0, n) = 1.0;
  } else {
    system.c(0, seen) = 1.0;
  }
  return system;
}

// What cannot be reached from the input, or does not reach the output, through coefficients that are not zero is left out.
std::vector<Index> reachable(const MatrixXd& a, const VectorXd& from, bool forward) {
  std::vector<Index> found;
  std::vector<bool> known(static_cast<std::size_t>(a.rows()), false);
  for (Index i = 0; i < a.rows(); ++i)
    if (from(i) != 0.0) {
      found.push_back(i);
      known[static_cast<std::size_t>(i)] = true;
    }
  for (std::size_t at = 0; at < found.size(); ++at)
    for (Index k = 0; k < a.rows(); ++k)
      if (!known[static_cast<std::size_t>(k)] && (forward ? a(k, found[at]) : a(found[at], k)) != 0.0) {
        known[static_cast<std::size_t>(k)] = true;
        found.push_back(k);
      }
  std::sort(found.begin(), found.end());
  return found;
}

StateSpace part_of(const StateSpace& system, const std::vector<Index>& kept) {
  const auto n = static_cast<Index>(kept.size());
  StateSpace part{MatrixXd(n, n), MatrixXd(n, 1), MatrixXd(1, n), system.d};
  for (Index i = 0; i < n; ++i) {
    part.b(i, 0) = system.b(kept[static_cast<std::size_t>(i)], 0);
    part.c(0, i) = system.c(0, kept[static_cast<std::size_t>(i)]);
    for (Index k = 0; k < n; ++k) part.a(i, k) = system.a(kept[static_cast<std::size_t>(i)], kept[static_cast<std::size_t>(k)]);
  }
  return part;
}

// The largest difference of two step responses, by the first one's largest value, at instants spread evenly in the logarithm.
double apart(const StateSpace& one, const StateSpace& other) {
  double largest = 0.0, difference = 0.0;
  for (double period_s = 0.01; period_s < 1e5; period_s *= 10.0) {
    const SampledSystem first = sampled(one, 0.0, period_s), second = sampled(other, 0.0, period_s);
    VectorXd x = VectorXd::Zero(first.states()), y = VectorXd::Zero(second.states());
    for (int k = 0; k < 10; ++k) {
      x = (first.a * x + first.b).eval();
      y = (second.a * y + second.b).eval();
      largest = std::max(largest, std::abs(first.c.row(0).dot(x)));
      difference = std::max(difference, std::abs(first.c.row(0).dot(x) - second.c.row(0).dot(y)));
    }
  }
  return difference / largest;
}

}  // namespace

LinearLoop linearise(const OperatingPoint& point) {
  const StateSpace whole = whole_system(point);
  std::vector<Index> from = reachable(whole.a, whole.b.col(0), true), to = reachable(whole.a, whole.c.row(0).transpose(), false), kept;
  std::set_intersection(from.begin(), from.end(), to.begin(), to.end(), std::back_inserter(kept));
  const StateSpace part = part_of(whole, kept);
  LinearLoop loop;
  loop.loop = fmt::format("heat.{}", point.zone + 1);
  loop.whole_states = whole.states();
  loop.process = balanced(part, 1e-6).system;
  loop.lost = apart(part, loop.process);
  const VectorXcd poles = loop.process.a.eigenvalues();
  loop.poles_per_s.assign(poles.begin(), poles.end());
  std::sort(loop.poles_per_s.begin(), loop.poles_per_s.end(),
            [](const auto& one, const auto& other) { return std::abs(one) < std::abs(other); });
  loop.static_gain = loop.process.at(0.0)(0, 0).real();
  const fw::Parameters& p = point.parameters;
  const double period_s = p.period_ms * 1e-3;
  loop.sampling = {period_s * std::max(1, static_cast<int>(p.heat_every)), period_s};
  return loop;
}

StepCheck check_step(const OperatingPoint& point, const LinearLoop& loop, double demand_step, double for_s) {
  const double period_s = point.parameters.period_ms * 1e-3;
  const auto zone = static_cast<std::size_t>(point.zone);
  plant::State still = point.state, stepped = point.state;
  plant::Commands commands = point.state.station.commands;
  commands.demand[zone] = point.demand;
  plant::Commands higher = commands;
  higher.demand[zone] = point.demand + demand_step;
  const SampledSystem linear = sampled(loop.process, 0.0, period_s);
  VectorXd x = VectorXd::Zero(linear.states());
  StepCheck check;
  check.demand_step = demand_step;
  double largest = 0.0;
  const long ticks = std::lround(for_s / period_s);
  for (long k = 1; k <= ticks; ++k) {
    for (auto [state, given] : {std::pair{&still, &commands}, std::pair{&stepped, &higher}}) {
      state->station.commands = *given;
      state->station.silent_ns = 0;
      plant::step(*point.model, *state, {}, period_s);
    }
    x = (linear.a * x + linear.b).eval();
    const double plant = (stepped.station.lagged[zone] - still.station.lagged[zone]) / demand_step, model = linear.c.row(0).dot(x);
    largest = std::max(largest, std::abs(plant));
    check.largest_difference = std::max(check.largest_difference, std::abs(plant - model));
    if (k % std::max(1L, ticks / 500) != 0) continue;
    check.time_s.push_back(static_cast<double>(k) * period_s);
    check.plant.push_back(plant);
    check.linear.push_back(model);
  }
  check.largest_difference /= largest;
  return check;
}

namespace {

// Zeros of c (s - A)^-1 b: finite generalised eigenvalues of the system's pencil.
std::vector<std::complex<double>> zeros_of(const StateSpace& system) {
  const Index n = system.states();
  MatrixXd pencil = MatrixXd::Zero(n + 1, n + 1), mass = MatrixXd::Zero(n + 1, n + 1);
  pencil << system.a, system.b, system.c, system.d;
  mass.topLeftCorner(n, n).setIdentity();
  const Eigen::GeneralizedEigenSolver<MatrixXd> solver(pencil, mass, false);
  std::vector<std::complex<double>> zeros;
  for (Index i = 0; i <= n; ++i)
    if (std::abs(solver.betas()(i)) > 1e-13 * std::abs(solver.alphas()(i))) zeros.push_back(solver.alphas()(i) / solver.betas()(i));
  return zeros;
}

}  // namespace

Process factors_of(const StateSpace& system, double fastest_per_s) {
  Process process;
  for (const std::complex<double>& pole : system.a.eigenvalues()) {
    if (pole.imag() < 0.0) continue;
    if (pole.imag() > 0.0)
      process.pairs.push_back({1.0 / std::abs(pole), -pole.real() / std::abs(pole)});
    else if (-pole.real() > fastest_per_s)
      process.delay_s -= 1.0 / pole.real();
    else
      process.lags_s.push_back(-1.0 / pole.real());
  }
  for (const std::complex<double>& zero : zeros_of(system)) {
    if (std::abs(zero) > fastest_per_s) {
      process.delay_s += (1.0 / zero).real();
      continue;
    }
    if (std::abs(zero.imag()) > 1e-6 * std::abs(zero))
      throw std::domain_error("zeros that swing: the loop has no factors of the first order");
    process.zeros_s.push_back(-1.0 / zero.real());
  }
  process.delay_s = std::max(0.0, process.delay_s);
  process.gain = system.at(0.0)(0, 0).real();
  std::sort(process.lags_s.rbegin(), process.lags_s.rend());
  std::sort(process.zeros_s.rbegin(), process.zeros_s.rend());
  return process;
}

ProcessFile process_file_of(const LinearLoop& loop, const OperatingPoint& point) {
  ProcessFile file;
  file.title =
      fmt::format("{} at {} degC, demand {:.1f} %", loop.loop, text_of(std::round(10.0 * point.value_degc) / 10.0), 100.0 * point.demand);
  file.source = "the bench, made linear";
  file.process = factors_of(loop.process, 1.0 / loop.sampling.latency_s);
  file.sampling = loop.sampling;
  file.input_unit = "1";
  file.output_unit = "K";
  return file;
}

}  // namespace sim
