#include "sim/furnace_file.h"

#include <cmath>
#include <stdexcept>
#include <vector>

#include "plant/meter_gas.h"
#include "plant/step.h"

namespace sim {

namespace {

using plant::Furnace;

double computed_factor(const char* gas) { return plant::find_meter_gas(gas)->factor; }

// What a file starts from: the plant's own description, but for the conversion factors of its mass-flow controllers, which are
// computed where the file gives none of its instrument.
FurnaceFile presets_of_a_file() {
  FurnaceFile presets;
  plant::Meter& meter = presets.furnace.meter;
  meter.conversion_air = computed_factor("air");
  meter.conversion_argon = computed_factor("argon");
  meter.conversion_helium = computed_factor("helium");
  meter.conversion_hydrogen = computed_factor("hydrogen");
  return presets;
}

template <class At>
Field quantity(const char* key, const char* unit, At at, double low, double high, const char* meaning) {
  FurnaceFile presets = presets_of_a_file();
  return quantity_field<FurnaceFile>(key, unit, at, low, high, text_of(at(presets), unit), meaning);
}

#define SAGGAR_AT(member) [](auto& file) -> auto& { return file.furnace.member; }
#define SAGGAR_FIELD(key, unit, member, low, high, meaning) quantity(key, unit, SAGGAR_AT(member), low, high, meaning)

template <class At>
void add_material(std::vector<Field>& fields, const std::string& prefix, At material, const std::string& of) {
  const auto add = [&](const char* key, const char* unit, auto member, double low, double high, const char* meaning) {
    const auto at = [material, member](auto& file) -> auto& { return material(file).*member; };
    fields.push_back(quantity((prefix + "." + key).c_str(), unit, at, low, high, (std::string(meaning) + " of " + of).c_str()));
  };
  using M = plant::Material;
  add("density", "kg/m3", &M::density_kg_m3, 50.0, 20000.0, "density");
  add("conductivity", "W/(m K)", &M::k0_w_mk, 0.01, 500.0, "conductivity at 0 degC");
  add("conductivity_slope", "W/(m K2)", &M::k1_w_mk2, -1.0, 1.0, "its term linear in degC");
  add("conductivity_curve", "W/(m K3)", &M::k2_w_mk3, -1e-3, 1e-3, "its term quadratic in degC");
  add("heat_capacity", "J/(kg K)", &M::c0_j_kgk, 50.0, 5000.0, "heat capacity at 0 degC");
  add("heat_capacity_slope", "J/(kg K2)", &M::c1_j_kgk2, -10.0, 10.0, "its term linear in degC");
  add("heat_capacity_curve", "J/(kg K3)", &M::c2_j_kgk3, -1e-2, 1e-2, "its term quadratic in degC");
}

void add_retort(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("retort.volume", "m3", retort.volume_m3, 1e-4, 1.0, "free gas volume inside, load in place"));
  fields.push_back(SAGGAR_FIELD("retort.inner_diameter", "m", retort.inner_diameter_m, 0.02, 2.0, "inside diameter"));
  fields.push_back(SAGGAR_FIELD("retort.length", "m", retort.length_m, 0.02, 5.0, "inside, rear end to plug face"));
  fields.push_back(SAGGAR_FIELD("retort.wall", "m", retort.wall_m, 1e-3, 0.05, "wall of barrel and closed end"));
  fields.push_back(SAGGAR_FIELD("retort.emissivity_outside", "1", retort.emissivity_outside, 0.05, 1.0, "total emissivity outside"));
  fields.push_back(SAGGAR_FIELD("retort.emissivity_inside", "1", retort.emissivity_inside, 0.05, 1.0, "total emissivity inside"));
  add_material(fields, "retort.material", SAGGAR_AT(retort.material), "the retort");
}

void add_plug(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("plug.length", "m", plug.length_m, 0.02, 1.0, "hot face to cold face"));
  fields.push_back(SAGGAR_FIELD("plug.diameter", "m", plug.diameter_m, 0.02, 2.0, "diameter"));
  fields.push_back(SAGGAR_FIELD("plug.neck_wall", "m", plug.neck_wall_m, 0.0, 0.05, "wall of the retort's neck around the plug, 0 none"));
  fields.push_back(SAGGAR_FIELD("plug.pore_volume", "m3", plug.pore_m3, 0.0, 0.5, "gas in the pores, at the chamber's pressure"));
  fields.push_back(SAGGAR_FIELD("plug.pore_temperature", "degC", plug.pore_degc, 0.0, 500.0, "temperature of that gas"));
  fields.push_back(SAGGAR_FIELD("plug.emissivity", "1", plug.emissivity, 0.05, 1.0, "total emissivity of the hot face"));
  fields.push_back(SAGGAR_FIELD("plug.cold_face_exchange", "W/(m2 K)", plug.cold_face_w_m2k, 1.0, 100.0,
      "cold face and flange to the room"));
  fields.push_back(SAGGAR_FIELD("plug.opening", "m2", plug.opening_m2, 1e-4, 1.0, "free area with the plug out or the door open"));
  fields.push_back(SAGGAR_FIELD("plug.opening_exchange", "m3/s", plug.opening_exchange_m3_s, 0.0, 1.0,
                                "air that natural convection exchanges through it"));
  add_material(fields, "plug.material", SAGGAR_AT(plug.material), "the plug");
}

