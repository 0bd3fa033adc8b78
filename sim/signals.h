// Every signal of a run, one table: trace, expressions, documentation and report use it. The controller's signals are the
// monitor block of the core's register table (read through bytes, every tick); the plant's are plant::truth_table; a few
// belong to the line. A frame is one tick's values in table order, as double.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace sim {

struct Signal {
  enum class Origin { controller, plant, line };
  std::string name;      // DESIGN names: heat.1.pv, plant.gas.o2, ...
  std::string unit;      // as printed in the trace; "1" for a pure number
  int decimals = 3;
  Origin origin = Origin::controller;
  std::string meaning;
  std::string quantity{};  // the unit with the reference that a pressure counts from: "Pa abs" where `unit` only says "Pa"
  std::vector<std::string> codes{};  // names of the values 0, 1, ... where the signal is a code (programme.state, atmosphere.phase)
  bool bits = false;       // each bit says something of its own: as a number it has neither order nor distance
};

// The unit with the reference that a pressure counts from, which its name tells: "Pa gauge" of plant.gas.gauge in Pa.
std::string quantity_named(std::string_view name, std::string_view unit);

// The same for a margin in this unit: told by the first signal in the expectation's statement that is recorded in it.
std::string quantity_in(std::string_view statement, std::string_view unit);

// Names of the codes, by value, as the core's register table numbers them.
std::span<const std::string_view> state_names();   // programme.state: idle, running, held, ...
std::span<const std::string_view> phase_names();   // atmosphere.phase: rest, evacuating, ...

class SignalTable {
 public:
  explicit SignalTable(int zones);             // zones: 1..4 heat zones appear
  explicit SignalTable(std::vector<Signal> signals);   // any others, sorted by origin, for tests and for tools that read a trace
  std::span<const Signal> signals() const { return signals_; }
  int size() const { return static_cast<int>(signals_.size()); }
  int find(std::string_view name) const;       // -1 if there is none
  std::string nearest(std::string_view name) const;  // for messages
  int controller_count() const { return controller_count_; }  // these come first
  int plant_count() const { return plant_count_; }            // then these; the line's are last

 private:
  std::vector<Signal> signals_;
  int controller_count_ = 0;
  int plant_count_ = 0;
};

}  // namespace sim
