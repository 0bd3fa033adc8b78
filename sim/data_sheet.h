// The data sheet of a furnace: what it can do, found by experiments on the plant itself (test_stand.h). No formula of its own
// stands between the sheet and the plant, so the two cannot disagree; the stress of the retort's wall, which the plant does not
// know, is the one exception (plant/wall_stress.h). The same furnace gives the same sheet to the bit.
#pragma once

#include <array>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "plant/furnace.h"
#include "plant/wall_stress.h"

namespace sim {

using Maybe = std::optional<double>;  // nothing: was not reached

// A temperature of the heater-side thermocouples, held until the furnace loses what it is given.
struct HoldLevel {
  double degc = 0.0;
  Maybe power_w;                                 // steady; nothing: full power does not hold it, or the limiter opens
  bool limiter = false;                          // the independent limiter acted
  double load_degc = 0.0, casing_degc = 0.0;     // in the steady state
  double element_degc = 0.0;                     // of the hottest panel, likewise
  double low_mains_w = 0.0;                      // what the heaters take there at full demand with the mains 10 % low
  Maybe heating_k_min, heating_low_mains_k_min;  // of the heater side, passing this level at full power from cold
  Maybe reach_s;                                 // full power from cold, nominal mains
};

// Open loop: a tenth less power from a steady state.
struct StepResponse {
  double at_degc = 0.0;              // of the heater side before
  Maybe heater_s, load_s, casing_s;  // to 63 % of the whole change
};

struct PumpDown {
  std::array<double, 3> limit_pa{100.0, 15.0, 7.0};
  std::array<Maybe, 3> time_s;           // from opening the isolation, from the barometer, cold, as the file has it at start
  double after_s = 0.0, after_pa = 0.0;  // where the experiment ended
};

// Minutes to oxygen by volume, cold, beginning with room air at the barometer.
struct OxygenTimes {
  std::array<double, 3> limit_ppm{1000.0, 100.0, 10.0};
  std::array<Maybe, 3> meter_s, restrictor_s;  // mass-flow controller at full scale; inert purge alone
  std::array<Maybe, 3> cycles_s;               // vacuum cycles, to the end of the backfill that gets there
  std::array<int, 3> cycles{};                 // how many
  double low_pa = 0.0;                         // each cycle evacuates to this; 0: the pump does not get low enough
  double first_cycle_ppm = 0.0;
  double meter_ppm = 0.0, restrictor_ppm = 0.0;  // where the experiments ended
};

// The exhaust line blocked at the barometer, with what flows in at full scale, and with the inert purge alone.
struct Blocked {
  double gas_degc = 0.0;
  double meter_pa_s = 0.0, restrictor_pa_s = 0.0;
  Maybe relief_s;  // full scale from the barometer to the relief valve's set pressure
};

struct Cooling {
  double degc = 0.0;
  Maybe time_s;
};  // of the load's core, heat off in the highest steady state, inert purge open

struct WallStress {
  plant::CylinderWall wall{};
  double outside_pa = 0.0, vacuum_pa = 0.0;  // barometer; lowest pressure inside
  double relief_pa = 0.0;                    // gauge, relief valve wide open
  double hoop_pa = 0.0, thin_hoop_pa = 0.0, clamped_end_pa = 0.0, supported_end_pa = 0.0,
         collapse_modulus_pa = 0.0;  // under vacuum
  double relief_hoop_pa = 0.0, relief_supported_end_pa = 0.0;
};

// Elements of a known material, zone by zone; no experiment but the temperature: their power over their surface.
struct ElementSheet {
  int zone = 1;
  std::string material;                  // in words
  double limit_degc = 0.0;               // highest temperature they may have
  double load_w_cm2 = 0.0;               // at rated power, of the most loaded panel; 0: no surface given
  double low_w_cm2 = 0.0, high_w_cm2 = 0.0;   // usual in furnaces
  double cold_share = 1.0;               // resistance at 20 degC of that at the rated temperature
  double age = 1.0;                      // resistance over that of a new element
};

struct DataSheet {
  std::string title;
  plant::Furnace furnace{};
  double installed_w = 0.0;  // at nominal mains; cold, or at the elements' rated temperature
  std::string hold_gas;      // chamber's gas while heated
  std::vector<ElementSheet> elements;
  std::vector<HoldLevel> levels;
  std::vector<StepResponse> steps;
  PumpDown pump_down{};
  OxygenTimes oxygen{};
  Blocked blocked_cold{};
  std::optional<Blocked> blocked_hot;
  std::vector<Cooling> cooling;
  double cooling_from_degc = 0.0, cooling_casing_degc = 0.0;  // load's core at its beginning; hottest casing meanwhile
  std::optional<WallStress> stress;                           // a vessel's walls are not in its file
  double simulated_s = 0.0;                                   // of all experiments together
};

// Called every few thousand ticks: share done (a guess), simulated time of all experiments so far.
using SheetProgress = std::function<void(double done, double simulated_s)>;
DataSheet make_data_sheet(const std::string& title, const plant::Furnace& furnace, const SheetProgress& progress = {});

}  // namespace sim