void add_lining(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("lining.chamber_diameter", "m", lining.chamber_diameter_m, 0.03, 3.0, "inside face of the lining"));
  fields.push_back(SAGGAR_FIELD("lining.chamber_length", "m", lining.chamber_length_m, 0.03, 5.0, "between the end faces"));
  fields.push_back(SAGGAR_FIELD("lining.thickness", "m", lining.thickness_m, 0.02, 0.6, "barrel, rear and front alike"));
  fields.push_back(SAGGAR_FIELD("lining.front_opening", "m", lining.front_opening_m, 0.0, 3.0, "hole in the front for the retort's neck"));
  fields.push_back(SAGGAR_FIELD("lining.emissivity", "1", lining.emissivity, 0.05, 1.0, "total emissivity of the hot face"));
  fields.push_back(SAGGAR_FIELD("lining.pore", "m", lining.pore_m, 0.0, 1e-3,
      "vessel: mean size of its pores, which the process gas fills; 0: it conducts the same in every gas and in vacuum"));
  fields.push_back(SAGGAR_FIELD("lining.porosity", "1", lining.porosity, 0.0, 0.99, "share of its volume that is pores; counts with pore"));
  add_material(fields, "lining.material", SAGGAR_AT(lining.material), "the lining");
}

template <std::size_t I>
void add_panel(std::vector<Field>& fields) {
  const std::string prefix = "heaters.panels." + std::to_string(I + 1);
  fields.push_back(integer_field<FurnaceFile>(prefix + ".zone", SAGGAR_AT(heaters.panel[I].zone), 1.0, 4.0, "1",
      "heat zone that drives it"));
  fields.push_back(SAGGAR_FIELD((prefix + ".power").c_str(), "W", heaters.panel[I].power_w, 10.0, 50000.0, "power at nominal mains"));
}

void add_heaters(std::vector<Field>& fields) {
  fields.push_back(integer_field<FurnaceFile>("heaters.zones", SAGGAR_AT(heaters.zones), 1.0, 4.0, "1", "heat loops"));
  add_panel<0>(fields);
  add_panel<1>(fields);
  add_panel<2>(fields);
  add_panel<3>(fields);
  fields.push_back(SAGGAR_FIELD("heaters.area", "m2", heaters.area_m2, 1e-3, 5.0, "radiating front of one panel"));
  fields.push_back(SAGGAR_FIELD("heaters.mass", "kg", heaters.mass_kg, 0.02, 100.0, "mass of one panel"));
  fields.push_back(SAGGAR_FIELD("heaters.emissivity", "1", heaters.emissivity, 0.05, 1.0, "total emissivity of the panels"));
  fields.push_back(SAGGAR_FIELD("heaters.back_exchange", "W/(m2 K)", heaters.back_w_m2k, 0.5, 500.0, "panel to the lining behind it"));
  fields.push_back(SAGGAR_FIELD("heaters.air_exchange", "W/(m2 K)", heaters.air_w_m2k, 0.0, 50.0,
                                "natural convection in the gap between panels, lining and retort"));
  add_material(fields, "heaters.material", SAGGAR_AT(heaters.material), "the panels");
}

const std::vector<std::string> element_words{"constant", "fecral", "fecral_molybdenum", "nichrome", "silicon_carbide",
                                             "molybdenum_disilicide"};

// What a zone has otherwise than the furnace: written only where it is given.
template <std::size_t I>
void add_element_of_zone(std::vector<Field>& fields) {
  const std::string prefix = "heaters.elements." + std::to_string(I + 1);
  std::vector<std::string> words = element_words;
  words.emplace_back("same");
  fields.push_back(optional<FurnaceFile>(
      choice_field<FurnaceFile>(prefix + ".material", SAGGAR_AT(electric.zone[I].material), words, "", "of this zone's elements"),
      [](const FurnaceFile& file) { return file.furnace.electric.zone[I].material != plant::ElementMaterial::same; }));
  fields.push_back(optional<FurnaceFile>(
      quantity_field<FurnaceFile>(prefix + ".rated_temperature", "degC", SAGGAR_AT(electric.zone[I].rated_degc), -20.0, 2000.0, "",
                                  "of this zone's elements"),
      [](const FurnaceFile& file) { return !std::isnan(file.furnace.electric.zone[I].rated_degc); }));
  fields.push_back(optional<FurnaceFile>(
      quantity_field<FurnaceFile>(prefix + ".used", "h", SAGGAR_AT(electric.zone[I].hours), 0.0, 1e6, "",
                                  "of this zone's elements: time under current before this run"),
      [](const FurnaceFile& file) { return !std::isnan(file.furnace.electric.zone[I].hours); }));
}

