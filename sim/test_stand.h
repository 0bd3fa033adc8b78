// A furnace alone on a test stand: the plant itself, with commands set as if the station had just received them, run as fast as it
// goes. For experiments whose result is a property of the furnace (data_sheet.h); no core, no line, no wall clock. Where resistance
// goes with temperature, no zone is given more current than its panels take at their rated power: as a current limit would have it.
#pragma once

#include <array>
#include <cmath>
#include <functional>
#include <memory>
#include <string_view>
#include <vector>

#include "plant/step.h"

namespace sim {

class TestStand {
 public:
  explicit TestStand(const plant::Furnace& furnace, double period_s = 0.1);
  // A second stand with the same furnace as it stands now.
  TestStand(const TestStand& other);
  TestStand& operator=(const TestStand&) = delete;

  const plant::Model& model() const { return *model_; }
  const plant::State& state() const { return state_; }
  plant::Commands commands = plant::unpowered_commands();
  plant::Disturbances disturbances{};

  void set_period(double period_s) { period_s_ = period_s; }
  double period_s() const { return period_s_; }
  double time_s() const { return state_.time_s; }
  void tick();
  void run(double for_s);
  // Until a condition holds; the time it took, negative if it did not within at_most_s.
  template <class Condition>
  double run_until(double at_most_s, Condition condition) {
    for (long n = std::lround(at_most_s / period_s_), i = 0; i <= n; ++i) {
      if (condition()) return static_cast<double>(i) * period_s_;
      if (i < n) tick();
    }
    return -1.0;
  }

  // A value of plant::truth_table() by its name; std::out_of_range if there is none.
  double truth(std::string_view name) const;
  double chamber_pa() const { return state_.process.retort_pa; }
  double barometer_pa() const { return state_.process.barometer_pa; }
  double zone_degc(int zone) const { return state_.process.zone_junction_degc[static_cast<std::size_t>(zone)]; }

  // All valves and gas inlets shut, heat off.
  void shut();
  // This share of full scale of mass-flow controller 1, of the gas that the inert purge carries.
  void feed(double share);
  void heat(double demand);                       // of every zone, contactor closed
  void start_pump();                              // everything shut, inlet vent shut, spun up; isolation still shut

 private:
  void limit_current(plant::Commands& given) const;
  std::shared_ptr<const plant::Model> model_;
  plant::State state_;
  double period_s_;
  mutable std::vector<double> truths_;
};

}  // namespace sim
