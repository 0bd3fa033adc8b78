#include "firmware/write_access.h"

#include "firmware/controller_state.h"

namespace fw {

namespace {

constexpr AccessRow table[] = {
    {"unit.", access_key | access_rest | access_cold, "what the furnace is"},
    {"instruments.", access_key | access_rest, "how it is measured"},
    {"calibration.", access_key | access_rest, "how it is measured"},
    {"limits.", access_key | access_rest, "when it trips"},
    {"combustible.", access_key | access_rest, "when combustible gas may come in"},
    {"power_loss.", access_rest, "what becomes of a programme that runs"},
    {"", access_always, "how it is controlled: gains and times are set while it runs"},
};

bool begins_with(const char* name, const char* group) {
  for (; *group != '\0'; ++name, ++group) {
    if (*name != *group) return false;
  }
  return true;
}

bool hot(const Controller& c) {
  const float limit_degc = c.parameters.air_admittance_max_degc;
  return c.inputs.known && (c.inputs.hottest_degc > limit_degc || c.inputs.load_degc > limit_degc);
}

bool at_rest(ProgrammeState state) {
  return state == ProgrammeState::idle || state == ProgrammeState::stopped || state == ProgrammeState::aborted ||
         state == ProgrammeState::complete;
}

}  // namespace

std::span<const AccessRow> access_table() { return table; }

const AccessRow& access_row(const ParameterInfo& info) {
  for (const AccessRow& row : table) {
    if (begins_with(info.name, row.group)) return row;
  }
  return table[0];      // the last row fits every name
}

AccessAnswer may_write(const Controller& c, const ParameterInfo& info) {
  const std::uint8_t needs = access_row(info).needs;
  if ((needs & access_rest) != 0 && (!at_rest(c.run.state) || c.power.undecided)) return AccessAnswer::not_now;
  if ((needs & access_cold) != 0 && hot(c)) return AccessAnswer::not_now;
  const bool key = (c.inputs.discrete & discrete::key_commissioning) != 0;
  return (needs & access_key) != 0 && !key ? AccessAnswer::key_missing : AccessAnswer::allowed;
}

}  // namespace fw