void add_elements(std::vector<Field>& fields) {
  fields.push_back(choice_field<FurnaceFile>("heaters.element.material", SAGGAR_AT(electric.element.material), element_words, "constant",
      "what the elements are made of: their resistance over temperature"));
  fields.push_back(SAGGAR_FIELD("heaters.element.rated_temperature", "degC", electric.element.rated_degc, -20.0, 2000.0,
      "of a new element while it takes its panel's power"));
  fields.push_back(SAGGAR_FIELD("heaters.element.used", "h", electric.element.hours, 0.0, 1e6, "time under current before this run"));
  fields.push_back(SAGGAR_FIELD("heaters.element.ageing", "1", electric.element.ageing, 0.0, 10.0,
      "growth of the resistance in 1000 h under current, over that of a new element"));
  fields.push_back(SAGGAR_FIELD("heaters.element.supply", "V", electric.element.supply_v, 0.0, 1000.0,
      "of a zone at nominal mains, behind a transformer; 0 the mains themselves"));
  fields.push_back(SAGGAR_FIELD("heaters.element.series_resistance", "ohm", electric.element.series_ohm, 0.0, 10.0,
      "of a zone's transformer and leads"));
  fields.push_back(choice_field<FurnaceFile>("heaters.element.wiring", SAGGAR_AT(electric.element.wiring), {"parallel", "series"},
      "parallel", "of the panels of a zone"));
  fields.push_back(SAGGAR_FIELD("heaters.element.surface", "m2", electric.element.surface_m2, 0.0, 5.0,
      "of the elements of one panel, for the surface load; 0 not known"));
  fields.push_back(SAGGAR_FIELD("heaters.element.limit", "degC", electric.element.limit_degc, 0.0, 3000.0,
      "highest temperature of the elements; 0 that of the material"));
  fields.push_back(yes_no_field<FurnaceFile>("heaters.element.melts", SAGGAR_AT(electric.element.melts), "no",
      "above the melting point of its material an element opens, for good"));
  fields.push_back(SAGGAR_FIELD("heaters.element.fuse", "A", electric.element.fuse_a, 0.0, 5000.0,
      "rated rms current of each zone's semiconductor fuse; 0 none"));
  fields.push_back(SAGGAR_FIELD("heaters.element.fuse_integral", "A2 s", electric.element.fuse_a2s, 1.0, 1e9,
      "square of the current above the rated one, over time, at which it melts"));
  add_element_of_zone<0>(fields);
  add_element_of_zone<1>(fields);
  add_element_of_zone<2>(fields);
  add_element_of_zone<3>(fields);
  fields.push_back(choice_field<FurnaceFile>("heaters.switch.firing", SAGGAR_AT(electric.power_switch.firing),
      {"averaged", "burst", "phase_angle"}, "averaged",
      "demand as power; whole cycles of the mains; or a delay angle of half a cycle less the demand's share of it"));
  fields.push_back(SAGGAR_FIELD("heaters.switch.mains_frequency", "Hz", electric.power_switch.mains_hz, 40.0, 70.0, "of the mains"));
  fields.push_back(yes_no_field<FurnaceFile>("heaters.switch.full_cycles", SAGGAR_AT(electric.power_switch.full_cycles), "yes",
      "bursts of whole cycles, else of half ones"));
  fields.push_back(SAGGAR_FIELD("heaters.switch.least_on", "s", electric.power_switch.least_on_s, 0.0, 60.0, "shortest burst"));
  fields.push_back(SAGGAR_FIELD("heaters.switch.least_off", "s", electric.power_switch.least_off_s, 0.0, 60.0,
      "shortest gap between bursts"));
}

void add_casing(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("casing.mass", "kg", casing.mass_kg, 0.5, 5000.0, "steel"));
  fields.push_back(SAGGAR_FIELD("casing.emissivity", "1", casing.emissivity, 0.05, 1.0, "total emissivity outside"));
  fields.push_back(SAGGAR_FIELD("casing.area", "m2", casing.area_m2, 0.0, 100.0, "outside, 0: computed from the lining"));
  fields.push_back(SAGGAR_FIELD("casing.convection", "1", casing.convection_w_m2k54, 0.5, 5.0,
                                "natural convection: h [W/(m2 K)] is this times the fourth root of the rise above the room [K]"));
  fields.push_back(SAGGAR_FIELD("casing.fan", "W/(m2 K)", casing.fan_w_m2k, 0.0, 100.0,
                                "forced convection while the cooling fan runs, 0: none is fitted"));
  fields.push_back(SAGGAR_FIELD("casing.fan_start", "degC", casing.fan_degc, 0.0, 200.0,
                                "casing temperature above which the fan runs; it stops 5 K below"));
  fields.push_back(SAGGAR_FIELD("casing.cold_junction_share", "1", casing.cold_junction_share, 0.0, 1.0,
                                "share of the casing's rise above the room that the terminal block sees"));
  fields.push_back(SAGGAR_FIELD("casing.cold_junction_lag", "s", casing.cold_junction_lag_s, 1.0, 1e5, "lag of the terminal block"));
}

