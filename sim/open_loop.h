// The plant alone, driven by the commands that a log holds: no core, no line. What its instruments would have shown, without
// their noise, stands at the log's rows, so that a furnace's description can be held against what was recorded.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "plant/step.h"
#include "sim/furnace_log.h"

namespace sim {

// A reading of the log that the plant has an instrument for.
struct JudgedSignal {
  Signal signal;
  int channel = 0;               // of the field bus
  bool logarithmic = false;      // compared as a ratio: what spans decades
  std::vector<double> recorded;  // per row; its natural logarithm where logarithmic; NaN: no value
};

class OpenLoop {
 public:
  // gas: what the mass-flow controller carried, which no log has; none: that of the inert purge. Throws InputError where the
  // log commands nothing or has no reading of an instrument that the furnace has.
  OpenLoop(const FurnaceLog& log, const plant::Furnace& furnace, plant::Gas gas, double period_s = 0.1);

  const std::vector<JudgedSignal>& judged() const { return judged_; }
  const std::vector<std::string>& assumptions() const { return assumptions_; }  // in words: what the log does not tell
  const std::vector<double>& times_s() const { return times_s_; }
  std::size_t points() const { return judged_.size() * times_s_.size(); }

  // Readings of this furnace: a signal's rows one after the other, the signals in the order of judged(); NaN while the
  // instrument shows nothing (an oxygen cell not yet warm). The commands are those given by the constructor's furnace and log.
  // Throws std::invalid_argument for a furnace that cannot be built, plant::NotFinite. May run in several threads at once.
  std::vector<double> readings(const plant::Furnace& furnace) const;

 private:
  struct Steered {  // per row of the log
    plant::Commands commands;
    plant::Environment environment;
  };
  void judge(const FurnaceLog& log, const plant::Furnace& furnace);
  void steer(const FurnaceLog& log, const plant::Furnace& furnace, plant::Gas gas);
  void steer_valves(const FurnaceLog& log);
  Steered between(std::size_t row, double time_s) const;

  double period_s_;
  std::vector<double> times_s_;
  std::vector<JudgedSignal> judged_;
  std::vector<std::string> assumptions_;
  std::vector<Steered> steered_;
  std::array<bool, 3> surrounded_{};  // the log has barometer, ambient, mains
};

}  // namespace sim
