// The plant's functions. READ FIRST.
//
// Model: what is constant during a run. State: everything that changes, one trivially copyable struct; a copy is a snapshot.
// The station's bytes are handed in and out as of a tick boundary; then the plant moves on by one period.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <stdexcept>

#include "plant/environment.h"
#include "plant/furnace.h"
#include "plant/model.h"
#include "plant/process_values.h"
#include "plant/state.h"

namespace plant {

// A state that is no longer finite stops the run: what says which quantity, at_s when.
struct NotFinite : std::runtime_error {
  NotFinite(const char* what, double at_s);
  double at_s;
};

Model build(const Furnace& furnace);                        // throws std::invalid_argument with the field's name
Environment environment_of(const Model& model);            // of the furnace file
State initial_state(const Model& model, std::uint64_t seed);
// A chamber begins with the absolute pressure and the temperature of the furnace file, whatever surrounds it.
State initial_state(const Model& model, std::uint64_t seed, const Environment& environment);

// From the next step on. Called only when something has changed: the state keeps it.
void set_environment(const Model& model, State& state, const Environment& environment);

// One request on the field line, as received (damaged ones included), as of the boundary the state stands at: applies
// outputs, latches inputs, returns the answer's size (0: silence).
std::size_t exchange(const Model& model, State& state, const Disturbances& disturbances,
                     std::span<const std::uint8_t> request, std::span<std::uint8_t> answer);

// One control period. The watchdog counts here.
void step(const Model& model, State& state, const Disturbances& disturbances, double period_s);

// Truth, for judging only: never seen by the core.
struct TruthInfo {
  const char* name;      // "plant.gas.o2"
  const char* unit;      // "ppm"; "1" for a pure number
  int decimals;
  const char* meaning;
};
std::span<const TruthInfo> truth_table();
void observe(const Model& model, const State& state, std::span<double> truth);   // size of truth_table()

// Conservation: energy [J] and moles of each species [mol] that went in and out since start against what is held.
// residual / flowed is what the tests bound.
struct Balance { double flowed; double residual; };
Balance energy_balance(const Model& model, const State& state);
Balance species_balance(const Model& model, const State& state, int species);   // 0 .. gas_species - 1, else std::out_of_range

}  // namespace plant
