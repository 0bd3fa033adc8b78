#include "sim/handbook.h"

#include <cmath>
#include <functional>
#include <initializer_list>
#include <string_view>

#include <fmt/format.h>

#include "plant/heating_circuit.h"
#include "plant/meter_gas.h"
#include "sim/units.h"

namespace sim {

namespace {

using plant::Furnace;

// Where ranges come from. "Looked up" values are widened by 10 %, those from memory by 25 %, as they are worth.
constexpr const char* refractories = "VDI Heat Atlas, table of refractories; ceramic fibre from memory, 25 % either way";
constexpr const char* retorts = "VDI Heat Atlas (mullite, corundum, SiC), NIST SRD 150 (alumina), EN 1993-1-2 (steel)";
constexpr const char* emissivities = "published tables of total emissivity; ceramic fibre and elements from memory";
constexpr const char* practice = "common practice, no source";

const YamlNode* node_at(const YamlNode& root, std::string_view key) {
  const YamlNode* node = &root;
  while (node != nullptr && !key.empty()) {
    const std::size_t dot = std::min(key.find('.'), key.size());
    node = node->child(key.substr(0, dot));
    key.remove_prefix(std::min(dot + 1, key.size()));
  }
  return node;
}

double conductivity(const plant::Material& m, double degc) {
  return std::max(m.k0_w_mk + degc * (m.k1_w_mk2 + degc * m.k2_w_mk3),
                  0.1 * (m.k0_w_mk + 20.0 * (m.k1_w_mk2 + 20.0 * m.k2_w_mk3)));
}
double heat_capacity(const plant::Material& m, double degc) { return m.c0_j_kgk + degc * (m.c1_j_kgk2 + degc * m.c2_j_kgk3); }

struct Row {
  std::vector<std::string> keys;  // the first that the file gives is where it is said
  double degc;                    // at which the value is taken; negative: it depends on none
  double low, high;
  const char* unit;
  const char* source;
  std::function<double(const Furnace&)> value;
};

std::vector<std::string> curve_keys(const std::string& key) { return {key, key + "_slope", key + "_curve"}; }

void add_lining(std::vector<Row>& rows) {
  // Fibre blanket 128 kg/m3 (0.09, 0.20 and 0.29 W/(m K), less 25 %) to insulating brick of 1270 kg/m3 (0.45 to 0.53, more 10
  // %).
  struct Curve {
    double degc, low, high;
  };
  for (const Curve& c : {Curve{400.0, 0.75 * 0.09, 1.1 * 0.45}, Curve{800.0, 0.75 * 0.20, 1.1 * 0.49}}) {
    rows.push_back({curve_keys("lining.material.conductivity"), c.degc, c.low, c.high, "W/(m K)", refractories,
                    [t = c.degc](const Furnace& f) { return conductivity(f.lining.material, t); }});
  }
  rows.push_back({curve_keys("lining.material.heat_capacity"), 800.0, 0.75 * 1000.0, 1.25 * 1130.0, "J/(kg K)", refractories,
                  [](const Furnace& f) { return heat_capacity(f.lining.material, 800.0); }});
  rows.push_back({{"lining.material.density"}, -1.0, 0.75 * 128.0, 1.1 * 1270.0, "kg/m3", refractories, [](const Furnace& f) {
                    return f.lining.material.density_kg_m3;
                  }});
  rows.push_back(
      {{"lining.emissivity"}, -1.0, 0.35, 0.95, "1", emissivities, [](const Furnace& f) { return f.lining.emissivity; }});
  // The plug is of the same kinds of stuff, vacuum-formed or brick.
  rows.push_back({curve_keys("plug.material.conductivity"), 800.0, 0.75 * 0.20 * 0.75, 1.1 * 0.49, "W/(m K)", refractories,
                  [](const Furnace& f) { return conductivity(f.plug.material, 800.0); }});
  rows.push_back({{"plug.material.density"}, -1.0, 0.75 * 128.0, 1.1 * 1270.0, "kg/m3", refractories, [](const Furnace& f) {
                    return f.plug.material.density_kg_m3;
                  }});
  rows.push_back(
      {{"plug.emissivity"}, -1.0, 0.35, 0.95, "1", emissivities, [](const Furnace& f) { return f.plug.emissivity; }});
}

void add_retort(std::vector<Row>& rows) {
  rows.push_back({curve_keys("retort.material.conductivity"), 800.0, 0.9 * 1.58, 1.1 * 27.3, "W/(m K)", retorts,
                  [](const Furnace& f) { return conductivity(f.retort.material, 800.0); }});
  // 542: stainless steel, EN 1993-1-2, annex C, from memory.
  rows.push_back({curve_keys("retort.material.heat_capacity"), 600.0, 0.75 * 542.0, 1.1 * 1165.0, "J/(kg K)", retorts,
                  [](const Furnace& f) { return heat_capacity(f.retort.material, 600.0); }});
  rows.push_back({{"retort.material.density"}, -1.0, 0.9 * 2150.0, 1.1 * 7850.0, "kg/m3", retorts, [](const Furnace& f) {
                    return f.retort.material.density_kg_m3;
                  }});
  rows.push_back({{"retort.emissivity_outside"}, -1.0, 0.35, 0.96, "1", emissivities, [](const Furnace& f) {
                    return f.retort.emissivity_outside;
                  }});
  rows.push_back({{"retort.emissivity_inside"}, -1.0, 0.35, 0.96, "1", emissivities, [](const Furnace& f) {
                    return f.retort.emissivity_inside;
                  }});
  rows.push_back(
      {{"heaters.emissivity"}, -1.0, 0.70, 0.96, "1", emissivities, [](const Furnace& f) { return f.heaters.emissivity; }});
  rows.push_back(
      {{"load.emissivity"}, -1.0, 0.14, 0.98, "1", emissivities, [](const Furnace& f) { return f.load.emissivity; }});
  rows.push_back(
      {{"casing.emissivity"}, -1.0, 0.14, 0.96, "1", emissivities, [](const Furnace& f) { return f.casing.emissivity; }});
  rows.push_back({{"thermocouples.heater.emissivity"}, -1.0, 0.75, 0.95, "1", emissivities, [](const Furnace& f) {
                    return f.thermocouples.heater.emissivity;
                  }});
  rows.push_back({{"casing.convection"},
                  -1.0,
                  1.3,
                  1.9,
                  "1",
                  "vertical plate and cylinder in air, laminar, published correlations",
                  [](const Furnace& f) { return f.casing.convection_w_m2k54; }});
}

void add_gas(std::vector<Row>& rows) {
  struct Conversion {
    const char* name;
    const char* key;
    double plant::Meter::*member;
  };
  for (const Conversion& c : {Conversion{"air", "meter.conversion.air", &plant::Meter::conversion_air},
                              Conversion{"argon", "meter.conversion.argon", &plant::Meter::conversion_argon},
                              Conversion{"helium", "meter.conversion.helium", &plant::Meter::conversion_helium},
                              Conversion{"hydrogen", "meter.conversion.hydrogen", &plant::Meter::conversion_hydrogen}}) {
    const double factor = plant::find_meter_gas(c.name)->factor;
    rows.push_back({{c.key},
                    -1.0,
                    0.95 * factor,
                    1.05 * factor,
                    "1",
                    "5 % around what `saggar gases` computes, as published lists differ",
                    [member = c.member](const Furnace& f) { return f.meter.*member; }});
  }
  rows.push_back(
      {{"supply.regulated"}, -1.0, 30e3, 50e3, "Pa gauge", practice, [](const Furnace& f) { return f.supply.regulated_pa; }});
  rows.push_back({{"pump.speed"}, -1.0, 0.15e-3, 20e-3, "m3/s", practice, [](const Furnace& f) { return f.pump.speed_m3_s; }});
  rows.push_back({{"pump.base"}, -1.0, 0.05, 20.0, "Pa abs", practice, [](const Furnace& f) { return f.pump.base_pa; }});
  rows.push_back({{"surroundings.barometer"}, -1.0, 96e3, 104e3, "Pa abs", "a site's range, from memory", [](const Furnace& f) {
                    return f.surroundings.barometer_pa;
                  }});
}

const std::vector<Row>& table() {
  static const std::vector<Row> rows = [] {
    std::vector<Row> all;
    add_lining(all);
    add_retort(all);
    add_gas(all);
    return all;
  }();
  return rows;
}

// What the material of the elements bears; keys that the file gives are where it is said.
void add_elements(std::vector<HandbookRemark>& remarks, const Furnace& f, const YamlNode& root) {
  for (int z = 0; z < f.heaters.zones; ++z) {
    const plant::Element element = plant::element_of_zone(f.electric, z);
    const plant::ElementKind& kind = plant::element_kind(element.material);
    const double limit_degc = plant::element_limit_degc(f.electric, z);
    const YamlNode* trip = node_at(root, "limiter.trip");
    if (trip != nullptr && limit_degc > 0.0 && f.limiter.trip_degc > limit_degc && z == 0)
      remarks.push_back({trip->place, "limiter.trip", f.limiter.trip_degc, 50.0, limit_degc, "degC", "",
                         "highest temperature of the elements"});
    const YamlNode* limit = node_at(root, "heaters.element.limit");
    if (limit != nullptr && kind.limit_degc > 0.0 && element.limit_degc > kind.limit_degc && z == 0)
      remarks.push_back({limit->place, "heaters.element.limit", element.limit_degc, 0.0, kind.limit_degc, "degC", "",
                         std::string(kind.source)});
    const YamlNode* surface = node_at(root, "heaters.element.surface");
    if (surface == nullptr || element.surface_m2 <= 0.0 || kind.load_high_w_cm2 <= 0.0) continue;
    double load_w_cm2 = 0.0;
    for (const plant::Panel& panel : f.heaters.panel)
      if (f.heaters.zones == 1 || panel.zone == z + 1) load_w_cm2 = std::max(load_w_cm2, 1e-4 * panel.power_w / element.surface_m2);
    if (load_w_cm2 < kind.load_low_w_cm2 || load_w_cm2 > kind.load_high_w_cm2)
      remarks.push_back({surface->place, "heaters.element.surface", load_w_cm2, kind.load_low_w_cm2, kind.load_high_w_cm2, "W/cm2", "",
                         std::string(kind.source)});
  }
}

}  // namespace

std::vector<HandbookRemark> handbook_remarks(const plant::Furnace& furnace, const YamlNode& root) {
  std::vector<HandbookRemark> remarks;
  for (const Row& row : table()) {
    for (const std::string& key : row.keys) {
      const YamlNode* node = node_at(root, key);
      if (node == nullptr) continue;
      const double value = row.value(furnace);
      if (value < row.low || value > row.high) {
        remarks.push_back({node->place, key, value, row.low, row.high, row.unit,
                           row.degc >= 0.0 ? fmt::format(" at {:g} degC", row.degc) : "", row.source});
      }
      break;
    }
  }
  add_elements(remarks, furnace, root);
  return remarks;
}

std::string sentence(const HandbookRemark& remark) {
  const std::string unit = remark.unit == "1" ? "" : " " + remark.unit;
  return fmt::format("{}:{}:{}: `{}` comes to {:.4g}{}{}, outside {:.4g} to {:.4g}{} ({})", remark.place.file,
                     remark.place.line, remark.place.column, remark.key, remark.value, unit, remark.at, remark.low, remark.high,
                     unit, remark.source);
}

}  // namespace sim
