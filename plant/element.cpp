#include "plant/element.h"

#include <algorithm>
#include <cmath>

namespace plant {

namespace {

// tests/reference/heater_resistance_factor.csv, with the alloys by their public designations
constexpr FactorRow fecral_rows[] = {  // 0Cr25Al5
  {20.0, 1.0}, {100.0, 1.002}, {200.0, 1.005}, {300.0, 1.008}, {400.0, 1.013}, {500.0, 1.021}, {600.0, 1.03}, {700.0, 1.038},
  {800.0, 1.04}, {900.0, 1.042}, {1000.0, 1.044}, {1100.0, 1.046}, {1200.0, 1.047}};
constexpr FactorRow fecral_molybdenum_rows[] = {  // 0Cr27Al7Mo2
  {20.0, 1.0}, {100.0, 0.992}, {200.0, 0.986}, {300.0, 0.981}, {400.0, 0.978}, {500.0, 0.976}, {600.0, 0.974},
  {700.0, 0.972}, {800.0, 0.97}, {900.0, 0.969}, {1000.0, 0.968}, {1100.0, 0.968}, {1200.0, 0.967}, {1300.0, 0.967}};
constexpr FactorRow nichrome_rows[] = {  // Cr20Ni80
  {20.0, 1.0}, {100.0, 1.006}, {200.0, 1.012}, {300.0, 1.018}, {400.0, 1.025}, {500.0, 1.026}, {600.0, 1.018}, {700.0, 1.01},
  {800.0, 1.008}, {900.0, 1.01}, {1000.0, 1.014}, {1100.0, 1.021}, {1200.0, 1.025}};
constexpr FactorRow silicon_carbide_rows[] = {  // typical, from memory
  {20.0, 2.6}, {200.0, 1.7}, {400.0, 1.25}, {600.0, 1.02}, {700.0, 0.98}, {800.0, 0.97}, {1000.0, 1.0}, {1200.0, 1.09},
  {1400.0, 1.22}};
constexpr FactorRow molybdenum_disilicide_rows[] = {  // typical, from memory, 15 %
  {20.0, 1.0}, {200.0, 2.0}, {400.0, 3.3333}, {600.0, 4.3333}, {800.0, 5.6667}, {1000.0, 7.0}, {1200.0, 8.3333},
  {1400.0, 10.0}, {1600.0, 11.6667}};

constexpr std::string_view alloys =
    "limit and melting point: public table of resistance alloys; surface load: from memory";
constexpr std::string_view carbide = "limit and surface load: from memory; it does not melt but decomposes";
constexpr std::string_view silicide =
    "melting point, lowest grade and its highest surface load: a supplier's public page; lowest surface load: from memory";
constexpr std::string_view nickel = "from memory";

constexpr std::array<ElementKind, element_kinds> kinds{{
    {ElementMaterial::constant, "constant", "elements of constant resistance", {}, 0.0, 0.0, 0.0, 0.0, {}},
    {ElementMaterial::fecral, "fecral", "iron-chromium-aluminium (25 % Cr, 5 % Al)", fecral_rows, 1250.0, 1500.0, 0.5, 5.0, alloys},
    {ElementMaterial::fecral_molybdenum, "fecral_molybdenum", "iron-chromium-aluminium (27 % Cr, 7 % Al, 2 % Mo)",
     fecral_molybdenum_rows, 1400.0, 1520.0, 0.5, 8.0, alloys},
    {ElementMaterial::nichrome, "nichrome", "nickel-chromium (80 % Ni, 20 % Cr)", nichrome_rows, 1200.0, 1400.0, 0.5, 4.0, nickel},
    {ElementMaterial::silicon_carbide, "silicon_carbide", "silicon carbide", silicon_carbide_rows, 1600.0, 0.0, 2.0, 20.0, carbide},
    {ElementMaterial::molybdenum_disilicide, "molybdenum_disilicide", "molybdenum disilicide", molybdenum_disilicide_rows, 1700.0,
     2030.0, 4.0, 20.0, silicide},
}};

}  // namespace

const ElementKind& element_kind(ElementMaterial material) { return kinds[static_cast<std::size_t>(material)]; }

double resistance_factor(const ElementKind& kind, double degc) {
  const auto rows = kind.rows;
  if (rows.empty()) return 1.0;
  if (degc <= rows.front().degc) return rows.front().factor;
  std::size_t i = 1;
  while (i + 1 < rows.size() && rows[i].degc < degc) ++i;
  const FactorRow& a = rows[i - 1];
  const FactorRow& b = rows[i];
  return a.factor + (b.factor - a.factor) * (degc - a.degc) / (b.degc - a.degc);
}

Element element_of_zone(const ElectricHeating& electric, int zone) {
  Element element = electric.element;
  const ElementOfZone& own = electric.zone[static_cast<std::size_t>(zone)];
  if (own.material != ElementMaterial::same) element.material = own.material;
  if (!std::isnan(own.rated_degc)) element.rated_degc = own.rated_degc;
  if (!std::isnan(own.hours)) element.hours = own.hours;
  return element;
}

}  // namespace plant
