#include "firmware/commissioning.h"

#include <bit>
#include <cmath>
#include <cstddef>
#include <cstring>

#include "firmware/controller_state.h"
#include "firmware/history.h"

namespace fw {

namespace {

constexpr std::uint32_t vented_for_ms = 10000;
constexpr float vented_steady_pa = 25.0f;          // a reading that moves more than this is not at rest
constexpr float zero_share_max = 0.02f;            // of the span

bool key_turned(const Controller& c) { return c.inputs.known && (c.inputs.discrete & discrete::key_commissioning) != 0; }

bool at_rest(const Controller& c) {
  return c.run.state == ProgrammeState::idle || c.run.state == ProgrammeState::stopped || c.run.state == ProgrammeState::aborted ||
         c.run.state == ProgrammeState::complete;
}

bool vented(const Inputs& in) {
  constexpr std::uint16_t shut = discrete::process_open | discrete::purge_open | discrete::isolation_open;
  const bool to_the_room = (in.discrete & discrete::air_open) != 0 || (in.discrete & discrete::door_closed) == 0;
  return in.known && !in.chamber_failed && !in.chamber_below_range && (in.discrete & discrete::exhaust_open) != 0 && to_the_room &&
         (in.discrete & shut) == 0;
}

void watch_vent(Controller& c) {
  Commissioning& k = c.commissioning;
  const bool steady = std::fabs(c.inputs.chamber_pa - k.vented_pa) <= vented_steady_pa;
  if (!vented(c.inputs) || !steady) {
    k.vented_ms = 0;
    k.vented_pa = c.inputs.chamber_pa;
    return;
  }
  if (k.vented_ms < vented_for_ms) k.vented_ms += static_cast<std::uint32_t>(c.parameters.period_ms);
}

// Within 0 and the last gas since it was taken.
Gas gas_of(float value) { return static_cast<Gas>(static_cast<std::uint8_t>(value)); }

constexpr std::size_t correction_at = offsetof(Parameters, corrections) + correction_pressure * sizeof(ChannelCorrection);

bool correction_accepted(const ChannelCorrection& correction) {
  for (const ParameterInfo& info : parameter_table()) {
    if (info.offset < correction_at || info.offset >= correction_at + sizeof correction) continue;
    std::uint32_t bits = 0;
    std::memcpy(&bits, reinterpret_cast<const std::uint8_t*>(&correction) + (info.offset - correction_at), sizeof bits);
    if (!parameter_accepts(info, bits)) return false;
  }
  return true;
}

}  // namespace

void commissioning_step(Controller& c) {
  watch_vent(c);
  Commissioning& k = c.commissioning;
  if (k.forced == 0) return;
  const auto period_ms = static_cast<std::uint32_t>(c.parameters.period_ms);
  k.left_ms = k.left_ms > period_ms ? k.left_ms - period_ms : 0;
  const ForcedEnd why = c.interlocks.latched != 0 ? ForcedEnd::trip
                        : !at_rest(c)             ? ForcedEnd::programme
                        : !key_turned(c)          ? ForcedEnd::key
                                                  : ForcedEnd::time;
  if (why != ForcedEnd::time || k.left_ms == 0) static_cast<void>(release_outputs(c, why));
}

bool outputs_forced(const Controller& c) { return c.commissioning.forced != 0; }

void force_outputs(const Controller& c, Outputs& wanted) {
  const Commissioning& k = c.commissioning;
  for (const SafeValues& safe : safe_table()) {
    if (safe.row != c.interlocks.safe_row) continue;
    wanted.coils = static_cast<std::uint16_t>(safe.coils | (wanted.coils & coil::horn));
    wanted.valve_frac = safe.valve_frac;
  }
  for (std::uint32_t left = k.forced; left != 0; left &= left - 1) {
    const int output = std::countr_zero(left);
    const float value = k.value[output];
    if (output < forced_coils) {
      const auto bit = static_cast<std::uint16_t>(1u << output);
      wanted.coils = static_cast<std::uint16_t>(value != 0.0f ? wanted.coils | bit : wanted.coils & ~bit);
    } else if (output == forced_valve) {
      wanted.valve_frac = value;
    } else if (output == forced_gas) {
      wanted.gas_wanted = gas_of(value);
      wanted.gas = static_cast<std::uint8_t>(selector_place(wanted.gas_wanted));
    } else {
      wanted.demand_frac[output - forced_zone_first] = value;   // cppcheck-suppress negativeIndex ; the zones come last
    }
  }
}

Refusal force_output(Controller& c, std::uint16_t output, float value) {
  if (!key_turned(c) || !at_rest(c) || c.power.undecided) return Refusal::wrong_state;
  if (c.interlocks.latched != 0) return Refusal::trip_stands;
  const bool is_coil = output < forced_coils;
  const bool is_gas = output == forced_gas;
  const bool known = is_coil || is_gas || output == forced_valve ||
                     (output >= forced_zone_first && output < forced_zone_first + c.parameters.zones);
  const float most = is_gas ? static_cast<float>(gas_count - 1) : 1.0f;
  if (!known || !(value >= 0.0f && value <= most)) return Refusal::value_out_of_bounds;
  if ((is_coil || is_gas) && value != std::floor(value)) return Refusal::value_out_of_bounds;
  Commissioning& k = c.commissioning;
  const bool was = (k.forced >> output & 1u) != 0;
  const std::uint32_t before = was ? std::bit_cast<std::uint32_t>(k.value[output]) : 0u;
  history_log(c, EventKind::forced_output, output, before, std::bit_cast<std::uint32_t>(value));
  k.forced |= 1u << output;
  k.value[output] = value;
  k.left_ms = forced_longest_ms;
  return Refusal::accepted;
}

Refusal release_outputs(Controller& c, ForcedEnd why) {
  if (c.commissioning.forced == 0) return Refusal::wrong_state;
  history_log(c, EventKind::forced_output, forced_all, static_cast<std::uint32_t>(why), c.commissioning.forced);
  c.commissioning.forced = 0;
  c.commissioning.left_ms = 0;
  return Refusal::accepted;
}

Refusal zero_pressure(Controller& c, float date) {
  if (!key_turned(c) || !at_rest(c) || c.commissioning.vented_ms < vented_for_ms) return Refusal::wrong_state;
  if (!(date >= 0.0f && date <= 100000.0f)) return Refusal::value_out_of_bounds;
  const ChannelCorrection before = c.parameters.corrections[correction_pressure];
  const float span_pa = c.parameters.gauge_high_pa - c.parameters.gauge_low_pa;
  ChannelCorrection after = before;
  after.add_low -= c.inputs.chamber_pa;
  after.add_high -= c.inputs.chamber_pa;
  after.date = static_cast<std::int32_t>(date);
  if (std::fabs(after.add_low) > zero_share_max * span_pa) return Refusal::value_out_of_bounds;
  if (!correction_accepted(after)) return Refusal::value_out_of_bounds;
  c.parameters.corrections[correction_pressure] = after;
  for (const ParameterInfo& info : parameter_table()) {
    if (info.offset >= correction_at && info.offset < correction_at + sizeof(ChannelCorrection)) keep_parameter(c.writer, info);
  }
  history_parameters_changed(c);
  history_log(c, EventKind::calibration, correction_pressure, std::bit_cast<std::uint32_t>(before.add_low),
              std::bit_cast<std::uint32_t>(after.add_low));
  c.commissioning.vented_ms = 0;
  return Refusal::accepted;
}

}  // namespace fw
