// A furnace as its file describes it, in SI: what the loader fills and Model is built from. (Owned by the plant; see model.h
// for what the solver makes of it.) Every member: unit, sensible range. The initialisers are the demo furnace.
//
// Geometry: a horizontal cylinder. From the inside: load; retort (barrel, closed rear end, plug in the mouth); heater chamber
// in air with four panels on its barrel; fibre lining on barrel, rear and front; steel casing.
#pragma once

#include <array>
#include <cstdint>
#include <limits>
#include <string>

#include "plant/process_values.h"
#include "plant/thermocouple.h"

namespace plant {

// What holds vacuum and process gas. retort: the ceramic cylinder, the heaters stand outside it in air. vessel: the casing,
// so that heaters, lining face and load all stand in the process gas and `retort` below is not used except volume_m3.
enum class Boundary : std::uint8_t { retort, vessel };

enum class Gas : std::uint8_t { none, air, nitrogen, argon, helium, hydrogen };   // as the field line's gas select numbers them

// Solid. With t in degC: conductivity = k0 + k1 t + k2 t^2 [W/(m K)], heat capacity = c0 + c1 t + c2 t^2 [J/(kg K)]; both
// are kept at or above a tenth of their value at 20 degC.
struct Material {
  double density_kg_m3 = 1000.0;          // 50 .. 20000
  double k0_w_mk = 1.0;                   // 0.01 .. 500
  double k1_w_mk2 = 0.0;                  // -1 .. 1
  double k2_w_mk3 = 0.0;                  // -1e-3 .. 1e-3
  double c0_j_kgk = 1000.0;               // 50 .. 5000
  double c1_j_kgk2 = 0.0;                 // -10 .. 10
  double c2_j_kgk3 = 0.0;                 // -1e-2 .. 1e-2
};

struct Retort {
  double volume_m3 = 12e-3;               // free gas inside, load in place; 1e-4 .. 1
  double inner_diameter_m = 0.200;        // 0.02 .. 2
  double length_m = 0.382;                // inside, rear end to plug face; 0.02 .. 5
  double wall_m = 7e-3;                   // barrel and closed end; 1e-3 .. 0.05
  double emissivity_outside = 0.80;       // 0.05 .. 1
  double emissivity_inside = 0.75;        // 0.05 .. 1
  // dense mullite ceramic: published ranges of dense mullite, rounded
  Material material{2950.0, 5.4, -3.4e-3, 1.3e-6, 780.0, 0.75, -4.0e-4};
};

// Plug in the mouth of the retort (or the door's inner lining of a vessel). The neck is the part of the retort's barrel
// around the plug, beyond the heated length; neck_wall_m = 0: none.
struct Plug {
  double length_m = 0.20;                 // hot face to cold face; 0.02 .. 1
  double diameter_m = 0.200;              // 0.02 .. 2
  double neck_wall_m = 7e-3;              // 0 .. 0.05
  double pore_m3 = 2e-3;                  // gas in its pores, near ambient, at the chamber's pressure; 0 .. 0.5
  double pore_degc = 40.0;                // temperature of that gas with the furnace hot or cold; 0 .. 500
  double emissivity = 0.75;               // of the hot face; 0.05 .. 1
  double cold_face_w_m2k = 12.0;          // cold face and flange to the room; 1 .. 100
  double opening_m2 = 4e-3;               // free area with the plug out / door open, at least; 1e-4 .. 1
  double opening_exchange_m3_s = 3e-3;    // air that natural convection exchanges through it; 0 .. 1
  Material material{350.0, 0.09, 6e-5, 8e-8, 800.0, 0.35, 0.0};      // light insulating brick / vacuum-formed fibre
};

struct Lining {
  double chamber_diameter_m = 0.280;      // inside face of the lining on the barrel; > retort outside; 0.03 .. 3
  double chamber_length_m = 0.400;        // between the end faces; 0.03 .. 5
  double thickness_m = 0.100;             // barrel, rear and front alike; 0.02 .. 0.6
  double front_opening_m = 0.230;         // diameter of the hole in the front lining for the retort's neck; 0 .. 3
  double emissivity = 0.75;               // hot face; 0.05 .. 1
  // Vessel: the process gas fills lining and door, and `material` holds in air of one atmosphere (pore_gas.h).
  double pore_m = 0.0;                    // mean size of its pores; 0: conductivity whatever the gas; 0 .. 1e-3
  double porosity = 0.9;                  // 0 .. 0.99
  Material material{200.0, 0.055, 6.0e-5, 1.25e-7, 800.0, 0.35, -0.8e-4};   // ceramic fibre, 200 kg/m3, recalled, +-25 %
};

struct Panel {
  int zone = 1;                           // heat zone (1 .. zones) whose demand drives it; 1 .. 4
  double power_w = 750.0;                 // at nominal mains; 10 .. 50000
};

struct Heaters {
  int zones = 1;                          // heat loops: 1 .. 4; with 1 all panels follow zone 1
  std::array<Panel, 4> panel{};           // around the barrel of the heater chamber
  double area_m2 = 0.070;                 // radiating front of one panel; 1e-3 .. 5
  double mass_kg = 0.45;                  // of one panel; 0.02 .. 100
  double emissivity = 0.85;               // 0.05 .. 1
  double back_w_m2k = 18.0;               // panel to the lining face behind it, per panel area; 0.5 .. 500
  double air_w_m2k = 6.0;                 // natural convection between panels, lining and retort, air in the gap; 0 .. 50
  Material material{1000.0, 1.0, 0.0, 0.0, 820.0, 0.30, 0.0};        // only its heat capacity is used
};

// --- Electric heating: what the elements are, and how their power is switched ------------------------------------------------

// As plant/element.h describes them. constant: resistance the same whatever the temperature. same: in a zone, as the furnace has it.
enum class ElementMaterial : std::uint8_t { constant, fecral, fecral_molybdenum, nichrome, silicon_carbide, molybdenum_disilicide, same };
enum class Wiring : std::uint8_t { parallel, series };                  // of the panels of a zone
enum class Firing : std::uint8_t { averaged, burst, phase_angle };     // plant/firing.h

struct Element {
  ElementMaterial material = ElementMaterial::constant;
  double rated_degc = 20.0;               // of the element, at which a new one takes its power_w; -20 .. 2000
  double hours = 0.0;                     // under current before this run; 0 .. 1e6
  double ageing = 0.0;                    // resistance grows by so much of the new one's in 1000 h under current; 0 .. 10
  double supply_v = 0.0;                  // of a zone at nominal mains, behind a transformer; 0: the mains; 0 .. 1000
  double series_ohm = 0.0;                // transformer and leads of a zone, on the elements' side; 0 .. 10
  Wiring wiring = Wiring::parallel;
  double surface_m2 = 0.0;                // of the elements of one panel, for the surface load; 0: not known; 0 .. 5
  double limit_degc = 0.0;                // highest it may have; 0: that of its material; 0 .. 3000
  bool melts = false;                     // above the melting point of its material it opens, for good
  double fuse_a = 0.0;                    // semiconductor fuse of each zone: rated rms current; 0: none; 0 .. 5000
  double fuse_a2s = 1000.0;               // its melting integral above that current; 1 .. 1e9
};
struct ElementOfZone {                    // what a zone has otherwise; not a number: as the furnace has it
  ElementMaterial material = ElementMaterial::same;
  double rated_degc = std::numeric_limits<double>::quiet_NaN();
  double hours = std::numeric_limits<double>::quiet_NaN();
};
struct PowerSwitch {
  Firing firing = Firing::averaged;
  double mains_hz = 50.0;                 // 40 .. 70
  bool full_cycles = true;                // bursts of whole cycles, else of half ones
  double least_on_s = 0.0, least_off_s = 0.0;   // of a burst and of the gap behind it; 0 .. 60
};
struct ElectricHeating {
  Element element{};
  std::array<ElementOfZone, 4> zone{};
  PowerSwitch power_switch{};
};

struct Casing {
  double mass_kg = 14.0;                  // steel; 0.5 .. 5000
  double emissivity = 0.85;               // painted; 0.05 .. 1
  double area_m2 = 0.0;                   // outside; 0: computed from the lining; 0 .. 100
  double convection_w_m2k54 = 1.6;        // natural convection h = this * |dT|^0.25; 0.5 .. 5
  double fan_w_m2k = 0.0;                 // forced convection while the cooling fan runs; 0: none is fitted; 0 .. 100
  double fan_degc = 50.0;                 // of the casing: the fan starts above, and stops 5 K below; 0 .. 200
  double cold_junction_share = 0.25;      // of the casing's rise above ambient seen by the terminal block; 0 .. 1
  double cold_junction_lag_s = 900.0;     // 1 .. 1e5
};

struct Load {
  double mass_kg = 0.5;                   // 1e-3 .. 1000
  double surface_share = 0.4;             // of the mass that is the surface node; 0.05 .. 0.95
  double area_m2 = 0.060;                 // envelope; 1e-4 .. 20
  double emissivity = 0.6;                // 0.05 .. 1
  double core_w_k = 9.0;                  // conductance between surface and core; 0.01 .. 1e4
  double rest_w_k = 0.15;                 // contact to the retort (vessel: lining) it rests on; 0 .. 100
  Material material{4430.0, 6.7, 0.0, 0.0, 523.0, 0.22, 0.0};        // titanium below the alpha-beta transformation
};

// Mole fractions of impurities in each supplied gas.
struct Purity {
  double oxygen_ppm = 1.0;                // 0 .. 10000
  double water_ppm = 2.0;                 // 0 .. 10000
};

struct GasSupply {
  double regulated_pa = 40e3;             // gauge; 1e3 .. 1e6
  double present_pa = 15e3;               // gauge; supply-pressure switch makes above this; 0 .. 1e6
  double decay_s = 3.0;                   // lag of the supply pressure when it fails or returns; 0.1 .. 1000
  Gas purge = Gas::argon;                 // what the inert purge carries
  Gas blend = Gas::nitrogen;              // what mass-flow controller 2 carries
  Purity argon{};
  Purity nitrogen{3.0, 3.0};
  Purity helium{1.0, 2.0};
  Purity hydrogen{1.0, 2.0};
  double hydrogen_nitrogen = 0.0;         // mole fraction of nitrogen in that bottle: forming gas that comes mixed; 0 .. 0.99
  double air_water_ppm = 10000.0;         // water in supplied air and in the room's air; 0 .. 40000
  // By gas select, 2 .. 5: what the cylinder carries instead of its gas, as meter_gas.h reads compositions; empty: its gas. Oxygen and
  // water above are in it besides. The meter's factor for it is computed.
  std::array<std::string, 6> carries{};
};

// Mass-flow controllers (two alike). Conversion factors are relative to nitrogen, the calibration gas.
struct Meter {
  double full_scale_slm = 5.0;            // of nitrogen, at 0 degC and 101.325 kPa; 0.01 .. 500
  double lag_s = 0.3;                     // own fast loop; 0.05 .. 10
  double capacity_share = 1.6;            // most it passes wide open from the regulated supply to the barometer / full scale
  double conversion_air = 1.00;           // 0.3 .. 2
  double conversion_argon = 1.40;         // 0.3 .. 2
  double conversion_helium = 1.45;        // 0.3 .. 2
  double conversion_hydrogen = 1.01;      // 0.3 .. 2
  bool direct = false;                    // the station's output is the position of their valves: no loop of their own
};

// What leaves the exhaust is burnt at a pilot flame, watched by a flame detector.
struct BurnOff {
  double proves_s = 3.0;                  // from the pilot's valve opening to the flame proven; 0.1 .. 60
  double lost_s = 0.5;                    // from the flame going out to the detector saying so; 0.05 .. 10
};

struct PurgeRestrictor {
  double flow_slm = 1.0;                  // of its gas, from the regulated supply to the barometer; 0.01 .. 100
};

// Flow areas are effective (discharge coefficient included). Gas reaches all of them near ambient temperature.
struct BackPressureValve {
  double area_m2 = 4.0e-6;                // wide open; 1e-8 .. 1e-2
  double rangeability = 50.0;             // equal percentage: area * R^(x-1), tapering to shut below shut_below; 2 .. 200
  double shut_below = 0.03;               // 0 .. 0.2
  double lag_s = 0.3;                     // positioner; 0.02 .. 10
  double stroke_s = 2.0;                  // fastest full stroke; 0.1 .. 300
};

struct ExhaustShutOff { double area_m2 = 40e-6; };        // 1e-8 .. 1e-2
struct Bypass { double area_m2 = 40e-6; };                // 1e-8 .. 1e-2
struct AirAdmittance { double area_m2 = 20e-6; };         // 1e-8 .. 1e-2

struct CheckValve {
  double crack_pa = 300.0;                // 0 .. 1e4
  double area_m2 = 30e-6;                 // open; 1e-8 .. 1e-2
  double leak_m2 = 0.0;                   // backward; 0 .. 1e-6
};

struct Relief {
  double set_pa = 15e3;                   // gauge; 100 .. 1e6
  double full_pa = 1.5e3;                 // accumulation to full lift; 10 .. 1e5
  double area_m2 = 4e-6;                  // full lift; 1e-8 .. 1e-2
};

struct Pump {
  double speed_m3_s = 0.5e-3;             // displacement; 1e-5 .. 1
  double base_pa = 0.7;                   // abs; 1e-4 .. 1000
  double spin_up_s = 3.0;                 // lag of its speed; "at speed" above 0.9; 0.05 .. 60
  double vent_m2 = 4e-6;                  // inlet vent, opens when it stops; 1e-8 .. 1e-3
  double back_m2 = 0.0;                   // room air back through it when it stands; 0: it seals; 0 .. 1e-3
};

struct Hose {
  double volume_m3 = 1e-3;                // behind the isolation valve, pump inlet included; 1e-5 .. 0.1
  double diameter_m = 0.016;              // 1e-3 .. 0.3
  double length_m = 1.5;                  // 0.01 .. 50
};

struct Leak {
  double flow_pa_m3_s = 1.5e-4;           // at one atmosphere of difference, air at 20 degC; follows the sign; 0 .. 10
};

// Water that leaves the inner surfaces, first order in what is left: rate = held * frequency * exp(-E / (R T)), T the
// retort's inner wall (vessel: lining face).
// It comes back to a site by Langmuir's law, in proportion to the vapour's pressure and to what is free of the site's capacity.
struct Site {
  double held_mol = 0.0;                  // at start; 0 .. 10
  double activation_j_mol = 100e3;        // 20e3 .. 400e3
  double capacity_mol = 0.0;              // 0: what it holds at start; 0 .. 10
};
struct Outgassing {
  double frequency_per_s = 1e13;          // 1 .. 1e16
  double uptake_per_pa_s = 0.0;           // of what is free; 0: no water comes back; 0 .. 1
  std::array<Site, 4> site{Site{0.9e-3, 88e3}, Site{1.1e-3, 105e3}, Site{0.9e-3, 125e3}, Site{0.1e-3, 152e3}};
};

// The chamber's gas is well mixed but for a share that what flows through does not reach; both have one pressure and temperature.
struct Mixing {
  double stagnant_share = 0.0;            // of the volume of free gas and pores; 0: perfectly mixed; 0 .. 0.9
  double exchange_m3_s = 0.0;             // between the two zones, each way; 0 .. 1
};

// What dries every bottled gas: takes what comes with it beyond the gas's own water (GasSupply) until it is full, then lets it through;
// over the last tenth of its capacity more and more.
struct Dryer {
  double capacity_kg = 0.0;               // of water; 0: none is fitted; 0 .. 10
  double inlet_ppm = 0.0;                 // water by volume before it, beyond the gas's own; 0 .. 10000
};

// Oxide on the load. Parabolic while gas brings enough: (mass gained per area)^2 grows by factor * exp(-E / (R T)), T the load's surface;
// in thin gas what diffuses through the still film. Oxygen and water are taken, of water the hydrogen is given back.
struct Oxidation {
  double factor_kg2_m4_s = 0.0;           // 0: none; 0 .. 1e6
  double activation_j_mol = 200e3;        // 20e3 .. 600e3
  double heat_j_mol = 0.0;                // set free for each mole of oxygen atoms; 0 .. 1e6
};

// Junctions and their surroundings. Weights need not sum to one.
struct HeaterThermocouple {
  double heat_j_k = 0.6;                  // of the sheathed tip; 0.01 .. 50
  double area_m2 = 2.5e-4;                // 1e-6 .. 0.01
  double emissivity = 0.85;               // 0.05 .. 1
  double panel_view = 0.35;               // of its zone's panels; 0 .. 1
  double retort_view = 0.55;              // retort outside (vessel: load); 0 .. 1
  double lining_view = 0.10;              // 0 .. 1
};
struct LoadThermocouple {
  double heat_j_k = 0.5;                  // 0.01 .. 50
  double area_m2 = 1.5e-4;                // seen by the retort's inner wall; 1e-6 .. 0.01
  double emissivity = 0.8;                // 0.05 .. 1
  double contact_w_k = 0.05;              // to the load's surface; 1e-4 .. 10
  double wall_view = 0.3;                 // 0 .. 1
};
// Wire that has grown uneven with its hours at temperature. The emf comes from the stretch between hot and cold, so the error goes with
// their difference; it is given at one temperature. It grows with time there, and faster the hotter.
struct ThermocoupleAge {
  double drift_k = 0.0;                   // error at at_degc when a run begins; -200 .. 200
  double drift_k_1000h = 0.0;             // grows by so much in 1000 h at at_degc; -200 .. 200
  double at_degc = 1000.0;                // of the junction; 100 .. 1800
  double doubling_k = 60.0;               // so much hotter it grows twice as fast; 10 .. 500
};
struct Thermocouples {
  HeaterThermocouple heater{};
  LoadThermocouple load{};
  LoadThermocouple load2{0.5, 1.5e-4, 0.8, 0.03, 0.4};
  ThermocoupleAge heater_age{}, load_age{}, load2_age{};
};

// Independent over-temperature limiter: own sensor beside the panels of zone 1, opens the contactor, latches; reset by hand.
struct Limiter {
  double trip_degc = 900.0;               // 50 .. 1800
  double sensor_heat_j_k = 1.0;           // 0.01 .. 50
  double sensor_area_m2 = 3e-4;           // 1e-6 .. 0.01
  double panel_view = 0.5;                // 0 .. 1
};

struct Mains {
  double nominal_v = 230.0;               // 24 .. 1000; a panel's power_w stands at this voltage
  double actual_v = 230.0;                // 0 .. 1000
};

struct Surroundings {
  double ambient_degc = 20.0;             // -20 .. 60
  double barometer_pa = 100.8e3;          // 60e3 .. 110e3
};

// At start.
struct InitialGas {
  Gas gas = Gas::air;                     // room air unless the furnace was left under gas
  double pressure_pa = 100.8e3;           // abs; 1 .. 2e5
  double furnace_degc = 20.0;             // all solids; -20 .. 1300
  double oxygen_cell_degc = 20.0;         // the heated cell when the bench starts; -20 .. 800
};

// What the instruments are set to. Noise and resolution are those of ordinary industrial instruments (instruments.h), scaled.
struct Span { double low = 0.0, high = 1.0; };            // process value at 4 and 20 mA
struct Instrumentation {
  ThermocoupleType zone_thermocouple = ThermocoupleType::n;
  ThermocoupleType load_thermocouple = ThermocoupleType::n;
  Span gauge_pressure_pa{-5e3, 20e3};     // gauge
  double vacuum_full_scale_pa = 1333.22;  // abs at 10 V; 10 .. 1.4e5
  Span barometer_pa{80e3, 110e3};
  Span mains_v{0.0, 300.0};
  Span supply_pa{0.0, 100e3};             // gauge
  Span casing_degc{0.0, 200.0};
  Span current_a{0.0, 30.0};
  Span dew_point_degc{-100.0, 20.0};
  double over_pressure_pa = 12e3;         // gauge; switch makes; 100 .. 1e6
  double oxygen_cell_set_degc = 700.0;    // the heated cell's own controller holds this; 500 .. 900
  double oxygen_cell_warm_s = 90.0;       // lag of its warming; 1 .. 3600
  double oxygen_lag_s = 4.0;              // of the cell itself; 0.1 .. 300
  double dew_point_lag_s = 15.0;          // of that sensor itself; 0.1 .. 3600
  double sample_line_m3 = 5e-5;           // between retort and these two, swept by the exhaust flow; 0 .. 0.01
  double noise_scale = 1.0;               // 0: none; 0 .. 100
  double quantum_scale = 1.0;             // 0: none; 0 .. 100
  double watchdog_s = 1.0;                // without a valid exchange: safe row; 0.2 .. 60
};

// What people left at the furnace otherwise than it should be. Neutral as constructed; no part of a furnace file.
struct HandWork {
  // what hangs where this gas belongs
  std::array<Gas, 6> bottle{Gas::none, Gas::air, Gas::nitrogen, Gas::argon, Gas::helium, Gas::hydrogen};
  std::array<std::string, 6> carries{};   // in that bottle, if not what the furnace file says; as in GasSupply
  bool supply_shut = false;               // hand valves: of the gas supply, process gas and purge alike
  bool exhaust_shut = false;              // behind the check valve
  bool pump_shut = false;                 // in the pump's hose
  double vent_m2 = 0.0;                   // a hand vent from the chamber to the room; 0 .. 1e-3
  std::array<ThermocoupleWiring, thermocouples_max> wiring = straight_wiring();
};

struct Furnace {
  Boundary boundary = Boundary::retort;
  Retort retort{};
  Plug plug{};
  Lining lining{};
  Heaters heaters{};
  ElectricHeating electric{};
  Casing casing{};
  Load load{};
  GasSupply supply{};
  Meter meter{};
  BurnOff burn_off{};
  PurgeRestrictor purge{};
  BackPressureValve back_pressure_valve{};
  ExhaustShutOff exhaust{};
  Bypass bypass{};
  CheckValve check_valve{};
  Relief relief{};
  AirAdmittance air{};
  Pump pump{};
  Hose hose{};
  Leak leak{};
  Outgassing outgassing{};
  Mixing mixing{};
  Dryer dryer{};
  Oxidation oxidation{};
  Thermocouples thermocouples{};
  Limiter limiter{};
  Mains mains{};
  Surroundings surroundings{};
  InitialGas initial{};
  Instrumentation instruments{};
  HandWork hand{};
};

}  // namespace plant
