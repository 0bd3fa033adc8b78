// Heating elements: resistance over temperature, age, and what they bear.
//
// Resistance factors are the rows of public tables (tests/reference/heater_resistance_factor.csv says which and how good each is),
// joined by straight lines; below the first row as there, above the last on along the last line. Ageing is proportional to the hours
// under current: silicon carbide grows to some four times its first resistance at the end of its life (public pages of suppliers),
// molybdenum disilicide does not age in air (likewise), alloys by some per cent as their section oxidises (from memory).
#pragma once

#include <array>
#include <span>
#include <string_view>

#include "plant/furnace.h"

namespace plant {

struct FactorRow { double degc, factor; };

// limit_degc: highest temperature of the element in air; melting_degc: where it opens. low, high: usual surface load in a furnace.
struct ElementKind {
  ElementMaterial material = ElementMaterial::constant;
  std::string_view key, name;             // as a file says it; in words
  std::span<const FactorRow> rows{};      // by temperature; none: constant
  double limit_degc = 0.0, melting_degc = 0.0;      // 0: nothing known
  double load_low_w_cm2 = 0.0, load_high_w_cm2 = 0.0;   // 0: nothing known
  std::string_view source{};              // of limit, melting point and surface load
};

inline constexpr int element_kinds = 6;
const ElementKind& element_kind(ElementMaterial material);   // not of `same`

// Of the same element at the temperature the rows refer to. degc: any finite value.
double resistance_factor(const ElementKind& kind, double degc);

// Of the new element. hours >= 0; ageing: share of the new resistance in 1000 h.
inline double age_factor(double hours, double ageing) { return 1.0 + ageing * hours * 1e-3; }

// What a zone (0-based) has: the furnace's element with the zone's own words.
Element element_of_zone(const ElectricHeating& electric, int zone);

}  // namespace plant
