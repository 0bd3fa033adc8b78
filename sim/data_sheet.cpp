#include "sim/data_sheet.h"

#include <algorithm>
#include <cmath>

#include "sim/test_stand.h"

namespace sim {

namespace {

constexpr double thermal_period_s = 1.0;  // heat is slow: ten control periods at a time
constexpr double hour_s = 3600.0;
constexpr double level_step_k = 200.0;
constexpr double steady_share = 0.003;  // the furnace loses what it is given, but for this
constexpr double longest_hold_s = 150.0 * hour_s;
constexpr double window_s = 900.0;
constexpr double low_mains = 0.9;

// --- Holding a temperature --------------------------------------------------------------------------------------------

// One PI loop per zone on the heater-side thermocouples. The gain comes from what full power does to this furnace when cold,
// tuned as for an integrating process with a closed-loop time of two minutes (Skogestad 2003).
class HoldLoops {
 public:
  explicit HoldLoops(double full_power_k_s) : gain_(1.0 / (full_power_k_s * closed_s)) {}

  void act(TestStand& stand, double set_degc) {
    for (int z = 0; z < stand.model().furnace.heaters.zones; ++z) {
      const auto i = static_cast<std::size_t>(z);
      const double error = set_degc - stand.zone_degc(z);
      const double wanted = gain_ * error + integral_[i];
      stand.commands.demand[i] = std::clamp(wanted, 0.0, 1.0);
      if (wanted == stand.commands.demand[i] || (wanted > 1.0) != (error > 0.0))
        integral_[i] = std::clamp(integral_[i] + gain_ * error * stand.period_s() / (4.0 * closed_s), 0.0, 1.0);
    }
    stand.commands.contactor = true;
  }

