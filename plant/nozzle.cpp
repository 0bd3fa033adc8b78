#include "plant/nozzle.h"

#include <algorithm>
#include <cmath>

namespace plant {

namespace {

FlowFunction subcritical(double gamma, double ratio) {
  const double x = std::pow(ratio, 1.0 / gamma);            // density ratio
  const double factor = 2.0 * gamma / (gamma - 1.0);
  const double square = std::max(factor * x * (x - ratio), 1e-300);
  const double psi = std::sqrt(square);
  // d/dr of factor (x^2 - r x), with dx/dr = x / (gamma r)
  const double dx = x / (gamma * ratio);
  return {psi, 0.5 * factor * (2.0 * x * dx - x - ratio * dx) / psi};
}

}  // namespace

NozzleGas nozzle_gas(double gamma) {
  NozzleGas gas;
  gas.gamma = gamma;
  gas.critical_ratio = std::pow(2.0 / (gamma + 1.0), gamma / (gamma - 1.0));
  gas.choked_psi = std::sqrt(gamma) * std::pow(2.0 / (gamma + 1.0), 0.5 * (gamma + 1.0) / (gamma - 1.0));
  gas.edge_psi = subcritical(gamma, 1.0 - nozzle_linear_below).psi;
  return gas;
}

FlowFunction flow_function(const NozzleGas& gas, double ratio) {
  if (ratio <= gas.critical_ratio) return {gas.choked_psi, 0.0};
  const double deficit = 1.0 - std::min(ratio, 1.0);
  if (deficit < nozzle_linear_below) {
    const double slope = gas.edge_psi / nozzle_linear_below;
    return {slope * deficit, -slope};
  }
  return subcritical(gas.gamma, ratio);
}

NozzleFlow nozzle_flow(const NozzleGas& gas, double area_m2, double upstream_pa, double downstream_pa, double root_mrt) {
  if (!(upstream_pa > downstream_pa) || !(area_m2 > 0.0)) return {};
  const double ratio = std::max(downstream_pa, 0.0) / upstream_pa;
  const FlowFunction f = flow_function(gas, ratio);
  const double scale = area_m2 / root_mrt;
  return {scale * upstream_pa * f.psi, scale * (f.psi - ratio * f.slope), scale * f.slope};
}

double series_area_m2(double first_m2, double second_m2) {
  if (!(first_m2 > 0.0 && second_m2 > 0.0)) return 0.0;
  return first_m2 * second_m2 / std::hypot(first_m2, second_m2);
}

}  // namespace plant