void add_load(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("load.mass", "kg", load.mass_kg, 1e-3, 1000.0, "mass"));
  fields.push_back(SAGGAR_FIELD("load.surface_share", "1", load.surface_share, 0.05, 0.95, "share of the mass that is the surface node"));
  fields.push_back(SAGGAR_FIELD("load.area", "m2", load.area_m2, 1e-4, 20.0, "envelope"));
  fields.push_back(SAGGAR_FIELD("load.emissivity", "1", load.emissivity, 0.05, 1.0, "total emissivity"));
  fields.push_back(SAGGAR_FIELD("load.core_conductance", "W/K", load.core_w_k, 0.01, 1e4, "surface to core"));
  fields.push_back(SAGGAR_FIELD("load.rest_conductance", "W/K", load.rest_w_k, 0.0, 100.0, "to what it rests on"));
  fields.push_back(SAGGAR_FIELD("load.oxidation.factor", "kg2/(m4 s)", oxidation.factor_kg2_m4_s, 0.0, 1e6,
      "of its parabolic rate, mass gained per area squared; 0: it does not oxidise"));
  fields.push_back(SAGGAR_FIELD("load.oxidation.activation", "J/mol", oxidation.activation_j_mol, 20e3, 600e3,
      "activation energy of that rate"));
  fields.push_back(SAGGAR_FIELD("load.oxidation.heat", "J/mol", oxidation.heat_j_mol, 0.0, 1e6, "set free per mole of oxygen atoms"));
  add_material(fields, "load.material", SAGGAR_AT(load.material), "the load");
}

const std::vector<std::string> gases = {"none", "air", "nitrogen", "argon", "helium", "hydrogen"};   // in the order of plant::Gas
const std::vector<std::string> types = {"K", "N", "S", "R", "B", "J", "T", "E"};         // plant::ThermocoupleType

// Checked where it stands, so that what is wrong is told with its place.
Field carries_field(const char* gas, std::size_t number) {
  const auto at = [number](auto& file) -> auto& { return file.furnace.supply.carries[number]; };
  Field field = text_field<FurnaceFile>(std::string("supply.") + gas + ".carries", at, false,
      std::string("what the cylinder of ") + gas + " carries instead, by a name of `saggar gases` or as percent by volume (95 N2 5 CH4); "
      "the meter's factor for it is computed");
  field.set = [set = field.set](void* object, const FieldValue& value) {
    check_composition(value.text, value.place);
    set(object, value);
  };
  return field;
}

void add_supply(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("supply.regulated", "Pa gauge", supply.regulated_pa, 1e3, 1e6, "regulated supply pressure"));
  fields.push_back(SAGGAR_FIELD("supply.present", "Pa gauge", supply.present_pa, 0.0, 1e6, "the supply-pressure switch makes above this"));
  fields.push_back(SAGGAR_FIELD("supply.decay", "s", supply.decay_s, 0.1, 1000.0, "lag of the supply when it fails or returns"));
  fields.push_back(choice_field<FurnaceFile>("supply.purge_gas", SAGGAR_AT(supply.purge), gases, "argon", "gas of the inert purge"));
  fields.push_back(choice_field<FurnaceFile>("supply.blend_gas", SAGGAR_AT(supply.blend), gases, "nitrogen",
      "gas of mass-flow controller 2"));
  fields.push_back(SAGGAR_FIELD("supply.argon.oxygen", "ppm", supply.argon.oxygen_ppm, 0.0, 1e4, "oxygen in the supplied argon"));
  fields.push_back(SAGGAR_FIELD("supply.argon.water", "ppm", supply.argon.water_ppm, 0.0, 1e4, "water in the supplied argon"));
  fields.push_back(SAGGAR_FIELD("supply.nitrogen.oxygen", "ppm", supply.nitrogen.oxygen_ppm, 0.0, 1e4, "oxygen in the supplied nitrogen"));
  fields.push_back(SAGGAR_FIELD("supply.nitrogen.water", "ppm", supply.nitrogen.water_ppm, 0.0, 1e4, "water in the supplied nitrogen"));
  fields.push_back(SAGGAR_FIELD("supply.helium.oxygen", "ppm", supply.helium.oxygen_ppm, 0.0, 1e4, "oxygen in the supplied helium"));
  fields.push_back(SAGGAR_FIELD("supply.helium.water", "ppm", supply.helium.water_ppm, 0.0, 1e4, "water in the supplied helium"));
  fields.push_back(SAGGAR_FIELD("supply.hydrogen.oxygen", "ppm", supply.hydrogen.oxygen_ppm, 0.0, 1e4, "oxygen in the supplied hydrogen"));
  fields.push_back(SAGGAR_FIELD("supply.hydrogen.water", "ppm", supply.hydrogen.water_ppm, 0.0, 1e4, "water in the supplied hydrogen"));
  fields.push_back(SAGGAR_FIELD("supply.hydrogen.nitrogen", "1", supply.hydrogen_nitrogen, 0.0, 0.99,
      "share of nitrogen in that bottle: forming gas that comes mixed"));
  fields.push_back(carries_field("nitrogen", 2));
  fields.push_back(carries_field("argon", 3));
  fields.push_back(carries_field("helium", 4));
  fields.push_back(carries_field("hydrogen", 5));
  fields.push_back(SAGGAR_FIELD("supply.air.water", "ppm", supply.air_water_ppm, 0.0, 4e4, "water in supplied air and in the room's air"));
}

