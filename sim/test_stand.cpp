#include "sim/test_stand.h"

#include <algorithm>
#include <stdexcept>
#include <string>

namespace sim {

TestStand::TestStand(const plant::Furnace& furnace, double period_s)
    : model_(std::make_shared<const plant::Model>(plant::build(furnace))),
      state_(plant::initial_state(*model_, 1)),
      period_s_(period_s) {}

TestStand::TestStand(const TestStand& other)
    : commands(other.commands),
      disturbances(other.disturbances),
      model_(other.model_),
      state_(other.state_),
      period_s_(other.period_s_) {}

void TestStand::tick() {
  state_.station.commands = commands;
  if (!model_->actuators.circuits.plain) limit_current(state_.station.commands);
  state_.station.silent_ns = 0;
  plant::step(*model_, state_, disturbances, period_s_);
}

void TestStand::limit_current(plant::Commands& given) const {
  const plant::CircuitModel& circuits = model_->actuators.circuits;
  const auto& t_k = state_.thermal.t_k;
  plant::PanelValues panel_k{};
  for (std::size_t p = 0; p < panel_k.size(); ++p) panel_k[p] = t_k[static_cast<std::size_t>(plant::node::panel) + p];
  const double mains_v = state_.actuators.supplied_v * disturbances.mains_scale;
  const plant::FullPower full = plant::find_full_power(circuits, state_.actuators.circuits, panel_k, mains_v, disturbances);
  for (std::size_t z = 0; z < given.demand.size(); ++z) {
    if (full.current_a[z] <= circuits.rated_a[z]) continue;
    const double ratio = circuits.rated_a[z] / full.current_a[z];
    given.demand[z] = std::min(given.demand[z], ratio * ratio);
  }
}

void TestStand::run(double for_s) {
  for (long n = std::lround(for_s / period_s_); n > 0; --n) tick();
}

double TestStand::truth(std::string_view name) const {
  const auto table = plant::truth_table();
  truths_.resize(table.size());
  plant::observe(*model_, state_, truths_);
  for (std::size_t i = 0; i < table.size(); ++i)
    if (name == table[i].name) return truths_[i];
  throw std::out_of_range("no such truth: " + std::string(name));
}

void TestStand::shut() {
  commands.purge_open = commands.exhaust_open = commands.process_open = commands.bypass_open = commands.air_open = false;
  commands.isolation_open = commands.contactor = false;
  commands.meter_set = {};
  commands.demand = {};
}

void TestStand::feed(double share) {
  commands.gas = static_cast<int>(model_->furnace.supply.purge);
  commands.process_open = share > 0.0;
  commands.meter_set = {share, 0.0};
}

void TestStand::heat(double demand) {
  commands.contactor = demand > 0.0;
  commands.demand.fill(demand);
}

void TestStand::start_pump() {
  shut();
  commands.inlet_vent_open = false;
  commands.pump_run = true;
  run(5.0 * model_->furnace.pump.spin_up_s);
}

}  // namespace sim
