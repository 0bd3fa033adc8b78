#include "firmware/combustible.h"

#include <cmath>

namespace fw {

namespace {

constexpr std::uint32_t shutting_ms = 3000;   // valve and meter have come to rest by then

bool input(const Inputs& inputs, std::uint16_t bit) { return (inputs.discrete & bit) != 0; }

bool measured(const Inputs& inputs) { return !inputs.chamber_failed && !inputs.chamber_below_range; }

bool zones_hot(const Parameters& parameters, const Inputs& inputs) {
  bool hot = inputs.zone_failed == 0;
  for (int z = 0; z < parameters.zones; ++z) hot = hot && inputs.zone_degc[z] >= parameters.combustible_zone_min_degc;
  return hot;
}

// Inert gas that sweeps the chamber now: what a meter measures, and through the purge's restrictor what was measured there when
// the unit was commissioned, as long as its valve reports open and its supply is there.
float sweeping_slm(const Parameters& parameters, const Inputs& inputs, const Outputs& before) {
  if (!input(inputs, discrete::exhaust_open) || !measured(inputs) || inputs.chamber_pa < 0.0f) return 0.0f;
  float flow_slm = 0.0f;
  const bool metered = (before.coils & coil::process_open) != 0 && input(inputs, discrete::process_open) && !inputs.flow_failed;
  if (metered && is_inert(before.gas_wanted) && inputs.flow_slm >= parameters.purge_flow_min_slm) flow_slm += inputs.flow_slm;
  const bool restrictor = (before.coils & coil::purge_shut) == 0 && input(inputs, discrete::purge_open) &&
                          input(inputs, discrete::supply_present);
  if (restrictor) flow_slm += parameters.purge_restrictor_slm;
  return flow_slm;
}

bool air_may_enter(const Inputs& inputs) {
  return !input(inputs, discrete::door_closed) || input(inputs, discrete::air_open) || input(inputs, discrete::isolation_open) ||
         !measured(inputs) || inputs.chamber_pa < 0.0f;
}

}  // namespace

void combustible_start(Combustible& combustible, const Parameters& parameters) {
  combustible = Combustible{};
  combustible.possible = parameters.combustible_gas != 0;
}

void combustible_step(Combustible& combustible, const Parameters& parameters, const Inputs& inputs, const Outputs& before) {
  const bool open = (before.coils & coil::process_open) != 0;
  const auto period_ms = static_cast<std::uint32_t>(parameters.period_ms);
  combustible.shut_ms = open ? 0 : (combustible.shut_ms < 1000000u ? combustible.shut_ms + period_ms : combustible.shut_ms);
  combustible.flowing = open && is_combustible(before.gas_wanted);
  if (!inputs.known) return;
  if (combustible.flowing || combustible_valve_passes(combustible, parameters, inputs)) {
    combustible.possible = true;
    combustible.purged = FlowTotaliser{};
    return;
  }
  if (air_may_enter(inputs)) {
    combustible.purged = FlowTotaliser{};
    return;
  }
  // An answer that did not come proves no flow.
  if (inputs.fresh) {
    totaliser_add(combustible.purged, sweeping_slm(parameters, inputs, before), period_ms);
  }
  if (combustible_volume_changes(combustible, parameters) >= parameters.combustible_purge_volumes) combustible.possible = false;
}

bool combustible_permitted(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs) {
  if (parameters.combustible_gas == 0 || parameters.load_titanium != 0) return false;
  if (combustible.flowing) return true;
  const bool ready = input(inputs, discrete::burn_off_proven) && input(inputs, discrete::exhaust_open) &&
                     input(inputs, discrete::door_closed) && measured(inputs) &&
                     inputs.chamber_pa >= parameters.combustible_pressure_min_pa;
  const bool purged = combustible_volume_changes(combustible, parameters) >= parameters.combustible_purge_volumes &&
                      inputs.oxygen_valid && inputs.oxygen_ppm < parameters.combustible_oxygen_max_ppm;
  return ready && (purged || zones_hot(parameters, inputs));
}

float combustible_volume_changes(const Combustible& combustible, const Parameters& parameters) {
  return totaliser_sl(combustible.purged) / (parameters.chamber_volume_l > 0.1f ? parameters.chamber_volume_l : 0.1f);
}

CombustibleState combustible_state(const Combustible& combustible, bool waiting) {
  if (combustible.flowing) return CombustibleState::flowing;
  if (waiting) return CombustibleState::waiting;
  return combustible.possible ? CombustibleState::possible : CombustibleState::none;
}

// By the flows that both meters measure; a meter that has failed proves no ratio.
bool blend_off(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs, const Outputs& before) {
  if (!combustible.flowing || !is_blended(parameters, before.gas_wanted)) return false;
  if (inputs.flow_failed) return true;
  const float total_slm = inputs.meter_slm[0] + inputs.meter_slm[1];
  if (total_slm < parameters.purge_flow_min_slm) return false;   // nothing to judge a ratio by; the pressure is watched
  return std::fabs(inputs.meter_slm[0] / total_slm - parameters.blend_hydrogen) > parameters.blend_tolerance;
}

// Above the temperature at which it burns where it meets air there is nothing to gather. A hot cell burns what oxygen it can with the
// hydrogen beside it and tells what is left over: of 5 % of hydrogen it tells 1 % at 3.5 % of oxygen, of pure hydrogen nothing. There
// pressure and door keep the air out.
bool air_in_combustible(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs) {
  return combustible.flowing && inputs.oxygen_valid && inputs.oxygen_ppm >= parameters.combustible_oxygen_max_ppm &&
         !zones_hot(parameters, inputs);
}

bool combustible_pressure_low(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs) {
  return combustible.flowing && (!measured(inputs) || inputs.chamber_pa < parameters.combustible_pressure_min_pa);
}

// Its valve reports open, or its meter measures flow, although it was told to shut: a meter's own valve is no shut-off.
bool combustible_valve_passes(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs) {
  if (parameters.combustible_gas == 0 || combustible.shut_ms < shutting_ms) return false;
  const bool flows = !inputs.flow_failed && inputs.meter_slm[0] > parameters.combustible_leak_slm;
  return input(inputs, discrete::process_open) || flows;
}

}  // namespace fw
