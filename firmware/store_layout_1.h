// The parameters of store layout 1: words in this order, 14 a page. It ended with these 90; the word without a name held none.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "firmware/crc32.h"

namespace fw {

inline constexpr int layout_1_words = 90, layout_1_page_words = 14;

inline constexpr auto layout_1_ids = [] {
  constexpr const char* names[layout_1_words] = {
      "unit.period", "unit.zones", "unit.heat_every", "unit.retort_ceramic", "unit.load_titanium", "unit.atmosphere_required",
      "unit.chamber_volume", "instruments.zone_thermocouple", "instruments.load_thermocouple", "instruments.gauge_low",
      "instruments.gauge_high", "instruments.capacitance_full_scale", "instruments.barometer_low", "instruments.barometer_high",
      "instruments.meter_full_scale", "instruments.current_full_scale", "instruments.mains_full_scale",
      "instruments.supply_full_scale", "instruments.dew_point_low", "instruments.dew_point_high",
      "instruments.oxygen_cell_full_scale", "instruments.casing_full_scale", "", "instruments.gas_conversion.air",
      "instruments.gas_conversion.nitrogen", "instruments.gas_conversion.argon", "instruments.gas_conversion.helium",
      "heat.gains.1.gain", "heat.gains.1.integral", "heat.gains.1.derivative", "heat.gains.1.setpoint_weight", "heat.gains.2.gain",
      "heat.gains.2.integral", "heat.gains.2.derivative", "heat.gains.2.setpoint_weight", "heat.gains.3.gain",
      "heat.gains.3.integral", "heat.gains.3.derivative", "heat.gains.3.setpoint_weight", "heat.gains.4.gain",
      "heat.gains.4.integral", "heat.gains.4.derivative", "heat.gains.4.setpoint_weight", "heat.derivative_filter", "heat.tracking",
      "heat.out_max", "heat.out_rate", "heat.feed_forward", "pressure.gain", "pressure.integral", "pressure.derivative",
      "pressure.setpoint_weight", "pressure.out_rate", "pressure.valve_equal_percentage", "pressure.valve_rangeability",
      "pressure.filter", "pressure.valve_dead_band", "flow.ramp", "limits.zone_alarm", "limits.zone_trip", "limits.load_alarm",
      "limits.load_trip", "limits.deviation_alarm", "limits.pressure_alarm", "limits.pressure_trip", "limits.pressure_low",
      "limits.pressure_release", "limits.bypass_min", "limits.air_admittance_max", "limits.oxygen_heat", "limits.oxygen_alarm",
      "limits.dew_point_alarm", "limits.hot", "limits.element_current_min", "atmosphere.pump_spin_up", "atmosphere.evacuate_timeout",
      "atmosphere.backfill_timeout", "atmosphere.purge_timeout", "limits.flow_deviation_alarm", "limits.current_off",
      "programme.ramp_tolerance", "limits.response_window", "limits.response_rise", "limits.load_above_heater",
      "atmosphere.evacuate_switch", "atmosphere.backfill_taper", "atmosphere.purge_flow_min", "atmosphere.back_pressure",
      "limits.oxygen_trip", "instruments.mains_nominal"
  };
  std::array<std::uint32_t, layout_1_words> ids{};
  for (std::size_t i = 0; i < ids.size(); ++i) ids[i] = names[i][0] == '\0' ? 0u : crc32_text(names[i]);
  return ids;
}();

}  // namespace fw
