// A place on a scenario's way at which its loops are to be looked at: the bench runs the scenario, the operator holds its programme as
// the set point passes a temperature, and what the plant has come to after a while is kept.
#pragma once

#include <functional>
#include <memory>
#include <string>

#include "plant/model.h"
#include "plant/state.h"
#include "sim/scenario.h"

namespace sim {

struct OperatingPoint {
  std::shared_ptr<const plant::Model> model;
  plant::State state{};  // at the end; its commands are those in force
  fw::Parameters parameters{};
  int zone = 0;               // from 0
  double set_degc = 0.0;      // of that zone
  double value_degc = 0.0;    // mean of the last ten minutes, as the controller reads it
  double demand = 0.0;        // likewise, 0..1
  double demand_per_h = 0.0;  // how fast it still goes: the lining takes hours
  double held_s = 0.0;        // time of the run at which the programme was held
};

// progress: simulated seconds, now and then. Throws std::domain_error where the run never comes there, or does not stay.
OperatingPoint find_operating_point(Scenario scenario, int zone, double at_degc, double settle_s,
                                    const std::function<void(double)>& progress = {});

}  // namespace sim