constexpr const char* conversion_meaning =
    "conversion factor relative to nitrogen; computed from heat capacity and structure if not given (`saggar gases`)";

void add_inlets(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("meter.full_scale", "slm", meter.full_scale_slm, 0.01, 500.0, "mass-flow controller, in nitrogen"));
  fields.push_back(SAGGAR_FIELD("meter.lag", "s", meter.lag_s, 0.05, 10.0, "lag of its own loop"));
  fields.push_back(SAGGAR_FIELD("meter.capacity", "1", meter.capacity_share, 0.5, 10.0,
                                "most it passes from the regulated supply to the barometer, over full scale"));
  fields.push_back(SAGGAR_FIELD("meter.conversion.air", "1", meter.conversion_air, 0.3, 2.0, conversion_meaning));
  fields.push_back(SAGGAR_FIELD("meter.conversion.argon", "1", meter.conversion_argon, 0.3, 2.0, conversion_meaning));
  fields.push_back(SAGGAR_FIELD("meter.conversion.helium", "1", meter.conversion_helium, 0.3, 2.0, conversion_meaning));
  fields.push_back(SAGGAR_FIELD("meter.conversion.hydrogen", "1", meter.conversion_hydrogen, 0.3, 2.0, conversion_meaning));
  fields.push_back(yes_no_field<FurnaceFile>("meter.direct", SAGGAR_AT(meter.direct), "no",
      "the controller drives the valves of the mass-flow controllers, which have no loop of their own"));
  fields.push_back(SAGGAR_FIELD("burn_off.proves", "s", burn_off.proves_s, 0.1, 60.0, "from the pilot's valve to the flame proven"));
  fields.push_back(SAGGAR_FIELD("burn_off.lost", "s", burn_off.lost_s, 0.05, 10.0, "from the flame going out to its detector saying so"));
  fields.push_back(SAGGAR_FIELD("purge.flow", "slm", purge.flow_slm, 0.01, 100.0, "restrictor, regulated supply to barometer, in its gas"));
}

void add_outlets(std::vector<Field>& fields) {
  const auto area = [&](const char* key, auto at, double low, const char* meaning) {
    fields.push_back(quantity(key, "m2", at, low, 1e-2, meaning));
  };
  area("back_pressure_valve.area", SAGGAR_AT(back_pressure_valve.area_m2), 1e-8, "effective flow area wide open");
  fields.push_back(SAGGAR_FIELD("back_pressure_valve.rangeability", "1", back_pressure_valve.rangeability, 2.0, 200.0,
                                "of its equal-percentage characteristic"));
  fields.push_back(SAGGAR_FIELD("back_pressure_valve.shut_below", "1", back_pressure_valve.shut_below, 0.0, 0.2,
                                "travel below which it tapers to shut"));
  fields.push_back(SAGGAR_FIELD("back_pressure_valve.lag", "s", back_pressure_valve.lag_s, 0.02, 10.0, "positioner"));
  fields.push_back(SAGGAR_FIELD("back_pressure_valve.stroke", "s", back_pressure_valve.stroke_s, 0.1, 300.0, "fastest full stroke"));
  area("exhaust.area", SAGGAR_AT(exhaust.area_m2), 1e-8, "effective flow area of the exhaust shut-off");
  area("bypass.area", SAGGAR_AT(bypass.area_m2), 1e-8, "effective flow area of the bypass");
  fields.push_back(SAGGAR_FIELD("check_valve.crack", "Pa diff", check_valve.crack_pa, 0.0, 1e4, "cracking pressure"));
  area("check_valve.area", SAGGAR_AT(check_valve.area_m2), 1e-8, "effective flow area open");
  fields.push_back(SAGGAR_FIELD("check_valve.leak", "m2", check_valve.leak_m2, 0.0, 1e-6, "effective area backward"));
  fields.push_back(SAGGAR_FIELD("relief.set", "Pa gauge", relief.set_pa, 100.0, 1e6, "set pressure"));
  fields.push_back(SAGGAR_FIELD("relief.full_lift", "Pa diff", relief.full_pa, 10.0, 1e5, "accumulation to full lift"));
  area("relief.area", SAGGAR_AT(relief.area_m2), 1e-8, "effective flow area at full lift");
  area("air_admittance.area", SAGGAR_AT(air.area_m2), 1e-8, "effective flow area");
}

