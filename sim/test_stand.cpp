#include "sim/test_stand.h"

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
  state_.station.silent_ns = 0;
  plant::step(*model_, state_, disturbances, period_s_);
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
