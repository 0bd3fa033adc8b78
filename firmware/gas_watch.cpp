#include "firmware/gas_watch.h"

#include <cmath>

namespace fw {

namespace {

constexpr std::uint32_t stuck_after_ms = 10000;
constexpr std::uint16_t swings_after = 10;
constexpr float longest_half = 25.0f;        // integral times
constexpr float rise_pa = 3000.0f;
constexpr float coldest_room_k = 278.15f, standard_k = 273.15f, standard_pa = 101325.0f;

bool shut_but_for_gas(const Inputs& inputs) {
  constexpr std::uint16_t others = discrete::exhaust_open | discrete::purge_open | discrete::bypass_open | discrete::air_open |
                                   discrete::isolation_open;
  return (inputs.discrete & others) == 0 && (inputs.discrete & discrete::door_closed) != 0;
}

// Standard litres that a rise of pressure makes of gas at a temperature.
float litres_of(const Parameters& parameters, float pressure_pa, float gas_k) {
  return parameters.chamber_volume_l * (pressure_pa / standard_pa) * (standard_k / gas_k);
}

void judge(FillWatch& watch, const Parameters& parameters, const Inputs& inputs, float risen_pa) {
  const float hottest = inputs.hottest_degc > inputs.load_degc ? inputs.hottest_degc : inputs.load_degc;
  const float hot_k = hottest + standard_k > coldest_room_k ? hottest + standard_k : coldest_room_k;
  const float least = litres_of(parameters, risen_pa, hot_k) / (1.0f + parameters.flow_implausible);
  const float most = litres_of(parameters, risen_pa, coldest_room_k) * (1.0f + parameters.flow_implausible);
  const float metered = totaliser_sl(watch.metered);
  watch.implausible = metered < least || metered > most;
}

}  // namespace

bool valve_sticks(StickWatch& watch, const Parameters& parameters, const Inputs& inputs, float commanded_frac) {
  const bool off = parameters.stick_tolerance > 0.0f && inputs.valve_known &&
                   std::fabs(inputs.valve_frac - commanded_frac) > parameters.stick_tolerance;
  if (!off) watch.off_ms = 0;
  if (off && watch.off_ms < stuck_after_ms) watch.off_ms += static_cast<std::uint32_t>(parameters.period_ms);
  return watch.off_ms >= stuck_after_ms;
}

bool pressure_swings(SwingWatch& watch, const Parameters& parameters, bool in_charge, float setpoint_pa, float chamber_pa) {
  const float error_pa = chamber_pa - setpoint_pa;
  if (!in_charge || parameters.swing_limit_pa <= 0.0f || !(parameters.pressure_integral_s > 0.0f) || !std::isfinite(error_pa)) {
    watch = SwingWatch{};
    return false;
  }
  const bool above = error_pa > 0.0f;
  if (above != watch.above) {
    // A sine of amplitude a and period Ti has 2 a / (2 pi / Ti) = a Ti / pi in half a period.
    const float large_pa_s = parameters.swing_limit_pa * parameters.pressure_integral_s * (1.0f / 3.14159265f);
    const bool large = watch.integral_pa_s > large_pa_s;
    watch.halves = static_cast<std::uint16_t>(large ? (watch.halves < swings_after ? watch.halves + 1 : swings_after) : 0);
    watch.above = above;
    watch.integral_pa_s = 0.0f;
    watch.half_ms = 0;
  }
  watch.integral_pa_s += std::fabs(error_pa) * static_cast<float>(parameters.period_ms) * 0.001f;
  watch.half_ms += watch.half_ms < 100000000u ? static_cast<std::uint32_t>(parameters.period_ms) : 0u;
  if (static_cast<float>(watch.half_ms) * 0.001f > longest_half * parameters.pressure_integral_s) watch.halves = 0;
  return watch.halves >= swings_after;
}

bool flow_implausible(FillWatch& watch, const Parameters& parameters, const Inputs& inputs, bool filling) {
  const bool measured = inputs.fresh && !inputs.chamber_failed && !inputs.chamber_below_range && !inputs.flow_failed;
  if (parameters.flow_implausible <= 0.0f || !filling || !shut_but_for_gas(inputs) || !measured) {
    watch.counting = false;
    return watch.implausible;
  }
  if (!watch.counting) {
    watch.counting = true;
    watch.start_pa = inputs.chamber_pa;
    watch.metered = FlowTotaliser{};
    return watch.implausible;
  }
  totaliser_add(watch.metered, inputs.flow_slm, static_cast<std::uint32_t>(parameters.period_ms));
  const float risen_pa = inputs.chamber_pa - watch.start_pa;
  const float most = litres_of(parameters, rise_pa, coldest_room_k) * (1.0f + parameters.flow_implausible);
  if (risen_pa >= rise_pa || totaliser_sl(watch.metered) > most) {
    judge(watch, parameters, inputs, risen_pa);
    watch.counting = false;
  }
  return watch.implausible;
}

}  // namespace fw