void add_vacuum(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("pump.speed", "m3/s", pump.speed_m3_s, 1e-5, 1.0, "displacement"));
  fields.push_back(SAGGAR_FIELD("pump.base", "Pa abs", pump.base_pa, 1e-4, 1000.0, "base pressure"));
  fields.push_back(SAGGAR_FIELD("pump.spin_up", "s", pump.spin_up_s, 0.05, 60.0, "lag of its speed"));
  fields.push_back(SAGGAR_FIELD("pump.vent", "m2", pump.vent_m2, 1e-8, 1e-3, "inlet vent, opens when it stops"));
  fields.push_back(SAGGAR_FIELD("pump.back", "m2", pump.back_m2, 0.0, 1e-3,
      "effective area by which room air comes back through it when it stands, 0: it seals"));
  fields.push_back(SAGGAR_FIELD("hose.volume", "m3", hose.volume_m3, 1e-5, 0.1, "behind the isolation valve, pump inlet included"));
  fields.push_back(SAGGAR_FIELD("hose.diameter", "m", hose.diameter_m, 1e-3, 0.3, "inside diameter"));
  fields.push_back(SAGGAR_FIELD("hose.length", "m", hose.length_m, 0.01, 50.0, "length"));
  fields.push_back(SAGGAR_FIELD("leak", "Pa m3/s", leak.flow_pa_m3_s, 0.0, 10.0, "at one atmosphere of difference, air at 20 degC"));
}

template <std::size_t I>
void add_site(std::vector<Field>& fields) {
  const std::string prefix = "outgassing.sites." + std::to_string(I + 1);
  fields.push_back(SAGGAR_FIELD((prefix + ".held").c_str(), "mol", outgassing.site[I].held_mol, 0.0, 10.0, "water held at start"));
  fields.push_back(SAGGAR_FIELD((prefix + ".activation").c_str(), "J/mol", outgassing.site[I].activation_j_mol, 20e3, 400e3,
                                "activation energy of its desorption"));
  fields.push_back(SAGGAR_FIELD((prefix + ".capacity").c_str(), "mol", outgassing.site[I].capacity_mol, 0.0, 10.0,
                                "water it can hold, at least what it holds at start"));
}

void add_outgassing(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("outgassing.frequency", "1/s", outgassing.frequency_per_s, 1.0, 1e16, "frequency factor, first order"));
  fields.push_back(SAGGAR_FIELD("outgassing.uptake", "1/(Pa s)", outgassing.uptake_per_pa_s, 0.0, 1.0,
                                "water that comes back, of a site's free capacity, 0: none"));
  add_site<0>(fields);
  add_site<1>(fields);
  add_site<2>(fields);
  add_site<3>(fields);
}

void add_mixing(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("dryer.capacity", "kg", dryer.capacity_kg, 0.0, 10.0,
      "water that the supply's dryer holds, 0: none fitted"));
  fields.push_back(SAGGAR_FIELD("dryer.inlet_water", "ppm", dryer.inlet_ppm, 0.0, 1e4, "water before it, beyond the gas's own"));
  fields.push_back(SAGGAR_FIELD("mixing.stagnant", "1", mixing.stagnant_share, 0.0, 0.9,
      "share of the gas volume that what flows through does not reach, 0: perfectly mixed"));
  fields.push_back(SAGGAR_FIELD("mixing.exchange", "m3/s", mixing.exchange_m3_s, 0.0, 1.0, "gas that it exchanges with the rest"));
}

// A number of a part that the furnace has more than once.
template <class At, class Member>
Field part_of(At part, const std::string& key, const char* unit, Member member, double low, double high, const char* meaning) {
  const auto at = [part, member](auto& file) -> auto& { return part(file).*member; };
  return quantity(key.c_str(), unit, at, low, high, meaning);
}

template <class At>
void add_load_thermocouple(std::vector<Field>& fields, const std::string& prefix, At thermocouple) {
  const auto add = [&](const char* key, const char* unit, auto member, double low, double high, const char* meaning) {
    fields.push_back(part_of(thermocouple, prefix + "." + key, unit, member, low, high, meaning));
  };
  using T = plant::LoadThermocouple;
  add("heat_capacity", "J/K", &T::heat_j_k, 0.01, 50.0, "of the sheathed tip");
  add("area", "m2", &T::area_m2, 1e-6, 0.01, "seen by the retort's inner wall");
  add("emissivity", "1", &T::emissivity, 0.05, 1.0, "total emissivity");
  add("contact", "W/K", &T::contact_w_k, 1e-4, 10.0, "to the load's surface");
  add("wall_view", "1", &T::wall_view, 0.0, 1.0, "view of the inner wall");
}