 private:
  static constexpr double closed_s = 120.0;
  double gain_;
  std::array<double, plant::zones_max> integral_{};
};

double full_power_k_s(const TestStand& cold) {
  TestStand trial(cold);
  trial.heat(1.0);
  trial.run(120.0);
  double fastest_k_s = 1e-4;
  // With a resistance that grows, the full power comes later than with the first minutes.
  for (int minute = 0; minute < (trial.model().actuators.circuits.plain ? 1 : 60); ++minute) {
    const double before = trial.zone_degc(0);
    trial.run(60.0);
    fastest_k_s = std::max((trial.zone_degc(0) - before) / 60.0, fastest_k_s);
  }
  return fastest_k_s;
}

// Energy that went in and that was lost since it began; gas carries next to nothing while the valves are shut.
struct Budget {
  explicit Budget(const TestStand& stand)
      : electric_j(stand.truth("plant.energy") * 3.6e6), flowed_j(plant::energy_balance(stand.model(), stand.state()).flowed) {}
  double electric_j, flowed_j;
};
struct WindowPower {
  double in_w, lost_w;
};
WindowPower over_window(const Budget& from, const Budget& to, double for_s) {
  const double in = to.electric_j - from.electric_j;
  return {in / for_s, (to.flowed_j - from.flowed_j - in) / for_s};
}

struct Progressing {
  const SheetProgress& report;
  double done = 0.0, simulated_s = 0.0;
  void add(double for_s) {
    simulated_s += for_s;
    if (report) report(done, simulated_s);
  }
};

// Runs `act` until in and lost power agree within `share`; the mean power of the last window, nothing if that does not come.
template <class Act>
Maybe run_to_steady(TestStand& stand, double share, Progressing& progress, Act act) {
  int agreed = 0;
  for (double t = 0.0; t < longest_hold_s; t += window_s) {
    const Budget before(stand);
    for (long n = std::lround(window_s / stand.period_s()); n > 0; --n) {
      act();
      stand.tick();
    }
    progress.add(window_s);
    const WindowPower power = over_window(before, Budget(stand), window_s);
    if (stand.truth("plant.limiter") > 0.5) return {};
    agreed = std::abs(power.in_w - power.lost_w) <= share * power.in_w ? agreed + 1 : 0;
    if (agreed == 2) return power.in_w;
  }
  return {};
}

double low_mains_w(const TestStand& steady) {
  TestStand trial(steady);
  trial.disturbances.mains_scale = low_mains;
  trial.heat(1.0);
  trial.tick();
  return trial.truth("plant.power");
}

// Full power from cold: when each level is passed, and how fast.
struct HeatUp {
  std::vector<Maybe> reach_s, rate_k_min;
};
HeatUp heat_up(const TestStand& cold, const std::vector<HoldLevel>& levels, double mains_scale, Progressing& progress) {
  TestStand stand(cold);
  stand.disturbances.mains_scale = mains_scale;
  stand.heat(1.0);
  HeatUp result;
  constexpr double around_k = 10.0;
  for (const HoldLevel& level : levels) {
    const auto pass = [&](double degc) {
      const double at = stand.run_until(
          24.0 * hour_s, [&] { return stand.zone_degc(0) >= degc || stand.state().process.limiter_healthy == false; });
      return at >= 0.0 && stand.state().process.limiter_healthy ? Maybe(stand.time_s()) : Maybe();
    };
    const double begin_degc = std::max(level.degc - around_k, stand.zone_degc(0));
    const Maybe begin = pass(begin_degc);
    const Maybe at = begin ? pass(level.degc) : Maybe();
    const Maybe end = at ? pass(level.degc + around_k) : Maybe();
    result.reach_s.push_back(at ? Maybe(*at - cold.time_s()) : Maybe());
    result.rate_k_min.push_back(end && *end > *begin ? Maybe(60.0 * (level.degc + around_k - begin_degc) / (*end - *begin))
                                                     : Maybe());
    if (!end) break;
  }
  progress.add(stand.time_s() - cold.time_s());
  result.reach_s.resize(levels.size());
  result.rate_k_min.resize(levels.size());
  return result;
}

// --- Heat -------------------------------------------------------------------------------------------------------------

// Time to 63 % of the change of what `read` gives, from a record with one value every `every_s`.
Maybe time_to_63(const std::vector<double>& record, double every_s) {
  const double first = record.front(), target = first + (1.0 - std::exp(-1.0)) * (record.back() - first);
  for (std::size_t i = 1; i < record.size(); ++i) {
    if ((record[i] - target) * (record.back() - first) < 0.0) continue;
    const double span = record[i] - record[i - 1];
    const double share = span == 0.0 ? 1.0 : (target - record[i - 1]) / span;
    return every_s * (static_cast<double>(i) - 1.0 + share);
  }
  return {};
}

StepResponse step_response(const TestStand& steady, double at_degc, double power_w, Progressing& progress) {
  TestStand stand(steady);
  // A tenth less than the mean demand, alike in every zone as its loop has it.
  double before_w = 0.0;
  for (int i = 0; i < 60; ++i) {
    stand.tick();
    before_w += stand.truth("plant.power") / 60.0;
  }
  for (double& demand : stand.commands.demand) demand *= 0.9 * power_w / before_w;
  constexpr double every_s = 60.0;
  std::vector<double> heater, load, casing;
  double next_s = stand.time_s();
  const auto record = [&] {
    if (stand.time_s() < next_s - 1e-6) return;
    next_s += every_s;
    heater.push_back(stand.zone_degc(0));
    load.push_back(stand.truth("plant.load.core"));
    casing.push_back(stand.state().process.casing_degc);
  };
  StepResponse response;
  response.at_degc = at_degc;
  // The change is a tenth: what is still missing of it shall be as small a share as in the steady states.
  if (!run_to_steady(stand, 0.1 * steady_share * 3.0, progress, record)) return response;
  response.heater_s = time_to_63(heater, every_s);
  response.load_s = time_to_63(load, every_s);
  response.casing_s = time_to_63(casing, every_s);
  return response;
}

plant::Furnace heated_furnace(plant::Furnace furnace) {
  // A retort is heated in what it is purged with; a vessel in what the file has in it.
  if (furnace.boundary == plant::Boundary::retort) furnace.initial.gas = furnace.supply.purge;
  furnace.initial.pressure_pa = furnace.surroundings.barometer_pa;
  return furnace;
}

const char* gas_name(plant::Gas gas) {
  constexpr std::array<const char*, 6> names{"air", "air", "nitrogen", "argon", "helium", "hydrogen"};
  return names[static_cast<std::size_t>(gas)];
}

// Steady states from level to level; returns the highest one reached.
std::optional<TestStand> hold_levels(DataSheet& sheet, const TestStand& cold, Progressing& progress) {
  HoldLoops loops(full_power_k_s(cold));
  TestStand stand(cold);
  std::optional<TestStand> highest;
  for (HoldLevel& level : sheet.levels) {
    level.power_w = run_to_steady(stand, steady_share, progress, [&] { loops.act(stand, level.degc); });
    level.limiter = !stand.state().process.limiter_healthy;
    if (stand.zone_degc(0) < level.degc - 2.0) level.power_w.reset();
    progress.done += 0.5 / static_cast<double>(sheet.levels.size());
    if (!level.power_w) break;
    level.load_degc = stand.truth("plant.load.core");
    level.casing_degc = stand.truth("plant.casing");
    for (const char* panel : {"plant.heater.1", "plant.heater.2", "plant.heater.3", "plant.heater.4"})
      level.element_degc = std::max(level.element_degc, stand.truth(panel));
    level.low_mains_w = low_mains_w(stand);
    highest.emplace(stand);
    if (&level == &sheet.levels.front() || &level == &sheet.levels.back())
      sheet.steps.push_back(step_response(stand, level.degc, *level.power_w, progress));
  }
  return highest;
}

void cool(DataSheet& sheet, const TestStand& hot, Progressing& progress) {
  TestStand stand(hot);
  stand.shut();
  stand.commands.purge_open = stand.commands.exhaust_open = true;
  stand.commands.valve_frac = 1.0;
  const double begin_s = stand.time_s();
  sheet.cooling_from_degc = stand.truth("plant.load.core");
  for (const double degc : {800.0, 600.0, 400.0, 200.0, 100.0, 60.0}) {
    if (degc >= sheet.cooling_from_degc) continue;
    while (stand.truth("plant.load.core") > degc && stand.time_s() - begin_s < 100.0 * hour_s) {
      stand.run(10.0);
      sheet.cooling_casing_degc = std::max(sheet.cooling_casing_degc, stand.state().process.casing_degc);
    }
    const bool there = stand.truth("plant.load.core") <= degc;
    sheet.cooling.push_back({degc, there ? Maybe(stand.time_s() - begin_s) : Maybe()});
    if (!there) break;
  }
  progress.add(stand.time_s() - begin_s);
}

// --- Gas --------------------------------------------------------------------------------------------------------------

PumpDown pump_down(const plant::Furnace& furnace, Progressing& progress) {
  TestStand stand(furnace);
  stand.start_pump();
  stand.commands.isolation_open = true;
  PumpDown result;
  const double begin_s = stand.time_s();
  constexpr double longest_s = 2.0 * hour_s;
  const auto left_s = [&] { return longest_s - (stand.time_s() - begin_s); };
  for (std::size_t i = 0; i < result.limit_pa.size(); ++i) {
    if (stand.run_until(left_s(), [&] { return stand.chamber_pa() <= result.limit_pa[i]; }) < 0.0) break;
    result.time_s[i] = stand.time_s() - begin_s;
  }
  stand.run(left_s());
  result.after_s = stand.time_s() - begin_s;
  result.after_pa = stand.chamber_pa();
  progress.add(result.after_s);
  return result;
}

plant::Furnace aired_furnace(plant::Furnace furnace) {
  furnace.initial.gas = plant::Gas::air;
  furnace.initial.pressure_pa = furnace.surroundings.barometer_pa;
  return furnace;
}

// How often a slow truth is looked at.
constexpr int look_every = 10;

double purge_to(const plant::Furnace& furnace, bool meter, const std::array<double, 3>& limit_ppm, std::array<Maybe, 3>& time_s,
                Progressing& progress) {
  TestStand stand(aired_furnace(furnace));
  stand.shut();
  stand.commands.exhaust_open = true;
  stand.commands.valve_frac = 1.0;
  if (meter)
    stand.feed(1.0);
  else
    stand.commands.purge_open = true;
  std::size_t next = 0;
  constexpr double longest_s = 12.0 * hour_s;
  while (next < limit_ppm.size() && stand.time_s() < longest_s) {
    stand.run(look_every * stand.period_s());
    while (next < limit_ppm.size() && stand.truth("plant.gas.o2") <= limit_ppm[next]) time_s[next++] = stand.time_s();
  }
  progress.add(stand.time_s());
  return stand.truth("plant.gas.o2");
}

void vacuum_cycles(const plant::Furnace& furnace, const PumpDown& pumped, OxygenTimes& oxygen, Progressing& progress) {
  // To 15 Pa where the pump gets there in reasonable time, else to 100 Pa.
  const std::size_t low = pumped.time_s[1] && *pumped.time_s[1] < hour_s ? 1 : 0;
  if (!pumped.time_s[low]) return;
  oxygen.low_pa = pumped.limit_pa[low];
  TestStand stand(aired_furnace(furnace));
  std::size_t next = 0;
  for (int cycle = 1; cycle <= 6 && next < oxygen.limit_ppm.size(); ++cycle) {
    stand.start_pump();
    stand.commands.isolation_open = true;
    if (stand.run_until(2.0 * hour_s, [&] { return stand.chamber_pa() <= oxygen.low_pa; }) < 0.0) break;
    stand.shut();
    stand.feed(1.0);
    if (stand.run_until(2.0 * hour_s, [&] { return stand.chamber_pa() >= stand.barometer_pa(); }) < 0.0) break;
    const double ppm = stand.truth("plant.gas.o2");
    if (cycle == 1) oxygen.first_cycle_ppm = ppm;
    while (next < oxygen.limit_ppm.size() && ppm <= oxygen.limit_ppm[next]) {
      oxygen.cycles[next] = cycle;
      oxygen.cycles_s[next++] = stand.time_s();
    }
  }
  progress.add(stand.time_s());
}

// Rise of pressure with the line blocked behind the check valve, right after what flows in has come up.
double blocked_pa_s(TestStand stand, bool meter) {
  stand.set_period(0.1);
  stand.disturbances.exhaust_blocked = true;
  if (meter)
    stand.feed(1.0);
  else
    stand.commands.purge_open = true;
  stand.run(std::max(1.0, 5.0 * stand.model().furnace.meter.lag_s));
  const double before_pa = stand.chamber_pa();
  stand.run(2.0);
  return (stand.chamber_pa() - before_pa) / 2.0;
}

Blocked blocked(const TestStand& at_rest, Progressing& progress) {
  TestStand stand(at_rest);
  stand.set_period(0.1);
  stand.shut();
  stand.commands.exhaust_open = true;
  stand.commands.valve_frac = 1.0;
  stand.run(1.0);
  Blocked result;
  result.gas_degc = stand.truth("plant.gas.temperature");
  result.meter_pa_s = blocked_pa_s(stand, true);
  result.restrictor_pa_s = blocked_pa_s(stand, false);
  stand.disturbances.exhaust_blocked = true;
  stand.feed(1.0);
  const double set_pa = stand.barometer_pa() + stand.model().furnace.relief.set_pa;
  const double at = stand.run_until(hour_s, [&] { return stand.chamber_pa() >= set_pa; });
  if (at >= 0.0) result.relief_s = at;
  progress.add(std::max(at, 0.0) + 10.0);
  return result;
}

// --- Elements ---------------------------------------------------------------------------------------------------------

std::vector<ElementSheet> element_sheets(const plant::Furnace& f) {
  std::vector<ElementSheet> sheets;
  for (int z = 0; z < f.heaters.zones; ++z) {
    const plant::Element element = plant::element_of_zone(f.electric, z);
    const plant::ElementKind& kind = plant::element_kind(element.material);
    if (element.material == plant::ElementMaterial::constant) continue;
    ElementSheet one;
    one.zone = z + 1;
    one.material = kind.name;
    one.limit_degc = plant::element_limit_degc(f.electric, z);
    one.low_w_cm2 = kind.load_low_w_cm2;
    one.high_w_cm2 = kind.load_high_w_cm2;
    one.cold_share = plant::resistance_factor(kind, 20.0) / plant::resistance_factor(kind, element.rated_degc);
    one.age = plant::age_factor(element.hours, element.ageing);
    for (const plant::Panel& panel : f.heaters.panel) {
      const bool here = f.heaters.zones == 1 || panel.zone == z + 1;
      if (here && element.surface_m2 > 0.0) one.load_w_cm2 = std::max(one.load_w_cm2, 1e-4 * panel.power_w / element.surface_m2);
    }
    sheets.push_back(one);
  }
  return sheets;
}

// --- Wall -------------------------------------------------------------------------------------------------------------

WallStress wall_stress(const plant::Furnace& f, double vacuum_pa) {
  WallStress s;
  s.wall = {0.5 * f.retort.inner_diameter_m, f.retort.wall_m};
  s.outside_pa = f.surroundings.barometer_pa;
  s.vacuum_pa = vacuum_pa;
  s.relief_pa = f.relief.set_pa + f.relief.full_pa;
  const double difference_pa = s.outside_pa - s.vacuum_pa;
  s.hoop_pa = plant::hoop_stress_pa(s.wall, s.vacuum_pa, s.outside_pa);
  s.thin_hoop_pa = plant::thin_hoop_stress_pa(s.wall, s.vacuum_pa, s.outside_pa);
  s.clamped_end_pa = plant::clamped_plate_stress_pa(s.wall, difference_pa);
  s.supported_end_pa = plant::supported_plate_stress_pa(s.wall, difference_pa);
  s.collapse_modulus_pa = plant::collapse_modulus_pa(s.wall, difference_pa);
  s.relief_hoop_pa = plant::hoop_stress_pa(s.wall, s.outside_pa + s.relief_pa, s.outside_pa);
  s.relief_supported_end_pa = plant::supported_plate_stress_pa(s.wall, s.relief_pa);
  return s;
}

}  // namespace

DataSheet make_data_sheet(const std::string& title, const plant::Furnace& furnace, const SheetProgress& report) {
  DataSheet sheet;
  sheet.title = title;
  sheet.furnace = furnace;
  Progressing progress{report};
  const plant::Furnace heated = heated_furnace(furnace);
  sheet.hold_gas = gas_name(heated.initial.gas);
  TestStand cold(heated, thermal_period_s);
  cold.shut();
  cold.commands.exhaust_open = true;
  cold.commands.valve_frac = 1.0;
  {
    TestStand trial(cold);
    trial.heat(1.0);
    trial.tick();
    sheet.installed_w = trial.truth("plant.power");
    if (!trial.model().actuators.circuits.plain) {
      sheet.installed_w = 0.0;
      for (const plant::Panel& panel : furnace.heaters.panel) sheet.installed_w += panel.power_w;
    }
  }
  sheet.elements = element_sheets(furnace);
  for (double degc = level_step_k; degc < furnace.limiter.trip_degc; degc += level_step_k)
    sheet.levels.emplace_back().degc = degc;
  const HeatUp nominal = heat_up(cold, sheet.levels, 1.0, progress), low = heat_up(cold, sheet.levels, low_mains, progress);
  for (std::size_t i = 0; i < sheet.levels.size(); ++i) {
    sheet.levels[i].reach_s = nominal.reach_s[i];
    sheet.levels[i].heating_k_min = nominal.rate_k_min[i];
    sheet.levels[i].heating_low_mains_k_min = low.rate_k_min[i];
  }
  progress.done = 0.1;
  const std::optional<TestStand> hot = hold_levels(sheet, cold, progress);
  progress.done = 0.65;
  if (hot) cool(sheet, *hot, progress);
  sheet.pump_down = pump_down(furnace, progress);
  progress.done = 0.75;
  sheet.oxygen.meter_ppm = purge_to(furnace, true, sheet.oxygen.limit_ppm, sheet.oxygen.meter_s, progress);
  progress.done = 0.85;
  sheet.oxygen.restrictor_ppm = purge_to(furnace, false, sheet.oxygen.limit_ppm, sheet.oxygen.restrictor_s, progress);
  vacuum_cycles(furnace, sheet.pump_down, sheet.oxygen, progress);
  sheet.blocked_cold = blocked(cold, progress);
  if (hot) sheet.blocked_hot = blocked(*hot, progress);
  if (furnace.boundary == plant::Boundary::retort) sheet.stress = wall_stress(furnace, sheet.pump_down.after_pa);
  sheet.simulated_s = progress.simulated_s;
  return sheet;
}

}  // namespace sim
