// A furnace driven by a script instead of a core: commands are set directly, as if the station had just received them.
#pragma once

#include <cmath>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "plant/step.h"

class ScriptedFurnace {
 public:
  explicit ScriptedFurnace(const plant::Furnace& furnace = {}, double period_s = 0.1)
      : model(plant::build(furnace)), period_s_(period_s), state_(std::make_unique<plant::State>(plant::initial_state(model, 1))) {}

  plant::Model model;
  plant::Commands commands = plant::unpowered_commands();
  plant::Disturbances disturbances{};

  plant::State& state() { return *state_; }
  double gauge_pa() const { return state_->gas.chamber_pa - model.gas.barometer_pa; }
  double degc(int node) const { return state_->thermal.t_k[static_cast<std::size_t>(node)] - 273.15; }
  double fraction(plant::Species species) const {
    return state_->gas.chamber_mol[static_cast<std::size_t>(species)] / plant::chamber_total_mol(state_->gas);
  }

  double truth(const std::string& name) const {
    const auto table = plant::truth_table();
    std::vector<double> values(table.size());
    plant::observe(model, *state_, values);
    for (std::size_t i = 0; i < table.size(); ++i) {
      if (name == table[i].name) return values[i];
    }
    throw std::out_of_range("no such truth: " + name);
  }

  void tick() {
    state_->station.commands = commands;
    state_->station.silent_ns = 0;
    plant::step(model, *state_, disturbances, period_s_);
  }

  void run(double for_s) {
    for (long n = std::lround(for_s / period_s_); n > 0; --n) tick();
  }

  // Until a condition holds; the time it took, or -1 after at_most_s.
  template <typename Condition>
  double run_until(double at_most_s, Condition condition) {
    for (double t = 0.0; t < at_most_s; t += period_s_) {
      if (condition()) return t;
      tick();
    }
    return -1.0;
  }

  // Gas through mass-flow controller 1 at this true flow.
  void feed(plant::Gas gas, double flow_slm) {
    const auto number = static_cast<std::size_t>(gas);
    commands.gas = static_cast<int>(gas);
    commands.process_open = flow_slm > 0.0;
    commands.meter_set[0] = flow_slm / (model.gas.meter.full_scale_slm * model.gas.supplied[number].conversion);
  }

  void shut() {
    commands.purge_open = commands.exhaust_open = commands.process_open = false;
    commands.meter_set = {};
  }

  void pump() {
    shut();
    commands.inlet_vent_open = false;
    commands.pump_run = true;
    run(15.0);
    commands.isolation_open = true;
  }

  void stop_pump() {
    commands.isolation_open = commands.pump_run = false;
    commands.inlet_vent_open = true;
  }

  // Simple loops for scripts: not the core's.
  void hold_gauge(double set_pa) {
    const double error = (gauge_pa() - set_pa) * 1e-3;
    pressure_sum_ = std::fmin(std::fmax(pressure_sum_ + 0.0075 * error * period_s_, 0.0), 0.9);
    commands.valve_frac = std::fmin(std::fmax(0.15 * error + pressure_sum_, 0.0), 1.0);
  }

  void hold_heat(double set_degc) {
    const double error = set_degc - degc(plant::node::zone_junction);
    const double wanted = 0.03 * error + heat_sum_;
    if (wanted > 0.0 && wanted < 1.0) heat_sum_ = std::fmin(std::fmax(heat_sum_ + 1.5e-4 * error * period_s_, 0.0), 1.0);
    commands.demand[0] = std::fmin(std::fmax(wanted, 0.0), 1.0);
  }

 private:
  double period_s_;
  std::unique_ptr<plant::State> state_;
  double pressure_sum_ = 0.3, heat_sum_ = 0.0;
};