template <class At>
void add_age(std::vector<Field>& fields, const std::string& prefix, At age) {
  const auto add = [&](const char* key, const char* unit, auto member, double low, double high, const char* meaning) {
    fields.push_back(part_of(age, prefix + "." + key, unit, member, low, high, meaning));
  };
  using T = plant::ThermocoupleAge;
  add("drift", "K", &T::drift_k, -200.0, 200.0, "error of the wire at drift_at when a run begins; it goes with hot less cold");
  add("drift_growth", "K", &T::drift_k_1000h, -200.0, 200.0, "what is added to it in 1000 h at drift_at");
  add("drift_at", "degC", &T::at_degc, 100.0, 1800.0, "junction's temperature for which both are given");
  add("drift_doubling", "K", &T::doubling_k, 10.0, 500.0, "so much hotter it grows twice as fast");
}

void add_thermocouples(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("thermocouples.heater.heat_capacity", "J/K", thermocouples.heater.heat_j_k, 0.01, 50.0,
      "of the sheathed tip"));
  fields.push_back(SAGGAR_FIELD("thermocouples.heater.area", "m2", thermocouples.heater.area_m2, 1e-6, 0.01, "area of the tip"));
  fields.push_back(SAGGAR_FIELD("thermocouples.heater.emissivity", "1", thermocouples.heater.emissivity, 0.05, 1.0, "total emissivity"));
  fields.push_back(SAGGAR_FIELD("thermocouples.heater.panel_view", "1", thermocouples.heater.panel_view, 0.0, 1.0,
      "view of its zone's panels"));
  fields.push_back(SAGGAR_FIELD("thermocouples.heater.retort_view", "1", thermocouples.heater.retort_view, 0.0, 1.0,
                                "view of the retort (vessel: of the load)"));
  fields.push_back(SAGGAR_FIELD("thermocouples.heater.lining_view", "1", thermocouples.heater.lining_view, 0.0, 1.0, "view of the lining"));
  add_age(fields, "thermocouples.heater", SAGGAR_AT(thermocouples.heater_age));
  add_load_thermocouple(fields, "thermocouples.load", SAGGAR_AT(thermocouples.load));
  add_age(fields, "thermocouples.load", SAGGAR_AT(thermocouples.load_age));
  add_load_thermocouple(fields, "thermocouples.load_2", SAGGAR_AT(thermocouples.load2));
  add_age(fields, "thermocouples.load_2", SAGGAR_AT(thermocouples.load2_age));
  fields.push_back(SAGGAR_FIELD("limiter.trip", "degC", limiter.trip_degc, 50.0, 1800.0, "independent over-temperature limiter"));
  fields.push_back(SAGGAR_FIELD("limiter.heat_capacity", "J/K", limiter.sensor_heat_j_k, 0.01, 50.0, "of its sensor"));
  fields.push_back(SAGGAR_FIELD("limiter.area", "m2", limiter.sensor_area_m2, 1e-6, 0.01, "of its sensor"));
  fields.push_back(SAGGAR_FIELD("limiter.panel_view", "1", limiter.panel_view, 0.0, 1.0, "view of the panels of zone 1"));
}

void add_surroundings(std::vector<Field>& fields) {
  fields.push_back(SAGGAR_FIELD("mains.nominal", "V", mains.nominal_v, 24.0, 1000.0, "voltage at which panels have their power"));
  fields.push_back(SAGGAR_FIELD("mains.actual", "V", mains.actual_v, 0.0, 1000.0, "voltage there is"));
  fields.push_back(SAGGAR_FIELD("surroundings.ambient", "degC", surroundings.ambient_degc, -20.0, 60.0, "room"));
  fields.push_back(SAGGAR_FIELD("surroundings.barometer", "Pa abs", surroundings.barometer_pa, 60e3, 110e3, "barometric pressure"));
  fields.push_back(choice_field<FurnaceFile>("initial.gas", SAGGAR_AT(initial.gas), gases, "air", "gas inside at start"));
  fields.push_back(SAGGAR_FIELD("initial.pressure", "Pa abs", initial.pressure_pa, 1.0, 2e5, "inside at start"));
  fields.push_back(SAGGAR_FIELD("initial.furnace", "degC", initial.furnace_degc, -20.0, 1300.0, "all solids at start"));
  fields.push_back(SAGGAR_FIELD("initial.oxygen_cell", "degC", initial.oxygen_cell_degc, -20.0, 800.0, "heated zirconia cell at start"));
}

template <class At>
void add_span(std::vector<Field>& fields, const std::string& name, const char* unit, At span, double low, double high) {
  const auto low_at = [span](auto& file) -> auto& { return span(file).low; };
  const auto high_at = [span](auto& file) -> auto& { return span(file).high; };
  fields.push_back(quantity(("instruments." + name + ".low").c_str(), unit, low_at, low, high, "process value at 4 mA"));
  fields.push_back(quantity(("instruments." + name + ".high").c_str(), unit, high_at, low, high, "process value at 20 mA"));
}

