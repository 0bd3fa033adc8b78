// Who may write what over the supervisory line, and when: one table. The first row that fits a parameter's name counts.
// Values are checked against their bounds besides, and every write that is accepted is logged.
#pragma once

#include <cstdint>
#include <span>

namespace fw {

struct Controller;
struct ParameterInfo;

// Bits of AccessRow::needs.
enum AccessNeed : std::uint8_t {
  access_always = 0,
  access_key = 1,      // the key switch stands at commissioning
  access_rest = 2,     // no programme runs, is held, stops or aborts
  access_cold = 4      // and nothing is hotter than limits.air_admittance_max: the safe values hang on what the furnace is
};

struct AccessRow {
  const char* group;   // parameters whose names begin so; "" all others
  std::uint8_t needs;
  const char* why;
};
std::span<const AccessRow> access_table();
const AccessRow& access_row(const ParameterInfo& info);

enum class AccessAnswer : std::uint8_t { allowed, key_missing, not_now };
AccessAnswer may_write(const Controller& controller, const ParameterInfo& info);

}  // namespace fw
