// A made-up run for the tests of recording and report: shapes of a heat-treatment cycle, no physics.
#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "sim/bench.h"
#include "sim/scenario.h"
#include "sim/signals.h"

namespace synthetic {

inline sim::SignalTable table() {
  const auto core = sim::Signal::Origin::controller;
  const auto plant = sim::Signal::Origin::plant;
  return sim::SignalTable({{"programme.state", "1", 0, core, "", "", {}},
                           {"programme.segment", "1", 0, core, "", "", {}},
                           {"atmosphere.phase", "1", 0, core, "", "", {}},
                           {"alarms.active", "1", 0, core, "", "", {}},
                           {"interlock.trip", "1", 0, core, "", "", {}},
                           {"load.pv", "degC", 2, core, "", "", {}},
                           {"pressure.pv", "Pa gauge", 1, core, "", "", {}},
                           {"pressure.sp", "Pa gauge", 1, core, "", "", {}},
                           {"pressure.out", "1", 4, core, "", "", {}},
                           {"flow.pv", "slm", 3, core, "", "", {}},
                           {"flow.sp", "slm", 3, core, "", "", {}},
                           {"vacuum.pv", "Pa", 2, core, "", "", {}},
                           {"oxygen.pv", "ppm", 2, core, "", "", {}},
                           {"dew_point.pv", "degC", 2, core, "", "", {}},
                           {"heat.1.pv", "degC", 2, core, "", "", {}},
                           {"heat.1.sp", "degC", 2, core, "", "", {}},
                           {"heat.1.out", "1", 4, core, "", "", {}},
                           {"plant.load.core", "degC", 2, plant, "", "", {}},
                           {"plant.load.surface", "degC", 2, plant, "", "", {}},
                           {"plant.power", "W", 1, plant, "", "", {}},
                           {"plant.gas.pressure", "Pa", 2, plant, "", "", {}},
                           {"plant.gas.gauge", "Pa", 1, plant, "", "", {}},
                           {"plant.gas.o2", "ppm", 3, plant, "", "", {}},
                           {"plant.gas.dew_point", "degC", 2, plant, "", "", {}},
                           {"plant.flow.in", "slm", 3, plant, "", "", {}},
                           {"plant.energy", "kWh", 4, plant, "", "", {}},
                           {"plant.gas_used", "sL", 3, plant, "", "", {}}});
}

inline sim::ExpectationSource expectation(const std::string& name, sim::ExpectationSource::Form form, const std::string& predicate) {
  sim::ExpectationSource source;
  source.name = name;
  source.form = form;
  source.predicate = predicate;
  return source;
}

inline sim::Scenario scenario() {
  using Form = sim::ExpectationSource::Form;
  sim::Scenario made;
  made.name = "made_up";
  made.title = "A made-up cycle <with \"marks\" & signs>";
  made.why = "To test the recording.";
  made.seed = 7;
  made.programme.names = {"evacuate", "backfill", "ramp", "soak", "cool"};
  made.expectations = {expectation("the gauge stays below 6 kPa", Form::never, "pressure.pv > 6 kPa"),
                       expectation("oxygen is low when hot", Form::always, "plant.load.core > 400 degC implies plant.gas.o2 < 10 ppm"),
                       expectation("the retort is evacuated in time", Form::eventually, "vacuum.pv < 15 Pa"),
                       expectation("no trip", Form::always, "interlock.trip == 0"),
                       expectation("purged", Form::always, "oxygen.pv < 20 ppm")};
  made.expectations[2].segments = {"evacuate"};
  made.expectations[2].within_s = 900.0;
  made.expectations[4].phases = {"purging"};
  made.record.every_s = 1.0;
  made.resolved_yaml = "scenario: made_up\nseed: 7\n# </script> & <b>\n";
  return made;
}

inline int segment_at(double time_s) { return time_s < 600 ? 0 : time_s < 900 ? 1 : time_s < 6900 ? 2 : time_s < 14100 ? 3 : 4; }

// A frame in the order of table().
inline std::vector<double> frame_at(double time_s) {
  const int segment = segment_at(time_s);
  const double heat = time_s < 900 ? 0 : time_s < 6900 ? (time_s - 900) / 6000 : time_s < 14100 ? 1 : std::exp(-(time_s - 14100) / 5000);
  const double degc = 20 + 770 * heat, wave = std::sin(time_s / 40);
  const double pa = time_s < 600 ? 100800 * std::exp(-time_s / 55) + 5 : time_s < 900 ? 105000 * (time_s - 600) / 300 : 104800 + 60 * wave;
  const double gauge = pa - 100800, shown = std::fmax(gauge, -5200.0);
  const double oxygen = time_s < 900 ? 209500 * std::exp(-time_s / 60) + 15 : 3 + 0.3 * wave + 12 * std::exp(-(time_s - 900) / 900);
  const double phase = segment == 0 ? 1 : segment == 1 ? 3 : 5;
  return {1,
          static_cast<double>(segment),
          phase,
          0,
          0,
          degc - 4,
          shown,
          segment > 1 ? 4000.0 : 0.0,
          0.4 + 0.02 * wave,
          segment == 0 ? 0 : 0.6 + 0.005 * wave,
          segment == 0 ? 0 : 0.6,
          std::fmin(pa, 1360),
          oxygen,
          -60 + 15 * heat,
          degc + 2 * wave,
          degc,
          0.5 * heat,
          degc - 6,
          degc - 3,
          1400 * heat,
          pa,
          gauge,
          oxygen * 0.9,
          -62 + 15 * heat,
          segment == 0 ? 0 : 0.6,
          time_s * 3e-4,
          time_s * 0.01};
}

}  // namespace synthetic
