// Isentropic flow of an ideal gas through a nozzle or orifice, choked and not (ISO 9300, any text on gas dynamics).
#pragma once

namespace plant {

// flow = area * upstream_pa * psi / sqrt(M R T) [mol/s], T upstream in K, M in kg/mol.
// psi(r), r = downstream / upstream: constant below the critical ratio. Within linear_below of r = 1, where the derivative of
// the square root would grow without bound, psi is linear, with the value of the formula at the edge.
struct FlowFunction { double psi, slope; };      // slope = d psi / d r, not positive
inline constexpr double nozzle_linear_below = 1e-4;

// Constants of one ratio of heat capacities.
struct NozzleGas {
  double gamma = 1.4, critical_ratio = 0.0, choked_psi = 0.0;
  double edge_psi = 0.0;                         // at r = 1 - nozzle_linear_below
};
NozzleGas nozzle_gas(double gamma);              // gamma > 1
FlowFunction flow_function(const NozzleGas& gas, double ratio);   // ratio clamped to 0..1

// Flow and its derivatives by the two pressures, never negative: 0 when downstream is not below upstream.
struct NozzleFlow { double mol_s = 0.0, by_upstream = 0.0, by_downstream = 0.0; };
// root_mrt = sqrt(M R T) [sqrt(kg/mol J/mol)]
NozzleFlow nozzle_flow(const NozzleGas& gas, double area_m2, double upstream_pa, double downstream_pa, double root_mrt);

// Effective area of two openings in series, small against the choked differences: 1/A^2 = sum 1/A_i^2.
double series_area_m2(double first_m2, double second_m2);

}  // namespace plant