void add_instruments(std::vector<Field>& fields) {
  fields.push_back(choice_field<FurnaceFile>("instruments.zone_thermocouple", SAGGAR_AT(instruments.zone_thermocouple), types, "N",
      "type"));
  fields.push_back(choice_field<FurnaceFile>("instruments.load_thermocouple", SAGGAR_AT(instruments.load_thermocouple), types, "N",
      "type"));
  add_span(fields, "gauge_pressure", "Pa gauge", SAGGAR_AT(instruments.gauge_pressure_pa), -101325.0, 1e6);
  add_span(fields, "barometer", "Pa abs", SAGGAR_AT(instruments.barometer_pa), 0.0, 2e5);
  add_span(fields, "mains", "V", SAGGAR_AT(instruments.mains_v), 0.0, 2000.0);
  add_span(fields, "supply_pressure", "Pa gauge", SAGGAR_AT(instruments.supply_pa), -101325.0, 2e6);
  add_span(fields, "casing", "degC", SAGGAR_AT(instruments.casing_degc), -100.0, 1000.0);
  add_span(fields, "current", "A", SAGGAR_AT(instruments.current_a), 0.0, 1000.0);
  add_span(fields, "dew_point", "degC", SAGGAR_AT(instruments.dew_point_degc), -150.0, 100.0);
  fields.push_back(SAGGAR_FIELD("instruments.capacitance_full_scale", "Pa abs", instruments.vacuum_full_scale_pa, 10.0, 1.4e5, "at 10 V"));
  fields.push_back(SAGGAR_FIELD("instruments.over_pressure_switch", "Pa gauge", instruments.over_pressure_pa, 100.0, 1e6,
      "makes above this"));
  fields.push_back(SAGGAR_FIELD("instruments.oxygen_cell.set", "degC", instruments.oxygen_cell_set_degc, 500.0, 900.0,
      "its own controller holds this"));
  fields.push_back(SAGGAR_FIELD("instruments.oxygen_cell.warm_up", "s", instruments.oxygen_cell_warm_s, 1.0, 3600.0, "lag of its warming"));
  fields.push_back(SAGGAR_FIELD("instruments.oxygen_cell.lag", "s", instruments.oxygen_lag_s, 0.1, 300.0, "of the cell itself"));
  fields.push_back(SAGGAR_FIELD("instruments.dew_point_lag", "s", instruments.dew_point_lag_s, 0.1, 3600.0, "of the sensor itself"));
  fields.push_back(SAGGAR_FIELD("instruments.sample_line", "m3", instruments.sample_line_m3, 0.0, 0.01,
                                "between retort and oxygen and dew-point instruments, swept by the exhaust flow"));
  fields.push_back(SAGGAR_FIELD("instruments.noise_scale", "1", instruments.noise_scale, 0.0, 100.0,
      "of ordinary instruments' noise, 0 none"));
  fields.push_back(SAGGAR_FIELD("instruments.quantum_scale", "1", instruments.quantum_scale, 0.0, 100.0,
      "of ordinary instruments' resolution, 0 none"));
  fields.push_back(SAGGAR_FIELD("instruments.watchdog", "s", instruments.watchdog_s, 0.2, 60.0, "no valid exchange this long: safe row"));
}

#undef SAGGAR_FIELD

FieldTable make_table() {
  FieldTable table{"furnace", "A furnace: geometry, materials, piping, instruments and how it stands at start.", {}};
  std::vector<Field>& fields = table.fields;
  fields.push_back(text_field<FurnaceFile>("title", [](auto& file) -> auto& { return file.title; }, true, "what it is, in a few words"));
  fields.push_back(choice_field<FurnaceFile>("boundary", SAGGAR_AT(boundary), {"retort", "vessel"}, "",
                                             "what holds vacuum and gas: a retort inside the heater chamber, or the casing"));
  add_retort(fields);
  add_plug(fields);
  add_lining(fields);
  add_heaters(fields);
  add_elements(fields);
  add_casing(fields);
  add_load(fields);
  add_supply(fields);
  add_inlets(fields);
  add_outlets(fields);
  add_vacuum(fields);
  add_outgassing(fields);
  add_mixing(fields);
  add_thermocouples(fields);
  add_surroundings(fields);
  add_instruments(fields);
  return table;
}

#undef SAGGAR_AT

}  // namespace

void check_composition(const std::string& text, const SourcePlace& place) {
  try {
    (void)plant::read_composition(text);
  } catch (const plant::CompositionError& error) {
    throw InputError(place, error.found, error.expected, error.word.empty() ? "" : nearest_name(error.word, plant::plant_gases()));
  }
}

const FieldTable& furnace_fields() {
  static const FieldTable table = make_table();
  return table;
}

FurnaceFile read_furnace(const YamlNode& map) {
  FurnaceFile file;
  read_fields(map, furnace_fields(), &file);
  try {
    (void)plant::build(file.furnace);
  } catch (const std::invalid_argument& error) {
    throw InputError(map.place, std::string("a furnace that cannot be built: ") + error.what(), "values that fit each other");
  }
  return file;
}

FurnaceFile load_furnace(const std::filesystem::path& file) { return read_furnace(read_yaml(file)); }

std::string write_furnace(const FurnaceFile& file, int indent) { return write_fields(furnace_fields(), &file, indent); }

}  // namespace sim
