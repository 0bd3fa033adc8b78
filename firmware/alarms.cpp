#include "firmware/alarms.h"

#include <bit>

namespace fw {

namespace {

using enum AlarmPriority;

// Delays: common practice, no source (temperature 60 s, flow and pressure 15 s as starting points); what a trip follows at
// once has none.
constexpr AlarmInfo table[] = {
    {"trip", high, 0, 0, "an interlock row has tripped; interlock.trip names it"},
    {"zone sensor", high, 0, 1000, "heater-side thermocouple or cold junction failed"},
    {"load sensor", high, 0, 1000, "load thermocouple failed"},
    {"zone temperature high", medium, 1000, 5000, "heater side at or above limits.zone_alarm"},
    {"load temperature high", medium, 1000, 5000, "load at or above limits.load_alarm"},
    {"deviation", low, 60000, 10000, "a heat loop farther from its set point than limits.deviation_alarm"},
    {"pressure high", medium, 0, 5000, "chamber at or above limits.pressure_alarm"},
    {"pressure low", medium, 2000, 5000, "chamber below limits.pressure_low in a hold phase"},
    {"oxygen high", medium, 2000, 5000, "oxygen at or above limits.oxygen_alarm while hot"},
    {"dew point high", medium, 15000, 15000, "dew point at or above limits.dew_point_alarm while hot"},
    {"flow deviation", low, 15000, 5000, "flow farther from its set point than limits.flow_deviation_alarm"},
    {"supply lost", high, 1000, 5000, "no gas supply while a programme needs it"},
    {"line disturbed", low, 0, 10000, "an answer of the station was missing, late or damaged"},
    {"line lost", high, 0, 1000, "no valid answer of the station for 1 s"},
    {"transmitter failed", medium, 0, 1000, "current outside NAMUR NE 43 for 4 s"},
    {"pressure transmitter", high, 0, 1000, "gauge-pressure transmitter failed"},
    {"demand without current", medium, 5000, 5000, "a heater element may be open"},
    {"current without demand", high, 1000, 1000, "a heater switch conducts"},
    {"segment failed", high, 0, 0, "a segment ran out of time or a leak test failed"},
    {"segment waits", low, 60000, 0, "a segment's time stands still: tolerance or no heat permissive"},
    {"store damaged", low, 0, 0, "pages of the store were not usable at start"},
    {"oxygen cell", medium, 30000, 5000, "oxygen not measured in a hold phase"},
    {"contactor", medium, 2000, 2000, "contactor's feedback differs from its coil"},
    {"mains low", low, 1000, 5000, "mains below 85 % of nominal"},
    {"door", medium, 0, 1000, "door open while a programme runs"},
    {"valve position", medium, 5000, 1000, "a valve's feedback differs from its coil"},
    {"internal fault", high, 0, 0, "a check of the core has failed"},
    {"burn-off", medium, 15000, 1000, "burn-off flame asked for and not proven"},
    {"supply low", medium, 2000, 5000, "gas supply below limits.supply_low"},
    {"flow implausible", medium, 0, 0, "metered gas and the pressure it makes in the shut chamber do not agree"},
    {"valve sticks", low, 0, 5000, "the back-pressure valve does not stand where it was told to"},
    {"pressure swings", low, 0, 5000, "the back-pressure loop oscillates"},
    {"contactor welded", high, 500, 1000, "contactor reports closed while its coil is off", true},
    {"load sensors differ", medium, 60000, 10000, "load thermocouples apart by limits.load_difference", false, true},
    {"heater and load differ", medium, 60000, 10000, "apart by limits.heater_difference in a soak", false, true},
    {"vacuum lost", medium, 2000, 5000, "pressure rises while the pump is open to the chamber", false, true},
    {"pump slow", medium, 30000, 1000, "pump switched on and not up to speed", false, true},
    {"tick late", low, 0, 10000, "a step later than its period by limits.tick_late"},
    {"clock jumped", medium, 0, 10000, "time went back, or ahead by more than 10 s"},
};
static_assert(std::size(table) == alarm::count_);
static_assert(alarm::count_ <= 64);

template <typename Holds>
constexpr AlarmSet bits_where(Holds holds) {
  AlarmSet bits = 0;
  for (std::size_t i = 0; i < std::size(table); ++i) {
    if (holds(table[i])) bits |= AlarmSet{1} << i;
  }
  return bits;
}
constexpr AlarmSet bits_of(AlarmPriority priority) {
  return bits_where([priority](const AlarmInfo& info) { return info.priority == priority; });
}
constexpr AlarmSet priority_bits[] = {bits_of(low), bits_of(medium), bits_of(high)};
constexpr AlarmSet latching = bits_where([](const AlarmInfo& info) { return info.latching; });
constexpr AlarmSet of_readings = bits_where([](const AlarmInfo& info) { return info.of_readings; });

constexpr AlarmSet bit_of(int number) { return AlarmSet{1} << number; }
bool exists(int number) { return number >= 0 && number < alarm::count_; }

// Conditions whose delays are over.
void follow_conditions(Alarms& alarms, AlarmSet conditions, std::uint32_t period_ms) {
  const AlarmSet differs = conditions ^ alarms.standing;
  for (AlarmSet settled = alarms.changing & ~differs; settled != 0; settled &= settled - 1) {
    alarms.delay_ms[std::countr_zero(settled)] = 0;
  }
  alarms.changing = differs;
  for (AlarmSet left = differs; left != 0; left &= left - 1) {
    const int n = std::countr_zero(left);
    const AlarmSet bit = AlarmSet{1} << n;
    const bool comes = (conditions & bit) != 0;
    alarms.delay_ms[n] += period_ms;
    if (alarms.delay_ms[n] <= (comes ? table[n].on_delay_ms : table[n].off_delay_ms)) continue;
    alarms.delay_ms[n] = 0;
    alarms.standing ^= bit;
  }
}

void count_shelved(Alarms& alarms, std::uint32_t period_ms) {
  for (AlarmSet left = alarms.shelved; left != 0; left &= left - 1) {
    const int n = std::countr_zero(left);
    if (alarms.shelved_ms[n] > period_ms) {
      alarms.shelved_ms[n] -= period_ms;
    } else {
      alarms.shelved &= ~bit_of(n);
    }
  }
}

}  // namespace

std::span<const AlarmInfo> alarm_table() { return table; }

void alarms_step(Alarms& alarms, AlarmSet conditions, bool readings_lost, std::uint32_t period_ms) {
  follow_conditions(alarms, conditions, period_ms);
  count_shelved(alarms, period_ms);
  alarms.suppressed = readings_lost ? of_readings : 0;
  const AlarmSet untold = alarms_withheld(alarms);
  const AlarmSet now = alarms.standing & ~untold;
  const AlarmSet came = now & ~alarms.active, gone = alarms.active & ~now;
  alarms.latched = (alarms.latched | (gone & latching)) & ~now & ~untold;
  alarms.unacknowledged = (alarms.unacknowledged | came) & ~untold;
  alarms.active = now;
}

void alarms_acknowledge(Alarms& alarms) { alarms.unacknowledged = 0; }

bool alarm_acknowledge(Alarms& alarms, int number) {
  if (!exists(number) || (alarms.unacknowledged & bit_of(number)) == 0) return false;
  alarms.unacknowledged &= ~bit_of(number);
  return true;
}

bool alarm_shelve(Alarms& alarms, int number, std::uint32_t time_ms) {
  if (!exists(number) || table[number].priority == high) return false;
  alarms.shelved |= bit_of(number);
  alarms.shelved_ms[number] = time_ms;
  return true;
}

bool alarm_unshelve(Alarms& alarms, int number) {
  if (!exists(number) || (alarms.shelved & bit_of(number)) == 0) return false;
  alarms.shelved &= ~bit_of(number);
  return true;
}

bool alarm_reset(Alarms& alarms, int number) {
  if (!exists(number) || (alarms.latched & ~alarms.unacknowledged & bit_of(number)) == 0) return false;
  alarms.latched &= ~bit_of(number);
  return true;
}

bool alarm_service(Alarms& alarms, int number, bool out) {
  if (!exists(number) || table[number].priority == high) return false;
  if (((alarms.out_of_service & bit_of(number)) != 0) == out) return false;
  alarms.out_of_service ^= bit_of(number);
  return true;
}

AlarmSet alarms_told(const AlarmSets& alarms) { return alarms.active | alarms.latched; }

AlarmSet alarms_withheld(const AlarmSets& alarms) { return alarms.shelved | alarms.suppressed | alarms.out_of_service; }

AlarmSet alarms_changed(const AlarmSets& before, const AlarmSets& now) {
  AlarmSet changed = 0;
  AlarmSet moved = (before.active ^ now.active) | (before.unacknowledged ^ now.unacknowledged) | (before.latched ^ now.latched) |
                   (before.shelved ^ now.shelved) | (before.suppressed ^ now.suppressed) | (before.out_of_service ^ now.out_of_service);
  for (; moved != 0; moved &= moved - 1) {
    const int n = std::countr_zero(moved);
    if (alarm_state(before, n) != alarm_state(now, n)) changed |= bit_of(n);
  }
  return changed;
}

AlarmState alarm_state(const AlarmSets& alarms, int number) {
  const AlarmSet bit = bit_of(number);
  if (alarms.out_of_service & bit) return AlarmState::out_of_service;
  if (alarms.suppressed & bit) return AlarmState::suppressed;
  if (alarms.shelved & bit) return AlarmState::shelved;
  const bool active = (alarms.active & bit) != 0, waits = (alarms.unacknowledged & bit) != 0;
  if (alarms.latched & bit) return waits ? AlarmState::latched_unacknowledged : AlarmState::latched_acknowledged;
  if (active) return waits ? AlarmState::unacknowledged : AlarmState::acknowledged;
  return waits ? AlarmState::returned_unacknowledged : AlarmState::normal;
}

int alarms_count(AlarmSet bits, AlarmPriority priority) {
  if (bits == 0) return 0;
  return std::popcount(bits & priority_bits[static_cast<std::size_t>(priority)]);
}

bool alarms_sound_horn(const Alarms& alarms) { return (alarms.unacknowledged & alarms.active & bits_of(high)) != 0; }

}  // namespace fw
